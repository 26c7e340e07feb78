"""A craft that is off its plan: where it is, what it was still to do, and that as a part of a plan again."""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...models import frames
from ...models.arrays import Array
from ...models.burns import BurnModel, FiniteThrust
from ...models.flight.gravity import gravity_around
from ...models.flight.integrate import Flight, Impulse, Itinerary, Measured, closest_in_ring, comes_back, fly, measure
from ...models.frames import plane_axes
from ...models.ring import Ring
from ...models.scenario import Craft, Scenario
from ..craft_plan import CraftPlan, Flown, lowest_periapsis
from ..flown_plans.burn_list import burns_of
from ..trajectory.differential_correction import IMPULSIVE

Seats = Sequence[tuple[str, int, int, float]]
"""Who else is in place: name, plane, slot, and since when."""


@dataclass(frozen=True, kw_only=True)
class OffPlan:
    """A craft that is a little off its plan.

    Args:
        part: what it was to do; times from the epoch.
        craft: its masses as they are now.
        position, velocity: its state, m and m/s.
        seen_s: when it was there.
        now_s: from when on something can be done, not before ``seen_s``.
        shape: eccentricity vector that its orbit is to end with, by the bulge alone.
    """

    part: CraftPlan
    craft: Craft
    position: Array
    velocity: Array
    seen_s: float
    now_s: float
    shape: tuple[float, float] = (0.0, 0.0)


def burns_left(one: OffPlan) -> tuple[Impulse, ...]:
    """The burns that are still to come, in the axes of the plan."""
    item = one.part.itinerary
    burns = () if item is None else item.impulses
    return tuple(burn for burn in burns if burn.time_s > one.now_s or (burn.time_s == one.now_s == 0.0))


def engine_now(one: OffPlan) -> BurnModel:
    """Its engine with the mass that it has now; impulses where no masses are known."""
    craft = one.craft
    if one.part.engine is None or craft.dry_mass_kg is None or craft.propellant_kg is None:
        return IMPULSIVE
    return replace(one.part.engine, mass_kg=craft.dry_mass_kg + craft.propellant_kg)


def tilt_of(ring: Ring, one: OffPlan) -> float:
    """Tilt of the orbit seen against the plane that the craft is to be in, rad."""
    spin = np.cross(one.position, one.velocity)
    pole = plane_axes(ring.inclination_rad, ring.node(one.seen_s, one.part.plane))[2]
    return math.atan2(float(np.linalg.norm(np.cross(spin, pole))), float(spin @ pole))


def rest_as_it_is(scenario: Scenario, ring: Ring, one: OffPlan, seats: Seats = ()) -> CraftPlan:
    """What is left for a craft to do, with the burns as they were planned; limits are not examined."""
    item = Itinerary.through_turn(one.seen_s, one.position, one.velocity, burns_left(one), ring)
    [flight] = fly([item], gravity_around(scenario.body), engine_now(one))
    seen = measure(flight, ring, one.part.plane, one.part.slot)
    return part_of(ring, one, flight, seen, seats, scenario.limits.separation_m)


def part_of(ring: Ring, one: OffPlan, flight: Flight, seen: Measured, seats: Seats, separation_m: float) -> CraftPlan:
    """What is left for a craft to do, as a part of a plan."""
    part, craft = one.part, replace(one.craft, load="full")
    burns = burns_of(craft, [flight])
    legs = flight.legs()
    impulses = flight.itinerary.impulses
    finish = impulses[-1].time_s if impulses else one.now_s
    loaded = craft.propellant_kg if craft.dry_mass_kg is not None else None
    left = burns[-1].propellant_after_kg if burns else loaded
    behind = 0 if one.now_s == 0.0 else sum(burn.time_s <= one.now_s for burn in part.burns)
    first = None if part.phasing_burn is None or part.phasing_burn < behind else part.phasing_burn - behind
    return replace(
        part,
        launch_s=None,
        pad=None,
        insertion=None,
        insertion_speed_m_s=None,
        insertion_s=None,
        azimuth_rad=None,
        insertion_state=None,
        heading=None,
        carrier=None,
        parking_wait_s=0.0,
        passes=0,
        revolutions=revolutions_of(ring, one, finish),
        ring_revolutions=part.ring_revolutions + revolutions_of(ring, one, finish) - part.revolutions,
        in_slot_s=finish,
        lowest_periapsis_m=lowest_periapsis(legs, flight),
        must_burn=part.must_burn and behind == 0,
        delta_v_m_s=math.fsum(burn.own_m_s for burn in burns),
        propellant_kg=None if left is None or loaded is None else loaded - left,
        propellant_left_kg=left,
        burns=burns,
        flown=Flown.of(seen, legs, _nearest(ring, part, flight, one.now_s, finish, seats, separation_m)),
        phasing_burn=first,
        before_burns=tuple(tuple(float(x) for x in state) for state in flight.before),
        turned_s=None if part.turned_s is None or part.turned_s <= one.now_s else part.turned_s,
        last_at_ring=-1,
        itinerary=flight.itinerary,
        engine=flight.burns if isinstance(flight.burns, FiniteThrust) else None,
    )


def revolutions_of(ring: Ring, one: OffPlan, finish_s: float) -> int:
    """Phasing revolutions of a craft that is in its slot at another time than planned."""
    return max(one.part.revolutions + round((finish_s - one.part.in_slot_s) / ring.period_s), 0)


def _nearest(
    ring: Ring,
    part: CraftPlan,
    flight: Flight,
    now_s: float,
    finish_s: float,
    seats: Seats,
    separation_m: float,
) -> tuple[float | None, str | None]:
    """Least distance to anybody who is in place before the craft is, and to whom.

    Those that it started together with count once they are outside the separation.
    """
    start = max(now_s, flight.begin_s, part.screened_from_s)
    found = []
    beside = {name for name, apart_s in part.apart_s if apart_s > start}
    for name, plane, slot, since_s in seats:
        begin = max(start, since_s)
        if name in beside and begin < finish_s:
            there = functools.partial(_in_slot, ring, plane, slot)
            begin = comes_back(flight, there, separation_m, begin, finish_s)
        if name != part.craft and begin < finish_s:
            [near] = closest_in_ring(flight, ring, [(plane, slot)], begin, finish_s)
            found.append((near.distance_m, name))
    return min(found, default=(None, None))


def _in_slot(ring: Ring, plane: int, slot: int, times_s: Array) -> Array:
    """Positions of a slot at times (n,), m, (n, 3)."""
    node = ring.node(0.0, plane) + ring.node_rate_rad_s * times_s
    return frames.on_circle(ring.radius_m, ring.phase(times_s, slot, plane), ring.inclination_rad, node)
