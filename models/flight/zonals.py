"""The part of a body's field that is the same at every longitude, in few operations.

Potential GM / r sum of C_n (Re / r)^n P_n(s), s = z / r (Vallado 2013, section 8.6.1), its gradient along the radius
and along the meridian; Legendre polynomials by their powers of s.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np

from ..arrays import Array
from ..scenario import Body
from .harmonics import product


@dataclass(frozen=True, kw_only=True)
class Zonals:
    """Zonal harmonics C_0, C_1, C_2 = -J2 and so on, unnormalized; the point mass, C_0, is not in the pull."""

    gm: float
    radius_m: float
    cosines: tuple[float, ...]

    @staticmethod
    def of(body: Body, degree: int) -> Zonals:
        """The bulge and the zonal harmonics of a body up to a degree."""
        found = [0.0] * (max(degree, 2) + 1)
        found[2] = -body.j2
        for one in body.harmonics:
            if one.order == 0 and 2 < one.degree <= degree:
                found[one.degree] = one.cosine
        return Zonals(gm=body.gm, radius_m=body.j2_radius_m or body.radius_m, cosines=tuple(found))

    def acceleration(self, position: Array) -> Array:
        """Acceleration, m/s^2; both of shape (3, n)."""
        square = np.einsum("ij,ij->j", position, position)
        radius = np.sqrt(square)
        s = position[2] / radius
        powers = np.empty((2, len(self.cosines), s.size))
        powers[:, 0], powers[0, 1:], powers[1, 1:] = 1.0, s, self.radius_m / radius
        np.multiply.accumulate(powers, axis=1, out=powers)
        outward, along = (product(self._table, powers[0]).reshape(2, -1, s.size) * powers[1, 2:]).sum(axis=1)
        strength = self.gm / square
        found = (strength * (outward - s * along) / radius) * position
        found[2] += strength * along
        return np.asarray(found)

    @functools.cached_property
    def _table(self) -> Array:
        """What each degree from 2 on pulls outward, then along the meridian: polynomials of s, rising powers."""
        degrees = np.arange(2, len(self.cosines))
        found = np.zeros((2, degrees.size, len(self.cosines)))
        for k, n in enumerate(degrees.tolist()):
            legendre = np.polynomial.legendre.leg2poly(np.eye(n + 1)[n])
            found[0, k, : n + 1] = -(n + 1) * self.cosines[n] * legendre
            found[1, k, :n] = self.cosines[n] * np.polynomial.polynomial.polyder(legendre)
        return found.reshape(-1, len(self.cosines))
