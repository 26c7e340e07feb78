"""The burns of a plan corrected for the forces of its scenario, by their full flight.

The aim is the same as before: each craft in its slot, at the ring's mean rate, on a circle; but slot and rate are those
under the forces (``models/reference.py``), and both are measured by smooth means over the window that begins when the
last craft of the plan is done, so that all stand and turn alike there. A craft that phases has its phasing burn and its
last burn at the ring changed. One that does not - it arrives or starts in place - gets two trims along the ring.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from ...models.burns import Impulsive
from ...models.craft import mass_at_start
from ...models.flight.flown import Flight, Impulse, Itinerary
from ...models.flight.forces import Field
from ...models.flight.slot_error import closest_in_ring
from ...models.flight.smooth_mean import measure_smoothly, window_s
from ...models.reference import RELATIVE
from ...models.ring import Ring
from ...models.scenario import Scenario
from ...models.surroundings import NO_SURFACE, Surface
from ..craft_plan import CraftPlan, Flown
from ..flown_plans.burn_list import burns_of
from ..limits.judged import judged
from ..outcome import Plan
from ..trajectory.differential_correction import Case, Corrected, Unknown, correct_each

TRIM_AFTER, TRIM_APART = 0.5, 2.0
"""Turns of the ring from the last burn, or the start, to the first trim, and from there to the second at least."""

TOLERANCE_RAD = 2e-6
"""Miss at which a craft is met: a ten-thousandth of a degree of slot, or 0.04 deg of drift in a year of 16 turns a
day, at most."""
ROUNDS_MAX = 6

MET_SLOT_RAD, MET_DRIFT_RAD = 2e-5, 2e-6
"""What a craft may be off its slot, and drift off it in a turn, that counts as met: a thousandth of a degree, and a
tenth of that a turn. What is left of the eccentricity is out of reach of burns at one place."""

SAME_M_S = 1e-4
"""Trims smaller than this in all are not planned."""

READ_M_S = 5e-4
"""A first trim below this cannot be read off a sheet; it is made with the second if the slot is met all the same."""

END_MARGIN = 1.25
"""Turns of the ring beyond the window that are flown, since the ring's turns may be longer under the forces."""


@dataclass(frozen=True, kw_only=True)
class ForForces:
    """One craft's part of a plan as corrected: its itinerary, from its own start on, and whether it is met."""

    part: CraftPlan
    itinerary: Itinerary
    met: bool
    trimmed: bool = False


def settled_s(plan: Plan, scenario: Scenario, ring: Ring, as_planned: Collection[str] = ()) -> float:
    """When every craft of a plan is done once it is corrected, s: its last burn or trim is over.

    Args:
        as_planned: craft that get no trims.
    """
    ends = [0.0, plan.finish_s]
    for part in plan.craft:
        trims = None if part.craft in as_planned else _trims_s(part, scenario, ring, plan.finish_s)
        ends.append(part.in_slot_s if trims is None else trims[1])
        # a long last burn ends after the moment of its impulse
        ends[-1] += 0.5 * (part.burns[-1].duration_s or 0.0) if part.burns else 0.0
    return max(ends)


def correct_for_forces(
    plan: Plan,
    scenario: Scenario,
    ring: Ring,
    slots: Ring,
    field: Field,
    from_s: float,
    off_rad: Mapping[str, float],
    as_planned: Collection[str],
) -> tuple[ForForces, ...]:
    """Correct every craft that a plan moves.

    Args:
        ring, slots: the ring under the bulge alone, and under the forces.
        field: the forces.
        from_s: beginning of the window, see `settled_s`.
        off_rad: craft that are to stand beside their slots, by how much.
        as_planned: craft whose burns are corrected already.

    Returns:
        One for each craft of the plan that was flown on its own, in its order; craft for whom no better burns were
        found keep theirs.
    """
    end_s = from_s + window_s(ring) + END_MARGIN * ring.period_s
    parts = [part for part in plan.craft if part.itinerary is not None]
    cases = []
    moved = [part for part in parts if part.craft not in as_planned]
    for part in moved:
        place = replace(slots, slot0_rad=slots.slot0_rad + off_rad.get(part.craft, 0.0))
        cases.append(_case(part, scenario, ring, place, plan.finish_s, from_s, end_s))
    able = [case for case in cases if case.itinerary.impulses]
    found = iter(correct_each(able, field, tolerance_rad=TOLERANCE_RAD, rounds_max=ROUNDS_MAX))
    new = {
        part.craft: _taken(part, case, next(found) if case.itinerary.impulses else None)
        for part, case in zip(moved, cases, strict=True)
    }
    return tuple(new.get(part.craft) or _as_it_is(part, end_s) for part in parts)


