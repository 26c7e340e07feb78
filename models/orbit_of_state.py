"""From a state, position and velocity, to an orbit in a plane of the ring, and where a craft starts by it.

Over an oblate body the osculating orbit of a state says little about the orbit at large: a craft that keeps its place
in the ring reads as an ellipse some kilometers wide, and the apsides that touch the ring are seen at the touch only.
There the state is flown: over a turn, to see whether it goes round on a circle, or to where it next touches the ring.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from . import frames, oblate_coast, oblateness
from .arrays import Array
from .errors import FlightError
from .flight.flown import Itinerary
from .flight.gravity import gravity_around
from .flight.integrate import Measured, fly_each, measure
from .flight.stepping import turning_points
from .ring import Ring
from .scenario import Body, Orbit, on_ring

CIRCLE_M = 1000.0
"""An orbit whose radius swings by no more than this to either side, apart from what the bulge does, is a circle."""

ROUNDS = 3
"""Flights in which the radius of a circle is found from its period."""


@dataclass(frozen=True, kw_only=True)
class Start:
    """Where a craft starts by a state.

    Args:
        orbit: in a plane of the ring.
        tilt_rad: of the orbit of the state against that plane.
        off_m, off_m_s: how far the state in which plans begin is from the one given, at its moment.
    """

    orbit: Orbit
    tilt_rad: float
    off_m: float
    off_m_s: float


def orbit_of_state(ring: Ring, position: Array, velocity: Array, time_s: float, plane: int) -> tuple[Orbit, float]:
    """The osculating orbit of a state as an orbit in a plane of the ring, and its tilt against that plane, rad.

    The apsis named is the last one passed at that time (conic: Vallado, chapter 2). The argument of latitude is that
    of the place projected on the plane. Raises ValueError for a state that is on no ellipse.
    """
    radius, gm = float(np.linalg.norm(position)), ring.gm
    spin = np.cross(position, velocity)
    if radius == 0.0 or float(np.linalg.norm(spin)) == 0.0:
        raise ValueError("its position and velocity are on one line through the center, so that it is on no orbit")
    inverse = 2.0 / radius - float(velocity @ velocity) / gm
    if inverse <= 0.0:
        raise ValueError("it is fast enough to leave the body for good, so that no period belongs to it")
    node = ring.node(time_s, plane)
    pole = frames.plane_axes(ring.inclination_rad, node)[2]
    tilt = math.atan2(float(np.linalg.norm(np.cross(spin, pole))), float(spin @ pole))
    semi = 1.0 / inverse
    momentum = float(np.linalg.norm(spin))
    eccentricity = math.sqrt(max(1.0 - momentum**2 / (gm * semi), 0.0))
    low, high = semi * (1.0 - eccentricity), semi * (1.0 + eccentricity)
    here = float(frames.latitude_argument(position, ring.inclination_rad, node))
    if high - low <= 1.0:
        return Orbit(periapsis_m=semi, apoapsis_m=semi, angle_rad=here, at_s=time_s, plane=plane), tilt
    sigma = float(position @ velocity) / math.sqrt(gm * semi)
    big = math.atan2(sigma, 1.0 - radius * inverse)
    true = 2.0 * math.atan2(
        math.sqrt(1.0 + eccentricity) * math.sin(0.5 * big), math.sqrt(1.0 - eccentricity) * math.cos(0.5 * big)
    )
    mean = big - eccentricity * math.sin(big)
    rate = math.sqrt(gm / semi**3)
    rising = big >= 0.0
    at: Literal["periapsis", "apoapsis"] = "periapsis" if rising else "apoapsis"
    since = mean if rising else mean + math.pi
    return (
        Orbit(
            periapsis_m=low,
            apoapsis_m=high,
            angle_rad=here - (true if rising else true + math.pi),
            at=at,
            at_s=time_s - since / rate,
            plane=plane,
        ),
        tilt,
    )


def touching_orbit(body: Body, ring: Ring, state: Array, time_s: float, plane: int) -> Orbit:
    """The orbit of a state (6,); over an oblate body as it is read where it next touches the ring, if it does."""
    here = orbit_of_state(ring, state[:3], state[3:], time_s, plane)[0]
    if body.j2 == 0.0 or here.circular:
        return here
    turn = 2.0 * math.pi * math.sqrt((0.5 * (here.periapsis_m + here.apoapsis_m)) ** 3 / ring.gm)
    end = time_s + 1.1 * turn
    if here.periapsis_m < body.radius_m and here.at == "periapsis":
        # it comes down on the ground, so that only the way up to its apoapsis is examined
        end = max(here.at_s + 0.51 * turn, time_s)
    ahead = Itinerary(start_s=time_s, position=state[:3], velocity=state[3:], end_s=end)
    [coast] = fly_each([ahead], gravity_around(body))
    if coast is None or not coast.arcs:
        return here
    times = np.concatenate([turning_points(arc)[0][2:] for arc in coast.arcs])
    if not times.size:
        return here
    states = coast.states(times)
    off = np.abs(np.linalg.norm(states[:, :3], axis=1) - ring.radius_m)
    best = int(np.argmin(off))
    there, when = states[best], float(times[best])
    found = orbit_of_state(ring, there[:3], there[3:], when, plane)[0]
    touches = min((found.periapsis_m, found.apoapsis_m), key=lambda r: abs(r - ring.radius_m))
    if not on_ring(touches, ring.radius_m):
        return here
    apsis = "apoapsis" if touches == found.apoapsis_m else "periapsis"
    angle = found.angle_rad + (math.pi if found.at != apsis else 0.0)
    return replace(found, at=apsis, at_s=when, angle_rad=angle)  # type: ignore[arg-type]  # one of the two


def start_of_state(body: Body, ring: Ring, position: Array, velocity: Array, time_s: float) -> Start:
    """Where a craft starts by a state, in the plane of the ring that is nearest to it.

    Args:
        position, velocity: m and m/s, in the base frame.
        time_s: when it is there.

    Raises:
        ValueError: the state is on no ellipse around the body; in words.
    """
    osculating = [orbit_of_state(ring, position, velocity, time_s, plane) for plane in range(ring.planes)]
    here, tilt = min(osculating, key=lambda one: one[1])
    state = np.concatenate([position, velocity])
    circle = _circle(body, ring, state, time_s, here)
    orbit = touching_orbit(body, ring, state, time_s, here.plane)
    if circle is not None:
        orbit, tilt = circle
    began = np.concatenate(_state_planned(body, ring, orbit, time_s))
    off = began - state
    return Start(
        orbit=orbit,
        tilt_rad=tilt,
        off_m=float(np.linalg.norm(off[:3])),
        off_m_s=float(np.linalg.norm(off[3:])),
    )


def _circle(body: Body, ring: Ring, state: Array, time_s: float, here: Orbit) -> tuple[Orbit, float] | None:
    """The circle that a state goes round on, on the mean, and its tilt; None for no circle that plans know.

    That is the ring itself, or over an oblate body, with several planes, one from which a node may drift.
    """
    radius = 0.5 * (here.periapsis_m + here.apoapsis_m)
    wobble = abs(body.j2) * (body.j2_radius_m / radius) ** 2 * radius
    if here.apoapsis_m - here.periapsis_m > 2.0 * CIRCLE_M + 8.0 * wobble:
        return None
    if body.j2 == 0.0:
        if here.apoapsis_m - here.periapsis_m > 2.0 * CIRCLE_M or not on_ring(radius, ring.radius_m):
            return None
        angle = float(frames.latitude_argument(state[:3], ring.inclination_rad, ring.node(time_s, here.plane)))
        _, tilt = orbit_of_state(ring, state[:3], state[3:], time_s, here.plane)
        return Orbit(periapsis_m=radius, apoapsis_m=radius, angle_rad=angle, at_s=time_s, plane=here.plane), tilt
    seen = None
    for _ in range(ROUNDS):
        found = _seen_from(body, ring, state, time_s, here.plane, radius)
        if found is None:
            return None
        seen, period_s = found
        # Kepler's third law, for a small change
        radius *= 1.0 + 2.0 / 3.0 * seen.period_error_s / period_s
    if seen is None:
        return None
    if math.hypot(*seen.eccentricity) * radius > CIRCLE_M:
        return None
    if not on_ring(radius, ring.radius_m) and ring.planes == 1:
        return None
    orbit = Orbit(periapsis_m=radius, apoapsis_m=radius, angle_rad=seen.slot_error_rad, at_s=time_s, plane=here.plane)
    return orbit, seen.plane_error_rad


def _seen_from(
    body: Body, ring: Ring, state: Array, time_s: float, plane: int, radius_m: float
) -> tuple[Measured, float] | None:
    """A flight from a state over a turn against a circle of a radius in a plane of the ring, and that one's period."""
    rate, node_rate = oblateness.ring_rates(body, radius_m, ring.inclination_rad)
    circle = replace(
        ring.of_plane(plane),
        radius_m=radius_m,
        slots=1,
        rate_rad_s=rate,
        slot0_rad=-rate * time_s,
        node_rad=ring.node(time_s, plane) - node_rate * time_s,
        node_rate_rad_s=node_rate,
    )
    [flight] = fly_each([Itinerary.through_turn(time_s, state[:3], state[3:], (), circle)], gravity_around(body))
    try:
        return None if flight is None else (measure(flight, circle, 0, 0), circle.period_s)
    except FlightError:
        return None


def _state_planned(body: Body, ring: Ring, orbit: Orbit, time_s: float) -> tuple[Array, Array]:
    """The state at a moment with which plans go on from an orbit."""
    there = orbit.circular and on_ring(orbit.apoapsis_m, ring.radius_m)
    if body.j2 == 0.0:
        return oblate_coast.point_mass_state(ring, orbit, time_s, on_ring=there)
    if orbit.circular:
        radius = ring.radius_m if there else orbit.apoapsis_m
        node = ring.node(time_s, orbit.plane)
        return oblateness.ring_state(body, radius, orbit.angle_rad, ring.inclination_rad, node)
    return oblate_coast.state_as_given(body, ring, orbit, time_s)
