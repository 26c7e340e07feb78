"""Into another plane of the ring: by one burn where the planes cross, or by nodal drift.

Sources: spherical trigonometry (cosine rule for sides and angles, from memory; Vallado, Fundamentals of Astrodynamics
and Applications, 4th ed., section 6.4.2); secular node rate of a circular orbit (Vallado, equation 9-37); independent
flights of two-body arcs and, over an oblate body, by scipy's DOP853 in Cartesian coordinates.
"""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from ringwright.models.bodies import body
from ringwright.models.oblate_circles import pace
from ringwright.models.ring import Ring
from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.problem.in_space import Standing
from ringwright.optimizer.routes.plane_crossing import crossings
from ringwright.tests.tolerances import FLOAT_RAD, PRINTED_DEG, SECOND_ORDER_FACTOR, SLOT_DEG, UNSEEN_M_S

from ...independent.plan_checker import check
from ...planned import outcome_of, planned, scenario_of

TEXT = """
title = "Two planes close together"
[body]
name = "earth"
[ring]
altitude_km = 1500.0
slots = 2
planes = 2
spread_deg = 5.0
inclination_deg = 66.0
node_deg = 210.0
slot0_deg = 40.0
tolerance_deg = 0.5
[limits]
clearance_km = 350.0
finish_within_d = 12.0
revolutions_max = 6
[[craft]]
name = "Maple"
orbit = { altitude_km = 1500.0, plane = 1, angle_deg = 47.0 }
[[craft]]
name = "Hawthorn"
orbit = { altitude_km = 1500.0, plane = 1, angle_deg = 39.0 }
[[craft]]
name = "Elm"
orbit = { altitude_km = 1500.0, plane = 1, angle_deg = 31.0 }
"""
EARTH = body("earth")


@given(
    st.floats(0.05, 3.0),
    st.floats(0.02, 3.0),
    st.floats(-3.0, 3.0),
    st.integers(1, 2),
)
def test_planes_cross_where_spherical_trigonometry_says(lean: float, apart: float, angle: float, other: int) -> None:
    ring = Ring(
        radius_m=8e6, slots=3, rate_rad_s=9e-4, slot0_rad=0.0, gm=4e14, inclination_rad=lean, planes=3,
        spread_rad=3.0 * apart / other,
    )  # fmt: skip
    start = Standing(
        first_s=50.0, angle_rad=angle, speed_m_s=7e3, period_s=7e3, other_m=8e6, on_ring=True, passed_other=False
    )
    cosine = math.cos(lean) ** 2 + math.sin(lean) ** 2 * math.cos(apart)
    found = crossings(ring, start, 0, other)
    assert len(found) == 2
    for crossing in found:
        assert math.cos(crossing.turn_rad) == pytest.approx(cosine, abs=FLOAT_RAD)
        # for planes of one inclination both angles of where the craft is then lie alike about the highest latitude
        height = math.sin(lean) * math.sin(angle + 9e-4 * (crossing.time_s - 50.0))
        assert height == pytest.approx(math.sin(lean) * math.sin(crossing.angle_after_rad), abs=FLOAT_RAD)
    assert 0.0 <= found[0].time_s - 50.0 <= found[1].time_s - 50.0 <= 2.0 * math.pi / 9e-4 + 1e-6


def test_over_a_point_mass_the_turn_costs_what_the_textbook_says_and_is_flown_right() -> None:
    text = re.sub(r"(?m)^\[body\]\n", "[body]\nj2 = 0.0\n", TEXT, count=1)
    result = planned(text)
    scenario = scenario_of(text)
    assert check(text, result, spin=scenario.body.spin_rad_s, meridian=scenario.body.prime_meridian_rad) == []
    radius = scenario.ring.radius_m
    lean = scenario.ring.inclination_rad
    cosine = math.cos(lean) ** 2 + math.sin(lean) ** 2 * math.cos(math.radians(2.5))
    turn = 2.0 * math.sqrt(scenario.body.gm / radius) * math.sin(0.5 * math.acos(cosine))
    moved = [item for plan in result["plans"] for item in plan["craft"] if item["plane"] == 0]
    assert moved
    for item in moved:
        assert item["burns"][0]["delta_v_m_s"] == pytest.approx(turn, abs=UNSEEN_M_S)


TWO = TEXT.partition('[[craft]]\nname = "Elm"')[0].replace("slots = 2", "slots = 1")
"""Two craft and two slots, which have all the ways that three and four have."""


