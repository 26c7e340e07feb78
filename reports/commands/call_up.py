"""``respace --spares``: the slots stay, and a spare is called into that of a lost craft."""

from __future__ import annotations

import argparse
import os
from typing import TYPE_CHECKING

from ...models.errors import InputError
from ..console import width
from .deliver import Next, again, deliver
from .planned import FIRST_SHARE, INTERRUPTED, NO_PLAN, UNDECIDED, NoPlanError, run_of, scenario_of, status_of
from .progress import shown_progress

if TYPE_CHECKING:
    from ...optimizer.studies.call_up import CallUps
    from ...optimizer.studies.respace import Standing

FILE = "called.toml"
"""The name that is proposed for the scenario of a call."""


def call_up(arguments: argparse.Namespace) -> int:
    """Which spare to call for each craft that may be lost."""
    _refuse_others(arguments)
    scenario = scenario_of(arguments)
    from ...models.deadline import flying, share
    from ...optimizer.plan import make_plan
    from ...optimizer.studies.call_up import call_ups
    from ...optimizer.studies.respace import standing_after, standing_now
    from ..call_up import call_up_json, call_up_text, write_call_up
    from ..files import write_text

    with shown_progress(arguments) as progress, run_of(arguments) as run:
        if arguments.after_plan:
            before = make_plan(scenario, progress, brief=True, left_s=share(FIRST_SHARE))
            if not before.plans:
                raise NoPlanError(before, status_of(before, run))
            with flying():
                now = standing_after(before, before.plans[0], slots_stay=True)
        else:
            now = standing_now(scenario, slots_stay=True)
        found = call_ups(now, arguments.lost, progress)
    if arguments.write is not None:
        write_text(arguments.write, _written(arguments, now, found))
    deliver(
        arguments,
        lambda: call_up_text(found, width()),
        json=lambda: call_up_json(found),
        files=lambda out: write_call_up(found, out),
        kept="Text, JSON and the figure of the ring with its spares",
        following=_following(arguments, found),
    )
    if not found.reached:
        return INTERRUPTED if run.stopped else UNDECIDED
    return 0 if any(loss.best("delta_v") for loss in found.losses) else NO_PLAN


def _refuse_others(arguments: argparse.Namespace) -> None:
    """Refuse options that are about the even spread.

    Raises:
        InputError: there is one.
    """
    given = {
        "--slots": arguments.slots,
        "--slots-deg": arguments.slots_deg,
        "--plane": arguments.plane,
        "--fronts": arguments.fronts or None,
    }
    for option, value in given.items():
        if value is not None:
            raise InputError(
                f"{option} is about spreading the ring again, and with --spares the slots stay: take one of them out.",
                where="command line",
            )
    if arguments.write is None:
        return
    if len(arguments.lost) != 1:
        raise InputError("with --spares one call is written: name the craft that is lost with --lost.", where="--write")
    if os.path.lexists(arguments.write):
        raise InputError(f"{arguments.write} exists already and is left as it is: give another name.", where="--write")


def _written(arguments: argparse.Namespace, now: Standing, found: CallUps) -> str:
    """The scenario of the call that is best by the goal."""
    from ...optimizer.studies.call_up import call_scenario, spare_of
    from ..respaced_scenario import called_text

    (loss,) = found.losses
    best = loss.best(found.scenario.minimize)
    if best is None:
        raise InputError(f"no spare can be called for {loss.craft}, so there is no scenario to write.", where="--write")
    made = call_scenario(now, loss.craft, spare_of(now, best.spare))
    return called_text(arguments.scenario, arguments.settings, made, now.after_s)


def _following(arguments: argparse.Namespace, found: CallUps) -> list[Next]:
    if arguments.write is not None:
        return [("what the spare has to do", again(argparse.Namespace(scenario=arguments.write, settings=[]), "sheet"))]
    first = next((loss.craft for loss in found.losses if loss.best("delta_v")), None)
    if first is None:
        return []
    words = ["--spares", "--lost", first, *(["--after-plan"] if arguments.after_plan else []), "--write", FILE]
    return [("the call for one loss as a scenario", again(arguments, "respace", *words))]
