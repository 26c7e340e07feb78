"""The best revolutions for each wait are found from two trials: against trying all of them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringwright.models.ring import Ring
from ringwright.optimizer.problem.phasing import Among, Touch, best_phasing, every_phasing
from ringwright.tests.tolerances import CHAIN_REL

RING = Ring(radius_m=1.0e7, slots=5, rate_rad_s=math.sqrt(4.0e14 / 1.0e21), slot0_rad=0.0, gm=4.0e14)
SAME_M_S = 1e-8
"""Equally cheap choices differ by rounding, here by two of the planner's own allowances for it."""


@settings(derandomize=True, deadline=None, max_examples=60, database=None)
@given(
    arrival=st.floats(0.6, 1.38),
    floor=st.floats(0.3, 1.0),
    ceiling=st.one_of(st.just(math.inf), st.floats(1.0, 6.0)),
    revolutions=st.integers(1, 14),
    wait_turns=st.one_of(st.just(math.inf), st.floats(0.1, 9.0)),
    leads=st.lists(st.floats(-math.pi, math.pi, exclude_min=True), min_size=1, max_size=6),
)
def test_two_trials_find_what_all_trials_find(
    arrival: float, floor: float, ceiling: float, revolutions: int, wait_turns: float, leads: list[float]
) -> None:
    touch = Touch(
        ring=RING,
        arrival_speed_m_s=arrival * RING.speed_m_s,
        floor_m=floor * RING.radius_m,
        ceiling_m=ceiling * RING.radius_m,
        revolutions_max=revolutions,
        wait_within_s=wait_turns * RING.period_s,
    )
    lead = np.array([0.0, *leads])
    quick = best_phasing(touch, lead)
    every = every_phasing(touch, lead)
    for row in range(lead.size):
        own, all_own = quick.row == row, every.row == row
        found = list(zip(quick.wait_s[own], quick.cost_m_s[own], strict=True))
        listed = list(zip(every.wait_s[all_own], every.cost_m_s[all_own], strict=True))
        assert bool(found) == bool(listed)
        assert all(any(w <= wait * (1.0 + 1e-12) and c <= cost + SAME_M_S for w, c in found) for wait, cost in listed)
        assert all(
            any(w == pytest.approx(wait, rel=CHAIN_REL) and abs(c - cost) <= SAME_M_S for w, c in listed)
            for wait, cost in found
        )
    # some numbers of revolutions alone, asked as such and by a filter that has to be asked about each winding
    few = Among(revolutions=frozenset({0, 2, 3, 7}), level=False)
    some, one_by_one = best_phasing(touch, lead, few), best_phasing(touch, lead, few.__call__)
    assert np.array_equal(some.row, one_by_one.row)
    assert np.array_equal(some.revolutions, one_by_one.revolutions)
    each = every_phasing(touch, lead, few)
    for row in range(lead.size):
        own, all_own = some.row == row, each.row == row
        assert some.cost_m_s[own].min(initial=np.inf) == pytest.approx(
            each.cost_m_s[all_own].min(initial=np.inf), abs=SAME_M_S
        )
        soonest = each.wait_s[all_own].min(initial=np.inf)
        assert some.wait_s[own].min(initial=np.inf) == pytest.approx(soonest, rel=CHAIN_REL)
    tried = best_phasing(touch, lead, lambda k, m: True)
    assert np.array_equal(tried.row, quick.row)
    assert np.array_equal(tried.ring_revolutions, quick.ring_revolutions)
    assert np.allclose(tried.cost_m_s, quick.cost_m_s, rtol=0.0, atol=SAME_M_S)
