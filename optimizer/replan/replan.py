"""The best plan from here: for all that is not done yet, against the plan that was being flown."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...models.deadline import ENDED, OutOfTimeError
from ...models.errors import InputError
from ...models.reading.observed import Observed
from ...models.scenario import Aim, Scenario
from ..catalogue.problem import problems
from ..craft_plan import CraftPlan, later
from ..outcome import Outcome, Plan
from ..plan import best_phase, make_plan
from ..robustness.missed_burn import missed
from ..trajectory.limits import PLANE_SLACK_RAD
from .needed import state_seen
from .off_plan import OffPlan
from .remaining_scenario import Remaining, remaining
from .repair import mend

Array = NDArray[np.float64]
Progress = Callable[[str], None]

LATE_S = 60.0
"""A burn or a liftoff that is missed: the craft may do nothing before so long after it."""

SAME_S, SAME_M_S = 1.0, 0.01
"""Within this in time and in delta-v the way into a slot is the same."""

NOTICED_M_S = 0.05
"""Of two plans that differ by less than this, the one that changes less is taken."""

AS_GOOD_M_S, LATER_S = 0.1, 60.0
"""Where the rest of the old plan, mended, costs what it was to cost within this and ends no later than this beyond it,
nothing better is looked for."""

NEAR_SHARE = 0.005
"""In circular speeds: where mending the old plan changes what it costs by no more than this, free-form flights are not
looked for, as mending takes the cheapest burns that there are near it."""

DECISIONS_MAX = 6
"""Decisions, the soonest first, for which the price of missing them is worked out: each takes a separate search."""


@dataclass(frozen=True, kw_only=True)
class CraftChange:
    """One craft that is moved on: its part of the old plan, and of the new one, whose times count from ``new_from_s``.

    ``spent_m_s`` until now; ``rest_m_s`` and ``old_rest_m_s`` from now on, the latter of the plan as it was.
    """

    craft: str
    old: CraftPlan
    new: CraftPlan
    new_from_s: float
    spent_m_s: float
    rest_m_s: float
    old_rest_m_s: float

    @property
    def in_slot_s(self) -> float:
        """When it is in its slot, from the first epoch."""
        return self.new_from_s + self.new.in_slot_s

    @property
    def same(self) -> bool:
        """Whether it goes on as it was planned."""
        return (
            (self.old.plane, self.old.slot) == (self.new.plane, self.new.slot)
            and abs(self.in_slot_s - self.old.in_slot_s) <= SAME_S
            and abs(self.rest_m_s - self.old_rest_m_s) <= SAME_M_S
        )


@dataclass(frozen=True, kw_only=True)
class Decision:
    """What must be done next for a craft, and what it costs to miss that.

    ``at_s`` from the first epoch. ``launch``: a liftoff, else a burn. ``extra_m_s`` and ``later_s`` are what the whole
    plan costs more and ends later, by the catalogue, if nothing is done before `LATE_S` after it; None where it was not
    worked out, or (``lost``) where no plan is left then.
    """

    craft: str
    at_s: float
    launch: bool
    extra_m_s: float | None = None
    later_s: float | None = None
    lost: bool = False


@dataclass(frozen=True, kw_only=True)
class Past:
    """What lies behind a plan that is gone on from a second time.

    Args:
        now_s: when it was made, from the first epoch.
        spent: what each craft had burned by then, m/s, by name.
        finish_s: when the last of the craft was in its slot that were there by then.
        done, lost: craft that were in their slots, or gone.
    """

    now_s: float = 0.0
    spent: tuple[tuple[str, float], ...] = ()
    finish_s: float = 0.0
    done: tuple[str, ...] = ()
    lost: tuple[str, ...] = ()

    @property
    def spent_m_s(self) -> float:
        """By all craft."""
        return math.fsum(one for _, one in self.spent)

    def spent_until(self, left: Remaining) -> dict[str, float]:
        """What each craft has burned until a later look, m/s, by name."""
        spent = dict(self.spent)
        for one in left.spent:
            spent[one.craft] = spent.get(one.craft, 0.0) + one.delta_v_m_s
        return spent


NOTHING = Past()


@dataclass(frozen=True, kw_only=True)
class Replan:
    """The whole answer.

    ``outcome`` is the plan of what is left, its times from now; None where nothing is left, or where nothing was seen
    that differs from the plan: the rest of the best plan is then the best plan of the rest. ``total_m_s``
    counts what was spent, ``finish_s`` counts from the first epoch, both with the craft that are done. ``mended``
    craft go on with the burns that they were to make, corrected.
    """

    before: Outcome
    old_plan: Plan
    observed: Observed
    remaining: Remaining
    outcome: Outcome | None
    changes: tuple[CraftChange, ...]
    decisions: tuple[Decision, ...]
    total_m_s: float
    finish_s: float
    mended: tuple[str, ...] = ()
    past: Past = NOTHING

    @property
    def old_total_m_s(self) -> float:
        """What the plan as it was comes to, with what was spent before it."""
        return self.old_plan.delta_v_m_s + self.past.spent_m_s

    @property
    def old_finish_s(self) -> float:
        """When the last craft was to be in its slot by the plan as it was."""
        return max(self.old_plan.finish_s, self.past.finish_s)

    @property
    def dearer_m_s(self) -> float:
        """By how much the rest costs more than that of the plan as it was, for the craft that are moved."""
        return math.fsum(change.rest_m_s - change.old_rest_m_s for change in self.changes)

    @property
    def worst_m_s(self) -> float:
        """What the craft that burns most burns in all."""
        return max((change.spent_m_s + change.rest_m_s for change in self.changes), default=0.0)

    @property
    def later_s(self) -> float:
        """By how much the last craft is in its slot later than by the plan as it was."""
        return self.finish_s - self.old_finish_s

    @property
    def fits(self) -> bool:
        """Whether there is a plan, and one within the limits."""
        return self.outcome is None or bool(self.outcome.plans and not self.outcome.plans[0].broken)


def replan(
    before: Outcome,
    observed: Observed,
    progress: Progress = lambda _: None,
    past: Past = NOTHING,
    *,
    fresh: bool = True,
) -> Replan:
    """Plan what is left of the best plan of an outcome, from what was seen.

    What is left of the old plan, mended, is compared with replanning: first the craft off the plan alone, then all.

    Args:
        before: of planning the scenario; it must have a plan.
        observed: what was seen, and when.
        progress: called with the state of the work in words.
        past: what lies behind the plan, where it was itself gone on with.
        fresh: False to replan only where mending the old plan changes what it costs by more than `NEAR_SHARE` of the
            circular speed: this is quick, and may miss a plan that is better by less.

    Raises:
        InputError: what was seen contradicts the scenario, or came before what the plan knows.
    """
    if observed.now_s < past.now_s:
        raise InputError(
            f"now is {past.now_s - observed.now_s:.0f} s before that of the observation before it: give the files in "
            "the order of their times.",
            where=observed.file,
        )
    progress("where the plan has the craft now")
    old = before.plans[0]
    left = remaining(before, old, observed)
    if left.as_planned or left.scenario is None:
        return _rest_of(before, observed, left, None, {}, past, progress)
    progress("what is left of the plan, mended")
    held = _mended(before, observed, left)
    aim, found = before.scenario.minimize, []
    if held:
        kept = remaining(before, old, observed, freeze=True, held=frozenset(held))
        outcome = None if kept.scenario is None else make_plan(kept.scenario, progress)
        found.append(_rest_of(before, observed, kept, outcome, held, past, progress))
        # what is left of the best plan is the best that can be left
        changed = abs(found[0].dearer_m_s)
        as_good = changed <= AS_GOOD_M_S and found[0].later_s <= LATER_S
        near = not fresh and changed <= NEAR_SHARE * before.ring.speed_m_s
        if found[0].fits and not left.lost and (as_good or near):
            return found[0]
    for freeze in (True, False):
        way = remaining(before, old, observed, freeze=freeze)
        if freeze and not way.frozen:
            continue
        # free-form flights are for craft with no other way, and not for the sake of others
        fitting = [one for one in found if one.fits]
        touching = any(one.outcome is not None for one in fitting)
        dearest = NEAR_SHARE * before.ring.speed_m_s
        if way.stepped and fitting and (touching or min(abs(one.dearer_m_s) for one in fitting) <= dearest):
            continue
        progress("with the others as planned" if freeze else "all craft replanned")
        outcome = None if way.scenario is None else make_plan(way.scenario, progress)
        found.append(_rest_of(before, observed, way, outcome, _turned(before, observed, way, outcome), past, progress))
    best = found[0]
    for one in found[1:]:
        # what changes less comes first, and stays where another is not better by what a person would notice
        if (one.fits, best.fits) == (True, False) or (one.fits == best.fits and _better(one, best, aim)):
            best = one
    return best


def _mended(before: Outcome, observed: Observed, left: Remaining) -> dict[str, CraftPlan]:
    """Craft whose orbit was seen, each with the rest of its old plan mended, where that keeps the limits."""
    gone = set(left.lost)
    return _mend(before, observed, left, [part for part in before.plans[0].craft if part.craft not in gone])


def _turned(before: Outcome, observed: Observed, left: Remaining, outcome: Outcome | None) -> dict[str, CraftPlan]:
    """Craft that were seen tilted, of which replanning takes no account: their new parts with the tilt taken off."""
    if outcome is None or not outcome.plans:
        return {}
    allowed = before.scenario.ring.tilt_tolerance_rad + PLANE_SLACK_RAD
    parts = [
        later(part, observed.now_s)
        for part in outcome.plans[0].craft
        if (seen := observed.of(part.craft)) is not None and seen.tilt_rad > allowed
    ]
    return _mend(before, observed, left, parts)


def _mend(before: Outcome, observed: Observed, left: Remaining, parts: Sequence[CraftPlan]) -> dict[str, CraftPlan]:
    """Parts of a plan, times from the first epoch, mended from where their craft were seen."""
    scenario, ring = before.scenario, before.ring
    if left.scenario is None:
        return {}
    now = {craft.name: craft for craft in left.scenario.craft}
    strayed = []
    for part in parts:
        seen = observed.of(part.craft)
        if part.craft in now and seen is not None and seen.orbit is not None:
            position, velocity, seen_s = state_seen(scenario, ring, seen)
            strayed.append(
                OffPlan(
                    part=part,
                    craft=now[part.craft],
                    position=position,
                    velocity=velocity,
                    seen_s=seen_s,
                    now_s=observed.now_s,
                )
            )
    others = {part.craft: part for part in (*before.plans[0].craft, *parts) if part.craft not in left.lost}
    seats = [(one.craft, one.plane, one.slot, -math.inf) for one in before.kept]
    seats += [(part.craft, part.plane, part.slot, part.in_slot_s) for part in others.values()]
    found = zip(strayed, mend(scenario, ring, strayed, seats, scenario.minimize), strict=True)
    return {one.part.craft: part for one, part in found if part is not None}


def _better(one: Replan, other: Replan, aim: Aim) -> bool:
    """Whether a new plan beats another by the goal, then by delta-v and finish, by more than is noticed."""
    gains = [other.total_m_s - one.total_m_s, other.finish_s - one.finish_s]
    least = [NOTICED_M_S, LATER_S]
    if aim == "finish":
        gains.reverse()
        least.reverse()
    if aim == "worst_delta_v":
        gains.insert(0, other.worst_m_s - one.worst_m_s)
        least.insert(0, NOTICED_M_S)
    for gain, least_gain in zip(gains, least, strict=True):
        if abs(gain) > least_gain:
            return gain > 0.0
    return False


def _rest_of(
    before: Outcome,
    observed: Observed,
    left: Remaining,
    outcome: Outcome | None,
    held: dict[str, CraftPlan],
    past: Past,
    progress: Progress,
) -> Replan:
    old, now = before.plans[0], observed.now_s
    spent = past.spent_until(left)
    kept = {part.craft for part in old.craft} - set(left.done) - set(left.lost) if left.as_planned else set(left.frozen)
    changes = [_change(held.get(part.craft, part), old, 0.0, now, spent) for part in old.craft if part.craft in kept]
    if outcome is not None and outcome.plans:
        changes += [
            _change(held[part.craft], old, 0.0, now, spent)
            if part.craft in held
            else _change(part, old, now, now, spent)
            for part in outcome.plans[0].craft
        ]
    order = [part.craft for part in old.craft]
    changes.sort(key=lambda change: order.index(change.craft))
    total = sum(spent.values()) + sum(change.rest_m_s for change in changes)
    finish = max([past.finish_s, _done_s(old, left), *(change.in_slot_s for change in changes)])
    return Replan(
        before=before,
        old_plan=old,
        observed=observed,
        remaining=left,
        outcome=outcome,
        changes=tuple(changes),
        decisions=_decisions(before, left, tuple(changes), now, progress),
        total_m_s=total,
        finish_s=finish,
        mended=tuple(name for name in order if name in held),
        past=past,
    )


def late(scenario: Scenario, craft: str, ready_s: float) -> Scenario:
    """The scenario with one craft that can do nothing before a time."""
    return replace(
        scenario,
        craft=tuple(
            replace(one, ready_s=max(one.ready_s, ready_s)) if one.name == craft else one for one in scenario.craft
        ),
    )


def _done_s(old: Plan, left: Remaining) -> float:
    return max((part.in_slot_s for part in old.craft if part.craft in left.done), default=0.0)


def _change(part: CraftPlan, old: Plan, start_s: float, now_s: float, spent: dict[str, float]) -> CraftChange:
    was = next(one for one in old.craft if one.craft == part.craft)
    old_rest = _rest(was, now_s)
    return CraftChange(
        craft=part.craft,
        old=was,
        new=part,
        new_from_s=start_s,
        spent_m_s=spent[part.craft],
        rest_m_s=_rest(part, now_s - start_s),
        old_rest_m_s=old_rest,
    )


def _rest(part: CraftPlan, after_s: float) -> float:
    """What is burned after a moment; a burn at time 0 of a plan is still to be made."""
    return sum(burn.own_m_s for burn in part.burns if burn.time_s > after_s or after_s == 0.0)


def _decisions(
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
    missing = missed(before.scenario, before.ring, part, index)
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
    _, best, missing = best_phase(problems(scenario), scenario.minimize, progress)
    if best is None and missing:
        raise OutOfTimeError(missing)
    if best is None:
        return None
    return float(best.options.delta_v_m_s.sum()), float(best.options.finish_s.max())
