"""Who starts together with whom, and who starts too near to a craft in place.

Distances count from the epoch. Craft that start in one place cannot keep the limit at once: they do not count against
one another until they are first outside it. Any other craft that starts inside the limit has no plan.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...models import frames
from ...models import oblate_coast as coast
from .options import F
from .problem import Problem

TOGETHER_M = 1.0
"""Craft this near to one another at the epoch start in one place."""

Mask = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class NearStart:
    """A craft that is to move and starts too near to one that stays: how near, m."""

    craft: str
    kept: str
    distance_m: float


def places(problem: Problem) -> F:
    """Where each class of craft is at the epoch, by its orbit as given, m, (classes, 3); nan on the ground."""
    found = np.full((len(problem.classes), 3), np.nan)
    for index, group in enumerate(problem.classes):
        if group.start is not None and group.craft.orbit is not None:
            orbit, on_ring = group.craft.orbit, group.start.on_ring
            found[index] = coast.point_mass_state(problem.ring, orbit, 0.0, on_ring=on_ring)[0]
    return found


def from_kept_m(problem: Problem) -> F:
    """Distance of each class at the epoch to each craft that stays, m, (classes, kept); nan for those on the ground."""
    ring = problem.ring
    nodes = np.array([ring.node(0.0, plane) for plane in problem.kept_plane.tolist()])
    there = frames.on_circle(ring.radius_m, problem.kept_angle_rad, ring.inclination_rad, nodes).reshape(-1, 3)
    return np.asarray(np.linalg.norm(places(problem)[:, None, :] - there[None, :, :], axis=2))


def with_kept(problem: Problem) -> Mask:
    """Which classes start together with which of those that stay, or left them and are not outside the limit yet."""
    left = [[k.name in group.craft.left_with for k in problem.kept] for group in problem.classes]
    return _together(problem, from_kept_m(problem), left)


def with_classes(problem: Problem) -> Mask:
    """Which classes start together with which, (classes, classes)."""
    here = places(problem)
    left = [
        [bool(set(b.names) & set(a.craft.left_with) or set(a.names) & set(b.craft.left_with)) for b in problem.classes]
        for a in problem.classes
    ]
    return _together(problem, np.linalg.norm(here[:, None, :] - here[None, :, :], axis=2), left)


def _together(problem: Problem, apart_m: F, left: list[list[bool]]) -> Mask:
    """Who is in one place, or left it together and is not outside the limit yet."""
    inside = apart_m < problem.scenario.limits.separation_m
    return np.asarray((apart_m <= TOGETHER_M) | (np.array(left, dtype=bool).reshape(apart_m.shape) & inside))


def too_near(problem: Problem) -> Mask:
    """Which classes start inside the limit of which of those that stay, other than together with them."""
    inside = from_kept_m(problem) < problem.scenario.limits.separation_m
    return np.asarray(inside & ~with_kept(problem))


def nearest_start(problem: Problem) -> NearStart | None:
    """The nearest of the starts inside the limit; None where there is none."""
    bad = too_near(problem)
    if not bad.any():
        return None
    apart = np.where(bad, from_kept_m(problem), np.inf)
    row, column = np.unravel_index(int(np.argmin(apart)), apart.shape)
    return NearStart(
        craft=problem.classes[int(row)].names[0],
        kept=problem.kept[int(column)].name,
        distance_m=float(apart[row, column]),
    )
