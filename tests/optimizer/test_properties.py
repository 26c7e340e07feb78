"""What must hold whatever the scenario: every plan keeps every limit, and asking for less never costs more."""

from __future__ import annotations

import copy
import itertools
import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ..independent.plan_checker import check
from ..independent.scenario_maker import (
    Draft,
    in_larger_units,
    make,
    reordered,
    rotated,
    scaled,
    varied,
    with_limit,
    write_toml,
)
from ..planned import planned

QUICK = (500, 502, 503, 504, 506, 507, 508, 509, 511, 518, 522)
"""Scenarios of many kinds that are planned in about a second each; `test_relations.py` takes any number."""
FEW = settings(derandomize=True, deadline=None, max_examples=2, database=None)
MANY = settings(derandomize=True, deadline=None, max_examples=6, database=None)
SAME = 1e-7
"""Relative: two roads through floating point to the same plan; the result rounds a little below this."""
SAME_M_S = 2e-5
"""The result rounds to a micrometer a second."""
SAME_S = 1e-2
DIGIT_M_S, DIGIT_S = 0.1, 60.0
"""What is printed: plans that differ by less than this may print alike, and are then alike."""

numbers = st.sampled_from(QUICK)


def small(number: int) -> Draft:
    """A random scenario with one or two craft to move."""
    return make(number, crowd=2)


def planned_draft(draft: Draft) -> dict[str, Any]:
    """The result of a draft."""
    return planned(write_toml(draft))


def ends(result: dict[str, Any]) -> list[tuple[float, float]]:
    """Both ends of a front: (finish, delta-v) of its earliest and its cheapest point; empty without a plan."""
    points = result["front"]
    return [(points[i]["finish_s"], points[i]["delta_v_m_s"]) for i in (0, -1)] if points else []


def no_worse(better: dict[str, Any], worse: dict[str, Any]) -> None:
    """The first result, which was asked for less, is as early and as cheap as the second."""
    if not worse["plans"]:
        return
    assert better["plans"], "less was asked for, and yet there is no plan"
    slack = max(better["front_resolution_m_s"], DIGIT_M_S) + SAME_M_S
    assert round(better["front"][0]["finish_s"] / DIGIT_S) <= round(worse["front"][0]["finish_s"] / DIGIT_S)
    assert round(better["front"][-1]["delta_v_m_s"], 1) <= round(worse["front"][-1]["delta_v_m_s"], 1)
    for point in worse["front"]:
        in_time = [p["delta_v_m_s"] for p in better["front"] if p["finish_s"] <= point["finish_s"] + DIGIT_S]
        assert min(in_time) <= point["delta_v_m_s"] + slack


def same(one: dict[str, Any], two: dict[str, Any], speed: float = 1.0, time: float = 1.0) -> None:
    """Both results are the same but for a scale of speed and of time."""
    assert bool(one["plans"]) == bool(two["plans"])
    # what prints alike is alike, and scaling changes what does
    digit_m_s, digit_s = (SAME_M_S, SAME_S) if speed == time == 1.0 else (DIGIT_M_S, DIGIT_S)
    digit_s, either_m_s, both_m_s = digit_s * max(time, 1.0), digit_m_s * max(speed, 1.0), 2.0 * digit_m_s * speed
    for (finish, delta_v), (other_finish, other_delta_v) in zip(ends(one), ends(two), strict=True):
        assert other_finish == pytest.approx(finish * time, rel=SAME, abs=digit_s)
        assert other_delta_v == pytest.approx(delta_v * speed, rel=SAME, abs=either_m_s)
    if one["plans"]:
        first, other = one["plans"][0], two["plans"][0]
        assert other["delta_v_m_s"] == pytest.approx(first["delta_v_m_s"] * speed, rel=SAME, abs=both_m_s)
        if speed == time == 1.0:
            assert other["finish_s"] == pytest.approx(first["finish_s"], rel=SAME, abs=SAME_S)


@MANY
@given(numbers)
def test_every_plan_keeps_every_limit(number: int) -> None:
    text = write_toml(small(number))
    assert check(text, planned(text)) == []


def test_a_lone_launch_waits_for_its_pad() -> None:
    """Thresholds on the finish ask for liftoffs before the pad is ready here."""
    text = write_toml(make(52_043))
    assert check(text, planned(text)) == []


def test_a_slope_is_listed_as_finely_as_its_resolution() -> None:
    """The fast end of this front lies within a stride of the point before it; slowed, so that it prints as a slope."""
    result = planned(write_toml(scaled(make(16, craft="ground", exact_time=True), 1.0, 100.0)))
    slopes = [
        (slow["delta_v_m_s"] - fast["delta_v_m_s"], slow["finish_s"] - fast["finish_s"])
        for fast, slow in itertools.pairwise(result["front"])
        if fast["kind"] == "slope"
    ]
    assert slopes
    assert all(-dearer <= result["front_resolution_m_s"] + SAME_M_S for dearer, _ in slopes)
    assert sum(later < 1.0 for _, later in slopes) <= 1


@FEW
@given(numbers)
def test_pads_staying_craft_and_inclined_rings_keep_every_limit(number: int) -> None:
    text = write_toml(varied(small(number), number))
    assert check(text, planned(text)) == []


