"""What must be done next, and what it costs to miss that."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from ...models.deadline import ENDED, OutOfTimeError
from ...models.scenario import Scenario
from ..choice.ring_phase import best_phase
from ..craft_plan import CraftPlan
from ..outcome import Outcome
from ..problem.ring_phase import problems
from ..robustness.missed_burn import missed
from .answer import CraftChange, Decision
from .remaining_scenario import Remaining

Progress = Callable[[str], None]


LATE_S = 60.0
"""A burn or a liftoff that is missed: the craft may do nothing before so long after it."""


DECISIONS_MAX = 6
"""Decisions, the soonest first, for which the price of missing them is worked out: each takes a separate search."""


def late(scenario: Scenario, craft: str, ready_s: float) -> Scenario:
    """The scenario with one craft that can do nothing before a time."""
    return replace(
        scenario,
        craft=tuple(
            replace(one, ready_s=max(one.ready_s, ready_s)) if one.name == craft else one for one in scenario.craft
        ),
    )


def decisions(
    before: Outcome, left: Remaining, changes: tuple[CraftChange, ...], now_s: float, progress: Progress
) -> tuple[Decision, ...]:
    found = []
    for change in changes:
        part, start = change.new, change.new_from_s
        burns = [burn.time_s + start for burn in part.burns if burn.time_s + start > now_s or start == now_s]
        if part.launch_s is not None and part.launch_s + start > now_s:
            found.append(Decision(craft=change.craft, at_s=start + part.launch_s, launch=True))
        elif burns:
            found.append(Decision(craft=change.craft, at_s=burns[0], launch=False))
    found.sort(key=lambda one: (one.at_s, one.craft))
    by_name = {change.craft: change for change in changes}
    scenario = left.scenario
    if scenario is None or scenario.front_step_s is not None:
        kept, planned = None, set()
    else:
        planned = {craft.name for craft in scenario.craft}
        try:
            kept = _cheapest(scenario, progress)
        except ENDED:
            kept = None
    out = []
    for number, one in enumerate(found):
        if number >= DECISIONS_MAX:
            out.append(one)
        elif kept is not None and scenario is not None and one.craft in planned:
            out.append(_missed(scenario, kept, one, now_s, progress))
        elif by_name[one.craft].new_from_s == 0.0 and not one.launch:
            out.append(_missed_for_a_turn(before, changes, by_name[one.craft].new, one, now_s))
        else:
            out.append(one)
    return tuple(out)


def _missed_for_a_turn(
    before: Outcome, changes: tuple[CraftChange, ...], part: CraftPlan, one: Decision, now_s: float
) -> Decision:
    """What a missed burn costs a craft that goes on as planned, by closed forms, where another touch comes."""
    index = next(k for k, burn in enumerate(part.burns) if burn.time_s > now_s or now_s == 0.0)
    try:
        missing = missed(before.scenario, before.ring, part, index)
    except ENDED:
        return one  # what it costs is not known
    if missing.kind == "re-entry":
        return replace(one, lost=True)
    if missing.kind != "again":
        return one
    finish = max(change.in_slot_s for change in changes)
    others = max((change.in_slot_s for change in changes if change.craft != part.craft), default=0.0)
    return replace(one, extra_m_s=missing.more_m_s, later_s=max(missing.in_slot_s, others) - finish)


def _missed(scenario: Scenario, kept: tuple[float, float], one: Decision, now_s: float, progress: Progress) -> Decision:
    progress(f"what it costs if {one.craft} misses its moment")
    try:
        other = _cheapest(late(scenario, one.craft, one.at_s - now_s + LATE_S), progress)
    except ENDED:
        return one  # what it costs is not known
    if other is None:
        return replace(one, lost=True)
    return replace(one, extra_m_s=other[0] - kept[0], later_s=other[1] - kept[1])


def _cheapest(scenario: Scenario, progress: Progress) -> tuple[float, float] | None:
    """Delta-v and finish of the best plan by the catalogue, not flown; None where no plan keeps the limits.

    Raises:
        OutOfTimeError: the search ended before it found one.
    """
    laid = best_phase(problems(scenario), scenario.minimize, progress)
    best = laid.best
    if best is None and laid.late:
        raise OutOfTimeError(laid.late)
    if best is None:
        return None
    return float(best.options.delta_v_m_s.sum()), float(best.options.finish_s.max())
