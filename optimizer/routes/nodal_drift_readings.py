"""How a nodal drift really goes, read off short flights of its ends, so that the months between are planned by that.

First order in J2 leaves out, in months, tenths of a degree of node and many degrees along the orbit; and the way up
arrives a little off, which would be paid by going up off the crossing of the planes.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from ...models.arrays import joined
from ...models.errors import FlightError
from ...models.flight.integrate import Impulse, Itinerary, fly_each, measure
from ...models.oblate_circles import RELATIVE, TURNS, as_ring, drift_between, offsets
from ...models.oblateness import ring_state
from ...models.ring import Ring
from ..problem.option_key import FlightKey
from ..problem.problem import Problem
from .nodal_drift_burns import burns_of
from .nodal_drift_timetable import (
    Drifting,
    Seen,
    Timetable,
    Ways,
    into_node,
    meets_nodes,
    onto_crossing,
    swept,
    transfer,
)

SAME_RAD = 1e-6
"""Planes closer than this are met by the wait alone."""

BEFORE_TURNS = 0.6
"""The way up is corrected from this much of a waiting turn before the departure."""


class Drift(NamedTuple):
    """One drift: whose, into which slot of which plane; how it goes by what is known so far; whether from a launch."""

    name: FlightKey
    slot: int
    plane: int
    drifting: Drifting
    position: np.ndarray
    velocity: np.ndarray
    ways: Ways
    held: bool
    launched: bool

    @property
    def table(self) -> Timetable:
        """When its burns come."""
        return self.drifting.timetable(self.ways)

    @property
    def waiting_m(self) -> float:
        """Radius of its waiting orbit."""
        return float(self.ways.waiting_m[0])


def _together(drifts: Sequence[Drift], kind: Callable[[Drift], object]) -> Iterator[tuple[list[int], Drifting, Ways]]:
    """Drifts of one start and kind as one: which they are, and what they go by."""
    groups: dict[object, list[int]] = {}
    for k, one in enumerate(drifts):
        groups.setdefault((one.drifting.start, kind(one)), []).append(k)
    for members in groups.values():
        ways = [drifts[k].ways for k in members]
        seen = [drifts[k].drifting.more(drifts[k].ways) for k in members]
        yield (
            members,
            replace(drifts[members[0]].drifting, seen=joined(seen)),
            joined(ways),
        )


def impulses_of(drifts: Sequence[Drift]) -> list[tuple[Impulse, ...]]:
    """The four burns of each as impulses."""
    found: list[tuple[Impulse, ...]] = [()] * len(drifts)
    for members, drifting, ways in _together(drifts, lambda _: None):
        table = drifting.timetable(ways)
        burns = burns_of(drifting, ways, table)
        for row, k in enumerate(members):
            found[k] = burns.impulses(row, table)
    return found


def _kind(one: Drift) -> str:
    if one.held:
        return "held"
    flat = meets_nodes(one.drifting, one.ways)[0] and float(one.table.tilt_rad[0]) < SAME_RAD
    return "node" if flat else "crossing"


def solved(drifts: Sequence[Drift]) -> list[Drift]:
    """The same drifts moved onto their slots again."""
    found = list(drifts)
    for members, drifting, ways in _together(drifts, _kind):
        kind = _kind(drifts[members[0]])
        if kind == "node":
            moved, _ = into_node(drifting, ways)
        else:
            moved, _ = onto_crossing(drifting, ways, "held_s" if kind == "held" else "waiting_m")
        for row, k in enumerate(members):
            found[k] = drifts[k]._replace(ways=moved.take(np.array([row])))
    return found


def seen_below(problem: Problem, down: Sequence[tuple[Drift, Itinerary]]) -> list[Drift]:
    """The same drifts with depth and wait as the way down and the real pace of each waiting orbit ask for.

    Read off a flight of some turns in an orbit all but the same.
    """
    found = []
    for one, seen in _read(problem, [(one, circle_of(one), item) for one, item in down]):
        found.append(one._replace(drifting=replace(one.drifting, seen=seen)))
    return solved(found)


def _read(problem: Problem, asked: Sequence[tuple[Drift, Ring, Itinerary]]) -> list[tuple[Drift, Seen]]:
    """How drifts really go in circles after their itineraries."""
    lasts = [TURNS * circle.period_s for _, circle, _ in asked]
    items = [replace(item, end_s=item.end_s + more) for (_, _, item), more in zip(asked, lasts, strict=True)]
    flights = fly_each(items, problem.gravity, whole=False, relative=RELATIVE)
    found = []
    for (one, circle, _), more, flight in zip(asked, lasts, flights, strict=True):
        if flight is None:
            continue
        there = flight.settled_s
        try:
            early, late = measure(flight, circle, 0, 0, there), measure(flight, circle, 0, 0, there + more)
        except FlightError:
            continue
        (angle, node), (rate, node_rate) = offsets(circle, early), drift_between(circle, early, late, more)
        found.append(
            (
                one,
                Seen(
                    angle_rad=np.array([angle]),
                    node_rad=np.array([node]),
                    lean_rad=np.array([-early.plane_tilt_rad[1]]),
                    rate_rad_s=np.array([rate]),
                    node_rate_rad_s=np.array([node_rate]),
                    up_rad=np.zeros(1),
                ),
            )
        )
    return found


def seen_above(problem: Problem, drifts: Sequence[Drift]) -> list[Drift]:
    """The same drifts as the way up asks for, flown from where the craft is to be shortly before: months are left out.

    What it adds to the angle on arrival would be paid by going up sooner or later, off the crossing of the planes.
    """
    ring, items = problem.ring, []
    for one, burns in zip(drifts, impulses_of(drifts), strict=True):
        there = before_up(one)
        begun_s = there.leave_s - BEFORE_TURNS * 2.0 * math.pi / there.rate_rad_s
        angle, node = (
            at + rate * (begun_s - there.leave_s)
            for at, rate in ((there.angle_rad, there.rate_rad_s), (there.node_rad, there.node_rate_rad_s))
        )
        state = ring_state(problem.scenario.body, there.radius_m, angle, ring.inclination_rad + there.lean_rad, node)
        impulses = burns if one.held else burns[2:]
        items.append(Itinerary.through_turn(begun_s, *state, impulses, ring))
    found = []
    for one, flight in zip(drifts, fly_each(items, problem.gravity, whole=False, relative=RELATIVE), strict=True):
        if flight is None:
            continue
        try:
            seen = measure(flight, ring, one.plane, one.slot)
        except FlightError:
            continue
        # the mean over a turn, less what the period makes of it by then
        ahead = seen.slot_error_rad + math.pi * seen.period_error_s / ring.period_s
        more = replace(one.drifting.more(one.ways), up_rad=np.array([ahead]))
        found.append(one._replace(drifting=replace(one.drifting, seen=more)))
    return solved(found)


class BeforeUp(NamedTuple):
    """The orbit from which a craft goes up: when, and how it stands and goes then, means over a turn."""

    leave_s: float
    radius_m: float
    lean_rad: float
    angle_rad: float
    node_rad: float
    rate_rad_s: float
    node_rate_rad_s: float


def before_up(one: Drift) -> BeforeUp:
    drifting, ways, start, table = one.drifting, one.ways, one.drifting.start, one.table
    if one.held:
        return BeforeUp(
            leave_s=float(table.down_s[0]),
            radius_m=start.radius_m,
            lean_rad=start.lean_rad,
            angle_rad=float(table.begin_angle_rad[0]),
            node_rad=start.node_rad + start.node_rate_rad_s * float(ways.held_s[0]),
            rate_rad_s=start.rate_rad_s,
            node_rate_rad_s=start.node_rate_rad_s,
        )
    more = drifting.more(ways)
    rate, node_rate = (float(part[0]) for part in drifting.waiting_rates(ways, more))
    wait_s = float(ways.wait_s[0])
    return BeforeUp(
        leave_s=float(table.leave_s[0]),
        radius_m=one.waiting_m,
        lean_rad=float(ways.lean_rad[0] + more.lean_rad[0]),
        angle_rad=float(table.there_angle_rad[0]) + rate * wait_s,
        node_rad=float(table.there_node_rad[0]) + node_rate * wait_s,
        rate_rad_s=rate,
        node_rate_rad_s=node_rate,
    )


def circle_of(one: Drift) -> Ring:
    """The waiting orbit as a ring with one slot, where the craft is to arrive in it."""
    drifting, ways, table = one.drifting, one.ways, one.table
    start, there = drifting.start, float(table.in_waiting_s[0])
    half, node_rate = transfer(drifting.body, drifting.ring, start.radius_m, ways.waiting_m)
    extra = swept(drifting.body, drifting.ring, start.radius_m, ways.waiting_m, half)
    node = start.node_rad + start.node_rate_rad_s * ways.held_s + node_rate * half
    angle = float((table.begin_angle_rad + math.pi + extra)[0])
    inclination = drifting.ring.inclination_rad + float(ways.lean_rad[0])
    return as_ring(drifting.body, one.waiting_m, inclination, float(node[0]), angle, there)
