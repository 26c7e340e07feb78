"""Patterns of craft in several planes: where they are, how near they come to one another.

A pattern total/planes/phasing has total / planes craft in each of its planes, evenly spaced unless their places in a
plane are listed, the planes evenly spread in node, and each plane's craft ahead of those of the plane before by
phasing / total of a turn (Walker 1984, *Satellite constellations*, J. Brit. Interplanet. Soc. 37). All orbits are
circles of one radius and inclination, and the figure depends on how far the craft have turned: ``turn_rad`` is added to
every argument of latitude. Angles here are central angles, so they hold at any radius.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from .arrays import Array
from .errors import InputError
from .ring import Ring
from .units import TWO_PI


@dataclass(frozen=True, kw_only=True)
class Pattern:
    """A total/planes/phasing pattern; craft are numbered plane by plane, slot by slot.

    Args:
        total: craft in all, a multiple of ``planes``.
        planes: planes, evenly spread over ``spread_rad`` of node.
        phasing: in units of 1/total of a turn, from 0 to planes - 1.
        inclination_rad: of all planes, in [0, pi].
        ahead_rad: how far each craft of a plane is ahead of its first; empty where they are evenly spaced.
        spread_rad: a whole turn for Walker's delta patterns, half a turn for planes that cross near the poles.

    Raises:
        InputError: a total that the planes do not divide, or a phasing out of range.
    """

    total: int
    planes: int
    phasing: int
    inclination_rad: float
    spread_rad: float = TWO_PI
    ahead_rad: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if self.planes < 1 or self.total < 1 or self.total % self.planes:
            raise InputError(
                f"{self.total} craft cannot be spread evenly over {self.planes} planes: "
                f"give a total that is a multiple of the number of planes."
            )
        if not 0 <= self.phasing < self.planes:
            raise InputError(
                f"a phasing of {self.phasing} does not exist for {self.planes} planes: give 0 to {self.planes - 1}."
            )

    @classmethod
    def of(cls, ring: Ring) -> Pattern:
        """The pattern of all slots of a ring."""
        return cls(
            total=ring.planes * ring.slots,
            planes=ring.planes,
            phasing=ring.phasing,
            inclination_rad=ring.inclination_rad,
            spread_rad=ring.spread_rad,
            ahead_rad=ring.pattern_rad,
        )

    @property
    def slots(self) -> int:
        """Craft in each plane."""
        return self.total // self.planes

    def nodes(self) -> Array:
        """Right ascension of each craft's node less that of plane 0, rad, shape (total,)."""
        return np.repeat(np.arange(self.planes) * (self.spread_rad / self.planes), self.slots)

    def arguments(self) -> Array:
        """Argument of latitude of each craft less that of slot 0 of plane 0, rad, shape (total,), not wrapped."""
        plane, slot = np.divmod(np.arange(self.total), self.slots)
        start = TWO_PI * plane * self.phasing / self.total
        if self.ahead_rad:
            return np.asarray(start + np.asarray(self.ahead_rad)[slot])
        return np.asarray(start + TWO_PI * slot / self.slots)

    def directions(self, turn_rad: ArrayLike = 0.0) -> Array:
        """Unit vectors to all craft, shape (..., total, 3), for turns of shape (...)."""
        angle = self.arguments() + np.asarray(turn_rad, dtype=np.float64)[..., None]
        along, ahead = self._frames()
        return np.asarray(np.cos(angle)[..., None] * along + np.sin(angle)[..., None] * ahead)

    def _frames(self) -> tuple[Array, Array]:
        """Unit vectors to each craft's node and a quarter turn past it, each of shape (total, 3)."""
        node = self.nodes()
        cos_i, sin_i = math.cos(self.inclination_rad), math.sin(self.inclination_rad)
        along = np.stack([np.cos(node), np.sin(node), np.zeros_like(node)], axis=-1)
        ahead = np.stack([-cos_i * np.sin(node), cos_i * np.cos(node), np.full_like(node, sin_i)], axis=-1)
        return along, ahead


def separations(pattern: Pattern) -> tuple[Array, Array]:
    """Least and greatest central angle between every two craft over a turn, rad, each of shape (total, total).

    The cosine of the angle between two craft on equal circles is a constant and one term in twice the turn, so both
    extremes have a closed form. 0 and 0 on the diagonal.
    """
    along, ahead = pattern._frames()
    same, cross = along @ along.T, along @ ahead.T
    both = ahead @ ahead.T
    difference = pattern.arguments()[None, :] - pattern.arguments()[:, None]
    mean = 0.5 * ((same + both) * np.cos(difference) + (cross - cross.T) * np.sin(difference))
    swing = 0.5 * np.hypot(same - both, cross + cross.T)
    least = np.arccos(np.clip(mean + swing, -1.0, 1.0))
    greatest = np.arccos(np.clip(mean - swing, -1.0, 1.0))
    np.fill_diagonal(least, 0.0)
    np.fill_diagonal(greatest, 0.0)
    return least, greatest


def nearest_neighbor(pattern: Pattern, radius_m: float) -> float:
    """Least straight distance between any two craft over a turn, m; infinite for a single craft.

    >>> square = Pattern(total=4, planes=1, phasing=0, inclination_rad=0.5)
    >>> round(nearest_neighbor(square, 1.0), 9)
    1.414213562
    """
    if pattern.total == 1:
        return math.inf
    least, _ = separations(pattern)
    off_diagonal = least[~np.eye(pattern.total, dtype=np.bool_)]
    return 2.0 * radius_m * math.sin(0.5 * float(off_diagonal.min()))
