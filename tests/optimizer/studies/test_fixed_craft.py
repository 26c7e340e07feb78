"""Craft that stay while a ring is spread again: refused with who is off by how much where no slots go through all."""

from __future__ import annotations

import itertools
import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from ringwright.cli import main
from ringwright.models.scenario import Scenario
from ringwright.optimizer.plan import serves
from ringwright.optimizer.studies.fixed_craft import misplaced
from ringwright.optimizer.studies.respace import spread_plane, standing_now

from ...planned import scenario_of

WRITTEN_DEG = 0.005
"""Angles are written to 0.01 deg."""
GRID_DEG = 0.02
"""Step of the grid of phases: no phase is farther than half of it from one that is looked at."""

HELD = """
title = "Five held"
[body]
name = "mars"
[ring]
altitude_km = 2400
slots = {slots}
slot0_deg = 0
{planes}
occupied = [{held}]
[limits]
finish_within_d = 4
revolutions_max = 6
[[craft]]
name = "Last"
stay = true
orbit = {{ altitude_km = 2400, angle_deg = {last} }}
"""


def held(angles_deg: list[float], planes: int = 1) -> str:
    """A ring in whose planes craft stand so, A to D in plane 0."""
    names = [
        f'{{ name = "{"ABCDEFGH"[plane * len(angles_deg) + i]}", plane = {plane}, slot = {i} }}'
        for plane in range(planes)
        for i, _ in enumerate(angles_deg)
    ]
    more = f"planes = {planes}\ninclination_deg = 50" if planes > 1 else ""
    return HELD.format(slots=len(angles_deg) + 1, planes=more, held=", ".join(names), last=360 - 72)


def spread(angles_deg: list[float], slots: int) -> Scenario:
    """Craft at these places on a ring over the equator, all of which stay, for so many slots."""
    craft = "".join(
        f'[[craft]]\nname = "C{i}"\nstay = true\norbit = {{ altitude_km = 2400, angle_deg = {angle} }}\n'
        for i, angle in enumerate(angles_deg)
    )
    text = f'[body]\nname = "mars"\n[ring]\naltitude_km = 2400\nslots = {max(slots, len(angles_deg))}\n{craft}'
    now = standing_now(scenario_of(text))
    names = [one.craft.name for one in now.places]
    made = spread_plane(now, 0, max(slots, len(names)), None, names)
    return replace(made, ring=replace(made.ring, slots=slots))


def least_error_deg(angles_deg: list[float], slots: int) -> float:
    """The least largest error over a grid of phases, deg."""
    spacing = 360.0 / slots
    phases = np.arange(0.0, spacing, GRID_DEG)
    off = np.abs((np.array(angles_deg)[:, None] - phases + 0.5 * spacing) % spacing - 0.5 * spacing)
    return float(off.max(axis=0).min())


@pytest.mark.parametrize("seed", range(4))
def test_refused_exactly_where_no_phase_serves(seed: int) -> None:
    random = np.random.default_rng(seed)
    for slots, count in itertools.product((4, 7), (2, 3)):
        jitter = random.uniform(-1.0, 1.0, count)
        at = random.choice(slots, count, replace=False)
        angles = ((at * 360.0 / slots + jitter) % 360.0).round(6).tolist()
        scenario = spread(angles, slots)
        least = least_error_deg(angles, slots)
        allowed = math.degrees(scenario.ring.tolerance_rad)
        if abs(least - allowed) > GRID_DEG:
            assert (misplaced(scenario, lambda _: True) is None) == (least < allowed)


def test_who_is_off_which_slot_by_how_much_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "held.toml"
    file.write_text(held([0.0, 72.0, 144.0, 216.0]), encoding="utf-8")
    typed = ["respace", str(file), "--lost", "Last", "--fixed", "A", "--fixed", "B"]
    assert main([*typed, "--quiet"]) == 3
    said = " ".join(capsys.readouterr().out.split())
    # 72 deg in slots 90 deg apart: 18 deg too few, shared
    assert "A is 9.00 deg ahead of slot 3 and B is 9.00 deg behind slot 0" in said
    assert "5 equally spaced slots would go through all of them" in said
    assert "catalogue" not in said
    assert main([*typed, "--json", "-"]) == 3
    why = json.loads(capsys.readouterr().out)["infeasible"]
    assert why["limit"] == "ring.tolerance_deg"
    assert "9.00 deg" in why["reason"]
    now = standing_now(scenario_of(file.read_text(encoding="utf-8")), ["Last"])
    assert misplaced(spread_plane(now, 0, 5, None, ["A", "B"]), serves) is None


def test_a_tolerance_that_is_named_was_tried() -> None:
    now = standing_now(scenario_of(held([0.0, 72.0, 144.0, 216.0])), ["Last"])
    # 144 deg apart: with 21 slots of 17.1429 deg the nearest are 137.14 and 154.29 deg apart, 6.857 deg off in all
    made = spread_plane(now, 0, 21, None, ["A", "C"])
    none = misplaced(made, serves)
    assert none is not None
    assert none.infeasible is not None
    (bind,) = none.infeasible.binds
    assert bind.serves is not None
    assert math.degrees(bind.serves) == pytest.approx(0.5 * (144.0 - 8 * 360.0 / 21), abs=WRITTEN_DEG)
    eased = replace(made, ring=replace(made.ring, tolerance_rad=bind.serves))
    assert misplaced(eased, serves) is None
    assert serves(eased)


def test_two_at_one_slot_are_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "near.toml"
    file.write_text(held([0.0, 72.0, 144.0, 216.0]), encoding="utf-8")
    lost = [word for name in "BCD" for word in ("--lost", name)]
    # 72 deg apart, and slots 180 deg apart
    assert main(["respace", str(file), *lost, "--fixed", "A", "--fixed", "Last", "--quiet"]) == 3
    said = " ".join(capsys.readouterr().out.split())
    assert "A is 36.00 deg" in said
    assert "A and Last would share slot" in said


def test_of_several_planes_the_one_that_does_not_fit_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "planes.toml"
    file.write_text(held([0.0, 72.0, 144.0, 216.0], planes=2), encoding="utf-8")
    typed = ["respace", str(file), "--lost", "A", "--lost", "Last", "--lost", "H", "--fixed", "E", "--fixed", "F"]
    assert main([*typed, "--quiet"]) == 3
    said = " ".join(capsys.readouterr().out.split())
    assert "plane 1: no plan keeps all limits: no 3 equally spaced slots go through E and F" in said
