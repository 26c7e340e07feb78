"""From chosen options to plans: fly each distinct option once, read it off, judge it against the limits.

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
from ...models.azimuth import azimuth_of_least_tilt
from ...models.burns import BurnModel, FiniteThrust
from ...models.craft import mass_at_start
from ...models.errors import FlightError
from ...models.flight.integrate import Flight, Leg, Measured, closest_of_each, comes_back, fly_each, measure
from ...models.flight.stepping import RELATIVE_TOLERANCE
from ...models.launch import Ascent
from ...models.opportunities import flight_azimuth, launch_state, tilt
from ...models.scenario import Craft, LimitSpec
from ...models.site_and_plane import SiteAndPlane
from ..catalogue.finite_burns import engine_of
from ..catalogue.problem import Problem
from ..catalogue.starts import Mask, with_classes, with_kept
from ..craft_plan import CraftPlan, Flown, FreeForm, LaunchHeading
from ..outcome import Plan
from ..routes.options import Options
from .burn_list import burns_of
from .carrier import Carried, CarrierKey, carrier_key, dropped, fly_carriers
from .carrier_plans import carrier_plans
from .differential_correction import IMPULSIVE
from .itinerary import Course, course, flight_key
from .liftoffs import correct_courses
from .limits import judged
from .nodal_drift import Drifted, drift_courses

CORRECTED_RELATIVE = 1e-12
"""Error allowed in a step of the flight that is printed, where burns were corrected by a rougher one."""


class _Place(NamedTuple):
    """Where a craft in place goes round, at time 0: argument of latitude, and its plane."""

    angle_rad: float
    inclination_rad: float
    node_rad: float


class _Seat(NamedTuple):
    """A craft of a plan in its place, and since when; its flight's key where it flew there, None where it stayed.

    ``beside`` marks the rows of the plan that it started together with, or was dropped together with.
    """

    name: str
    place: _Place
    since_s: float
    flown: tuple[float, ...] | None
    beside: np.ndarray


@dataclass(frozen=True, kw_only=True)
class Flights:
    """What was flown, by option key: course, flight, measurement, legs, lowest and highest radius.

    ``first_guess_rad`` is the slot error before correction, for what was corrected. ``carried`` are the carriers'
    flights. ``beside_kept`` and ``beside`` mark which classes start together with which craft, see
    ``catalogue/starts.py``. ``nearest`` and ``outside`` remember what was asked for before: plans share most of their
    options. ``failed`` are the options that could not be flown.
    """

    courses: dict[tuple[float, ...], Course]
    flights: dict[tuple[float, ...], Flight]
    measured: dict[tuple[float, ...], Measured]
    legs: dict[tuple[float, ...], tuple[Leg, ...]]
    first_guess_rad: dict[tuple[float, ...], float]
    carried: dict[CarrierKey, Carried]
    beside_kept: Mask
    beside: Mask
    nearest: dict[tuple[float, ...], float] = field(default_factory=dict)
    outside: dict[tuple[float, ...], float] = field(default_factory=dict)
    failed: frozenset[tuple[float, ...]] = frozenset()

    def finish(self, problem: Problem, options: Options, row: int) -> float:
        """When an option's craft is in its slot, s: its last burn as flown."""
        name = flight_key(problem, options, row)
        impulses = self.flights[name].itinerary.impulses
        return impulses[-1].time_s if name in self.first_guess_rad else float(options.finish_s[row])

    def distances(
        self, problem: Problem, name: tuple[float, ...], seats: Sequence[tuple[_Place, float]], to_s: float
    ) -> list[float]:
        """Least distance to each of several in place, each since its own moment until one time, m; remembered.

        Any craft on the ring is taken to move evenly on its circle: over an oblate body real craft wobble about that
        (about 1 km in a low Earth orbit), which is left out.
        """
        asked = [(*name, *place, from_s, to_s) for place, from_s in seats]
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

    def counts_from(self, problem: Problem, name: tuple[float, ...], seat: _Seat, from_s: float, to_s: float) -> float:
        """When the distance to a craft in place begins to count whom a craft started together with, s; remembered.

        When they come nearer again after they were outside the separation, on the other's flight until it is in its
        place. Where the limit is off, its default serves to leave the common start out of what is printed.

        Args:
            name: whose flight.
            seat: who else.
            from_s: since when both are in space and the other in its place.
            to_s: until when.
        """
        asked = (*name, *seat.place, *(seat.flown or ()), from_s, to_s)
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

    def _parted(self, own: Flight, seat: _Seat, limit_m: float, from_s: float, to_s: float) -> bool:
        """Whether two that started together were so far apart while both were under way."""
        if seat.flown is None:
            return False
        other = self.flights[seat.flown]
        start = max(from_s, own.begin_s, other.begin_s)
        if start >= to_s:
            return False
        times, place = own.sampled(start, to_s)
        return bool(np.any(np.linalg.norm(place - other.states(times)[:, :3], axis=1) >= limit_m))


