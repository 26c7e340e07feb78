"""Plane geometry against rotated vectors, and the best split against scipy and against every sharing of a fine grid."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.spatial.transform import Rotation

from ringwright.models.errors import InputError
from ringwright.models.planes import combined_delta_v, crossing, split, tilt, turn_delta_v
from ringwright.tests.tolerances import EXACT, EXACT_RAD, FLOAT_RAD, FLOWN_REL, SIX_DECIMALS

ANGLE_TOLERANCE_RAD = 1e-9
SPEED_TOLERANCE = 1e-9

angles = st.floats(0.0, math.pi)
nodes = st.floats(-math.pi, math.pi)
speeds = st.floats(0.05, 10.0)


def plane(inclination: float, node: float) -> Rotation:
    return Rotation.from_euler("ZX", [node, inclination])


@settings(derandomize=True, deadline=None, max_examples=100)
@given(first=angles, first_node=nodes, second=angles, second_node=nodes)
def test_crossing_lies_in_both_planes(first: float, first_node: float, second: float, second_node: float) -> None:
    one, two = plane(first, first_node), plane(second, second_node)
    found = crossing(first, first_node, second, second_node)
    up_one, up_two = one.apply([0.0, 0.0, 1.0]), two.apply([0.0, 0.0, 1.0])
    cross = np.cross(up_one, up_two)
    expected = math.atan2(float(np.linalg.norm(cross)), float(up_one @ up_two))
    assert float(found.tilt_rad) == pytest.approx(expected, abs=ANGLE_TOLERANCE_RAD)
    if float(np.linalg.norm(cross)) < 1e-6:
        return
    u, w = float(found.first_angle_rad), float(found.second_angle_rad)
    here = one.apply([math.cos(u), math.sin(u), 0.0])
    assert here == pytest.approx(two.apply([math.cos(w), math.sin(w), 0.0]), abs=ANGLE_TOLERANCE_RAD / 1e-3)
    # the second orbit rises to the left of the first
    assert float(two.apply([-math.sin(w), math.cos(w), 0.0]) @ up_one) > 0.0


def test_small_tilts_keep_their_digits() -> None:
    assert float(tilt(0.9, 0.9 + 1e-9, 0.0)) == pytest.approx(1e-9, rel=FLOWN_REL)
    assert float(tilt(math.pi / 2, math.pi / 2, 1e-9)) == pytest.approx(1e-9, rel=FLOWN_REL)
    assert float(tilt(0.4, 0.4, 0.0)) == 0.0
    assert float(tilt(0.4, math.pi - 0.4, math.pi)) == pytest.approx(math.pi)


@settings(derandomize=True, deadline=None, max_examples=60)
@given(before=speeds, after=speeds, angle=angles)
def test_a_combined_burn_is_the_difference_of_two_velocities(before: float, after: float, angle: float) -> None:
    away = np.array([after * math.cos(angle), after * math.sin(angle)]) - np.array([before, 0.0])
    found = float(combined_delta_v(before, after, angle))
    assert found == pytest.approx(float(np.linalg.norm(away)), abs=SPEED_TOLERANCE)
    # never dearer than turning and then changing the speed, or the other way about
    assert found <= float(turn_delta_v(min(before, after), angle)) + abs(after - before) + SPEED_TOLERANCE


def total(before: list[float], after: list[float], shares: np.ndarray) -> float:
    return float(np.sum(combined_delta_v(before, after, shares)))


@settings(derandomize=True, deadline=None, max_examples=60)
@given(values=st.tuples(speeds, speeds, speeds, speeds), angle=angles)
def test_no_sharing_between_two_burns_is_cheaper(values: tuple[float, ...], angle: float) -> None:
    before, after = [values[0], values[1]], [values[2], values[3]]
    found = split(before, after, angle)
    assert float(found.sum()) == pytest.approx(angle, abs=EXACT_RAD)
    assert np.all(found >= 0.0)
    first = np.linspace(0.0, angle, 4001)
    every = combined_delta_v(np.array(before), np.array(after), np.stack([first, angle - first], axis=-1)).sum(axis=-1)
    assert total(before, after, found) <= float(every.min()) + SPEED_TOLERANCE


def test_a_burn_that_hardly_changes_its_speed_has_a_narrow_minimum() -> None:
    """Many pairs of nearly equal speeds: the best share of such a burn may be a small fraction of a degree, or all."""
    random = np.random.default_rng(3)
    before, after = random.uniform(0.9, 1.1, (2, 3000, 2))
    angle = random.uniform(0.0, math.pi, 3000)
    found = split(before, after, angle)
    best = np.full(3000, np.inf)
    for part in np.linspace(0.0, 1.0, 301):
        trial = np.stack([part * angle, (1.0 - part) * angle], axis=-1)
        best = np.minimum(best, combined_delta_v(before, after, trial).sum(axis=-1))
    assert np.all(combined_delta_v(before, after, found).sum(axis=-1) <= best + SPEED_TOLERANCE)
    assert np.all(found >= 0.0)
    assert np.abs(found.sum(axis=-1) - angle).max() < EXACT_RAD
    # some turn at one end, some at the other, some share
    smaller = found.min(axis=-1)
    assert (smaller < 1e-3).any()
    assert (smaller > 0.1).any()


def test_turning_at_a_standstill_is_free() -> None:
    assert split([5.0, 0.0], [7.0, 3.0], 1.0) == pytest.approx([0.0, 1.0])


@settings(derandomize=True, deadline=None, max_examples=12)
@given(values=st.tuples(speeds, speeds, speeds, speeds, speeds, speeds), angle=angles)
def test_no_sharing_among_three_burns_is_cheaper(values: tuple[float, ...], angle: float) -> None:
    before, after = list(values[:3]), list(values[3:])
    found = split(before, after, angle)
    assert float(found.sum()) == pytest.approx(angle, abs=EXACT_RAD)
    assert np.all(found >= 0.0)
    grid = np.linspace(0.0, angle, 201)
    one, two = np.meshgrid(grid, grid, indexing="ij")
    keep = one + two <= angle
    shares = np.stack([one[keep], two[keep], angle - one[keep] - two[keep]], axis=-1)
    every = combined_delta_v(np.array(before), np.array(after), shares).sum(axis=-1)
    assert total(before, after, found) <= float(every.min()) + SPEED_TOLERANCE


def test_three_burns_agree_with_scipy() -> None:
    """A bi-elliptic change of 70 deg, minimized by SLSQP from equal shares."""
    before, after, angle = [1.0, 0.26, 1.33], [1.33, 0.30, 1.0], math.radians(70.0)

    def cost(x: np.ndarray) -> float:
        return total(before, after, np.array([x[0], angle - x[0] - x[1], x[1]]))

    outside = minimize(cost, [0.1, 0.1], bounds=[(0.0, 1.0), (0.0, 1.0)], method="SLSQP", tol=1e-15)
    found = split(before, after, angle)
    assert total(before, after, found) <= outside.fun + SPEED_TOLERANCE
    assert [found[0], found[2]] == pytest.approx(outside.x, abs=SIX_DECIMALS)


def test_splits_are_found_for_many_options_at_once() -> None:
    before = np.array([[7.7, 1.6], [7.7, 3.0], [3.0, 3.0]])
    after = np.array([[10.2, 3.1], [7.7, 2.0], [3.0, 3.0]])
    angle = np.array([0.3, 0.9, 0.5])
    together = split(before, after, angle)
    for row in range(3):
        assert together[row] == pytest.approx(split(before[row], after[row], angle[row]), abs=FLOAT_RAD)
    assert split(before[:, None, :], after[:, None, :], angle[None, :]).shape == (3, 3, 2)
    assert np.array_equal(split(before, after, 0.0), np.zeros((3, 2)))


def test_a_burn_that_keeps_its_speed_leaves_the_turn_to_the_others() -> None:
    # turning without a change of speed has a cost from the first degree on: the slope at 0 is v, not 0
    assert split([5.0, 1.0], [5.0, 2.0], 0.2) == pytest.approx([0.0, 0.2], abs=EXACT)


def test_a_split_needs_two_burns_and_an_angle_that_exists() -> None:
    with pytest.raises(InputError, match="two burns"):
        split([1.0], [2.0], 0.1)
    with pytest.raises(InputError, match="0 to 180"):
        split([1.0, 2.0], [2.0, 3.0], -0.1)
    with pytest.raises(InputError, match="0 to 180"):
        split([1.0, 2.0], [2.0, 3.0], math.nan)
