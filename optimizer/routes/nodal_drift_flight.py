"""What a craft flies that reaches its plane by nodal drift: corrected in three stages by its own flight.

Down into the waiting orbit first, until it is a circle of the right pace; then through the whole wait; then the
departure is moved to where slot and craft really are by then, and the way up corrected. Only the short ends are flown
again and again; the months in between are followed from node to node (`models/flight/nodal_returns.py`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from ...models import frames, orbits
from ...models.errors import FlightError
from ...models.flight.integrate import Flight, Impulse, Itinerary, fly_each, measure
from ...models.flight.nodal_returns import coast_by_returns
from ...models.oblate_circles import RELATIVE, TURNS, drift_between, offsets
from ...models.oblateness import ring_rates
from ...models.ring import Ring
from ..problem.option_key import FlightKey, flight_key
from ..problem.options import Options
from ..problem.problem import Problem
from ..trajectory.course import Course
from ..trajectory.differential_correction import Case, Unknown, correct_each
from ..trajectory.start_state import state_in_space
from . import nodal_drift_timetable as drift
from .nodal_drift_timetable import Waits
from .route import CourseOf

DOWN = (Unknown(0, "along"), Unknown(-1, "radial"), Unknown(-1, "along"))
UP = (
    Unknown(0, "time"),
    Unknown(0, "along"),
    Unknown(0, "cross"),
    Unknown(-1, "time"),
    Unknown(-1, "radial"),
    Unknown(-1, "along"),
    Unknown(-1, "cross"),
)
BEFORE_TURNS = 0.6
"""The way up is corrected from this much of a waiting turn before the departure."""


class _Drift(NamedTuple):
    name: FlightKey
    slot: int
    plane: int
    start: drift.Start
    position: np.ndarray
    velocity: np.ndarray
    table: drift.Timetable
    waiting_m: float


def drift_courses(problem: Problem, chosen: Sequence[Options]) -> CourseOf:
    """Work out and correct every distinct drift of some plans, all together; those that cannot be flown have none."""
    found: dict[FlightKey, _Drift] = {}
    for options in chosen:
        for rows, table in options.detailed():
            if not isinstance(table, Waits):
                continue
            for row, waiting_m in zip(rows.tolist(), table.waiting_m.tolist(), strict=True):
                name = flight_key(problem, options, row)
                if name not in found:
                    found[name] = _drift(problem, options, row, name, waiting_m)
    drifts = _seen(problem, _down(problem, list(found.values())))
    down = _down(problem, drifts)
    begun = fly_each([item for _, item in down], problem.gravity, relative=RELATIVE)
    flown = [(one, flight) for (one, _), flight in zip(down, begun, strict=True) if flight is not None]
    up = _up(problem, _wait(problem, flown))
    first = {one.name: flight for one, flight in flown}
    courses = {one.name: _course(problem, one, first[one.name], last, missed) for one, last, missed in up}
    return lambda options, row: courses.get(flight_key(problem, options, row))


def _seen(problem: Problem, down: Sequence[tuple[_Drift, Itinerary]]) -> list[_Drift]:
    """The same drifts with depth and wait as the way down and the real pace of each waiting orbit ask for.

    Read off a flight of some turns in an orbit all but the same.
    """
    ring, body = problem.ring, problem.scenario.body
    drifts = [one for one, _ in down]
    circles = [_circle_of(problem, one) for one in drifts]
    lasts = [TURNS * circle.period_s for circle in circles]
    items = [replace(item, end_s=item.end_s + more) for (_, item), more in zip(down, lasts, strict=True)]
    flights = fly_each(items, problem.gravity, whole=False, relative=RELATIVE)
    found = []
    for one, circle, more, flight in zip(drifts, circles, lasts, flights, strict=True):
        if flight is None:
            continue
        there = flight.settled_s
        try:
            early, late = measure(flight, circle, 0, 0, there), measure(flight, circle, 0, 0, there + more)
        except FlightError:
            continue
        (angle, node), (rate, node_rate) = offsets(circle, early), drift_between(circle, early, late, more)
        seen = drift.Seen(
            angle_rad=np.array([angle]),
            node_rad=np.array([node]),
            rate_rad_s=np.array([rate]),
            node_rate_rad_s=np.array([node_rate]),
        )
        slots = np.array([one.plane * ring.slots + one.slot])
        radius, _ = drift.onto_slot(body, ring, one.start, one.plane, slots, np.array([one.waiting_m]), seen=seen)
        table = drift.timetable(body, ring, one.start, one.plane, radius, seen)
        found.append(one._replace(waiting_m=float(radius[0]), table=table))
    return found


def _drift(problem: Problem, options: Options, row: int, name: FlightKey, waiting_m: float) -> _Drift:
    ring, group = problem.ring, problem.classes[options.craft_class[row]]
    orbit = group.craft.orbit
    if orbit is None or group.start is None:
        raise ValueError("a drift belongs to a craft in space")
    start = drift.start_of(problem.scenario.body, ring, orbit, group.craft.ready_s, group.start.on_ring)
    if start is None:
        raise ValueError("a drift begins on a circle over an oblate body")
    position, velocity = state_in_space(problem, orbit, start.on_ring, start.time_s)
    plane, slot = divmod(int(options.slot[row]), ring.slots)
    radius = np.array([waiting_m])
    table = drift.timetable(problem.scenario.body, ring, start, plane, radius)
    return _Drift(name, slot, plane, start, position, velocity, table, float(radius[0]))


def _circle_of(problem: Problem, one: _Drift) -> Ring:
    """The waiting orbit as a ring with one slot, where the craft is to arrive in it."""
    ring, body = problem.ring, problem.scenario.body
    rate, node_rate = ring_rates(body, one.waiting_m, ring.inclination_rad)
    table = drift.timetable(body, ring, one.start, one.plane, np.array([one.waiting_m]))
    begun, there = float(table.down_s[0]), float(table.in_waiting_s[0])
    waiting = np.array([one.waiting_m])
    half, down_node = drift.transfer(body, ring, one.start.radius_m, waiting)
    extra = drift.swept(body, ring, one.start.radius_m, waiting, half)
    return Ring(
        radius_m=one.waiting_m,
        slots=1,
        rate_rad_s=rate,
        slot0_rad=one.start.angle_rad + math.pi + float(extra[0]) - rate * there,
        gm=ring.gm,
        inclination_rad=ring.inclination_rad,
        node_rad=one.start.node_rad + float(down_node[0]) * (there - begun) - node_rate * there,
        node_rate_rad_s=node_rate,
    )


def _down(problem: Problem, drifts: Sequence[_Drift]) -> list[tuple[_Drift, Itinerary]]:
    """The drifts that can be flown, with their ways into the waiting orbits, corrected until these are circles."""
    cases = []
    for one in drifts:
        circle = _circle_of(problem, one)
        first, second = map(float, drift.speed_changes(problem.ring.gm, one.start.radius_m, one.waiting_m))
        impulses = (
            Impulse(float(one.table.down_s[0]), 0.0, first),
            Impulse(float(one.table.in_waiting_s[0]), 0.0, second),
        )
        item = Itinerary.through_turn(one.start.time_s, one.position, one.velocity, impulses, circle)
        cases.append(Case(itinerary=item, ring=circle, slot=0, unknowns=DOWN, targets=("period", "eccentricity")))
    corrected = correct_each(cases, problem.gravity)
    return [(one, result.itinerary) for one, result in zip(drifts, corrected, strict=True) if result is not None]


def _wait(problem: Problem, flown: Sequence[tuple[_Drift, Flight]]) -> list[tuple[_Drift, np.ndarray]]:
    """States shortly before the departures, the months in between followed in one batch and not kept."""
    if not flown:
        return []
    states = np.stack([flight.after[-1] for _, flight in flown], axis=1)
    lasts = np.array([_near(problem, one) - flight.settled_s for one, flight in flown])
    try:
        landed = coast_by_returns(problem.scenario.body, states, lasts, RELATIVE)
    except FlightError:
        middle = len(flown) // 2
        return _wait(problem, flown[:middle]) + _wait(problem, flown[middle:]) if middle else []
    return [(one, state) for (one, _), state in zip(flown, landed.T, strict=True)]


def _near(problem: Problem, one: _Drift) -> float:
    turn = float(orbits.period(problem.ring.gm, one.waiting_m))
    return max(float(one.table.leave_s[0]) - BEFORE_TURNS * turn, float(one.table.in_waiting_s[0]) + 0.01 * turn)


def _up(problem: Problem, waiting: Sequence[tuple[_Drift, np.ndarray]]) -> list[tuple[_Drift, Itinerary, float]]:
    """The burns up to the ring, corrected, and the slot error of their first guess."""
    ring = problem.ring
    cases = []
    for one, state in waiting:
        first, second = map(float, drift.speed_changes(ring.gm, one.waiting_m, ring.radius_m))
        begun, up = _near(problem, one), float(one.table.arrive_s[0] - one.table.leave_s[0])
        rate, _ = ring_rates(problem.scenario.body, one.waiting_m, ring.inclination_rad)
        # where the craft is by then, against where it was to be
        leave = float(one.table.leave_s[0])
        node = ring.node(begun, one.plane)
        here = float(frames.latitude_argument(state[:3], ring.inclination_rad, node)) + rate * (leave - begun)
        wanted = float(ring.phase(leave + up, one.slot, one.plane)) - math.pi
        leave += float(frames.wrap(wanted - here)) / (rate - ring.rate_rad_s)
        impulses = (Impulse(max(leave, begun), 0.0, first), Impulse(max(leave, begun) + up, 0.0, second))
        cases.append(
            Case(
                itinerary=Itinerary.through_turn(begun, state[:3], state[3:], impulses, ring),
                ring=ring,
                plane=one.plane,
                slot=one.slot,
                unknowns=UP,
                targets=("slot", "period", "eccentricity", "plane"),
            )
        )
    results = correct_each(cases, problem.gravity)
    return [
        (one, result.itinerary, result.first.slot_error_rad)
        for (one, _), result in zip(waiting, results, strict=True)
        if result is not None
    ]


def _course(problem: Problem, one: _Drift, begun: Flight, up: Itinerary, missed_rad: float) -> Course:
    ring = problem.ring
    impulses = (*begun.itinerary.impulses, *up.impulses)
    return Course(
        itinerary=up,
        insertion_s=None,
        screened_from_s=one.start.time_s,
        periapsis_m=min(one.waiting_m, ring.radius_m, one.start.radius_m),
        must_burn=False,
        plane=one.plane,
        earlier=begun,
        waits_between=(1, 2) if len(impulses) == 4 else None,
        first_guess_rad=missed_rad,
        full=Itinerary.through_turn(one.start.time_s, one.position, one.velocity, impulses, ring),
    )
