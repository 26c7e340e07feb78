"""What commands about a plan share: the scenario, the plan that was picked, and the end where there is none."""

from __future__ import annotations

import argparse
import math
import os
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import TYPE_CHECKING

from ...models.errors import InputError, RingwrightError
from ..run_limits import Run
from .deliver import Next, again

if TYPE_CHECKING:
    from ...models.scenario import Scenario
    from ...optimizer.outcome import Outcome
    from ...optimizer.studies.strategies import Entry

LOST, BAD_INPUT, NO_PLAN, UNDECIDED, INTERRUPTED = 1, 2, 3, 4, 130
"""Exit statuses: a fault of ours or of standard output, bad input, no plan, ended by a limit, stopped."""

MORE_TIME_S = 600
"""The time limit that is proposed, s, where a search ended before it knew whether there is a plan."""

SETTABLE = ("limits.", "ring.")
"""Tables of a scenario of which each key stands there once, so that ``--set`` can name it."""

FIRST_SHARE = 0.4
"""Of the time for a command that plans again and again, what the first plan may take."""


class NoPlanError(RingwrightError):
    """No plan keeps the limits, or none was found in time: the answer of a command that goes on from a plan."""

    def __init__(self, outcome: Outcome, status: int) -> None:
        self.outcome, self.status = outcome, status
        super().__init__("no plan")


def there(file: str) -> str:
    """The name of a scenario file, as it was given.

    Raises:
        InputError: there is no such file, but a bundled scenario of that name or one near to it.
    """
    if file and "\0" not in file and not os.path.lexists(file):
        import difflib

        from ...scenarios import near_names

        name = os.path.basename(file)
        near = near_names(name)
        beside: list[str] = []
        with suppress(OSError):
            beside = [one for one in os.listdir(os.path.dirname(file) or ".") if one.endswith(".toml")]
        alike = difflib.get_close_matches(name, beside, 1, 0.7)
        if near and (name in near or not alike):
            meant = " or ".join(f"ringwright new {one} {one}.toml" for one in near)
            raise InputError(
                f"there is no such file, but a bundled scenario can be written to one; did you mean: {meant}?",
                where=file,
            )
    return file


def scenario_of(arguments: argparse.Namespace) -> Scenario:
    """Read the scenario of a command. Raises InputError."""
    from ...models.reading.scenario_reader import read_scenario

    there(arguments.scenario)
    return read_scenario(arguments.scenario, arguments.settings)


def by_bulge_alone(scenario: Scenario) -> Scenario:
    """The same for commands that plan and fly by the body's bulge alone; `under_forces.said_by_bulge` names that."""
    return replace(scenario, forces=None)


def run_of(arguments: argparse.Namespace) -> Run:
    """The limits of time and memory that a command was given."""
    return Run(arguments.time_limit, arguments.memory_limit)


def status_of(outcome: Outcome, run: Run) -> int:
    """The exit status of an outcome."""
    if outcome.plans:
        return 0
    if not outcome.undecided:
        return NO_PLAN
    return ended_status(run)


def entries_status(entries: Sequence[Entry], run: Run, *, all_of_them: bool = False) -> int:
    """The exit status of a comparison, of which one entry with a plan is enough, or all have to have one."""
    enough = all if all_of_them else any
    if enough(entry.plan is not None for entry in entries):
        return 0
    return ended_status(run) if any(entry.undecided for entry in entries) else NO_PLAN


def ended_status(run: Run) -> int:
    """The exit status of a command that was ended before it knew anything that was asked."""
    return INTERRUPTED if run.stopped else UNDECIDED


def without_plan(arguments: argparse.Namespace, outcome: Outcome) -> list[Next]:
    """What to type next where there is no plan: the limits eased by what serves, or more time."""
    from ..limits import limit_key, outcome_as_written, serving_value

    why = outcome_as_written(outcome).infeasible
    if why is None:
        more = ("--time-limit", str(MORE_TIME_S))
        return [("the same with more time", again(arguments, "plan", *more))] if outcome.unfinished else []
    serving = [(bind.limit, bind.serves) for bind in why.binds if bind.serves is not None]
    eased = serving if why.together else serving[:1]
    if not eased or not all(limit.startswith(SETTABLE) for limit, _ in eased):
        return []
    values = {limit_key(limit): f"{serving_value(limit, serves, 4):.12g}" for limit, serves in eased}
    words = [word for key, value in values.items() for word in ("--set", f"{key}={value}")]
    # a value typed before gives way to the one that serves
    others = [one for one in arguments.settings if one.partition("=")[0].strip() not in values]
    typed = argparse.Namespace(**{**vars(arguments), "settings": others})
    what = "with the values that serve" if len(values) > 1 else "with the value that serves"
    return [(what, again(typed, "plan", *words))]


def picked(
    arguments: argparse.Namespace,
    scenario: Scenario,
    run: Run,
    progress: Callable[[str], None],
    left_s: Callable[[], float] = lambda: math.inf,
    *,
    price: bool = False,
) -> Outcome:
    """Plan a scenario and keep the plan that ``--plan`` names, the best one without such an option.

    Raises:
        NoPlanError: there is no plan.
        InputError: there is none of that rank.
    """
    from ...optimizer.one_plan import with_plan
    from ...optimizer.plan import make_plan

    outcome = make_plan(scenario, progress, price=price, left_s=left_s)
    if not outcome.plans:
        raise NoPlanError(outcome, status_of(outcome, run))
    rank = getattr(arguments, "plan", None)
    return outcome if rank is None else with_plan(outcome, rank)
