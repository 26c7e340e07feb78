"""What keeping a ring costs, in closed form: against drag, over its longitudes, and in the plane of the equator.

All of it is for circles, as rates that go on for years. A burn along the track of so much a second makes up for what
drag takes (Vallado 2013, section 9.6.2: da/dt = 2 f / n on a circle), one against the pull along the track holds a
longitude (Soop 1994, chapter 7), and the pole, which Sun and Moon move, is brought back across a dead band by burns
where the planes cross (Soop 1994, chapter 8; Vallado 2013, section 6.4: 2 v sin(i / 2)).
"""

from __future__ import annotations

import math

import numpy as np

from . import frames
from .arrays import Array
from .deadline import poll
from .flight.averaged import AveragedForces, MeanOrbits, in_step
from .flight.drag import Air
from .flight.forces import Field, Surfaces
from .flight.harmonics import UnevenField
from .flight.point_masses import PointPull
from .reference import LEAST_LEAN
from .ring import Ring
from .scenario import Body
from .synchronous import drift_rad_s2
from .units import YEAR_S

POINTS = 72
"""Points of a turn at which drag is taken: on a circle it changes by the turning of the air alone."""

POLE_STEP_S = 2.0 * 86_400.0
"""Between two evaluations of what moves the pole: a fourteenth of the Moon's turn, a seventh of its swing in it."""

MOST_YEARS = 19
"""Years over which the drift of the pole is taken at most: the Moon's node is then round once."""


def drag_m_s2(air: Air, ring: Ring, drag_m2_kg: Array) -> Array:
    """What drag takes off the speed along the track, mean over a turn at the ring's radius, m/s^2, (n,).

    Args:
        air: over the body.
        ring: radius, speed and inclination are used.
        drag_m2_kg: (n,) drag coefficient times area over mass.
    """
    first, second, up = (axis[0] for axis in frames.plane_axes(ring.inclination_rad, np.zeros(1)))
    angle = 2.0 * math.pi / POINTS * np.arange(POINTS)[:, np.newaxis]
    out = np.cos(angle) * first + np.sin(angle) * second
    ahead = np.cross(up, out)
    wind = ring.speed_m_s * ahead - ring.radius_m * np.cross([0.0, 0.0, air.spin_rad_s], out)
    density = float(air.density(np.array([ring.radius_m - air.radius_m]))[0])
    along = np.linalg.norm(wind, axis=1) * np.einsum("ij,ij->i", wind, ahead)
    return np.asarray(0.5 * density * float(np.mean(along)) * drag_m2_kg)


def east_west_m_s2(uneven: UnevenField, ring: Ring, longitude_rad: Array) -> Array:
    """What holding a longitude takes along the track, m/s^2, (n,): the drift there times v / (3 n), whatever the band.

    Args:
        uneven: field of the body, whose meridian counts longitudes.
        ring: a circle over the equator that keeps step with the ground.
        longitude_rad: (n,) east of the prime meridian.
    """
    drift = drift_rad_s2(uneven, ring.radius_m, longitude_rad)
    return np.asarray(np.abs(drift) * ring.speed_m_s / (3.0 * ring.rate_rad_s))


def stays_over_the_equator(body: Body, ring: Ring) -> bool:
    """Whether a ring lies over the equator and goes round as the ground does."""
    level = ring.planes == 1 and abs(math.sin(ring.inclination_rad)) < LEAST_LEAN
    return level and math.cos(ring.inclination_rad) > 0.0 and in_step(body, ring.rate_rad_s, 1) == 1


def pole_drift_rad_year(body: Body, field: Field, radius_m: float, from_s: float, over_s: float) -> float:
    """How fast Sun and Moon turn the plane of an orbit that is kept near the equator, rad a year of 365.25 days.

    The averaged equations of the pole (``flight/averaged.py``) on the equator, where the bulge does not turn it,
    integrated over each year by itself; the mean of the years, of which the Moon's node makes some faster than others.

    Args:
        body: around which.
        field: other bodies among its terms count, nothing else does.
        radius_m: of the circle.
        from_s: since the epoch.
        over_s: how long it is kept; taken as whole years, one at least.
    """
    pulls = tuple(term for term in field.terms if isinstance(term, PointPull))
    if not pulls:
        return 0.0
    forces = AveragedForces.of(body, Field(near=field.near, terms=pulls), radius_m)
    nothing = np.zeros(1)
    upright = np.array([[0.0], [0.0], [1.0]])
    orbit = MeanOrbits(
        semi_major_m=np.array([radius_m]),
        eccentricity=np.zeros((3, 1)),
        pole=upright,
        origin=np.array([[1.0], [0.0], [0.0]]),
        longitude_rad=nothing,
        added_rad_s=nothing,
    )
    years = min(max(1, math.ceil(over_s / YEAR_S - 1e-9)), MOST_YEARS)
    steps = math.ceil(YEAR_S / POLE_STEP_S)
    turned = []
    for year in range(years):
        poll()
        times = from_s + (year + (np.arange(steps) + 0.5) / steps) * YEAR_S
        moved = [forces.rates(orbit, float(time), Surfaces(nothing, nothing))[4:6, 0] for time in times]
        turned.append(float(np.linalg.norm(np.mean(moved, axis=0))) * YEAR_S)
    return math.fsum(turned) / years


def north_south_m_s_year(speed_m_s: float, drift_rad_year: float, band_rad: float) -> float:
    """What keeping the plane costs, m/s a year: burns of 2 v sin(band), each after the pole has crossed the band.

    Args:
        speed_m_s: on the circle.
        drift_rad_year: of the pole.
        band_rad: tilt allowed on either side, above 0.

    >>> f"{north_south_m_s_year(3074.66, math.radians(0.85), math.radians(0.425)):.2f}"
    '45.61'
    """
    return drift_rad_year / (2.0 * band_rad) * 2.0 * speed_m_s * math.sin(band_rad)
