"""Several planes in one schedule: who goes into which, and that each is where Walker's notation puts it."""

from __future__ import annotations

import copy
import itertools
import math
from typing import Any

import numpy as np
import pytest

from ringwright.models.errors import InputError
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.optimizer.catalogue.catalogue import catalogue
from ringwright.optimizer.choice.selection import Selection
from ringwright.optimizer.flown_plans.flights import fly_all
from ringwright.optimizer.problem.option_key import flight_key
from ringwright.optimizer.problem.options import Options
from ringwright.optimizer.problem.problem import Problem
from ringwright.optimizer.problem.ring_phase import problems
from ringwright.tests.tolerances import CENTISECOND_S, FLOAT, FLOAT_DEG, METER_M, SLOT_DEG, SUMMED_M_S, WRITTEN_DEG

from ..independent.enumeration import from_ground
from ..independent.scenario_maker import Draft, write_toml
from ..independent.small_reader import read_case
from ..planned import planned, scenario_of
from .catalogue.test_ways_up import draft_with, passes_by_hand

PLANES, SLOTS, PHASING = 3, 2, 1
NODE_DEG, SLOT0_DEG = 40.0, 20.0


def pattern(**changes: Any) -> Draft:
    ring = {"slots": SLOTS, "planes": PLANES, "phasing": PHASING, **changes.pop("ring", {})}
    return draft_with(ring=ring, limits={"finish_within_d": 3.0, "revolutions_max": 3}, **changes)


def place(case_rate: float, plane: int, slot: int, time: float) -> tuple[float, float]:
    """Node and argument of latitude, rad, of a place of the pattern 6/3/1 (Walker 1984), written out."""
    node = math.radians(NODE_DEG + plane * 120.0)
    angle = math.radians(SLOT0_DEG + slot * 180.0 + plane * PHASING * 360.0 / 6.0)
    return node, angle + case_rate * time


def chosen_of(draft: Draft) -> tuple[Problem, Options]:
    problem = problems(scenario_of(write_toml(draft)))[0]
    best = Selection(catalogue(problem)).best(("delta_v", "finish"))
    assert best is not None
    return problem, best.options


def test_every_craft_ends_in_its_place_of_the_pattern() -> None:
    draft = pattern()
    draft["craft"] = [{"name": name} for name in ("Alder", "Birch", "Cedar", "Dogwood", "Elder", "Fir")]
    draft["launch"]["turnaround_h"] = 4.0
    draft["limits"]["finish_within_d"] = 6.0
    problem, options = chosen_of(draft)
    case = read_case(write_toml(draft))
    assert sorted(options.slot.tolist()) == list(range(6))
    flights = fly_all(problem, [options])
    for row in range(6):
        flight = flights.flights[flight_key(problem, options, row)]
        plane, slot = divmod(int(options.slot[row]), SLOTS)
        node, angle = place(case.rate, plane, slot, flight.itinerary.end_s)
        lean = case.inclination
        there = case.radius * np.array(
            [
                math.cos(angle) * math.cos(node) - math.sin(angle) * math.sin(node) * math.cos(lean),
                math.cos(angle) * math.sin(node) + math.sin(angle) * math.cos(node) * math.cos(lean),
                math.sin(angle) * math.sin(lean),
            ]
        )
        assert np.linalg.norm(flight.end_state[:3] - there) < METER_M
        pole = np.cross(flight.end_state[:3], flight.end_state[3:])
        pole /= np.linalg.norm(pole)
        expected = [math.sin(lean) * math.sin(node), -math.sin(lean) * math.cos(node), math.cos(lean)]
        assert pole == pytest.approx(expected, abs=FLOAT)


