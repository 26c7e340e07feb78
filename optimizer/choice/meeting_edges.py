"""How long before or after a launch that meets another craft the next one is that does not."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..catalogue.from_ground import launched
from ..problem.close_approaches import meets_slot
from ..problem.options import F, Options
from ..problem.problem import Problem
from ..routes.route import Launches, Question

FIRST_S, DOUBLINGS = 1.0, 12
"""A meeting is over so soon, or after twice that, and so on, at most so many times; 4096 s are taken for its end."""

AT_ONCE, ROUNDS = 5, 6
"""Halvings for which all moments are asked together, and how often: 30 in all, to some microseconds."""


def clear_of(problem: Problem, one: Options, slot: int) -> F:
    """Liftoffs just before and just after a launch at which it no longer meets another craft in a slot: (2,), s.

    Several halvings are asked at once: all moments that they could lead to.

    Args:
        one: the launch, a single option.
        slot: whose craft it meets.
    """
    liftoff, signs = float(one.liftoff_s[0]), np.array([[-1.0], [1.0]])
    steps = FIRST_S * 2.0 ** np.arange(DOUBLINGS)
    clear = ~_meet_at(problem, one, liftoff + signs * steps, slot)
    high = np.where(clear.any(axis=1), steps[np.argmax(clear, axis=1)], 2.0 * steps[-1])[:, np.newaxis]
    low = np.zeros((2, 1))
    parts = np.arange(1, 2**AT_ONCE) / 2**AT_ONCE
    for _ in range(ROUNDS):
        asked = low + (high - low) * parts
        meets = _meet_at(problem, one, liftoff + signs * asked, slot)
        for way in range(2):
            begin, end = 0, parts.size + 1
            while end - begin > 1:
                middle = (begin + end) // 2
                begin, end = (middle, end) if meets[way, middle - 1] else (begin, middle)
            width = (high[way] - low[way]) / (parts.size + 1)
            low[way], high[way] = low[way] + width * begin, low[way] + width * end
    edges: F = (liftoff + signs * high).ravel()
    return edges


def _meet_at(problem: Problem, one: Options, liftoff_s: F, slot: int) -> NDArray[np.bool_]:
    """Whether a launch meets another craft in a slot when it lifts off at other moments; of their shape."""
    winding = (int(one.revolutions[0]), int(one.ring_revolutions[0]))
    way, moments = int(one.way[0]), liftoff_s.ravel()
    asked = Launches(
        way=way,
        liftoff_s=moments,
        slot=np.full(moments.size, one.slot[0]),
        touch=problem.touch(problem.ways[way].arrival_speed_m_s),
        wanted=lambda k, m: (k, m) == winding,
        prune=False,
    )
    option = launched(int(one.route[0]), Question(problem=problem, launches=asked))
    separation = problem.scenario.limits.separation_m
    hit = meets_slot(option, problem.ring, problem.arrival_speed(option), slot, separation)
    # of several choices at one moment the first counts
    lifted, first = np.unique(option.liftoff_s, return_index=True)
    return np.isin(liftoff_s, lifted[hit[first]])
