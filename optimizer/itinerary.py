"""From an option to what is flown: the start state and the burns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..models import coast, orbits
from ..models.flight import Impulse, Itinerary
from ..models.launch import Ascent
from ..models.oblateness import apsis_lag, ring_state
from ..models.scenario import Orbit
from .options import ROUTES, Options
from .outcome import Route
from .problem import Problem
from .refine import Part, Unknown
from .routes.timed import TimedFlight

NO_BURN_M_S = 1e-9
"""A burn smaller than this is none."""

IN_PLANE: tuple[Part, ...] = ("radial", "along")


@dataclass(frozen=True, kw_only=True)
class Course:
    """One option worked out: what is flown, and what the plan says about it.

    ``screened_from_s`` is when distances to craft in place begin to count: insertion, or for a craft that leaves its
    own place on the ring half of its first phasing revolution. ``periapsis_m`` is the lowest one flown through, if any.
    ``unknowns`` are what a correction by the flight may change: none where the craft stays as it is. ``phasing_burn``
    is the index of the burn with which the phasing begins, None where there is none.
    """

    itinerary: Itinerary
    route: Route
    insertion_s: float | None
    screened_from_s: float
    periapsis_m: float | None
    must_burn: bool
    unknowns: tuple[Unknown, ...] = ()
    phasing_burn: int | None = None


def key(options: Options, row: int) -> tuple[float, ...]:
    """What distinguishes one flight from another, whoever flies it in which class of alike craft."""
    o = options
    who = float(o.way[row]) if o.way[row] >= 0 else -1.0 - float(o.craft_class[row])
    return (
        who,
        float(o.slot[row]),
        round(float(o.liftoff_s[row]), 6) if o.way[row] >= 0 else 0.0,
        round(float(o.parking_wait_s[row]), 6),
        float(o.passes[row]),
        float(o.revolutions[row]),
        float(o.ring_revolutions[row]),
        float(o.flight[row]),
    )


def course(problem: Problem, options: Options, row: int) -> Course:
    """Work out one option: its start state, and a burn at each touch that needs one.

    Burns are those of point-mass gravity at the touches that the catalogue planned with: over an oblate body a first
    guess, in which burns of nothing are kept for the correction to fill, and the last one waits for the apsis, which
    has turned meanwhile.
    """
    if options.flight[row] >= 0:
        return _free_form(problem, problem.timed[options.flight[row]])
    ring = problem.ring
    radius, circular = ring.radius_m, ring.speed_m_s
    way = problem.ways[options.way[row]] if options.way[row] >= 0 else None
    burn_s, finish_s = float(options.burn_s[row]), float(options.finish_s[row])
    speed, revolutions = float(options.speed_m_s[row]), int(options.revolutions[row])
    arrival = float(problem.arrival_speed(options.craft_class[row : row + 1], options.way[row : row + 1])[0])
    burns: list[tuple[float, float]] = []
    unknowns: tuple[Unknown, ...] = ()
    dips: list[float] = []
    insertion_s: float | None = None
    must_burn = False
    if way is not None:
        liftoff = float(options.liftoff_s[row])
        insertion_s = start_s = liftoff + way.insertion_after_s
        angle = way.insertion_angle0_rad + way.site_rate_rad_s * liftoff
        position, velocity = _inserted(problem, way, angle, start_s)
        if way.parking:
            leave = start_s + float(options.parking_wait_s[row])
            sign = 1.0 if way.insertion.radius_m < radius else -1.0
            burns.append((leave, sign * way.entry_delta_v_m_s))
            dips.append(min(way.insertion.radius_m, radius))
            # leaving when planned, the transfer's height is a third thing to choose; arriving in place, so is its start
            unknowns = (Unknown(0, "along"),) if revolutions else (Unknown(0, "time"), Unknown(0, "along"))
        touch_m = way.arrival_radius_m
        must_burn = not way.parking and way.periapsis_m < problem.scenario.floor_m * (1.0 - 1e-9)
        screened = start_s
    else:
        group = problem.classes[options.craft_class[row]]
        start, orbit = group.start, group.craft.orbit
        if start is None or orbit is None:
            raise ValueError("an option without a way up belongs to a craft in space")
        start_s = 0.0 if not start.on_ring else start.first_s
        touch_m = start.touch_m
        position, velocity = _standing(problem, orbit, start.on_ring, start_s)
        period = (finish_s - burn_s) / max(revolutions, 1)
        screened = start_s + (0.5 * period if start.on_ring else 0.0)
        if start.passed_other or options.passes[row] > 0:
            dips.append(min(start.other_m, radius))
        must_burn = start.other_m < problem.scenario.floor_m * (1.0 - 1e-9)
    first, last = (circular if revolutions == 0 else speed) - arrival, circular - speed
    if problem.oblate:
        settled, leaving = (
            coast.real_speed(problem.scenario.body, ring, v, touch_m or radius) for v in (circular, speed)
        )
        first, last = (0.0 if revolutions == 0 else leaving - settled) + circular - arrival, settled - leaving
    burns.append((burn_s, first))
    if revolutions > 0:
        semi = float(orbits.semi_major_from_speed(ring.gm, radius, speed))
        other = 2.0 * semi - radius
        if problem.oblate:
            # where the craft is back at its apsis, so that the last burn need not turn its velocity
            lag = apsis_lag(problem.scenario.body, semi, abs(radius - semi) / semi, ring.inclination_rad)
            finish_s += lag * (finish_s - burn_s)
        burns.append((finish_s, last))
        dips.append(min(other, radius))
    corrected = problem.oblate and (revolutions > 0 or abs(burns[-1][1]) > NO_BURN_M_S)
    if revolutions > 0:
        unknowns += (Unknown(-2, "along"),)
    unknowns += (Unknown(-1, "radial"), Unknown(-1, "along"))
    impulses = tuple(
        Impulse(time_s=time, radial_m_s=0.0, along_m_s=along)
        for time, along in burns
        if corrected or abs(along) > NO_BURN_M_S
    )
    itinerary = Itinerary.through_turn(
        min(start_s, burn_s), position, velocity, impulses, ring, 0.0 if impulses else max(finish_s - start_s, 0.0)
    )
    return Course(
        itinerary=itinerary,
        route=ROUTES[options.route[row]],
        insertion_s=insertion_s,
        screened_from_s=screened,
        periapsis_m=min(dips) if dips else None,
        must_burn=must_burn,
        unknowns=unknowns if corrected else (),
        phasing_burn=len(impulses) - 2 if revolutions > 0 and len(impulses) == len(burns) else None,
    )


def _free_form(problem: Problem, flight: TimedFlight) -> Course:
    """A free-form flight: its burns as they were found; all of them are what a correction may change, by the least."""
    ring, start, group = problem.ring, flight.start, problem.classes[flight.craft_class]
    orbit = group.craft.orbit
    if orbit is None:
        raise ValueError("a free-form flight belongs to a craft in space")
    position, velocity = _standing(problem, orbit, start.on_ring, start.time_s)
    impulses = tuple(
        Impulse(burn.time_s, burn.radial_m_s, burn.along_m_s, burn.cross_m_s) for burn in flight.solution.burns
    )
    lowest = flight.periapsis_m
    unknowns = [Unknown(k, part) for k in range(len(impulses)) for part in IN_PLANE]
    if len(impulses) == 1:
        unknowns.append(Unknown(0, "time"))
    return Course(
        itinerary=Itinerary.through_turn(start.time_s, position, velocity, impulses, ring),
        route="timed",
        insertion_s=None,
        screened_from_s=flight.begin_s + 0.5 * ring.period_s if start.on_ring else start.time_s,
        periapsis_m=None if lowest is None else min(lowest, ring.radius_m),
        must_burn=not start.on_ring and min(orbit.periapsis_m, ring.radius_m) < problem.scenario.floor_m * (1.0 - 1e-9),
        unknowns=tuple(unknowns) if problem.oblate else (),
    )


def _inserted(problem: Problem, way: Ascent, angle_rad: float, time_s: float) -> tuple[np.ndarray, np.ndarray]:
    """State at insertion: on the given apsides, the apoapsis laid on the ring; a parking orbit keeps its height."""
    ring, insertion = problem.ring, way.insertion
    plane = (ring.inclination_rad, ring.node(time_s))
    if problem.oblate and (way.parking or insertion.circular):
        radius = insertion.radius_m if way.parking else ring.radius_m
        return ring_state(problem.scenario.body, radius, angle_rad, *plane)
    periapsis, apoapsis = insertion.periapsis_m, ring.radius_m
    if way.parking:
        periapsis = apoapsis = insertion.radius_m
    return coast.apsis_state(ring.gm, periapsis, apoapsis, way.insertion_anomaly_rad, angle_rad, plane)


def _standing(problem: Problem, orbit: Orbit, on_ring: bool, time_s: float) -> tuple[np.ndarray, np.ndarray]:
    """State at a time of a craft that is in space already: on the ring, by Kepler's equation, or flown there."""
    ring, body = problem.ring, problem.scenario.body
    if not problem.oblate:
        return coast.point_mass_state(ring, orbit, time_s, on_ring=on_ring)
    if on_ring:
        angle = orbit.angle_rad + ring.rate_rad_s * (time_s - orbit.at_s)
        return ring_state(body, ring.radius_m, angle, ring.inclination_rad, ring.node(time_s))
    return coast.state_as_given(body, ring, orbit, time_s)
