"""Longest time of one craft from first reaching the ring to being in its slot."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ..problem.options import Options
from ..problem.phasing import LIMIT_SLACK
from ..problem.problem import Problem
from .limit import TIME_SLACK_S, Limit, Mask, in_unit
from .loosening import long_enough, with_limit


def _keeps(problem: Problem, options: Options, finish_s: float) -> Mask | None:
    longest_s = problem.scenario.limits.wait_within_s
    if math.isinf(longest_s):
        return None
    return np.asarray(options.finish_s - options.touch_s <= longest_s * (1.0 + LIMIT_SLACK))


LIMIT = Limit(
    key="limits.wait_within",
    words=in_unit("d", "from the ring to the slot"),
    allowed=lambda scenario: scenario.limits.wait_within_s,
    values=lambda parts: [(one.in_slot_s - one.ring_arrival_s, one.craft) for one in parts.craft],
    slack=TIME_SLACK_S,
    keeps=_keeps,
    loosest=lambda scenario: long_enough(scenario) if math.isfinite(scenario.limits.wait_within_s) else None,
    step=0.001,
    with_value=with_limit(lambda held, value: replace(held, wait_within_s=value)),
    gives_by_itself=True,
)
