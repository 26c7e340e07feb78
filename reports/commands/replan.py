"""The command ``replan``: the best plan from here, from what was seen of the craft, in files or as typed."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TYPE_CHECKING

from ...models.errors import FlightError, InputError
from ..console import width
from .deliver import Next, again, deliver
from .planned import FIRST_SHARE, by_bulge_alone, picked, run_of, scenario_of, status_of
from .planning import known_craft
from .progress import shown_progress

if TYPE_CHECKING:
    from ...models.reading.observed import Observed
    from ...models.scenario import Scenario
    from ...optimizer.outcome import Outcome
    from ...optimizer.replan.cut_off import Reading

    Look = Callable[[Outcome], Observed]

READ = ("period", "periapsis", "apoapsis", "at")
"""Options that belong to ``--craft``."""


def add_reading(parser: argparse._ActionsContainer) -> None:
    """Add the options for what was read at cut-off."""
    read = parser.add_argument_group(
        "what was read at cut-off, without a file",
        "The place of the craft is taken from the plan; a period alone is enough where the burn kept its direction. "
        "Every value carries its unit.",
    )
    read.add_argument("--craft", metavar="NAME", help="the craft that it was read of")
    read.add_argument("--period", metavar="TIME", help="its period at cut-off, as the instrument shows it: 3:14:00")
    read.add_argument("--periapsis", metavar="ALTITUDE", help="its periapsis altitude: 412km")
    read.add_argument("--apoapsis", metavar="ALTITUDE", help="its apoapsis altitude")
    read.add_argument(
        "--at",
        metavar="TIME",
        help="moment to plan from, counted from the epoch or as a date: 2h, 2031-05-01T12:00:00Z; default: a minute "
        "after the cut-off of the first burn at the ring. The reading belongs to the last burn that the plan has "
        "before it",
    )


def replan(arguments: argparse.Namespace) -> int:
    """The best plan from here, against the plan as it was."""
    given = scenario_of(arguments)
    scenario = by_bulge_alone(given)
    from ...models.deadline import share
    from ...optimizer.replan.resumed_plan import go_on
    from ...optimizer.robustness.under_forces import said_by_bulge
    from ..replan import replan_json, replan_text
    from ..replan_files import write_replan

    looks = _looks(arguments, scenario)
    with shown_progress(arguments) as progress, run_of(arguments) as run:
        before = said_by_bulge(picked(arguments, scenario, run, progress, share(FIRST_SHARE)), given)
        try:
            done, here = go_on(before, looks, progress)
        except FlightError as fault:
            raise InputError(
                "from what was seen a flight cannot be followed: a craft falls to the ground or leaves for good. "
                'Read its orbit again; status = "lost" in place of the orbit would be accepted.',
                where=", ".join(arguments.observed) or "command line",
            ) from fault
    deliver(
        arguments,
        lambda: replan_text(done, width()),
        json=lambda: replan_json(done),
        files=lambda out: write_replan(done, here, out),
        kept="The plan from here, its tables, figures and sheets",
        following=_following(arguments) if here is not None else [],
    )
    return 0 if done.outcome is None else status_of(done.outcome, run)


def _looks(arguments: argparse.Namespace, scenario: Scenario) -> list[Look]:
    """What was seen, the files in their order and then what was typed. What cannot be is refused before planning."""
    from ...models.reading.observed import read_observed
    from ...optimizer.problem.ring_phase import ring_of
    from ...optimizer.replan.cut_off import observed_at_cut_off

    looks: list[Look] = [
        lambda now, file=file: read_observed(file, now.scenario, now.ring)  # type: ignore[misc]
        for file in arguments.observed
    ]
    if arguments.observed:
        read_observed(arguments.observed[0], scenario, ring_of(scenario))
    reading = _reading(arguments, scenario)
    if reading is not None:
        looks.append(lambda now: observed_at_cut_off(now, reading))
    if not looks:
        raise InputError(
            "nothing says what was seen: give --observed FILE, or --craft NAME --period TIME.", where="command line"
        )
    return looks


def _reading(arguments: argparse.Namespace, scenario: Scenario) -> Reading | None:
    from ...optimizer.replan.cut_off import Reading
    from ..typed import moment, quantity

    typed = {name: value for name in READ if (value := getattr(arguments, name)) is not None}
    if arguments.craft is None:
        if typed:
            raise InputError("it does not say of which craft: add --craft NAME.", where=f"--{next(iter(typed))}")
        return None
    known_craft([arguments.craft], [craft.name for craft in scenario.craft if not craft.stay])
    if not typed.keys() & {"period", "periapsis", "apoapsis"}:
        raise InputError(
            f"nothing says what was read of {arguments.craft}: add --period 3:14:00, or the apsides.", where="--craft"
        )
    radius_m = scenario.body.radius_m
    low, high = (
        None if name not in typed else radius_m + quantity(typed[name], "length", f"--{name}")
        for name in ("periapsis", "apoapsis")
    )
    period_s = None if "period" not in typed else quantity(typed["period"], "time", "--period")
    now_s = None if "at" not in typed else moment(typed["at"], scenario.epoch, "--at")
    for name, value in (("period", period_s), ("at", now_s)):
        if value is not None and value <= 0.0:
            raise InputError(f"{typed[name]} is not after zero: write a positive time.", where=f"--{name}")
    return Reading(craft=arguments.craft, period_s=period_s, periapsis_m=low, apoapsis_m=high, now_s=now_s)


def _following(arguments: argparse.Namespace) -> list[Next]:
    """The same with its files, or where they are written the next look at the craft."""
    words = [word for file in arguments.observed for word in ("--observed", file)]
    if arguments.out is not None and arguments.craft is None:
        return [("after the next look", again(arguments, "replan", *words, "--observed", "FILE"))]
    words += [
        word
        for name in ("craft", *READ)
        if (value := getattr(arguments, name)) is not None
        for word in (f"--{name}", value)
    ]
    if arguments.out is None:
        return [("the sheets of the plan from here", again(arguments, "replan", *words, "--out", "DIR"))]
    return []
