"""Chosen options flown, each distinct one once and all in one batch, and remembered with what was asked of them.

Over an oblate body the options, planned by ratios of periods, are first guesses: all distinct ones are corrected
together by their own flight (`differential_correction.py`), and what is read off and judged is the corrected flight.
Liftoffs stay as planned; the last burn comes as much later as the line of apsides has turned.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from ...models import frames
from ...models.burns import BurnModel
from ...models.deadline import poll
from ...models.errors import FlightError
from ...models.flight.integrate import Flight, Leg, Measured, closest_of_each, comes_back, fly_each, measure
from ...models.flight.stepping import RELATIVE_TOLERANCE
from ...models.scenario import LimitSpec
from ..problem.finite_burns import engine_of
from ..problem.option_key import FlightKey, flight_key
from ..problem.options import Options
from ..problem.problem import Problem
from ..problem.starts import Mask, with_classes, with_kept
from ..routes import registry
from ..trajectory.course import Carried, CarrierKey, Course
from ..trajectory.differential_correction import IMPULSIVE
from .liftoffs import Corrections, ToCorrect, correct_together

CORRECTED_RELATIVE = 1e-12
"""Error allowed in a step of the flight that is printed, where burns were corrected by a rougher one."""


class Place(NamedTuple):
    """Where a craft in place goes round, at time 0: argument of latitude, and its plane."""

    angle_rad: float
    inclination_rad: float
    node_rad: float


class Seat(NamedTuple):
    """A craft of a plan in its place, and since when; its flight's key where it flew there, None where it stayed.

    ``beside`` marks the rows of the plan that it started together with, or was dropped together with.
    """

    name: str
    place: Place
    since_s: float
    flown: FlightKey | None
    beside: np.ndarray


class _Meeting(NamedTuple):
    """Whose least distance to what place was looked for, from when until when, s."""

    name: FlightKey
    place: Place
    from_s: float
    to_s: float


class _Parting(NamedTuple):
    """Whose flight was examined for when it counts against whom it started with, in place from when until when, s."""

    name: FlightKey
    place: Place
    other: FlightKey | None
    from_s: float
    to_s: float


@dataclass(frozen=True, kw_only=True)
class Flights:
    """What was flown, by option key: course, flight, measurement, legs, lowest and highest radius.

    ``first_guess_rad`` is the slot error before correction, for what was corrected. ``carried`` are the carriers'
    flights. ``beside_kept`` and ``beside`` mark which classes start together with which craft, see
    ``catalogue/starts.py``. ``nearest`` and ``outside`` remember what was asked for before: plans share most of their
    options. ``failed`` are the options that could not be flown.
    """

    courses: dict[FlightKey, Course]
    flights: dict[FlightKey, Flight]
    measured: dict[FlightKey, Measured]
    legs: dict[FlightKey, tuple[Leg, ...]]
    first_guess_rad: dict[FlightKey, float]
    carried: dict[CarrierKey, Carried]
    beside_kept: Mask
    beside: Mask
    nearest: dict[_Meeting, float] = field(default_factory=dict)
    outside: dict[_Parting, float] = field(default_factory=dict)
    failed: frozenset[FlightKey] = frozenset()

    def finish(self, problem: Problem, options: Options, row: int) -> float:
        """When an option's craft is in its slot, s: its last burn as flown."""
        name = flight_key(problem, options, row)
        impulses = self.flights[name].itinerary.impulses
        return impulses[-1].time_s if name in self.first_guess_rad else float(options.finish_s[row])

    def distances(
        self, problem: Problem, name: FlightKey, seats: Sequence[tuple[Place, float]], to_s: float
    ) -> list[float]:
        """Least distance to each of several in place, each since its own moment until one time, m; remembered.

        Any craft on the ring is taken to move evenly on its circle: over an oblate body real craft wobble about that
        (about 1 km in a low Earth orbit), which is left out.
        """
        asked = [_Meeting(name, place, from_s, to_s) for place, from_s in seats]
        new = [i for i, what in enumerate(asked) if what not in self.nearest]
        if new:
            places = [seats[i][0] for i in new]
            since = np.array([seats[i][1] for i in new])
            least = np.full(len(new), np.inf)
            before = self.courses[name].earlier
            for flight in (self.flights[name],) if before is None else (before, self.flights[name]):
                until = min(to_s, flight.itinerary.end_s)
                (own,) = np.nonzero(since < until)
                if own.size:
                    there = _going_round(problem, [places[k] for k in own])
                    found = closest_of_each(flight, there, np.maximum(since[own], flight.begin_s), until)
                    least[own] = np.minimum(least[own], [near.distance_m for near in found])
            self.nearest.update((asked[i], float(value)) for i, value in zip(new, least, strict=True))
        return [self.nearest[what] for what in asked]

    def counts_from(self, problem: Problem, name: FlightKey, seat: Seat, from_s: float, to_s: float) -> float:
        """When the distance to a craft in place begins to count whom a craft started together with, s; remembered.

        When they come nearer again after they were outside the separation, on the other's flight until it is in its
        place. Where the limit is off, its default serves to leave the common start out of what is printed.

        Args:
            from_s: since when both are in space and the other in its place.
            to_s: until when.
        """
        asked = _Parting(name, seat.place, seat.flown, from_s, to_s)
        if asked not in self.outside:
            limit = problem.scenario.limits.separation_m or LimitSpec().separation_m
            what, own = self.courses[name], self.flights[name]
            later = math.inf
            if what.earlier is not None and from_s < own.begin_s:
                own, later = what.earlier, own.begin_s
            to_s, begin = min(to_s, own.itinerary.end_s), what.screened_from_s
            place = _going_round(problem, [seat.place])

            def there(times: np.ndarray) -> np.ndarray:
                return place(times, np.zeros(times.size, dtype=np.intp))

            apart = from_s
            here = np.array([min(from_s, own.itinerary.end_s)])
            if from_s > here[0]:
                # while its node drifts nothing is known of it but that it is far from the ring
                apart = later
            elif float(np.linalg.norm(own.states(here)[0, :3] - there(here)[0])) < limit and not self._parted(
                own, seat, limit, begin, from_s
            ):
                apart = min(comes_back(own, there, limit, from_s, to_s), later)
            self.outside[asked] = apart
        return self.outside[asked]

    def _parted(self, own: Flight, seat: Seat, limit_m: float, from_s: float, to_s: float) -> bool:
        """Whether two that started together were so far apart while both were under way."""
        if seat.flown is None:
            return False
        other = self.flights[seat.flown]
        start = max(from_s, own.begin_s, other.begin_s)
        if start >= to_s:
            return False
        times, place = own.sampled(start, to_s)
        return bool(np.any(np.linalg.norm(place - other.states(times)[:, :3], axis=1) >= limit_m))


