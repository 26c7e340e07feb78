"""A limit that the planner does not have: the largest single burn of a craft, ``limits.burn_most``."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ringwright.models.scenario import Scenario
from ringwright.optimizer.limits.limit import Limit, Mask, in_unit
from ringwright.optimizer.problem.finite_burns import burn_table
from ringwright.optimizer.problem.options import Options
from ringwright.optimizer.problem.problem import Problem

NAME = "burn_most"
LARGEST_M_S = 1000.0


def _allowed(scenario: Scenario) -> float:
    return dict(scenario.limits.further).get(NAME, math.inf)


def _keeps(problem: Problem, options: Options, finish_s: float) -> Mask:
    return np.asarray(burn_table(problem, options).size_m_s.max(axis=1, initial=0.0) <= _allowed(problem.scenario))


def _with_value(scenario: Scenario, value: float) -> Scenario:
    return replace(scenario, limits=replace(scenario.limits, further=((NAME, value),)))


LIMIT = Limit(
    key=f"limits.{NAME}",
    words=in_unit("m/s", "largest burn"),
    allowed=_allowed,
    values=lambda parts: [
        (max((burn.delta_v_m_s for burn in one.burns), default=0.0), one.craft) for one in parts.craft
    ],
    slack=0.1,
    keeps=_keeps,
    loosest=lambda _: LARGEST_M_S,
    step=0.1,
    with_value=_with_value,
    gives_by_itself=True,
)
