"""What is left of a plan, corrected for the same further forces as the plan was, for the same slots.

Craft whose orbit was seen begin where they were seen, all others where the forces have brought them by the plan. Where
the correction would break a limit all burns stay as they were found by the bulge alone, and the answer says so.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from ...models.errors import FlightError
from ...models.ring import Ring
from ..craft_plan import CraftPlan, later
from ..limits.judged import judged
from ..outcome import Outcome, Plan
from ..robustness.under_forces import Again, under_forces
from ..standing import UnderForces
from .answer import CraftChange, FromHere, Replan
from .needed import state_seen
from .real_flight import forced, state_by_plan
from .repair import MET_RAD

LOST = "what is left was not flown under further forces: a craft cannot be followed"


def corrected(done: Replan, here: FromHere) -> tuple[Replan, FromHere]:
    """A replan and the plan that it leaves, both with their burns corrected for the forces of the plan before.

    As they are where that plan was not corrected for any, and with what was said of it where all goes as planned.
    """
    before = forced(done.before)
    if before is None:
        return done, here
    if done.remaining.as_planned:
        return replace(done, under=before), replace(here, outcome=replace(here.outcome, under=before))
    outcome = here.outcome
    parts = tuple(_from_where_it_is(done, part) for part in outcome.plans[0].craft)
    plan = replace(outcome.plans[0], craft=parts)
    beside = {
        part.craft: part.flown.slot_error_rad
        for part in parts
        if part.craft in done.mended and abs(part.flown.slot_error_rad) > MET_RAD
    }
    # what goes on as it was planned is corrected already
    as_planned = set(done.remaining.frozen) - set(done.mended)
    try:
        again = Again(like=before, off_rad=beside, as_planned=as_planned)
        found = under_forces(outcome, plan, again=again, holds=False)
    except FlightError:
        found = None
    if found is None:
        return replace(done, unfinished="; ".join(one for one in (done.unfinished, LOST) if one)), here
    made, under = found
    made = replace(made, rank=1)
    # a hold by the bulge alone is none of this plan
    here = replace(here, outcome=replace(outcome, plans=(made,), under=under, made=plan))
    return (_with_burns(done, made, under) if under.corrected else replace(done, under=under)), here


def _from_where_it_is(done: Replan, part: CraftPlan) -> CraftPlan:
    """A part of the plan from here that begins where its craft really is, and meets air and light as before."""
    change = next(one for one in done.changes if one.craft == part.craft)
    item, now_s = part.itinerary, done.observed.now_s
    if item is None:
        return part
    if change.old.itinerary is not None:
        item = replace(item, surface=change.old.itinerary.surface)
    if change.new_from_s == 0.0 or part.launch_s is not None:
        return replace(part, itinerary=item)
    seen = done.observed.of(part.craft)
    if seen is not None and seen.orbit is not None:
        position, velocity, start_s = state_seen(done.before.scenario, done.before.ring, seen)
    else:
        position, velocity, start_s = state_by_plan(done.before, change.old, now_s)
    return replace(part, itinerary=replace(item, start_s=start_s, position=position, velocity=velocity))


def _with_burns(done: Replan, made: Plan, under: UnderForces) -> Replan:
    """The answer with the corrected burns of the plan from here, and its sums made up from them."""
    new = {part.craft: part for part in made.craft}
    changes = tuple(_changed(done, one, new[one.craft]) for one in done.changes)
    more = math.fsum(one.rest_m_s - was.rest_m_s for one, was in zip(changes, done.changes, strict=True))
    there = [part.in_slot_s for part in done.old_plan.craft if part.craft in done.remaining.done]
    return replace(
        done,
        changes=changes,
        total_m_s=done.total_m_s + more,
        finish_s=max([done.past.finish_s, *there, *(one.in_slot_s for one in changes)]),
        outcome=None if done.outcome is None else _from_now(done.outcome, new, done.observed.now_s, under),
        under=under,
    )


def _changed(done: Replan, change: CraftChange, part: CraftPlan) -> CraftChange:
    """The same with the burns that are still to come as corrected."""
    ahead, old = later(part, -change.new_from_s), change.new
    behind = len(old.burns) - len(done.burns_to_come(change))
    new = replace(
        old,
        burns=(*old.burns[:behind], *ahead.burns),
        before_burns=(*old.before_burns[:behind], *ahead.before_burns),
        last_at_ring=ahead.last_at_ring,
        in_slot_s=ahead.in_slot_s,
        delta_v_m_s=math.fsum(burn.own_m_s for burn in (*old.burns[:behind], *ahead.burns)),
        flown=ahead.flown,
    )
    return replace(change, new=new, rest_m_s=math.fsum(burn.own_m_s for burn in ahead.burns))


def _from_now(outcome: Outcome, new: Mapping[str, CraftPlan], now_s: float, under: UnderForces) -> Outcome:
    """The plan of what is left, its times from now, with the parts as corrected."""
    old = outcome.plans[0]
    parts = [later(new[part.craft], -now_s) for part in old.craft]
    made = judged(outcome.scenario, parts, old.carriers, moved=any(part.heading is not None for part in parts))
    plan = old.with_judged(made)
    front = None if outcome.front is None else outcome.front.with_flown(plan)
    slots = None if under.slots is None else _counted_from(under.slots, now_s)
    return replace(
        outcome,
        plans=(plan, *outcome.plans[1:]),
        front=front,
        under=replace(under, at_s=under.at_s - now_s, slots=slots),
        made=old,
    )


def _counted_from(ring: Ring, now_s: float) -> Ring:
    """The same ring for times from now."""
    return replace(ring, slot0_rad=float(ring.phase(now_s, 0)), node_rad=ring.node(now_s))
