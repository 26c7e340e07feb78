"""Patterns of craft in several planes: where they are, how near they come, whom they see, what they cover.

A pattern total/planes/phasing has total / planes craft evenly spaced in each of its planes, the planes evenly spread in
node, and each plane's craft ahead of those of the plane before by phasing / total of a turn (Walker 1984, *Satellite
constellations*, J. Brit. Interplanet. Soc. 37). All orbits are circles of one radius and inclination, and the figure
depends on how far the craft have turned: ``turn_rad`` is added to every argument of latitude. Angles here are central
angles, so they hold at any radius.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .errors import InputError
from .ring import Ring

Array = NDArray[np.float64]
TWO_PI = 2.0 * math.pi

# points whose hull is thinner than this, in units of the sphere's radius, lie in one plane
FLAT = 1e-9
# looks at the figure over one period of its own symmetry, and halvings of the best look's neighborhood
LOOKS = 48
POLISHED = 3
GOLDEN_STEPS = 40
GOLDEN = 0.5 * (math.sqrt(5.0) - 1.0)


@dataclass(frozen=True, kw_only=True)
class Pattern:
    """A total/planes/phasing pattern; craft are numbered plane by plane, slot by slot.

    Args:
        total: craft in all, a multiple of ``planes``.
        planes: planes, evenly spread over ``spread_rad`` of node.
        phasing: in units of 1/total of a turn, from 0 to planes - 1.
        inclination_rad: of all planes, in [0, pi].
        spread_rad: a whole turn for Walker's delta patterns, half a turn for planes that cross near the poles.

    Raises:
        InputError: a total that the planes do not divide, or a phasing out of range.
    """

    total: int
    planes: int
    phasing: int
    inclination_rad: float
    spread_rad: float = TWO_PI

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
        )

    @property
    def slots(self) -> int:
        """Craft in each plane."""
        return self.total // self.planes

    @property
    def notation(self) -> str:
        """total/planes/phasing.

        >>> Pattern(total=24, planes=3, phasing=1, inclination_rad=1.0).notation
        '24/3/1'
        """
        return f"{self.total}/{self.planes}/{self.phasing}"

    @property
    def symmetry_rad(self) -> float:
        """Turn after which the figure is the same but for a rotation about the pole.

        Each plane repeats after its own spacing. In a pattern spread over a whole turn, turning every craft by the
        phasing carries each plane into the place of the next as well.
        """
        units = math.gcd(self.planes, self.phasing) if self.spread_rad == TWO_PI else self.planes
        return TWO_PI * units / self.total

    def nodes(self) -> Array:
        """Right ascension of each craft's node less that of plane 0, rad, shape (total,)."""
        return np.repeat(np.arange(self.planes) * (self.spread_rad / self.planes), self.slots)

    def arguments(self) -> Array:
        """Argument of latitude of each craft less that of slot 0 of plane 0, rad, shape (total,), not wrapped."""
        plane, slot = np.divmod(np.arange(self.total), self.slots)
        return np.asarray(TWO_PI * (slot / self.slots + plane * self.phasing / self.total))

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


def closest_to_center(first_m: ArrayLike, second_m: ArrayLike) -> tuple[Array, Array]:
    """How near the straight line between two craft passes the center, and where on it.

    Args:
        first_m, second_m: positions from the center, shape (..., 3).

    Returns:
        Least distance, m, and its place as a fraction of the way from first to second in [0, 1], each of shape (...)
        (Vallado, *Fundamentals of Astrodynamics and Applications*, section on sight and light). 0 where both are one.
    """
    first, second = np.asarray(first_m, dtype=np.float64), np.asarray(second_m, dtype=np.float64)
    way = second - first
    length = np.sum(way * way, axis=-1)
    along = -np.sum(first * way, axis=-1) / np.where(length > 0.0, length, 1.0)
    fraction = np.clip(along, 0.0, 1.0)
    distance = np.linalg.norm(first + fraction[..., None] * way, axis=-1)
    return np.asarray(distance), np.asarray(fraction)


def in_sight(first_m: ArrayLike, second_m: ArrayLike, clear_of_m: ArrayLike) -> NDArray[np.bool_]:
    """Whether two craft see each other past a sphere (body, or body and atmosphere) of a radius, m; shape (...)."""
    distance, _ = closest_to_center(first_m, second_m)
    return np.asarray(distance >= np.asarray(clear_of_m), dtype=np.bool_)


def grazing_radius(slots: ArrayLike, clear_of_m: ArrayLike) -> Array:
    """Radius of the ring whose neighboring slots just see each other past a sphere: its radius over cos(pi / slots), m.

    Infinite for one or two slots, which never see each other past the center.

    >>> grazing_radius([2, 3, 4], 1.0).round(6).tolist()
    [inf, 2.0, 1.414214]
    """
    count = np.asarray(slots, dtype=np.float64)
    cosine = np.cos(np.pi / np.maximum(count, 3.0))
    return np.where(count > 2.0, np.asarray(clear_of_m) / cosine, np.inf)


