"""Most phasing revolutions of one craft."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...models.scenario import Scenario
from ..problem.options import Options
from ..problem.problem import Problem
from .limit import Limit, Mask, in_unit
from .loosening import with_limit

MOST = 60
"""More phasing revolutions than this are not proposed."""


def _keeps(problem: Problem, options: Options, finish_s: float) -> Mask:
    return np.asarray(options.revolutions <= problem.scenario.limits.revolutions_max)


def _loosest(scenario: Scenario) -> float | None:
    # options grow with the square of the revolutions, and from a pad with every moment of liftoff
    on_ground = any(one.orbit is None and not one.stay for one in scenario.craft)
    now = scenario.limits.revolutions_max
    most = min(2 * now + 10, MOST) if on_ground else MOST
    return float(most) if now < most else None


LIMIT = Limit(
    key="limits.revolutions_max",
    words=in_unit("", "revolutions of one craft"),
    allowed=lambda scenario: float(scenario.limits.revolutions_max),
    values=lambda parts: [(float(one.revolutions), one.craft) for one in parts.craft],
    keeps=_keeps,
    loosest=_loosest,
    with_value=with_limit(lambda held, value: replace(held, revolutions_max=round(value))),
)
