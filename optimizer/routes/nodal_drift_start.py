"""Where a craft may begin to drift, and how its own orbit goes: read off a flight of some turns.

An orbit as given is the osculating one of a moment. Its mean plane leans from that by up to 3/4 J2 (Re / r)^2 sin i
cos i (Kozai 1959), a hundredth of a degree in low orbits, and its mean radius is another one, too.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass, replace

import numpy as np

from ...models import oblate_coast as coast
from ...models.flight.flown import Itinerary
from ...models.flight.gravity import gravity_around
from ...models.flight.integrate import fly, measure
from ...models.oblate_circles import RELATIVE, TURNS, circle, drift_between, offsets, pace
from ...models.oblateness import EQUATORIAL_SINE, ring_state
from ...models.ring import Ring
from ...models.scenario import Body, Orbit

SPAN = 0.002
"""The pace of the ring's own circle is read off circles that are larger and smaller by this share."""


@dataclass(frozen=True, kw_only=True)
class Start:
    """A craft on an orbit that is nearly a circle: since when it may burn, where it is then, and how it goes.

    All means over a turn.

    Args:
        time_s: earliest first burn.
        radius_m: of its orbit.
        angle_rad, node_rad: argument of latitude and node at that time.
        rate_rad_s, node_rate_rad_s: how fast they grow.
        lean_rad: inclination less the ring's.
        on_ring: whether the orbit is the ring's.
    """

    time_s: float
    radius_m: float
    angle_rad: float
    node_rad: float
    rate_rad_s: float
    node_rate_rad_s: float
    lean_rad: float
    on_ring: bool


@functools.lru_cache(maxsize=256)
def start_of(body: Body, ring: Ring, orbit: Orbit, ready_s: float, on_ring: bool) -> Start | None:
    """Where a craft in space may begin to drift; None where its orbit is not nearly a circle, or nothing drifts."""
    drifts = body.j2 != 0.0 and abs(math.sin(ring.inclination_rad)) >= EQUATORIAL_SINE
    if not drifts or not (on_ring or orbit.nearly_circular):
        return None
    time = max(ready_s, 0.0)
    if on_ring:
        return Start(
            time_s=time,
            radius_m=ring.radius_m,
            angle_rad=orbit.angle_rad + ring.rate_rad_s * (time - orbit.at_s),
            node_rad=ring.node(time, orbit.plane),
            rate_rad_s=ring.rate_rad_s,
            node_rate_rad_s=ring.node_rate_rad_s + node_rate_more(body, ring),
            lean_rad=0.0,
            on_ring=True,
        )
    return _flown(body, ring, orbit, time)


def node_rate_more(body: Body, ring: Ring) -> float:
    """How much faster than it is counted (`oblateness.circle_rates`) the node of a craft on the ring goes, rad/s."""
    around = pace(body, ring.inclination_rad, (1.0 - SPAN) * ring.radius_m, (1.0 + SPAN) * ring.radius_m)
    return float(around.added(np.array([ring.radius_m]))[1][0])


def _flown(body: Body, ring: Ring, orbit: Orbit, time_s: float) -> Start:
    """A craft off the ring, as it is seen over `TURNS` turns."""
    state = coast.state_as_given(body, ring, orbit, time_s)
    radius = 0.5 * (orbit.periapsis_m + orbit.apoapsis_m)
    # measured angles count from a node that is near the craft's
    node_rate = circle(body, ring.inclination_rad, radius).node_rate_rad_s
    return _seen(
        body, ring, state, radius, time_s, ring.node(orbit.at_s, orbit.plane) + node_rate * (time_s - orbit.at_s)
    )


@functools.lru_cache(maxsize=64)
def parked(body: Body, ring: Ring, radius_m: float, angle_rad: float) -> Start:
    """A craft on a circle of the ring's inclination whose node is at 0 at time 0, when it is at an angle from it."""
    state = ring_state(body, radius_m, angle_rad, ring.inclination_rad, 0.0)
    return _seen(body, ring, state, radius_m, 0.0, 0.0)


def _seen(
    body: Body, ring: Ring, state: tuple[np.ndarray, np.ndarray], radius_m: float, time_s: float, node0_rad: float
) -> Start:
    """A craft off the ring by its state at a time, as it is seen over `TURNS` turns; its node is near ``node0_rad``."""
    position, velocity = state
    given = circle(body, ring.inclination_rad, radius_m)
    lasts = TURNS * given.period_s
    item = Itinerary(start_s=0.0, position=position, velocity=velocity, end_s=lasts + 1.25 * given.period_s)
    (flight,) = fly([item], gravity_around(body), relative=RELATIVE)
    frame = replace(given, node_rad=node0_rad)
    early, late = measure(flight, frame, 0, 0, 0.0), measure(flight, frame, 0, 0, lasts)
    angle, node = offsets(frame, early)
    rate, node_rate = drift_between(frame, early, late, lasts)
    return Start(
        time_s=time_s,
        radius_m=given.radius_m + early.radius_error_m,
        angle_rad=angle,
        node_rad=node0_rad + node,
        rate_rad_s=given.rate_rad_s + rate,
        node_rate_rad_s=given.node_rate_rad_s + node_rate,
        lean_rad=-early.plane_tilt_rad[1],
        on_ring=False,
    )
