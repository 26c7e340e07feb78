"""Highest altitude of any apoapsis reached."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ...models.scenario import Scenario
from ..problem.options import Options
from ..problem.phasing import LIMIT_SLACK
from ..problem.problem import Problem
from .limit import LENGTH_SLACK_M, Limit, Mask, PlanParts, Values, in_unit

FARTHEST = 50.0
"""Apoapsides farther out than so many ring radii are not proposed."""


def _values(parts: PlanParts) -> Values:
    return [(one.flown.highest_m - parts.scenario.body.radius_m, one.craft) for one in parts.craft]


def _keeps(problem: Problem, options: Options, finish_s: float) -> Mask:
    return np.asarray(options.highest_m <= problem.scenario.limits.apoapsis_max_m * (1.0 + LIMIT_SLACK))


def _loosest(scenario: Scenario) -> float | None:
    if math.isinf(scenario.limits.apoapsis_max_m):
        return None
    return FARTHEST * scenario.ring.radius_m - scenario.body.radius_m


def _with_value(scenario: Scenario, value: float) -> Scenario:
    return replace(scenario, limits=replace(scenario.limits, apoapsis_max_m=value + scenario.body.radius_m))


LIMIT = Limit(
    key="limits.apoapsis_max",
    words=in_unit("km", "highest apoapsis"),
    allowed=lambda scenario: scenario.limits.apoapsis_max_m - scenario.body.radius_m,
    values=_values,
    slack=LENGTH_SLACK_M,
    keeps=_keeps,
    of_path=True,
    loosest=_loosest,
    with_value=_with_value,
    gives_by_itself=True,
)