def _going_round(problem: Problem, places: Sequence[_Place]) -> Callable[[np.ndarray, np.ndarray], np.ndarray]:
    """Where craft in place are: times (n,) and whom, as an index (n,), to positions (n, 3), m."""
    ring = problem.ring
    angle, lean, node = (np.array(column) for column in zip(*places, strict=True))

    def there(times: np.ndarray, which: np.ndarray) -> np.ndarray:
        turned = angle[which] + ring.rate_rad_s * times
        return frames.on_circle(ring.radius_m, turned, lean[which], node[which] + ring.node_rate_rad_s * times)

    return there


def fly_all(problem: Problem, chosen: Sequence[Options]) -> Flights:
    """Fly every distinct option of some plans, all in one batch, and measure each over a ring turn in its slot.

    Over an oblate body each is corrected first; one that cannot be met is flown as near as the correction came. One
    that cannot be flown at all is among the failed, whatever becomes of the others.
    """
    courses: dict[tuple[float, ...], Course] = {}
    slots: dict[tuple[float, ...], int] = {}
    engines: dict[tuple[float, ...], BurnModel] = {}
    carried = fly_carriers(problem, chosen)
    drifted = drift_courses(problem, chosen)
    for options in chosen:
        for row in range(len(options)):
            name = flight_key(problem, options, row)
            if name in slots:
                continue
            slots[name] = int(options.slot[row])
            engine = engine_of(problem, options, row)
            engines[name] = IMPULSIVE if engine is None else engine
            what = _course(problem, options, row, carried, drifted)
            if what is not None:
                courses[name] = what
    first_guess = correct_courses(problem, courses, slots, engines)
    first_guess.update((name, one.first_guess_rad) for name, one in drifted.items())
    # a corrected flight is no better than its correction: a hundred thousandth of a degree of slot
    relative = CORRECTED_RELATIVE if problem.oblate else RELATIVE_TOLERANCE
    models = [engines[name] for name in courses]
    flown = fly_each([c.itinerary for c in courses.values()], problem.gravity, models, relative=relative)
    flights: dict[tuple[float, ...], Flight] = {}
    measured: dict[tuple[float, ...], Measured] = {}
    legs: dict[tuple[float, ...], tuple[Leg, ...]] = {}
    for (name, what), flight in zip(courses.items(), flown, strict=True):
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
        carried=carried,
        beside_kept=with_kept(problem),
        beside=with_classes(problem),
        failed=frozenset(slots) - frozenset(flights),
    )


def _course(
    problem: Problem,
    options: Options,
    row: int,
    carried: dict[CarrierKey, Carried],
    drifted: dict[tuple[float, ...], Drifted],
) -> Course | None:
    """What is flown for an option; None where its carrier, its drift or its start state cannot be."""
    finite = engine_of(problem, options, row) is not None
    try:
        if options.bundle[row] >= 0:
            by = carried.get(carrier_key(options, row))
            return None if by is None else dropped(problem, options, row, by, finite=finite)
        if not math.isnan(options.waiting_m[row]):
            one = drifted.get(flight_key(problem, options, row))
            return None if one is None else one.course
        return course(problem, options, row, finite=finite)
    except FlightError:
        return None


def _measured(problem: Problem, flight: Flight, slot: int) -> Measured | None:
    """A flight against its slot; None where it does not come round once, or reads an open orbit after a burn."""
    if not all(math.isfinite(shown.period_s) for shown in flight.readouts()):
        return None
    try:
        return measure(flight, problem.ring, *divmod(slot, problem.ring.slots))
    except FlightError:
        return None


