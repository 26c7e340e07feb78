"""What pulls a craft: accelerations as functions of position, for the numerical flight."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from .scenario import Body

Array = NDArray[np.float64]


class Gravity(Protocol):
    """What pulls: an acceleration as a function of position."""

    @property
    def gm(self) -> float:
        """Gravitational parameter, m^3/s^2."""

    def acceleration(self, position: Array) -> Array:
        """Acceleration, m/s^2, at positions, m; both of shape (3, n)."""


@dataclass(frozen=True, kw_only=True)
class PointMass:
    """Inverse-square attraction."""

    gm: float

    def acceleration(self, position: Array) -> Array:
        """-GM r / r^3; both of shape (3, n)."""
        x, y, z = position
        r2 = x * x + y * y + z * z
        pull: Array = position * (-self.gm / (r2 * np.sqrt(r2)))
        return pull


@dataclass(frozen=True, kw_only=True)
class Oblate:
    """Point mass and second zonal harmonic, pole along z.

    Args:
        gm: gravitational parameter, m^3/s^2.
        j2: unnormalized second zonal harmonic, positive for an oblate body.
        j2_radius: reference radius it belongs to, m.

    Source: gradient of the zonal potential, e.g. Vallado 2013, section 8.7.
    """

    gm: float
    j2: float
    j2_radius: float

    def acceleration(self, position: Array) -> Array:
        """Acceleration; both of shape (3, n)."""
        x, y, z = position
        z2 = z * z
        r2 = x * x + y * y + z2
        pull = -self.gm / (r2 * np.sqrt(r2))
        bulge = (1.5 * self.j2 * self.j2_radius**2) * pull / r2
        total: Array = position * (pull + bulge * (1.0 - 5.0 * z2 / r2))
        total[2] += 2.0 * bulge * z
        return total


def gravity_around(body: Body) -> Gravity:
    """What pulls around a body: its second zonal harmonic counts wherever it has one."""
    if body.j2 == 0.0:
        return PointMass(gm=body.gm)
    return Oblate(gm=body.gm, j2=body.j2, j2_radius=body.j2_radius_m)
