"""One craft's part of a plan, read off its flight."""

from __future__ import annotations

import math
from dataclasses import replace

from ...models import frames
from ...models.azimuth import azimuth_of_least_tilt
from ...models.burns import FiniteThrust
from ...models.craft import mass_at_start
from ...models.flight.integrate import Flight, Itinerary, Leg
from ...models.launch import Ascent
from ...models.opportunities import flight_azimuth, tilt
from ...models.scenario import Craft
from ...models.site_and_plane import SiteAndPlane
from ..craft_plan import CraftPlan, Flown, LaunchHeading, lowest_periapsis
from ..problem.option_key import flight_key
from ..problem.options import Option, Options
from ..problem.problem import Problem
from ..routes import registry
from ..routes.route import row_of
from ..trajectory.course import Carried, Course
from .burn_list import burns_of
from .flights import Flights, Seat
from .seats import nearest_of


def craft_plan_of(
    problem: Problem, options: Options, row: int, name: str, seats: list[Seat], flights: Flights
) -> CraftPlan:
    """What a craft of that name flies by one option, among those in place."""
    key, one = flight_key(problem, options, row), options.one(row)
    what, flight, legs = flights.courses[key], flights.flights[key], flights.legs[key]
    craft = next(c for c in problem.scenario.craft if c.name == name)
    way = problem.ways[one.way] if one.way >= 0 else None
    flown = [flight] if what.earlier is None else [what.earlier, flight]
    # over an oblate body the burns are no longer those planned
    corrected = key in flights.first_guess_rad
    staged = way is not None and one.bundle < 0 and what.full is None
    stage = None if way is None or not staged else problem.scenario.pads[way.pad].upper_stage
    burns = burns_of(craft, flown, None if corrected else one.delta_v_m_s, stage)
    spent = math.fsum(b.own_m_s for b in burns)
    finish = flights.finish(problem, options, row)
    closest = nearest_of(problem, flights, key, row, name, finish, seats)
    loaded = _loaded(craft, spent)
    left = burns[-1].propellant_after_kg if burns else loaded
    plane, slot = divmod(one.slot, problem.ring.slots)
    part = CraftPlan(
        craft=name,
        plane=plane,
        slot=slot,
        route=registry.name_of(options, row),
        side=("below", "level", "above")[int(row_of(options, row).side[0]) + 1],
        revolutions=one.revolutions,
        ring_revolutions=one.ring_revolutions,
        passes=one.passes,
        lead_rad=_lead(problem, what, flight, one.slot, one.lead_rad),
        insertion_s=what.insertion_s,
        parking_wait_s=_waited(what, one.parking_wait_s, corrected=corrected),
        ring_arrival_s=one.touch_s,
        in_slot_s=finish,
        phasing_period_s=_phasing_period(what, one, flight, corrected=corrected),
        lowest_periapsis_m=_lowest_periapsis(what, flight, legs, corrected=corrected, launched=way is not None),
        must_burn=what.must_burn,
        delta_v_m_s=spent,
        propellant_kg=None if left is None or loaded is None else loaded - left,
        propellant_left_kg=left,
        burns=burns,
        flown=Flown.of(flights.measured[key], legs, closest[:2]),
        first_guess_error_rad=flights.first_guess_rad.get(key),
        phasing_burn=_phasing_burn(what, one.revolutions),
        before_burns=tuple(tuple(float(x) for x in state) for part in flown for state in part.before),
        turned_s=None if what.turning_burn is None else burns[min(what.turning_burn, len(burns) - 1)].time_s,
        screened_from_s=what.screened_from_s,
        apart_s=closest.apart_s,
        last_at_ring=what.last_at_ring if len(burns) >= -what.last_at_ring else -1,
        free_form=what.evidence,
        itinerary=flight.itinerary if what.full is None else what.full,
        engine=flight.burns if isinstance(flight.burns, FiniteThrust) else None,
    )
    by = None if what.carried is None else flights.carried[what.carried.name]
    begun = (flight.itinerary if what.full is None else what.full) if by is None else by.flight.itinerary
    return part if way is None else _launched(problem, part, one, way, what, begun, by)


