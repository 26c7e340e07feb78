"""The uneven field of a body: zonal, tesseral and sectoral harmonics, in Cartesian coordinates.

V + iW = (Re / r)^(n+1) P_nm(sin lat) e^(i m lon) and its gradient by Cunningham (Montenbruck and Gill, Satellite
Orbits, 2000, section 3.2.4 and 3.2.5), in complex numbers. P_nm e^(i m lon) is the m-th power of (x + iy) / r times
the m-th derivative of the Legendre polynomial P_n at z / r: all degrees and orders come from three rows of powers.

The body turns evenly about the pole of the epoch: what its pole moves (the Moon's by half a degree a year) is left out.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..scenario import Body
from ..surroundings import Harmonic
from .forces import Surfaces

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

FEW = 256
"""Points that a library of linear algebra is given at once: of more it makes threads (measured)."""


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

    @functools.cached_property
    def degree(self) -> int:
        """Highest degree in it."""
        return max(one.degree for one in self.coefficients)

    @property
    def name(self) -> str:
        """As it is printed."""
        return f"degree {self.degree}"

    def acceleration(self, time_s: Array, position: Array, velocity: Array, surfaces: Surfaces) -> Array:
        """Acceleration, m/s^2, (3, n)."""
        # few calls on what is small: flights under further forces spend most of their time here
        x, y, z = position
        turn = np.exp(1j * (self.meridian_rad + self.spin_rad_s * time_s))
        inverse = 1.0 / np.sqrt(x * x + y * y + z * z)
        solids = self._solids((x + 1j * y) * turn.conj() * inverse, z * inverse, self.radius_m * inverse)
        ahead, back, up = product(self._weights, solids)
        across = (ahead + back.conj()) * turn
        found = np.empty(position.shape)
        found[0], found[1], found[2] = across.real, across.imag, -up.real
        found *= self.gm / self.radius_m**2
        return found

    def _solids(self, equatorial: Complex, polar: Array, ratio: Array) -> Complex:
        """V + iW up to one degree more than the field, (k, n), degree by degree, orders rising.

        Args:
            equatorial: (x + iy) / r.
            polar: z / r.
            ratio: reference radius over r.
        """
        top = self.degree + 1
        degrees, orders, slopes = _table(top)
        turned = np.empty((top + 1, polar.size), dtype=np.complex128)
        powers = np.empty((2, top + 1, polar.size))
        turned[0], powers[0, 0], powers[1, 0] = 1.0, 1.0, ratio
        turned[1:], powers[0, 1:], powers[1, 1:] = equatorial, polar, ratio
        np.multiply.accumulate(turned, axis=0, out=turned)
        np.multiply.accumulate(powers, axis=1, out=powers)
        found = product(slopes, powers[0])
        found *= powers[1].take(degrees, axis=0)
        return np.asarray(found * turned.take(orders, axis=0))

    @functools.cached_property
    def _weights(self) -> Complex:
        """What each V + iW contributes, (3, k): across as it is, across conjugated, and along the pole."""
        top = self.degree + 1
        ahead, back, up = found = np.zeros((3, (top + 1) * (top + 2) // 2), dtype=np.complex128)
        for one in self.coefficients:
            n, m, c = one.degree, one.order, one.cosine - 1j * one.sine
            place = _first(n + 1) + m
            up[place] += (n - m + 1) * c
            if m == 0:
                ahead[place + 1] -= c.real
            else:
                ahead[place + 1] -= 0.5 * c
                back[place - 1] += 0.5 * (n - m + 1) * (n - m + 2) * c
        return found


def product(one: NDArray[Any], other: NDArray[Any]) -> NDArray[Any]:
    """Matrix product; of many columns some at a time, without the threads of a linear algebra library, which then cost
    far more than they save.
    """
    count = other.shape[1]
    if count <= FEW:
        return np.asarray(one.dot(other))
    found = np.empty((one.shape[0], count), dtype=np.result_type(one, other))
    for first in range(0, count, FEW):
        found[:, first : first + FEW] = one.dot(other[:, first : first + FEW])
    return found


def _first(degree: int) -> int:
    """Where the row of a degree begins."""
    return degree * (degree + 1) // 2


@functools.cache
def _table(top: int) -> tuple[NDArray[np.intp], NDArray[np.intp], Array]:
    """Degree n and order m of each V + iW up to a degree, (k,), and the m-th derivatives of the Legendre polynomials
    P_n as polynomials of the sine of latitude, rising powers, (k, top + 1).
    """
    pairs = [(n, m) for n in range(top + 1) for m in range(n + 1)]
    slopes = np.zeros((len(pairs), top + 1))
    for k, (n, m) in enumerate(pairs):
        found = np.polynomial.legendre.leg2poly(np.eye(n + 1)[n])
        slopes[k, : n + 1 - m] = np.polynomial.polynomial.polyder(found, m)
    degrees, orders = np.array(pairs, dtype=np.intp).T
    return degrees, orders, slopes
