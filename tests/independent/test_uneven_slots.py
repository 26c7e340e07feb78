"""Slots that are not equally spaced, against exhaustive searches in plain loops, and flown from what is printed.

The searches read the scenario with the small reader and share no code with the planner (``enumeration.py``,
``exhaustive.py``): where a slot is they take from the list as it is typed.
"""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from ringwright.cli import main
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.optimizer.plan import make_plan

from ..optimizer.test_against_exhaustive import compare, searchable
from ..planned import planned, scenario_of
from .plan_checker import check
from .printed_flight import fly_printed
from .scenario_maker import Draft, write_toml
from .small_reader import read_case
from .test_ring_phase import DIGIT, OFF_DEG, Phase

GRID = 120
"""Phases evenly over a turn, besides those at which somebody is in place."""

SPACE = """
title = "Clustered"
[body]
name = "{body}"
{world}
[ring]
altitude_km = {altitude}
slots_deg = {slots}
slot0_deg = {slot0}
inclination_deg = {inclination}
{more}
[limits]
finish_within_d = 3.0
revolutions_max = {revolutions}
separation_km = {apart}
[goal]
minimize = "{goal}"
"""
LOOSE = '[[craft]]\nname = "C{number}"\norbit = {{ altitude_km = {altitude}, angle_deg = {angle}, plane = {plane} }}\n'
SABLE = "gm_km3_s2 = 42000.0\nradius_km = 3400.0"


def _space(
    slots: list[float],
    angles: list[float],
    *,
    goal: str = "delta_v",
    slot0: str = '"free"',
    body: str = "Sable",
    inclination: float = 0.0,
    more: str = "",
    planes: int = 1,
    revolutions: int = 4,
    apart: float = 0.0,
) -> str:
    altitude = 2400.0 if body == "Sable" else 900.0
    text = SPACE.format(
        body=body,
        world=SABLE if body == "Sable" else "",
        altitude=altitude,
        slots=slots,
        slot0=slot0,
        inclination=inclination,
        more=more,
        goal=goal,
        revolutions=revolutions,
        apart=apart,
    )
    for number, angle in enumerate(angles):
        text += LOOSE.format(number=number, altitude=altitude, angle=angle, plane=number % planes)
    return text


PATTERNS = (
    ([0.0, 30.0, 140.0, 250.0], [10.0, 100.0, 300.0]),
    # the pattern comes round after half a turn, so that phases repeat there
    ([0.0, 40.0, 180.0, 220.0], [0.0, 90.0, 180.0]),
    ([0.0, 15.0, 30.0], [5.0, 200.0, 210.0]),
)
GOALS = ("delta_v", "worst_delta_v", "finish")


@pytest.mark.parametrize(
    ("pattern", "goal"),
    [
        pytest.param(pattern, goal, marks=[] if GOALS[number] == goal else pytest.mark.soak)
        for number, pattern in enumerate(PATTERNS)
        for goal in GOALS
    ],
)
def test_no_phase_and_no_order_is_better(pattern: tuple[list[float], list[float]], goal: str) -> None:
    slots, angles = pattern
    text = _space(slots, angles, goal=goal)
    case, outcome = read_case(text), make_plan(scenario_of(text), brief=True)
    phases = [
        *(math.tau * i / GRID for i in range(GRID)),
        *((math.radians(angle) - case.slot_at(slot)) % math.tau for angle in angles for slot in range(case.slots)),
    ]
    least = min(Phase(case, phase).least(goal) for phase in phases)
    plan = outcome.plans[0]
    value = {"delta_v": plan.delta_v_m_s, "worst_delta_v": plan.worst_delta_v_m_s, "finish": plan.finish_s}[goal]
    assert outcome.proof is not None
    assert outcome.proof.phases is not None
    assert outcome.proof.phases.proved
    assert value <= least + DIGIT[goal]
    there = Phase(case, float(plan.slot0_rad or 0.0)).least(goal)
    assert there - DIGIT[goal] <= value <= there + DIGIT[goal]