def test_two_launches_over_all_planes_tried_in_turn() -> None:
    """Each plane by itself as another scenario in another's code, every pair of passes and places: the same least."""
    draft = pattern()
    text = write_toml(draft)
    result = planned(text)
    options = {}
    for plane in range(PLANES):
        alone = copy.deepcopy(draft)
        del alone["ring"]["planes"], alone["ring"]["phasing"]
        alone["ring"]["node_deg"] = NODE_DEG + 120.0 * plane
        case = read_case(write_toml(alone))
        _, slot0 = place(case.rate, plane, 0, 0.0)
        for time in passes_by_hand(case, case.finish_within):
            for slot in range(SLOTS):
                found = from_ground(case, case.craft[0], case.pads[0], time, slot, slot0)
                options[time, plane, slot] = [(o.delta_v, o.finish) for o in found]
    least, soonest = math.inf, math.inf
    turnaround = case.pads[0].turnaround
    for one, other in itertools.permutations(options, 2):
        if one[1:] == other[1:] or other[0] - one[0] < turnaround:
            continue
        for (spent, early), (more, late) in itertools.product(options[one], options[other]):
            least = min(least, spent + more)
            soonest = min(soonest, max(early, late))
    assert result["front"][-1]["delta_v_m_s"] == pytest.approx(least, abs=SUMMED_M_S)
    assert result["front"][0]["finish_s"] == pytest.approx(soonest, abs=CENTISECOND_S)
    assert {item["plane"] for item in result["plans"][0]["craft"]} <= {0, 1, 2}


def test_craft_in_space_keep_to_their_plane_if_they_can_and_staying_ones_to_their_place() -> None:
    draft = pattern()
    altitude = draft["ring"]["altitude_km"]
    del draft["launch"]
    draft["ring"]["occupied"] = [{"name": "Rowan", "plane": 1, "slot": 0}]
    draft["craft"] = [
        {"name": "Alder", "orbit": {"altitude_km": altitude, "angle_deg": 10.0, "plane": 1}},
        {"name": "Birch", "orbit": {"altitude_km": altitude, "angle_deg": 10.0, "plane": 2}},
    ]
    result = planned(write_toml(draft))
    assert result["kept"] == [{"craft": "Rowan", "plane": 1, "slot": 0, "error_deg": 0.0}]
    # turning into another plane is dear: a craft that is not in a hurry keeps to its own
    seats = {item["craft"]: (item["plane"], item["slot"]) for item in result["plans"][0]["craft"]}
    assert seats["Alder"] == (1, 1)
    assert seats["Birch"][0] == 2
    assert result["plans"]
    for plan in result["plans"]:
        assert all(item["flown"]["plane_error_deg"] < 1e-5 for item in plan["craft"])


def test_a_free_phase_is_that_of_craft_measured_in_any_plane() -> None:
    """Slot 0 of plane 2 is 2 * 60 deg ahead in a pattern 6/3/1: a craft at 77 deg there puts slot 0 at 77 - 120."""
    draft = pattern(ring={"slot0_deg": "free", "occupied": [{"name": "Rowan", "plane": 2, "angle_deg": 77.0}]})
    result = planned(write_toml(draft))
    assert result["ring"]["slot0_deg"] % 180.0 == pytest.approx((77.0 - 120.0) % 180.0, abs=WRITTEN_DEG)
    assert result["kept"][0]["plane"] == 2
    assert result["kept"][0]["error_deg"] == pytest.approx(0.0, abs=FLOAT_DEG)


def test_over_an_oblate_body_the_planes_drift_together() -> None:
    body = {"j2": 1.08262668355e-3, "j2_radius_km": 6378.1363}
    result = planned(write_toml(pattern(body=body)))
    assert result["plans"]
    for plan in result["plans"]:
        assert plan["within_limits"]
        for item in plan["craft"]:
            assert item["flown"]["plane_error_deg"] < 1e-3
            assert abs(item["flown"]["slot_error_deg"]) < SLOT_DEG


@pytest.mark.parametrize("change", ["phasing = 3", "phasing = 7"])
def test_phasing_counts_below_the_planes(change: str) -> None:
    text = write_toml(pattern()).replace("phasing = 1", change)
    with pytest.raises(InputError, match="should be below planes"):
        parse_scenario(text)


def test_a_pattern_whose_planes_meet_is_warned_of() -> None:
    """Polar planes with no phasing: slots at the same argument of latitude all meet at the poles."""
    draft = pattern(ring={"phasing": 0, "inclination_deg": 90.0, "slot0_deg": 0.0})
    draft["limits"]["separation_km"] = 50.0
    scenario = scenario_of(write_toml(draft))
    assert any("where planes cross" in warning for warning in scenario.warnings)
