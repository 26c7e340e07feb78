"""What a craft flies that reaches its plane by nodal drift: corrected in three stages by its own flight.

Down into the waiting orbit first, until it is a circle of the right pace; then through the whole wait; then the
departure is moved to where slot and craft really are by then, and the way up corrected. A craft that waits in its own
orbit has no way down, and goes up in two steps. Only the short ends are flown again and again; the months in between
are followed from node to node (`models/flight/nodal_returns.py`).
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
from ...models.ring import Ring
from ..problem.option_key import FlightKey, flight_key
from ..problem.options import F, Options
from ..problem.problem import Problem
from ..trajectory.course import Course
from ..trajectory.differential_correction import Case, Unknown, correct_each
from ..trajectory.start_state import state_in_space
from .nodal_drift_burns import Burns, Waits, burns_of
from .nodal_drift_choices import room_of
from .nodal_drift_timetable import (
    Drifting,
    Timetable,
    Ways,
    circle_rates,
    drifting_of,
    into_node,
    meets_nodes,
    onto_crossing,
    swept,
    transfer,
)
from .route import CourseOf

DOWN = (Unknown(0, "along"), Unknown(-1, "radial"), Unknown(-1, "along"))
UP = (
    Unknown(0, "time"),
    Unknown(0, "along"),
    Unknown(-1, "time"),
    Unknown(-1, "radial"),
    Unknown(-1, "along"),
)
UP_IN_TWO_STEPS = (*UP, Unknown(2, "time"), Unknown(2, "along"))
ACROSS = (Unknown(0, "cross"), Unknown(-1, "cross"))

FLAT_RAD = 4e-5
"""Planes that agree to this are left as they are: 0.0023 deg."""

SAME_RAD = 1e-6
"""Planes closer than this are met by the wait alone."""

BEFORE_TURNS = 0.6
"""The way up is corrected from this much of a waiting turn before the departure."""


class _Drift(NamedTuple):
    """One drift: whose, into which slot of which plane; how it goes by what is known of it so far."""

    name: FlightKey
    slot: int
    plane: int
    drifting: Drifting
    position: np.ndarray
    velocity: np.ndarray
    ways: Ways
    held: bool

    @property
    def table(self) -> Timetable:
        return self.drifting.timetable(self.ways)

    @property
    def burns(self) -> Burns:
        return burns_of(self.drifting, self.ways, self.table)

    @property
    def waiting_m(self) -> float:
        return float(self.ways.waiting_m[0])

    @property
    def impulses(self) -> tuple[Impulse, ...]:
        return self.burns.impulses(0, self.table)

    @property
    def solved(self) -> _Drift:
        """The same drift moved onto its slot again."""
        if self.held:
            ways, _ = onto_crossing(self.drifting, self.ways, "held_s")
        elif meets_nodes(self.drifting, self.ways)[0] and float(self.table.tilt_rad[0]) < SAME_RAD:
            ways, _ = into_node(self.drifting, self.ways)
        else:
            ways, _ = onto_crossing(self.drifting, self.ways, "waiting_m")
        return self._replace(ways=ways)


def drift_courses(problem: Problem, chosen: Sequence[Options]) -> CourseOf:
    """Work out and correct every distinct drift of some plans, all together; those that cannot be flown have none."""
    found: dict[FlightKey, _Drift] = {}
    for options in chosen:
        for rows, table in options.detailed():
            if not isinstance(table, Waits):
                continue
            ways = table.ways(options, rows)
            for k, row in enumerate(rows.tolist()):
                name = flight_key(problem, options, row)
                if name not in found:
                    found[name] = _drift(problem, options, row, name, ways.take(np.array([k])), bool(table.held[k]))
    at_once = [one for one in found.values() if not one.held]
    begun = _begun(problem, _down(problem, _seen_below(problem, _down(problem, at_once))))
    begun += [(one, None) for one in found.values() if one.held]
    up = _up(problem, _wait(problem, begun))
    first = {one.name: flight for one, flight in begun}
    courses = {one.name: _course(problem, one, first[one.name], last, missed) for one, last, missed in up}
    return lambda options, row: courses.get(flight_key(problem, options, row))


def _drift(problem: Problem, options: Options, row: int, name: FlightKey, ways: Ways, held: bool) -> _Drift:
    ring, group = problem.ring, problem.classes[options.craft_class[row]]
    orbit = group.craft.orbit
    drifting = drifting_of(problem, group, room_of(problem))
    if orbit is None or drifting is None:
        raise ValueError("a drift begins on a circle over an oblate body")
    start = drifting.start
    position, velocity = state_in_space(problem, orbit, start.on_ring, start.time_s)
    plane, slot = divmod(int(options.slot[row]), ring.slots)
    return _Drift(name, slot, plane, drifting, position, velocity, ways, held)


def _begun(problem: Problem, down: Sequence[tuple[_Drift, Itinerary]]) -> list[tuple[_Drift, Flight | None]]:
    """The ways down as flown."""
    flights = fly_each([item for _, item in down], problem.gravity, relative=RELATIVE)
    return [(one, flight) for (one, _), flight in zip(down, flights, strict=True) if flight is not None]


def _seen_below(problem: Problem, down: Sequence[tuple[_Drift, Itinerary]]) -> list[_Drift]:
    """The same drifts with depth and wait as the way down and the real pace of each waiting orbit ask for.

    Read off a flight of some turns in an orbit all but the same.
    """
    found = []
    for one, offset, rate in _read(problem, [(one, _circle_of(one), item) for one, item in down]):
        known = one.drifting.more(one.ways)
        seen = replace(known, angle_rad=offset[0], node_rad=offset[1], rate_rad_s=rate[0], node_rate_rad_s=rate[1])
        found.append(one._replace(drifting=replace(one.drifting, seen=seen)).solved)
    return found


def _read(
    problem: Problem, asked: Sequence[tuple[_Drift, Ring, Itinerary]]
) -> list[tuple[_Drift, tuple[F, F], tuple[F, F]]]:
    """How drifts really go in circles after their itineraries: angle and node at once, and the rates; each (1,)."""
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
        found.append((one, (np.array([angle]), np.array([node])), (np.array([rate]), np.array([node_rate]))))
    return found


def _circle_of(one: _Drift) -> Ring:
    """The waiting orbit as a ring with one slot, where the craft is to arrive in it."""
    drifting, ways, table = one.drifting, one.ways, one.table
    start, there = drifting.start, float(table.in_waiting_s[0])
    half, node_rate = transfer(drifting.body, drifting.ring, start.radius_m, ways.waiting_m)
    extra = swept(drifting.body, drifting.ring, start.radius_m, ways.waiting_m, half)
    node = start.node_rad + start.node_rate_rad_s * ways.held_s + node_rate * half
    angle = float((table.begin_angle_rad + math.pi + extra)[0])
    return _as_ring(drifting.ring, drifting, one.waiting_m, float(ways.lean_rad[0]), angle, float(node[0]), there)


def _as_ring(
    ring: Ring, drifting: Drifting, radius_m: float, lean_rad: float, angle_rad: float, node_rad: float, time_s: float
) -> Ring:
    """A circle as a ring with one slot, which is at an angle at a time."""
    lean = ring.inclination_rad + lean_rad
    rate, node_rate = (float(part) for part in circle_rates(drifting.body, np.array(radius_m), np.array(lean)))
    return Ring(
        radius_m=radius_m,
        slots=1,
        rate_rad_s=rate,
        slot0_rad=angle_rad - rate * time_s,
        gm=ring.gm,
        inclination_rad=lean,
        node_rad=node_rad - node_rate * time_s,
        node_rate_rad_s=node_rate,
    )


def _down(problem: Problem, drifts: Sequence[_Drift]) -> list[tuple[_Drift, Itinerary]]:
    """The drifts that can be flown, with their ways into the waiting orbits, corrected until these are circles."""
    cases = []
    for one in drifts:
        circle, start = _circle_of(one), one.drifting.start
        item = Itinerary.through_turn(start.time_s, one.position, one.velocity, one.impulses[:2], circle)
        cases.append(Case(itinerary=item, ring=circle, slot=0, unknowns=DOWN, targets=("period", "eccentricity")))
    corrected = correct_each(cases, problem.gravity)
    return [(one, result.itinerary) for one, result in zip(drifts, corrected, strict=True) if result is not None]


class _Ready(NamedTuple):
    """A drift shortly before it goes up: when that is, and its state."""

    one: _Drift
    time_s: float
    state: np.ndarray


def _wait(problem: Problem, begun: Sequence[tuple[_Drift, Flight | None]]) -> list[_Ready]:
    """States shortly before the departures, the months in between followed in one batch and not kept."""
    if not begun:
        return []
    since, states, until = [], [], []
    for one, flight in begun:
        start = one.drifting.start.time_s
        since.append(start if flight is None else flight.settled_s)
        states.append(np.concatenate([one.position, one.velocity]) if flight is None else flight.after[-1])
        until.append(_near(problem, one))
    lasts = np.array(until) - np.array(since)
    stays = lasts <= 0.0
    landed = np.stack(states, axis=1)
    try:
        if not stays.all():
            landed[:, ~stays] = coast_by_returns(problem.scenario.body, landed[:, ~stays], lasts[~stays], RELATIVE)
    except FlightError:
        middle = len(begun) // 2
        return _wait(problem, begun[:middle]) + _wait(problem, begun[middle:]) if middle else []
    times = np.where(stays, since, until).tolist()
    return [_Ready(one, time, state) for (one, _), time, state in zip(begun, times, landed.T, strict=True)]


def _near(problem: Problem, one: _Drift) -> float:
    table, start = one.table, one.drifting.start
    if one.held:
        turn = float(orbits.period(problem.ring.gm, start.radius_m))
        return max(float(table.down_s[0]) - BEFORE_TURNS * turn, start.time_s)
    turn = float(orbits.period(problem.ring.gm, one.waiting_m))
    return max(float(table.leave_s[0]) - BEFORE_TURNS * turn, float(table.in_waiting_s[0]) + 0.01 * turn)


def _up(problem: Problem, waiting: Sequence[_Ready]) -> list[tuple[_Drift, Itinerary, float]]:
    """The burns up to the ring, corrected, and the slot error of their first guess.

    The slot first, by when the craft goes up; then the plane where burns have to turn what the waits have left. What
    two burns on one line cannot turn would spoil the slot, which is therefore met once more.
    """
    ring = problem.ring
    cases = []
    for one, begun, state in waiting:
        impulses = one.impulses if one.held else one.impulses[2:]
        later = max(_later_s(problem, one, begun, state), begun - impulses[0].time_s)
        impulses = tuple(burn._replace(time_s=burn.time_s + later) for burn in impulses)
        cases.append(
            Case(
                itinerary=Itinerary.through_turn(begun, state[:3], state[3:], impulses, ring),
                ring=ring,
                plane=one.plane,
                slot=one.slot,
                unknowns=UP_IN_TWO_STEPS if one.held else UP,
            )
        )
    results = list(correct_each(cases, problem.gravity))
    found = [(k, one) for k, one in enumerate(results) if one is not None]
    leaning = [(k, one) for k, one in found if math.hypot(*one.last.plane_tilt_rad) > FLAT_RAD]
    across = [
        replace(
            cases[k],
            itinerary=one.itinerary,
            unknowns=(*cases[k].unknowns, *ACROSS),
            targets=("slot", "period", "eccentricity", "plane"),
        )
        for k, one in leaning
    ]
    turned = correct_each(across, problem.gravity)
    again = [
        replace(cases[k], itinerary=(one if there is None else there).itinerary)
        for (k, one), there in zip(leaning, turned, strict=True)
    ]
    for (k, one), last in zip(leaning, correct_each(again, problem.gravity), strict=True):
        results[k] = one if last is None else replace(last, first=one.first)
    return [
        (ready.one, result.itinerary, result.first.slot_error_rad)
        for ready, result in zip(waiting, results, strict=True)
        if result is not None
    ]


def _later_s(problem: Problem, one: _Drift, begun_s: float, state: np.ndarray) -> float:
    """How much later than planned a craft goes up, from where it is by then against where it was to be."""
    ring, table, drifting, ways, start = problem.ring, one.table, one.drifting, one.ways, one.drifting.start
    if one.held:
        rate, node_rate, leave_s = start.rate_rad_s, start.node_rate_rad_s, float(table.down_s[0])
        lean, node = start.lean_rad, start.node_rad + node_rate * float(ways.held_s[0])
        angle = float(table.begin_angle_rad[0])
    else:
        rate, node_rate = (float(part[0]) for part in drifting.waiting_rates(ways, drifting.more(ways)))
        leave_s, lean, wait_s = float(table.leave_s[0]), float(ways.lean_rad[0]), float(ways.wait_s[0])
        node = float(table.there_node_rad[0]) + node_rate * wait_s
        angle = float(table.there_angle_rad[0]) + rate * wait_s
    before_s = leave_s - begun_s
    here = float(frames.latitude_argument(state[:3], ring.inclination_rad + lean, node - node_rate * before_s))
    return float(frames.wrap(angle - rate * before_s - here)) / (rate - ring.rate_rad_s)


def _course(problem: Problem, one: _Drift, begun: Flight | None, up: Itinerary, missed_rad: float) -> Course:
    ring, start = problem.ring, one.drifting.start
    impulses = up.impulses if begun is None else (*begun.itinerary.impulses, *up.impulses)
    waits = (None, 0) if one.held else (1, 2)
    return Course(
        itinerary=up,
        insertion_s=None,
        screened_from_s=start.time_s,
        periapsis_m=min(one.waiting_m, ring.radius_m, start.radius_m),
        must_burn=False,
        plane=one.plane,
        earlier=begun,
        waits_between=waits if len(impulses) == 4 else None,
        first_guess_rad=missed_rad,
        full=Itinerary.through_turn(start.time_s, one.position, one.velocity, impulses, ring),
    )