def _launched(
    problem: Problem, part: CraftPlan, one: Option, way: Ascent, what: Course, start: Itinerary, by: Carried | None
) -> CraftPlan:
    """A craft's part with how it got up: by itself, or ``by`` a carrier; ``start`` is what was flown from insertion."""
    # over an oblate body the flight may have moved the liftoff, and all that follows from it
    moved = what.moved_s(way, one.liftoff_s)
    inserted = (*map(float, start.position), *map(float, start.velocity))
    craft = next(c for c in problem.scenario.craft if c.name == part.craft)
    return replace(
        part,
        pad=problem.scenario.pads[way.pad].name,
        carrier=None if by is None else craft.carrier,
        insertion=way.insertion.name,
        insertion_speed_m_s=math.dist(inserted[3:], (0.0, 0.0, 0.0)),
        launch_s=one.liftoff_s + moved,
        ring_arrival_s=_arrival(one, what, start, moved) if by is None or by.parks else by.first_pass_s,
        azimuth_rad=_azimuth(problem, way, one.liftoff_s),
        insertion_state=inserted,
        heading=_heading(problem, way, one.liftoff_s, moved),
    )


def _arrival(one: Option, what: Course, start: Itinerary, moved_s: float) -> float:
    """When it first reaches the ring, s; where it is in place then, the moment of its burn there as flown."""
    itself = what.carried is None and what.full is None
    if itself and one.revolutions == 0 and len(start.impulses) >= -what.last_at_ring:
        return start.impulses[what.last_at_ring].time_s
    return one.touch_s + moved_s


def _phasing_period(what: Course, one: Option, flight: Flight, *, corrected: bool) -> float | None:
    """Mean period while phasing, s: as planned, or between its burns as flown where they were corrected."""
    if one.revolutions == 0:
        return None
    if corrected and what.phasing_burn is not None:
        burnt = flight.itinerary.impulses
        return (burnt[what.last_at_ring].time_s - burnt[what.phasing_burn].time_s) / one.revolutions
    return (one.finish_s - one.turn_after_s - one.burn_s) / one.revolutions if what.phases else None


def _waited(what: Course, planned_s: float, *, corrected: bool) -> float:
    """Wait in a parking orbit, or in another one for the node to drift, s: as flown where the burns were corrected."""
    burns = (what.itinerary if what.full is None else what.full).impulses
    if not corrected or what.waits_between is None or not burns:
        return planned_s
    since, until = what.waits_between
    first_s = what.screened_from_s if what.insertion_s is None else what.insertion_s
    return burns[until].time_s - (first_s if since is None else burns[since].time_s)


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
    if what.phasing_burn is not None or revolutions == 0 or not what.phases:
        return what.phasing_burn
    return len(what.itinerary.impulses) - 2 if len(what.itinerary.impulses) > 1 else None


def _azimuth(problem: Problem, way: Ascent, liftoff_s: float) -> float:
    """Inertial azimuth of a launch; the body's turning takes site and plane along, so a liftoff moved keeps it."""
    if way.place is not None:
        return float(way.azimuth(liftoff_s))
    body, ring, pad = problem.scenario.body, problem.ring, problem.scenario.pads[way.pad]
    place = SiteAndPlane.of(body, pad, ring, way.plane)
    return float(azimuth_of_least_tilt(place, liftoff_s))


def _heading(problem: Problem, way: Ascent, liftoff_s: float, moved_s: float) -> LaunchHeading | None:
    if way.place is None:
        return None
    body, pad = problem.scenario.body, problem.scenario.pads[way.pad]
    azimuth = _azimuth(problem, way, liftoff_s)
    return LaunchHeading(
        flight_azimuth_rad=float(flight_azimuth(body, pad, way.insertion_speed_m_s, azimuth)),
        ascending=way.ascending,
        tilt_rad=float(tilt(way, liftoff_s)),
        tilt_at=way.tilt_at,
        moved_s=moved_s,
        plane=way.plane,
    )


def _lowest_periapsis(
    what: Course, flight: Flight, legs: tuple[Leg, ...], *, corrected: bool, launched: bool
) -> float | None:
    """Lowest periapsis flown through before the last burn: as planned where the flight has nothing to add to it.

    See `lowest_periapsis` for what counts.
    """
    if what.periapsis_m is None or not corrected:
        return what.periapsis_m
    flown = lowest_periapsis(legs, None if launched else flight)
    if flown is None:
        return what.periapsis_m
    # what a craft flew through aboard its carrier is not counted as its flight
    return min(flown, what.periapsis_m) if what.carried is not None else flown


def _loaded(craft: Craft, spent_m_s: float) -> float | None:
    """Propellant on board before the first burn, kg."""
    return None if craft.dry_mass_kg is None else float(mass_at_start(craft, spent_m_s)) - craft.dry_mass_kg