@pytest.mark.soak
@pytest.mark.parametrize("block", range(12))
def test_every_plan_keeps_every_limit_campaign(block: int) -> None:
    """Twenty-five scenarios a block, up to four craft."""
    for number in range(10_000 + 25 * block, 10_025 + 25 * block):
        text = write_toml(make(number))
        assert check(text, planned(text)) == [], number
        text = write_toml(varied(make(number), number))
        assert check(text, planned(text)) == [], number


@FEW
@given(numbers)
def test_more_time_never_costs_more(number: int) -> None:
    draft = small(number)
    more = with_limit(draft, "finish_within_s", 1.5 * draft["limits"]["finish_within_s"])
    no_worse(planned_draft(more), planned_draft(draft))


@FEW
@given(numbers)
def test_a_lower_floor_never_costs_more(number: int) -> None:
    draft = small(number)
    no_worse(planned_draft(with_limit(draft, "clearance_m", 0.0)), planned_draft(draft))


@FEW
@given(numbers)
def test_a_smaller_separation_never_costs_more(number: int) -> None:
    draft = small(number)
    closer, apart = with_limit(draft, "separation_m", 0.0), with_limit(draft, "separation_m", 100e3)
    no_worse(planned_draft(closer), planned_draft(apart))


@FEW
@given(numbers)
def test_more_revolutions_never_cost_more(number: int) -> None:
    draft = small(number)
    more = with_limit(draft, "revolutions_max", draft["limits"]["revolutions_max"] + 2)
    no_worse(planned_draft(more), planned_draft(draft))


@FEW
@given(numbers, st.floats(0.5, 3.0), st.floats(0.5, 3.0))
def test_scaling_lengths_and_times_scales_the_plan(number: int, length: float, time: float) -> None:
    """Speeds go as length over time: nothing in the planner may know a meter from a mile."""
    draft = small(number)
    same(planned_draft(draft), planned_draft(scaled(draft, length, time)), speed=length / time, time=time)


@FEW
@given(numbers)
def test_counting_the_slots_from_another_one_changes_nothing(number: int) -> None:
    draft = small(number)
    same(planned_draft(draft), planned_draft(rotated(draft)))


@FEW
@given(numbers)
def test_the_order_of_the_craft_changes_nothing(number: int) -> None:
    draft = small(number)
    same(planned_draft(draft), planned_draft(reordered(draft)))


@FEW
@given(numbers)
def test_the_units_change_nothing(number: int) -> None:
    draft = small(number)
    same(planned_draft(draft), planned_draft(in_larger_units(draft)))


@FEW
@given(numbers)
def test_the_mirror_image_is_the_same_problem(number: int) -> None:
    """A ring that goes the other way round over a body that turns the other way, longitudes counted the other way."""
    draft = small(number)
    mirrored = copy.deepcopy(draft)
    mirrored["ring"]["inclination_deg"] = 180.0 - draft["ring"]["inclination_deg"]
    mirrored["ring"]["node_deg"] = -draft["ring"]["node_deg"]
    if math.isfinite(draft["body"]["sidereal_day_s"]):
        mirrored["body"]["sidereal_day_s"] = -draft["body"]["sidereal_day_s"]
    mirrored["body"]["prime_meridian_deg"] = -draft["body"]["prime_meridian_deg"]
    if "launch" in mirrored:
        mirrored["launch"]["longitude_deg"] = -draft["launch"]["longitude_deg"]
    same(planned_draft(draft), planned_draft(mirrored))


@FEW
@given(st.floats(0.0, 360.0), st.integers(2, 6), st.integers(0, 5), st.floats(0.0, 20000.0))
def test_a_craft_in_its_slot_pays_nothing(angle_deg: float, slots: int, slot: int, ready_s: float) -> None:
    """No lead on the ring: no burn, and in its slot as soon as it is ready."""
    slot %= slots
    draft = make(5)
    draft.pop("launch", None)
    draft["ring"] = {"altitude_km": 2000.0, "slots": slots, "slot0_deg": angle_deg - slot * 360.0 / slots}
    draft["limits"] = {}
    draft["craft"] = [
        {
            "name": "Alder",
            "ready_s": ready_s,
            "orbit": {"periapsis_km": 2000.0, "apoapsis_km": 2000.0, "angle_deg": angle_deg},
        }
    ]
    draft["goal"] = {"minimize": "delta_v"}
    plan = planned_draft(draft)["plans"][0]
    assert plan["craft"][0]["slot"] == slot
    assert plan["delta_v_m_s"] == pytest.approx(0.0, abs=SAME_M_S)
    assert plan["finish_s"] == pytest.approx(ready_s, abs=SAME_S)


@FEW
@given(numbers)
def test_each_goal_is_best_in_its_own_measure(number: int) -> None:
    """Rank 1 of each goal, compared over all goals of the same scenario."""
    measures = {"delta_v": "delta_v_m_s", "finish": "finish_s", "worst_delta_v": "worst_delta_v_m_s"}
    draft = small(number)
    first = {}
    for goal in measures:
        draft["goal"] = {"minimize": goal}
        plans = planned_draft(draft)["plans"]
        first[goal] = plans[0] if plans else None
    assert len({plan is None for plan in first.values()}) == 1
    for goal, measure in measures.items():
        own = first[goal]
        for plan in first.values():
            if own is not None and plan is not None:
                assert own[measure] <= plan[measure] + (DIGIT_S if goal == "finish" else DIGIT_M_S)
    assert math.isfinite(sum(plan["finish_s"] for plan in first.values() if plan is not None))