def cap_radius(radius_m: ArrayLike, body_radius_m: ArrayLike, elevation_rad: ArrayLike = 0.0) -> Array:
    """Central angle from below a craft to the edge of what sees it at an elevation, rad.

    Law of sines in the triangle of center, observer and craft (Larson and Wertz, *Space Mission Analysis and Design*,
    3rd ed., section 5.2).
    """
    elevation = np.asarray(elevation_rad, dtype=np.float64)
    ratio = np.asarray(body_radius_m, dtype=np.float64) / np.asarray(radius_m, dtype=np.float64)
    return np.asarray(np.arccos(ratio * np.cos(elevation)) - elevation)


def radius_for_cap(cap_rad: ArrayLike, body_radius_m: ArrayLike, elevation_rad: ArrayLike = 0.0) -> Array:
    """Orbit radius from which :func:`cap_radius` is a central angle, m: the inverse of the above.

    Infinite where the cap and the elevation together make a quarter turn or more: no height serves.
    """
    cap, elevation = np.asarray(cap_rad, dtype=np.float64), np.asarray(elevation_rad, dtype=np.float64)
    cosine = np.cos(np.minimum(cap + elevation, 0.5 * np.pi))
    serves = cap + elevation < 0.5 * np.pi
    return np.where(serves, np.asarray(body_radius_m) * np.cos(elevation) / np.where(serves, cosine, 1.0), np.inf)


def street_half_width(cap_rad: ArrayLike, slots: ArrayLike) -> Array:
    """Half width, as a central angle, of the band that one plane's evenly spaced craft cover without a gap, rad.

    cos(half width) = cos(cap) / cos(pi / slots), the street of coverage (Luders 1961); NaN where the caps of neighbors
    do not meet.
    """
    cap, count = np.asarray(cap_rad, dtype=np.float64), np.asarray(slots, dtype=np.float64)
    half = np.pi / count
    meets = (cap >= half) & (count > 2.0)
    ratio = np.cos(cap) / np.where(meets, np.cos(half), 1.0)
    return np.where(meets, np.arccos(np.clip(ratio, -1.0, 1.0)), np.nan)


@dataclass(frozen=True, kw_only=True)
class Coverage:
    """The place on the sphere that is farthest from every craft, at its worst moment.

    Args:
        radius_rad: central angle from there to the nearest craft: the cap each craft needs for cover without a gap.
        turn_rad: how far the craft have turned then.
    """

    radius_rad: float
    turn_rad: float


def largest_gap(directions: Array) -> float:
    """Greatest central angle that any point of the sphere has from the nearest of some points, rad.

    Each face of the convex hull carries an empty cap through its corners (the spherical Delaunay triangulation); the
    largest of these caps is the gap (Brown 1979, *Voronoi diagrams from convex hulls*). Where the points lie in one
    plane or crowd on one side of the sphere, the farthest point may also be opposite the middle of two of them.

    Args:
        directions: unit vectors, shape (n, 3).

    >>> round(math.degrees(largest_gap(np.vstack([np.eye(3), -np.eye(3)]))), 6)
    54.73561
    """
    from scipy.spatial import ConvexHull

    middle = directions.mean(axis=0)
    _, thickness, axes = np.linalg.svd(directions - middle)
    if directions.shape[0] > 3 and thickness[2] > FLAT:
        faces = ConvexHull(directions).equations
        nearest = -faces[:, 3]
        if float(nearest.min()) > 0.0:
            return math.acos(min(1.0, float(nearest.min())))
        candidates = faces[:, :3]
    else:
        candidates = np.array([axes[2], -axes[2]])
    first, second = np.triu_indices(directions.shape[0])
    opposite = -(directions[first] + directions[second])
    length = np.linalg.norm(opposite, axis=-1)
    opposite = opposite[length > FLAT] / length[length > FLAT, None]
    candidates = np.vstack([candidates, opposite])
    closest = np.max(candidates @ directions.T, axis=1)
    return math.acos(max(-1.0, min(1.0, float(closest.min()))))


def worst_coverage(pattern: Pattern) -> Coverage:
    """Largest gap of a pattern at its worst moment (Ballard 1980, *Rosette constellations of Earth satellites*).

    A search, not a proof: 48 looks over one period of the figure's symmetry, the worst three polished by golden
    section.
    """
    step = pattern.symmetry_rad / LOOKS
    turns = np.arange(LOOKS) * step

    def gap(turn: float) -> float:
        return largest_gap(pattern.directions(turn))

    gaps = np.array([gap(float(turn)) for turn in turns])
    worst = Coverage(radius_rad=0.0, turn_rad=0.0)
    for index in np.argsort(gaps)[::-1][:POLISHED]:
        low, high = float(turns[index]) - step, float(turns[index]) + step
        inner, outer = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
        at_inner, at_outer = gap(inner), gap(outer)
        for _ in range(GOLDEN_STEPS):
            if at_inner >= at_outer:
                high, outer, at_outer = outer, inner, at_inner
                inner = high - GOLDEN * (high - low)
                at_inner = gap(inner)
            else:
                low, inner, at_inner = inner, outer, at_outer
                outer = low + GOLDEN * (high - low)
                at_outer = gap(outer)
        for turn, radius in ((inner, at_inner), (outer, at_outer), (float(turns[index]), float(gaps[index]))):
            if radius > worst.radius_rad:
                worst = Coverage(radius_rad=radius, turn_rad=turn)
    return worst
