"""The plan that a replan leaves, whole and in the times of the first epoch, so that it can be read, flown and gone on
from as any other plan.

Craft under way begin at the moment of the observation, with the burns that are still to come; craft on the ground and
those that have burned nothing yet keep their part of the old plan. Craft in their slots hold them; those that are lost
are gone.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from ...models import deadline
from ...models.deadline import ENDED
from ...models.flight.integrate import fly
from ...models.reading.observed import Observed
from ...models.scenario import Craft, Occupied
from ..craft_plan import CarrierPlan, CraftPlan, burn_later, flown_later, later
from ..limits.judged import judged
from ..outcome import Kept, Outcome
from ..robustness.hold import hold
from ..trajectory.differential_correction import IMPULSIVE
from .answer import NOTHING, CraftChange, FromHere, Past, Replan
from .corrected_rest import corrected
from .off_plan import OffPlan, rest_as_it_is
from .real_flight import forced, gravity_of
from .remaining_scenario import remaining
from .replan import Progress, replan

NOT_FLOWN_ON = "the plan from here was not judged again, so that its files and any later observation are left out"
"""What is said where the search was ended after a replan, before what it leaves was made."""


def go_on(
    before: Outcome,
    looks: Sequence[Callable[[Outcome], Observed]],
    progress: Progress = lambda _: None,
) -> tuple[Replan, FromHere | None]:
    """Go on from a plan through one look at its craft after another, each from the plan that the one before it left.

    Args:
        before: of planning the scenario; it must have a plan.
        looks: at least one; each gives what was seen, for the outcome that is being flown then.

    Returns:
        What came of the last look, and the plan that it leaves. Where nothing is left to do or no plan is left after an
        earlier one, that one is the last.

    Raises:
        InputError: what was seen contradicts the scenario, or the looks are not in the order of their times.
    """
    done, here = None, FromHere(outcome=before, past=NOTHING)
    for look in looks:
        with deadline.flying():
            seen = look(here.outcome)
        done = replan(here.outcome, seen, progress, here.past)
        try:
            with deadline.flying():
                after = _corrected(done, from_here(done))
        except ENDED:
            return replace(done, unfinished="; ".join(one for one in (done.unfinished, NOT_FLOWN_ON) if one)), None
        if after is None:
            return done, None
        done, here = after
    if done is None:
        raise ValueError("nobody looked")
    return done, here


def _corrected(done: Replan, here: FromHere | None) -> tuple[Replan, FromHere] | None:
    return None if here is None else corrected(done, here)


def from_here(done: Replan) -> FromHere | None:
    """The plan that a replan leaves; None where nothing is left to do, or no plan.

    Propellant and delta-v of its craft are those from the observation on; margins and broken limits are judged again,
    as flown by the bulge alone: `corrected_rest.corrected` does the rest.
    """
    if not done.changes or (done.outcome is not None and not done.outcome.plans):
        return None
    before = done.before
    scenario, ring, old = before.scenario, before.ring, before.plans[0]
    everybody = remaining(before, old, done.observed)
    now = {craft.name: craft for craft in everybody.scenario.craft} if everybody.scenario is not None else {}
    kept = [*before.kept, *_done(done)]
    seats = [(one.craft, one.plane, one.slot, -math.inf) for one in kept]
    seats += [(change.craft, change.new.plane, change.new.slot, change.in_slot_s) for change in done.changes]
    parts, craft = [], {one.name: one for one in scenario.craft}
    for change in done.changes:
        name = change.craft
        part, moved = _part(done, change, now.get(name), seats)
        parts.append(part)
        if moved and name in now:
            craft[name] = _since(now[name], done.observed.now_s)
    gone = {*done.remaining.done, *done.remaining.lost}
    left = replace(
        scenario,
        craft=tuple(one for name, one in craft.items() if name not in gone),
        carriers=tuple(
            replace(c, craft=names) for c in scenario.carriers if (names := _aboard(c.craft, parts, c.name))
        ),
        ring=replace(
            scenario.ring,
            slot0_rad=ring.slot0_rad,
            occupied=(
                *scenario.ring.occupied,
                *(Occupied(name=one.craft, slot=one.slot, plane=one.plane) for one in kept[len(before.kept) :]),
            ),
        ),
    )
    carriers = _carriers(done, parts)
    plan = judged(left, parts, carriers, moved=any(part.heading is not None for part in parts))
    plan = replace(plan, rank=1, hold=hold(ring, left, plan.craft, kept))
    outcome = Outcome(
        scenario=left,
        ring=ring,
        proof=None,
        kept=tuple(kept),
        front=None,
        plans=(plan,),
        infeasible=None,
        phase_rule=before.phase_rule,
        notes=_notes(done),
        unfinished=done.unfinished,
    )
    return FromHere(outcome=outcome, past=_past(done))


def _done(done: Replan) -> list[Kept]:
    """Craft of the old plan that are in their slots."""
    surfaces = {craft.name: craft.surface for craft in done.before.scenario.craft}
    return [
        Kept(
            craft=part.craft,
            slot=part.slot,
            plane=part.plane,
            error_rad=part.flown.slot_error_rad,
            surface=surfaces[part.craft],
        )
        for part in done.before.plans[0].craft
        if part.craft in done.remaining.done
    ]


def _aboard(names: tuple[str, ...], parts: list[CraftPlan], carrier: str) -> tuple[str, ...]:
    return tuple(part.craft for part in parts if part.carrier == carrier and part.craft in names)


def _since(craft: Craft, now_s: float) -> Craft:
    """A craft whose times count from now, with times that count from the first epoch."""
    orbit = craft.orbit
    return replace(
        craft,
        ready_s=craft.ready_s + now_s,
        orbit=None if orbit is None else replace(orbit, at_s=orbit.at_s + now_s),
    )


def _part(
    done: Replan, change: CraftChange, now: Craft | None, seats: list[tuple[str, int, int, float]]
) -> tuple[CraftPlan, bool]:
    """One craft's part, times from the first epoch, and whether its start is another than that of the old plan."""
    part, now_s = change.new, done.observed.now_s
    if change.craft in done.mended:
        return part, True
    if change.new_from_s > 0.0:
        part = later(part, change.new_from_s)
        # a craft that has been at the ring before goes on waiting since then
        arrival = min(part.ring_arrival_s, change.old.ring_arrival_s)
        return (replace(part, ring_arrival_s=arrival) if arrival <= now_s else part), True
    item = part.itinerary
    behind = now_s > 0.0 and any(burn.time_s <= now_s for burn in part.burns)
    if not behind or now is None or item is None or item.start_s > now_s:
        return part, False
    if part.route == "drift":
        return _rest_of_drift(part, now, now_s), True
    cut = replace(item, impulses=tuple(b for b in item.impulses if b.time_s <= now_s), end_s=now_s)
    [flight] = fly([cut], gravity_of(done.before), IMPULSIVE if part.engine is None else part.engine)
    state = flight.end_state
    strayed = OffPlan(part=part, craft=now, position=state[:3], velocity=state[3:], seen_s=now_s, now_s=now_s)
    rest = rest_as_it_is(done.before.scenario, done.before.ring, strayed, seats)
    # without the forces that its burns are corrected for it would stand elsewhere
    return (rest if forced(done.before) is None else replace(rest, flown=part.flown)), True