def _as_it_is(part: CraftPlan, end_s: float) -> ForForces:
    """A craft that keeps its burns, flown to the end."""
    assert part.itinerary is not None
    return ForForces(part=part, itinerary=replace(part.itinerary, end_s=end_s), met=True)


def _in_place(part: CraftPlan, ring: Ring) -> bool:
    """Whether a craft has nothing to phase with: fewer than two burns, or none with which phasing begins.

    Under way, where that burn is over, a burn that comes turns before the last one serves as well.
    """
    if len(part.burns) < 2:
        return True
    early = part.route != "drift" and part.burns[-1].time_s - part.burns[0].time_s >= TRIM_APART * ring.period_s
    return part.phasing_burn is None and part.route != "timed" and not early


def _trims_s(part: CraftPlan, scenario: Scenario, ring: Ring, finish_s: float) -> tuple[float, float] | None:
    """Moments of the two trims of a craft in place, within the plan's time where there is room; None for none.

    No time that is limited may run out for a trim.
    """
    if not _in_place(part, ring) or part.itinerary is None:
        return None
    burned = part.burns[-1].time_s + 0.5 * (part.burns[-1].duration_s or 0.0) if part.burns else -math.inf
    first = max(burned, part.itinerary.start_s, part.ring_arrival_s) + TRIM_AFTER * ring.period_s
    limits = scenario.limits
    latest = min(limits.finish_within_s, part.ring_arrival_s + limits.wait_within_s)
    room = math.floor((min(latest, finish_s) - first) / ring.period_s)
    turns = max(TRIM_APART, room)
    second = first + turns * ring.period_s
    return None if second > latest else (first, second)


def surface_of(part: CraftPlan, scenario: Scenario) -> Surface:
    """What air and light meet of a craft: as it was flown before, or else at the mass that it starts with."""
    flown = NO_SURFACE if part.itinerary is None else part.itinerary.surface
    if flown != NO_SURFACE:
        return flown
    return next(craft.surface for craft in scenario.craft if craft.name == part.craft)


def _case(
    part: CraftPlan, scenario: Scenario, ring: Ring, slots: Ring, finish_s: float, from_s: float, end_s: float
) -> Case:
    assert part.itinerary is not None
    item = replace(part.itinerary, end_s=end_s, surface=surface_of(part, scenario))
    trims = _trims_s(part, scenario, ring, finish_s)
    last = part.last_at_ring
    unknowns: tuple[Unknown, ...] = (Unknown(last, "radial"), Unknown(last, "along"))
    if trims is not None:
        item = replace(item, impulses=(*item.impulses, *(Impulse(time_s, 0.0, 0.0) for time_s in trims)))
        unknowns = (Unknown(-2, "along"), Unknown(-1, "radial"), Unknown(-1, "along"))
    elif not _in_place(part, ring):
        unknowns = (Unknown(part.phasing_burn or 0, "along"), *unknowns)
    return Case(
        itinerary=item,
        ring=slots,
        plane=part.plane,
        slot=part.slot,
        burns=part.engine or Impulsive(),
        unknowns=unknowns,
        from_s=from_s,
        relative=RELATIVE,
    )


def _taken(part: CraftPlan, case: Case, result: Corrected | None) -> ForForces:
    """The correction where it is one; trims that come to nothing are left out."""
    assert part.itinerary is not None
    added = len(case.itinerary.impulses) - len(part.itinerary.impulses)
    burned = part.itinerary.impulses
    met = False
    if result is not None:
        slot, drift = result.last.misses(case.ring)[:2].tolist()
        met = abs(slot) <= MET_SLOT_RAD and abs(drift) <= MET_DRIFT_RAD
        new = result.itinerary.impulses
        if not added:
            return ForForces(part=part, itinerary=result.itinerary, met=met)
        if math.fsum(burn.delta_v_m_s for burn in new[-2:]) >= SAME_M_S:
            trims = _as_one(new[-2], new[-1], case.ring) if met else new[-2:]
            return ForForces(
                part=part, itinerary=replace(result.itinerary, impulses=(*new[:-2], *trims)), met=met, trimmed=True
            )
    return ForForces(part=part, itinerary=replace(case.itinerary, impulses=burned), met=met)


