"""A route that the planner does not have: down to a lower circle, wait there until the slot is right, and up again.

By Hohmann transfers, two-body (Vallado 2013, section 6.3): on a circle of radius r the craft gains n_r - n on the ring.
"""

from __future__ import annotations

import math

import numpy as np

from ringwright.models import frames, orbits
from ringwright.models.flight.integrate import Impulse, Itinerary
from ringwright.optimizer.limits.screening import passes_kept, within_limits
from ringwright.optimizer.problem.options import Options, join
from ringwright.optimizer.problem.problem import Problem
from ringwright.optimizer.routes.route import Question, Route
from ringwright.optimizer.trajectory.course import Course
from ringwright.optimizer.trajectory.start_state import state_in_space

DEPTHS = 0.98, 0.95, 0.9
"""Radii of the circle, in ring radii."""


def _transfer(problem: Problem, radius_m: float) -> tuple[float, float, float]:
    """Time of half an ellipse down to a circle, and the two changes of speed, s and m/s."""
    ring = problem.ring
    semi = 0.5 * (ring.radius_m + radius_m)
    leaves = float(orbits.speed(ring.gm, ring.radius_m, semi)) - ring.speed_m_s
    arrives = float(orbits.speed(ring.gm, radius_m, radius_m) - orbits.speed(ring.gm, radius_m, semi))
    return 0.5 * float(orbits.period(ring.gm, semi)), leaves, arrives


def columns(question: Question) -> Options:
    """One option for each depth and slot."""
    problem, ring = question.problem, question.problem.ring
    parts = []
    for index, group in enumerate(problem.classes):
        if group.start is None or not group.start.on_ring:
            continue
        slots = np.array(problem.free_slots)
        for depth in DEPTHS:
            radius = depth * ring.radius_m
            half_s, leaves, arrives = _transfer(problem, radius)
            rate = float(orbits.rate(ring.gm, radius))
            # both halves of an ellipse take the craft half a turn on
            to_gain = ring.phase(group.start.first_s, slots) - group.start.angle_rad
            to_gain = np.remainder(to_gain + 2.0 * (ring.rate_rad_s * half_s - math.pi), 2.0 * math.pi)
            wait = to_gain / (rate - ring.rate_rad_s)
            n = slots.size
            whole, begun = np.zeros(n, dtype=np.int64), np.full(n, group.start.first_s)
            parts.append(
                Options(
                    craft_class=whole + index,
                    slot=slots,
                    pad=whole - 1,
                    way=whole - 1,
                    liftoff_s=np.full(n, np.nan),
                    parking_wait_s=wait,
                    passes=whole,
                    revolutions=whole,
                    ring_revolutions=whole,
                    touch_s=begun,
                    burn_s=begun,
                    finish_s=begun + 2.0 * half_s + wait,
                    lead_rad=frames.wrap(to_gain),
                    speed_m_s=np.full(n, ring.speed_m_s),
                    turn_after_s=np.zeros(n),
                    delta_v_m_s=np.full(n, 2.0 * (abs(leaves) + abs(arrives))),
                    lowest_m=np.full(n, radius),
                    highest_m=np.full(n, ring.radius_m),
                )
            )
    options = within_limits(problem, join(parts), problem.scenario.limits.finish_within_s)
    return options.take(~passes_kept(problem, options))


def course(problem: Problem, options: Options, row: int, finite: bool) -> Course:
    """Two burns down, two burns up."""
    one, ring = options.one(row), problem.ring
    orbit = problem.classes[one.craft_class].craft.orbit
    assert orbit is not None
    half_s, leaves, arrives = _transfer(problem, one.lowest_m)
    down_s, up_s = one.burn_s + half_s, one.burn_s + half_s + one.parking_wait_s
    impulses = (
        Impulse(one.burn_s, 0.0, leaves),
        Impulse(down_s, 0.0, arrives),
        Impulse(up_s, 0.0, -arrives),
        Impulse(up_s + half_s, 0.0, -leaves),
    )
    position, velocity = state_in_space(problem, orbit, True, one.burn_s)
    return Course(
        itinerary=Itinerary.through_turn(one.burn_s, position, velocity, impulses, ring),
        insertion_s=None,
        screened_from_s=one.burn_s,
        periapsis_m=one.lowest_m,
        must_burn=False,
        plane=one.slot // ring.slots,
        waits_between=(1, 2),
    )


ROUTE = Route(
    name="waiting circle", words=("wait", "on a lower circle"), begins="space", columns=columns, course=course
)
