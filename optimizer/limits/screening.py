"""What an option must keep to by itself: propellant, time, floor and ceiling, distance to craft that stay."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ...models.arrays import Mask
from ..problem.close_approaches import meets_any_slot, meets_kept
from ..problem.finite_burns import with_engines
from ..problem.options import Options
from ..problem.problem import Problem
from ..problem.starts import too_near, with_kept
from . import registry
from .limit import Limit

ON_TIME_S = 1e-6
"""A craft that is in its slot this soon after it may first burn has been there all the time."""


def within_limits(problem: Problem, options: Options, finish_s: float) -> Options:
    """The options that keep the limits by themselves, what their engine can do, and a latest finish.

    What the length of burns costs is added on the way.
    """
    options = with_engines(problem, options)
    return options.take(_kept(registry.LIMITS, problem, options, finish_s))


def safe(problem: Problem, options: Options) -> Mask:
    """Mask of options that keep to floor and ceiling, and whatever else is asked of the path alone."""
    return _kept([limit for limit in registry.LIMITS if limit.of_path], problem, options, math.inf)


def _kept(limits: Sequence[Limit], problem: Problem, options: Options, finish_s: float) -> Mask:
    keep = np.ones(len(options), dtype=bool)
    for limit in limits:
        own = limit.keeps(problem, options, finish_s)
        if own is not None:
            keep &= own
    return keep


def passes_kept(problem: Problem, options: Options) -> Mask:
    """Mask of options that come too close to a craft which stays in the ring, from the epoch or the drop on."""
    separation = problem.scenario.limits.separation_m
    if separation <= 0.0 or not problem.kept or not len(options):
        return np.zeros(len(options), dtype=bool)
    in_space = options.way < 0
    on_ring = problem.starts_on_ring(options.craft_class)
    hit = meets_kept(
        options,
        problem.ring,
        problem.arrival_speed(options),
        on_ring,
        problem.kept_angle_rad,
        problem.kept_plane,
        separation,
        with_kept(problem)[options.craft_class] & in_space[:, np.newaxis],
    )
    # a craft in its place does not move, however near to others that is
    moves = in_space & ~(on_ring & (options.finish_s <= options.touch_s + ON_TIME_S))
    return np.asarray(hit | (moves & too_near(problem)[options.craft_class].any(axis=1)))


def passes_any_slot(problem: Problem, options: Options) -> Mask:
    """Mask of options that come too close to where anybody else is to be, now or later."""
    return meets_any_slot(
        options,
        problem.ring,
        problem.arrival_speed(options),
        problem.starts_on_ring(options.craft_class),
        problem.scenario.limits.separation_m,
    )
