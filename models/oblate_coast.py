"""How coasts arrive over an oblate body: when, where and how fast an insertion or an orbit as given reaches the ring.

What the two-body formulas of `launch.py` say of a coast is flown here instead, so that everything that is planned from
the first touch of the ring begins at the right place and moment. An insertion and an orbit are taken as given: their
apsides are the osculating ones that an instrument would show there. A circular one is a craft that keeps its height on
the mean (`oblateness.ring_state`).

Speeds are handed on as *equivalent* ones: the speed at the ring's radius that in point-mass gravity asks for the same
burns. Good to first order in J2; the plan's burns come from the flight, not from here.
"""

from __future__ import annotations

import dataclasses
import functools
import math
from typing import NamedTuple

import numpy as np

from . import frames, launch, oblateness, orbits
from .arrays import Array
from .errors import FlightError
from .flight.flown import Itinerary, readout
from .flight.gravity import Gravity, gravity_around
from .flight.integrate import fly_each
from .flight.stepping import land, turning_points
from .insertions import Insertion
from .kepler import propagate
from .launch import IN_PLANE, Ascent, Heading
from .ring import Ring
from .scenario import Body, Orbit, Pad, on_ring
from .windows import angle_at_pass

_AIM_M = 0.1
"""How near to the ring a transfer from a parking orbit is aimed."""

_AIMINGS = 12
"""Most flights of that transfer after the first one."""

_SHRUNK, _SHRINKINGS = 0.98, 40
"""A burn whose transfer does not come to its far apsis is taken so much smaller, so many times at most."""


class Apsis(NamedTuple):
    """A turning point of the radius as flown: seconds after the start, radius, angle swept modulo a turn, speed."""

    after_s: float
    radius_m: float
    swept_rad: float
    speed_m_s: float


class Passages(NamedTuple):
    """How an orbit comes to the ring: first touch after (or at) the moment given, and from each touch to the next.

    ``angle_rad`` argument of latitude of that touch, ``advance_rad`` how far the next one is ahead of it,
    ``speed_m_s`` the equivalent speed there, ``radius_m`` the radius really reached.
    """

    touch_s: float
    angle_rad: float
    period_s: float
    advance_rad: float
    speed_m_s: float
    radius_m: float


def apsides(
    gravity: Gravity, position: Array, velocity: Array, plane: tuple[float, float], span_s: float, *, high: bool
) -> tuple[Apsis, ...]:
    """High or low turning points of the radius that a coast passes within a time, in order.

    Args:
        position, velocity: start, m and m/s. Where it starts at an apsis, that one does not count.
        plane: inclination and node, rad, that angles are counted in.
        span_s: how long to look.
    """
    [flight] = fly_each([Itinerary(start_s=0.0, position=position, velocity=velocity, end_s=span_s)], gravity)
    if flight is None:
        return ()
    times: list[float] = []
    for arc in flight.arcs:
        moments, _, dips = turning_points(arc)
        # the ends of the arc come first and are no turning points
        times.extend(moments[2:][dips[2:] != high].tolist())
    times = [time for time in times if time > 1e-3 * span_s]
    if not times:
        return ()
    states = flight.states(times)
    angle = frames.latitude_argument(states[:, :3], *plane) - frames.latitude_argument(position, *plane)
    return tuple(
        Apsis(after_s=t, radius_m=float(r), swept_rad=float(a), speed_m_s=float(v))
        for t, r, a, v in zip(
            times,
            np.linalg.norm(states[:, :3], axis=1),
            np.mod(angle, 2.0 * math.pi),
            np.linalg.norm(states[:, 3:], axis=1),
            strict=True,
        )
    )


def real_speed(body: Body, ring: Ring, speed_m_s: float, radius_m: float) -> float:
    """Speed at an apsis near the ring's radius, over the real body, of an orbit that is planned by its speed at R.

    Carried from the ring's radius by the energy integral (vis-viva), and raised as the ring's own craft are faster than
    sqrt(GM / R). First order in J2 and in the difference of the radii: for first guesses.
    """
    faster = oblateness.circular_speed(body, ring.radius_m, ring.inclination_rad) / ring.speed_m_s
    return faster * math.sqrt(max(speed_m_s**2 - 2.0 * body.gm * (1.0 / ring.radius_m - 1.0 / radius_m), 0.0))


def equivalent_speed(body: Body, ring: Ring, speed_m_s: float, radius_m: float) -> float:
    """Speed at the ring's radius that in point-mass gravity asks for the same burn into the ring as a real one."""
    return ring.speed_m_s - (real_speed(body, ring, ring.speed_m_s, radius_m) - speed_m_s)