def assemble(problem: Problem, options: Options, flights: Flights) -> Plan:
    """One plan from its options, one for each craft that is moved: not yet ranked (rank 0).

    Alike craft take their options in the order of liftoff, in space of slot, and of the scenario file.
    """
    named: list[tuple[str, int]] = []
    for index, group in enumerate(problem.classes):
        rows = [r for r in range(len(options)) if options.craft_class[r] == index]
        # in space the lowest slots first; from a pad in the order of liftoff
        rows.sort(
            key=lambda r: (
                -math.inf if np.isnan(options.liftoff_s[r]) else float(options.liftoff_s[r]),
                int(options.slot[r]),
            )
        )
        named.extend(zip(group.names, rows, strict=True))
    order = {c.name: i for i, c in enumerate(problem.scenario.craft)}
    named.sort(key=lambda item: order[item[0]])
    seats = _seats(problem, options, named, flights)
    craft = tuple(_craft_plan(problem, options, row, name, seats, flights) for name, row in named)
    carriers = carrier_plans(problem, options, named, flights.carried)
    return judged(problem.scenario, craft, carriers, moved=any(way.place is not None for way in problem.ways))


def _seats(problem: Problem, options: Options, named: Sequence[tuple[str, int]], flights: Flights) -> list[_Seat]:
    """Who is in place during a plan: those that stay, and each craft of the plan from its last burn on."""
    in_space, index = options.way < 0, options.craft_class
    found = []
    for column, kept in enumerate(problem.kept):
        place = _in_ring(problem, kept.angle_rad, kept.slot)
        found.append(_Seat(kept.name, place, -math.inf, None, in_space & flights.beside_kept[index, column]))
    for name, row in named:
        dropped_with = (options.bundle == options.bundle[row]) & (options.passes == options.passes[row])
        found.append(
            _Seat(
                name,
                _place(problem, options, row),
                flights.finish(problem, options, row),
                flight_key(problem, options, row),
                in_space & flights.beside[index[row], index] if in_space[row] else dropped_with & (options.bundle >= 0),
            )
        )
    return found


def alone(problem: Problem, options: Options, row: int, flights: Flights) -> Plan:
    """One option judged by itself, among the craft that stay: what it breaks regardless of the others."""
    name = problem.classes[options.craft_class[row]].names[0]
    one = options.take(np.array([row]))
    seats = _seats(problem, one, (), flights)
    part = _craft_plan(problem, one, 0, name, seats, flights)
    return judged(problem.scenario, (part,), moved=any(way.place is not None for way in problem.ways))


