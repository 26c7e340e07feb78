"""Craft that stay, flown under further forces from their places in the ring.

What a scenario says of them is a place. Put there with the speed of a circle, forces that they meet elsewhere than the
nominal craft would leave them with another mean rate; but they hold their slots already, so that they are taken to turn
at the ring's mean rate, as they are where the bulge alone is flown. Their starts - angle and radius of a circle - are
moved until their means over the window are those of their places.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from ...models.errors import FlightError
from ...models.flight.drag import Air
from ...models.flight.flown import Flight, Itinerary
from ...models.flight.forces import Field
from ...models.flight.integrate import fly, fly_each
from ...models.flight.smooth_mean import measure_smoothly, window_s
from ...models.flight.sunlight import Sunlight
from ...models.frames import wrap
from ...models.oblateness import ring_state
from ...models.reference import RELATIVE, slots_and_flights
from ...models.ring import Ring
from ...models.scenario import Scenario
from ...models.surroundings import Surface
from ..outcome import Kept
from .corrected_for_forces import MET_DRIFT_RAD, MET_SLOT_RAD

ROUNDS = 3

NOMINAL = ""
"""The name of a nominal craft among those that stay: it meets air and light as the reference does."""


@dataclass(frozen=True, kw_only=True)
class Stays:
    """A craft that stays: its start, by which it is off the slot's place and the ring's radius, and its flight."""

    kept: Kept
    itinerary: Itinerary
    flight: Flight | None = None
    ahead_rad: float = 0.0
    above_m: float = 0.0


def slots_and_staying(
    scenario: Scenario, ring: Ring, kept: Sequence[Kept], field: Field, from_s: float, end_s: float, surface: Surface
) -> tuple[Ring, tuple[Stays, ...]]:
    """The ring under the forces over the window that begins at a moment, and those that stay in it, flown to an end.

    Args:
        ring: under the bulge alone.
        surface: of the nominal craft.

    Raises:
        FlightError: the nominal craft, or one that stays, cannot be followed.
    """
    # as the nominal craft meets air and light: what each meets beside that parts them
    there = [_start(scenario, ring, one, end_s, surface) for one in kept]
    starts = [one.itinerary for one in there]
    if scenario.ring.longitude_rad is None:
        slots, flights = slots_and_flights(ring, scenario.body, field, from_s, surface, starts)
    else:
        slots, flights = ring, fly(starts, field, relative=RELATIVE)
    there = [replace(one, flight=flight) for one, flight in zip(there, flights, strict=True)]
    for _ in range(ROUNDS if field.terms else 0):
        moved = [_moved(scenario, ring, slots, one, from_s, end_s) for one in there]
        again = [k for k, one in enumerate(moved) if one.flight is None]
        if not again:
            break
        flights = fly([moved[k].itinerary for k in again], field, relative=RELATIVE)
        for k, flight in zip(again, flights, strict=True):
            moved[k] = replace(moved[k], flight=flight)
        there = moved
    own = {NOMINAL: surface, **{craft.name: craft.surface for craft in scenario.craft}}
    items = [replace(one.itinerary, surface=own.get(one.kept.craft, Surface())) for one in there]
    unlike = [k for k, item in enumerate(items) if item.surface != surface]
    if any(isinstance(term, Air | Sunlight) for term in field.terms) and unlike:
        flown = fly_each([items[k] for k in unlike], field, relative=RELATIVE)
        for k, seen in zip(unlike, flown, strict=True):
            there[k] = replace(there[k], itinerary=items[k], flight=seen)
    return slots, tuple(there)


def _moved(scenario: Scenario, ring: Ring, slots: Ring, one: Stays, from_s: float, end_s: float) -> Stays:
    """The craft started where it comes to its place, by the two-body problem to first order; as it is once it is
    there, or where it is lost."""
    assert one.flight is not None
    try:
        seen = measure_smoothly(one.flight, slots, one.kept.plane, one.kept.slot, from_s)
    except FlightError:
        return one
    off = float(wrap(seen.slot_error_rad - one.kept.error_rad))
    drift = 2.0 * math.pi * seen.period_error_s / slots.period_s
    if abs(off) <= MET_SLOT_RAD and abs(drift) <= MET_DRIFT_RAD:
        return one
    faster = slots.rate_rad_s - 2.0 * math.pi / (slots.period_s + seen.period_error_s)
    middle = from_s + 0.5 * window_s(ring)
    above = one.above_m - 2.0 / 3.0 * ring.radius_m * faster / slots.rate_rad_s
    surface = one.itinerary.surface
    return _start(scenario, ring, one.kept, end_s, surface, one.ahead_rad - off - faster * middle, above)


def _start(
    scenario: Scenario,
    ring: Ring,
    kept: Kept,
    end_s: float,
    surface: Surface,
    ahead_rad: float = 0.0,
    above_m: float = 0.0,
) -> Stays:
    angle = float(ring.phase(0.0, kept.slot, kept.plane)) + kept.error_rad + ahead_rad
    node, radius = ring.node(0.0, kept.plane), ring.radius_m + above_m
    position, velocity = ring_state(scenario.body, radius, angle, ring.inclination_rad, node)
    item = Itinerary(start_s=0.0, position=position, velocity=velocity, end_s=end_s, surface=surface)
    return Stays(kept=kept, itinerary=item, ahead_rad=ahead_rad, above_m=above_m)
