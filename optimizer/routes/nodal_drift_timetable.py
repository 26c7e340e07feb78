"""When the burns of a nodal drift come, and in which orbit it waits, so that plane and slot are met on arrival.

A craft stays in its own circular orbit for a time, goes to a waiting orbit, whose inclination may be another, stays
there, and goes up to its slot. Plane and slot are two conditions, so two of these quantities follow from the others; a
plane that burns turn in part is a third, since it can be turned only where the planes cross. (Secular rates to first
order in J2, Vallado 2013, section 9.6; the flight corrects what they leave.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import Literal

import numpy as np

from ...models import orbits, planes
from ...models.arrays import Mask, Rows
from ...models.frames import wrap
from ...models.oblate_circles import Pace, pace
from ...models.oblateness import circle_rates, secular_rates
from ...models.ring import Ring
from ...models.scenario import Body
from ..problem.options import F, I
from ..problem.problem import CraftClass, Problem
from .nodal_drift_start import Start, start_of

MOVED = 0.02
"""A waiting orbit is moved by no more than this share to its solution."""

STEPS = 12
"""Newton steps with which a drift is moved onto the slot; three or four are the rule."""

MET_RAD = 1e-6

TURNED_RAD = 1e-9
"""Planes closer than this, rad, are one: no burn turns them."""


@dataclass(frozen=True, kw_only=True)
class Ways(Rows):
    """n drifts, arrays of shape (n,).

    Args:
        slot: counted through the planes.
        waiting_m: radius of the waiting orbit.
        lean_rad: its inclination less the ring's.
        held_s: how long the craft stays in its own orbit first.
        wait_s: how long it then stays in the waiting orbit.
    """

    slot: I
    waiting_m: F
    lean_rad: F
    held_s: F
    wait_s: F


@dataclass(frozen=True, kw_only=True)
class Seen(Rows):
    """How waiting orbits really go, against first order: what is to be added, arrays of shape (n,).

    Args:
        angle_rad, node_rad, lean_rad: once, on arrival in the waiting orbit; the last is of the inclination.
        rate_rad_s, node_rate_rad_s: of argument of latitude and node while waiting.
        up_rad: argument of latitude, once, on arrival at the ring.
    """

    angle_rad: F
    node_rad: F
    lean_rad: F
    rate_rad_s: F
    node_rate_rad_s: F
    up_rad: F


def as_seen(pace: Pace, waiting_m: F) -> Seen:
    """The real pace of circles of some radii, entered without an error."""
    rate, node_rate = pace.added(waiting_m)
    none = np.zeros(waiting_m.shape)
    return Seen(angle_rad=none, node_rad=none, lean_rad=none, rate_rad_s=rate, node_rate_rad_s=node_rate, up_rad=none)


@dataclass(frozen=True, kw_only=True)
class Timetable:
    """The four burns of each of n drifts: times s, and what they lead to; arrays of shape (n,).

    Args:
        begin_angle_rad: argument of latitude at the first burn.
        there_angle_rad, there_node_rad: argument of latitude and node on arrival in the waiting orbit.
        angle_rad, node_rad: the same on arrival at the ring, before the last burn.
        left_rad: how far the node of the plane is ahead of the craft's then, in [-pi, pi).
        cross_rad: argument of latitude, in the craft's own plane, where the ring's plane rises through it.
        gap_rad: how far the slot is ahead then, in the ring's plane, not wrapped.
        tilt_rad: angle between the two planes then, which the last two burns turn.
    """

    down_s: F
    in_waiting_s: F
    leave_s: F
    arrive_s: F
    begin_angle_rad: F
    there_angle_rad: F
    there_node_rad: F
    angle_rad: F
    node_rad: F
    left_rad: F
    cross_rad: F
    gap_rad: F
    tilt_rad: F


@dataclass(frozen=True, kw_only=True)
class Room:
    """What bounds waiting orbits.

    Args:
        floor_m, ceiling_m: least and greatest radius.
        latest_s: latest finish.
    """

    floor_m: float
    ceiling_m: float
    latest_s: float


@dataclass(frozen=True, kw_only=True)
class Drifting:
    """What drifts of one craft go by: the body, the ring, where the craft begins, and how orbits really go.

    ``seen`` is made from the radii where it is a `Pace`.
    """

    body: Body
    ring: Ring
    start: Start
    seen: Pace | Seen | None = None

    def more(self, ways: Ways) -> Seen:
        """What is to be added to first order for some drifts."""
        if isinstance(self.seen, Seen):
            return self.seen
        if self.seen is None:
            none = np.zeros(len(ways))
            return Seen(**{one.name: none for one in fields(Seen)})
        return as_seen(self.seen, ways.waiting_m)

    def waiting_rates(self, ways: Ways, more: Seen) -> tuple[F, F]:
        """The same in the waiting orbits."""
        rate, node_rate = circle_rates(self.body, ways.waiting_m, self.ring.inclination_rad + ways.lean_rad)
        return rate + more.rate_rad_s, node_rate + more.node_rate_rad_s

    def timetable(self, ways: Ways) -> Timetable:
        """When each burn comes, and what it leads to."""
        body, ring, start, more = self.body, self.ring, self.start, self.more(ways)
        rate, node_rate = self.waiting_rates(ways, more)
        down, down_node = transfer(body, ring, start.radius_m, ways.waiting_m)
        up, up_node = transfer(body, ring, ring.radius_m, ways.waiting_m)
        begin = start.time_s + ways.held_s
        begin_angle = start.angle_rad + start.rate_rad_s * ways.held_s
        there_angle = begin_angle + math.pi + more.angle_rad + swept(body, ring, start.radius_m, ways.waiting_m, down)
        there_node = start.node_rad + start.node_rate_rad_s * ways.held_s + down_node * down + more.node_rad
        leave = begin + down + ways.wait_s
        angle = (
            there_angle
            + rate * ways.wait_s
            + math.pi
            + more.up_rad
            + swept(body, ring, ring.radius_m, ways.waiting_m, up)
        )
        node = there_node + node_rate * ways.wait_s + up_node * up
        arrive = leave + up
        plane = ways.slot // ring.slots
        left = wrap(_node(ring, arrive, plane) - node)
        lean = ring.inclination_rad + ways.lean_rad + more.lean_rad
        cross = planes.crossing(lean, 0.0, ring.inclination_rad, left)
        turned = cross.tilt_rad > TURNED_RAD
        on = np.where(turned, wrap(cross.second_angle_rad - cross.first_angle_rad), 0.0)
        return Timetable(
            down_s=begin,
            in_waiting_s=begin + down,
            leave_s=leave,
            arrive_s=arrive,
            begin_angle_rad=begin_angle,
            there_angle_rad=there_angle,
            there_node_rad=there_node,
            angle_rad=angle,
            node_rad=node,
            left_rad=left,
            cross_rad=cross.first_angle_rad,
            gap_rad=np.asarray(ring.phase(arrive, ways.slot) - angle - on),
            tilt_rad=np.where(turned, cross.tilt_rad, 0.0),
        )

    def until_node(self, ways: Ways, left_rad: F) -> Ways:
        """Drifts that wait until so much of the node is left on arrival; the next time that this is so.

        Waits are infinite where nothing drifts.
        """
        none = replace(ways, wait_s=np.zeros(len(ways)))
        left = self.timetable(none).left_rad
        closing = self.waiting_rates(ways, self.more(ways))[1] - self.ring.node_rate_rad_s
        ahead = np.remainder(left_rad - left, 2.0 * math.pi)
        # the node that is left grows as the craft's falls behind
        with np.errstate(divide="ignore"):
            wait = np.where(closing < 0.0, ahead, 2.0 * math.pi - ahead) / np.abs(closing)
        return replace(ways, wait_s=wait)


def _node(ring: Ring, time_s: F, plane: I) -> F:
    return np.asarray(ring.node_rad + ring.spread_rad * plane / ring.planes + ring.node_rate_rad_s * time_s)


def drifting_of(problem: Problem, group: CraftClass, room: Room) -> Drifting | None:
    """What drifts of a class of craft in space go by; None where it cannot drift."""
    body, ring, orbit = problem.scenario.body, problem.ring, group.craft.orbit
    if group.start is None or orbit is None:
        return None
    start = start_of(body, ring, orbit, group.craft.ready_s, group.start.on_ring)
    return None if start is None else drifting_from(body, ring, start, room)


def drifting_from(body: Body, ring: Ring, start: Start, room: Room) -> Drifting:
    """What drifts from a start go by."""
    least, most = min(room.floor_m, ring.radius_m, start.radius_m), max(room.ceiling_m, ring.radius_m, start.radius_m)
    return Drifting(body=body, ring=ring, start=start, seen=pace(body, ring.inclination_rad, least, most))


Solved = tuple[Ways, Mask]


def meets_nodes(drifting: Drifting, ways: Ways) -> Mask:
    """Whether drifts wait until no plane is left to turn: those without a lean, of craft without one."""
    return np.asarray(np.abs(ways.lean_rad) + abs(drifting.start.lean_rad) < TURNED_RAD)


def into_node(drifting: Drifting, ways: Ways) -> Solved:
    """Drifts whose waiting orbits are moved by the least so that no plane is left to turn, and the slot is met.

    The wait follows from the node. Radii are moved by no more than `MOVED`.
    """
    none = np.zeros(len(ways))

    def moved(radius: F) -> tuple[Ways, F]:
        there = drifting.until_node(replace(ways, waiting_m=radius), none)
        return there, drifting.timetable(there).gap_rad

    radius, begun = ways.waiting_m.copy(), ways.waiting_m
    aim = 2.0 * math.pi * np.round(moved(radius)[1] / (2.0 * math.pi))
    with np.errstate(invalid="ignore", divide="ignore"):
        for _ in range(STEPS):
            gap = moved(radius)[1]
            slope = (moved(radius * (1.0 + 1e-7))[1] - gap) / (1e-7 * radius)
            radius = np.clip(radius - (gap - aim) / slope, (1.0 - 2.0 * MOVED) * begun, (1.0 + 2.0 * MOVED) * begun)
        found, gap = moved(radius)
        met = (np.abs(gap - aim) < MET_RAD) & (np.abs(radius / begun - 1.0) < MOVED) & np.isfinite(found.wait_s)
    return found, met


def onto_crossing(drifting: Drifting, ways: Ways, vary: Literal["waiting_m", "held_s"]) -> Solved:
    """Drifts moved by the least so that craft meet their slots where their plane crosses the ring's, and burns turn it.

    Two unknowns for two conditions: the wait in the waiting orbit, and ``vary``.
    """

    def with_both(one: F, wait: F) -> Ways:
        if vary == "waiting_m":
            return replace(ways, waiting_m=one, wait_s=wait)
        return replace(ways, held_s=one, wait_s=wait)

    first, second = np.asarray(getattr(ways, vary)).copy(), ways.wait_s.copy()
    by = 1e-7 * first if vary == "waiting_m" else np.ones(first.size)

    def miss(one: F, wait: F) -> tuple[F, F, Timetable]:
        table = drifting.timetable(with_both(one, wait))
        off = np.remainder(table.angle_rad - table.cross_rad + 0.5 * math.pi, math.pi) - 0.5 * math.pi
        return table.gap_rad, off, table

    aim = 2.0 * math.pi * np.round(miss(first, second)[0] / (2.0 * math.pi))
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        for _ in range(STEPS):
            gap, off, _ = miss(first, second)
            one, other = miss(first + by, second), miss(first, second + 1.0)
            a, b = (one[0] - gap) / by, other[0] - gap
            c, d = wrap(2.0 * (one[1] - off)) / 2.0 / by, wrap(2.0 * (other[1] - off)) / 2.0
            size = a * d - b * c
            first = first - (d * (gap - aim) - b * off) / size
            second = second - (a * off - c * (gap - aim)) / size
        gap, off, table = miss(first, second)
        met = (np.abs(gap - aim) < MET_RAD) & (np.abs(off) < MET_RAD) & (second >= 0.0) & (table.tilt_rad > 0.0)
        met &= (np.abs(first / getattr(ways, vary) - 1.0) < 2.0 * MOVED) if vary == "waiting_m" else (first >= 0.0)
    return with_both(first, second), met


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
