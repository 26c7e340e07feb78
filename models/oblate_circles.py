"""How circular orbits over an oblate body really go, read off flights: what `oblateness.circle_rates` leaves out.

In months that moves a craft along its orbit by many degrees, and a node by thousandths.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

from . import frames
from .arrays import Array
from .flight.flown import Itinerary
from .flight.gravity import gravity_around
from .flight.integrate import fly, measure
from .flight.slot_error import Measured
from .oblateness import circle_rates, ring_rates, ring_state
from .ring import Ring
from .scenario import Body

TURNS = 40
"""Turns over which a pace is read off."""

NODES = 9
"""Radii that are flown; between them the small rest is a polynomial."""

RELATIVE = 1e-12


def as_ring(
    body: Body, radius_m: float, inclination_rad: float, node_rad: float, angle_rad: float, time_s: float
) -> Ring:
    """A circle as a ring with one slot, by secular rates.

    Args:
        body: with its bulge.
        radius_m: mean radius.
        node_rad, angle_rad: node and argument of latitude of the slot, at ``time_s``.
        time_s: from the epoch.
    """
    rate, node_rate = (float(one) for one in circle_rates(body, radius_m, inclination_rad))
    return Ring(
        radius_m=radius_m,
        slots=1,
        rate_rad_s=rate,
        slot0_rad=angle_rad - rate * time_s,
        gm=body.gm,
        inclination_rad=inclination_rad,
        node_rad=node_rad - node_rate * time_s,
        node_rate_rad_s=node_rate,
    )


@dataclass(frozen=True, kw_only=True)
class Pace:
    """Polynomials in x in [-1, 1] across a span of radii: what is added to `oblateness.circle_rates`, rad/s.

    Args:
        low_m, high_m: the span.
        rate, node_rate: Chebyshev coefficients, for argument of latitude and node.
    """

    low_m: float
    high_m: float
    rate: Array
    node_rate: Array

    def added(self, radius_m: Array) -> tuple[Array, Array]:
        """What is to be added to `oblateness.ring_rates` at some radii, rad/s."""
        x = np.clip((2.0 * radius_m - self.low_m - self.high_m) / max(self.high_m - self.low_m, 1.0), -1.0, 1.0)
        chebval = np.polynomial.chebyshev.chebval
        return np.asarray(chebval(x, self.rate)), np.asarray(chebval(x, self.node_rate))


@functools.lru_cache(maxsize=8)
def pace(body: Body, inclination_rad: float, low_m: float, high_m: float) -> Pace:
    """Fly circles of the ring's kind (`oblateness.ring_state`) at some radii, and fit what their rates are more.

    Args:
        inclination_rad: of all of them, not equatorial.
        low_m, high_m: span of radii.
    """
    x = np.cos(math.pi * (np.arange(NODES) + 0.5) / NODES)
    circles = [circle(body, inclination_rad, 0.5 * (low_m + high_m + d * (high_m - low_m))) for d in x.tolist()]
    items = []
    for one in circles:
        position, velocity = ring_state(body, one.radius_m, 0.0, inclination_rad, 0.0)
        end = (TURNS + 1.25) * one.period_s
        items.append(Itinerary(start_s=0.0, position=position, velocity=velocity, end_s=end))
    flights = fly(items, gravity_around(body), relative=RELATIVE)
    rates, nodes = [], []
    for one, flight in zip(circles, flights, strict=True):
        lasts = TURNS * one.period_s
        rate, node_rate = drift_between(one, measure(flight, one, 0, 0, 0.0), measure(flight, one, 0, 0, lasts), lasts)
        rates.append(rate)
        nodes.append(node_rate)
    fit = np.polynomial.chebyshev.chebfit
    found = [np.asarray(fit(x, values, NODES - 1), dtype=np.float64) for values in (rates, nodes)]
    return Pace(low_m=low_m, high_m=high_m, rate=found[0], node_rate=found[1])


def circle(body: Body, inclination_rad: float, radius_m: float) -> Ring:
    """A circular orbit as a ring with one slot, which is at the node at time 0, by `oblateness.ring_rates`."""
    rate, node_rate = ring_rates(body, radius_m, inclination_rad)
    return Ring(
        radius_m=radius_m,
        slots=1,
        rate_rad_s=rate,
        slot0_rad=0.0,
        gm=body.gm,
        inclination_rad=inclination_rad,
        node_rate_rad_s=node_rate,
    )


def offsets(ring: Ring, seen: Measured) -> tuple[float, float]:
    """How far a craft is ahead of its place in argument of latitude, counted from its own node, and in node, rad.

    A pole leans toward its node as the node goes ahead; measured angles count from the ring's own node.
    """
    node = seen.plane_tilt_rad[0] / math.sin(ring.inclination_rad)
    return seen.slot_error_rad - math.cos(ring.inclination_rad) * node, node


def drift_between(ring: Ring, early: Measured, late: Measured, lasts_s: float) -> tuple[float, float]:
    """Rates at which a craft leaves its place between two measurements: argument of latitude and node, rad/s."""
    (angle, node), (angle_later, node_later) = offsets(ring, early), offsets(ring, late)
    return float(frames.wrap(angle_later - angle)) / lasts_s, (node_later - node) / lasts_s
