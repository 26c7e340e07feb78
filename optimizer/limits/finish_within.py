"""Latest moment at which the last craft is in its slot."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ..problem.options import Options
from ..problem.problem import Problem
from .limit import TIME_SLACK_S, Limit, Mask, in_unit
from .loosening import long_enough, with_limit


def _keeps(problem: Problem, options: Options, finish_s: float) -> Mask | None:
    return None if math.isinf(finish_s) else np.asarray(options.finish_s <= finish_s + 1e-6)


LIMIT = Limit(
    key="limits.finish_within",
    words=in_unit("d", "last craft in its slot"),
    allowed=lambda scenario: scenario.limits.finish_within_s,
    values=lambda parts: [(one.in_slot_s, one.craft) for one in parts.craft],
    slack=TIME_SLACK_S,
    keeps=_keeps,
    loosest=lambda scenario: long_enough(scenario) if math.isfinite(scenario.limits.finish_within_s) else None,
    step=0.001,
    with_value=with_limit(lambda held, value: replace(held, finish_within_s=value)),
    gives_by_itself=True,
)