def _as_one(first: Impulse, second: Impulse, ring: Ring) -> tuple[Impulse, ...]:
    """Two trims along the ring, or both in the second where the first is next to nothing.

    The slot is missed then by what the first would have gained on the way: 3 dv t / R, to first order (Clohessy and
    Wiltshire 1960); the rate is the same.

    >>> ring = Ring(radius_m=4e6, slots=3, rate_rad_s=3e-4, slot0_rad=0.0, gm=5e12)
    >>> _as_one(Impulse(0.0, 0.0, 1e-5), Impulse(1e5, 0.002, 3e-5), ring)
    (Impulse(time_s=100000.0, radial_m_s=0.002, along_m_s=4e-05, cross_m_s=0.0),)
    """
    missed_rad = 3.0 * abs(first.along_m_s) * (second.time_s - first.time_s) / ring.radius_m
    if first.delta_v_m_s >= READ_M_S or missed_rad > MET_SLOT_RAD:
        return first, second
    return (second._replace(along_m_s=first.along_m_s + second.along_m_s),)


def rebuilt(
    plan: Plan, scenario: Scenario, slots: Ring, found: Sequence[ForForces], flights: Sequence[Flight], from_s: float
) -> Plan:
    """The plan with the burns as corrected, and judged by their flight under the forces.

    Args:
        found: corrections.
        flights: of each, to the window's end.
    """
    new = {
        one.part.craft: _part(one, scenario, slots, plan, flight, from_s)
        for one, flight in zip(found, flights, strict=True)
    }
    craft = [new.get(part.craft, part) for part in plan.craft]
    by_limits = craft if scenario.ring.tilt_tolerance_rad > 0.0 else _planes_as_made(plan, craft)
    made = judged(scenario, by_limits, plan.carriers, moved=any(part.heading is not None for part in craft))
    return replace(plan.with_judged(made), craft=tuple(craft))


def _planes_as_made(plan: Plan, craft: Sequence[CraftPlan]) -> list[CraftPlan]:
    """The craft with the tilt of the plan as it was made.

    No burn is planned against what further forces do to planes. Where no tilt is allowed, nobody gave room for that.
    """
    tilts = {part.craft: part.flown.plane_error_rad for part in plan.craft}
    return [replace(one, flown=replace(one.flown, plane_error_rad=tilts[one.craft])) for one in craft]


def _part(one: ForForces, scenario: Scenario, slots: Ring, plan: Plan, flight: Flight, from_s: float) -> CraftPlan:
    part = one.part
    craft = next(craft for craft in scenario.craft if craft.name == part.craft)
    pad = next((pad for pad in scenario.pads if pad.name == part.pad), None)
    stage = None if pad is None or part.carrier is not None else pad.upper_stage
    burns = burns_of(craft, [flight], None, stage)
    spent = math.fsum(burn.own_m_s for burn in burns)
    loaded = None if craft.dry_mass_kg is None else float(mass_at_start(craft, spent)) - craft.dry_mass_kg
    left = burns[-1].propellant_after_kg if burns else loaded
    seen = measure_smoothly(flight, slots, part.plane, part.slot, from_s)
    return replace(
        part,
        in_slot_s=burns[-1].time_s if one.trimmed else part.in_slot_s,
        last_at_ring=-1 if one.trimmed else part.last_at_ring,
        delta_v_m_s=spent,
        propellant_kg=None if left is None or loaded is None else loaded - left,
        propellant_left_kg=left,
        burns=burns,
        flown=Flown.of(seen, flight.legs(), _nearest(part, slots, plan, flight)),
        before_burns=tuple(tuple(float(x) for x in state) for state in flight.before),
        itinerary=flight.itinerary,
    )


def _nearest(part: CraftPlan, slots: Ring, plan: Plan, flight: Flight) -> tuple[float | None, str | None]:
    """Least distance to the craft that came nearest before, if that has its slot in this plan."""
    other = next((one for one in plan.craft if one.craft == part.flown.closest_to), None)
    if other is None:
        return part.flown.closest_m, part.flown.closest_to
    apart = dict(part.apart_s).get(other.craft, -math.inf)
    begin = max(part.screened_from_s, other.in_slot_s, apart, flight.begin_s)
    if begin >= part.in_slot_s:
        return part.flown.closest_m, part.flown.closest_to
    [near] = closest_in_ring(flight, slots, [(other.plane, other.slot)], begin, part.in_slot_s)
    return near.distance_m, other.craft
