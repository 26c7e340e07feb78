"""The nodal drifts of the catalogue against an exhaustive search by plain loops (`drift_search.py`).

The catalogue has to meet a slot as well, and real rates; for that it gets a stated allowance of time.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from ringwright.optimizer.problem.ring_phase import problems
from ringwright.optimizer.routes import nodal_drift
from ringwright.optimizer.routes.route import Question
from ringwright.tests.worlds import TWO_PLANES

from ..planned import scenario_of
from .drift_search import DAY, cheapest_within

TIME_SHARE, TIME_D = 0.03, 1.3
"""Finishes are sampled 1.8 in a hundred apart, second order moves a drift by 1 in a hundred, slots come by daily."""
COST_M_S = 2.0
TEXT = TWO_PLANES.replace("{days}", "200.0")


@pytest.mark.parametrize(
    ("ring_km", "start_km", "lean_deg", "spread_deg"),
    [(1000.0, 1000.0, 82.0, 40.0), (900.0, 550.0, 66.0, 50.0)],
    ids=["from the ring, near the poles", "from a lower circle"],
)
def test_no_drift_on_a_grid_is_cheaper(ring_km: float, start_km: float, lean_deg: float, spread_deg: float) -> None:
    (problem,) = problems(scenario_of(TEXT.format(ring=ring_km, start=start_km, lean=lean_deg, spread=spread_deg)))
    options = nodal_drift.columns(Question(problem=problem))
    other = options.slot == 0
    ring, start = 6378136.6 + 1e3 * ring_km, 6378136.6 + 1e3 * start_km
    behind, lean = math.radians(0.5 * spread_deg), math.radians(lean_deg)
    leans = np.radians([-3.0, -2.0, -1.5, -1.0, -0.7, -0.4, -0.2, 0.0])
    for days in (70.0, 110.0, 180.0):
        soon = other & (options.finish_s <= (days * (1.0 + TIME_SHARE) + TIME_D) * DAY)
        ours = float(np.min(options.delta_v_m_s[soon]))
        assert ours <= cheapest_within(days, ring, start, lean, behind, leans) + COST_M_S
        assert ours >= cheapest_within(1.05 * days + 3.0, ring, start, lean, behind, leans) - 4.0


def test_near_the_poles_an_inclined_wait_costs_a_third_less() -> None:
    """What a drift in the ring's inclination alone would cost, by the same search; the two agree within the grids."""
    ring, lean = 6378136.6 + 1e6, math.radians(82.0)
    turned, flat = (
        cheapest_within(150.0, ring, ring, lean, math.radians(20.0), np.radians(leans))
        for leans in ([-1.0, -0.7, -0.4, 0.0], [0.0])
    )
    assert flat > 1.3 * turned
