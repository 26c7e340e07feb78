"""The ring and its moving slots. Nobody else multiplies a time by the ring's rate.

Under point-mass gravity the slots turn at n = sqrt(GM / R^3) and the nodes stand still. Under an oblate body the rates
are the secular ones of the second zonal harmonic for the mean radius (see ``oblateness.py``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from .arrays import Array

TURN_RAD = 2.0 * math.pi

SAME_RAD = 1e-9
"""Angles this close are the same place in a pattern of slots."""


@dataclass(frozen=True, kw_only=True)
class Ring:
    """A circular target orbit with its slots, in one or more planes.

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
        pattern_rad: angle of each slot of a plane ahead of its slot 0, ascending; empty where they are equally spaced.
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
    pattern_rad: tuple[float, ...] = ()

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
        """Angle between neighboring slots of one plane, on the mean."""
        return 2.0 * math.pi / self.slots

    @cached_property
    def repeat_rad(self) -> float:
        """Least turn that puts the slots of each plane where slots of it were: a whole one for most patterns.

        >>> ring = Ring(radius_m=1.0, slots=4, rate_rad_s=1.0, slot0_rad=0.0, gm=1.0)
        >>> pairs = replace(ring, pattern_rad=(0.0, 1.0, math.pi, math.pi + 1.0))
        >>> none = replace(ring, pattern_rad=(0.0, 1.0, 2.0, 5.0))
        >>> [round(math.degrees(one.repeat_rad), 6) for one in (ring, pairs, none)]
        [90.0, 180.0, 360.0]
        """
        if not self.pattern_rad:
            return self.spacing_rad
        ahead = np.asarray(self.pattern_rad)
        for step in range(1, self.slots):
            by = float(ahead[step])
            moved = np.sort(np.remainder(ahead + by + SAME_RAD, TURN_RAD)) - SAME_RAD
            if self.slots % step == 0 and np.all(np.abs(moved - ahead) <= SAME_RAD):
                return TURN_RAD * step / self.slots
        return TURN_RAD

    @property
    def nearest_rad(self) -> float:
        """Least angle between two neighboring slots of a plane."""
        if not self.pattern_rad:
            return self.spacing_rad
        return float(np.diff((*self.pattern_rad, TURN_RAD)).min())

    def ahead(self, slot: int | NDArray[np.int64]) -> Array:
        """Angle of slots ahead of slot 0 of their plane, rad; slots count on through the planes."""
        place = np.asarray(slot) % self.slots
        if self.pattern_rad:
            return np.asarray(np.asarray(self.pattern_rad)[place])
        return np.asarray(place * self.spacing_rad, dtype=np.float64)

    def midway(self, slot: int) -> float:
        """Argument of latitude midway between a slot of plane 0 and the next one at time 0, rad in one turn.

        >>> ring = Ring(radius_m=1.0, slots=4, rate_rad_s=1.0, slot0_rad=0.0, gm=1.0)
        >>> [round(math.degrees(ring.midway(slot))) for slot in (0, 3)]
        [45, 315]
        """
        gap = float(self.ahead(slot + 1) - self.ahead(slot)) % TURN_RAD or TURN_RAD
        return float(self.phase(0.0, slot) + 0.5 * gap) % TURN_RAD

    def nearest(self, ahead_rad: float | Array) -> NDArray[np.int64]:
        """The slot of a plane that is nearest to an angle ahead of its slot 0."""
        if not self.pattern_rad:
            return np.asarray(np.rint(np.asarray(ahead_rad) / self.spacing_rad) % self.slots, dtype=np.int64)
        around = np.remainder(ahead_rad, TURN_RAD)
        places = np.append(self.pattern_rad, TURN_RAD)
        above = np.clip(np.searchsorted(places, around), 1, self.slots)
        lower = around - places[above - 1] <= places[above] - around
        return np.asarray(np.where(lower, above - 1, above) % self.slots, dtype=np.int64)

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
        in_plane = np.asarray(plane) + np.asarray(slot) // self.slots
        start = self.slot0_rad + 2.0 * math.pi * in_plane * self.phasing / (self.planes * self.slots)
        return np.asarray(
            start + self.ahead(slot) + self.rate_rad_s * np.asarray(time_s),
            dtype=np.float64,
        )

    def node(self, time_s: float, plane: int = 0) -> float:
        """Right ascension of the ascending node of a plane, rad."""
        return self.node_rad + self.spread_rad * plane / self.planes + self.node_rate_rad_s * time_s
