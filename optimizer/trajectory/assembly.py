"""From chosen options to plans: fly each distinct option once, read it off, judge it against the limits.

Over an oblate body the options, planned by ratios of periods, are first guesses: all distinct ones are corrected
together by their own flight (`differential_correction.py`), and what is read off and judged is the corrected flight.
Liftoffs stay as planned; the last burn comes as much later as the line of apsides has turned.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np

from ...models import frames
from ...models.burns import BurnModel, FiniteThrust
from ...models.craft import mass_at_start
from ...models.errors import FlightError
from ...models.flight.integrate import Flight, Leg, Measured, closest_of_each, fly_each, measure
from ...models.flight.stepping import RELATIVE_TOLERANCE
from ...models.launch import Ascent
from ...models.opportunities import flight_azimuth, launch_state, tilt
from ...models.scenario import Craft
from ..catalogue.finite_burns import engine_of
from ..catalogue.problem import Problem
from ..outcome import CraftPlan, Flown, FreeForm, LaunchHeading, Plan
from ..routes.options import Options
from .burn_list import burns_of
from .carrier import Carried, CarrierKey, carrier_key, dropped, fly_carriers
from .carrier_plans import carrier_plans
from .differential_correction import IMPULSIVE, Case, correct_each
from .itinerary import Course, course, flight_key
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
    """A craft of a plan in its place, and since when."""

    name: str
    place: _Place
    since_s: float


@dataclass(frozen=True, kw_only=True)
class Flights:
    """What was flown, by option key: course, flight, measurement, legs, lowest and highest radius.

    ``first_guess_rad`` is the slot error before correction, for what was corrected. ``carried`` are the carriers'
    flights. ``nearest`` remembers distances
    that were asked for before: plans share most of their options. ``failed`` are the options that could not be flown.
    """

    courses: dict[tuple[float, ...], Course]
    flights: dict[tuple[float, ...], Flight]
    measured: dict[tuple[float, ...], Measured]
    legs: dict[tuple[float, ...], tuple[Leg, ...]]
    first_guess_rad: dict[tuple[float, ...], float]
    carried: dict[CarrierKey, Carried] = field(default_factory=dict)
    nearest: dict[tuple[float, ...], float] = field(default_factory=dict)
    failed: frozenset[tuple[float, ...]] = frozenset()

    def finish(self, problem: Problem, options: Options, row: int) -> float:
        """When an option's craft is in its slot, s: its last burn as flown."""
        name = flight_key(problem, options, row)
        impulses = self.flights[name].itinerary.impulses
        return impulses[-1].time_s if name in self.first_guess_rad else float(options.finish_s[row])

    def distances(
        self, problem: Problem, name: tuple[float, ...], seats: Sequence[tuple[_Place, float]], to_s: float
    ) -> list[float]:
        """Least distance to each of several in place, since a moment of its own until one time, m; remembered.

        Whoever is on the ring is taken to move evenly on its circle: over an oblate body real craft wobble about that
        (about 1 km in a low Earth orbit), which is left out.
        """
        ring = problem.ring
        asked = [(*name, *place, from_s, to_s) for place, from_s in seats]
        new = [i for i, what in enumerate(asked) if what not in self.nearest]
        if new:
            angle, lean, node = (np.array(column) for column in zip(*(seats[i][0] for i in new), strict=True))

            def there(times: np.ndarray, which: np.ndarray) -> np.ndarray:
                turned = angle[which] + ring.rate_rad_s * times
                return frames.on_circle(ring.radius_m, turned, lean[which], node[which] + ring.node_rate_rad_s * times)

            since = np.array([seats[i][1] for i in new])
            found = closest_of_each(self.flights[name], there, since, to_s)
            self.nearest.update((asked[i], near.distance_m) for i, near in zip(new, found, strict=True))
        return [self.nearest[what] for what in asked]


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
    first_guess = _corrected(problem, courses, slots, engines)
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


