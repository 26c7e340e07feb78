"""A site on a turning body and an orbit plane that precesses.

The body is a sphere (a geodetic latitude should be made geocentric first: at 45 deg on the Earth the two differ by
0.19 deg), the ascent is instantaneous, and the launch plane is that of the liftoff. Valid for any latitude, any
inclination in [0, pi], and bodies that turn forward, backward or not at all.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from .arrays import Array
from .errors import InputError
from .ring import Ring
from .scenario import Body, Pad

# angles below this (6 micrometers on the Earth's surface) are rounding, not geometry
SAME_PLANE_RAD = 1e-12


@dataclass(frozen=True, kw_only=True)
class SiteAndPlane:
    """A turning site and a drifting plane: all that a launch window depends on.

    Args:
        latitude_rad: geocentric latitude of the site, in [-pi/2, pi/2].
        site0_rad: right ascension of the site at time 0 (prime meridian plus longitude).
        spin_rad_s: rotation rate of the body, negative for backward, 0 for none.
        inclination_rad: of the plane, in [0, pi].
        node0_rad: right ascension of the ascending node at time 0.
        node_rate_rad_s: its drift.

    Raises:
        InputError: latitude or inclination out of range, or a value that is not finite.
    """

    latitude_rad: float
    site0_rad: float
    spin_rad_s: float
    inclination_rad: float
    node0_rad: float = 0.0
    node_rate_rad_s: float = 0.0

    def __post_init__(self) -> None:
        values = (self.site0_rad, self.spin_rad_s, self.node0_rad, self.node_rate_rad_s)
        if not all(math.isfinite(value) for value in values):
            raise InputError(f"site and plane need finite angles and rates, not {values}.")
        if not abs(self.latitude_rad) <= math.pi / 2:
            raise InputError(
                f"a latitude of {math.degrees(self.latitude_rad):g} deg is not on a sphere: give -90 to 90 deg."
            )
        if not 0.0 <= self.inclination_rad <= math.pi:
            raise InputError(
                f"an inclination of {math.degrees(self.inclination_rad):g} deg does not exist: give 0 to 180 deg."
            )

    @classmethod
    def of(cls, body: Body, pad: Pad, ring: Ring, plane: int = 0) -> SiteAndPlane:
        """The geometry of one pad and one plane of the ring."""
        return cls(
            latitude_rad=pad.latitude_rad,
            site0_rad=body.prime_meridian_rad + pad.longitude_rad,
            spin_rad_s=body.spin_rad_s,
            inclination_rad=ring.inclination_rad,
            node0_rad=ring.node(0.0, plane),
            node_rate_rad_s=ring.node_rate_rad_s,
        )

    @property
    def relative_rate_rad_s(self) -> float:
        """Rate at which the site moves against the node."""
        return self.spin_rad_s - self.node_rate_rad_s

    def from_node(self, time_s: ArrayLike) -> Array:
        """Right ascension of the site less that of the node, rad, not wrapped."""
        start = self.site0_rad - self.node0_rad
        return np.asarray(start + self.relative_rate_rad_s * np.asarray(time_s, dtype=np.float64))