def apsis_state(
    gm: float, periapsis_m: float, apoapsis_m: float, anomaly_rad: float, angle_rad: float, plane: tuple[float, float]
) -> tuple[Array, Array]:
    """State on an osculating orbit given by its apsides, at a true anomaly and an argument of latitude (conic)."""
    semilatus = 2.0 * periapsis_m * apoapsis_m / (periapsis_m + apoapsis_m)
    eccentricity = (apoapsis_m - periapsis_m) / (apoapsis_m + periapsis_m)
    unit = math.sqrt(gm / semilatus)
    return frames.in_plane_state(
        semilatus / (1.0 + eccentricity * math.cos(anomaly_rad)),
        angle_rad,
        unit * eccentricity * math.sin(anomaly_rad),
        unit * (1.0 + eccentricity * math.cos(anomaly_rad)),
        *plane,
    )


@functools.lru_cache(maxsize=256)
def ascent(
    body: Body, ring: Ring, pad: Pad, pad_index: int, insertion: Insertion, heading: Heading = IN_PLANE
) -> Ascent | None:
    """The way up by one insertion: as `launch.ascent`, over an oblate body with the coast as it is flown.

    None where that coast does not come to the ring or reads as an open orbit, as on the long way to a ring at the edge
    of the body's pull.

    A direct insertion is taken as given: over an oblate body its coast may reach its apoapsis short of the ring, and
    the first ring burn comes there. From a parking orbit the transfer is aimed so that it reaches the ring. For a site
    that passes through the plane it is the coast of a liftoff at a pass.
    """
    way = launch.ascent(body, ring, pad, pad_index, insertion, heading)
    if body.j2 == 0.0:
        return way
    gravity = gravity_around(body)
    plane = (ring.inclination_rad, ring.node(0.0, way.plane))
    site = 0.0 if way.place is None else angle_at_pass(way.place, way.ascending)
    if way.parking:
        return _from_parking(body, gravity, ring, way, site)
    if way.coast_s <= 0.0:
        if insertion.circular:
            speed = oblateness.circular_speed(body, ring.radius_m, ring.inclination_rad)
            return dataclasses.replace(way, insertion_speed_m_s=speed)
        arrival_m_s = equivalent_speed(body, ring, way.arrival_speed_m_s, ring.radius_m)
        return dataclasses.replace(way, arrival_speed_m_s=arrival_m_s)
    position, velocity = apsis_state(
        body.gm,
        insertion.periapsis_m,
        ring.radius_m,
        way.insertion_anomaly_rad,
        site + way.insertion_angle0_rad,
        plane,
    )
    found = apsides(gravity, position, velocity, plane, 1.5 * way.coast_s + 600.0, high=True)
    if not found:
        return None
    touch = found[0]
    return dataclasses.replace(
        way,
        after_s=pad.ascent_s + touch.after_s,
        coast_s=touch.after_s,
        angle0_rad=way.insertion_angle0_rad + touch.swept_rad,
        arrival_speed_m_s=equivalent_speed(body, ring, touch.speed_m_s, touch.radius_m),
        arrival_radius_m=touch.radius_m,
    )


def _from_parking(body: Body, gravity: Gravity, ring: Ring, way: Ascent, site_rad: float) -> Ascent | None:
    low = way.insertion.radius_m
    plane = (ring.inclination_rad, ring.node(0.0, way.plane))
    angle = site_rad + way.insertion_angle0_rad
    position, velocity = oblateness.ring_state(body, low, angle, *plane)
    ahead = velocity / float(np.linalg.norm(velocity))
    up = low < ring.radius_m
    sign = 1.0 if up else -1.0

    def arrival(burn_m_s: float) -> Apsis | None:
        kicked = velocity + sign * burn_m_s * ahead
        found = apsides(gravity, position, kicked, plane, 1.5 * way.coast_s, high=up)
        return found[0] if found else None

    # the reciprocal of the far apsis is all but linear in the burn, however far away it is
    burn, wanted = way.entry_delta_v_m_s, 1.0 / ring.radius_m
    touch = arrival(burn)
    for _ in range(_SHRINKINGS):
        if touch is not None:
            break
        burn *= _SHRUNK
        touch = arrival(burn)
    if touch is None:
        return None
    slope = (1.0 / touch.radius_m - 1.0 / low) / burn
    for _ in range(_AIMINGS):
        if abs(touch.radius_m - ring.radius_m) < _AIM_M:
            break
        moved = burn + (wanted - 1.0 / touch.radius_m) / slope
        further = arrival(moved)
        if further is None:
            return None
        if moved != burn and further.radius_m != touch.radius_m:
            slope = (1.0 / further.radius_m - 1.0 / touch.radius_m) / (moved - burn)
        burn, touch = moved, further
    if not math.isfinite(readout(np.concatenate([position, velocity + sign * burn * ahead]), body.gm).period_s):
        return None
    return dataclasses.replace(
        way,
        after_s=way.after_s - way.coast_s + touch.after_s,
        coast_s=touch.after_s,
        angle0_rad=way.insertion_angle0_rad + touch.swept_rad,
        arrival_speed_m_s=equivalent_speed(body, ring, touch.speed_m_s, touch.radius_m),
        entry_delta_v_m_s=burn,
        parking_rate_rad_s=oblateness.ring_rates(body, low, ring.inclination_rad)[0],
        insertion_speed_m_s=oblateness.circular_speed(body, low, ring.inclination_rad),
    )


