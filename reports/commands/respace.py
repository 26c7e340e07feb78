"""The command ``respace``: the ring spread evenly again over the craft that are up."""

from __future__ import annotations

import argparse
import os
from dataclasses import replace
from typing import TYPE_CHECKING

from ...models.errors import InputError
from ..console import width
from .deliver import Next, again, deliver
from .planned import FIRST_SHARE, NoPlanError, run_of, scenario_of, status_of, without_plan
from .progress import shown_progress

if TYPE_CHECKING:
    from ...optimizer.outcome import Outcome

FILE = "respaced.toml"
"""The name that is proposed for the scenario as it is re-spaced."""

ALONE = (
    "Plane {plane} is spread by itself: where its slots then stand against those of the other planes is free, and the "
    "distance to craft in other planes is not looked at."
)
"""What is said where the ring has several planes."""


def respace(arguments: argparse.Namespace) -> int:
    """The craft that are up spread evenly again, after a loss or for another number of slots."""
    scenario = scenario_of(arguments)
    from ...models.deadline import share
    from ...models.reading.scenario_reader import parse_scenario
    from ...optimizer.plan import make_plan
    from ...optimizer.studies.respace import plane_asked, spread_plane, standing_after, standing_now
    from ..files import write_text
    from ..folder import write_folder
    from ..respaced_scenario import respaced_text
    from ..result import result_text
    from ..terminal import plan_text

    if arguments.write is not None and os.path.lexists(arguments.write):
        raise InputError(f"{arguments.write} exists already and is left as it is: give another name.", where="--write")
    with shown_progress(arguments) as progress, run_of(arguments) as run:
        if arguments.after_plan:
            before = make_plan(scenario, progress, left_s=share(FIRST_SHARE))
            if not before.plans:
                raise NoPlanError(before, status_of(before, run))
            now = standing_after(before, before.plans[0], arguments.lost)
        else:
            now = standing_now(scenario, arguments.lost)
        plane = plane_asked(now, arguments.plane)
        made = spread_plane(now, plane, arguments.slots)
        text = respaced_text(arguments.scenario, arguments.settings, made, now.after_s)
        name = arguments.write or f"{arguments.scenario}, re-spaced"
        asked = parse_scenario(text, name)
        if now.ring.planes > 1:
            asked = replace(asked, warnings=(*asked.warnings, ALONE.format(plane=plane)))
        outcome = make_plan(asked, progress, fronts=arguments.fronts)
    if arguments.write is not None:
        write_text(arguments.write, text)
    deliver(
        arguments,
        lambda: plan_text(outcome, width()),
        json=lambda: result_text(outcome),
        files=lambda out: write_folder(outcome, out),
        kept="Tables, result and figures",
        following=_following(arguments, outcome),
    )
    return status_of(outcome, run)


def _following(arguments: argparse.Namespace, outcome: Outcome) -> list[Next]:
    """Sheets of the scenario that was written, or the same with the file from which they are made."""
    if arguments.write is None:
        words = [word for name in arguments.lost for word in ("--lost", name)]
        words += [] if arguments.slots is None else ["--slots", str(arguments.slots)]
        words += [] if arguments.plane is None else ["--plane", str(arguments.plane)]
        words += ["--after-plan"] if arguments.after_plan else []
        what = "a scenario of this for sheets and other commands"
        return [(what, again(arguments, "respace", *words, "--write", FILE))]
    written = argparse.Namespace(scenario=arguments.write, settings=[])
    if outcome.plans:
        return [("what each craft has to do", again(written, "sheet"))]
    return without_plan(written, outcome)