def _uneven(draft: Draft, number: int) -> Draft:
    """The same scenario with its slots moved apart from even; craft that stay keep to theirs."""
    ring, rng = draft["ring"], np.random.default_rng(number)
    count = ring.pop("slots")
    spacing = 360.0 / count
    moved = [0.0, *(round(float(rng.uniform(-0.4, 0.4)) * spacing, 3) for _ in range(count - 1))]
    ring["slots_deg"] = [round(slot * spacing + by, 3) for slot, by in enumerate(moved)]
    first = ring["slot0_deg"]
    for one in ring.get("occupied", []):
        if "angle_deg" in one:
            base = 0.0 if first == "free" else first
            one["angle_deg"] += moved[round((one["angle_deg"] - base) / spacing) % count] if first != "free" else 0.0
    return draft


@pytest.mark.parametrize("number", [0, 5, 15])
def test_launches(number: int) -> None:
    draft = searchable(number, "ground")
    if draft["ring"]["slot0_deg"] == "free":
        draft["ring"].pop("occupied", None)
        draft["ring"]["slot0_deg"] = 20.0
    assert compare(_uneven(draft, number), step_s=30.0) == "planned"


@pytest.mark.parametrize("number", [3, 7, 12])
def test_craft_in_space(number: int) -> None:
    draft = searchable(number, "space")
    draft["ring"].pop("occupied", None)
    draft["ring"]["slot0_deg"] = 77.0
    assert compare(_uneven(draft, number)) in ("planned", "no plan")


KEPT = """occupied = [
  {{ name = "K", angle_deg = {first} }}, {{ name = "L", angle_deg = {second} }}, {{ name = "M", angle_deg = {third} }}
]"""


@pytest.mark.parametrize("off", [(0.0, 0.3, -0.2), (0.4, -0.4, 0.1), (1.0, 1.2, 0.9)])
def test_craft_that_stay_place_the_slots(off: tuple[float, float, float]) -> None:
    """The largest error is the least there is, found by the checker over all slots and middles; nobody is met."""
    slots = [0.0, 25.0, 90.0, 200.0, 330.0]
    first, second, third = (40.0 + slots[slot] + by for slot, by in zip((1, 3, 4), off, strict=True))
    more = KEPT.format(first=first, second=second, third=third)
    text = _space(slots, [0.0, 150.0], more=more, apart=10.0)
    result = planned(text)
    assert result["plans"]
    assert check(text, result) == []
    assert sorted(item["slot"] for item in result["kept"]) == [1, 3, 4]


@pytest.mark.soak
def test_flown_from_what_is_printed_in_two_planes() -> None:
    """Over the Earth with its bulge, four craft in two planes; in each the pattern counts from its slot 0."""
    text = _space(
        [0.0, 30.0, 140.0, 250.0],
        [10.0, 100.0, 170.0, 255.0],
        body="earth",
        inclination=53.0,
        more="planes = 2\nphasing = 1",
        planes=2,
        revolutions=8,
    )
    result = planned(text)
    ended = fly_printed(text, result)
    assert len(ended) >= 4
    for one in ended:
        assert one.miss_deg < OFF_DEG, one
    assert result["ring"]["slots_deg"] == [0.0, 30.0, 140.0, 250.0]


def test_even_slots_in_a_list_are_even_slots() -> None:
    listed = parse_scenario(_space([0.0, 90.0, 180.0, 270.0], [5.0]))
    counted = parse_scenario(_space([0.0], [5.0]).replace("slots_deg = [0.0]", "slots = 4"))
    assert listed.ring == counted.ring


CARRIED = """
title = "Dropped unevenly"
body = { name = "Sable", gm_km3_s2 = 42000.0, radius_km = 3400.0, sidereal_day_h = 20.0 }
ring = { altitude_km = 2400.0, slots_deg = [0.0, 40.0, 100.0, 250.0], slot0_deg = 20.0 }
limits = { clearance_km = 40.0, finish_within_d = 3.0, revolutions_max = 6 }
launch = { latitude_deg = 0.0, longitude_deg = 12.0, insertion = { periapsis_km = 200.0, apoapsis_km = 2400.0 } }
craft = [{ name = "A" }, { name = "B" }, { name = "C" }]
carrier = [{ name = "Wagon", craft = ["A", "B", "C"], delta_v_m_s = 900.0 }]
"""


