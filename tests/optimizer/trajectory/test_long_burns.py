"""Burns that take time: planned with their loss, flown as arcs of constant thrust, kept within what the engine can do.

Sources: the rocket equation (Tsiolkovsky 1903); arcs of constant thrust integrated by scipy's DOP853 in Cartesian
coordinates, written for these tests; that a burn turned through w loses about w^2 / 24: the mean of cos over the arc
and the lever of its ends, second order, derived in the tests' own words below.
"""

from __future__ import annotations

import itertools
import math
from functools import lru_cache
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from ringwright.tests.tolerances import (
    FLOAT_S,
    FLOWN_REL,
    MILLIMETER_M_S,
    MILLISECOND_S,
    PRINTED_DEG,
    SAMPLED_REL,
    SUMMED_KG,
)

from ...planned import outcome_of, planned, scenario_of
from ..routes.test_carrier import CIRCULAR, GM, RING_M, TURN_S, arrival_speed, world

G0 = 9.80665
ISP_S = 300.0
DRY_KG, TANK_KG = 200.0, 150.0
ONE = ("Sorrel",)


def engine(thrust_n: float, more: str = "") -> str:
    return f"dry_mass_kg = {DRY_KG}\npropellant_kg = {TANK_KG}\nisp_s = {ISP_S}\nthrust_n = {thrust_n!r}\n{more}\n"


def launched(thrust_n: float, more: str = "", limits: str = "") -> str:
    return world(names=ONE, masses=engine(thrust_n, more), launch="until_h = 0.0", limits=limits)


@lru_cache
def waiting(thrust_n: float, more: str = "") -> str:
    """A craft on the ring, its slot behind it."""
    there = "orbit = { altitude_km = 2400.0, angle_deg = 50.0 }\nready_h = 2.0\n"
    text = world(names=ONE, masses=there + engine(thrust_n, more), ring="slot0_deg = 0.0")
    return text


def thrust_arc(state: np.ndarray, mass: float, thrust_n: float, aim: np.ndarray, lasts_s: float) -> np.ndarray:
    """Constant thrust in one direction under a point mass; the mass falls with it."""
    flow = thrust_n / (ISP_S * G0)

    def rate(t: float, y: np.ndarray) -> np.ndarray:
        r = float(np.linalg.norm(y[:3]))
        return np.concatenate([y[3:], -GM / r**3 * y[:3] + thrust_n / (mass - flow * t) * aim])

    found = solve_ivp(rate, (0.0, lasts_s), state, method="DOP853", rtol=1e-12, atol=1e-6)
    return np.asarray(found.y[:, -1])


def coast(state: np.ndarray, lasts_s: float) -> np.ndarray:
    if abs(lasts_s) < FLOAT_S:
        return state

    def rate(_: float, y: np.ndarray) -> np.ndarray:
        r = float(np.linalg.norm(y[:3]))
        return np.concatenate([y[3:], -GM / r**3 * y[:3]])

    found = solve_ivp(rate, (0.0, lasts_s), state, method="DOP853", rtol=1e-12, atol=1e-6)
    return np.asarray(found.y[:, -1])


@pytest.mark.parametrize("thrust_n", [2000.0, 120.0])
def test_a_craft_on_the_ring_flown_again_ends_in_its_slot(thrust_n: float) -> None:
    found = planned(waiting(thrust_n))
    assert found["model"]["burns"] == "finite"
    item = found["plans"][0]["craft"][0]
    assert len(item["burns"]) == 2
    angle = math.radians(50.0)
    state = np.array(
        [RING_M * math.cos(angle), RING_M * math.sin(angle), 0.0, -CIRCULAR * math.sin(angle),
         CIRCULAR * math.cos(angle), 0.0]
    )  # fmt: skip
    now, mass = 0.0, DRY_KG + TANK_KG
    for burn in item["burns"]:
        lasts = mass * -math.expm1(-burn["delta_v_m_s"] / (ISP_S * G0)) * ISP_S * G0 / thrust_n
        assert burn["duration_s"] == pytest.approx(lasts, rel=FLOWN_REL)
        lit = burn["time_s"] - 0.5 * lasts
        state = coast(state, lit - now)
        # the direction is that of the impulse, in the axes that the craft would have at its moment without the burn
        there = coast(state, 0.5 * lasts)
        up = there[:3] / np.linalg.norm(there[:3])
        pole = np.cross(there[:3], there[3:])
        ahead = np.cross(pole / np.linalg.norm(pole), up)
        aim = burn["radial_m_s"] * up + burn["along_m_s"] * ahead
        state = thrust_arc(state, mass, thrust_n, aim / np.linalg.norm(aim), lasts)
        now, mass = lit + lasts, mass * math.exp(-burn["delta_v_m_s"] / (ISP_S * G0))
        assert burn["propellant_after_kg"] == pytest.approx(mass - DRY_KG, abs=SUMMED_KG)
        energy = 0.5 * float(state[3:] @ state[3:]) - GM / float(np.linalg.norm(state[:3]))
        period = 2.0 * math.pi * math.sqrt((-GM / (2.0 * energy)) ** 3 / GM)
        assert burn["period_after_s"] == pytest.approx(period, abs=MILLISECOND_S)
    gaps = []
    for k in range(48):
        moment = now + (k + 0.5) / 48.0 * TURN_S
        here = coast(state, moment - now)
        slot = 2.0 * math.pi * (item["slot"] / 4.0 + moment / TURN_S)
        gaps.append(math.remainder(math.atan2(here[1], here[0]) - slot, 2.0 * math.pi))
    assert math.degrees(abs(float(np.mean(gaps)))) < PRINTED_DEG