def _craft_plan(
    problem: Problem,
    options: Options,
    row: int,
    name: str,
    seats: list[_Seat],
    flights: Flights,
) -> CraftPlan:
    option_key = flight_key(problem, options, row)
    what, flight, seen = flights.courses[option_key], flights.flights[option_key], flights.measured[option_key]
    craft = next(c for c in problem.scenario.craft if c.name == name)
    way = problem.ways[options.way[row]] if options.way[row] >= 0 else None
    flown = [flight] if what.earlier is None else [what.earlier, flight]
    # over an oblate body the burns are no longer those planned
    planned = None if option_key in flights.first_guess_rad else float(options.delta_v_m_s[row])
    stage = None if way is None or options.bundle[row] >= 0 else problem.scenario.pads[way.pad].upper_stage
    burns = burns_of(craft, flown, planned, stage)
    spent = math.fsum(b.own_m_s for b in burns)
    revolutions = int(options.revolutions[row])
    finish = flights.finish(problem, options, row)
    plane, slot = divmod(int(options.slot[row]), problem.ring.slots)
    nearest = _nearest(problem, flights, option_key, row, name, finish, seats)
    # over an oblate body the flight may have moved the liftoff, and all that follows from it
    by = flights.carried[carrier_key(options, row)] if options.bundle[row] >= 0 else None
    moved = what.moved_s(way, float(options.liftoff_s[row]))
    begun = flight.itinerary if by is None else by.flight.itinerary
    inserted = None if way is None else (*map(float, begun.position), *map(float, begun.velocity))
    phased = revolutions > 0 and options.flight[row] < 0
    phasing = float(options.phasing_s[row]) / revolutions if phased else None
    if option_key in flights.first_guess_rad and what.phasing_burn is not None and revolutions > 0:
        burnt = flight.itinerary.impulses
        phasing = (burnt[what.last_at_ring].time_s - burnt[what.phasing_burn].time_s) / revolutions
    loaded = _loaded(craft, spent)
    left = burns[-1].propellant_after_kg if burns else loaded
    return CraftPlan(
        craft=name,
        plane=plane,
        slot=slot,
        route=what.route,
        side=("below", "level", "above")[int(options.take(np.array([row])).side[0]) + 1],
        revolutions=revolutions,
        ring_revolutions=int(options.ring_revolutions[row]),
        passes=int(options.passes[row]),
        lead_rad=_lead(problem, what, flight, int(options.slot[row]), float(options.lead_rad[row])),
        pad=None if way is None else problem.scenario.pads[way.pad].name,
        carrier=None if by is None else craft.carrier,
        insertion=None if way is None else way.insertion.name,
        insertion_speed_m_s=None if inserted is None else math.dist(inserted[3:], (0.0, 0.0, 0.0)),
        launch_s=None if way is None else float(options.liftoff_s[row]) + moved,
        insertion_s=what.insertion_s,
        parking_wait_s=_waited(what, float(options.parking_wait_s[row]), corrected=planned is None),
        ring_arrival_s=float(options.touch_s[row]) + moved if by is None else by.first_pass_s,
        in_slot_s=finish,
        phasing_period_s=phasing,
        lowest_periapsis_m=_lowest_periapsis(what, flights.legs[option_key], option_key in flights.first_guess_rad),
        must_burn=what.must_burn,
        delta_v_m_s=spent,
        propellant_kg=None if left is None or loaded is None else loaded - left,
        propellant_left_kg=left,
        burns=burns,
        flown=Flown.of(seen, flights.legs[option_key], nearest[:2]),
        first_guess_error_rad=flights.first_guess_rad.get(option_key),
        phasing_burn=_phasing_burn(what, revolutions),
        before_burns=tuple(tuple(float(x) for x in state) for part in flown for state in part.before),
        turned_s=None if math.isnan(options.turned_s[row]) else burns[0].time_s,
        screened_from_s=what.screened_from_s,
        apart_s=nearest.apart_s,
        last_at_ring=what.last_at_ring if len(burns) >= -what.last_at_ring else -1,
        azimuth_rad=None if way is None else _azimuth(problem, way, float(options.liftoff_s[row])),
        insertion_state=inserted,
        heading=_heading(problem, way, float(options.liftoff_s[row]), moved),
        free_form=_evidence(problem, int(options.flight[row])),
        itinerary=flight.itinerary if what.full is None else what.full,
        engine=flight.burns if isinstance(flight.burns, FiniteThrust) else None,
    )


def _waited(what: Course, planned_s: float, *, corrected: bool) -> float:
    """Wait in a parking orbit, or in another one for the node to drift, s: as flown where the burns were corrected."""
    burns = (what.itinerary if what.full is None else what.full).impulses
    if corrected and what.route == "park" and burns and what.insertion_s is not None:
        return burns[0].time_s - what.insertion_s
    if corrected and what.route == "drift" and len(burns) == 4:
        return burns[2].time_s - burns[1].time_s
    return planned_s


def _lead(problem: Problem, what: Course, flight: Flight, slot: int, planned_rad: float) -> float:
    """The slot's lead when phasing begins, rad: a launch that the correction has moved comes to another place."""
    if what.phasing_burn is None or what.insertion_s is None or not what.unknowns:
        return planned_rad
    ring, burn = problem.ring, flight.itinerary.impulses[what.phasing_burn]
    plane = (ring.inclination_rad, ring.node(burn.time_s, what.plane))
    here = frames.latitude_argument(flight.before[what.phasing_burn][:3], *plane)
    ahead = ring.phase(burn.time_s, slot) - here
    return planned_rad + float(frames.wrap(ahead - planned_rad))


def _phasing_burn(what: Course, revolutions: int) -> int | None:
    """The burn with which phasing begins: the one before the last, where there is one."""
    if what.phasing_burn is not None or revolutions == 0 or what.route == "timed":
        return what.phasing_burn
    return len(what.itinerary.impulses) - 2 if len(what.itinerary.impulses) > 1 else None


def _evidence(problem: Problem, flight: int) -> FreeForm | None:
    if flight < 0:
        return None
    found = problem.timed[flight].solution
    return FreeForm(
        primer_excess=found.primer_excess, linear_estimate_m_s=found.linear_estimate_m_s, family=found.family
    )


