"""The command ``respace``: the ring spread evenly again over the craft that are up."""

from __future__ import annotations

import argparse
import math
import os
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from ...models.errors import InputError
from ...models.readouts import brief, listed
from ..console import width
from .call_up import call_up
from .deliver import Next, again, deliver
from .planned import FIRST_SHARE, entries_status, picked, run_of, scenario_of, status_of, without_plan
from .progress import shown_progress

if TYPE_CHECKING:
    from ...models.scenario import Scenario
    from ...optimizer.outcome import Outcome
    from ...optimizer.studies.strategies import Entry
    from ..run_limits import Run

FILE = "respaced.toml"
"""The name that is proposed for the scenario as it is re-spaced."""

ALONE = (
    "Plane {plane} is spread by itself: where its slots then stand against those of the other planes is free, and the "
    "distance to craft in other planes is not looked at."
)
"""What is said where the ring has several planes."""

TOGETHER = (
    "Planes {planes} have lost craft, and each is spread by itself: where its slots then stand against those of the "
    "other planes is free, and the distance to craft in other planes is not looked at."
)
"""What is said where several planes are spread."""


def respace(arguments: argparse.Namespace) -> int:
    """The craft that are up spread evenly again, after a loss or for another number of slots; or a spare called up."""
    if arguments.spares:
        return call_up(arguments)
    scenario = scenario_of(arguments)
    from ...models.deadline import flying, share
    from ...models.reading.scenario_reader import parse_scenario
    from ...optimizer.plan import make_plan, serves
    from ...optimizer.studies.fixed_craft import misplaced
    from ...optimizer.studies.respace import planes_asked, spread_plane, standing_after, standing_now
    from ..files import write_text
    from ..folder import write_folder
    from ..respaced_scenario import respaced_text
    from ..result import result_text
    from ..terminal import plan_text

    with shown_progress(arguments) as progress, run_of(arguments) as run:
        if arguments.after_plan:
            before = picked(arguments, scenario, run, progress, share(FIRST_SHARE))
            with flying():
                now = standing_after(before, before.plans[0], arguments.lost)
        else:
            now = standing_now(scenario, arguments.lost)
        planes = planes_asked(now, arguments.plane)
        texts = {
            _file(arguments, plane, planes): respaced_text(
                arguments.scenario,
                arguments.settings,
                spread_plane(now, plane, arguments.slots, arguments.slots_deg, arguments.fixed),
                now.after_s,
            )
            for plane in planes
        }
        asked = [parse_scenario(text, name) for name, text in texts.items()]
        if len(planes) > 1:
            entries = _each(asked, planes, progress)
        else:
            if now.ring.planes > 1:
                asked = [replace(one, warnings=(*one.warnings, ALONE.format(plane=planes[0]))) for one in asked]
            none = misplaced(asked[0], serves) if arguments.fixed else None
            outcome = none or make_plan(asked[0], progress, fronts=arguments.fronts)
    if arguments.write is not None:
        for name, text in texts.items():
            write_text(name, text)
    if len(planes) > 1:
        return _side_by_side(arguments, entries, planes, run)
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
    if outcome.infeasible is not None and outcome.infeasible.by_places:
        return []
    if arguments.write is None:
        what = "a scenario of this for sheets and other commands"
        return [(what, again(arguments, "respace", *_typed(arguments), "--write", FILE))]
    written = argparse.Namespace(scenario=arguments.write, settings=[])
    if outcome.plans:
        return [("what each craft has to do", again(written, "sheet"))]
    return without_plan(written, outcome)


def _file(arguments: argparse.Namespace, plane: int, planes: tuple[int, ...]) -> str:
    """The name of the scenario of a plane, which is that of its file where it is written.

    Raises:
        InputError: there is such a file.
    """
    if arguments.write is None:
        return f"{arguments.scenario}, re-spaced" + (f", plane {plane}" if len(planes) > 1 else "")
    stem, dot = os.path.splitext(arguments.write)
    name = f"{stem}-plane-{plane}{dot}" if len(planes) > 1 else str(arguments.write)
    if os.path.lexists(name):
        raise InputError(f"{name} exists already and is left as it is: give another name.", where="--write")
    return name


def _each(asked: Sequence[Scenario], planes: tuple[int, ...], progress: Callable[[str], None]) -> list[Entry]:
    """The best plan of each plane, without its front."""
    from ...models import deadline
    from ...optimizer.plan import serves
    from ...optimizer.studies.fixed_craft import misplaced
    from ...optimizer.studies.strategies import Entry, Strategy, judge

    found = []
    for number, (one, plane) in enumerate(zip(asked, planes, strict=True)):
        name = f"plane {plane}"
        with deadline.ending(deadline.share(1.0 / (len(planes) - number))):
            progress(name)
            none = misplaced(one, serves) if any(craft.stay for craft in one.craft) else None
            found.append(
                judge(one, Strategy(name=name, about="scenario"), any_front=False, why=True)
                if none is None
                else Entry(name=name, about="scenario", scenario=one, infeasible=none.infeasible)
            )
    return found


def _side_by_side(arguments: argparse.Namespace, entries: Sequence[Entry], planes: tuple[int, ...], run: Run) -> int:
    """The planes beside one another, each with its best plan."""
    from ..compare import compare_json, compare_text, write_compare
    from ..layout import paragraph

    numbers = [str(plane) for plane in planes]
    said = "\n".join(paragraph(TOGETHER.format(planes=listed(numbers)), width()))
    deliver(
        arguments,
        lambda: f"{said}\n\n{compare_text(entries, width())}",
        json=lambda: compare_json(entries),
        files=lambda out: write_compare(entries, out),
        kept="Tables, comparison and figure",
        following=[
            ("one plane with its front", again(arguments, "respace", *_typed(arguments), "--plane", numbers[0]))
        ],
    )
    return entries_status(entries, run, all_of_them=True)


def _typed(arguments: argparse.Namespace) -> list[str]:
    """Options that say what is asked, as typed."""
    words = [word for name in arguments.lost for word in ("--lost", name)]
    words += [word for name in arguments.fixed for word in ("--fixed", name)]
    words += [] if arguments.slots is None else ["--slots", str(arguments.slots)]
    if arguments.slots_deg is not None:
        words += ["--slots-deg", ",".join(brief(math.degrees(one), 12) for one in arguments.slots_deg)]
    words += [] if arguments.plane is None else ["--plane", str(arguments.plane)]
    return words + (["--after-plan"] if arguments.after_plan else [])
