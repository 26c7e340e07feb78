"""How far the pictures of the page are from the flight: conics between burns against the numerical integration."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ...models import frames, kepler
from ...models.burns import Impulsive
from ...models.errors import FlightError
from ...models.flight.flown import Flight
from ...models.flight.gravity import gravity_around
from ...models.flight.integrate import fly
from ...models.readouts import brief
from ...optimizer.craft_plan import CraftPlan
from ...optimizer.outcome import Outcome, Plan
from ..figures.arcs import craft_stretches, gm_drawn

LOOKS = 240
"""Moments examined on each stretch, ends included."""

MOST_TURNS = 600.0
"""A plan of more turns of the ring, summed over its craft, is not flown for this: it would take seconds."""


@dataclass(frozen=True, kw_only=True)
class DrawnOff:
    """The greatest distance between what is drawn of a plan and its flight: angle along the ring, and height."""

    angle_rad: float
    height_m: float


def drawn_off(outcome: Outcome, plan: Plan) -> DrawnOff | None:
    """Fly a plan and look where its pictures differ most; None where that takes too long or there is no flight.

    The flight is projected on the craft's plane of the ring, as it is drawn. Stretches before a craft's flight begins
    (the wait for its first moment) are left out.
    """
    flown = [part for part in plan.craft if part.itinerary is not None and part.burns]
    spans = sum(part.itinerary.end_s - part.itinerary.start_s for part in flown if part.itinerary is not None)
    if not flown or spans > MOST_TURNS * outcome.ring.period_s:
        return None
    items = [part.itinerary for part in flown if part.itinerary is not None]
    try:
        flights = fly(items, gravity_around(outcome.scenario.body), [part.engine or Impulsive() for part in flown])
        found = [_off(outcome, part, flight) for part, flight in zip(flown, flights, strict=True)]
    except FlightError:
        return None
    worst = np.max(np.array(found), axis=0)
    return DrawnOff(angle_rad=float(worst[0]), height_m=float(worst[1]))


def drawn_words(outcome: Outcome, plan: Plan) -> str:
    """The same in a sentence for a caption."""
    off = drawn_off(outcome, plan)
    how = "Between burns craft are drawn on conics by Kepler's equation"
    if off is None:
        return f"{how}; how far these are from the flight was not examined."
    degrees, km = _upwards(math.degrees(off.angle_rad)), _upwards(off.height_m * 1e-3)
    return f"{how}, in plan {plan.rank} within {brief(degrees)} deg and {brief(km)} km of the numerical flight."


def _off(outcome: Outcome, part: CraftPlan, flight: Flight) -> tuple[float, float]:
    """Greatest differences of angle, rad, and radius, m, over the stretches of a craft."""
    ring, gm = outcome.ring, gm_drawn(outcome.ring)
    angle = height = 0.0
    for one in craft_stretches(outcome, part):
        # ends are left out by a second: there an impulse, or half a long burn, lies between the two states
        begin, end = max(one.from_s, flight.begin_s) + 1.0, one.to_s - 1.0
        if end <= begin:
            continue
        times = np.linspace(begin, end, LOOKS)
        drawn = np.asarray(kepler.propagate(one.position_m, one.velocity_m_s, times - one.at_s, gm)[0])
        there = flight.states(times)[:, :3]
        node = np.array([ring.node(float(time), part.plane) for time in times])
        turned = frames.latitude_argument(there, ring.inclination_rad, node)
        off = frames.wrap(turned - np.arctan2(drawn[:, 1], drawn[:, 0]))
        angle = max(angle, float(np.abs(off).max()))
        radii = np.linalg.norm(there, axis=1) - np.hypot(drawn[:, 0], drawn[:, 1])
        height = max(height, float(np.abs(radii).max()))
    return angle, height


def _upwards(value: float) -> float:
    """Rounded up to two digits, so that what is printed holds."""
    if value <= 0.0:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return float(f"{math.ceil(value / step - 1e-9) * step:.6g}")
