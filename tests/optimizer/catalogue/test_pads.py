"""Pads in the planner: who goes up where, how heavy, when not, and on which heading."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from ringwright.tests.tolerances import TWO_DECIMALS

from ...independent.plan_checker import check
from ...independent.scenario_maker import Draft, write_toml
from ...planned import planned
from ...worlds import TESSALY

MASSES = {"dry_mass_kg": 300.0, "propellant_kg": 260.0, "isp_s": 310.0}
DRAFT: Draft = {
    "title": "two pads over Tessaly",
    "body": {**TESSALY},
    "ring": {"altitude_km": 1400.0, "slots": 4, "slot0_deg": 30.0},
    "limits": {"clearance_km": 20.0, "revolutions_max": 4, "separation_km": 0.0},
    "launch": [
        {
            "name": name,
            "latitude_deg": 0.0,
            "longitude_deg": longitude,
            "ready_h": 0.5,
            "turnaround_h": 3.0,
            "ascent_min": 7.0,
            "downrange_deg": 12.0,
            "insertion": {"periapsis_km": -300.0, "apoapsis_km": 1400.0, "altitude_km": 110.0},
        }
        for name, longitude in (("Trowel", -38.0), ("Bucket", 71.0))
    ],
    "craft": [{"name": name, **MASSES} for name in ("Alder", "Birch", "Cedar")],
    "goal": {"minimize": "finish"},
}


def pads_of(result: dict[str, Any]) -> dict[str, str]:
    return {item["craft"]: item["pad"] for item in result["plans"][0]["craft"]}


def test_a_craft_goes_up_where_it_may() -> None:
    draft = copy.deepcopy(DRAFT)
    draft["craft"][1]["pads"] = ["Bucket"]
    draft["craft"][2]["pads"] = ["Bucket"]
    draft["craft"][0]["pads"] = ["Trowel"]
    text = write_toml(draft)
    result = planned(text)
    assert check(text, result) == []
    assert result["plans"]
    for plan in result["plans"]:
        assert pads_of({"plans": [plan]}) == {"Alder": "Trowel", "Birch": "Bucket", "Cedar": "Bucket"}


def test_a_weak_launcher_takes_the_light_craft_only() -> None:
    draft = copy.deepcopy(DRAFT)
    draft["launch"][0]["payload_kg"] = 500.0
    draft["craft"][0]["propellant_kg"] = 190.0
    text = write_toml(draft)
    result = planned(text)
    assert check(text, result) == []
    assert {pad for craft, pad in pads_of(result).items() if craft != "Alder"} == {"Bucket"}


def test_nobody_lifts_off_in_a_blackout_or_after_the_last_date() -> None:
    free = planned(write_toml(DRAFT))
    first = min(item["launch_s"] for item in free["plans"][0]["craft"])
    draft = copy.deepcopy(DRAFT)
    for pad in draft["launch"]:
        pad["blackout"] = [{"from_s": first - 1800.0, "until_s": first + 7200.0}]
        pad["until_s"] = 80_000.0
    text = write_toml(draft)
    result = planned(text)
    assert check(text, result) == []
    assert result["plans"][0]["finish_s"] > free["plans"][0]["finish_s"]


@pytest.mark.parametrize(("inclination", "allowed"), [(0.0, True), (180.0, False)])
def test_a_corridor_to_the_east_forbids_a_ring_that_runs_west(inclination: float, allowed: bool) -> None:
    draft = copy.deepcopy(DRAFT)
    draft["ring"]["inclination_deg"] = inclination
    for pad in draft["launch"]:
        pad["azimuth_from_deg"], pad["azimuth_to_deg"] = 60.0, 140.0
    result = planned(write_toml(draft))
    assert bool(result["plans"]) is allowed
    if not allowed:
        assert "no flight azimuth into the ring plane" in result["infeasible"]["reason"]
        assert result["infeasible"]["limit"] == "launch.Trowel.azimuth_to_deg"
        draft["launch"][0]["azimuth_to_deg"] = result["infeasible"]["serves"]
        assert planned(write_toml(draft))["plans"]


def test_a_last_date_that_leaves_no_plan_is_named_with_one_that_serves() -> None:
    draft = copy.deepcopy(DRAFT)
    draft["launch"] = draft["launch"][:1]
    draft["launch"][0]["until_h"] = 5.0
    result = planned(write_toml(draft))
    assert result["infeasible"]["limit"] == "launch.until_h"
    # three liftoffs three hours apart from half an hour on
    assert result["infeasible"]["serves"] == pytest.approx(6.5, abs=TWO_DECIMALS)
    draft["launch"][0]["until_h"] = result["infeasible"]["serves"]
    assert planned(write_toml(draft))["plans"]
