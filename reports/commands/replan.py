"""The command ``replan``: the best plan from here, from what was seen of the craft."""

from __future__ import annotations

import argparse

from ...models.errors import FlightError, InputError
from ..console import width
from .deliver import deliver
from .planned import FIRST_SHARE, picked, run_of, scenario_of, status_of
from .progress import shown_progress


def replan(arguments: argparse.Namespace) -> int:
    """The best plan from here, against the plan as it was."""
    scenario = scenario_of(arguments)
    from ...models.deadline import share
    from ...models.reading.observed import read_observed
    from ...optimizer.catalogue.problem import ring_of
    from ...optimizer.replan.resumed_plan import go_on
    from ..replan import replan_json, replan_text
    from ..replan_files import write_replan

    # what cannot be is said before anything is planned
    read_observed(arguments.observed[0], scenario, ring_of(scenario))
    with shown_progress() as progress, run_of(arguments) as run:
        before = picked(arguments, scenario, run, progress, share(FIRST_SHARE))
        looks = [lambda now, file=file: read_observed(file, now.scenario, now.ring) for file in arguments.observed]
        try:
            done, here = go_on(before, looks, progress)
        except FlightError as fault:
            raise InputError(
                "from what was seen a flight cannot be followed: a craft falls to the ground or leaves for good. "
                'Read its orbit again; status = "lost" in place of the orbit would be accepted.',
                where=", ".join(arguments.observed),
            ) from fault
    deliver(
        arguments,
        lambda: replan_text(done, width()),
        json=lambda: replan_json(done),
        files=lambda out: write_replan(done, here, out),
        kept="The plan from here, its tables, figures and sheets",
    )
    return 0 if done.outcome is None else status_of(done.outcome, run)
