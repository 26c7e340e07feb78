"""What leaving planes tilted would save: the same aim planned and flown once more with a wider tolerance of tilt."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ...models.deadline import poll
from ..catalogue.catalogue import catalogue
from ..outcome import Plan
from ..problem.problem import Problem
from ..routes.drifted_plane import drift_of
from .objectives import Chosen
from .selection import Selection

STEP_RAD = math.radians(0.05)
"""Tolerances are named in steps of this."""

WORTH_M_S = 0.5
"""A saving below this is not worth a sentence."""


def tilt_price(selection: Selection, best: Chosen, plan: Plan) -> str:
    """Say what leaving the planes of a plan as they drift would save; empty where nobody turns them or it is little.

    Args:
        best, plan: the plan, and what it comes to as flown.

    Raises:
        EndedError: time ran out.
    """
    problem = selection.made.problem
    turned, greatest = _tilts(problem, best)
    if not turned:
        return ""
    poll()
    tolerance = STEP_RAD * math.ceil(greatest / STEP_RAD)
    scenario = problem.scenario
    wider = replace(scenario, ring=replace(scenario.ring, tilt_tolerance_rad=tolerance))
    other = Selection(catalogue(replace(problem, scenario=wider)))
    chosen = other.best((scenario.minimize,))
    if chosen is None:
        return ""
    saves = plan.delta_v_m_s - other.flyer.plan(chosen.options).delta_v_m_s
    if saves < WORTH_M_S:
        return ""
    who = f"{turned} craft turn their planes" if turned > 1 else "1 craft turns its plane"
    return (
        f"{math.degrees(tolerance):.2f} deg of tilt left on purpose (ring.tilt_tolerance) would save {saves:.1f} m/s "
        f"in all, planned and flown: {who} back for it."
    )


def _tilts(problem: Problem, best: Chosen) -> tuple[int, float]:
    """How many craft in space turn their planes back, and the greatest tilt that would be left without, rad."""
    turned, greatest = 0, 0.0
    ring, body = problem.ring, problem.scenario.body
    for index, group in enumerate(problem.classes):
        orbit, start = group.craft.orbit, group.start
        own = best.options.take((best.options.craft_class == index) & (best.options.way < 0))
        if orbit is None or start is None or not start.touches or not len(own):
            continue
        back = drift_of(body, ring, start, orbit, own, problem.scenario.ring.tilt_tolerance_rad)
        turned += int(np.count_nonzero(back))
        apart = np.abs(drift_of(body, ring, start, orbit, own.take(back != 0.0), 0.0))
        greatest = max(greatest, float(apart.max(initial=0.0)))
    return turned, greatest
