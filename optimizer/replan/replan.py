"""The best plan from here: for all that is not done yet, against the plan that was being flown."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

from ...models import deadline
from ...models.deadline import ENDED
from ...models.errors import InputError
from ...models.reading.observed import Observed
from ...models.scenario import Aim
from ..craft_plan import CraftPlan, later
from ..limits.tilt_tolerance import PLANE_SLACK_RAD
from ..outcome import Outcome, Plan
from ..plan import make_plan
from .answer import NOTHING, CraftChange, Past, Replan
from .decisions import decisions
from .needed import state_seen
from .off_plan import OffPlan
from .real_flight import aims, forced
from .remaining_scenario import Remaining, remaining
from .repair import mend

Progress = Callable[[str], None]


NOTICED_M_S = 0.05
"""Of two plans that differ by less than this, the one that changes less is taken."""

AS_GOOD_M_S, LATER_S = 0.1, 60.0
"""Where the rest of the old plan, mended, costs what it was to cost within this and ends no later than this beyond it,
nothing better is looked for."""

NEAR_SHARE = 0.005
"""In circular speeds: where mending the old plan changes what it costs by no more than this, free-form flights are not
looked for, as mending takes the cheapest burns that there are near it."""


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
    near_m_s = NEAR_SHARE * before.ring.speed_m_s
    left = _left(before, observed)
    if left.as_planned or left.scenario is None:
        rest = _rest_of(before, observed, left, None, {}, past, progress)
        return replace(rest, unfinished="; ".join(_of_old(before)))
    progress("what is left of the plan, mended")
    held, missing = _mended(before, observed, left)
    missing = [*_of_old(before), *missing]
    found = []
    if held:
        kept = _left(before, observed, freeze=True, held=frozenset(held))
        outcome = None if kept.scenario is None else make_plan(kept.scenario, progress)
        found.append(_rest_of(before, observed, kept, outcome, held, past, progress))
        if not left.lost and _as_good(found[0], -math.inf if fresh else near_m_s):
            return replace(found[0], unfinished="; ".join([*missing, *_undone(outcome)]))
    for freeze in (True, False):
        way = _left(before, observed, freeze=freeze)
        if freeze and not way.frozen:
            continue
        # free-form flights are for craft with no other way, and not for the sake of others
        fitting = [one for one in found if one.fits]
        touching = any(one.outcome is not None for one in fitting)
        if way.stepped and fitting and (touching or min(abs(one.dearer_m_s) for one in fitting) <= near_m_s):
            continue
        progress("with the others as planned" if freeze else "all craft replanned")
        outcome = None if way.scenario is None else make_plan(way.scenario, progress)
        turned, untilted = _turned(before, observed, way, outcome)
        found.append(_rest_of(before, observed, way, outcome, turned, past, progress))
        missing += [*untilted, *_undone(outcome, "with the others as planned" if freeze else "all craft replanned")]
    return replace(_best(found, before.scenario.minimize), unfinished="; ".join(dict.fromkeys(missing)))


def _left(
    before: Outcome, observed: Observed, *, freeze: bool = False, held: frozenset[str] = frozenset()
) -> Remaining:
    """What is left of the best plan, by flights to now: without them nothing can be said."""
    with deadline.flying():
        return remaining(before, before.plans[0], observed, freeze=freeze, held=held)


def _as_good(mended: Replan, near_m_s: float) -> bool:
    """Whether nothing better need be looked for: what is left of the best plan is the best that can be left."""
    changed = abs(mended.dearer_m_s)
    stands = changed <= AS_GOOD_M_S and mended.later_s <= LATER_S
    return mended.fits and (stands or changed <= near_m_s)


def _of_old(before: Outcome) -> list[str]:
    """What is missing of the plan that is being flown, in words: with more time it may be another one."""
    return [f"the plan as it was: {before.unfinished}"] if before.unfinished else []


def _undone(outcome: Outcome | None, way: str = "") -> list[str]:
    """What is missing of a plan of what is left, in words."""
    if outcome is None or not outcome.unfinished:
        return []
    return [f"{way}: {outcome.unfinished}" if way else outcome.unfinished]


def _best(found: Sequence[Replan], aim: Aim) -> Replan:
    """What changes less comes first, and stays where another is not better by what a person would notice."""
    best = found[0]
    for one in found[1:]:
        if (one.fits, best.fits) == (True, False) or (one.fits == best.fits and _better(one, best, aim)):
            best = one
    return best


def _mended(before: Outcome, observed: Observed, left: Remaining) -> tuple[dict[str, CraftPlan], list[str]]:
    """Craft whose orbit was seen, each with the rest of its old plan mended, where that keeps the limits; and what is
    missing because the search was ended, in words."""
    gone = set(left.lost)
    try:
        held = _mend(before, observed, left, [part for part in before.plans[0].craft if part.craft not in gone])
    except ENDED:
        return {}, ["going on with the old plan, mended, was not reached"]
    return held, ["not every way to mend the old plan was reached"] if deadline.over() else []


def _turned(
    before: Outcome, observed: Observed, left: Remaining, outcome: Outcome | None
) -> tuple[dict[str, CraftPlan], list[str]]:
    """Craft that were seen tilted, of which replanning takes no account: their new parts with the tilt taken off; and
    what is missing because the search was ended, in words."""
    if outcome is None or not outcome.plans:
        return {}, []
    allowed = before.scenario.ring.tilt_tolerance_rad + PLANE_SLACK_RAD
    parts = [
        later(part, observed.now_s)
        for part in outcome.plans[0].craft
        if (seen := observed.of(part.craft)) is not None and seen.tilt_rad > allowed
    ]
    try:
        return _mend(before, observed, left, parts), []
    except ENDED:
        return {}, ["taking off the tilt was not reached"]


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
    if not strayed:
        return {}
    others = {part.craft: part for part in (*before.plans[0].craft, *parts) if part.craft not in left.lost}
    seats = [(one.craft, one.plane, one.slot, -math.inf) for one in before.kept]
    seats += [(part.craft, part.plane, part.slot, part.in_slot_s) for part in others.values()]
    found: list[CraftPlan | None] = []
    if forced(before) is None:
        found += mend(scenario, ring, strayed, seats, scenario.minimize)
    else:
        for aim, one in aims(before, strayed):
            found += mend(scenario, aim, [one], seats, scenario.minimize)
    return {one.part.craft: part for one, part in zip(strayed, found, strict=True) if part is not None}


def _better(one: Replan, other: Replan, aim: Aim) -> bool:
    """Whether a new plan beats another by the goal, then by delta-v and finish, by more than is noticed."""
    gains = [other.total_m_s + _to_add(other) - one.total_m_s - _to_add(one), other.finish_s - one.finish_s]
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


def _to_add(one: Replan) -> float:
    """What correcting for further forces will add to craft that are planned again, m/s: as much as it did before."""
    made = one.before.made
    if forced(one.before) is None or made is None:
        return 0.0
    was = {part.craft: part.delta_v_m_s for part in made.craft}
    changes = [change for change in one.changes if change.new_from_s > 0.0 and change.craft not in one.mended]
    return math.fsum(change.old.delta_v_m_s - was[change.craft] for change in changes if change.craft in was)


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
        decisions=decisions(before, left, tuple(changes), now, progress),
        total_m_s=total,
        finish_s=finish,
        mended=tuple(name for name in order if name in held),
        past=past,
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
