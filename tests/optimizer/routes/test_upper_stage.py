"""The launcher's upper stage pays the first burns: against sums made by hand, and every choice tried.

Vis-viva and Kepler's third law from memory (Vallado, Fundamentals of Astrodynamics and Applications, 4th ed., chapters
1 and 2).
"""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringwright.models.scenario import UpperStage
from ringwright.models.upper_stage import paid_by_stage
from ringwright.optimizer.robustness.budget import make_budget
from ringwright.tests.tolerances import FLOAT, MILLIMETER_M_S, SOLVED, SUMMED_KG, SUMMED_M_S, UNSEEN_M_S

from ...planned import outcome_of, planned, scenario_of
from .test_carrier import BODY_M, CIRCULAR, FOUR, GM, RING_M, arrival_speed, carrier, world

LOW_M = BODY_M + 110.0e3
COAST_S = math.pi * math.sqrt((0.5 * (LOW_M + RING_M)) ** 3 / GM)
ONE = ("Sorrel",)
ALREADY = "slot0_deg = 77.0"


@given(
    st.lists(st.floats(0.0, 1000.0), min_size=1, max_size=5),
    st.floats(0.1, 3000.0),
    st.integers(0, 5),
)
def test_a_stage_pays_burn_by_burn_until_it_is_spent(sizes: list[float], able: float, in_time: int) -> None:
    after = [0.0 if i < in_time else 10.0 for i in range(len(sizes))]
    paid = paid_by_stage(UpperStage(delta_v_m_s=able, lasts_s=5.0), sizes, after).tolist()
    left = able
    for size, part, time in zip(sizes, paid, after, strict=True):
        ought = min(size, left) if time == 0.0 else 0.0
        assert part == pytest.approx(ought, abs=FLOAT)
        left -= part


def text(stage: str, *, parking: bool = False, masses: str = "") -> str:
    launch = f"until_h = 0.0\nupper_stage = {{ {stage} }}"
    return world(names=ONE, high_km=110.0 if parking else 2400.0, launch=launch, ring=ALREADY, masses=masses)


@pytest.mark.parametrize("able", [50.0, 300.0, 2000.0])
def test_what_the_stage_pays_the_craft_does_not(able: float) -> None:
    with_stage, without = planned(text(f"delta_v_m_s = {able!r}")), planned(text("delta_v_m_s = 0.001"))
    [item] = with_stage["plans"][0]["craft"]
    burnt = sum(burn["delta_v_m_s"] for burn in item["burns"])
    paid = sum(burn.get("by_stage_m_s", 0.0) for burn in item["burns"])
    assert paid == pytest.approx(min(able, burnt), abs=SOLVED)
    assert item["delta_v_m_s"] == pytest.approx(burnt - paid, abs=SUMMED_M_S)
    cheapest = without["plans"][0]["delta_v_m_s"] + 0.001
    assert with_stage["plans"][0]["delta_v_m_s"] == pytest.approx(max(cheapest - able, 0.0), abs=MILLIMETER_M_S)


@pytest.mark.parametrize("able", [100.0, 300.0, 900.0])
def test_within_its_time_the_best_choice_is_that_of_every_choice_tried(able: float) -> None:
    """It can pay the first burn at the ring, not the last: then it is worth burning more at once."""
    found = planned(text(f"delta_v_m_s = {able!r}, lasts_h = {(COAST_S + 60.0) / 3600.0!r}"))
    some = math.radians(found["plans"][0]["craft"][0]["lead_deg"])
    arrival, turn = arrival_speed(110.0), 2.0 * math.pi * math.sqrt(RING_M**3 / GM)
    least = math.inf
    for slot, k, m in itertools.product(range(4), range(1, 5), range(14)):
        lead = math.remainder(some + slot * math.pi / 2.0, 2.0 * math.pi)
        period = (m - lead / (2.0 * math.pi)) / k * turn
        if period <= 0.0:
            continue
        semi = (GM * (period / (2.0 * math.pi)) ** 2) ** (1.0 / 3.0)
        if 2.0 * semi - RING_M < BODY_M + 102.0e3:
            continue
        speed = math.sqrt(GM * (2.0 / RING_M - 1.0 / semi))
        least = min(least, max(abs(speed - arrival) - able, 0.0) + abs(CIRCULAR - speed))
    assert found["plans"][0]["delta_v_m_s"] == pytest.approx(least, abs=UNSEEN_M_S)


def test_the_stage_leaves_the_parking_orbit_and_pays_for_a_carrier() -> None:
    launch = "until_h = 0.0\nturnaround_h = 90.0\nupper_stage = { delta_v_m_s = 700.0, lasts_h = 9.0 }"
    found = planned(world(high_km=110.0, carriers=carrier(FOUR, 100.0), launch=launch))
    plan = found["plans"][0]
    [bus] = plan["carriers"]
    first = bus["burns"][0]
    ought = math.sqrt(2.0 * GM / LOW_M - 2.0 * GM / (LOW_M + RING_M)) - math.sqrt(GM / LOW_M)
    assert first["delta_v_m_s"] == pytest.approx(ought, abs=SUMMED_M_S)
    assert first["by_stage_m_s"] == pytest.approx(ought, abs=SUMMED_M_S)
    burnt = sum(burn["delta_v_m_s"] for burn in bus["burns"])
    assert bus["delta_v_m_s"] == pytest.approx(max(burnt - 700.0, 0.0), abs=SUMMED_M_S)
    assert bus["delta_v_m_s"] <= 100.0 + 1e-6


def test_propellant_is_that_of_the_craft_s_own_part() -> None:
    masses = "dry_mass_kg = 200.0\npropellant_kg = 150.0\nisp_s = 300.0"
    [item] = planned(text("delta_v_m_s = 150.0", masses=masses))["plans"][0]["craft"]
    used = 350.0 * -math.expm1(-item["delta_v_m_s"] / (300.0 * 9.80665))
    assert item["propellant_kg"] == pytest.approx(used, abs=SUMMED_KG)


def test_the_budget_covers_craft_that_a_carrier_drops() -> None:
    scenario = world(carriers=carrier(FOUR, 300.0), launch="until_h = 0.0\nturnaround_h = 50.0")
    outcome = outcome_of(scenario_of(scenario + "\n[errors]\nburn_share = 0.01\n"))
    budget = make_budget(outcome, samples=100)
    assert [one.planned_m_s for one in budget.craft] == [part.delta_v_m_s for part in outcome.plans[0].craft]
    assert all(one.by_law and one.delta_v_m_s[-1].value > one.planned_m_s for one in budget.craft)


def test_the_budget_covers_an_upper_stage() -> None:
    # what the stage pays is not in the craft's sum, its errors are felt all the same
    outcome = outcome_of(scenario_of(text("delta_v_m_s = 150.0") + "\n[errors]\nburn_share = 0.01\n"))
    budget = make_budget(outcome, samples=100)
    assert [one.planned_m_s for one in budget.craft] == [part.delta_v_m_s for part in outcome.plans[0].craft]
    assert all(one.delta_v_m_s[-1].value > one.planned_m_s for one in budget.craft)
