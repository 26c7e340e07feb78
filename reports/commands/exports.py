"""The options of ``plan`` that write for other tools: ``--ccsds``, ``--calendar``, ``--excel``."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from ...models.errors import InputError

if TYPE_CHECKING:
    from ...models.scenario import Scenario
    from ...optimizer.outcome import Outcome


def check_exports(arguments: argparse.Namespace, scenario: Scenario) -> None:
    """Raise InputError, before anything is planned, for what could not be written afterwards."""
    for option in ("calendar", "excel"):
        if getattr(arguments, option) == "-":
            raise InputError(f"--{option} - : name a file; standard output is for --json -.", where="command line")
    if arguments.calendar is not None:
        from ..exchange.calendar import needs_epoch

        needs_epoch(scenario)
    if arguments.excel is not None:
        from ..exchange.workbook import needs_openpyxl

        if not arguments.excel.lower().endswith(".xlsx"):
            raise InputError(
                f"--excel {arguments.excel}: a workbook is known by its ending: name a file that ends in .xlsx.",
                where="command line",
            )
        needs_openpyxl()


def exports(arguments: argparse.Namespace, outcome: Outcome) -> list[Callable[[], str]]:
    """What was asked for: each writes its files and gives a sentence about them."""
    found: list[Callable[[], str]] = []
    if arguments.ccsds is not None:
        found.append(partial(_flights, arguments, outcome))
    if arguments.calendar is not None:
        found.append(partial(_calendar, arguments, outcome))
    if arguments.excel is not None:
        found.append(partial(_workbook, arguments, outcome))
    return found


def _flights(arguments: argparse.Namespace, outcome: Outcome) -> str:
    from ..exchange.folder import write_flights
    from .progress import shown_progress

    with shown_progress(arguments) as progress:
        return write_flights(outcome, arguments.ccsds, arguments.plan, progress).words


def _calendar(arguments: argparse.Namespace, outcome: Outcome) -> str:
    from ..exchange.calendar import write_calendar

    write_calendar(outcome, arguments.calendar, arguments.plan)
    return f"Liftoffs, burns and looks are in {arguments.calendar}, for a calendar."


def _workbook(arguments: argparse.Namespace, outcome: Outcome) -> str:
    from ..exchange.workbook import write_workbook

    write_workbook(outcome, arguments.excel)
    return f"The tables of all plans are in {arguments.excel}."
