"""A ring spread again after losses against a separate exhaustive search: every order of slots, a fine grid of phases.

The search reads a scenario that is typed here, with the craft that are left at angles worked out by hand; it shares no
code with the planner. Nothing it finds may be better. On a circle the best assignment leaves the order of craft
unchanged (a cost that is convex in the distance: Karp and Li, Discrete Mathematics 13, 1975, from memory); that is
checked, too.
"""

from __future__ import annotations

import itertools
import json
import math
from pathlib import Path

import pytest

from ringwright.cli import main

from .printed_flight import fly_printed
from .small_reader import read_case
from .test_ring_phase import DIGIT, OFF_DEG, Phase

GRID = 36
"""Phases evenly over a slot spacing, besides those at which somebody is in place."""

TOP = """
title = "Many once"
[body]
name = "Sable"
gm_km3_s2 = 42000.0
radius_km = 3400.0
{bulge}
[ring]
altitude_km = 2400.0
slots = {slots}
slot0_deg = {slot0}
{occupied}
[limits]
finish_within_d = 4.0
revolutions_max = 6
separation_m = 0.0
[goal]
minimize = "{goal}"
"""
LEFT = '[[craft]]\nname = "{name}"\norbit = {{ altitude_km = 2400.0, angle_deg = {angle} }}\n'
NAMES = "ABCDEF"
AHEAD_DEG = {"F": 301.7}
"""One craft that keeps its place a little off its slot, as measured."""


def _rings(goal: str, lost: str, bulge: str = "") -> tuple[str, str]:
    """A ring of six that stay, and the same without those that are lost as free craft, in other words."""
    held = [f'{{ name = "{name}", slot = {k} }}' for k, name in enumerate(NAMES) if name not in AHEAD_DEG]
    before = TOP.format(bulge=bulge, slots=6, slot0=5.0, occupied=f"occupied = [{', '.join(held)}]", goal=goal)
    for name, angle in AHEAD_DEG.items():
        before += LEFT.format(name=name, angle=angle) + "stay = true\n"
    left = [name for name in NAMES if name not in lost]
    after = TOP.format(bulge=bulge, slots=len(left), slot0='"free"', occupied="", goal=goal)
    for name in left:
        after += LEFT.format(name=name, angle=AHEAD_DEG.get(name, 5.0 + 60.0 * NAMES.index(name)))
    return before, after


def _command(tmp_path: Path, text: str, lost: str, *more: str) -> tuple[str, dict[str, object]]:
    """What is written, and the result."""
    ring, made, result = (tmp_path / name for name in ("ring.toml", "made.toml", "result.json"))
    ring.write_text(text, encoding="utf-8")
    words = [word for name in lost for word in ("--lost", name)]
    typed = ["respace", str(ring), *words, "--write", str(made), "--json", str(result), *more]
    assert main(typed) == 0
    return made.read_text(encoding="utf-8"), json.loads(result.read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    ("goal", "lost"),
    [
        pytest.param("delta_v", "B", marks=pytest.mark.soak),
        ("delta_v", "BE"),
        ("worst_delta_v", "BC"),
        ("finish", "BE"),
    ],
)
def test_no_order_and_no_phase_is_better(goal: str, lost: str, tmp_path: Path) -> None:
    before, after = _rings(goal, lost)
    _, result = _command(tmp_path, before, lost)
    case = read_case(after)
    spacing = 2.0 * math.pi / case.slots
    phases = [
        *(spacing * i / GRID for i in range(GRID)),
        *(one.orbit.angle % spacing for one in case.craft if one.orbit is not None),
    ]
    least = min(Phase(case, phase).least(goal) for phase in phases)
    plan = result["plans"][0]  # type: ignore[index]
    key = {"delta_v": "delta_v_m_s", "worst_delta_v": "worst_delta_v_m_s", "finish": "finish_s"}[goal]
    assert plan[key] <= least + DIGIT[goal]
    there = Phase(case, math.radians(plan["slot0_deg"])).least(goal)
    assert plan[key] >= there - DIGIT[goal]
    assert plan[key] > 0.0
    if goal == "delta_v":
        assert [one["craft"] for one in plan["craft"]] == [name for name in NAMES if name not in lost]
        slots = [part["slot"] for part in plan["craft"]]
        first = slots.index(0)
        assert slots[first:] + slots[:first] == list(range(len(slots)))


@pytest.mark.parametrize("slots", [pytest.param(4, marks=pytest.mark.soak), 6])
def test_each_craft_ends_in_its_slot_over_an_oblate_body(slots: int, tmp_path: Path) -> None:
    """More slots than craft, too: some are then left free for later."""
    before, _ = _rings("delta_v", "BC", "j2 = 0.00196")
    text, result = _command(tmp_path, before, "BC", "--slots", str(slots))
    ended = fly_printed(text, result)
    assert len(ended) >= 4
    for one in ended:
        assert one.miss_deg < OFF_DEG, one


def test_no_order_is_better_around_one_that_stays(tmp_path: Path) -> None:
    """Its place is a slot, and nobody takes it: every order of the others, each with its least."""
    before, after = _rings("delta_v", "BE")
    made, result = _command(tmp_path, before, "BE", "--fixed", "F")
    assert made.count("stay = true") == 1
    case = read_case(after.replace(f"angle_deg = {AHEAD_DEG['F']} }}", f"angle_deg = {AHEAD_DEG['F']} }}\nstay = true"))
    choices = Phase(case, math.radians(AHEAD_DEG["F"])).choices
    assert len(choices) == 3
    least = min(
        sum(min((dv for dv, _ in row[slot]), default=math.inf) for row, slot in zip(choices, order, strict=True))
        for order in itertools.permutations(range(1, case.slots))
    )
    plan = result["plans"][0]  # type: ignore[index]
    assert plan["delta_v_m_s"] == pytest.approx(least, abs=DIGIT["delta_v"])
    assert plan["delta_v_m_s"] > 0.0
    assert sorted(part["craft"] for part in plan["craft"]) == ["A", "C", "D"]