@pytest.mark.soak
def test_a_carrier_drops_craft_into_them(tmp_path: Path) -> None:
    """One launch for three craft: flown from what is printed, each ends in its slot, which nobody else has."""
    result = planned(CARRIED)
    by = [plan for plan in result["plans"] if plan.get("carriers")]
    assert by
    for plan in by:
        assert len({part["slot"] for part in plan["craft"]}) == len(plan["craft"])
    ended = fly_printed(CARRIED, result)
    assert ended
    for one in ended:
        assert one.miss_deg < OFF_DEG, one
    file = tmp_path / "ring.toml"
    file.write_text(CARRIED, encoding="utf-8")
    assert main(["sheet", str(file), "--out", str(tmp_path / "sheets")]) == 0


def test_drafts_are_uneven() -> None:
    """What the launches above are planned for is no even ring."""
    draft = searchable(0, "ground")
    draft["ring"]["slot0_deg"] = 20.0
    assert parse_scenario(write_toml(_uneven(draft, 0))).ring.pattern_rad


@pytest.mark.soak
def test_a_ring_respaced_into_a_pattern(tmp_path: Path) -> None:
    """Of five that stay one is lost, the others take the places listed: no order and no phase is better."""
    held = "occupied = [" + ", ".join(f'{{ name = "S{k}", slot = {k} }}' for k in range(4)) + "]"
    before = _space([0.0], [293.0], more=held, slot0="5.0").replace("slots_deg = [0.0]", "slots = 5") + "stay = true\n"
    ring, made, result = (tmp_path / name for name in ("ring.toml", "made.toml", "result.json"))
    ring.write_text(before, encoding="utf-8")
    asked = ["--lost", "S2", "--slots-deg", "0,50,180,230", "--write", str(made), "--json", str(result)]
    assert main(["respace", str(ring), *asked]) == 0
    plan = json.loads(result.read_text(encoding="utf-8"))["plans"][0]
    angles = [5.0 + 72.0 * k for k in (0, 1, 3, 4)]
    case = read_case(_space([0.0, 50.0, 180.0, 230.0], angles))
    phases = [
        *(math.tau * i / GRID for i in range(GRID)),
        *((math.radians(angle) - case.slot_at(slot)) % math.tau for angle in angles for slot in range(4)),
    ]
    assert plan["delta_v_m_s"] <= min(Phase(case, phase).least("delta_v") for phase in phases) + DIGIT["delta_v"]
    ended = fly_printed(made.read_text(encoding="utf-8"), json.loads(result.read_text(encoding="utf-8")))
    assert ended
    for one in ended:
        assert one.miss_deg < OFF_DEG, one


@pytest.mark.parametrize("goal", ["delta_v", "finish"])
def test_slots_left_free_stay_free(goal: str) -> None:
    """No order over the slots that may be filled is better, and none of the others is filled."""
    text = _space([0.0, 30.0, 140.0, 250.0], [20.0, 150.0], goal=goal, slot0="0.0", more="leave_free = [1, 2]")
    case, result = read_case(text), planned(text)
    table = Phase(case, 0.0).choices
    of = 1 if goal == "finish" else 0
    best = [[min((one[of] for one in row[slot]), default=math.inf) for slot in (0, 3)] for row in table]
    join = max if goal == "finish" else sum
    least = min(join((best[0][0], best[1][1])), join((best[0][1], best[1][0])))
    plan = result["plans"][0]
    assert plan["finish_s" if goal == "finish" else "delta_v_m_s"] <= least + DIGIT[goal]
    assert {tuple(sorted(part["slot"] for part in one["craft"])) for one in result["plans"]} == {(0, 3)}
    assert any("left free for later" in note for note in result["notes"])
