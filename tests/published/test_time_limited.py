"""The time-limited optimum against its linear limit and printed rows.

The linear costs come from a linear programme of this test's own (scipy, HiGHS): burns in many directions at many
times, Clohessy-Wiltshire motion. Prussing: J. Astronaut. Sci. 48 (2000), 131-148.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import linprog

from ringwright.optimizer.rendezvous.linear_estimate import linear_estimate, relative_state
from ringwright.optimizer.rendezvous.optimum import State, least_delta_v_over_times

TURN = 2.0 * math.pi
BEHIND_BY_ONE = np.array([0.0, -1.0, 0.0, 0.0, 0.0, 0.0])
ON_RING = State(position_m=(1.0, 0.0, 0.0), velocity_m_s=(0.0, 1.0, 0.0))


def linear_program(turns: float, directions: int = 64, times: int = 241) -> float:
    """Least cost per radian from a program that knows only the in-plane solution of Hill's equations."""
    t = np.linspace(0.0, turns * TURN, times)[:, None]
    angle = np.arange(directions) * TURN / directions
    outward, along = np.cos(angle), np.sin(angle)
    left = turns * TURN - t
    s, c = np.sin(left), np.cos(left)
    effect = np.stack(
        [
            s * outward + 2.0 * (1.0 - c) * along,
            -2.0 * (1.0 - c) * outward + (4.0 * s - 3.0 * left) * along,
            c * outward + 2.0 * s * along,
            -2.0 * s * outward + (4.0 * c - 3.0) * along,
        ]
    ).reshape(4, -1)
    found = linprog(np.ones(effect.shape[1]), A_eq=effect, b_eq=[0.0, 1.0, 0.0, 0.0], method="highs")
    assert found.success
    return float(found.fun or 0.0)


@pytest.mark.parametrize("turns", [0.5, 1.0, 1.5, 2.0, 2.5, 3.0])
def test_linear_estimate_is_the_linear_program(turns: float) -> None:
    # 64 directions cost up to 1 / cos(pi / 64) - 1 = 0.12 % more than all
    estimate = float(linear_estimate(BEHIND_BY_ONE, np.array([turns * TURN]))[0])
    program = linear_program(turns)
    assert program / (1.0 + 1.3e-3) <= estimate * (1.0 + 1e-3)
    assert estimate <= program * (1.0 + 1e-9)


def test_linear_estimate_out_of_the_plane_alone() -> None:
    # a tilt is a swing in the cross direction: one burn at the node takes it out, none can do with less
    tilted = np.array([0.0, 0.0, 0.0, 0.0, 0.0, 0.02])
    assert float(linear_estimate(tilted, np.array([4.0]))[0]) == pytest.approx(0.02, rel=2e-3)


def test_linear_estimate_of_a_craft_in_its_slot_is_zero() -> None:
    assert linear_estimate(np.zeros(6), np.array([1.0, 7.0])) == pytest.approx([0.0, 0.0])


@pytest.mark.parametrize("turns", [1.0, 1.5, 2.5])
def test_small_leads_cost_what_the_linear_program_says(turns: float) -> None:
    lead = 1e-3
    [found] = least_delta_v_over_times(ON_RING, gm=1.0, ring_radius_m=1.0, slot_lead_rad=lead, allowed_s=[turns * TURN])
    assert found is not None
    estimate = float(linear_estimate(BEHIND_BY_ONE * lead, np.array([turns * TURN]))[0])
    assert found.linear_estimate_m_s == pytest.approx(estimate)
    assert found.delta_v_m_s == pytest.approx(estimate, rel=3e-3)


def test_relative_state_of_a_craft_on_the_ring() -> None:
    state = relative_state(np.array([0.0, 1.0]), np.array([-1.0, 0.0]), math.pi / 2 + 0.3)
    assert state == pytest.approx([0.0, -0.3, 0.0, 0.0, 0.0, 0.0], abs=1e-12)


@pytest.mark.parametrize(
    ("lead_deg", "turns", "most"),
    [
        # printed: 4.50 (one Lambert arc of zero angle), 1.33 and with four impulses 1.19, 2.43; units of 2 pi
        (180.0, 0.5, 4.50),
        (180.0, 2.3, 1.19),
        (36.0, 0.4, 2.43),
        # two readings of this cell are 0.552 and 0.557
        (144.0, 3.5, 0.557),
    ],
)
def test_never_worse_than_prussing(lead_deg: float, turns: float, most: float) -> None:
    [found] = least_delta_v_over_times(
        ON_RING, gm=1.0, ring_radius_m=1.0, slot_lead_rad=math.radians(lead_deg), allowed_s=[turns * TURN]
    )
    assert found is not None
    assert found.delta_v_m_s <= most / TURN
