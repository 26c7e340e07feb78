"""What no plan gets below, whatever the moments of liftoff: a bound where not all of them could be examined."""

from __future__ import annotations

import math

import numpy as np

from ...models.craft import propellant
from ...models.scenario import Aim
from .catalogue import Catalogue
from .liftoff_windows import windows
from .problem import CraftClass, Problem


def floor(made: Catalogue, aim: Aim) -> float:
    """A lower bound of every plan's total delta-v, worst craft or propellant (m/s, kg), or of its finish (s).

    A launch pays for the arrival at the ring at least, wherever its slot is then; launches from a pad stand a
    turnaround apart. Craft in space are taken at their cheapest. With carriers nothing is known.
    """
    problem = made.problem
    if problem.aboard:
        return -math.inf
    if aim == "finish":
        return _soonest_s(problem)
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
    launched = [float(options.delta_v_m_s[own & (options.flight >= 0)].min(initial=math.inf))]
    for way in problem.ways:
        stage = problem.scenario.pads[way.pad].upper_stage
        paid = 0.0 if stage is None else stage.delta_v_m_s
        whole = way.entry_delta_v_m_s + problem.touch(way.arrival_speed_m_s).level_cost
        launched.append(max(whole - paid, 0.0))
    return min(launched)


def _soonest_s(problem: Problem) -> float:
    """When the last launch can be in its slot at the soonest, each pad as dense as its turnaround allows."""
    found = 0.0
    if problem.launches:
        pads = sorted({way.pad for way in problem.ways})
        turnaround = min(problem.scenario.pads[pad].turnaround_s for pad in pads)
        dense = (math.ceil(problem.launches / len(pads)) - 1) * turnaround
        earliest = min(windows(problem)[pad][0] for pad in pads)
        found = earliest + dense + min(way.after_s for way in problem.ways)
    return found
