"""Further forces in words, in the check of a scenario; what a plan prints is read in tests/optimizer/robustness."""

from __future__ import annotations

from dataclasses import replace

from ringwright.models.force_choice import chosen_forces
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.optimizer.standing import UnderForces
from ringwright.reports.under_forces import nominal_forces, nominal_text, point_text
from ringwright.reports.understood import understood

RING = """
epoch = 2031-05-01T00:00:00Z
body = { name = "titan" }
ring = { altitude_km = 3000, slots = 3 }
craft = [{ name = "Teal", orbit = { altitude_km = 3000, angle_deg = 10 } }]
"""


def test_check_says_what_will_be_flown() -> None:
    text = " ".join(understood(parse_scenario(RING + "[forces]\n")).split())
    assert (
        "Plan 1 will be corrected for and flown with: bulge, degree 2, Saturn; left out: Sun, under 0.001 deg a year"
        in text
    )
    assert "(estimates, good to a factor of three)" in text


def test_nothing_without_the_table() -> None:
    assert "bulge alone" in understood(parse_scenario(RING, settings=["forces.further=false"]))


def test_a_sweep_says_what_forces_add_or_that_nothing_is_corrected() -> None:
    scenario = parse_scenario(RING)
    chosen = chosen_forces(scenario, 86_400.0)
    assert chosen.field.terms
    under = UnderForces(
        chosen=chosen, craft=(), common_shift_rad=0.0, at_s=0.0, span_s=1.0, corrected=True, added_m_s=-0.25
    )
    said = point_text(under, ["ring.altitude_km=400"])
    assert "(ring.altitude_km=400) the plan takes 0.25 m/s less once it is corrected for" in said
    assert point_text(None, []) == ""
    broken = replace(under, corrected=False, breaks=(("Teal", "limits.finish_within"),))
    assert "the plan is NOT FLOWN WITH" in point_text(broken, [])
    assert nominal_forces(1, under)["corrected_for"] == list(chosen.flown)
    assert nominal_forces(2, under)["corrected_for"] is None
    assert "0.25 m/s less than for the bulge alone" in nominal_text(scenario, 1, under, "")
    assert "NOT FLOWN WITH" in nominal_text(scenario, 1, broken, "")
    assert nominal_text(scenario, 1, None, "") == ""
