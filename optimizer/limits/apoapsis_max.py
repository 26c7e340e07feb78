"""Highest altitude of any apoapsis reached."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ...models.scenario import Scenario
from ..craft_plan import CarrierPlan
from ..problem.options import Options
from ..problem.phasing import LIMIT_SLACK
from ..problem.problem import Problem
from .limit import LENGTH_SLACK_M, Limit, Mask, PlanParts, Values, in_unit

FARTHEST = 50.0
"""Apoapsides farther out than so many ring radii are not proposed."""


def _values(parts: PlanParts) -> Values:
    radius = parts.scenario.body.radius_m
    highest = [(one.flown.highest_m - radius, one.craft) for one in parts.craft]
    # of a carrier the orbits that it drops craft from
    orbits = [(one.carrier, high) for one in parts.carriers for high in (one.apoapsis_m, _next_m(one))]
    return highest + [(high - radius, carrier) for carrier, high in orbits]


def _next_m(carrier: CarrierPlan) -> float:
    """Apoapsis of the orbit that it changes into; that of the one it drops from first, where it does not."""
    return carrier.apoapsis_m if carrier.then is None else carrier.then.apoapsis_m


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
