"""Drag in air that turns with the body: a = -rho / 2 (Cd A / m) |w| w, w the velocity against the air.

The density is that of layers, each exponential in the altitude (Vallado 2013, section 8.6.2 and table 8-4). Altitude is
counted from the equatorial radius, as everywhere here: over the Earth's poles, where the ground is 21 km lower, the air
is in truth thinner by up to a third. No day side and night side, no winds.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import FlightError
from ..scenario import Body
from ..surroundings import AirLayer
from .forces import Surfaces

Array = NDArray[np.float64]


COMES_DOWN = 0.1
"""Drag of this share of a craft's weight ends its flight: it comes down within a turn."""


@dataclass(frozen=True, kw_only=True)
class Air:
    """Layered air over a body.

    Args:
        layers: from below upward; the lowest is carried on downward, the highest upward.
        radius_m: from which altitudes count.
        spin_rad_s: how fast the air turns about the pole.
        factor: on every density, such as for the Sun's activity.
        gm: of the body, m^3/s^2, for the weight.
    """

    layers: tuple[AirLayer, ...]
    radius_m: float
    spin_rad_s: float
    factor: float = 1.0
    gm: float = math.inf

    @staticmethod
    def of(body: Body, factor: float = 1.0) -> Air | None:
        """The air of a body; None where no density is known."""
        if not body.air:
            return None
        return Air(layers=body.air, radius_m=body.radius_m, spin_rad_s=body.spin_rad_s, factor=factor, gm=body.gm)

    @property
    def name(self) -> str:
        """As it is printed."""
        return "drag"

    def density(self, altitude_m: Array) -> Array:
        """Density, kg/m^3, at altitudes, m."""
        base, density, scale = self._columns
        layer = np.clip(np.searchsorted(base, altitude_m, side="right") - 1, 0, base.size - 1)
        return np.asarray(self.factor * density[layer] * np.exp((base[layer] - altitude_m) / scale[layer]))

    def acceleration(self, time_s: Array, position: Array, velocity: Array, surfaces: Surfaces) -> Array:
        """Acceleration, m/s^2, (3, n).

        Raises:
            FlightError: a craft comes down (see `COMES_DOWN`); to fly on would take ever shorter steps.
        """
        radius = np.sqrt(np.einsum("ij,ij->j", position, position))
        wind = velocity.copy()
        wind[0] += self.spin_rad_s * position[1]
        wind[1] -= self.spin_rad_s * position[0]
        speed = np.sqrt(np.einsum("ij,ij->j", wind, wind))
        strength = 0.5 * self.density(radius - self.radius_m) * surfaces.drag_m2_kg * speed
        if np.any(strength * speed * radius**2 > COMES_DOWN * self.gm):
            raise FlightError("a craft comes down: drag is more than a tenth of its weight")
        return np.asarray(-strength * wind)

    @functools.cached_property
    def _columns(self) -> tuple[Array, Array, Array]:
        base, density, scale = np.array(
            [(one.altitude_m, one.density_kg_m3, one.scale_height_m) for one in self.layers]
        ).T
        return base, density, scale
