"""What pulls a craft: accelerations as functions of position, for the numerical flight."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol, TypeVar

import numpy as np

from ..arrays import Array
from ..scenario import Body

Number = TypeVar("Number", float, Array)


class Gravity(Protocol):
    """What pulls: an acceleration as a function of position."""

    @property
    def gm(self) -> float:
        """Gravitational parameter, m^3/s^2."""

    def acceleration(self, position: Array) -> Array:
        """Acceleration, m/s^2, at positions, m; both of shape (3, n)."""

    def pull(self, x: Number, y: Number, z: Number, square: Number, cube: Number) -> tuple[Number, Number, Number]:
        """The same by components, where square and cube of the radius are known; numbers or arrays alike."""


@dataclass(frozen=True, kw_only=True)
class PointMass:
    """Inverse-square attraction."""

    gm: float

    def acceleration(self, position: Array) -> Array:
        """-GM r / r^3; both of shape (3, n)."""
        return _by_components(self, position)

    def pull(self, x: Number, y: Number, z: Number, square: Number, cube: Number) -> tuple[Number, Number, Number]:
        """The same by components, where square and cube of the radius are known; numbers or arrays alike."""
        share = -self.gm / cube
        return x * share, y * share, z * share


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
        return _by_components(self, position)

    def pull(self, x: Number, y: Number, z: Number, square: Number, cube: Number) -> tuple[Number, Number, Number]:
        """The same by components, where square and cube of the radius are known; numbers or arrays alike."""
        # written with few operations, as flights spend most of their time here
        share = -self.gm / cube
        bulge = share * (1.5 * self.j2 * self.j2_radius**2) / square
        level = share + bulge - 5.0 * bulge * (z * z / square)
        return x * level, y * level, z * (level + 2.0 * bulge)


def _by_components(gravity: Gravity, position: Array) -> Array:
    x, y, z = position
    square = x * x + y * y + z * z
    return np.stack(gravity.pull(x, y, z, square, square * np.sqrt(square)))


def gravity_around(body: Body) -> PointMass | Oblate:
    """What pulls around a body: its second zonal harmonic counts wherever it has one."""
    if body.j2 == 0.0:
        return PointMass(gm=body.gm)
    return Oblate(gm=body.gm, j2=body.j2, j2_radius=body.j2_radius_m)


def potential(body: Body, position: Array) -> Array:
    """Gravitational potential at positions, m^2/s^2, with the second zonal harmonic; negative (Vallado, section 8.7).

    Positions of shape (3, n) or (3,), m.

    >>> from ringwright.models.bodies import body
    >>> earth = body("earth")
    >>> equator, pole = potential(earth, np.array([[7.0e6, 0.0], [0.0, 0.0], [0.0, 7.0e6]]))
    >>> bool(equator < -earth.gm / 7.0e6 < pole)
    True
    """
    radius = np.linalg.norm(position, axis=0)
    bulge = 0.5 * body.j2 * (body.j2_radius_m / radius) ** 2 * (3.0 * (position[2] / radius) ** 2 - 1.0)
    return np.asarray(-body.gm / radius * (1.0 - bulge))
