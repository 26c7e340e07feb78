"""Vallado, *Fundamentals of Astrodynamics and Applications*, Ex. 6-10, and the same plan flown in three dimensions.

Published outputs are those of the author's companion tests (mu 398600.4415 km^3/s^2).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from ringwright.models import kepler, transfers

GM = 398600.4415e9
CHASER_M, TARGET_M = 7143.51e3, 42159.4855e3
INCLINATION = math.radians(28.5)
NODE = math.radians(45.0)
CHASER_ARGUMENT = math.radians(15.0)
TARGET_LONGITUDE = math.radians(200.0)
PUBLISHED_MIN = 1e-8
PUBLISHED_KM_S = 1e-9


def plan(target_turns: int = 0, *, share_turn: bool = False) -> transfers.NodePhasing:
    """The chaser flies to its descending node, half a turn past the ascending one."""
    return transfers.phase_from_node(
        GM,
        CHASER_M,
        TARGET_M,
        INCLINATION,
        math.pi - CHASER_ARGUMENT,
        TARGET_LONGITUDE - (NODE + math.pi),
        target_turns,
        1,
        share_turn=share_turn,
    )


def test_example_6_10() -> None:
    found = plan()
    assert float(found.transfer_s) / 60.0 == pytest.approx(320.9923637303, abs=PUBLISHED_MIN)
    assert float(found.phasing_s) / 60.0 == pytest.approx(450.7328392802, abs=PUBLISHED_MIN)
    assert float(found.phasing_semi_major_m) / 1e3 == pytest.approx(19473.30414898, abs=1e-7)
    assert found.burns_m_s / 1e3 == pytest.approx([2.0762730793, 0.2226079943, 1.8024492966], abs=PUBLISHED_KM_S)
    # recomputed, not published
    assert float(found.node_wait_s) / 60.0 == pytest.approx(45.8995744697, abs=PUBLISHED_MIN)
    assert math.degrees(found.target_travel_rad) == pytest.approx(193.4917715, abs=1e-7)
    assert float(found.delta_v_m_s) / 1e3 == pytest.approx(4.1013303701, abs=1e-9)


def test_one_more_turn_of_the_target_is_dearer() -> None:
    """Recomputed, not published."""
    found = plan(target_turns=1)
    assert float(found.phasing_semi_major_m) / 1e3 == pytest.approx(50575.57837, abs=1e-5)
    assert found.burns_m_s / 1e3 == pytest.approx([2.71427, 0.41539, 1.80245], abs=1e-5)


def test_sharing_the_turn_saves_a_little() -> None:
    shared, alone = plan(share_turn=True), plan()
    assert float(np.sum(shared.turns_rad)) == pytest.approx(INCLINATION, abs=1e-12)
    assert 0.0 < float(alone.delta_v_m_s - shared.delta_v_m_s) < 50.0


@pytest.mark.parametrize("share_turn", [False, True])
@pytest.mark.parametrize("target_turns", [0, 1])
def test_the_plan_meets_its_target(target_turns: int, share_turn: bool) -> None:
    """Each leg flown from Cartesian states, burns applied as vectors; the last burn's size comes out of the flight."""
    found = plan(target_turns, share_turn=share_turn)
    plane = Rotation.from_euler("ZX", [NODE, INCLINATION])
    r = plane.apply(CHASER_M * np.array([math.cos(CHASER_ARGUMENT), math.sin(CHASER_ARGUMENT), 0.0]))
    v = plane.apply(math.sqrt(GM / CHASER_M) * np.array([-math.sin(CHASER_ARGUMENT), math.cos(CHASER_ARGUMENT), 0.0]))
    r, v = kepler.propagate(r, v, float(found.node_wait_s), GM)
    assert r[2] == pytest.approx(0.0, abs=1e-3)
    semi = float(found.phasing_semi_major_m)
    transfer = 0.5 * (CHASER_M + TARGET_M)
    heading = v / np.linalg.norm(v)
    for k, axis in enumerate((semi, transfer)):
        # at the descending node a turn about the position carries the plane toward the equator
        heading = Rotation.from_rotvec(float(found.turns_rad[k]) * r / np.linalg.norm(r)).apply(heading)
        after = heading * math.sqrt(GM * (2.0 / CHASER_M - 1.0 / axis))
        assert float(np.linalg.norm(after - v)) == pytest.approx(float(found.burns_m_s[k]), abs=1e-3)
        r, v = kepler.propagate(r, after, float((found.phasing_s, found.transfer_s)[k]), GM)
    elapsed = float(found.node_wait_s + found.phasing_s + found.transfer_s)
    target_r, target_v = kepler.propagate(
        TARGET_M * np.array([math.cos(TARGET_LONGITUDE), math.sin(TARGET_LONGITUDE), 0.0]),
        math.sqrt(GM / TARGET_M) * np.array([-math.sin(TARGET_LONGITUDE), math.cos(TARGET_LONGITUDE), 0.0]),
        elapsed,
        GM,
    )
    assert r == pytest.approx(target_r, abs=1.0)
    assert float(np.linalg.norm(target_v - v)) == pytest.approx(float(found.burns_m_s[2]), abs=1e-3)


def test_a_target_that_comes_too_soon_leaves_no_time_to_phase() -> None:
    # 10 deg short of the meeting point it arrives long before a transfer of half a turn could
    found = transfers.phase_from_node(GM, CHASER_M, TARGET_M, INCLINATION, 0.0, math.radians(170.0), [0, 1])
    assert np.isnan(found.delta_v_m_s).tolist() == [True, False]
    assert np.isnan(found.phasing_s).tolist() == [True, False]
