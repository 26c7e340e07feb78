"""Constants of the data files and axes of bodies, read and worked out without the package: for `held_flight.py`."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import erfa
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
MODELS = Path(__file__).resolve().parents[2] / "models"
AU_M = 149_597_870_700.0
DAY_S = 86_400.0


def constants(name: str) -> dict[str, Any]:
    """A body's row of the data file."""
    found: dict[str, Any] = tomllib.loads((MODELS / "bodies.toml").read_text(encoding="utf-8"))[name]
    return found


def coefficients(name: str, degree: int) -> tuple[float, list[tuple[int, int, float, float]]]:
    """Reference radius, m, and fully normalized harmonics of degree 3 and more."""
    row = tomllib.loads((MODELS / "fields.toml").read_text(encoding="utf-8"))[name]
    rows = [(int(n), int(m), float(c), float(s)) for n, m, c, s in row["normalized"] if n <= degree]
    return row["radius_km"] * 1e3, rows


def orientation(row: dict[str, Any], days: float) -> tuple[float, float, float]:
    """Right ascension and declination of a body's pole and angle of its prime meridian, rad, at days from J2000."""
    centuries = days / 36_525.0
    a, a_rate, d, d_rate = row["pole_deg"]
    a, d = a + a_rate * centuries, d + d_rate * centuries
    for across, up, start, rate in row["pole_terms_deg"]:
        a += across * math.sin(math.radians(start + rate * centuries))
        d += up * math.cos(math.radians(start + rate * centuries))
    w = sum(k * days**power for power, k in enumerate(row["meridian_deg"]))
    for size, start, rate, bend in row["meridian_terms_deg"]:
        w += size * math.sin(math.radians(start + rate * centuries + bend * centuries**2))
    return math.radians(a), math.radians(d), math.radians(w)


def series(pole: tuple[float, float], days: float, where: Callable[[float], Array]) -> Callable[[float], Array]:
    """Turn positions on the ICRF, in au at days from J2000, into the base frame of a pole, m at seconds from a start.

    Args:
        pole: right ascension and declination, rad.
        days: at the start.
    """
    turn = np.asarray(erfa.rx(0.5 * math.pi - pole[1], erfa.rz(pole[0] + 0.5 * math.pi, np.eye(3))))
    return lambda t: np.asarray(AU_M * turn @ where(days + t / DAY_S))
