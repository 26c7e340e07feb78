"""By nodal drift: another plane of the ring for the price of a lower (or higher) waiting orbit, and of months.

Over an oblate body the node of a lower orbit drifts faster than the ring's. A craft goes to a circular waiting orbit by
a Hohmann transfer, waits until its node has met that of the plane it wants, and goes up to its slot by another. The
radii that meet node and slot (`nodal_drift_timetable.py`) lie so close together that a list of depths is moved onto
them. The flight corrects what the rates leave (`nodal_drift_flight.py`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...models.oblate_circles import Pace, pace
from ...models.ring import Ring
from ...models.scenario import Body
from ..limits.screening import within_limits
from ..problem.options import F, I, Options, empty, join
from ..problem.problem import Problem
from ..trajectory.course import Course
from .nodal_drift_flight import drift_courses
from .nodal_drift_timetable import Start, Timetable, Waits, as_seen, onto_slot, speed_changes, start_of, timetable
from .route import CourseOf, Finite, Question, Route, row_of

DEPTHS = 400
"""Waiting orbits from which solutions are looked for on each side of the ring: far closer than these lie."""

NEAREST = 0.004
"""The first of them is this share of the ring's radius away from it: nearer, the wait is longer than anybody's."""

HIGHEST = 2.0
"""Where no ceiling says less, waiting orbits are examined up to this many ring radii."""

LONGEST_S = 365.25 * 86_400.0
"""Longest drift that is examined, whatever the limits."""


@dataclass(frozen=True, kw_only=True)
class Drifts:
    """A craft that may drift into slots of other planes.

    Args:
        body, ring, start: from where.
        craft_class: whose options they are.
        slots: counted through the planes, none of the craft's own.
        floor_m, ceiling_m: least and greatest radius of a waiting orbit.
        finish_s: latest finish.
        pace: how waiting orbits really go.
    """

    body: Body
    ring: Ring
    start: Start
    craft_class: int
    slots: I
    floor_m: float
    ceiling_m: float
    finish_s: float
    pace: Pace


def columns(question: Question) -> Options:
    """Options of craft in space that reach another plane by nodal drift."""
    problem, restriction = question.problem, question.restriction
    parts = []
    body, ring, limits = problem.scenario.body, problem.ring, problem.scenario.limits
    for index, group in enumerate(problem.classes):
        orbit = group.craft.orbit
        if group.start is None or orbit is None or ring.planes < 2:
            continue
        start = start_of(body, ring, orbit, group.craft.ready_s, group.start.on_ring)
        others = [s for s in problem.free_slots if s // ring.slots != orbit.plane]
        if restriction.routes is not None and ROUTE.name not in restriction.routes:
            others = [s for s in others if not restriction.applies(s)]
        if restriction.sides is not None and 0 not in restriction.sides:
            others = [s for s in others if not restriction.applies(s)]
        if start is None or not others:
            continue
        low = problem.scenario.floor_m + problem.wobble_m
        high = min(limits.apoapsis_max_m - problem.wobble_m, HIGHEST * ring.radius_m)
        asked = Drifts(
            body=body,
            ring=ring,
            start=start,
            craft_class=index,
            slots=np.array(others),
            floor_m=low,
            ceiling_m=high,
            finish_s=limits.finish_within_s,
            pace=pace(body, ring.inclination_rad, min(low, ring.radius_m), max(high, ring.radius_m)),
        )
        parts.append(within_limits(problem, _drifting(asked), limits.finish_within_s))
    return join(parts)


def _drifting(asked: Drifts) -> Options:
    """Options from depths that bring the craft there in time."""
    body, ring, start = asked.body, asked.ring, asked.start
    latest = min(asked.finish_s, start.time_s + LONGEST_S)
    low, high = 1.0 - asked.floor_m / ring.radius_m, min(asked.ceiling_m / ring.radius_m, HIGHEST) - 1.0
    shares = [1.0 - np.linspace(NEAREST, low, DEPTHS)] if low > NEAREST else []
    shares += [1.0 + np.linspace(NEAREST, high, DEPTHS)] if high > NEAREST else []
    if not start.on_ring and asked.floor_m <= start.radius_m <= asked.ceiling_m:
        shares.append(np.array([start.radius_m / ring.radius_m]))
    if not shares or not asked.slots.size:
        return empty()
    depth = np.unique(np.concatenate(shares)) * ring.radius_m
    radius, slot = np.repeat(depth, asked.slots.size), np.tile(asked.slots, depth.size)
    met = np.zeros(radius.size, dtype=bool)
    for plane in np.unique(slot // ring.slots).tolist():
        own = slot // ring.slots == plane
        radius[own], met[own] = onto_slot(body, ring, start, plane, slot[own], radius[own], latest, asked.pace)
    met &= (radius >= asked.floor_m) & (radius <= asked.ceiling_m)
    # several lead to one solution
    _, first = np.unique(np.stack([slot[met], np.round(radius[met])]), axis=1, return_index=True)
    met = np.isin(np.arange(met.size), np.flatnonzero(met)[first])
    table = _timetables(asked, slot[met], radius[met])
    return _options(asked, radius[met], slot[met], table)


def _timetables(asked: Drifts, slot: I, radius_m: F) -> Timetable:
    """The timetables of several, whatever their planes."""
    ring = asked.ring
    found = {name: np.zeros(slot.size) for name in Timetable.__dataclass_fields__}
    for plane in np.unique(slot // ring.slots).tolist():
        own = slot // ring.slots == plane
        table = timetable(asked.body, ring, asked.start, plane, radius_m[own], as_seen(asked.pace, radius_m[own]))
        for name, column in found.items():
            column[own] = getattr(table, name)
    return Timetable(**found)


def _options(asked: Drifts, radius_m: F, slot: I, table: Timetable) -> Options:
    ring, start, craft_class = asked.ring, asked.start, asked.craft_class
    n = slot.size
    whole = np.zeros(n, dtype=np.int64)
    begun = start.time_s if start.on_ring else table.arrive_s
    options = Options(
        craft_class=np.full(n, craft_class),
        slot=slot,
        parking_wait_s=table.leave_s - table.in_waiting_s,
        revolutions=whole,
        ring_revolutions=whole,
        touch_s=np.broadcast_to(np.asarray(begun, dtype=np.float64), (n,)).copy(),
        burn_s=table.leave_s,
        finish_s=table.arrive_s,
        lead_rad=np.zeros(n),
        speed_m_s=np.full(n, ring.speed_m_s),
        delta_v_m_s=hohmann(ring.gm, start.radius_m, radius_m) + hohmann(ring.gm, radius_m, ring.radius_m),
        lowest_m=np.minimum(np.minimum(radius_m, ring.radius_m), start.radius_m),
        highest_m=np.maximum(np.maximum(radius_m, ring.radius_m), start.radius_m),
    )
    return options.with_table(Waits(waiting_m=radius_m))


def hohmann(gm: float, one_m: F | float, other_m: F | float) -> F:
    """Both burns of a Hohmann transfer between circles, m/s (Vallado 2013, section 6.3).

    >>> round(float(hohmann(3.986004415e14, 6569481.37, 42159485.65)), 1)
    3935.2
    """
    first, last = speed_changes(gm, one_m, other_m)
    return np.asarray(np.abs(first) + np.abs(last))


def course(problem: Problem, options: Options, row: int, finite: bool = False) -> Course | None:
    """Down, the wait, and up, corrected by their flight."""
    return together(problem, [row_of(options, row)], lambda _options, _row: finite)(options, row)


def together(problem: Problem, chosen: Sequence[Options], finite: Finite) -> CourseOf:
    """The courses of every drift of some plans, whose months of waiting are followed in one batch."""
    return drift_courses(problem, chosen)


def _note(problem: Problem, options: Options) -> str:
    if not len(options):
        return ""
    return (
        "nodal drift starts as soon as the craft may burn and ends when the nodes first meet, in one circular "
        "waiting orbit; a later start, or a plane turned in part by burns, is not tried"
    )


ROUTE = Route(
    name="drift",
    words=("drift", "until the plane has turned"),
    begins="space",
    columns=columns,
    course=course,
    may_serve=lambda problem: problem.ring.planes > 1,
    together=together,
    note=_note,
)