@pytest.mark.soak
def test_over_an_oblate_body_drift_is_cheaper_and_later_than_turning() -> None:
    routes: dict[str, list[tuple[float, float]]] = {"drift": [], "shift": []}
    for plan in outcome_of(scenario_of(TWO)).plans:
        assert not plan.broken
        for part in plan.craft:
            assert abs(math.degrees(part.flown.slot_error_rad)) < PRINTED_DEG
            assert math.degrees(part.flown.plane_error_rad) < 0.01
            if part.plane == 0:
                routes[part.route].append((part.delta_v_m_s, part.in_slot_s))
    assert routes["drift"]
    assert routes["shift"]
    cheapest, dearest = min(routes["drift"]), min(routes["shift"])
    assert cheapest[0] < dearest[0] + 200.0
    assert min(t for _, t in routes["drift"]) > min(t for _, t in routes["shift"])


def test_a_drift_flown_again_by_another_integration_ends_in_its_plane_and_slot() -> None:
    outcome = make_plan(scenario_of(TWO), brief=True)
    ring = outcome.ring
    part = next(p for plan in outcome.plans for p in plan.craft if p.route == "drift")
    flown = part.itinerary
    assert flown is not None
    assert len(part.burns) == 4
    state, now = np.concatenate([flown.position, flown.velocity]), flown.start_s
    for burn in part.burns:
        state, now = coasted(state, now, burn.time_s), burn.time_s
        r, v = state[:3], state[3:]
        up, pole = r / np.linalg.norm(r), np.cross(r, v) / np.linalg.norm(np.cross(r, v))
        state = np.concatenate(
            [r, v + burn.radial_m_s * up + burn.along_m_s * np.cross(pole, up) + burn.cross_m_s * pole]
        )
    errors, leans = [], []
    steps = 64
    for k in range(steps):
        time = now + (k + 0.5) / steps * ring.period_s
        here = coasted(state, now, time)
        node = ring.node(time, part.plane)
        lean = ring.inclination_rad
        towards = np.array([math.cos(node), math.sin(node), 0.0])
        ahead = np.array([-math.sin(node) * math.cos(lean), math.cos(node) * math.cos(lean), math.sin(lean)])
        angle = math.atan2(float(here[:3] @ ahead), float(here[:3] @ towards))
        errors.append(math.remainder(angle - float(ring.phase(time, part.slot, part.plane)), 2.0 * math.pi))
        pole = np.cross(here[:3], here[3:])
        leans.append(pole / np.linalg.norm(pole))
    assert math.degrees(abs(float(np.mean(errors)))) < SLOT_DEG
    mean = np.mean(leans, axis=0)
    node = ring.node(now + 0.5 * ring.period_s, part.plane)
    ours = np.array([math.sin(node) * math.sin(lean), -math.cos(node) * math.sin(lean), math.cos(lean)])
    assert math.degrees(math.acos(min(1.0, float(mean @ ours) / float(np.linalg.norm(mean))))) < 0.02


def coasted(state: np.ndarray, start_s: float, end_s: float) -> np.ndarray:
    """Flown by scipy under point mass and J2 (Vallado, section 8.7.1, from memory), time as it is."""
    if end_s <= start_s:
        return state
    strength = 1.5 * EARTH.j2 * EARTH.gm * EARTH.j2_radius_m**2

    def rate(_: float, y: np.ndarray) -> np.ndarray:
        x, z = y[:3], y[2]
        r = math.sqrt(float(x @ x))
        pull = -EARTH.gm / r**3 * x
        bulge = strength / r**5 * (np.array([x[0], x[1], 3.0 * z]) - 5.0 * z * z / r**2 * x)
        return np.concatenate([y[3:], pull - bulge])

    found = solve_ivp(rate, (start_s, end_s), state, method="DOP853", rtol=1e-12, atol=1e-6)
    assert found.success
    return np.asarray(found.y[:, -1])


def test_pace_of_circles_is_what_the_rates_leave_out() -> None:
    """Of the square of eps = J2 (Re / r)^2 for the way along, which is not nothing; of its cube for the node."""
    for low, high in ((6.9e6, 7.4e6), (8.0e6, 9.0e6)):
        found = pace(EARTH, math.radians(66.0), low, high)
        radius = np.linspace(low, high, 7)
        eps = EARTH.j2 * (EARTH.j2_radius_m / radius) ** 2
        unit = eps**2 * np.sqrt(EARTH.gm / radius**3)
        along, node = found.added(radius)
        assert np.all(np.abs(along) < SECOND_ORDER_FACTOR * unit)
        assert np.all(np.abs(along) > 0.01 * unit)
        assert np.all(np.abs(node) < SECOND_ORDER_FACTOR * eps * unit)
