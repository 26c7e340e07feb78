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

    def field(self, position: Array, square: Array, cube: Array) -> Array:
        """The same where square and cube of the radius, (n,), are at hand."""


@dataclass(frozen=True, kw_only=True)
class PointMass:
    """Inverse-square attraction."""

    gm: float

    def acceleration(self, position: Array) -> Array:
        """-GM r / r^3; both of shape (3, n)."""
        return self.field(position, *_powers(position))

    def field(self, position: Array, square: Array, cube: Array) -> Array:
        """The same where square and cube of the radius, (n,), are at hand."""
        pull: Array = position * (-self.gm / cube)
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
        return self.field(position, *_powers(position))

    def field(self, position: Array, square: Array, cube: Array) -> Array:
        """The same where square and cube of the radius, (n,), are at hand."""
        # written with few operations, as flights spend most of their time here
        z = position[2]
        pull = -self.gm / cube
        bulge = pull * (1.5 * self.j2 * self.j2_radius**2)
        bulge /= square
        lift = z * z
        lift *= -5.0
        lift /= square
        lift += 1.0
        lift *= bulge
        lift += pull
        total: Array = position * lift
        bulge *= 2.0
        bulge *= z
        total[2] += bulge
        return total


def _powers(position: Array) -> tuple[Array, Array]:
    """Square and cube of the radius."""
    square = np.einsum("ij,ij->j", position, position)
    return square, square * np.sqrt(square)


def gravity_around(body: Body) -> Gravity:
    """What pulls around a body: its second zonal harmonic counts wherever it has one."""
    if body.j2 == 0.0:
        return PointMass(gm=body.gm)
    return Oblate(gm=body.gm, j2=body.j2, j2_radius=body.j2_radius_m)
