"""What commands about a plan share: the scenario, the plan that was picked, and the end where there is none."""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable
from typing import TYPE_CHECKING

from ...models.errors import RingwrightError
from ..run_limits import Run

if TYPE_CHECKING:
    from ...models.scenario import Scenario
    from ...optimizer.outcome import Outcome

LOST, BAD_INPUT, NO_PLAN, UNDECIDED, INTERRUPTED = 1, 2, 3, 4, 130
"""Exit statuses: a fault of ours or of standard output, bad input, no plan, ended by a limit, stopped."""

FIRST_SHARE = 0.4
"""Of the time for a command that plans again and again, what the first plan may take."""


class NoPlanError(RingwrightError):
    """No plan keeps the limits, or none was found in time: the answer of a command that goes on from a plan."""

    def __init__(self, outcome: Outcome, status: int) -> None:
        self.outcome, self.status = outcome, status
        super().__init__("no plan")


def scenario_of(arguments: argparse.Namespace) -> Scenario:
    """Read the scenario of a command. Raises InputError."""
    from ...models.reading.scenario_reader import read_scenario

    return read_scenario(arguments.scenario, arguments.settings)


def run_of(arguments: argparse.Namespace) -> Run:
    """The limits of time and memory that a command was given."""
    return Run(arguments.time_limit, arguments.memory_limit)


def status_of(outcome: Outcome, run: Run) -> int:
    """The exit status of an outcome."""
    if outcome.plans:
        return 0
    if not outcome.undecided:
        return NO_PLAN
    return INTERRUPTED if run.stopped else UNDECIDED


def picked(
    arguments: argparse.Namespace,
    scenario: Scenario,
    run: Run,
    progress: Callable[[str], None],
    left_s: Callable[[], float] = lambda: math.inf,
) -> Outcome:
    """Plan a scenario and keep the plan that ``--plan`` names, the best one without it.

    Raises:
        NoPlanError: there is no plan.
        InputError: there is none of that rank.
    """
    from ...optimizer.one_plan import with_plan
    from ...optimizer.plan import make_plan

    outcome = make_plan(scenario, progress, left_s=left_s)
    if not outcome.plans:
        raise NoPlanError(outcome, status_of(outcome, run))
    return outcome if arguments.plan is None else with_plan(outcome, arguments.plan)
