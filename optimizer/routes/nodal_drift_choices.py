"""Which waiting orbits of a nodal drift are looked at, and how each is moved onto plane and slot.

Four kinds. *Straight*: from the craft's own orbit at once into one of a list of depths. *Held*: the craft stays in its
own orbit until its node is nearly that of the plane, and goes up by way of an orbit half way. *Turned*: for each
of a list of finishes the waiting orbit, its inclination and the part of the node that burns turn that cost least
together, in closed form. *Own plane*: from a circle off the ring up into a slot of the plane that the craft is in.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ...models import planes
from ...models.arrays import joined
from ...models.oblateness import circle_rates
from ...models.orbits import speed
from ...models.units import YEAR_S
from ..problem.options import F, I
from ..problem.problem import Problem
from .nodal_drift_timetable import (
    TURNED_RAD,
    Drifting,
    Room,
    Ways,
    into_node,
    onto_crossing,
    speed_changes,
)

DEPTHS = 400
"""Waiting orbits from which solutions are looked for on each side of the ring: far closer than these lie."""

NEAREST = 0.004
"""The first of them is this share of the ring's radius away from it: nearer, the wait is longer than anybody's."""

HIGHEST = 2.0
"""Where no ceiling says less, waiting orbits are examined up to this many ring radii."""

TURNS_HALF_WAY = 1.5
"""About how many turns a craft that held goes round half way up."""

FINISHES = 160
"""Finishes for which the least costly waiting orbit is looked for."""

LEANS_RAD = np.radians([-12, -8, -5, -3, -2, -1.2, -0.6, -0.2, 0.0, 0.2, 0.6, 1.2, 2, 3, 5, 8, 12])
LEFT_RAD = np.radians([0.02, 0.05, 0.1, 0.2, 0.4, 0.8, 1.5, 3.0, 5.0, 8.0])
"""Inclinations of waiting orbits against the ring, and parts of the node that burns turn, that are looked at first."""

CLOSER = 5
"""How often the best of these is looked around more closely, with half the distance each time."""

LAPS = 12
"""So many turns sooner or later than when the nodes meet a craft goes up that has stayed in its own orbit; and by so
many at most it gains on, or falls back to, a slot of its own plane while it rises."""

RISES = 150
"""Waiting orbits from which a craft rises into its own plane."""


LONGEST_S = 2.0 * YEAR_S
"""Longest drift that is examined, whatever the limits."""


def room_of(problem: Problem) -> Room:
    """What bounds waiting orbits in a problem."""
    limits, ring = problem.scenario.limits, problem.ring
    ready = max((max(group.craft.ready_s, 0.0) for group in problem.classes), default=0.0)
    return Room(
        floor_m=problem.scenario.floor_m + problem.wobble_m,
        ceiling_m=min(limits.apoapsis_max_m - problem.wobble_m, HIGHEST * ring.radius_m),
        latest_s=min(limits.finish_within_s, ready + LONGEST_S),
    )


def _of(slot: I, waiting_m: F, lean_rad: float = 0.0) -> Ways:
    none = np.zeros(slot.size)
    return Ways(slot=slot, waiting_m=waiting_m, lean_rad=none + lean_rad, held_s=none, wait_s=none)


def _inside(drifting: Drifting, ways: Ways, room: Room) -> Ways:
    """Those that the limits leave."""
    late = drifting.timetable(ways).arrive_s
    return ways.take((ways.waiting_m >= room.floor_m) & (ways.waiting_m <= room.ceiling_m) & (late <= room.latest_s))


def straight(drifting: Drifting, slots: I, room: Room) -> Ways:
    """Drifts in the ring's inclination from depths that bring the craft into other planes in time."""
    ring, start = drifting.ring, drifting.start
    low, high = 1.0 - room.floor_m / ring.radius_m, min(room.ceiling_m / ring.radius_m, HIGHEST) - 1.0
    shares = [1.0 - np.linspace(NEAREST, low, DEPTHS)] if low > NEAREST else []
    shares += [1.0 + np.linspace(NEAREST, high, DEPTHS)] if high > NEAREST else []
    if not start.on_ring and room.floor_m <= start.radius_m <= room.ceiling_m:
        shares.append(np.array([start.radius_m / ring.radius_m]))
    if not shares or not slots.size:
        return _of(slots[:0], np.zeros(0))
    depth = np.unique(np.concatenate(shares)) * ring.radius_m
    ways = _of(np.tile(slots, depth.size), np.repeat(depth, slots.size), start.lean_rad)
    # a depth is moved by little, and so its finish
    rough = drifting.until_node(ways, np.zeros(len(ways)))
    soon = drifting.timetable(rough).arrive_s <= 1.2 * room.latest_s
    ways = ways.take(soon)
    if start.on_ring:
        ways, met = into_node(drifting, ways)
    else:
        # the mean plane of an orbit as given leans a little, which burns turn
        ways, met = onto_crossing(drifting, rough.take(soon), "waiting_m")
    ways = _inside(drifting, ways.take(met), room)
    # several lead to one solution
    _, first = np.unique(np.stack([ways.slot, np.round(ways.waiting_m)]), axis=1, return_index=True)
    return ways.take(np.sort(first))


