"""Orbits that keep step with the ground: their size, how they drift in longitude, and where they are stable.

Around a body whose equator is no circle a craft over a fixed longitude is pulled along its track, always alike, by f.
It drifts in longitude with the acceleration -3 f / a (Soop, *Handbook of Geostationary Orbits*, 1994, section 4.3;
Vallado 2013, section 9.6.5). Where that is zero and pulls back from either side, the craft stays, and swings about that
place.

All of it is for circles over the equator, flown along the turning of the body.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from . import oblateness
from .arrays import Array
from .flight.forces import Field, Surfaces
from .flight.harmonics import UnevenField
from .scenario import Body

SAMPLES = 720
"""Longitudes in which zeros are looked for: harmonics up to degree 10 change sign at most twenty times."""

STEP_RAD = 1e-4
"""On either side of a stable longitude, for the slope there: 0.006 deg."""


@dataclass(frozen=True, kw_only=True)
class StableLongitude:
    """A longitude towards which craft are pulled from either side, rad, and the time of a small swing about it, s."""

    longitude_rad: float
    swing_s: float


def synchronous_radius_m(body: Body) -> float:
    """Mean radius of the circle over the equator on which a slot turns as the ground does.

    Args:
        body: turns forward, in a finite time.

    >>> from . import bodies
    >>> earth = bodies.body("earth")
    >>> f"{synchronous_radius_m(earth) / 1e3:.2f} km"
    '42164.69 km'
    """
    spin = body.spin_rad_s
    radius = math.cbrt(body.gm / spin**2)
    # the bulge changes the rate by a small share that hardly depends on the radius: each round gains three digits
    for _ in range(8):
        rate, _node = oblateness.ring_rates(body, radius, 0.0)
        radius *= math.pow(float(rate) / spin, 2.0 / 3.0)
    return radius


def drift_rad_s2(uneven: UnevenField, radius_m: float, longitude_rad: Array) -> Array:
    """Acceleration in longitude, rad/s^2, east positive, of craft on a circle of that radius, at longitudes (n,)."""
    angle = uneven.meridian_rad + longitude_rad
    ahead = np.stack([-np.sin(angle), np.cos(angle), np.zeros_like(angle)])
    place = radius_m * np.stack([np.cos(angle), np.sin(angle), np.zeros_like(angle)])
    none = np.zeros_like(angle)
    pull = uneven.acceleration(np.zeros(1), place, np.zeros_like(place), Surfaces(none, none))
    return np.asarray(-3.0 / radius_m * np.einsum("ij,ij->j", pull, ahead))


def stable_longitudes(uneven: UnevenField, radius_m: float) -> tuple[StableLongitude, ...]:
    """The longitudes at which a craft stays, rising from the prime meridian, with the time of a small swing about each.

    A small swing about a place where the acceleration falls by s a radian takes 2 pi / sqrt(s).
    """
    from scipy.optimize import brentq

    def drift(longitude: float) -> float:
        return float(drift_rad_s2(uneven, radius_m, np.array([longitude]))[0])

    edges = np.linspace(0.0, 2.0 * math.pi, SAMPLES + 1)
    values = drift_rad_s2(uneven, radius_m, edges)
    found = []
    for k in np.flatnonzero((values[:-1] > 0.0) & (values[1:] <= 0.0)):
        place = float(brentq(drift, edges[k], edges[k + 1], xtol=1e-10))
        fall = (drift(place - STEP_RAD) - drift(place + STEP_RAD)) / (2.0 * STEP_RAD)
        found.append(StableLongitude(longitude_rad=place, swing_s=2.0 * math.pi / math.sqrt(fall)))
    return tuple(found)


def uneven_part(field: Field) -> UnevenField | None:
    """The uneven field among the forces; None where it is not flown."""
    return next((term for term in field.terms if isinstance(term, UnevenField)), None)
