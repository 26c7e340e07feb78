"""The planner's front against an exhaustive search that shares no code with it.

At each listed finish the planner is never worse, its earliest finish is never later, and between two listed points the
search is better than the earlier of them by no more than the resolution that the result states.
"""

from __future__ import annotations

import copy
import math
from itertools import pairwise
from typing import Any

import pytest

from ringwright.optimizer.plan import make_plan

from ..independent.exhaustive import earliest_finish, lay_out, least_delta_v
from ..independent.plan_checker import check
from ..independent.scenario_maker import Draft, make, write_toml
from ..independent.small_reader import Case, read_case
from ..planned import planned, scenario_of
from ..worlds import TESSALY

WINDOW_S = 36.0 * 3600.0
SAME_M_S = 1e-5
"""The result rounds to a micrometer a second."""
SAME_S = 1e-2
"""Two plans that finish this close together finish together."""
DIGIT_M_S, DIGIT_S = 0.1, 60.0
"""What is printed: plans that differ by less than this may print alike, and are then alike."""
BETWEEN = (0.02, 0.35, 0.7, 0.98)
"""Where between two listed points the search is asked, as parts of the way."""


def taken_slots(case: Case, result: dict[str, Any]) -> set[int]:
    """Slots of the craft that stay."""
    return {int(item["slot"]) for item in result["kept"]}


def compare(draft: Draft, step_s: float = 10.0) -> str:
    """Assert all three claims. Return whether there was a plan."""
    text = write_toml(draft)
    result = planned(text)
    case = read_case(text)
    slot0 = math.radians(result["ring"]["slot0_deg"])
    search = lay_out(case, slot0, taken_slots(case, result), min(WINDOW_S, case.finish_within), step_s)
    first = earliest_finish(search)
    if not result["plans"]:
        assert math.isinf(first), f"the search finishes at {first} s, the planner finds no plan"
        return "no plan"
    assert check(text, result) == []
    front = result["front"]
    resolution = result["front_resolution_m_s"]
    assert round(front[0]["finish_s"] / DIGIT_S) <= round((first + SAME_S) / DIGIT_S)
    assert least_delta_v(search, front[0]["finish_s"] - DIGIT_S) == math.inf
    for point in front:
        least = least_delta_v(search, point["finish_s"])
        assert point["delta_v_m_s"] <= least + SAME_M_S, f"worse at {point['finish_s']} s"
    for early, late in pairwise(front):
        for part in BETWEEN:
            finish = early["finish_s"] + part * (late["finish_s"] - early["finish_s"])
            least = least_delta_v(search, finish)
            assert least >= early["delta_v_m_s"] - max(resolution, DIGIT_M_S) - SAME_M_S, f"much worse at {finish} s"
    assert round(least_delta_v(search) + SAME_M_S, 1) >= round(front[-1]["delta_v_m_s"], 1)
    return "planned"


def searchable(number: int, craft: str = "any") -> Draft:
    """A random scenario in which craft do not constrain one another but by slots and turnarounds."""
    return make(number, craft=craft, exact_time=True)


@pytest.mark.parametrize("number", [0, 2, 5, 8, 15, 19])
def test_launches(number: int) -> None:
    compare(searchable(number, "ground"), step_s=30.0)


@pytest.mark.parametrize("number", [1, 2, 5, 11, 15])
def test_launches_around_blackouts(number: int) -> None:
    """Two blackouts early in the window and a latest date: chains of turnarounds have to go round them."""
    draft = searchable(number, "ground")
    pad = draft["launch"]
    ready, turnaround = pad["ready_s"], pad["turnaround_s"]
    pad["blackout"] = [
        {"from_s": ready + 0.1 * turnaround, "until_s": ready + 0.7 * turnaround},
        {"from_s": ready + 1.2 * turnaround, "until_s": ready + 1.5 * turnaround},
    ]
    pad["until_s"] = ready + 3.1 * turnaround
    compare(draft, step_s=30.0)


@pytest.mark.parametrize("number", [100, 103, 105, 106, 107, 111])
def test_mixed_fleets(number: int) -> None:
    compare(searchable(number), step_s=30.0)


@pytest.mark.parametrize("number", [200, 202, 205, 207, 210, 215])
def test_craft_in_space(number: int) -> None:
    compare(searchable(number, "space"))


def test_a_window_of_36_hours_on_a_grid_of_10_seconds() -> None:
    """Four alike craft over Tessaly, fully searched."""
    draft: Draft = {
        "title": "four over Tessaly",
        "body": {**TESSALY},
        "ring": {"altitude_km": 1400.0, "slots": 4, "slot0_deg": 30.0},
        "limits": {
            "clearance_km": 20.0,
            "finish_within_h": 40.0,
            "wait_within_h": 20.0,
            "revolutions_max": 4,
            "apoapsis_max_km": 4000.0,
            "separation_km": 0.0,
        },
        "launch": {
            "latitude_deg": 0.0,
            "longitude_deg": -38.0,
            "ready_h": 0.5,
            "turnaround_h": 3.0,
            "ascent_min": 7.0,
            "downrange_deg": 12.0,
            "insertion": {"periapsis_km": -300.0, "apoapsis_km": 1400.0, "altitude_km": 110.0},
        },
        "craft": [{"name": name} for name in ("Alder", "Birch", "Cedar", "Dogwood")],
    }
    assert compare(draft) == "planned"


@pytest.mark.soak
@pytest.mark.parametrize("block", range(12))
def test_campaign(block: int) -> None:
    """Twenty-five scenarios a block."""
    for number in range(1000 + 25 * block, 1025 + 25 * block):
        compare(searchable(number, ("ground", "any", "space")[number % 3]))


def test_a_free_phase_with_craft_on_the_ring_is_the_best_of_its_rule() -> None:
    """Each phase at which one of them need not move, searched in turn; the planner takes the cheapest."""
    planned_any = 0
    for number in range(300, 312):
        draft = searchable(number, "space")
        draft["ring"].pop("occupied", None)
        draft["ring"]["slot0_deg"] = "free"
        draft["goal"] = {"minimize": "delta_v"}
        case = read_case(write_toml(draft))
        angles = [
            craft.orbit.angle - case.rate * craft.orbit.at_time
            for craft in case.craft
            if craft.orbit is not None and craft.orbit.at is None
        ]
        if not angles:
            continue
        least = math.inf
        for angle in angles:
            fixed = copy.deepcopy(draft)
            fixed["ring"]["slot0_deg"] = math.degrees(angle)
            least = min(least, least_delta_v(lay_out(read_case(write_toml(fixed)), angle, set(), WINDOW_S)))
        plans = make_plan(scenario_of(write_toml(draft)), brief=True).plans
        if not plans:
            assert math.isinf(least)
            continue
        planned_any += 1
        assert plans[0].delta_v_m_s == pytest.approx(least, abs=SAME_M_S)
    assert planned_any >= 3