def _corrected(
    problem: Problem,
    courses: dict[tuple[float, ...], Course],
    slots: dict[tuple[float, ...], int],
    engines: dict[tuple[float, ...], BurnModel],
) -> dict[tuple[float, ...], float]:
    """Correct all courses by their flight, in place; the slot error of each first guess, rad.

    Those whose first guess cannot be flown are taken out of the courses.
    """
    names = [name for name, what in courses.items() if what.unknowns]
    cases = [
        Case(
            itinerary=courses[name].itinerary,
            ring=problem.ring,
            plane=courses[name].plane,
            slot=slots[name] % problem.ring.slots,
            unknowns=courses[name].unknowns,
            targets=courses[name].targets,
            burns=engines[name],
            spin_rad_s=problem.scenario.body.spin_rad_s,
        )
        for name in names
    ]
    found = {}
    for name, result in zip(names, correct_each(cases, problem.gravity), strict=True):
        if result is None:
            del courses[name]
            continue
        found[name] = result.first.slot_error_rad
        courses[name] = replace(courses[name], itinerary=result.itinerary)
    return found


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
    seats = [_Seat(k.name, _in_ring(problem, k.angle_rad, k.slot), -math.inf) for k in problem.kept]
    seats += [_Seat(name, _place(problem, options, row), flights.finish(problem, options, row)) for name, row in named]
    craft = tuple(_craft_plan(problem, options, row, name, seats, flights) for name, row in named)
    carriers = carrier_plans(problem, options, named, flights.carried)
    return judged(problem.scenario, craft, carriers, moved=any(way.place is not None for way in problem.ways))


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
    # over an oblate body the flight may have moved the liftoff, and all that follows from it
    by = flights.carried[carrier_key(options, row)] if options.bundle[row] >= 0 else None
    moved = 0.0
    if way is not None and way.place is not None and what.insertion_s is not None:
        moved = what.insertion_s - float(options.liftoff_s[row]) - way.insertion_after_s
    phased = revolutions > 0 and options.flight[row] < 0
    phasing = float(options.phasing_s[row]) / revolutions if phased else None
    to_hit = phasing
    if option_key in flights.first_guess_rad and what.phasing_burn is not None and revolutions > 0:
        burnt = flight.itinerary.impulses
        phasing = (burnt[what.last_at_ring].time_s - burnt[what.phasing_burn].time_s) / revolutions
        to_hit = flight.readouts()[what.phasing_burn].period_s
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
        lead_rad=float(options.lead_rad[row]),
        pad=None if way is None else problem.scenario.pads[way.pad].name,
        carrier=None if by is None else craft.carrier,
        insertion=None if way is None else way.insertion.name,
        insertion_speed_m_s=None if way is None else way.insertion_speed_m_s,
        launch_s=None if way is None else float(options.liftoff_s[row]) + moved,
        insertion_s=what.insertion_s,
        parking_wait_s=float(options.parking_wait_s[row]),
        ring_arrival_s=float(options.touch_s[row]) + moved if by is None else by.first_pass_s,
        in_slot_s=finish,
        phasing_period_s=phasing,
        lowest_periapsis_m=_lowest_periapsis(what, flights.legs[option_key], option_key in flights.first_guess_rad),
        must_burn=what.must_burn,
        delta_v_m_s=spent,
        propellant_kg=None if left is None or loaded is None else loaded - left,
        propellant_left_kg=left,
        burns=burns,
        flown=Flown.of(seen, flights.legs[option_key], _nearest(problem, flights, option_key, name, finish, seats)),
        period_to_hit_s=to_hit,
        first_guess_error_rad=flights.first_guess_rad.get(option_key),
        phasing_burn=_phasing_burn(what, revolutions),
        before_burns=tuple(tuple(float(x) for x in state) for part in flown for state in part.before),
        turned_s=None if math.isnan(options.turned_s[row]) else burns[0].time_s,
        screened_from_s=what.screened_from_s,
        last_at_ring=what.last_at_ring if len(burns) >= -what.last_at_ring else -1,
        heading=_heading(problem, way, float(options.liftoff_s[row]), moved),
        free_form=_evidence(problem, int(options.flight[row])),
        itinerary=flight.itinerary if what.full is None else what.full,
        engine=flight.burns if isinstance(flight.burns, FiniteThrust) else None,
    )


def _phasing_burn(what: Course, revolutions: int) -> int | None:
    """The burn with which phasing begins: the one before the last, where there is one."""
    if what.phasing_burn is not None or revolutions == 0 or what.route == "timed":
        return what.phasing_burn
    return len(what.itinerary.impulses) - 2 if len(what.itinerary.impulses) > 1 else None


def _evidence(problem: Problem, flight: int) -> FreeForm | None:
    if flight < 0:
        return None
    found = problem.timed[flight].solution
    return FreeForm(primer_excess=found.primer_excess, linear_bound_m_s=found.linear_bound_m_s, family=found.family)


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


def _heading(problem: Problem, way: Ascent | None, liftoff_s: float, moved_s: float) -> LaunchHeading | None:
    if way is None or way.place is None:
        return None
    azimuth = float(way.azimuth(liftoff_s))
    body, pad = problem.scenario.body, problem.scenario.pads[way.pad]
    return LaunchHeading(
        azimuth_rad=azimuth,
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
    # what a craft passed on board of its carrier is not part of its own flight
    return min([*flown, what.periapsis_m] if what.route == "carrier" else flown, default=what.periapsis_m)


def _loaded(craft: Craft, spent_m_s: float) -> float | None:
    """Propellant on board before the first burn, kg."""
    return None if craft.dry_mass_kg is None else float(mass_at_start(craft, spent_m_s)) - craft.dry_mass_kg


def _nearest(
    problem: Problem,
    flights: Flights,
    option_key: tuple[float, ...],
    name: str,
    finish_s: float,
    seats: list[_Seat],
) -> tuple[float | None, str | None]:
    """Least flown distance to anybody in place before this craft is, and to whom."""
    names: list[str] = []
    counted: list[tuple[_Place, float]] = []
    for who, place, since in seats:
        start = max(flights.courses[option_key].screened_from_s, since, flights.flights[option_key].begin_s)
        if who != name and start < finish_s:
            names.append(who)
            counted.append((place, start))
    if not names:
        return None, None
    return min(zip(flights.distances(problem, option_key, counted, finish_s), names, strict=True), key=lambda d: d[0])
