"""A craft on an inclined ring phases where planes cross, and turns its plane back in the same burns.

Planes of one inclination and slightly different nodes cross farthest from the equator. A craft on the ring may wait
until it comes by there, half a turn at most, and begin: both burns of the phasing, at one place, then turn all of the
plane (`drifted_plane.py`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from ...models.oblateness import apsis_lag
from ...models.orbits import semi_major_from_speed
from ..problem.detail import Detail, F
from ..problem.in_space import Standing
from ..problem.options import Option, Options, join
from ..problem.problem import CraftClass, Problem
from ..trajectory.course import Course
from ..trajectory.start_state import state_in_space
from ..trajectory.tangent import Begun, ring_burns, tangent_course
from .drifted_plane import drift_of, turn_back
from .rephase import phasing_options, turned_burns
from .route import Question, Route, row_of


@dataclass(frozen=True, kw_only=True)
class Begins(Detail):
    """When each craft comes by the crossing where it begins to phase, s."""

    begins_s: F

    def burns(self, problem: Problem, options: Options, size_m_s: F, time_s: F) -> tuple[F, F]:
        """Both burns of the phasing, longer by their parts across."""
        along = size_m_s[:, 1] + size_m_s[:, 2]
        longer = options.delta_v_m_s / np.where(along > 0.0, along, 1.0)
        size = size_m_s.copy()
        size[:, 1:3] *= longer[:, None]
        return size, time_s


def crossings(problem: Problem, group: CraftClass) -> tuple[Standing, ...]:
    """A craft on the ring as it stands the next times that it is farthest from the equator, north and south.

    None where the planes of phasing orbits do not drift from the ring's.
    """
    ring, start = problem.ring, group.start
    if start is None or not start.on_ring or ring.node_rate_rad_s == 0.0 or ring.inclination_rad == 0.0:
        return ()
    found = []
    for highest in (0.5 * math.pi, 1.5 * math.pi):
        ahead = (highest - start.angle_rad) % (2.0 * math.pi)
        found.append(replace(start, first_s=start.first_s + ahead / ring.rate_rad_s, angle_rad=start.angle_rad + ahead))
    return tuple(sorted(found, key=lambda one: one.first_s))


def columns(question: Question) -> Options:
    """Options of craft on the ring that begin to phase where planes cross, of those whose planes have to be turned."""
    problem = question.problem
    parts = []
    for index, group in enumerate(problem.classes):
        plane = 0 if group.craft.orbit is None else group.craft.orbit.plane
        own = question.slots_of(plane)
        for there in crossings(problem, group):
            moved = partial(_folded, problem, group, there)
            parts.append(phasing_options(question, index, replace(group, start=there), own, moved))
    return join(parts)


def _folded(problem: Problem, group: CraftClass, there: Standing, options: Options) -> Options:
    """Phasing options from a crossing with the part across in their burns; those without one are left out."""
    start, orbit = group.start, group.craft.orbit
    assert start is not None
    assert orbit is not None
    body, ring, tolerance = problem.scenario.body, problem.ring, problem.scenario.ring.tilt_tolerance_rad
    back = drift_of(body, ring, there, orbit, options, tolerance)
    options = options.take((back != 0.0) & (options.revolutions > 0))
    options = replace(options, touch_s=np.full(len(options), start.first_s))
    return options.with_table(Begins(begins_s=np.full(len(options), there.first_s)))


def course(problem: Problem, options: Options, row: int, finite: bool = False) -> Course:
    """A wait on the ring, and the two burns of the phasing with their parts across."""
    one, group = options.one(row), problem.classes[options.craft_class[row]]
    start, orbit = group.start, group.craft.orbit
    if start is None or orbit is None:
        raise ValueError("only a craft in space begins where planes cross")
    ring, body = problem.ring, problem.scenario.body
    aside_s = min(_aside_s(problem, one), one.burn_s - start.first_s)
    position, velocity = state_in_space(problem, orbit, True, start.first_s)
    begun = Begun(
        start_s=start.first_s,
        position=position,
        velocity=velocity,
        burn_s=one.burn_s - aside_s,
        arrival_speed_m_s=start.speed_m_s,
        speed_m_s=one.speed_m_s,
        touch_m=start.touch_m,
        must_burn=False,
    )
    shifted = replace(one, burn_s=one.burn_s - aside_s, finish_s=one.finish_s - aside_s)
    done = ring_burns(problem, shifted, begun)
    turn = turn_back(body, ring, start, orbit, row_of(options, row), problem.scenario.ring.tilt_tolerance_rad)
    plane = turned_burns(problem, shifted, begun, done, turn, apart=False)
    return tangent_course(problem, shifted, begun, done, plane, finite=finite)


def _aside_s(problem: Problem, one: Option) -> float:
    """How long before the crossing the phasing begins, so that it ends as long after: at its apsis both times, which
    has turned meanwhile."""
    ring = problem.ring
    semi = float(semi_major_from_speed(ring.gm, ring.radius_m, one.speed_m_s))
    eccentricity = abs(ring.radius_m - semi) / semi
    lag = apsis_lag(problem.scenario.body, semi, eccentricity, ring.inclination_rad)
    return 0.5 * lag * (one.finish_s - one.turn_after_s - one.burn_s)


ROUTE = Route(
    name="shift",
    words=("shift", "along the ring"),
    begins="space",
    columns=columns,
    course=course,
    may_serve=lambda problem: any(crossings(problem, group) for group in problem.classes),
)
