"""The part of a body's field that is the same at every longitude, in few operations.

Potential GM / r sum of C_n (Re / r)^n P_n(s), s = z / r (Vallado 2013, section 8.6.1), its gradient along the radius
and along the meridian; Legendre polynomials by Bonnet's recurrence.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Array
from ..scenario import Body


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
        ratio = self.radius_m / radius
        share = ratio.copy()
        before, here = np.ones_like(s), s
        slope_before, slope = np.zeros_like(s), np.ones_like(s)
        outward, along = np.zeros_like(s), np.zeros_like(s)
        for n, c in enumerate(self.cosines[2:], start=2):
            before, here = here, ((2 * n - 1) * s * here - (n - 1) * before) / n
            # P_n' = P_(n-2)' + (2 n - 1) P_(n-1)
            slope_before, slope = slope, slope_before + (2 * n - 1) * before
            share = share * ratio
            if c:
                outward -= (n + 1) * c * share * here
                along += c * share * slope
        strength = self.gm / square
        found = (strength * (outward - s * along) / radius) * position
        found[2] += strength * along
        return np.asarray(found)
