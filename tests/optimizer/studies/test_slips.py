"""Slips and losses: each answer against planning the scenario that says the same in its own words."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest

from ringwright.cli import main
from ringwright.models.deadline import Deadline, OutOfTimeError, within
from ringwright.models.readouts import plain
from ringwright.optimizer.choice.ring_phase import best_phase
from ringwright.optimizer.replan import decisions as decisions_module
from ringwright.optimizer.studies import questions as questions_module
from ringwright.optimizer.studies.slips import Slips, make_slips
from ringwright.reports.slips import slips_json, slips_text
from ringwright.tests.tolerances import FLOAT_M_S, MILLIMETER_M_S, TENTH_S, UNSEEN_M_S

from ...planned import outcome_of, planned, scenario_of
from ..routes.test_carrier import world

DAY_S = 86_400.0
TWO = ("Sorrel", "Tansy")
LAUNCHED = "turnaround_h = 30.0\n"


def slips_of(text: str, late_s: tuple[float, ...] = (DAY_S,), spare_after_s: float = 10.0 * DAY_S) -> Slips:
    return make_slips(outcome_of(scenario_of(text)), late_s, spare_after_s)


def in_space(angles: tuple[float, ...], slots: int, ready_h: float = 0.0) -> str:
    names = [f"Craft {k}" for k in range(len(angles))]
    text = world(names=tuple(names), slots=slots)
    for name, angle in zip(names, angles, strict=True):
        there = f"orbit = {{ altitude_km = 2400.0, angle_deg = {angle!r} }}\nready_h = {ready_h!r}"
        text = text.replace(f'name = "{name}"', f'name = "{name}"\n{there}')
    return text


def test_a_late_first_launch_is_a_pad_that_is_ready_later() -> None:
    text = world(names=("Sorrel",), launch=LAUNCHED, ring="slot0_deg = 40.0", low_km=-300.0)
    first = planned(text)["plans"][0]
    at = first["craft"][0]["launch_s"]
    [launch] = slips_of(text, (3600.0, DAY_S)).launches
    assert launch.slips
    for slip in launch.slips:
        ready = (at + slip.late_s) / 3600.0
        later = planned(text.replace(LAUNCHED, f"{LAUNCHED}ready_h = {ready!r}\n"))["plans"][0]
        assert slip.price is not None
        assert slip.price.delta_v_m_s == pytest.approx(later["delta_v_m_s"], abs=UNSEEN_M_S)
        assert slip.price.finish_s == pytest.approx(later["finish_s"], abs=TENTH_S)
        assert slip.price.liftoff_s == pytest.approx(later["craft"][0]["launch_s"], abs=TENTH_S)
        assert slip.price.liftoff_s is not None
        assert slip.price.liftoff_s >= at + slip.late_s - 1e-6


def test_what_has_gone_up_before_keeps_its_slot() -> None:
    text = world(names=TWO, launch=LAUNCHED, ring="slot0_deg = 40.0", low_km=-300.0, limits="finish_within_d = 30.0")
    outcome = outcome_of(scenario_of(text))
    parts = sorted(outcome.plans[0].craft, key=lambda part: part.launch_s or 0.0)
    launches = slips_of(text).launches
    last = next(launch for launch in launches if launch.name == parts[1].craft)
    [slip] = last.slips
    assert slip.price is not None
    ready = ((parts[1].launch_s or 0.0) + DAY_S) / 3600.0
    held = f'slot0_deg = 40.0\n[[ring.occupied]]\nname = "{parts[0].craft}"\nslot = {parts[0].slot}'
    alone = world(
        names=(parts[1].craft,),
        launch=f"{LAUNCHED}ready_h = {ready!r}\n",
        ring=held,
        low_km=-300.0,
        limits="finish_within_d = 30.0",
    )
    later = planned(alone)["plans"][0]
    assert slip.price.delta_v_m_s == pytest.approx(later["delta_v_m_s"] + parts[0].delta_v_m_s, abs=MILLIMETER_M_S)


def test_a_craft_that_dies_leaves_the_others_to_be_spread() -> None:
    text = in_space((0.0, 120.0, 240.0), 3)
    found = slips_of(text)
    assert found.launches
    for launch in found.launches:
        [loss] = launch.losses
        assert loss.in_orbit
        assert loss.spread is not None
        assert loss.spare is None
        dead = int(launch.name.split()[1])
        left = tuple(120.0 * k for k in range(3) if k != dead)
        least = planned(in_space(left, 2))["plans"][0]
        assert loss.spread.delta_v_m_s == pytest.approx(least["delta_v_m_s"], abs=UNSEEN_M_S)
        assert loss.spread.delta_v_m_s > 0.0
    assert found.planned.delta_v_m_s == pytest.approx(0.0, abs=FLOAT_M_S)


def test_a_spare_takes_the_place_of_a_craft_lost_on_the_pad() -> None:
    text = world(names=TWO, launch=LAUNCHED, ring="slot0_deg = 40.0", low_km=-300.0, limits="finish_within_d = 9.0")
    launches = slips_of(text).launches
    assert launches
    for launch in launches:
        on_pad, in_orbit = launch.losses
        assert not on_pad.in_orbit
        assert in_orbit.in_orbit
        assert on_pad.gap is not None
        assert on_pad.spare is not None
        assert launch.planned_s is not None
        assert on_pad.spare.liftoff_s is not None
        assert on_pad.spare.liftoff_s >= launch.planned_s + 10.0 * DAY_S - 1e-6
        assert on_pad.spare.finish_s > 9.0 * DAY_S
        assert on_pad.gap.delta_v_m_s < on_pad.spare.delta_v_m_s
        assert on_pad.spread is not None


def test_the_plane_of_a_lost_craft_is_spread_by_itself() -> None:
    """Two of three slots of each plane are taken; a craft goes up into each. Lost, it leaves two that are 120 deg
    apart to be 180 deg apart, which costs what it does in a ring of one plane, and the other flies as planned."""
    ring = "slot0_deg = 40.0\ninclination_deg = 35.0\nplanes = 2\nphasing = 1"
    for plane in (0, 1):
        for slot in (0, 1):
            ring += f'\n[[ring.occupied]]\nname = "Held {plane} {slot}"\nplane = {plane}\nslot = {slot}'
    text = world(names=TWO, launch=LAUNCHED, ring=ring, low_km=-300.0, limits="finish_within_d = 9.0", slots=3)
    outcome = outcome_of(scenario_of(text))
    parts = {part.craft: part for part in outcome.plans[0].craft}
    assert {part.plane for part in parts.values()} == {0, 1}
    even = planned(in_space((0.0, 120.0), 2))["plans"][0]["delta_v_m_s"]
    assert even > 0.0
    found = make_slips(outcome, (), 10.0 * DAY_S)
    assert found.launches
    for launch in found.launches:
        on_pad, in_orbit = launch.losses
        (other,) = (part for part in parts.values() if part.craft != launch.name)
        assert on_pad.spread is not None
        assert on_pad.spread.delta_v_m_s == pytest.approx(other.delta_v_m_s + even, abs=UNSEEN_M_S)
        assert on_pad.spread.finish_s >= other.in_slot_s
        assert in_orbit.spread is not None
        assert in_orbit.spread.delta_v_m_s == pytest.approx(even, abs=UNSEEN_M_S)
    assert "the plane of 2 evenly again costs" in _joined(slips_text(found, 100))


def test_craft_that_stay_move_for_an_even_ring() -> None:
    """As if the scenario had them as craft in space, where they are, beside those that are still to be launched."""
    ring = 'slot0_deg = 40.0\n[[ring.occupied]]\nname = "Campion"\nslot = 2'
    text = world(names=TWO, launch=LAUNCHED, ring=ring, low_km=-300.0, limits="finish_within_d = 9.0", slots=4)
    launches = slips_of(text).launches
    assert launches
    there = '[[craft]]\nname = "Campion"\norbit = { altitude_km = 2400.0, angle_deg = 220.0 }\n'
    for launch in launches:
        on_pad, in_orbit = launch.losses
        left = tuple(name for name in TWO if name != launch.name)
        loose = world(names=left, launch=LAUNCHED, low_km=-300.0, limits="finish_within_d = 9.0", slots=3) + there
        assert on_pad.spread is not None
        least = planned(loose)["plans"][0]
        assert on_pad.spread.delta_v_m_s == pytest.approx(least["delta_v_m_s"], abs=UNSEEN_M_S)
        # two craft at the places of two slots of four are to be in two of three
        assert in_orbit.spread is not None
        assert in_orbit.spread.delta_v_m_s > 0.0


@pytest.mark.parametrize("room", [questions_module, decisions_module])
def test_a_search_that_ended_early_is_not_taken_for_no_plan(room: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    scenario = scenario_of(world(names=TWO, launch=LAUNCHED, ring="slot0_deg = 40.0", low_km=-300.0))

    def ask() -> Any:
        return room.best_price(scenario, print) if room is questions_module else room._cheapest(scenario, print)

    nothing = {"selection": None, "best": None}
    monkeypatch.setattr(room, "best_phase", lambda *_: SimpleNamespace(**nothing, late="the search did not finish"))
    with pytest.raises(OutOfTimeError, match="did not finish"):
        ask()
    monkeypatch.setattr(room, "best_phase", lambda *_: SimpleNamespace(**nothing, late=""))
    assert ask() is None


def _joined(text: str) -> str:
    return " ".join(text.split())


def test_what_was_answered_before_the_time_was_up_is_shown_and_the_rest_marked(monkeypatch: pytest.MonkeyPatch) -> None:
    text = world(names=TWO, launch=LAUNCHED, ring="slot0_deg = 40.0", low_km=-300.0, limits="finish_within_d = 9.0")
    outcome, whole = outcome_of(scenario_of(text)), slips_of(text, (6.0 * 3600.0, DAY_S))
    now, price = [0.0], questions_module.best_price

    def slow(*asked: Any) -> Any:
        found = price(*asked)
        now[0] += 1.0
        return found

    monkeypatch.setattr(questions_module, "best_price", slow)
    # the plan as planned, both slips, gap and spread; the time to search is up then
    with within(Deadline(limit_s=6.0, clock=lambda: now[0])):
        found = make_slips(outcome, (6.0 * 3600.0, DAY_S), 10.0 * DAY_S)
    first, second = found.launches
    assert (first.slips, first.losses[0].gap, first.losses[0].spread) == (
        whole.launches[0].slips,
        whole.launches[0].losses[0].gap,
        whole.launches[0].losses[0].spread,
    )
    assert first.losses[0].unreached == {"spare"}
    assert not any(slip.reached for slip in second.slips)
    assert (found.asked, found.reached, found.searched) == (whole.asked, 5, 5)
    shown, written = _joined(slips_text(found, 80)), json.loads(slips_json(found))
    assert f"The search ended early: {whole.asked - 5} of {whole.asked} questions were not reached." in shown
    assert shown.count("not reached") == whole.asked - 5 + 1
    assert "NO PLAN" not in shown
    assert written["launches"][0]["losses"][0]["not_reached"] == ["spare"]
    assert [slip["reached"] for slip in written["launches"][1]["slips"]] == [False, False]
    assert whole.unfinished == ""
    assert "ended early" not in slips_text(whole, 80)


def test_a_plan_that_was_not_proved_best_is_marked(monkeypatch: pytest.MonkeyPatch) -> None:
    text = world(names=("Sorrel",), launch=LAUNCHED, ring="slot0_deg = 40.0", low_km=-300.0)
    monkeypatch.setattr(questions_module, "best_phase", lambda *asked: replace(best_phase(*asked), late="cut off"))
    found = slips_of(text)
    assert found.searched < found.reached == found.asked
    spare = found.launches[0].losses[0].spare
    assert spare is not None
    shown = _joined(slips_text(found, 80))
    assert "the best found by then, where a better one may exist (marked *)" in shown
    assert f"{plain(spare.delta_v_m_s)}* m/s" in shown


def test_slips_stopped_at_once_show_the_plan(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    text = world(names=TWO, launch=LAUNCHED, ring="slot0_deg = 40.0", low_km=-300.0)
    file = tmp_path / "two.toml"
    file.write_text(text, encoding="utf-8")

    def never(*_: object) -> None:
        raise OutOfTimeError

    monkeypatch.setattr(questions_module, "best_price", never)
    assert main(["slips", str(file)]) == 4
    shown = _joined(capsys.readouterr().out)
    plan = planned(text)["plans"][0]
    assert f"As planned: {plain(plan['delta_v_m_s'])} m/s in all" in shown
    assert "whose figure by the catalogue was not reached" in shown


def test_no_spare_is_looked_for_where_nothing_is_launched() -> None:
    shown = _joined(slips_text(slips_of(in_space((0.0, 120.0), 2)), 80))
    assert "wait for a spare: the craft is not launched in this scenario, and neither is a spare" in shown
    assert "wait for a spare: no plan" not in shown


def test_text_and_json_say_the_same() -> None:
    text = world(names=TWO, launch=LAUNCHED, ring="slot0_deg = 40.0", low_km=-300.0, limits="finish_within_d = 9.0")
    found = slips_of(text, (6.0 * 3600.0, 30.0 * DAY_S))
    written = json.loads(slips_json(found))
    assert written["format"] == "ringwright-slips/1"
    assert [launch["name"] for launch in written["launches"]] == [launch.name for launch in found.launches]
    shown = slips_text(found, 80)
    assert max(len(line) for line in shown.splitlines()) <= 80
    # thirty days late the date is missed
    assert written["launches"][0]["slips"][1]["plan"] is None
    assert "NO PLAN keeps the limits" in shown
    assert "planning aid" in shown
    for launch in written["launches"]:
        assert math.isfinite(launch["slips"][0]["plan"]["delta_v_m_s"])


def test_command_line_refuses_what_is_no_slip(capsys: pytest.CaptureFixture[str]) -> None:
    file = "scenarios/atoll-on-the-equator.toml"
    for options, said in (
        (["--slip", "0h"], "later time"),
        (["--slip", "soon"], "is not a time"),
        (["--craft", "Nobody"], "is no craft of the scenario"),
    ):
        assert main(["slips", file, *options]) == 2
        assert said in capsys.readouterr().err