@pytest.mark.parametrize("thrust_n", [60.0, 150.0])
def test_the_estimate_of_the_loss_is_what_the_flight_finds(thrust_n: float) -> None:
    """A direction held to the stars is off the motion by up to w / 2 at the ends: the mean of 1 - cos is w^2 / 24."""
    ring = CIRCULAR - arrival_speed(110.0)
    item = cheapest(planned(launched(thrust_n)))
    turned = [2.0 * math.pi * burn["duration_s"] / TURN_S for burn in item["burns"]]
    estimate = sum(burn["delta_v_m_s"] * w**2 / 24.0 for burn, w in zip(item["burns"], turned, strict=True))
    assert item["delta_v_m_s"] - ring == pytest.approx(estimate, rel=SAMPLED_REL)


def cheapest(found: dict[str, Any]) -> dict[str, Any]:
    item: dict[str, Any] = found["plans"][0]["craft"][0]
    return item


def test_a_long_burn_is_split_over_two_passes_where_the_loss_is_worth_it() -> None:
    """One burn of 426 m/s into the ring, or two around a phasing orbit in between: alike for impulses."""
    ring = CIRCULAR - arrival_speed(110.0)
    strong, weak = cheapest(planned(launched(40_000.0))), cheapest(planned(launched(150.0)))
    assert [len(item["burns"]) for item in (strong, weak)] == [1, 2]
    assert strong["delta_v_m_s"] == pytest.approx(ring, abs=MILLIMETER_M_S)
    assert ring < weak["delta_v_m_s"] < ring * 1.01
    assert max(burn["delta_v_m_s"] for burn in weak["burns"]) < 0.75 * ring
    assert weak["in_slot_s"] > strong["in_slot_s"]
    assert weak["propellant_kg"] > strong["propellant_kg"]


def test_what_the_engine_cannot_do_is_not_planned() -> None:
    free = planned(launched(150.0))
    assert any(len(item["burns"]) == 2 for plan in free["plans"] for item in plan["craft"])
    once = planned(launched(150.0, "burns_max = 1"))
    assert all(len(item["burns"]) == 1 for plan in once["plans"] for item in plan["craft"])
    coarse = planned(launched(150.0, "burn_least_m_s = 180.0"))
    burns = [burn["delta_v_m_s"] for plan in coarse["plans"] for item in plan["craft"] for burn in item["burns"]]
    assert min(burns) > 175.0
    slow = planned(launched(150.0, "between_burns_h = 5.0"))
    assert slow["plans"]
    for plan in slow["plans"]:
        for item in plan["craft"]:
            ends = [(b["time_s"] - 0.5 * b["duration_s"], b["time_s"] + 0.5 * b["duration_s"]) for b in item["burns"]]
            assert all(later[0] - earlier[1] >= 5.0 * 3600.0 - 60.0 for earlier, later in itertools.pairwise(ends))


def test_without_a_thrust_nothing_changes() -> None:
    bare = world(names=ONE, masses=engine(1.0).replace("thrust_n = 1.0\n", ""), launch="until_h = 0.0")
    outcome = outcome_of(scenario_of(bare))
    assert planned(bare)["model"]["burns"] == "impulsive"
    assert all(part.engine is None for plan in outcome.plans for part in plan.craft)
    strong = cheapest(planned(launched(4e6)))
    assert strong["delta_v_m_s"] == pytest.approx(cheapest(planned(bare))["delta_v_m_s"], abs=MILLIMETER_M_S)
