"""Where launchers let go, where a scenario leaves a range: found on a grid that is made finer around what was chosen.

The first grid is the scenario's own (`models/insertions.py`). Each launch may be let go at another insertion of the
grid; besides, each insertion of the first grid is looked at for all launches of its site together, so that a launcher
can be ordered for one.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import replace

from ..models.deadline import ENDED, over, searching, share
from ..models.insertions import Insertion
from ..models.readouts import brief
from ..models.scenario import Pad, Scenario
from .outcome import LetGo, Outcome

ROUNDS = 2
"""How often the grid is made finer."""

FINER = 4
"""Steps into which one is divided then."""

REFINING_SHARE, TABLE_SHARE = 0.4, 0.2
"""Of the time that is left: what a finer choice of insertions may take, and the table of one insertion for all."""

Planner = Callable[[Scenario], Outcome]
Progress = Callable[[str], None]


def chooses(scenario: Scenario) -> bool:
    """Whether any launch site leaves a range to choose from."""
    return any(one.out_of is not None for pad in scenario.pads for one in pad.insertions)


def with_ranges(scenario: Scenario, plan: Planner, briefly: Planner, progress: Progress) -> Outcome:
    """The outcome with the insertions of each site chosen out of their range, and what each would do for all launches.

    Args:
        scenario: one that `chooses`.
        plan, briefly: plan a scenario; the second its best plan alone.
        progress: called with the state of the work in words.
    """
    with searching(share(REFINING_SHARE)):
        finer, note = refined(scenario, briefly, progress)
    with searching(share(1.0 - TABLE_SHARE)):
        found = plan(finer)
    if not found.plans:
        return found
    return replace(found, notes=(*found.notes, note), let_go=for_all_launches(scenario, briefly, progress))


def refined(scenario: Scenario, plan: Planner, progress: Progress) -> tuple[Scenario, str]:
    """The scenario with a grid that is finer around the insertions of the best plan, and a note on how fine it is.

    Args:
        scenario: one that `chooses`.
        plan: plans a scenario briefly: its best plan alone.
        progress: called with the state of the work in words.
    """
    step = _first_share(scenario)
    for _ in range(ROUNDS):
        progress("where to be let go")
        found = _tried(plan, scenario)
        if found is None or not found.plans:
            break
        scenario = replace(scenario, pads=tuple(_finer(pad, found, step / FINER) for pad in scenario.pads))
        step /= FINER
    return scenario, _note(scenario, step)


def _tried(plan: Planner, scenario: Scenario) -> Outcome | None:
    try:
        return plan(scenario)
    except ENDED:
        return None


def _first_share(scenario: Scenario) -> float:
    shares = sorted(one.out_of.share_of(one) for pad in scenario.pads for one in pad.insertions if one.out_of)
    return max((b - a for a, b in itertools.pairwise(shares)), default=1.0)


def _finer(pad: Pad, found: Outcome, step: float) -> Pad:
    """The site with more insertions around those that its launches use."""
    used = {part.insertion for part in found.plans[0].craft if part.pad == pad.name}
    used |= {one.insertion for one in found.plans[0].carriers if one.pad == pad.name}
    more: list[Insertion] = []
    for one in pad.insertions:
        if one.out_of is None or one.name not in used:
            continue
        here = one.out_of.share_of(one)
        places = (here + number * step for number in range(-FINER + 1, FINER) if number)
        more += [one.out_of.at(place) for place in places if -1e-9 <= place <= 1.0 + 1e-9]
    named = {one.name: one for one in (*more, *pad.insertions)}
    order = sorted(named.values(), key=lambda one: (one.given, one.periapsis_m, one.apoapsis_m))
    return replace(pad, insertions=tuple(order))


def _note(scenario: Scenario, step: float) -> str:
    """How fine the grid is."""
    said = []
    for pad in scenario.pads:
        for spread in dict.fromkeys(one.out_of for one in pad.insertions if one.out_of is not None):
            ends = [(radius - spread.body_radius_m) * 1e-3 for radius in spread.leading_m]
            said.append(
                f"insertions of {pad.name} from {brief(ends[0])} to {brief(ends[1])} km are tried on a grid, every "
                f"{brief(step * spread.width_m * 1e-3, 2)} km around those chosen: one in between may be a little "
                "better"
            )
    return "; ".join(said)


def for_all_launches(scenario: Scenario, plan: Planner, progress: Progress) -> tuple[LetGo, ...]:
    """What the best plan comes to where all launches of a site are let go at the same insertion of the first grid.

    Args:
        scenario: as read, with its first grid.
        plan: plans a scenario briefly.
        progress: called with the state of the work in words.

    Returns:
        One for each insertion, upward; fewer where time runs out.
    """
    rows: list[LetGo] = []
    for index, pad in enumerate(scenario.pads):
        for one in pad.insertions:
            if one.out_of is None or over():
                continue
            progress(f"all launches of {pad.name} at {one.name}")
            alone = replace(pad, insertions=(one,))
            pads = (*scenario.pads[:index], alone, *scenario.pads[index + 1 :])
            found = _tried(plan, replace(scenario, pads=pads))
            if found is None or (not found.plans and found.infeasible is None and found.undecided):
                continue
            best = found.plans[0] if found.plans else None
            rows.append(
                LetGo(
                    pad=pad.name,
                    insertion=one.name,
                    periapsis_m=one.periapsis_m,
                    apoapsis_m=one.apoapsis_m,
                    payload_kg=pad.payload_to(one),
                    delta_v_m_s=math.inf if best is None else best.delta_v_m_s,
                    finish_s=math.inf if best is None else best.finish_s,
                )
            )
    return tuple(rows)
