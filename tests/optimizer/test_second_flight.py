"""The bundled scenarios flown a second time, by code that shares nothing with the planner."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest

from ..independent.oblate_flight import Oblate, slot_error_deg
from ..independent.plan_checker import check
from ..planned import planned, scenario_of

FOLDER = Path(__file__).parents[2] / "scenarios"
LIVES_ON_OBLATENESS = {"slow-drift.toml"}
"""Over a point mass nothing drifts, and no craft has the propellant to turn its plane."""
BUNDLED = sorted(path.name for path in FOLDER.glob("*.toml") if path.name not in LIVES_ON_OBLATENESS)


def over_a_point_mass(text: str) -> str:
    """The scenario with the body's oblateness taken out."""
    return re.sub(r"(?m)^\[body\]\n", "[body]\nj2 = 0.0\n", text, count=1)


@pytest.mark.parametrize("name", BUNDLED)
def test_every_plan_over_a_point_mass_keeps_every_limit(name: str) -> None:
    text = over_a_point_mass((FOLDER / name).read_text(encoding="utf-8"))
    body = scenario_of(text).body
    result = planned(text)
    assert result["plans"]
    assert check(text, result, spin=body.spin_rad_s, meridian=body.prime_meridian_rad) == []


@pytest.mark.parametrize("name", ["four-over-the-equator.toml", "low-mars.toml"])
def test_plans_over_an_oblate_body_end_in_their_slots(name: str) -> None:
    """Craft that start on an equatorial ring, flown under J2 by another integration in other coordinates.

    The planner's ring turns at the first-order rate n (1 + 3/4 eps), the exact one is n sqrt(1 + 3/2 eps): the second
    order, 9/32 eps^2, moves the slot itself once and the craft, by its speed at the start, three times as much.
    """
    text = (FOLDER / name).read_text(encoding="utf-8")
    scenario, result = scenario_of(text), planned(text)
    assert result["model"]["gravity"] == "j2"
    assert scenario.ring.inclination_rad == 0.0
    body = Oblate(scenario.body.gm, scenario.body.j2, scenario.body.j2_radius_m)
    radius = scenario.ring.radius_m
    eps = body.j2 * (body.radius / radius) ** 2
    orbits = {craft.name: craft.orbit for craft in scenario.craft}
    flown = 0
    for plan in (result["plans"][0], result["plans"][-1]):
        for item in plan["craft"]:
            orbit = orbits[item["craft"]]
            if not item["burns"] or orbit is None:
                continue
            assert orbit.circular
            slot = math.radians(result["ring"]["slot0_deg"] + 360.0 * item["slot"] / result["ring"]["slots"])
            start = orbit.angle_rad - body.rate(radius) * orbit.at_s
            error = slot_error_deg(body, radius, start, item["burns"], slot)
            turns = item["in_slot_s"] / result["ring"]["period_s"] + 1.0
            second_order = 4.0 * (9.0 / 32.0) * eps**2 * 360.0 * turns
            assert error == pytest.approx(item["flown"]["slot_error_deg"], abs=1.2 * second_order + 1e-5)
            assert abs(error) < math.degrees(scenario.ring.tolerance_rad)
            flown += 1
    assert flown >= 4
