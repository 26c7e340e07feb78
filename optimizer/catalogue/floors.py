"""What no plan gets below, whatever the moments of liftoff: a bound where not all of them could be examined."""

from __future__ import annotations

import math

import numpy as np

from ...models.craft import propellant
from ...models.scenario import Aim
from ..problem.liftoff_windows import windows
from ..problem.problem import CraftClass, Problem
from ..routes import registry
from .catalogue import Catalogue


def floor(made: Catalogue, aim: Aim) -> float:
    """A lower bound of every plan's total delta-v, worst craft or propellant (m/s, kg), or of its finish (s).

    A launch pays for the arrival at the ring at least, wherever its slot is then; launches from a pad stand a
    turnaround apart. Craft in space are taken at their cheapest. With carriers nothing is known.
    """
    problem = made.problem
    if problem.aboard:
        return -math.inf
    if aim == "finish":
        return soonest_s(problem)
    least = [_least_m_s(made, index, group) for index, group in enumerate(problem.classes)]
    counts = [group.count for group in problem.classes]
    if aim == "worst_delta_v":
        return max(least, default=0.0)
    if aim == "propellant":
        least = [
            float(propellant(group.craft, np.array([each]))[0])
            for group, each in zip(problem.classes, least, strict=True)
        ]
    return math.fsum(each * count for each, count in zip(least, counts, strict=True))


def _least_m_s(made: Catalogue, index: int, group: CraftClass) -> float:
    """The least delta-v of one craft of a class."""
    problem, options = made.problem, made.options
    own = options.craft_class == index
    if group.start is not None:
        return float(options.delta_v_m_s[own].min(initial=math.inf))
    apart = [code for code, route in enumerate(registry.ROUTES) if not route.arrives_by_way]
    launched = float(options.delta_v_m_s[own & np.isin(options.route, apart)].min(initial=math.inf))
    return min(launched, least_from_ground(problem))


def least_from_ground(problem: Problem) -> float:
    """What a launch pays at least, wherever its slot is, m/s: entry and arrival in place; infinite without a way."""
    found = math.inf
    for way in problem.ways:
        stage = problem.scenario.pads[way.pad].upper_stage
        paid = 0.0 if stage is None else stage.delta_v_m_s
        whole = way.entry_delta_v_m_s + problem.touch(way.arrival_speed_m_s).level_cost
        found = min(found, max(whole - paid, 0.0))
    return found


def soonest_s(problem: Problem) -> float:
    """When the last launch can be in its slot at the soonest, each pad as dense as its turnaround allows; infinite
    where no way leads up.
    """
    found = 0.0
    if problem.launches and not problem.ways:
        return math.inf
    if problem.launches:
        pads = sorted({way.pad for way in problem.ways})
        turnaround = min(problem.scenario.pads[pad].turnaround_s for pad in pads)
        dense = (math.ceil(problem.launches / len(pads)) - 1) * turnaround
        earliest = min(windows(problem)[pad][0] for pad in pads)
        found = earliest + dense + min(way.after_s for way in problem.ways)
    return found
