"""Craft that are up spread evenly again: where they are taken to be, what is written, and what is refused."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from ringwright.cli import main
from ringwright.models.reading.scenario_reader import parse_scenario, read_scenario
from ringwright.optimizer.studies.respace import spread_plane, standing_after, standing_now
from ringwright.optimizer.studies.slips import make_slips
from ringwright.reports.respaced_scenario import respaced_text, toml_of
from ringwright.reports.result import result_text
from ringwright.tests.tolerances import FLOAT_RAD, SIX_DIGITS_REL, TENTH_S, UNSEEN_M_S

from ...planned import SCENARIOS, outcome_of, planned, scenario_of
from .test_slips import in_space

FOUR = SCENARIOS / "four-over-the-equator.toml"
LESS = 1.0 - 1e-12
WRITTEN_RAD = 1e-10
"""Angles are written to 9 decimals of a degree."""
WRITTEN_M = 1e-3
"""Altitudes are written to 6 decimals of a km."""

RING = """
epoch = 2031-05-01T06:00:00Z
title = "With \\"quotes\\" and \\u00e9"
[body]
name = "mars"
[ring]
altitude_km = 2400
slots = 4
slot0_deg = 10
occupied = [ { name = "A", slot = 0 }, { name = "B", slot = 1 }, { name = "C", angle_deg = 191 } ]
[limits]
finish_within_d = 4
revolutions_max = 6
[[craft]]
name = "D"
stay = true
dry_mass_kg = 100
propellant_kg = 20
isp_s = 225
orbit = { altitude_km = 2400, angle_deg = 281 }
[[craft]]
name = "E"
orbit = { periapsis_km = 2000, apoapsis_km = 2400, angle_deg = 40, at = "apoapsis", at_h = 1 }
ready_h = 3
"""
FOUR_AND_A_SPARE = RING.replace("slots = 4", "slots = 5", 1)

TWO_PLANES = ("slots = 5", "slots = 5\nplanes = 2\ninclination_deg = 50")


def test_who_is_up_is_where_the_scenario_has_it() -> None:
    now = standing_now(scenario_of(FOUR_AND_A_SPARE), ["B"])
    made = spread_plane(now, 0, None)
    assert made.ring.slots == 4
    assert made.ring.slot0_rad is None
    assert made.ring.occupied == ()
    found = {one.name: one for one in made.craft}
    assert list(found) == ["A", "C", "D", "E"]
    assert not any(one.stay for one in made.craft)
    angles = {name: math.degrees(one.orbit.angle_rad) for name, one in found.items() if one.orbit is not None}
    assert angles == pytest.approx({"A": 10.0, "C": 191.0, "D": 281.0, "E": 40.0})
    assert found["D"].propellant_kg == 20.0
    assert found["E"].orbit == scenario_of(FOUR_AND_A_SPARE).craft[1].orbit
    assert found["E"].ready_s == 3.0 * 3600.0


def test_what_is_written_reads_as_what_is_asked(tmp_path: Path) -> None:
    file = tmp_path / "ring.toml"
    file.write_text(FOUR_AND_A_SPARE, encoding="utf-8")
    settings = ["goal.minimize=worst_delta_v"]
    scenario = read_scenario(file, settings)
    made = spread_plane(standing_now(scenario, ["B"]), 0, 6)
    again = parse_scenario(respaced_text(str(file), settings, made))
    assert (again.title, again.epoch, again.minimize) == (made.title, made.epoch, "worst_delta_v")
    assert (again.ring, again.limits, again.body) == (made.ring, made.limits, made.body)
    for one, other in zip(again.craft, made.craft, strict=True):
        assert one.orbit is not None
        assert other.orbit is not None
        assert one.orbit.angle_rad == pytest.approx(other.orbit.angle_rad, abs=WRITTEN_RAD)
        assert one.orbit.periapsis_m == pytest.approx(other.orbit.periapsis_m, abs=WRITTEN_M)
        assert (one.orbit.at, one.orbit.at_s) == (other.orbit.at, other.orbit.at_s)
        assert (one.name, one.stay, one.ready_s) == (other.name, False, other.ready_s)
        assert (one.dry_mass_kg, one.propellant_kg) == (other.dry_mass_kg, other.propellant_kg)


def test_any_name_can_be_written() -> None:
    import tomllib

    tree = {"a b": 'quote " and \\ and \x7f é\n', "ring": {"list": [1, 2.5, True], "empty": {}}, "craft": [{"x": "y"}]}
    assert tomllib.loads(toml_of(tree)) == tree


def test_after_the_plan_craft_are_in_their_slots_with_what_is_left() -> None:
    scenario = read_scenario(FOUR)
    outcome = outcome_of(scenario)
    plan = outcome.plans[0]
    now = standing_after(outcome, plan, ["Umber"])
    made = spread_plane(now, 0, None)
    assert now.after_s == plan.finish_s
    assert scenario.epoch is not None
    assert made.epoch == scenario.epoch + timedelta(seconds=plan.finish_s)
    parts = {part.craft: part for part in plan.craft}
    first = next(iter(made.craft))
    for one in made.craft:
        part = parts[one.name]
        assert one.propellant_kg == part.propellant_left_kg
        assert one.orbit is not None
        assert first.orbit is not None
        apart = one.orbit.angle_rad - first.orbit.angle_rad
        wanted = (part.slot - parts[first.name].slot) * 0.5 * math.pi
        assert math.remainder(apart - wanted, 2.0 * math.pi) == pytest.approx(0.0, abs=WRITTEN_RAD)
        turned = outcome.ring_of(plan).phase(plan.finish_s, part.slot)
        assert math.remainder(one.orbit.angle_rad - float(turned), 2.0 * math.pi) == pytest.approx(0.0, abs=FLOAT_RAD)


def test_a_craft_that_is_left_its_reserve_alone_is_read_again(tmp_path: Path) -> None:
    """With as much propellant loaded as the plan takes, what is left is the reserve, to the last digit."""
    path = tmp_path / "least.toml"
    source = FOUR.read_text("utf-8").replace("reserve_m_s = 20.0", 'reserve_m_s = 17.3\nload = "least"')
    path.write_text(source, "utf-8")
    outcome = outcome_of(read_scenario(path))
    left = spread_plane(standing_after(outcome, outcome.plans[0], ["Umber"]), 0, None)
    # the last digit may fall to either side
    left = replace(
        left, craft=tuple(replace(one, propellant_kg=(one.propellant_kg or 0.0) * LESS) for one in left.craft)
    )
    again = parse_scenario(respaced_text(str(path), [], left, outcome.plans[0].finish_s))
    for one, before in zip(again.craft, left.craft, strict=True):
        assert one.reserve_m_s == pytest.approx(17.3, rel=SIX_DIGITS_REL)
        assert one.propellant_kg == before.propellant_kg


def test_slips_say_the_same_of_a_craft_lost_in_orbit(tmp_path: Path) -> None:
    """By the catalogue there, flown here: over a round body they are alike."""
    text = in_space((0.0, 80.0, 200.0), 3)
    file = tmp_path / "three.toml"
    file.write_text(text, encoding="utf-8")
    place = tmp_path / "result.json"
    assert main(["respace", str(file), "--lost", "Craft 1", "--after-plan", "--json", str(place)]) == 0
    plan = json.loads(place.read_text(encoding="utf-8"))["plans"][0]
    outcome = outcome_of(scenario_of(text))
    [launch] = make_slips(outcome, (), 0.0, frozenset({"Craft 1"})).launches
    [loss] = launch.losses
    assert loss.spread is not None
    assert plan["delta_v_m_s"] == pytest.approx(loss.spread.delta_v_m_s, abs=UNSEEN_M_S)
    assert plan["delta_v_m_s"] > 0.0
    assert plan["finish_s"] == pytest.approx(loss.spread.finish_s - outcome.plans[0].finish_s, abs=TENTH_S)


THREE_PLANES = """
[body]
name = "mars"
j2 = 0.0
[ring]
altitude_km = 2400
slots = 3
planes = 3
phasing = 1
slot0_deg = 10
inclination_deg = 60
node_deg = 15
{occupied}
[limits]
finish_within_d = 1
revolutions_max = 2
[[craft]]
name = "C 0 0"
stay = true
orbit = {{ altitude_km = 2400, angle_deg = 10 }}
"""
ALONE = """
body = {{ name = "mars", j2 = 0.0 }}
ring = {{ altitude_km = 2400, slots = 2, slot0_deg = "free", inclination_deg = 60, node_deg = 255 }}
limits = {{ finish_within_d = 1, revolutions_max = 2 }}
craft = [
    {{ name = "C 2 0", orbit = {{ altitude_km = 2400, angle_deg = {first} }} }},
    {{ name = "C 2 2", orbit = {{ altitude_km = 2400, angle_deg = {second} }} }},
]
"""


@pytest.mark.soak
def test_a_plane_is_spread_as_a_ring_by_itself(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Slot 0 of plane 2 of 3 x 3 with phasing 1 is 2/9 of a turn ahead, its node 240 deg (Walker 1984)."""
    held = [
        f'{{ name = "C {plane} {slot}", slot = {slot}, plane = {plane} }}'
        for plane in range(3)
        for slot in range(3)
        if (plane, slot) != (0, 0)
    ]
    file, place = tmp_path / "planes.toml", tmp_path / "result.json"
    file.write_text(THREE_PLANES.format(occupied=f"occupied = [{', '.join(held)}]"), encoding="utf-8")
    assert main(["respace", str(file), "--lost", "C 2 1", "--json", str(place)]) == 0
    assert "Plane 2 is spread by itself" in " ".join(capsys.readouterr().out.split())
    result = json.loads(place.read_text(encoding="utf-8"))
    by_default = parse_scenario(ALONE.format(first=10.0 + 80.0, second=10.0 + 80.0 + 240.0))
    wanted = json.loads(result_text(outcome_of(by_default)))
    assert result["plans"][0]["delta_v_m_s"] == pytest.approx(wanted["plans"][0]["delta_v_m_s"], abs=UNSEEN_M_S)
    assert result["plans"][0]["delta_v_m_s"] > 0.0
    assert [p["finish_s"] for p in result["plans"]] == pytest.approx(
        [p["finish_s"] for p in wanted["plans"]], abs=TENTH_S
    )
    # with losses in two planes the best plan of each, beside one another
    both = ["respace", str(file), "--lost", "C 2 1", "--lost", "C 1 1", "--json", str(place)]
    assert main([*both, "--write", str(tmp_path / "made.toml")]) == 0
    assert "Planes 1 and 2 have lost craft" in " ".join(capsys.readouterr().out.split())
    entries = json.loads(place.read_text(encoding="utf-8"))["entries"]
    assert [one["name"] for one in entries] == ["plane 1", "plane 2"]
    # side by side planes are planned by the bulge alone, which their notes say
    alone = planned(ALONE.format(first=10.0 + 80.0, second=10.0 + 80.0 + 240.0) + "[forces]\nfurther = false\n")
    for one in entries:
        assert one["delta_v_m_s"] == pytest.approx(alone["plans"][0]["delta_v_m_s"], abs=UNSEEN_M_S)
        assert any("alone; the command plan" in note for note in one["notes"])
    assert read_scenario(tmp_path / "made-plane-2.toml").ring.slots == 2


