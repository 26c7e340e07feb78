"""When the burns of a nodal drift come, and how deep it must wait, so that node and slot are met on arrival.

Two conditions, node and slot, fix the wait and the radius: for each number of laps gained on the slot there is one
radius. (Secular rates to first order in J2, Vallado 2013, section 9.6; the flight corrects what they leave.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from ...models import orbits
from ...models.oblate_circles import Pace
from ...models.oblateness import EQUATORIAL_SINE, ring_rates, secular_rates
from ...models.ring import Ring
from ...models.scenario import Body, Orbit
from ..problem.detail import Detail
from ..problem.finite_burns import NONE_M_S
from ..problem.options import F, I, Options
from ..problem.problem import Problem

MOVED = 0.02
"""A waiting orbit is moved by no more than this share to its solution."""


STEPS = 12
"""Newton steps with which a depth is moved onto the slot; three or four are the rule."""

MET_RAD = 1e-9


@dataclass(frozen=True, kw_only=True)
class Waits(Detail):
    """Radius of the orbit in which each craft waits for its node to drift, m; it does so until ``burn_s``."""

    impulsive: ClassVar[bool] = True
    places: ClassVar[int] = 3

    waiting_m: F

    def burns(self, problem: Problem, options: Options, size_m_s: F, time_s: F) -> tuple[F, F]:
        """Two Hohmann transfers, into the waiting orbit and out of it."""
        ring = problem.ring
        size, time = np.zeros(size_m_s.shape), np.full(time_s.shape, np.nan)
        for row in range(len(self)):
            group = problem.classes[options.craft_class[row]]
            on_ring = group.craft.orbit is None or (group.start is not None and group.start.on_ring)
            radius = ring.radius_m if on_ring or group.craft.orbit is None else group.craft.orbit.periapsis_m
            low, high = self.waiting_m[row], ring.radius_m
            size[row, :4] = np.abs([*speed_changes(ring.gm, radius, low), *speed_changes(ring.gm, low, high)])
            into = float(options.burn_s[row] - options.parking_wait_s[row])
            down = 0.5 * float(orbits.period(ring.gm, 0.5 * (radius + low)))
            time[row, :4] = (into - down, into, float(options.burn_s[row]), float(options.finish_s[row]))
        # none of the four is left out, however small
        size[:, :4] = np.maximum(size[:, :4], 2.0 * NONE_M_S)
        return size, time


@dataclass(frozen=True, kw_only=True)
class Start:
    """A craft on a circular orbit: since when it may burn, and where it is then.

    Args:
        time_s: earliest first burn.
        radius_m: of its orbit.
        angle_rad, node_rad: argument of latitude and node at that time.
        on_ring: whether the orbit is the ring's.
    """

    time_s: float
    radius_m: float
    angle_rad: float
    node_rad: float
    on_ring: bool


@dataclass(frozen=True, kw_only=True)
class Seen:
    """How waiting orbits really go, against first order: what is to be added, arrays of shape (n,).

    Args:
        angle_rad, node_rad: once, on arrival in the waiting orbit.
        rate_rad_s, node_rate_rad_s: of argument of latitude and node while waiting.
    """

    angle_rad: F
    node_rad: F
    rate_rad_s: F
    node_rate_rad_s: F


def as_seen(pace: Pace, radius_m: F) -> Seen:
    """The real pace of circles of some radii, entered without an error."""
    rate, node_rate = pace.added(radius_m)
    none = np.zeros(radius_m.shape)
    return Seen(angle_rad=none, node_rad=none, rate_rad_s=rate, node_rate_rad_s=node_rate)


@dataclass(frozen=True, kw_only=True)
class Timetable:
    """The four burns of each of n drifts: times s, and the angle and node that they lead to; arrays of shape (n,).

    ``angle_rad`` and ``node_rad`` are those on arrival at the ring.
    """

    down_s: F
    in_waiting_s: F
    leave_s: F
    arrive_s: F
    angle_rad: F
    node_rad: F


def start_of(body: Body, ring: Ring, orbit: Orbit, ready_s: float, on_ring: bool) -> Start | None:
    """Where a craft in space may begin to drift; None where its orbit is no circle, or nothing drifts."""
    if body.j2 == 0.0 or abs(math.sin(ring.inclination_rad)) < EQUATORIAL_SINE or not (on_ring or orbit.circular):
        return None
    time = max(ready_s, 0.0)
    radius = ring.radius_m if on_ring else orbit.periapsis_m
    rate, node_rate = ring_rates(body, radius, ring.inclination_rad)
    node = ring.node(time, orbit.plane)
    if not on_ring:
        node = ring.node(orbit.at_s, orbit.plane) + node_rate * (time - orbit.at_s)
    angle = orbit.angle_rad + rate * (time - orbit.at_s)
    return Start(time_s=time, radius_m=radius, angle_rad=angle, node_rad=node, on_ring=on_ring)


def timetable(body: Body, ring: Ring, start: Start, plane: int, waiting_m: F, seen: Seen | None = None) -> Timetable:
    """When each burn comes for waiting orbits of given radii, so that the node is that of a plane on arrival.

    ``seen``: how such orbits were seen to go.
    """
    down, down_node = transfer(body, ring, start.radius_m, waiting_m)
    up, up_node = transfer(body, ring, ring.radius_m, waiting_m)
    rate, node_rate = _circle(body, ring, waiting_m)
    more_angle, more_node = np.zeros(1), np.zeros(1)
    if seen is not None:
        rate, node_rate = rate + seen.rate_rad_s, node_rate + seen.node_rate_rad_s
        more_angle, more_node = seen.angle_rad, seen.node_rad
    closing = node_rate - ring.node_rate_rad_s
    # how far the craft's node is ahead of the plane's, without any wait
    ahead = start.node_rad + (down_node - ring.node_rate_rad_s) * down + (up_node - ring.node_rate_rad_s) * up
    ahead = ahead + more_node - ring.node(start.time_s, plane)
    turn = 2.0 * math.pi
    wait = np.where(closing < 0.0, np.remainder(ahead, turn), turn - np.remainder(ahead, turn)) / np.abs(closing)
    into, leave = start.time_s + down, start.time_s + down + wait
    angle = start.angle_rad + turn + rate * wait + more_angle + swept(body, ring, start.radius_m, waiting_m, down)
    angle = angle + swept(body, ring, ring.radius_m, waiting_m, up)
    node = start.node_rad + down_node * down + up_node * up + node_rate * wait + more_node
    return Timetable(
        down_s=np.full(waiting_m.size, start.time_s),
        in_waiting_s=into,
        leave_s=leave,
        arrive_s=leave + up,
        angle_rad=angle,
        node_rad=node,
    )


def onto_slot(
    body: Body,
    ring: Ring,
    start: Start,
    plane: int,
    slot: I,
    radius_m: F,
    latest_s: float = math.inf,
    seen: Seen | Pace | None = None,
) -> tuple[F, np.ndarray]:
    """Waiting radii moved by the least so that the craft arrives at its slot, and whether they could be in time."""

    def lead(radius: F) -> tuple[F, F]:
        pace = as_seen(seen, radius) if isinstance(seen, Pace) else seen
        table = timetable(body, ring, start, plane, radius, pace)
        # angles in the craft's own plane; the nodes are the same on arrival
        return np.asarray(ring.phase(table.arrive_s, slot) - table.angle_rad), table.arrive_s

    radius = radius_m.copy()
    first, arrives = lead(radius)
    soon = arrives <= latest_s * 1.2
    aim = 2.0 * math.pi * np.round(first / (2.0 * math.pi))
    gap = first - aim
    for _ in range(STEPS):
        beside = radius * (1.0 + 1e-7)
        slope = (lead(beside)[0] - lead(radius)[0]) / (beside - radius)
        radius = np.clip(radius - gap / slope, (1.0 - 2.0 * MOVED) * radius_m, (1.0 + 2.0 * MOVED) * radius_m)
        gap = lead(radius)[0] - aim
    soon &= lead(radius)[1] <= latest_s
    return radius, soon & (np.abs(gap) < MET_RAD * 1e3) & (np.abs(radius / radius_m - 1.0) < MOVED)


def _circle(body: Body, ring: Ring, radius_m: F) -> tuple[F, F]:
    """Rates of argument of latitude and node on circles of the ring's inclination."""
    ratio = (ring.radius_m / radius_m) ** 1.5
    n = math.sqrt(body.gm / ring.radius_m**3) * ratio
    eps = body.j2 * (body.j2_radius_m / radius_m) ** 2
    sine2 = math.sin(ring.inclination_rad) ** 2
    return n * (1.0 + eps * (9.0 / 4.0 - 21.0 / 8.0 * sine2)), -1.5 * eps * n * math.cos(ring.inclination_rad)


