"""Patterns against sampled motion."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from ringwright.models.errors import InputError
from ringwright.models.patterns import (
    Pattern,
    nearest_neighbor,
    separations,
)
from ringwright.models.ring import Ring

TURN = 2.0 * math.pi
ANGLE_TOLERANCE_RAD = 1e-9
# a sample every degree comes within this of an extreme of a smooth function
SAMPLED_RAD = 1e-3


@st.composite
def patterns(draw: st.DrawFn) -> Pattern:
    planes = draw(st.integers(1, 5))
    return Pattern(
        total=planes * draw(st.integers(1, 4)),
        planes=planes,
        phasing=draw(st.integers(0, planes - 1)),
        inclination_rad=draw(st.floats(0.0, math.pi)),
        spread_rad=draw(st.sampled_from([TURN, math.pi])),
    )


@settings(derandomize=True, deadline=None, max_examples=40)
@given(pattern=patterns(), turn=st.floats(-10.0, 10.0))
def test_directions_by_rotation(pattern: Pattern, turn: float) -> None:
    found = pattern.directions(turn)
    for number in range(pattern.total):
        plane, slot = divmod(number, pattern.slots)
        node = pattern.spread_rad * plane / pattern.planes
        argument = TURN * slot / pattern.slots + TURN * plane * pattern.phasing / pattern.total + turn
        expected = Rotation.from_euler("ZXZ", [node, pattern.inclination_rad, argument]).apply([1.0, 0.0, 0.0])
        assert found[number] == pytest.approx(expected, abs=ANGLE_TOLERANCE_RAD)
    assert pattern.directions(np.zeros((2, 3))).shape == (2, 3, pattern.total, 3)


def test_a_ring_and_its_pattern_agree() -> None:
    ring = Ring(radius_m=2e7, slots=4, rate_rad_s=1e-4, slot0_rad=0.7, gm=4e14, planes=3, phasing=2, spread_rad=TURN)
    pattern = Pattern.of(ring)
    for plane in range(3):
        rows = slice(plane * 4, plane * 4 + 4)
        assert pattern.arguments()[rows] + 0.7 == pytest.approx(ring.phase(0.0, np.arange(4), plane))
        assert pattern.nodes()[rows] == pytest.approx([ring.node(0.0, plane)] * 4)


@settings(derandomize=True, deadline=None, max_examples=40)
@given(pattern=patterns())
def test_separations_against_sampled_motion(pattern: Pattern) -> None:
    least, greatest = separations(pattern)
    directions = pattern.directions(np.radians(np.arange(0.0, 360.0)))
    cosine = np.clip(np.einsum("tik,tjk->tij", directions, directions), -1.0, 1.0)
    off = ~np.eye(pattern.total, dtype=bool)
    # compared by their cosines, where a sample is off by second order only
    assert np.cos(least)[off] == pytest.approx(cosine.max(axis=0)[off], abs=SAMPLED_RAD)
    assert np.cos(greatest)[off] == pytest.approx(cosine.min(axis=0)[off], abs=SAMPLED_RAD)
    assert np.all(cosine[:, off] <= np.cos(least)[off] + ANGLE_TOLERANCE_RAD)
    assert np.all(cosine[:, off] >= np.cos(greatest)[off] - ANGLE_TOLERANCE_RAD)


def test_craft_that_collide_are_found() -> None:
    """Two planes half a turn of node apart meet on their common line of nodes, where one has its ascending node and the
    other its descending one: craft half a turn apart in argument of latitude collide there."""
    for total, phasing, collide in ((4, 0, True), (4, 1, False), (6, 0, False), (6, 1, True)):
        nearest = nearest_neighbor(Pattern(total=total, planes=2, phasing=phasing, inclination_rad=0.9), 1e7)
        assert (nearest < 1.0) is collide
        assert collide or nearest > 1e6
    assert nearest_neighbor(Pattern(total=1, planes=1, phasing=0, inclination_rad=0.9), 1e7) == math.inf


@pytest.mark.parametrize(("total", "planes", "phasing"), [(7, 2, 0), (0, 1, 0), (4, 0, 0), (4, 2, 2), (4, 2, -1)])
def test_impossible_patterns_are_refused(total: int, planes: int, phasing: int) -> None:
    with pytest.raises(InputError):
        Pattern(total=total, planes=planes, phasing=phasing, inclination_rad=0.5)