@pytest.mark.parametrize(
    ("change", "typed", "said"),
    [
        (None, ["--lost", "Z"], "give one of A, B, C, D, E"),
        (None, ["--fixed", "Z"], "give one of A, B, C, D, E"),
        (None, ["--fixed", "E"], "its orbit is not the ring"),
        (None, ["--slots", "3"], "5 or more would be accepted"),
        (None, ["--lost", "A", "--lost", "B", "--lost", "C", "--lost", "D", "--lost", "E"], "no craft is left"),
        (TWO_PLANES, [], "no craft is lost: name one, as in --plane 0"),
        (TWO_PLANES, ["--plane", "2"], "the ring has planes 0 to 1"),
        (TWO_PLANES, ["--plane", "1"], "no craft is left that is up in plane 1"),
        (None, ["--write", "ring.toml"], "exists already"),
    ],
)
def test_what_is_not_covered_is_refused(
    change: tuple[str, str] | None,
    typed: list[str],
    said: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("ring.toml").write_text(FOUR_AND_A_SPARE.replace(*(change or ("", ""))), encoding="utf-8")
    assert main(["respace", "ring.toml", *typed]) == 2
    assert said in " ".join(capsys.readouterr().err.split())


def test_a_ring_over_the_ground_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "over.toml"
    file.write_text(
        '[body]\nname = "earth"\n[ring]\nlongitude_deg = 10\nslots = 3\n'
        '[[craft]]\nname = "A"\norbit = { period_h = 23.9345, angle_deg = 0 }\n',
        encoding="utf-8",
    )
    assert main(["respace", str(file)]) == 2
    assert "slot 0 over ring.longitude" in " ".join(capsys.readouterr().err.split())


def test_craft_on_the_ground_are_not_up(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["respace", str(SCENARIOS / "atoll-on-the-equator.toml"), "--lost", "Ewer"]) == 2
    said = " ".join(capsys.readouterr().err.split())
    assert "still to be launched: --after-plan" in said
