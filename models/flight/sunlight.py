"""Pressure of sunlight on a sphere ("cannonball"): a = P (Cr A / m) (AU / d)^2 away from the Sun, less in shadow.

Pressure at one astronomical unit: 1360.8 W/m^2 (Kopp and Lean 2011, Geophys. Res. Lett. 38, L01706) over the speed of
light. The shadow of a sphere of the body's equatorial radius: a cone, in whose half-shadow as much light is left as of
the Sun's disk (Montenbruck and Gill 2000, section 3.4.2), or a cylinder.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..bodies import ASTRONOMICAL_UNIT_M
from .forces import Surfaces
from .point_masses import Path

Array = NDArray[np.float64]

IRRADIANCE_W_M2 = 1360.8
LIGHT_M_S = 299_792_458.0
PRESSURE_PA = IRRADIANCE_W_M2 / LIGHT_M_S
SUN_RADIUS_M = 6.957e8  # IAU 2015 resolution B3, nominal


@dataclass(frozen=True, kw_only=True)
class Sunlight:
    """Light of the Sun.

    Args:
        sun: where the Sun is.
        radius_m: of the body that throws the shadow.
        cone: whether the shadow is a cone with a half-shadow, or else a cylinder.
    """

    sun: Path
    radius_m: float
    cone: bool = True

    @property
    def name(self) -> str:
        """As it is printed."""
        return "sunlight"

    @staticmethod
    def push_m_s2(distance_m: float) -> float:
        """Acceleration for each m^2/kg of surface at a distance from the Sun, m/s^2."""
        return PRESSURE_PA * (ASTRONOMICAL_UNIT_M / distance_m) ** 2

    def acceleration(self, time_s: Array, position: Array, velocity: Array, surfaces: Surfaces) -> Array:
        """Acceleration, m/s^2, (3, n)."""
        to_sun = self.sun.position(time_s) - position
        square = np.einsum("ij,ij->j", to_sun, to_sun)
        distance = np.sqrt(square)
        push = PRESSURE_PA * ASTRONOMICAL_UNIT_M**2 / (square * distance) * surfaces.light_m2_kg
        return np.asarray((-push * self._share(position, to_sun, distance)) * to_sun)

    def full(self, time_s: Array, position: Array, surfaces: Surfaces) -> Array:
        """Acceleration without any shadow, m/s^2, (3, n)."""
        to_sun = self.sun.position(time_s) - position
        square = np.einsum("ij,ij->j", to_sun, to_sun)
        push = PRESSURE_PA * ASTRONOMICAL_UNIT_M**2 / square * surfaces.light_m2_kg
        return np.asarray(-push / np.sqrt(square) * to_sun)

    def share(self, time_s: Array, position: Array) -> Array:
        """Share of the light that the body leaves at places, (n,)."""
        to_sun = self.sun.position(time_s) - position
        distance = np.sqrt(np.einsum("ij,ij->j", to_sun, to_sun))
        return self._share(position, to_sun, distance)

    def _share(self, position: Array, to_sun: Array, distance: Array) -> Array:
        ahead = np.einsum("ij,ij->j", position, to_sun) / distance
        return (self._cone if self.cone else self._cylinder)(position, ahead, distance)

    def _cylinder(self, position: Array, ahead: Array, distance: Array) -> Array:
        beside = np.einsum("ij,ij->j", position, position) - ahead**2
        return np.asarray(np.where((ahead < 0.0) & (beside < self.radius_m**2), 0.0, 1.0))

    def _cone(self, position: Array, ahead: Array, distance: Array) -> Array:
        """Share of the Sun's disk that the body leaves free, at places so far ahead of its center, towards the Sun."""
        radius = np.sqrt(np.einsum("ij,ij->j", position, position))
        sun = np.arcsin(np.minimum(SUN_RADIUS_M / distance, 1.0))
        body = np.arcsin(np.minimum(self.radius_m / radius, 1.0))
        apart = np.arccos(np.clip(-ahead / radius, -1.0, 1.0))
        lit: Array = np.ones_like(radius)
        inside = apart < np.abs(sun - body)
        # the body before the whole disk, or a disk larger than the body with a ring of light left
        lit[inside] = np.maximum(1.0 - (body[inside] / sun[inside]) ** 2, 0.0)
        partly = np.flatnonzero(~inside & (apart < sun + body))
        if partly.size:
            a, b, c = sun[partly], body[partly], apart[partly]
            x = (c * c + a * a - b * b) / (2.0 * c)
            y = np.sqrt(np.maximum(a * a - x * x, 0.0))
            covered = a * a * np.arccos(np.clip(x / a, -1.0, 1.0))
            covered += b * b * np.arccos(np.clip((c - x) / b, -1.0, 1.0)) - c * y
            lit[partly] = 1.0 - covered / (np.pi * a * a)
        return lit
