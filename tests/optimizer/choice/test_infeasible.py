"""Where no plan keeps the limits: the limit that binds is named, and the value named does serve."""

from __future__ import annotations

import json
from typing import Any

import pytest

from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.models.scenario import Scenario
from ringwright.optimizer.plan import make_plan
from ringwright.reports.result import result_text

RING = """
title = "Two over Quill"
[body]
name = "Quill"
gm_km3_s2 = 5200.0
radius_km = 1500.0
atmosphere_top_km = 50.0
sidereal_day_h = 30.0
[ring]
altitude_km = 1500.0
slots = 4
slot0_deg = 0.0
"""
REED = """
[[craft]]
name = "Reed"
dry_mass_kg = 100.0
propellant_kg = {propellant}
isp_s = 250.0
orbit = {{ altitude_km = 1500.0, angle_deg = 330.0 }}
[[ring.occupied]]
name = "Moss"
slot = 1
[[ring.occupied]]
name = "Fern"
slot = 2
[[ring.occupied]]
name = "Sedge"
slot = 3
"""
PAD = """
[launch]
latitude_deg = 0.0
longitude_deg = 10.0
turnaround_h = 9.0
ascent_min = 8.0
downrange_deg = 14.0
insertion = { periapsis_km = -200.0, apoapsis_km = 1500.0, altitude_km = 120.0 }
[[craft]]
name = "Rush"
[[craft]]
name = "Teasel"
"""


def _scenario(limits: str, craft: str = REED.format(propellant=60.0), settings: tuple[str, ...] = ()) -> Scenario:
    return parse_scenario(RING + "[limits]\n" + limits + craft, settings=settings)


def _result(scenario: Scenario) -> dict[str, Any]:
    result: dict[str, Any] = json.loads(result_text(make_plan(scenario)))
    return result


CASES = {
    "limits.finish_within_h": ("finish_within_h = 1.0\n", REED.format(propellant=60.0)),
    "limits.wait_within_h": ("wait_within_h = 1.0\n", REED.format(propellant=60.0)),
    "limits.apoapsis_max_km": ("apoapsis_max_km = 1500.0\nclearance_km = 1350.0\nrevolutions_max = 1\n",
                               REED.format(propellant=60.0)),
    "limits.clearance_km": ("clearance_km = 1440.0\napoapsis_max_km = 1510.0\nrevolutions_max = 2\n",
                            REED.format(propellant=60.0)),
    "limits.revolutions_max": ("clearance_km = 1440.0\napoapsis_max_km = 1510.0\nrevolutions_max = 2\n",
                               REED.format(propellant=60.0)),
    "craft.Reed.propellant_kg": ("revolutions_max = 1\n", REED.format(propellant=0.5)),
}  # fmt: skip


@pytest.mark.parametrize("limit", sorted(CASES))
def test_the_value_named_serves_and_a_hair_less_does_not(limit: str) -> None:
    limits, craft = CASES[limit]
    result = _result(_scenario(limits, craft))
    assert result["plans"] == []
    named = {bind["limit"]: bind["serves"] for bind in result["infeasible"]["binds"]}
    assert not result["infeasible"]["together"]
    assert limit in named
    for key, serves in named.items():
        assert _result(_scenario(limits, craft, (f"{key}={serves}",)))["plans"], f"{key} = {serves} does not serve"
    hair = {"limits.revolutions_max": -1, "limits.clearance_km": 0.2}.get(limit, -0.05)
    if limit == "craft.Reed.propellant_kg":
        hair = -0.15
    if limit == "limits.apoapsis_max_km":
        hair = -1.5
    assert not _result(_scenario(limits, craft, (f"{limit}={named[limit] + hair}",)))["plans"]


def test_a_separation_that_nobody_can_keep_is_named() -> None:
    """Half a turn away in two revolutions at most: after one the craft is where Sedge is."""
    craft = REED.format(propellant=60.0).replace("angle_deg = 330.0", "angle_deg = 182.0")
    limits = "revolutions_max = 2\nclearance_km = 300.0\napoapsis_max_km = 1500.0\nseparation_km = 100.0\n"
    result = _result(_scenario(limits, craft))
    assert result["plans"] == []
    named = {bind["limit"]: bind["serves"] for bind in result["infeasible"]["binds"]}
    assert "limits.separation_km" in named
    served = _result(_scenario(limits, craft, (f"limits.separation_km={named['limits.separation_km']}",)))
    assert served["plans"]
    assert served["plans"][0]["craft"][0]["closest_km"] >= named["limits.separation_km"] - 1e-3


def test_two_limits_that_bind_together_are_both_named() -> None:
    limits = "finish_within_h = 1.0\nwait_within_h = 1.0\n"
    result = _result(_scenario(limits))
    found = result["infeasible"]
    assert found["together"]
    assert {bind["limit"] for bind in found["binds"]} == {"limits.finish_within_h", "limits.wait_within_h"}
    settings = tuple(f"{bind['limit']}={bind['serves']}" for bind in found["binds"])
    assert _result(_scenario(limits, settings=settings))["plans"]
    assert not _result(_scenario(limits, settings=settings[:1]))["plans"]


def test_launches_that_cannot_all_finish_in_time() -> None:
    limits = "finish_within_h = 8.0\n"
    result = _result(_scenario(limits, PAD))
    named = result["infeasible"]
    assert named["limit"] == "limits.finish_within_h"
    assert _result(_scenario(limits, PAD, (f"limits.finish_within_h={named['serves']}",)))["plans"]
    assert not _result(_scenario(limits, PAD, (f"limits.finish_within_h={named['serves'] - 0.05}",)))["plans"]
