"""Least time between the arrivals of two craft that one operator raises, lowers or shifts from orbits in space.

The schedule holds arrivals as far apart as the liftoffs on a pad (`choice/selection.py`), with a little room for what
the flight moves; what is judged is how they are flown. Launched craft have the turnaround of their site.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np

from ...models.scenario import Scenario
from ..problem.options import Options
from ..problem.problem import Problem
from .limit import TIME_SLACK_S, Limit, PlanParts, Values, in_unit
from .loosening import with_limit

NAME = "between_craft"

ROOM_S = 1_800.0
"""Arrivals are planned so much farther apart than they have to be: a flight moves them by minutes."""


def allowed_s(scenario: Scenario) -> float:
    """The least time between arrivals, s; 0 for no limit."""
    return dict(scenario.limits.further).get(NAME, 0.0)


def with_operator(problem: Problem, options: Options) -> Options:
    """The options with those marked whose arrivals are to be apart: of craft in space that burn."""
    if allowed_s(problem.scenario) <= 0.0 or not len(options):
        return options
    moved = (options.way < 0) & (options.bundle < 0) & (options.delta_v_m_s > 0.0)
    return replace(options, operator=np.where(moved, len(problem.scenario.pads), -1))


def apart_s(scenario: Scenario) -> float:
    """The least time between arrivals as planned, s."""
    least = allowed_s(scenario)
    return least + ROOM_S if least > 0.0 else 0.0


def _values(parts: PlanParts) -> Values:
    arrivals = sorted((one.in_slot_s, one.craft) for one in parts.craft if one.launch_s is None and one.burns)
    return [(late - early, who) for (early, _), (late, who) in pairwise(arrivals)]


LIMIT = Limit(
    key=f"limits.{NAME}",
    words=in_unit("d", "between arrivals of craft moved in space", floor=True),
    allowed=lambda scenario: allowed_s(scenario) or math.inf,
    values=_values,
    slack=TIME_SLACK_S,
    loosest=lambda _: 0.0,
    step=0.01,
    with_value=with_limit(lambda held, value: replace(held, further=_changed(held.further, value))),
    gives_by_itself=True,
)


def _changed(further: tuple[tuple[str, float], ...], value: float) -> tuple[tuple[str, float], ...]:
    return tuple((name, value if name == NAME else old) for name, old in further)
