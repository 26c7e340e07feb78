"""From one plane of the ring into another by a burn where the two cross: dear, and at once.

Planes of one inclination whose nodes lie apart cross on one line; at each of its two ends a craft on the ring may turn
its velocity into the other plane (Vallado 2013, section 6.4). The argument of latitude counts from another node then,
and the craft phases there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from ...models import frames
from ...models.flight.integrate import Impulse, Itinerary
from ...models.planes import turn_delta_v
from ...models.ring import Ring
from ..problem.detail import Detail, F
from ..problem.in_space import Standing
from ..problem.options import Options, join
from ..problem.problem import Problem
from ..trajectory.course import Course
from ..trajectory.differential_correction import IN_PLANE, Unknown
from ..trajectory.start_state import state_in_space
from . import rephase
from .rephase import phasing_options
from .route import Question, Route, row_of


@dataclass(frozen=True, kw_only=True)
class Turns(Detail):
    """When each craft turns into the other plane, before all else, s."""

    turned_s: F

    def burns(self, problem: Problem, options: Options, size_m_s: F, time_s: F) -> tuple[F, F]:
        """The turn comes first, and is what phasing does not cost."""
        size, time, phases = size_m_s.copy(), time_s.copy(), options.revolutions > 0
        arrival, circular = problem.arrival_speed(options), problem.ring.speed_m_s
        first = np.abs(options.speed_m_s - arrival) * phases
        last = np.abs(circular - options.speed_m_s) * phases
        size[:, 0] = options.delta_v_m_s - first - last
        time[:, 0] = self.turned_s
        return size, time


@dataclass(frozen=True, kw_only=True)
class Crossing:
    """Where a craft on the ring may turn into another plane.

    Args:
        time_s: when it next comes by.
        angle_after_rad: argument of latitude then in the other plane.
        turn_rad: angle between the planes.
    """

    time_s: float
    angle_after_rad: float
    turn_rad: float


def crossings(ring: Ring, start: Standing, plane: int, other: int) -> tuple[Crossing, ...]:
    """Both crossings of two planes, the next time that a craft on the ring comes by each.

    Their nodes drift alike, so where they cross does not change in the planes themselves.
    """
    axes = [frames.plane_axes(ring.inclination_rad, ring.node(start.first_s, one)) for one in (plane, other)]
    (first, second, pole), (first_there, second_there, pole_there) = axes
    line = np.cross(pole, pole_there)
    size = float(np.linalg.norm(line))
    if size < 1e-9:
        return ()
    turn = math.atan2(size, float(pole @ pole_there))
    found = []
    for direction in (line / size, -line / size):
        before = math.atan2(float(direction @ second), float(direction @ first))
        after = math.atan2(float(direction @ second_there), float(direction @ first_there))
        wait = (before - start.angle_rad) % (2.0 * math.pi) / ring.rate_rad_s
        found.append(Crossing(time_s=start.first_s + wait, angle_after_rad=after, turn_rad=turn))
    return tuple(sorted(found, key=lambda crossing: crossing.time_s))


def columns(question: Question) -> Options:
    """Options of craft on the ring that turn into another plane where the two cross, and phase there."""
    problem, ring = question.problem, question.problem.ring
    parts = []
    for index, group in enumerate(problem.classes):
        orbit = group.craft.orbit
        if group.start is None or orbit is None or not group.start.on_ring:
            continue
        for plane in range(ring.planes):
            own = [s for s in problem.free_slots if s // ring.slots == plane]
            if plane == orbit.plane or not own:
                continue
            for crossing in crossings(ring, group.start, orbit.plane, plane):
                moved = replace(
                    group,
                    start=replace(group.start, first_s=crossing.time_s, angle_rad=crossing.angle_after_rad),
                    craft=replace(group.craft, orbit=replace(orbit, plane=plane)),
                )
                turned = partial(_turned, problem, group.start.first_s, crossing)
                parts.append(phasing_options(question, index, moved, own, turned))
    return join(parts)


def _turned(problem: Problem, first_s: float, crossing: Crossing, options: Options) -> Options:
    """Phasing options after a turn into another plane, with what the turn costs."""
    n = len(options)
    turn = float(turn_delta_v(problem.ring.speed_m_s, crossing.turn_rad))
    options = replace(options, touch_s=np.full(n, first_s), delta_v_m_s=options.delta_v_m_s + turn)
    return options.with_table(Turns(turned_s=np.full(n, crossing.time_s)))


def course(problem: Problem, options: Options, row: int, finite: bool = False) -> Course:
    """The turn, and from there on what the craft would fly had it been there."""
    ring, index = problem.ring, int(options.craft_class[row])
    group, table = problem.classes[index], options.tables[int(options.route[row])]
    start, orbit = group.start, group.craft.orbit
    if start is None or orbit is None or not isinstance(table, Turns):
        raise ValueError("only a craft in space turns into another plane")
    plane, time = int(options.slot[row]) // ring.slots, float(table.turned_s[options.detail[row]])
    crossing = next(c for c in crossings(ring, start, orbit.plane, plane) if abs(c.time_s - time) < 1e-3)
    there = replace(orbit, plane=plane, angle_rad=crossing.angle_after_rad, at_s=time)
    moved = replace(
        group,
        start=replace(start, first_s=time, angle_rad=crossing.angle_after_rad),
        craft=replace(group.craft, orbit=there),
    )
    classes = (*problem.classes[:index], moved, *problem.classes[index + 1 :])
    after = rephase.course(replace(problem, classes=classes), row_of(options, row), 0, finite)
    _, velocity = state_in_space(problem, orbit, True, time)
    here, turned = after.itinerary.position, after.itinerary.velocity
    parts = frames.to_local(here, velocity, turned - velocity)
    impulses = (Impulse(time, *parts.tolist()), *after.itinerary.impulses)
    unknowns = [Unknown(u.burn + 1 if u.burn >= 0 else u.burn, u.part) for u in after.unknowns]
    if problem.oblate or finite:
        turning = [Unknown(0, "time"), Unknown(0, "cross")]
        unknowns = [*turning, *(unknowns or [Unknown(-1, "radial"), Unknown(-1, "along")])]
    begun = state_in_space(problem, orbit, True, start.first_s)
    return replace(
        after,
        itinerary=Itinerary.through_turn(start.first_s, *begun, impulses, ring),
        screened_from_s=start.first_s,
        unknowns=tuple(dict.fromkeys(unknowns)),
        targets=(*IN_PLANE, "plane") if problem.oblate or finite else after.targets,
        phasing_burn=None if after.phasing_burn is None else after.phasing_burn + 1,
        turning_burn=0,
    )


ROUTE = Route(
    name="shift",
    words=("shift", "along the ring"),
    begins="space",
    columns=columns,
    course=course,
    may_serve=lambda problem: problem.ring.planes > 1,
)
