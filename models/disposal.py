"""What it takes to leave a ring for good: burns to lower the periapsis, or to raise a synchronous circle.

Two-body, impulsive, from a circle. The raise of a synchronous orbit around the Earth is that of ISO 24113 and the IADC
guidelines: the perigee ends at least 235 km + 1000 km Cr A / m above the synchronous altitude, A / m in m^2/kg, the
eccentricity at 0.005 at most (as printed by Colombo and Gkolias 2017).
"""

from __future__ import annotations

import math

from .scenario import Body

RAISED_M = 235e3
PUSHED_M_FOR_M2_KG = 1e6
"""The raise, and what is added to it for sunlight, m for each m^2/kg of Cr A / m."""

LATITUDE_RAD = math.radians(15.0)
"""Inclination up to which a synchronous orbit lies in the region kept free (IADC guidelines, 3.3, from memory)."""

SHARE = 1e-3
"""Turns alike to this share of the day count as synchronous."""


def raise_m(light_m2_kg: float) -> float:
    """How far a synchronous circle around the Earth is raised at least, m, for a reflectivity times area over mass.

    >>> raise_m(0.013)
    248000.0
    """
    return RAISED_M + PUSHED_M_FOR_M2_KG * light_m2_kg


def is_kept_free(body: Body, radius_m: float, inclination_rad: float) -> bool:
    """Whether a circle lies in the region around synchronous orbits of the Earth that is kept free."""
    turn_s = 2.0 * math.pi * math.sqrt(radius_m**3 / body.gm)
    in_step = abs(turn_s / abs(body.sidereal_day_s) - 1.0) <= SHARE
    return body.name.lower() == "earth" and in_step and inclination_rad <= LATITUDE_RAD


def lowering_m_s(gm: float, radius_m: float, periapsis_m: float) -> float:
    """The burn on a circle that puts the periapsis at a lower radius, m/s (vis-viva).

    >>> round(lowering_m_s(3.986e14, 7.0e6, 6.5e6), 1)
    141.1
    """
    return math.sqrt(gm / radius_m) * (1.0 - math.sqrt(2.0 * periapsis_m / (radius_m + periapsis_m)))


def raising_m_s(gm: float, radius_m: float, to_m: float) -> float:
    """Both burns of a Hohmann transfer from a circle to a higher one, m/s."""
    mean = 0.5 * (radius_m + to_m)
    begins = math.sqrt(gm * (2.0 / radius_m - 1.0 / mean)) - math.sqrt(gm / radius_m)
    ends = math.sqrt(gm / to_m) - math.sqrt(gm * (2.0 / to_m - 1.0 / mean))
    return begins + ends
