"""Lowest altitude above the top of the atmosphere, on every arc after insertion."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...models.scenario import Scenario
from ..problem.options import Options
from ..problem.phasing import LIMIT_SLACK
from ..problem.problem import Problem
from .limit import LENGTH_SLACK_M, Limit, Mask, PlanParts, Values, in_unit
from .loosening import with_limit


def _values(parts: PlanParts) -> Values:
    top = top_m(parts.scenario)
    lowest = [(one.flown.lowest_m - top, one.craft) for one in parts.craft]
    return lowest + [(one.lowest_m - top, one.carrier) for one in parts.carriers]


def _keeps(problem: Problem, options: Options, finish_s: float) -> Mask:
    return np.asarray(options.lowest_m >= problem.scenario.floor_m * (1.0 - LIMIT_SLACK))


def top_m(scenario: Scenario) -> float:
    """Radius of the top of the atmosphere."""
    return scenario.body.radius_m + scenario.body.atmosphere_top_m


LIMIT = Limit(
    key="limits.clearance",
    words=in_unit("km", "lowest pass above the atmosphere", floor=True),
    allowed=lambda scenario: scenario.limits.clearance_m,
    values=_values,
    slack=LENGTH_SLACK_M,
    keeps=_keeps,
    of_path=True,
    loosest=lambda scenario: 0.0 if scenario.limits.clearance_m > 0.0 else None,
    step=0.1,
    with_value=with_limit(lambda held, value: replace(held, clearance_m=value)),
    gives_by_itself=True,
)