def _rest_of_drift(part: CraftPlan, now: Craft, now_s: float) -> CraftPlan:
    """What is left of a flight of months, by its plan: from the state before its next burn, as it was flown."""
    behind = sum(burn.time_s <= now_s for burn in part.burns)
    burns, states, item = part.burns[behind:], part.before_burns[behind:], part.itinerary
    if not burns or item is None:
        return part
    start = np.array(states[0])
    return replace(
        part,
        burns=burns,
        before_burns=states,
        flown=replace(part.flown, highest_m=max(burn.apoapsis_after_m for burn in burns)),
        delta_v_m_s=math.fsum(burn.own_m_s for burn in burns),
        propellant_kg=None
        if part.propellant_left_kg is None or now.propellant_kg is None
        else now.propellant_kg - part.propellant_left_kg,
        itinerary=replace(
            item,
            start_s=burns[0].time_s,
            position=start[:3],
            velocity=start[3:],
            impulses=tuple(one for one in item.impulses if one.time_s > now_s),
        ),
    )


def _carriers(done: Replan, parts: list[CraftPlan]) -> tuple[CarrierPlan, ...]:
    """Carriers of the new plan, and those of the old one that still have craft on board."""
    by_s = done.observed.now_s
    new = () if done.outcome is None else done.outcome.plans[0].carriers
    found = [
        replace(
            one,
            launch_s=one.launch_s + by_s,
            insertion_s=one.insertion_s + by_s,
            first_pass_s=one.first_pass_s + by_s,
            burns=tuple(burn_later(burn, by_s) for burn in one.burns),
            drops=tuple(replace(drop, time_s=drop.time_s + by_s) for drop in one.drops),
            meets_s=None if one.meets_s is None else one.meets_s + by_s,
            itinerary=flown_later(one.itinerary, by_s),
        )
        for one in new
    ]
    riding = {part.carrier for part in parts} - {one.carrier for one in found}
    found += [one for one in done.old_plan.carriers if one.carrier in riding]
    return tuple(found)


def _notes(done: Replan) -> tuple[str, ...]:
    notes = ["What is left of a plan after a new look at its craft: burns, propellant and delta-v from then on"]
    if done.outcome is not None:
        notes += done.outcome.notes
    return tuple(notes)


def _past(done: Replan) -> Past:
    """What lies behind the new plan."""
    left, before = done.remaining, done.past
    finish = max([before.finish_s, *(p.in_slot_s for p in done.old_plan.craft if p.craft in left.done)])
    return Past(
        now_s=done.observed.now_s,
        spent=tuple(before.spent_until(left).items()),
        finish_s=finish,
        done=(*before.done, *left.done),
        lost=(*before.lost, *left.lost),
    )