def held(drifting: Drifting, slots: I, room: Room) -> Ways:
    """Drifts of a craft off the ring that stays in its own orbit until it is time to go up, for each lap on its slot.

    What its node then is off is turned by burns; a short wait half way up brings it to where the planes cross.
    """
    ring, start = drifting.ring, drifting.start
    if start.on_ring or not slots.size:
        return _of(slots[:0], np.zeros(0))
    half = 0.5 * (start.radius_m + ring.radius_m)
    ways = _of(slots, np.full(slots.size, half), start.lean_rad)
    rate, _ = circle_rates(drifting.body, ways.waiting_m, np.full(len(ways), ring.inclination_rad))
    ways = replace(ways, wait_s=TURNS_HALF_WAY * 2.0 * math.pi / rate)
    own, closing = start.rate_rad_s, start.node_rate_rad_s - ring.node_rate_rad_s
    # when the nodes meet; for the craft's own plane that may have been just before
    turn_s = 2.0 * math.pi / abs(closing)
    meet = np.remainder(drifting.timetable(ways).left_rad / closing, turn_s)
    ways = _repeated(ways, 2)
    meet = np.concatenate([meet, meet - turn_s])
    gap = drifting.timetable(replace(ways, held_s=meet)).gap_rad
    # the angle on the ring counts from the ring's node, which the craft's leaves as it stays
    slope = own - ring.rate_rad_s + math.cos(ring.inclination_rad) * closing
    laps = np.arange(-LAPS, LAPS + 1)
    held_s = meet + (np.remainder(gap, 2.0 * math.pi) + 2.0 * math.pi * laps[:, None]) / slope
    ways = replace(_repeated(ways, laps.size), held_s=held_s.ravel())
    ways = ways.take((ways.held_s >= 0.0) & (ways.held_s <= room.latest_s))
    ways = ways.take(np.abs(drifting.timetable(ways).left_rad) <= LEFT_RAD[-1])
    ways, met = onto_crossing(drifting, ways, "held_s")
    return _inside(drifting, ways.take(met), room)


def own_plane(drifting: Drifting, slots: I, room: Room) -> Ways:
    """Ways up, or down, from a circle off the ring into slots of the craft's own plane; the node is turned by burns."""
    ring, start = drifting.ring, drifting.start
    if start.on_ring or not slots.size:
        return _of(slots[:0], np.zeros(0))
    low, high = sorted((start.radius_m, ring.radius_m))
    # a little past both ends: a slot just behind is reached from above
    radius = np.linspace(max(room.floor_m, 0.98 * low), min(room.ceiling_m, 1.03 * high), RISES)
    laps = np.arange(-LAPS, LAPS + 1)
    each, which, lap = (
        part.ravel() for part in np.meshgrid(np.arange(slots.size), np.arange(radius.size), laps, indexing="ij")
    )
    ways = _of(slots[each], radius[which], start.lean_rad)
    begun = drifting.timetable(ways)
    rate, _ = drifting.waiting_rates(ways, drifting.more(ways))
    with np.errstate(divide="ignore"):
        wait = (begun.gap_rad + 2.0 * math.pi * lap) / (rate - ring.rate_rad_s)
    keep = (wait >= 0.0) & (wait < room.latest_s)
    ways = replace(ways, wait_s=np.where(keep, wait, 0.0)).take(keep)
    left = drifting.timetable(ways).left_rad
    ways = ways.take(np.abs(left) <= LEFT_RAD[-1])
    ways, met = onto_crossing(drifting, ways, "waiting_m")
    return _inside(drifting, ways.take(met), room)


