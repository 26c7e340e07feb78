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
from ...models.flight.integrate import Flight, Itinerary, fly_each
from ...models.flight.nodal_returns import coast_by_returns
from ...models.oblate_circles import RELATIVE
from ..problem.option_key import FlightKey, flight_key
from ..problem.options import Options
from ..problem.problem import Problem
from ..trajectory.course import Course
from ..trajectory.differential_correction import Case, Unknown, correct_each
from ..trajectory.start_state import inserted, state_in_space
from .nodal_drift_burns import Waits
from .nodal_drift_choices import room_of
from .nodal_drift_launched import start_at
from .nodal_drift_readings import BEFORE_TURNS, Drift, before_up, circle_of, impulses_of, seen_above, seen_below
from .nodal_drift_timetable import Ways, drifting_from, drifting_of
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


def drift_courses(problem: Problem, chosen: Sequence[Options]) -> CourseOf:
    """Work out and correct every distinct drift of some plans, all together; those that cannot be flown have none."""
    found: dict[FlightKey, Drift] = {}
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
    below = seen_above(problem, seen_below(problem, _down(problem, at_once)))
    begun = _begun(problem, _down(problem, below))
    begun += [(one, None) for one in seen_above(problem, [one for one in found.values() if one.held])]
    up = _up(problem, _wait(problem, begun))
    first = {one.name: flight for one, flight in begun}
    courses = {one.name: _course(problem, one, first[one.name], last, missed) for one, last, missed in up}
    return lambda options, row: courses.get(flight_key(problem, options, row))


def _drift(problem: Problem, options: Options, row: int, name: FlightKey, ways: Ways, held: bool) -> Drift:
    ring, group, room = problem.ring, problem.classes[options.craft_class[row]], room_of(problem)
    plane, slot = divmod(int(options.slot[row]), ring.slots)
    if options.way[row] >= 0:
        way, liftoff_s = problem.ways[options.way[row]], float(options.liftoff_s[row])
        state = inserted(problem, way, liftoff_s, 0.0, liftoff_s + way.insertion_after_s)
        launched = drifting_from(problem.scenario.body, ring, start_at(problem, way, liftoff_s), room)
        return Drift(name, slot, plane, launched, *state, ways, held, launched=True)
    drifting, orbit = drifting_of(problem, group, room), group.craft.orbit
    if orbit is None or drifting is None:
        raise ValueError("a drift begins on a circle over an oblate body")
    state = state_in_space(problem, orbit, drifting.start.on_ring, drifting.start.time_s)
    return Drift(name, slot, plane, drifting, *state, ways, held, launched=False)


def _begun(problem: Problem, down: Sequence[tuple[Drift, Itinerary]]) -> list[tuple[Drift, Flight | None]]:
    """The ways down as flown."""
    flights = fly_each([item for _, item in down], problem.gravity, relative=RELATIVE)
    return [(one, flight) for (one, _), flight in zip(down, flights, strict=True) if flight is not None]


def _down(problem: Problem, drifts: Sequence[Drift]) -> list[tuple[Drift, Itinerary]]:
    """The drifts that can be flown, with their ways into the waiting orbits, corrected until these are circles."""
    cases = []
    for one, burns in zip(drifts, impulses_of(drifts), strict=True):
        circle, start = circle_of(one), one.drifting.start
        item = Itinerary.through_turn(start.time_s, one.position, one.velocity, burns[:2], circle)
        cases.append(Case(itinerary=item, ring=circle, slot=0, unknowns=DOWN, targets=("period", "eccentricity")))
    corrected = correct_each(cases, problem.gravity)
    return [(one, result.itinerary) for one, result in zip(drifts, corrected, strict=True) if result is not None]


class _Ready(NamedTuple):
    """A drift shortly before it goes up: when that is, and its state."""

    one: Drift
    time_s: float
    state: np.ndarray


def _wait(problem: Problem, begun: Sequence[tuple[Drift, Flight | None]]) -> list[_Ready]:
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


def _near(problem: Problem, one: Drift) -> float:
    table, start = one.table, one.drifting.start
    if one.held:
        turn = float(orbits.period(problem.ring.gm, start.radius_m))
        return max(float(table.down_s[0]) - BEFORE_TURNS * turn, start.time_s)
    turn = float(orbits.period(problem.ring.gm, one.waiting_m))
    return max(float(table.leave_s[0]) - BEFORE_TURNS * turn, float(table.in_waiting_s[0]) + 0.01 * turn)


def _up(problem: Problem, waiting: Sequence[_Ready]) -> list[tuple[Drift, Itinerary, float]]:
    """The burns up to the ring, corrected, and the slot error of their first guess.

    The slot first, by when the craft goes up; then the plane where burns have to turn what the waits have left. What
    two burns on one line cannot turn would spoil the slot, which is therefore met once more.
    """
    ring = problem.ring
    cases = []
    burns = impulses_of([ready.one for ready in waiting])
    for (one, begun, state), all_four in zip(waiting, burns, strict=True):
        impulses = all_four if one.held else all_four[2:]
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
    found = [(k, flat) for k, flat in enumerate(results) if flat is not None]
    leaning = [(k, flat) for k, flat in found if math.hypot(*flat.last.plane_tilt_rad) > FLAT_RAD]
    across = [
        replace(
            cases[k],
            itinerary=flat.itinerary,
            unknowns=(*cases[k].unknowns, *ACROSS),
            targets=("slot", "period", "eccentricity", "plane"),
        )
        for k, flat in leaning
    ]
    turned = correct_each(across, problem.gravity)
    again = [
        replace(cases[k], itinerary=(flat if there is None else there).itinerary)
        for (k, flat), there in zip(leaning, turned, strict=True)
    ]
    for (k, flat), last in zip(leaning, correct_each(again, problem.gravity), strict=True):
        results[k] = flat if last is None else replace(last, first=flat.first)
    return [
        (ready.one, result.itinerary, result.first.slot_error_rad)
        for ready, result in zip(waiting, results, strict=True)
        if result is not None
    ]


def _later_s(problem: Problem, one: Drift, begun_s: float, state: np.ndarray) -> float:
    """How much later than planned a craft goes up, from where it is by then against where it was to be."""
    there = before_up(one)
    before_s = there.leave_s - begun_s
    node = there.node_rad - there.node_rate_rad_s * before_s
    here = float(frames.latitude_argument(state[:3], problem.ring.inclination_rad + there.lean_rad, node))
    ahead = float(frames.wrap(there.angle_rad - there.rate_rad_s * before_s - here))
    return ahead / (there.rate_rad_s - problem.ring.rate_rad_s)


def _course(problem: Problem, one: Drift, begun: Flight | None, up: Itinerary, missed_rad: float) -> Course:
    ring, start = problem.ring, one.drifting.start
    impulses = up.impulses if begun is None else (*begun.itinerary.impulses, *up.impulses)
    waits = (None, 0) if one.held else (1, 2)
    return Course(
        itinerary=up,
        insertion_s=start.time_s if one.launched else None,
        screened_from_s=start.time_s,
        periapsis_m=min(one.waiting_m, ring.radius_m, start.radius_m),
        must_burn=False,
        plane=one.plane,
        earlier=begun,
        waits_between=waits if len(impulses) == 4 else None,
        first_guess_rad=missed_rad,
        full=Itinerary.through_turn(start.time_s, one.position, one.velocity, impulses, ring),
    )