def given_orbit(ring: Ring, orbit: Orbit) -> tuple[float, float, bool]:
    """Apsides of an orbit in space, m, the nearer one laid on the ring if near; and whether it is the apoapsis."""
    outer = abs(orbit.apoapsis_m - ring.radius_m) <= abs(orbit.periapsis_m - ring.radius_m)
    if not on_ring(orbit.apoapsis_m if outer else orbit.periapsis_m, ring.radius_m):
        return orbit.periapsis_m, orbit.apoapsis_m, outer
    return (orbit.periapsis_m, ring.radius_m, True) if outer else (ring.radius_m, orbit.apoapsis_m, False)


@functools.lru_cache(maxsize=256)
def passages(body: Body, ring: Ring, orbit: Orbit) -> Passages:
    """How a craft on an orbit that touches the ring comes to it over an oblate body, from the moment that is given.

    Raises FlightError where the bulge bends it so that it does not come there again at that apsis.
    """
    gravity = gravity_around(body)
    periapsis, apoapsis, outer = given_orbit(ring, orbit)
    at_touch = orbit.at == ("apoapsis" if outer else "periapsis")
    plane = (ring.inclination_rad, ring.node(orbit.at_s, orbit.plane))
    position, velocity = state_as_given(body, ring, orbit)
    turn = float(orbits.period(body.gm, 0.5 * (periapsis + apoapsis)))
    found = [a for a in apsides(gravity, position, velocity, plane, 1.75 * turn, high=outer) if a.after_s > 0.25 * turn]
    if len(found) < (1 if at_touch else 2):
        raise FlightError("the bulge bends the orbit by more than its apsides are apart")
    if at_touch:
        start = Apsis(0.0, ring.radius_m, 0.0, float(np.linalg.norm(velocity)))
        first, second = start, found[0]
    else:
        first, second = found[0], found[1]
    return Passages(
        touch_s=orbit.at_s + first.after_s,
        angle_rad=orbit.angle_rad + first.swept_rad,
        period_s=second.after_s - first.after_s,
        advance_rad=float(frames.wrap(second.swept_rad - first.swept_rad)),
        speed_m_s=equivalent_speed(body, ring, first.speed_m_s, first.radius_m),
        radius_m=first.radius_m,
    )


def point_mass_state(ring: Ring, orbit: Orbit, time_s: float, *, on_ring: bool) -> tuple[Array, Array]:
    """State of a craft in space at a time, by Kepler's equation; ``on_ring``: it moves as the ring does."""
    axes = (ring.inclination_rad, ring.node(0.0, orbit.plane))
    if on_ring:
        angle = orbit.angle_rad + ring.rate_rad_s * (time_s - orbit.at_s)
        return frames.in_plane_state(ring.radius_m, angle, 0.0, ring.speed_m_s, *axes)
    periapsis, apoapsis, _ = given_orbit(ring, orbit)
    anomaly = math.pi if orbit.at == "apoapsis" else 0.0
    position, velocity = apsis_state(ring.gm, periapsis, apoapsis, anomaly, orbit.angle_rad, axes)
    return propagate(position, velocity, time_s - orbit.at_s, ring.gm)


def state_as_given(body: Body, ring: Ring, orbit: Orbit, time_s: float | None = None) -> tuple[Array, Array]:
    """State of a craft in space, flown from the moment that the scenario gives to another."""
    periapsis, apoapsis, _ = given_orbit(ring, orbit)
    anomaly = math.pi if orbit.at == "apoapsis" else 0.0
    plane = (ring.inclination_rad, ring.node(orbit.at_s, orbit.plane))
    position, velocity = apsis_state(body.gm, periapsis, apoapsis, anomaly, orbit.angle_rad, plane)
    if orbit.circular and body.j2 != 0.0:
        position, velocity = oblateness.ring_state(body, periapsis, orbit.angle_rad, *plane)
    if time_s is None or time_s == orbit.at_s:
        return position, velocity
    state = np.array(_flown(body, (*position.tolist(), *velocity.tolist()), time_s - orbit.at_s))
    return state[:3], state[3:]


@functools.lru_cache(maxsize=256)
def _flown(body: Body, state: tuple[float, ...], duration_s: float) -> tuple[float, ...]:
    """A state flown on or back without thrust; each once, since every option of a craft begins there."""
    start = np.array(state)[:, np.newaxis]
    return tuple(land(gravity_around(body), start, np.array([duration_s]))[:, 0].tolist())
