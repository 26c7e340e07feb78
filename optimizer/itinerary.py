"""From an option to what is flown: the start state and the burns."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..models import orbits
from ..models.flight import Impulse, Itinerary
from ..models.frames import in_plane_state
from ..models.scenario import Insertion, Orbit
from .options import ROUTES, Options
from .outcome import Route
from .problem import Problem

NO_BURN_M_S = 1e-9
"""A burn smaller than this is none."""


@dataclass(frozen=True, kw_only=True)
class Course:
    """One option worked out: what is flown, and what the plan says about it.

    ``screened_from_s`` is when distances to craft in place begin to count: insertion, or for a craft that leaves its
    own place on the ring half of its first phasing revolution. ``periapsis_m`` is the lowest one flown through, if any.
    """

    itinerary: Itinerary
    route: Route
    insertion_s: float | None
    screened_from_s: float
    periapsis_m: float | None
    must_burn: bool


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
    )


def course(problem: Problem, options: Options, row: int) -> Course:
    """Work out one option: its start state, and a burn at each touch that needs one."""
    ring = problem.ring
    radius, circular = ring.radius_m, ring.speed_m_s
    way = problem.ways[options.way[row]] if options.way[row] >= 0 else None
    burn_s, finish_s = float(options.burn_s[row]), float(options.finish_s[row])
    speed, revolutions = float(options.speed_m_s[row]), int(options.revolutions[row])
    arrival = float(problem.arrival_speed(options.craft_class[row : row + 1], options.way[row : row + 1])[0])
    burns: list[tuple[float, float]] = []
    dips: list[float] = []
    insertion_s: float | None = None
    must_burn = False
    if way is not None:
        liftoff = float(options.liftoff_s[row])
        insertion_s = start_s = liftoff + way.insertion_after_s
        angle = way.insertion_angle0_rad + way.site_rate_rad_s * liftoff
        position, velocity = _inserted(problem, way.insertion, angle, way.insertion_anomaly_rad, way.parking)
        if way.parking:
            leave = start_s + float(options.parking_wait_s[row])
            sign = 1.0 if way.insertion.radius_m < radius else -1.0
            burns.append((leave, sign * way.entry_delta_v_m_s))
            dips.append(min(way.insertion.radius_m, radius))
        must_burn = not way.parking and way.periapsis_m < problem.scenario.floor_m * (1.0 - 1e-9)
        screened = start_s
    else:
        group = problem.classes[options.craft_class[row]]
        start, orbit = group.start, group.craft.orbit
        if start is None or orbit is None:
            raise ValueError("an option without a way up belongs to a craft in space")
        start_s = 0.0 if not start.on_ring else start.first_s
        position, velocity = _standing(problem, orbit, start.on_ring, start_s)
        period = (finish_s - burn_s) / max(revolutions, 1)
        screened = start_s + (0.5 * period if start.on_ring else 0.0)
        if start.passed_other or options.passes[row] > 0:
            dips.append(min(start.other_m, radius))
        must_burn = start.other_m < problem.scenario.floor_m * (1.0 - 1e-9)
    burns.append((burn_s, (circular if revolutions == 0 else speed) - arrival))
    if revolutions > 0:
        burns.append((finish_s, circular - speed))
        other = 2.0 * float(orbits.semi_major_from_speed(ring.gm, radius, speed)) - radius
        dips.append(min(other, radius))
    impulses = tuple(
        Impulse(time_s=time, radial_m_s=0.0, along_m_s=along) for time, along in burns if abs(along) > NO_BURN_M_S
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
    )


def _inserted(
    problem: Problem, insertion: Insertion, angle_rad: float, anomaly_rad: float, parking: bool
) -> tuple[np.ndarray, np.ndarray]:
    ring = problem.ring
    periapsis = insertion.periapsis_m
    apoapsis = insertion.apoapsis_m if parking else ring.radius_m
    if parking:
        periapsis = apoapsis = insertion.radius_m
    semilatus = 2.0 * periapsis * apoapsis / (periapsis + apoapsis)
    eccentricity = (apoapsis - periapsis) / (apoapsis + periapsis)
    unit = math.sqrt(ring.gm / semilatus)
    return in_plane_state(
        semilatus / (1.0 + eccentricity * math.cos(anomaly_rad)),
        angle_rad,
        unit * eccentricity * math.sin(anomaly_rad),
        unit * (1.0 + eccentricity * math.cos(anomaly_rad)),
        ring.inclination_rad,
        ring.node_rad,
    )


def _standing(problem: Problem, orbit: Orbit, on_ring: bool, time_s: float) -> tuple[np.ndarray, np.ndarray]:
    """State at a time of a craft that is in space already: on the ring, or by Kepler's equation."""
    ring = problem.ring
    if on_ring:
        angle = orbit.angle_rad + ring.rate_rad_s * (time_s - orbit.at_s)
        return in_plane_state(ring.radius_m, angle, 0.0, ring.speed_m_s, ring.inclination_rad, ring.node_rad)
    apoapsis_touches = abs(orbit.apoapsis_m - ring.radius_m) <= abs(orbit.periapsis_m - ring.radius_m)
    periapsis = orbit.periapsis_m if apoapsis_touches else ring.radius_m
    apoapsis = ring.radius_m if apoapsis_touches else orbit.apoapsis_m
    semi, eccentricity = 0.5 * (periapsis + apoapsis), (apoapsis - periapsis) / (apoapsis + periapsis)
    mean = float(orbits.rate(ring.gm, semi)) * (time_s - orbit.at_s) + (math.pi if orbit.at == "apoapsis" else 0.0)
    towards_periapsis = orbit.angle_rad - (math.pi if orbit.at == "apoapsis" else 0.0)
    mean = float(orbits.wrap(mean))
    eccentric = mean
    for _ in range(60):
        step = (eccentric - eccentricity * math.sin(eccentric) - mean) / (1.0 - eccentricity * math.cos(eccentric))
        eccentric -= step
        if abs(step) < 1e-15:
            break
    anomaly = 2.0 * math.atan2(
        math.sqrt(1.0 + eccentricity) * math.sin(eccentric / 2.0),
        math.sqrt(1.0 - eccentricity) * math.cos(eccentric / 2.0),
    )
    semilatus = semi * (1.0 - eccentricity**2)
    unit = math.sqrt(ring.gm / semilatus)
    return in_plane_state(
        semilatus / (1.0 + eccentricity * math.cos(anomaly)),
        towards_periapsis + anomaly,
        unit * eccentricity * math.sin(anomaly),
        unit * (1.0 + eccentricity * math.cos(anomaly)),
        ring.inclination_rad,
        ring.node_rad,
    )
