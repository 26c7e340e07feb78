"""How long orbits last that are left alone, and what craft burn in the end: a low ring, a carrier, other ways down."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from ringwright.models.disposal import lowering_m_s, raise_m, raising_m_s
from ringwright.models.units import YEAR_S
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.robustness.budget import make_budget
from ringwright.optimizer.robustness.disposal import disposals
from ringwright.reports.budget import budget_json, budget_text
from ringwright.reports.result import result
from ringwright.reports.sheet.sheet import sheets
from ringwright.reports.terminal import plan_text
from ringwright.tests.tolerances import EXACT, FLOAT_M_S, SQUARED_REL

from ...planned import outcome_of, scenario_of

RING = """
body = {{ name = "{body}" }}
ring = {{ altitude_km = {altitude_km}, slots = 2, slot0_deg = 0 }}
limits = {{ revolutions_max = 2 }}
disposal = {{ within_years = {years} }}
errors = {{ burn_share = 0.01 }}
[[craft]]
name = "Larch"
orbit = {{ altitude_km = {altitude_km}, angle_deg = 10 }}
dry_mass_kg = 100
propellant_kg = {propellant_kg}
isp_s = 300
"""


def _planned(body: str, altitude_km: float, years: float = 25.0, propellant_kg: float = 200.0) -> Outcome:
    text = RING.format(body=body, altitude_km=altitude_km, years=years, propellant_kg=propellant_kg)
    return outcome_of(scenario_of(text))


def test_a_low_ring_comes_down_by_itself() -> None:
    outcome = _planned("earth", 400.0)
    ring = next(one for one in outcome.left_alone if one.what == "ring")
    phasing = next(one for one in outcome.left_alone if one.what == "phasing")
    assert ring.forces == ("drag",)
    assert 0.0 < ring.lasts_s < YEAR_S
    # where it phases higher up the air is thinner
    assert (phasing.lasts_s > ring.lasts_s) == (phasing.apoapsis_m > ring.apoapsis_m + 1.0)
    own = disposals(outcome)[0]
    assert (own.way, own.delta_v_m_s, own.lasts_s) == ("none", 0.0, ring.lasts_s)
    text = " ".join(plan_text(outcome).split())
    assert "Left alone" in text
    assert "The ring's orbit: re-enters after about" in text
    assert "a factor of two and more" in text
    said = result(outcome)["left_alone"]
    assert said[0]["lasts_s"] == round(ring.lasts_s)
    after = sheets(outcome, outcome.plans[0])[0].blocks[-1].remarks[-1]
    assert after.startswith("The ring's orbit left alone: re-enters after about")
    assert "(an estimate by drag)" in after


def test_the_factor_on_the_air_counts_where_no_force_is_flown() -> None:
    """As in ``budget``, which plans by the bulge alone: what lasts in air twice as dense lasts half as long."""
    text = RING.format(body="earth", altitude_km=400.0, years=25.0, propellant_kg=200.0)
    dense = replace(scenario_of(f"{text}[forces]\ndensity_factor = 2.0\n"), forces=None)
    thick, thin = disposals(outcome_of(dense))[0], disposals(_planned("earth", 400.0))[0]
    assert thick.way == thin.way == "none"
    assert thick.lasts_s == pytest.approx(0.5 * thin.lasts_s, rel=SQUARED_REL)


@pytest.mark.parametrize("forces", ["drag = false\n", "further = false\ndegree = 4\n"])
def test_drag_that_is_turned_off_brings_nothing_down(forces: str) -> None:
    """Neither in ``plan`` nor in ``budget``, which plans by the bulge alone; what is printed says so."""
    text = RING.format(body="earth", altitude_km=400.0, years=25.0, propellant_kg=200.0)
    given = scenario_of(f"{text}[forces]\n{forces}")
    outcome = outcome_of(replace(given, forces=None))
    assert all("drag" not in one.forces for one in outcome.left_alone)
    own = disposals(outcome)[0]
    assert (own.way, own.forces) == ("ground", ())
    assert own.delta_v_m_s == pytest.approx(
        lowering_m_s(outcome.ring.gm, outcome.ring.radius_m, given.body.radius_m), abs=FLOAT_M_S
    )
    said = " ".join(budget_text(make_budget(outcome, 200), 80).split())
    assert "periapsis on the ground: drag is turned off" in said
    assert "Without drag, which the table forces turns off, though there is air." in said
    assert "Density of the air" not in said


def test_nothing_is_said_where_nothing_is_asked() -> None:
    text = RING.format(body="earth", altitude_km=400.0, years=25.0, propellant_kg=200.0)
    outcome = outcome_of(scenario_of(text.replace("disposal = { within_years = 25.0 }\n", "")))
    assert outcome.left_alone == ()
    assert disposals(outcome) == ()
    assert "left_alone" not in result(outcome)
    assert "Left alone" not in plan_text(outcome)


def test_the_periapsis_is_as_low_as_the_time_asks_for() -> None:
    outcome = _planned("earth", 800.0)
    own = disposals(outcome)[0]
    assert own.way == "decay"
    assert own.lasts_s <= 25.0 * YEAR_S
    assert own.delta_v_m_s == pytest.approx(
        lowering_m_s(outcome.ring.gm, outcome.ring.radius_m, own.to_m), abs=FLOAT_M_S
    )
    # a little higher lasts too long: the search ends at a thousandth of the way down
    assert own.lasts_s > 24.0 * YEAR_S
    sooner = disposals(_planned("earth", 800.0, years=1.0))[0]
    assert sooner.to_m < own.to_m
    assert sooner.delta_v_m_s > own.delta_v_m_s


def test_a_synchronous_ring_is_left_upward_and_others_without_air_for_the_ground() -> None:
    outcome = _planned("earth", 35_786.0)
    own = disposals(outcome)[0]
    here_m = outcome.ring.radius_m
    assert own.way == "raise"
    assert own.to_m - here_m == pytest.approx(raise_m(outcome.scenario.craft[0].surface.light_m2_kg))
    assert own.delta_v_m_s == pytest.approx(raising_m_s(outcome.ring.gm, here_m, own.to_m), abs=FLOAT_M_S)
    over_moon = _planned("moon", 2000.0)
    down = disposals(over_moon)[0]
    assert (down.way, down.to_m) == ("ground", over_moon.scenario.body.radius_m)


def test_it_is_a_line_of_its_own_in_the_budget() -> None:
    budget = make_budget(_planned("earth", 800.0, propellant_kg=3.0), 1000)
    one, kg = budget.disposal[0], budget.disposal_kg[0]
    assert kg is not None
    p99 = budget.craft[0].delta_v_m_s[-1].value
    exhaust_m_s = 300.0 * 9.80665
    both = 100.0 * math.expm1((p99 + one.delta_v_m_s) / exhaust_m_s)
    assert kg == pytest.approx(both - 100.0 * math.expm1(p99 / exhaust_m_s), rel=EXACT * 1e3)
    text = " ".join(budget_text(budget, 80).split())
    assert "Disposal" in text
    assert "periapsis lowered to" in text
    needed = p99 + one.delta_v_m_s
    assert ("Larch DOES NOT HOLD ENOUGH" in text) == (needed > budget.craft[0].available_m_s)
    assert '"way": "decay"' in budget_json(budget)


@pytest.mark.parametrize(("body", "said"), [("moon", "there is no air"), ("jupiter", "no density of its air")])
def test_a_burn_to_the_ground_says_why(body: str, said: str) -> None:
    text = " ".join(budget_text(make_budget(_planned(body, 2000.0, years=0.01), 200), 80).split())
    assert f"periapsis on the ground: {said}" in text