def speed_changes(gm: float, one_m: F | float, other_m: F | float) -> tuple[F, F]:
    """Changes of speed at the ends of a Hohmann transfer between circles, the first from ``one_m``, signed, m/s."""
    one, other = np.asarray(one_m, dtype=np.float64), np.asarray(other_m, dtype=np.float64)
    semi = 0.5 * (one + other)
    first = orbits.speed(gm, one, semi) - orbits.speed(gm, one, one)
    return np.asarray(first), np.asarray(orbits.speed(gm, other, other) - orbits.speed(gm, other, semi))


def transfer(body: Body, ring: Ring, one_m: float, other_m: F) -> tuple[F, F]:
    """Length and node rate of half an ellipse between two circles."""
    semi = 0.5 * (one_m + other_m)
    shape = np.abs(one_m - other_m) / (one_m + other_m)
    half = np.asarray(0.5 * orbits.period(ring.gm, semi), dtype=np.float64)
    return half, secular_rates(body, semi, shape, ring.inclination_rad).node_rad_s


def swept(body: Body, ring: Ring, one_m: float, other_m: F, half_s: F) -> F:
    """By how much more than half a turn the argument of latitude grows along half an ellipse."""
    semi = 0.5 * (one_m + other_m)
    shape = np.abs(one_m - other_m) / (one_m + other_m)
    rates = secular_rates(body, semi, shape, ring.inclination_rad)
    return np.asarray(rates.latitude_argument_rad_s * half_s - math.pi)
