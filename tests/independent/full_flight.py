"""Flight of one craft under harmonics, another body and drag, by scipy: a second road for the forces of the flight.

Written from the definitions: the acceleration of the harmonics in spherical components with scipy's Legendre functions
(Vallado 2013, equations 8-25 to 8-27), other bodies by the plain difference of two attractions at positions asked of
pyerfa each time, and drag by one exponential. Constants are read from the data files, not through the package.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import erfa
import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.special import assoc_legendre_p_all

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


@dataclass(frozen=True)
class Sky:
    """What pulls.

    Args:
        gm: of the body, m^3/s^2.
        j2, j2_radius: bulge and its radius, m.
        c22, s22: unnormalized, of the same radius.
        reference, rows: radius, m, and fully normalized harmonics.
        meridian, spin: rad and rad/s.
        others: GM and position, (3,) m at seconds from the start.
        air: base altitude, density there, scale height, radius of the body, drag coefficient times area over mass.
    """

    gm: float
    j2: float
    j2_radius: float
    c22: float = 0.0
    s22: float = 0.0
    reference: float = 1.0
    rows: list[tuple[int, int, float, float]] = field(default_factory=list)
    meridian: float = 0.0
    spin: float = 0.0
    others: list[tuple[float, Callable[[float], Array]]] = field(default_factory=list)
    air: tuple[float, float, float, float, float] | None = None

    def acceleration(self, t: float, r: Array, v: Array) -> Array:
        """Sum of all, m/s^2."""
        found = -self.gm * r / float(np.linalg.norm(r)) ** 3 + self._uneven(t, r)
        for gm, path in self.others:
            there = path(t)
            found = found + gm * (
                (there - r) / np.linalg.norm(there - r) ** 3 - there / float(np.linalg.norm(there)) ** 3
            )
        if self.air is not None:
            base, density, scale, radius, ballistic = self.air
            wind = v - np.cross([0.0, 0.0, self.spin], r)
            thick = density * math.exp((base + radius - float(np.linalg.norm(r))) / scale)
            found = found - 0.5 * thick * ballistic * float(np.linalg.norm(wind)) * wind
        return np.asarray(found)

    def _uneven(self, t: float, r: Array) -> Array:
        """Partial derivatives along radius, latitude and longitude, put together."""
        x, y, z = r
        length, flat = float(np.linalg.norm(r)), math.hypot(x, y)
        latitude = math.atan2(z, flat)
        longitude = math.atan2(y, x) - self.meridian - self.spin * t
        top = max([2, *(row[0] for row in self.rows)])
        legendre = np.asarray(assoc_legendre_p_all(top, top + 1, math.sin(latitude)))[0]
        terms = [(2, 0, -self.j2, 0.0, self.j2_radius), (2, 2, self.c22, self.s22, self.j2_radius)]
        for n, m, c, s in self.rows:
            plain = math.sqrt((1 if m == 0 else 2) * (2 * n + 1) * math.factorial(n - m) / math.factorial(n + m))
            terms.append((n, m, c * plain, s * plain, self.reference))
        outward = north = east = 0.0
        for n, m, c, s, radius in terms:
            here = float(legendre[n, m]) * (-1.0) ** m
            above = float(legendre[n, m + 1]) * (-1.0) ** (m + 1) if m < n else 0.0
            wave = c * math.cos(m * longitude) + s * math.sin(m * longitude)
            side = m * (s * math.cos(m * longitude) - c * math.sin(m * longitude))
            share = (radius / length) ** n
            outward -= (n + 1) * share * here * wave
            north += share * (above - m * math.tan(latitude) * here) * wave
            east += share * here * side
        scale = self.gm / length**2
        up, ahead = r / length, np.array([-y, x, 0.0]) / flat
        return np.asarray(scale * (outward * up + north * np.cross(up, ahead) + east / math.cos(latitude) * ahead))

    def fly(self, state: Array, seconds: float) -> Array:
        """State (6,) after so long from the start."""
        return np.asarray(self.states(state, 0.0, np.array([seconds]))[-1])

    def states(self, state: Array, begin: float, times: Array) -> Array:
        """States (n, 6) at times (n,), rising, seconds from the start, from a state at ``begin``."""

        def slope(t: float, y: Array) -> Array:
            return np.concatenate([y[3:], self.acceleration(t, y[:3], y[3:])])

        scale = np.repeat([float(np.linalg.norm(state[:3])), float(np.linalg.norm(state[3:]))], 3)
        span = (begin, float(times[-1]))
        found = solve_ivp(slope, span, state, "DOP853", times, rtol=1e-12, atol=1e-13 * scale)
        assert found.success, found.message
        return np.asarray(found.y.T)


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
