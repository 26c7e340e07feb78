"""Transfers flown by integration or by Kepler's law, and the laws that they must obey at any size."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from ringwright.models import transfers
from ringwright.models.transfers import (
    between_apsides,
    bi_elliptic,
    departure,
    hohmann,
    one_tangent,
    phase_from_node,
    rephase,
    spiral_delta_v,
)

SPEED_TOLERANCE = 1e-9
FLOWN_TOLERANCE = 1e-8

ratios = st.floats(0.05, 20.0).filter(lambda ratio: abs(ratio - 1.0) > 1e-3)


def fly(state: np.ndarray, time: float) -> np.ndarray:
    """Numerical flight in a unit field, planar."""

    def motion(_: float, y: np.ndarray) -> np.ndarray:
        return np.concatenate([y[2:], -y[:2] / np.hypot(y[0], y[1]) ** 3])

    return np.asarray(solve_ivp(motion, (0.0, time), state, method="DOP853", rtol=1e-12, atol=1e-12).y[:, -1])


@pytest.mark.parametrize("ratio", [0.2, 0.7, 1.6, 6.0])
@pytest.mark.parametrize("swept", [1.2, 2.4, math.pi, 3.9])
def test_one_tangent_arrives_where_and_when_it_says(ratio: float, swept: float) -> None:
    found = one_tangent(1.0, 1.0, ratio, swept)
    if ratio > 1.0 and math.cos(swept) >= 2.0 / ratio - 1.0:
        assert np.isnan(found.delta_v_m_s)
        return
    outward = math.copysign(1.0, ratio - 1.0)
    end = fly(np.array([1.0, 0.0, 0.0, 1.0 + outward * float(found.burns_m_s[0])]), float(found.time_s))
    assert end[:2] == pytest.approx([ratio * math.cos(swept), ratio * math.sin(swept)], abs=FLOWN_TOLERANCE)
    circular = np.array([-math.sin(swept), math.cos(swept)]) / math.sqrt(ratio)
    assert float(np.linalg.norm(end[2:] - circular)) == pytest.approx(float(found.burns_m_s[1]), abs=FLOWN_TOLERANCE)


@settings(derandomize=True, deadline=None, max_examples=50)
@given(ratio=ratios)
def test_half_a_turn_of_one_tangent_is_hohmanns(ratio: float) -> None:
    found, expected = one_tangent(1.0, 1.0, ratio, math.pi), hohmann(1.0, 1.0, ratio)
    assert found.burns_m_s == pytest.approx(expected.burns_m_s, abs=SPEED_TOLERANCE)
    assert float(found.time_s) == pytest.approx(float(expected.time_s), rel=1e-9)


@settings(derandomize=True, deadline=None, max_examples=50)
@given(ratio=ratios, angle=st.floats(0.0, 3.0), length=st.floats(1.0, 1e8), gm=st.floats(1.0, 1e16))
def test_scaling_lengths_and_times_scales_the_transfer(ratio: float, angle: float, length: float, gm: float) -> None:
    small, large = hohmann(1.0, 1.0, ratio, angle), hohmann(gm, length, length * ratio, angle)
    speed = math.sqrt(gm / length)
    assert float(large.delta_v_m_s) == pytest.approx(speed * float(small.delta_v_m_s), rel=1e-9)
    assert float(large.time_s) == pytest.approx(length / speed * float(small.time_s), rel=1e-9)
    # there and back cost the same
    back = hohmann(1.0, ratio, 1.0, angle)
    assert float(back.delta_v_m_s) == pytest.approx(float(small.delta_v_m_s), abs=SPEED_TOLERANCE)


@settings(derandomize=True, deadline=None, max_examples=50)
@given(ratio=ratios, angle=st.floats(0.0, math.pi))
def test_a_turn_is_never_cheaper_than_none_and_never_dearer_than_apart(ratio: float, angle: float) -> None:
    flat, turned = hohmann(1.0, 1.0, ratio), hohmann(1.0, 1.0, ratio, angle)
    apart = 2.0 * math.sin(angle / 2.0) * min(1.0, 1.0 / math.sqrt(ratio))
    assert float(flat.delta_v_m_s) - SPEED_TOLERANCE <= float(turned.delta_v_m_s)
    assert float(turned.delta_v_m_s) <= float(flat.delta_v_m_s) + apart + SPEED_TOLERANCE
    assert float(np.sum(turned.turns_rad)) == pytest.approx(angle, abs=1e-12)


def test_a_far_apsis_at_the_target_is_hohmanns() -> None:
    for angle in (0.0, 0.4):
        found, expected = bi_elliptic(1.0, 1.0, 4.0, 4.0, angle), hohmann(1.0, 1.0, 4.0, angle)
        assert float(found.delta_v_m_s) == pytest.approx(float(expected.delta_v_m_s), abs=SPEED_TOLERANCE)


def test_transfers_between_ellipses_meet_the_circles() -> None:
    found = between_apsides(1.0, [1.0, 1.0], [1.0, 0.5], 3.0, [3.0, 7.0])
    assert found.burns_m_s.shape == (2, 2)
    assert found.burns_m_s[0] == pytest.approx(hohmann(1.0, 1.0, 3.0).burns_m_s)
    # by hand: apoapsis 1 over periapsis 0.5, to periapsis 3 under apoapsis 7
    leaving = math.sqrt(2.0 - 1.0 / 2.0) - math.sqrt(2.0 - 1.0 / 0.75)
    arriving = math.sqrt(2.0 / 3.0 - 1.0 / 5.0) - math.sqrt(2.0 / 3.0 - 1.0 / 2.0)
    assert found.burns_m_s[1] == pytest.approx([leaving, arriving])


def test_spiral_with_a_turn() -> None:
    # Edelbaum: a turn on the spot costs 2 v sin(pi angle / 4)
    assert float(spiral_delta_v(1.0, 1.0, 1.0, 1.0)) == pytest.approx(2.0 * math.sin(math.pi / 4.0))
    assert float(spiral_delta_v(1.0, 1.0, 4.0)) == pytest.approx(0.5)
    assert np.isnan(spiral_delta_v(1.0, 1.0, 4.0, [1.9, 2.1])).tolist() == [False, True]


@settings(derandomize=True, deadline=None, max_examples=80)
@given(ratio=ratios, lead=st.floats(-20.0, 20.0))
def test_departure_meets_the_target_and_is_the_first_chance(ratio: float, lead: float) -> None:
    found = departure(1.0, 1.0, ratio, lead)
    wait, flight = float(found.wait_s), float(found.transfer_s)
    assert 0.0 <= wait < float(found.every_s) * (1.0 + 1e-12)
    rate = ratio**-1.5
    miss = (lead + rate * (wait + flight)) - (wait + math.pi)
    assert math.remainder(miss, 2.0 * math.pi) == pytest.approx(0.0, abs=1e-7)
    at_departure = math.remainder(lead + (rate - 1.0) * wait - float(found.lead_rad), 2.0 * math.pi)
    assert at_departure == pytest.approx(0.0, abs=1e-7)


def test_waiting_from_below_and_from_above_by_hand() -> None:
    """To four times the radius: n = 1/8, transfer time pi 2.5^1.5; the lead shrinks by 7/8 rad a unit of time."""
    required = math.pi - math.pi * 2.5**1.5 / 8.0
    up = departure(1.0, 1.0, 4.0, required + np.array([0.0, 0.7, -0.7]))
    assert up.wait_s == pytest.approx([0.0, 0.8, (2.0 * math.pi - 0.7) * 8.0 / 7.0])
    down = departure(1.0, 4.0, 1.0, math.pi - math.pi * 2.5**1.5 + np.array([0.0, 0.7, -0.7]))
    assert down.wait_s == pytest.approx([0.0, (2.0 * math.pi - 0.7) * 8.0 / 7.0, 0.8], abs=1e-9)
    assert up.every_s == pytest.approx([2.0 * math.pi * 8.0 / 7.0] * 3)


def test_on_the_same_circle_no_chance_ever_comes() -> None:
    found = departure(1.0, 2.0, 2.0, [0.0, 0.3])
    assert found.wait_s.tolist() == [0.0, math.inf]
    assert np.isinf(found.every_s).all()


def test_rephasing_returns_so_much_earlier() -> None:
    found = rephase(1.0, 1.0, [1.0, 1.0, 3.0], [0.5, -0.5, 0.5], [1, 2, 3])
    for row, other in enumerate((1.0, 1.0, 3.0)):
        whole = 2.0 * math.pi * (0.5 * (1.0 + other)) ** 1.5
        count, gain = (1, 2, 3)[row], (0.5, -0.5, 0.5)[row]
        back = fly(np.array([1.0, 0.0, 0.0, math.sqrt(2.0 - 2.0 / (1.0 + found.other_m[row]))]), count * whole - gain)
        assert back[:2] == pytest.approx([1.0, 0.0], abs=1e-6)
    assert (found.other_m[0] < 1.0) & (found.other_m[1] > 1.0)
    assert rephase(1.0, 1.0, 1.0, 0.0).delta_v_m_s == pytest.approx(0.0, abs=1e-12)


def test_a_gain_that_no_ellipse_gives_is_not_a_number() -> None:
    # half the radius is the smallest semi-major axis: a period of 2 pi / sqrt 8
    most = 2.0 * math.pi * (1.0 - 8.0**-0.5)
    found = rephase(1.0, 1.0, 1.0, [most - 1e-3, most + 1e-3, 7.0])
    assert np.isnan(found.delta_v_m_s).tolist() == [False, True, True]
    assert np.isnan(found.other_m).tolist() == [False, True, True]


def test_phasing_from_a_node_without_a_tilt_needs_no_turn() -> None:
    found = phase_from_node(1.0, 1.0, 3.0, 0.0, 0.4, -2.0, np.array([[1], [2]]), np.array([1, 2, 3]))
    assert found.delta_v_m_s.shape == (2, 3)
    assert found.burns_m_s[..., 2] == pytest.approx(np.full((2, 3), hohmann(1.0, 1.0, 3.0).burns_m_s[1]))
    # between the circular and the transfer speed the phasing is folded in: it costs nothing
    folded = (found.phasing_other_m >= 1.0) & (found.phasing_other_m <= 3.0)
    assert folded.any()
    assert found.delta_v_m_s[folded] == pytest.approx(np.full(folded.sum(), hohmann(1.0, 1.0, 3.0).delta_v_m_s))


def test_transfer_totals() -> None:
    found = transfers.Transfer(
        burns_m_s=np.array([[1.0, 2.0, 3.0]]), turns_rad=np.zeros((1, 3)), coasts_s=np.array([[10.0, 20.0]])
    )
    assert found.delta_v_m_s.tolist() == [6.0]
    assert found.time_s.tolist() == [30.0]