def turned(drifting: Drifting, slots: I, room: Room) -> Ways:
    """Drifts for a list of finishes whose burns turn inclination and node so that all together costs least."""
    ring, start = drifting.ring, drifting.start
    if not slots.size or room.latest_s <= start.time_s:
        return _of(slots[:0], np.zeros(0))
    parts = []
    lasts = (room.latest_s - start.time_s) * np.linspace(0.0, 1.0, FINISHES + 1)[1:]
    for plane in np.unique(slots // ring.slots).tolist():
        own = slots[slots // ring.slots == plane]
        for behind in (True, False):
            best = _cheapest(drifting, plane, lasts, behind, room)
            each, where = np.tile(own, best.waiting_m.size), np.repeat(np.arange(best.waiting_m.size), own.size)
            parts.append(replace(best.take(where), slot=each))
    ways = joined(parts)
    # the way down begins where the craft crosses the equator, if it turns the inclination
    aside_s = np.remainder(-start.angle_rad, math.pi) / start.rate_rad_s
    ways = replace(ways, held_s=np.where(np.abs(ways.lean_rad - start.lean_rad) > TURNED_RAD, aside_s, 0.0))
    ways, met = onto_crossing(drifting, ways, "waiting_m")
    return _inside(drifting, ways.take(met), room)


def _repeated(ways: Ways, times: int) -> Ways:
    """All of them so many times, in order."""
    return ways.take(np.tile(np.arange(len(ways)), times))


def _cheapest(drifting: Drifting, plane: int, lasts_s: F, behind: bool, room: Room) -> Ways:
    """For each of some lengths of a drift into one plane the orbit, lean and rest that cost least, where there is any.

    Args:
        behind: whether the craft's node falls behind the ring's, or goes ahead of it.
    """
    count = lasts_s.size
    lean, left = (part.ravel() for part in np.meshgrid(drifting.start.lean_rad + LEANS_RAD, LEFT_RAD, indexing="ij"))
    leans, lefts = np.tile(lean, (count, 1)), np.tile(left, (count, 1))
    around_lean, around_left = (part.ravel() for part in np.meshgrid([-1, 0, 1], [-1, 0, 1], indexing="ij"))
    rows = np.arange(count)
    for step in range(CLOSER + 1):
        cost, radius = _priced(drifting, plane, lasts_s[:, None], leans, lefts, behind, room)
        best = np.argmin(cost, axis=1)
        lean, left, price, waiting = leans[rows, best], lefts[rows, best], cost[rows, best], radius[rows, best]
        width = 0.5**step
        # as far apart as the list is there
        apart_lean, apart_left = (
            np.maximum(0.3 * np.abs(lean - drifting.start.lean_rad), math.radians(0.2)),
            np.maximum(0.5 * left, 1e-3),
        )
        leans = lean[:, None] + width * apart_lean[:, None] * around_lean
        lefts = np.maximum(left[:, None] + width * apart_left[:, None] * around_left, LEFT_RAD[0])
    possible = np.isfinite(price)
    ways = Ways(
        slot=np.full(count, plane * drifting.ring.slots),
        waiting_m=waiting,
        lean_rad=lean,
        held_s=np.zeros(count),
        wait_s=lasts_s,
    )
    return ways.take(possible)


def _priced(
    drifting: Drifting, plane: int, lasts_s: F, lean_rad: F, left_rad: F, behind: bool, room: Room
) -> tuple[F, F]:
    """About what drifts cost, infinite where there is no such orbit, and their waiting radii, m.

    A turn is shared in the ratio of the burns, whose sums along and across are then those of one burn.
    """
    body, ring, start = drifting.body, drifting.ring, drifting.start
    ahead = math.remainder(start.node_rad - ring.node(start.time_s, plane), 2.0 * math.pi)
    # so far from it burns turn the rest, if the craft comes no nearer
    if behind:
        fall = np.remainder(ahead, 2.0 * math.pi) - left_rad
    else:
        fall = -(np.remainder(-ahead, 2.0 * math.pi) - left_rad)
    rate = ring.node_rate_rad_s - fall / lasts_s
    lean = ring.inclination_rad + lean_rad
    strength = -1.5 * body.j2 * body.j2_radius_m**2 * math.sqrt(body.gm) * np.cos(lean) / rate
    with np.errstate(invalid="ignore"):
        radius = np.where(strength > 0.0, np.abs(strength), np.nan) ** (2.0 / 7.0)
        possible = (radius >= room.floor_m) & (radius <= min(room.ceiling_m, HIGHEST * ring.radius_m))
        possible &= (lean > 0.0) & (lean < math.pi) & ((fall > 0.0) == behind)
        radius = np.where(possible, radius, ring.radius_m)
    first, second = (np.abs(part) for part in speed_changes(ring.gm, start.radius_m, radius))
    third, fourth = (np.abs(part) for part in speed_changes(ring.gm, radius, ring.radius_m))
    waiting_speed = speed(ring.gm, radius, radius)
    tilt = planes.tilt(lean, ring.inclination_rad, left_rad)
    down = np.hypot(first + second, 2.0 * waiting_speed * np.sin(0.5 * np.abs(lean_rad - start.lean_rad)))
    up = np.hypot(third + fourth, 2.0 * waiting_speed * np.sin(0.5 * tilt))
    return np.where(possible, down + up, np.inf), radius
