"""The nodal drifts of the catalogue against an exhaustive search by plain loops, which knows nothing of slots.

Circles, first order in the second zonal harmonic (Vallado 2013, equation 9-37), four burns each of which may turn the
plane (section 6.5, law of cosines). The search tries waiting radii, inclinations and nodes left to burns, shares each
turn between the two burns of a transfer on a grid, and takes the shortest wait that meets the node. The catalogue has
to meet a slot as well, and real rates; for that it gets a stated allowance of time.
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

GM, RE, J2 = 3.986004418e14, 6378136.3, 1.082626174e-3
DAY = 86_400.0
TIME_SHARE, TIME_D = 0.03, 1.3
"""Finishes are sampled 1.8 in a hundred apart, second order moves a drift by 1 in a hundred, slots come by daily."""
COST_M_S = 2.0
TEXT = TWO_PLANES.replace("{days}", "200.0")


def speed(radius: float, semi: float) -> float:
    """By the vis-viva equation."""
    return math.sqrt(GM * (2.0 / radius - 1.0 / semi))


def node_rate(radius: float, lean: float) -> float:
    """Of a circle, rad/s."""
    return -1.5 * J2 * (RE / radius) ** 2 * math.sqrt(GM / radius**3) * math.cos(lean)


def transfer(one: float, other: float, turn: float) -> float:
    """Both burns between two circles that turn the plane, shared on a grid, m/s."""
    semi = 0.5 * (one + other)
    pairs = ((speed(one, one), speed(one, semi)), (speed(other, semi), speed(other, other)))
    least = math.inf
    for share in np.linspace(0.0, 1.0, 41 if turn > 0.0 else 1):
        total = 0.0
        for (a, b), part in zip(pairs, (share, 1.0 - share), strict=True):
            total += math.sqrt(a * a + b * b - 2.0 * a * b * math.cos(part * turn))
        least = min(least, total)
    return least


def cheapest_within(days: float, ring: float, start: float, lean: float, behind: float, leans: np.ndarray) -> float:
    """The least delta-v with which the node falls behind by an angle in so many days."""
    least = math.inf
    for waiting in np.linspace(6378e3 + 260e3, 1.3 * ring, 90):
        for more in leans:
            for left in np.radians([0.0, 0.3, 0.6, 1.0, 2.0]):
                closing = node_rate(ring, lean) - node_rate(waiting, lean + more)
                if closing <= 0.0 or (behind - left) / closing > days * DAY:
                    continue
                tilt = math.acos(
                    min(1.0, math.cos(lean) * math.cos(lean + more)
                    + math.sin(lean) * math.sin(lean + more) * math.cos(left))
                )  # fmt: skip
                least = min(least, transfer(start, waiting, abs(more)) + transfer(waiting, ring, tilt))
    return least


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
