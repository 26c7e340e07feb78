"""The uneven field of a body: zonal, tesseral and sectoral harmonics, in Cartesian coordinates.

Recurrences of Cunningham for V + iW = (Re / r)^(n+1) P_nm(sin lat) e^(i m lon) and its gradient (Montenbruck and Gill,
Satellite Orbits, 2000, section 3.2.4 and 3.2.5), in complex numbers and all orders of a degree at once.

The body turns evenly about the pole of the epoch: what its pole moves (the Moon's by half a degree a year) is left out.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..scenario import Body
from ..surroundings import Harmonic
from .forces import Surfaces

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True, kw_only=True)
class UnevenField:
    """Harmonics of a body beyond its bulge.

    Args:
        gm: gravitational parameter, m^3/s^2.
        radius_m: reference radius of the coefficients.
        coefficients: unnormalized, degree 2 and more.
        meridian_rad, spin_rad_s: angle of the prime meridian from x at the epoch, and how fast it turns.
    """

    gm: float
    radius_m: float
    coefficients: tuple[Harmonic, ...]
    meridian_rad: float = 0.0
    spin_rad_s: float = 0.0

    @staticmethod
    def of(body: Body, degree: int) -> UnevenField | None:
        """Field of a body up to a degree; None where nothing beyond the bulge is known of it."""
        found = tuple(one for one in body.harmonics if one.degree <= degree)
        if not found:
            return None
        return UnevenField(
            gm=body.gm,
            radius_m=body.j2_radius_m or body.radius_m,
            coefficients=found,
            meridian_rad=body.prime_meridian_rad,
            spin_rad_s=body.spin_rad_s,
        )

    @property
    def degree(self) -> int:
        """Highest degree in it."""
        return max(one.degree for one in self.coefficients)

    @property
    def name(self) -> str:
        """As it is printed."""
        return f"degree {self.degree}"

    def acceleration(self, time_s: Array, position: Array, velocity: Array, surfaces: Surfaces) -> Array:
        """Acceleration, m/s^2, (3, n)."""
        turn = np.exp(1j * (self.meridian_rad + self.spin_rad_s * time_s))
        square = np.einsum("ij,ij->j", position, position)
        scale = self.radius_m / square
        equatorial = (position[0] + 1j * position[1]) * turn.conj() * scale
        solids = self._solids(equatorial, position[2] * scale, self.radius_m * scale, np.sqrt(square))
        ahead, back, up = self._weights
        # no matrix product: for so few points the threads of a linear algebra library cost far more than they save
        across = (np.einsum("k,kn->n", ahead, solids) + np.einsum("k,kn->n", back, solids).conj()) * turn
        strength = self.gm / self.radius_m**2
        return np.stack([across.real, across.imag, -np.einsum("k,kn->n", up, solids).real]) * strength

    def _solids(self, equatorial: Complex, polar: Array, ratio: Array, radius: Array) -> Complex:
        """V + iW up to one degree more than the field, (k, n), degree by degree, orders rising."""
        top = self.degree + 1
        found = np.empty(((top + 1) * (top + 2) // 2, radius.size), dtype=np.complex128)
        found[0] = self.radius_m / radius
        for n in range(1, top + 1):
            here, last, before = _first(n), _first(n - 1), _first(n - 2) if n > 1 else 0
            climb, fall = _steps(n)
            found[here : here + n] = climb * polar * found[last : last + n]
            if n > 1:
                found[here : here + n - 1] -= fall * ratio * found[before : before + n - 1]
            found[here + n] = (2 * n - 1) * equatorial * found[last + n - 1]
        return found

    @functools.cached_property
    def _weights(self) -> tuple[Complex, Complex, Complex]:
        """What each V + iW contributes: across as it is, across conjugated, and along the pole."""
        top = self.degree + 1
        ahead, back, up = np.zeros((3, (top + 1) * (top + 2) // 2), dtype=np.complex128)
        for one in self.coefficients:
            n, m, c = one.degree, one.order, one.cosine - 1j * one.sine
            place = _first(n + 1) + m
            up[place] += (n - m + 1) * c
            if m == 0:
                ahead[place + 1] -= c.real
            else:
                ahead[place + 1] -= 0.5 * c
                back[place - 1] += 0.5 * (n - m + 1) * (n - m + 2) * c
        return ahead, back, up


def _first(degree: int) -> int:
    """Where the row of a degree begins."""
    return degree * (degree + 1) // 2


@functools.cache
def _steps(n: int) -> tuple[Array, Array]:
    """Factors of the recurrence from the two degrees below, as columns over the orders."""
    m = np.arange(n, dtype=np.float64)[:, np.newaxis]
    climb = (2 * n - 1) / (n - m)
    fall = (n + m - 1) / (n - m)
    return climb, fall[: n - 1]
