"""Patterns against sampled motion, scipy's spherical Voronoi diagram, and figures known from geometry."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import SphericalVoronoi
from scipy.spatial.transform import Rotation

from ringwright.models.errors import InputError
from ringwright.models.patterns import (
    Pattern,
    cap_radius,
    closest_to_center,
    grazing_radius,
    in_sight,
    largest_gap,
    nearest_neighbor,
    radius_for_cap,
    separations,
    street_half_width,
    worst_coverage,
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
    assert pattern.notation == "12/3/2"
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


@settings(derandomize=True, deadline=None, max_examples=25)
@given(seed=st.integers(0, 10_000), count=st.integers(4, 30))
def test_largest_gap_against_a_spherical_voronoi_diagram(seed: int, count: int) -> None:
    points = np.random.default_rng(seed).normal(size=(count, 3))
    points /= np.linalg.norm(points, axis=1, keepdims=True)
    found = largest_gap(points)
    corners = np.asarray(SphericalVoronoi(points).vertices)  # type: ignore[attr-defined]
    gaps = np.arccos(np.clip(np.max(corners @ points.T, axis=1), -1.0, 1.0))
    assert found >= float(gaps.max()) - 1e-7
    if found < math.pi / 2:
        assert found == pytest.approx(float(gaps.max()), abs=1e-7)
    else:
        # all on one side: no point of a fine grid is farther, and one nearly as far
        k = np.arange(4000) + 0.5
        z, turn = 1.0 - k / 2000.0, math.pi * (1.0 + math.sqrt(5.0)) * k
        grid = np.stack([np.sqrt(1.0 - z * z) * np.cos(turn), np.sqrt(1.0 - z * z) * np.sin(turn), z], axis=-1)
        sampled = np.arccos(np.clip(np.max(grid @ points.T, axis=1), -1.0, 1.0))
        assert found - 0.06 <= float(sampled.max()) <= found + ANGLE_TOLERANCE_RAD


def test_gaps_known_from_geometry() -> None:
    def ring(count: int) -> np.ndarray:
        return Pattern(total=count, planes=1, phasing=0, inclination_rad=0.4).directions()

    assert largest_gap(ring(1)) == pytest.approx(math.pi)
    for count in (2, 3, 4, 7):
        # one ring never covers its own axis with less than a quarter turn
        assert largest_gap(ring(count)) == pytest.approx(math.pi / 2)
    two = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    assert largest_gap(two) == pytest.approx(math.pi - math.pi / 4)
    tetrahedron = np.array([[1.0, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]]) / math.sqrt(3.0)
    assert largest_gap(tetrahedron) == pytest.approx(math.acos(1 / 3))
    circle = np.array([[math.cos(a), math.sin(a), 1.0] for a in (0.0, 1.5, 3.0, 4.5)]) / math.sqrt(2.0)
    assert largest_gap(circle) == pytest.approx(math.pi - math.pi / 4)
    crowd = np.array([[1.0, 0.1, 0.0], [1.0, -0.1, 0.0], [1.0, 0.0, 0.02], [1.0, 0.0, -0.02]])
    crowd /= np.linalg.norm(crowd, axis=1, keepdims=True)
    assert largest_gap(crowd) == pytest.approx(math.pi - math.atan(0.1))


@pytest.mark.parametrize(
    ("total", "planes", "phasing", "spread"), [(5, 5, 1, TURN), (8, 4, 2, TURN), (9, 3, 0, TURN), (8, 2, 1, math.pi)]
)
def test_worst_coverage_is_no_better_than_any_moment(total: int, planes: int, phasing: int, spread: float) -> None:
    pattern = Pattern(
        total=total, planes=planes, phasing=phasing, inclination_rad=math.radians(56.0), spread_rad=spread
    )
    found = worst_coverage(pattern)
    assert largest_gap(pattern.directions(found.turn_rad)) == pytest.approx(found.radius_rad, abs=ANGLE_TOLERANCE_RAD)
    # over a whole turn, so that the period of the figure's symmetry is checked too
    sampled = [largest_gap(pattern.directions(turn)) for turn in np.linspace(0.0, TURN, 500)]
    assert max(sampled) <= found.radius_rad + 1e-7
    assert max(sampled) == pytest.approx(found.radius_rad, abs=0.01)


def test_lines_of_sight() -> None:
    distance, fraction = closest_to_center(
        [[2.0, 0, 0], [2.0, 0, 0], [2.0, 0, 0]], [[0, 2.0, 0], [3.0, 0, 0], [2.0, 0, 0]]
    )
    assert distance == pytest.approx([math.sqrt(2.0), 2.0, 2.0])
    assert fraction == pytest.approx([0.5, 0.0, 0.0])
    assert in_sight([2.0, 0, 0], [0, 2.0, 0], [1.4, 1.42]).tolist() == [True, False]
    for count in range(3, 13):
        radius = float(grazing_radius(count, 1.0))
        places = radius * Pattern(total=count, planes=1, phasing=0, inclination_rad=1.0).directions()
        near, _ = closest_to_center(places, np.roll(places, 1, axis=0))
        assert near == pytest.approx(np.ones(count))


@settings(derandomize=True, deadline=None, max_examples=40)
@given(radius=st.floats(1.01, 20.0), elevation=st.floats(0.0, 1.4))
def test_caps_and_radii_are_inverse(radius: float, elevation: float) -> None:
    cap = float(cap_radius(radius, 1.0, elevation))
    assert float(radius_for_cap(cap, 1.0, elevation)) == pytest.approx(radius, rel=1e-6)
    # the craft stands at that elevation over the cap's edge
    up = np.array([math.cos(cap), math.sin(cap)])
    to_craft = np.array([radius, 0.0]) - up
    assert math.asin(float(to_craft @ up) / float(np.linalg.norm(to_craft))) == pytest.approx(elevation, abs=1e-6)
    assert math.isinf(float(radius_for_cap(1.2, 1.0, 0.5)))


def test_street_of_coverage_by_sampling() -> None:
    cap, slots = math.radians(30.0), 8
    half = float(street_half_width(cap, slots))
    places = Pattern(total=slots, planes=1, phasing=0, inclination_rad=0.0).directions()
    along = np.linspace(0.0, TURN, 721)

    def covered(latitude: float) -> bool:
        edge = np.stack([np.cos(along) * math.cos(latitude), np.sin(along) * math.cos(latitude)], axis=-1)
        nearest = np.max(edge @ places[:, :2].T, axis=1)
        return bool(np.all(nearest >= math.cos(cap) - 1e-12))

    assert covered(half - 1e-3)
    assert not covered(half + 1e-3)
    assert np.isnan(street_half_width([math.radians(22.0), math.radians(89.0)], [8, 2])).all()


@pytest.mark.parametrize(("total", "planes", "phasing"), [(7, 2, 0), (0, 1, 0), (4, 0, 0), (4, 2, 2), (4, 2, -1)])
def test_impossible_patterns_are_refused(total: int, planes: int, phasing: int) -> None:
    with pytest.raises(InputError):
        Pattern(total=total, planes=planes, phasing=phasing, inclination_rad=0.5)