def _in_ring(problem: Problem, angle_rad: float, slot: int) -> _Place:
    ring = problem.ring
    return _Place(angle_rad, ring.inclination_rad, ring.node(0.0, slot // ring.slots))


def _place(problem: Problem, options: Options, row: int) -> _Place:
    """The place of an option's craft once it is there: its slot, or beside it where a tilt is kept."""
    ring, slot = problem.ring, int(options.slot[row])
    angle = float(ring.phase(0.0, slot))
    way = problem.ways[options.way[row]] if options.way[row] >= 0 else None
    liftoff = float(options.liftoff_s[row])
    if way is None or way.place is None or way.tilt_at != "kept" or float(tilt(way, liftoff)) == 0.0:
        return _in_ring(problem, angle, slot)
    launched = launch_state(way, liftoff)
    site = float(way.insertion_angle(liftoff)) - way.insertion_angle0_rad
    node = launched.node_rad - ring.node_rate_rad_s * liftoff
    return _Place(angle - site + launched.site_rad, launched.inclination_rad, node)


def _azimuth(problem: Problem, way: Ascent, liftoff_s: float) -> float:
    """Inertial azimuth of a launch; the body's turning takes site and plane along, so a liftoff moved keeps it."""
    if way.place is not None:
        return float(way.azimuth(liftoff_s))
    body, ring, pad = problem.scenario.body, problem.ring, problem.scenario.pads[way.pad]
    place = SiteAndPlane.of(body, pad, ring, way.plane)
    return float(azimuth_of_least_tilt(place, liftoff_s))


def _heading(problem: Problem, way: Ascent | None, liftoff_s: float, moved_s: float) -> LaunchHeading | None:
    if way is None or way.place is None:
        return None
    body, pad = problem.scenario.body, problem.scenario.pads[way.pad]
    azimuth = _azimuth(problem, way, liftoff_s)
    return LaunchHeading(
        flight_azimuth_rad=float(flight_azimuth(body, pad, way.insertion_speed_m_s, azimuth)),
        ascending=way.ascending,
        tilt_rad=float(tilt(way, liftoff_s)),
        tilt_at=way.tilt_at,
        moved_s=moved_s,
    )


def _lowest_periapsis(what: Course, legs: tuple[Leg, ...], corrected: bool) -> float | None:
    """Lowest periapsis flown through before the last burn: as planned where the flight has nothing to add to it."""
    if what.periapsis_m is None or not corrected:
        return what.periapsis_m
    flown = [leg.periapsis_m for leg in legs[:-1] if leg.periapsis_m is not None]
    # what a craft flew through aboard its carrier is not counted as its flight
    return min([*flown, what.periapsis_m] if what.route == "carrier" else flown, default=what.periapsis_m)


def _loaded(craft: Craft, spent_m_s: float) -> float | None:
    """Propellant on board before the first burn, kg."""
    return None if craft.dry_mass_kg is None else float(mass_at_start(craft, spent_m_s)) - craft.dry_mass_kg


class _Nearest(NamedTuple):
    """Least flown distance to anybody in place, to whom, and from when on those count that a craft started with."""

    distance_m: float | None
    name: str | None
    apart_s: tuple[tuple[str, float], ...]


def _nearest(
    problem: Problem,
    flights: Flights,
    option_key: tuple[float, ...],
    row: int,
    name: str,
    finish_s: float,
    seats: list[_Seat],
) -> _Nearest:
    """Who comes nearest of those in place before a craft is."""
    names: list[str] = []
    counted: list[tuple[_Place, float]] = []
    apart: list[tuple[str, float]] = []
    for seat in seats:
        start = max(flights.courses[option_key].screened_from_s, seat.since_s)
        if seat.name == name or start >= finish_s:
            continue
        if seat.beside[row]:
            start = flights.counts_from(problem, option_key, seat, start, finish_s)
            apart.append((seat.name, start))
        if start < finish_s:
            names.append(seat.name)
            counted.append((seat.place, start))
    if not names:
        return _Nearest(None, None, tuple(apart))
    found = zip(flights.distances(problem, option_key, counted, finish_s), names, strict=True)
    return _Nearest(*min(found, key=lambda d: d[0]), tuple(apart))
