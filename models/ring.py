"""The ring and its moving slots. Nobody else multiplies a time by the ring's rate.

Under point-mass gravity the slots turn at n = sqrt(GM / R^3) and the nodes stand still. Under an oblate body the rates
are the secular ones of the second zonal harmonic for the mean radius (see ``oblateness.py``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .arrays import Array


@dataclass(frozen=True, kw_only=True)
class Ring:
    """A circular target orbit with equally spaced slots, in one or more planes.

    Args:
        radius_m: (mean) radius R.
        slots: slots in each plane.
        rate_rad_s: rate of the argument of latitude of a slot.
        slot0_rad: argument of latitude of slot 0 of plane 0 at time 0.
        inclination_rad: of all planes.
        node_rad: right ascension of the ascending node of plane 0 at time 0.
        node_rate_rad_s: drift of the nodes.
        planes, phasing, spread_rad: planes evenly spread over ``spread_rad`` of node; slot 0 of each next plane is
            ahead by phasing / (planes * slots) of a turn (Walker 1984).
        gm: gravitational parameter, for the circular speed.
    """

    radius_m: float
    slots: int
    rate_rad_s: float
    slot0_rad: float
    gm: float
    inclination_rad: float = 0.0
    node_rad: float = 0.0
    node_rate_rad_s: float = 0.0
    planes: int = 1
    phasing: int = 0
    spread_rad: float = 2.0 * math.pi

    @property
    def period_s(self) -> float:
        """Time of one turn of a slot, node to node."""
        return 2.0 * math.pi / self.rate_rad_s

    @property
    def speed_m_s(self) -> float:
        """Circular speed sqrt(GM / R)."""
        return math.sqrt(self.gm / self.radius_m)

    @property
    def spacing_rad(self) -> float:
        """Angle between neighboring slots of one plane."""
        return 2.0 * math.pi / self.slots

    def of_plane(self, plane: int) -> Ring:
        """One plane of the ring as a ring by itself."""
        return replace(
            self,
            slot0_rad=self.slot0_rad + 2.0 * math.pi * plane * self.phasing / (self.planes * self.slots),
            node_rad=self.node_rad + self.spread_rad * plane / self.planes,
            planes=1,
            phasing=0,
            spread_rad=0.0,
        )

    def phase(self, time_s: float | Array, slot: int | NDArray[np.int64], plane: int = 0) -> Array:
        """Argument of latitude of a slot, rad, not wrapped; broadcasts over times and slots.

        Slots count on through the planes: those of plane p also go by p times the slots of a plane more.
        """
        in_plane, places = np.asarray(plane) + np.asarray(slot) // self.slots, np.asarray(slot) % self.slots
        start = self.slot0_rad + 2.0 * math.pi * in_plane * self.phasing / (self.planes * self.slots)
        return np.asarray(
            start + places * self.spacing_rad + self.rate_rad_s * np.asarray(time_s),
            dtype=np.float64,
        )

    def node(self, time_s: float, plane: int = 0) -> float:
        """Right ascension of the ascending node of a plane, rad."""
        return self.node_rad + self.spread_rad * plane / self.planes + self.node_rate_rad_s * time_s