def _going_round(problem: Problem, places: Sequence[Place]) -> Callable[[np.ndarray, np.ndarray], np.ndarray]:
    """Where craft in place are: times (n,) and whom, as an index (n,), to positions (n, 3), m."""
    ring = problem.ring
    angle, lean, node = (np.array(column) for column in zip(*places, strict=True))

    def there(times: np.ndarray, which: np.ndarray) -> np.ndarray:
        turned = angle[which] + ring.rate_rad_s * times
        return frames.on_circle(ring.radius_m, turned, lean[which], node[which] + ring.node_rate_rad_s * times)

    return there


class ToFly(NamedTuple):
    """Plans of one problem that are to be flown, and what is known of its corrections already."""

    problem: Problem
    chosen: Sequence[Options]
    corrections: Corrections

    def courses(self) -> ToCorrect:
        """The course of each distinct option, before its correction."""
        problem = self.problem
        courses: dict[FlightKey, Course] = {}
        slots: dict[FlightKey, int] = {}
        engines: dict[FlightKey, BurnModel] = {}
        course_of = registry.courses(
            problem, self.chosen, lambda options, row: engine_of(problem, options, row) is not None
        )
        for options in self.chosen:
            for row in range(len(options)):
                name = flight_key(problem, options, row)
                if name in slots:
                    continue
                slots[name] = int(options.slot[row])
                engine = engine_of(problem, options, row)
                engines[name] = IMPULSIVE if engine is None else engine
                what = course_of(options, row)
                if what is not None:
                    courses[name] = what
        return ToCorrect(problem, courses, slots, engines, self.corrections)


def fly_all(problem: Problem, chosen: Sequence[Options], corrections: Corrections | None = None) -> Flights:
    """Fly every distinct option of some plans, all in one batch, and measure each over a ring turn in its slot.

    Over an oblate body each is corrected first; one that cannot be met is flown as near as the correction came. One
    that cannot be flown at all is among the failed, whatever becomes of the others.
    """
    return fly_together([ToFly(problem, chosen, {} if corrections is None else corrections)])[0]


def fly_together(asked: Sequence[ToFly]) -> list[Flights]:
    """The same for several problems that differ in where their ring stands, all in one batch."""
    work = [one.courses() for one in asked]
    first_guesses = correct_together(work)
    problem = asked[0].problem
    # a corrected flight is no better than its correction: a hundred thousandth of a degree of slot
    relative = CORRECTED_RELATIVE if problem.oblate else RELATIVE_TOLERANCE
    models = [one.engines[name] for one in work for name in one.courses]
    items = [what.itinerary for one in work for what in one.courses.values()]
    flown = iter(fly_each(items, problem.gravity, models, relative=relative))
    return [
        _read(one, [next(flown) for _ in one.courses], first_guess)
        for one, first_guess in zip(work, first_guesses, strict=True)
    ]


def _read(work: ToCorrect, flown: Sequence[Flight | None], first_guess: dict[FlightKey, float]) -> Flights:
    """What was flown of one problem, measured."""
    problem, courses, slots = work.problem, work.courses, work.slots
    known = {name: what.first_guess_rad for name, what in courses.items()}
    first_guess.update((name, error) for name, error in known.items() if error is not None)
    flights: dict[FlightKey, Flight] = {}
    measured: dict[FlightKey, Measured] = {}
    legs: dict[FlightKey, tuple[Leg, ...]] = {}
    for (name, what), flight in zip(courses.items(), flown, strict=True):
        poll()
        seen = None if flight is None else _measured(problem, flight, slots[name])
        if flight is None or seen is None:
            continue
        flights[name], measured[name] = flight, seen
        legs[name] = flight.legs() if what.earlier is None else (*what.earlier.legs(), *flight.legs())
    return Flights(
        courses=courses,
        flights=flights,
        measured=measured,
        legs=legs,
        first_guess_rad=first_guess,
        carried={what.carried.name: what.carried for what in courses.values() if what.carried is not None},
        beside_kept=with_kept(problem),
        beside=with_classes(problem),
        failed=frozenset(slots) - frozenset(flights),
    )


def _measured(problem: Problem, flight: Flight, slot: int) -> Measured | None:
    """A flight against its slot; None where it does not come round once, or reads an open orbit after a burn."""
    if not all(math.isfinite(shown.period_s) for shown in flight.readouts()):
        return None
    try:
        return measure(flight, problem.ring, *divmod(slot, problem.ring.slots))
    except FlightError:
        return None
