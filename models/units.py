"""Units of the scenario file: which suffix a key may carry, and what it is worth in SI units and radians.

Kilometers, degrees, hours and days exist where text comes in and where it goes out, and both edges convert here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

# Factors: the SI brochure (9th edition, 2019), tables 2 to 4 and 8; a day is 86 400 s throughout.
UNITS: Mapping[str, Mapping[str, float]] = {
    "length": {"m": 1.0, "km": 1e3},
    "angle": {"deg": math.pi / 180.0, "rad": 1.0},
    "time": {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0},
    "span": {"d": 86400.0, "years": 365.25 * 86400.0},
    "instant": {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0},
    "mass": {"kg": 1.0},
    "speed": {"m_s": 1.0, "km_s": 1e3},
    "force": {"n": 1.0, "kn": 1e3},
    "gm": {"m3_s2": 1.0, "km3_s2": 1e9},
    "impulse": {"s": 1.0},
    "area": {"m2": 1.0},
    "density": {"kg_m3": 1.0},
}
"""For each kind of quantity, the suffixes that a key may end in and the factor to SI. ``impulse``: specific impulse."""

DAY_S, YEAR_S = 86_400.0, 365.25 * 86_400.0
"""A day, and a Julian year, in seconds."""

TWO_PI = 2.0 * math.pi
"""A turn in radians."""

STANDARD_GRAVITY_M_S2 = 9.80665
"""Reference of every specific impulse (CGPM 1901)."""

PRINTED: Mapping[str, str] = {
    "m_s": "m/s",
    "km_s": "km/s",
    "n": "N",
    "kn": "kN",
    "m3_s2": "m^3/s^2",
    "km3_s2": "km^3/s^2",
    "m2": "m^2",
    "kg_m3": "kg/m^3",
}
"""Units whose printed form differs from the suffix."""

# longest first, so that reserve_m_s is a speed and not a time
_SUFFIXES = sorted({unit for units in UNITS.values() for unit in units}, key=len, reverse=True)


def split_unit(key: str) -> tuple[str, str]:
    """Split a key into its quantity and its unit; the unit is empty where the key ends in none.

    >>> split_unit("reserve_m_s"), split_unit("gm_km3_s2"), split_unit("slots"), split_unit("finish_within_d")
    (('reserve', 'm_s'), ('gm', 'km3_s2'), ('slots', ''), ('finish_within', 'd'))
    """
    for suffix in _SUFFIXES:
        if key.endswith("_" + suffix) and len(key) > len(suffix) + 1:
            return key[: -len(suffix) - 1], suffix
    return key, ""


def to_si(value: float, kind: str, unit: str) -> float:
    """Convert a number in a unit into SI units or radians. Raises KeyError for a unit the kind does not have.

    >>> to_si(2.5, "time", "d"), to_si(180.0, "angle", "deg")
    (216000.0, 3.141592653589793)
    """
    return value * UNITS[kind][unit]


def from_si(value: float, kind: str, unit: str) -> float:
    """Convert SI units or radians into a unit. Raises KeyError for a unit the kind does not have.

    >>> from_si(216000.0, "time", "h")
    60.0
    """
    return value / UNITS[kind][unit]


def printed_unit(unit: str) -> str:
    """Write a unit as it is printed after a number.

    >>> printed_unit("km3_s2"), printed_unit("deg")
    ('km^3/s^2', 'deg')
    """
    return PRINTED.get(unit, unit)
