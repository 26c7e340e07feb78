"""Two-body formulas of orbits that touch the ring at an apsis.

Valid for a point mass and impulsive burns. Every function takes scalars or arrays and broadcasts. Sources: Vallado,
*Fundamentals of Astrodynamics and Applications*, chapters 1, 2 and 6; Curtis, *Orbital Mechanics for Engineering
Students*, chapters 2 and 6.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from .arrays import Array
from .units import TWO_PI


def rate(gm: float, radius_m: ArrayLike) -> Array:
    """Mean motion sqrt(GM / a^3), rad/s, of an orbit of that semi-major axis.

    >>> round(float(rate(398600.4415e9, 42164169.6)) * 86164.0905 / (2 * np.pi), 6)
    1.0
    """
    return np.asarray(np.sqrt(gm / np.power(np.asarray(radius_m, dtype=np.float64), 3)))


def period(gm: float, semi_major_m: ArrayLike) -> Array:
    """Period of an orbit, s (Kepler's third law)."""
    return np.asarray(TWO_PI / rate(gm, semi_major_m))


def semi_major(gm: float, period_s: ArrayLike) -> Array:
    """Semi-major axis of an orbit of that period, m."""
    return np.asarray(np.cbrt(gm * np.square(np.asarray(period_s, dtype=np.float64) / TWO_PI)))


def speed(gm: float, radius_m: ArrayLike, semi_major_m: ArrayLike) -> Array:
    """Speed at a radius of an orbit, m/s (vis-viva equation)."""
    return np.asarray(np.sqrt(gm * (2.0 / np.asarray(radius_m) - 1.0 / np.asarray(semi_major_m))))


def semi_major_from_speed(gm: float, radius_m: ArrayLike, speed_m_s: ArrayLike) -> Array:
    """Semi-major axis of the orbit with that speed at that radius, m (vis-viva); infinite or negative if it escapes."""
    with np.errstate(divide="ignore"):
        return np.asarray(1.0 / (2.0 / np.asarray(radius_m) - np.square(np.asarray(speed_m_s)) / gm))


def other_apsis(gm: float, radius_m: ArrayLike, speed_m_s: ArrayLike) -> Array:
    """Radius of the other apsis of the orbit with that speed along the track at an apsis of that radius, m.

    >>> round(float(other_apsis(8.0, 1.0, 8.0**0.5)), 9)
    1.0
    """
    return np.asarray(2.0 * semi_major_from_speed(gm, radius_m, speed_m_s) - np.asarray(radius_m))


def anomaly_at(periapsis_m: float, apoapsis_m: float, radius_m: float) -> float:
    """True anomaly in [0, pi] at which the rising craft passes a radius, rad (orbit equation).

    >>> anomaly_at(7000e3, 9000e3, 9000e3) == np.pi
    True
    """
    eccentricity = (apoapsis_m - periapsis_m) / (apoapsis_m + periapsis_m)
    if eccentricity < 1e-12:
        return 0.0
    semilatus = 2.0 * apoapsis_m * periapsis_m / (apoapsis_m + periapsis_m)
    return float(np.arccos(np.clip((semilatus / radius_m - 1.0) / eccentricity, -1.0, 1.0)))


def time_from_periapsis(gm: float, periapsis_m: float, apoapsis_m: float, anomaly_rad: float) -> float:
    """Time from periapsis to a true anomaly in [0, pi], s (Kepler's equation)."""
    semi = 0.5 * (periapsis_m + apoapsis_m)
    eccentricity = (apoapsis_m - periapsis_m) / (apoapsis_m + periapsis_m)
    eccentric = 2.0 * np.arctan2(
        np.sqrt(1.0 - eccentricity) * np.sin(anomaly_rad / 2.0),
        np.sqrt(1.0 + eccentricity) * np.cos(anomaly_rad / 2.0),
    )
    return float((eccentric - eccentricity * np.sin(eccentric)) / rate(gm, semi))
