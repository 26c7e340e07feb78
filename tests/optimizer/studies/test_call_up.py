"""Spares called up: against the closed form and every choice tried, and flown from what is printed."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ringwright.cli import main
from ringwright.models import deadline
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.studies.call_up import CallUps, call_ups
from ringwright.optimizer.studies.respace import standing_after, standing_now
from ringwright.optimizer.studies.slips import make_slips
from ringwright.reports.call_up import call_up_text, front_of, write_call_up
from ringwright.reports.figures.spares_called import draw_spares, planes_with_calls
from ringwright.reports.slips import slips_text
from ringwright.tests.tolerances import MILLIMETER_M_S, SCREEN_M_S, SECOND_S

from ...independent.printed_flight import fly_printed

OFF_DEG = 0.01
ROUND_RAD = 1e-9
"""Rounding of angles that have gone round many times."""

RING = """
title = "Four and two"
[body]
name = "Tessel"
gm_km3_s2 = 42000.0
radius_km = 3400.0
j2 = {j2}
[ring]
altitude_km = 2400.0
slots = 4
slot0_deg = 5.0
inclination_deg = 50.0
occupied = [{{ name = "A", slot = 0 }}, {{ name = "B", slot = 1 }}, {{ name = "C", slot = 2 }}]
[limits]
finish_within_d = 3.0
separation_m = 0.0
revolutions_max = {most}
[goal]
minimize = "{goal}"
[[craft]]
name = "D"
stay = true
orbit = {{ altitude_km = 2400.0, angle_deg = 275.0 }}
"""
BETWEEN = """
[[spare]]
name = "Near"
after_slot = 1
"""
SEATED = "stay = true\norbit = { altitude_km = 2400.0, angle_deg = 275.0 }"
ASTRAY = "orbit = { altitude_km = 2400.0, angle_deg = 240.0 }"
BELOW = """
[[spare]]
name = "Low"
altitude_km = 2100.0
angle_deg = 20.0
"""


def ring(spares: str, j2: float = 0.0, most: int = 5, goal: str = "delta_v") -> str:
    return RING.format(j2=j2, most=most, goal=goal) + spares


def called(text: str, *only: str) -> CallUps:
    return call_ups(standing_now(parse_scenario(text), slots_stay=True), only)


def every_choice(lead_rad: float, most: int) -> list[tuple[float, float]]:
    """Delta-v and time of every tangent phasing orbit onto a slot ahead: k turns of it while the slot makes m.

    T = (m - lead / 2 pi) P / k, by Kepler's third law and the vis-viva equation (Vallado 2013, section 6.6.1).
    """
    gm, radius, bottom, last = 42000.0e9, 5800.0e3, 3400.0e3, 3.0 * 86400.0
    period, speed = 2.0 * math.pi * math.sqrt(radius**3 / gm), math.sqrt(gm / radius)
    found = []
    for k in range(1, most + 1):
        for m in range(1, 200):
            time = (m - lead_rad / (2.0 * math.pi)) * period
            semi = (gm * (time / k / (2.0 * math.pi)) ** 2) ** (1.0 / 3.0)
            if 2.0 * semi - radius >= bottom and time <= last:
                found.append((2.0 * abs(math.sqrt(gm * (2.0 / radius - 1.0 / semi)) - speed), time))
    return found


def test_no_other_choice_is_better_for_any_slot() -> None:
    """A spare between slots 1 and 2 over a round body, each of the four craft lost."""
    found = called(ring(BETWEEN))
    for loss in found.losses:
        lead = math.radians(90.0 * loss.slot - 135.0) % (2.0 * math.pi)
        choices = every_choice(lead, 5)
        way = loss.ways[0]
        assert way.least is not None
        assert way.soonest is not None
        assert way.least.delta_v_m_s == pytest.approx(min(cost for cost, _ in choices), abs=SCREEN_M_S)
        assert way.soonest.finish_s == pytest.approx(min(time for _, time in choices), abs=SECOND_S)
    assert [loss.slot for loss in found.losses] == [0, 1, 2, 3]


def test_the_front_of_one_call_is_that_of_every_choice() -> None:
    (loss,) = called(ring(BETWEEN), "D").losses
    choices = sorted(every_choice(math.radians(135.0), 5))
    best: list[tuple[float, float]] = []
    for cost, time in choices:
        if not best or time < best[-1][1] - 60.0:
            best.append((cost, time))
    front = front_of(loss)
    assert len(front) == len(best) >= 4
    for (_, plan), (cost, time) in zip(front, best, strict=True):
        assert plan.delta_v_m_s == pytest.approx(cost, abs=SCREEN_M_S)
        assert plan.finish_s == pytest.approx(time, abs=SECOND_S)


def test_a_spare_below_waits_for_its_pass_as_the_closed_form_has_it() -> None:
    """Vallado 2013, section 6.6.1, over a round body: the wait for each slot, and the Hohmann total."""
    found = called(ring(BELOW))
    waits = found.spares[0].waiting
    assert waits is not None
    assert len(found.losses) == 4
    for loss in found.losses:
        plan = loss.ways[0].least
        assert plan is not None
        wait = waits.wait_s(math.radians(5.0 + 90.0 * loss.slot - 20.0))
        assert plan.finish_s == pytest.approx(wait + waits.transfer_s, abs=SECOND_S)
        assert plan.delta_v_m_s == pytest.approx(waits.transfer_m_s, abs=SCREEN_M_S)
    # slots are passed evenly: the mean over four is within an eighth of a synodic period of that of all moments
    mean = math.fsum(plan.finish_s for loss in found.losses if (plan := loss.ways[0].least)) / 4.0
    assert abs(mean - waits.transfer_s - 0.5 * waits.synodic_s) - SECOND_S <= waits.synodic_s / 8.0


def test_ways_that_were_not_reached_are_marked_and_enter_no_mean() -> None:
    with deadline.ending(lambda: 0.0):
        found = called(ring(BETWEEN))
    assert (found.asked, found.reached) == (4, 0)
    shown = call_up_text(found, 100)
    assert shown.count("not reached") >= 4
    assert "4 of 4 ways were not reached" in shown
    assert "in the mean, for" not in shown


def test_a_spare_serves_its_own_plane() -> None:
    """Two planes of two slots: the spare of plane 1 costs there what it costs in that plane alone."""
    text = ring(BETWEEN.replace("after_slot = 1", "after_slot = 0\nplane = 1"), most=2)
    held = [f'{{ name = "{"AB"[p]}{s}", slot = {s}, plane = {p} }}' for p in (0, 1) for s in (0, 1) if (p, s) != (0, 0)]
    text = text.replace("slots = 4", "slots = 2\nplanes = 2\nphasing = 1").replace(
        "angle_deg = 275.0", "angle_deg = 5.0"
    )
    text = re.sub(r"occupied = .*", f"occupied = [{', '.join(held)}]", text)
    found = called(text)
    assert [(loss.craft, loss.plane, loss.slot, len(loss.ways)) for loss in found.losses] == [
        ("D", 0, 0, 0),
        ("A1", 0, 1, 0),
        ("B0", 1, 0, 1),
        ("B1", 1, 1, 1),
    ]
    served = found.losses[2:]
    assert len(served) == 2
    for loss, lead in zip(served, (270.0, 90.0), strict=True):
        plan = loss.ways[0].least
        assert plan is not None
        choices = every_choice(math.radians(lead), 2)
        assert plan.delta_v_m_s == pytest.approx(min(cost for cost, _ in choices), abs=SCREEN_M_S)
    shown = " ".join(call_up_text(found, 100).split())
    assert "No spare waits in plane 0." in shown
    assert "Each of the 2 that a spare can be called for" in shown


def test_slips_name_the_spare_that_the_table_has() -> None:
    """A craft that dies in its slot after the plan: the same spare for the same delta-v, as long after."""
    text = ring(BETWEEN + BELOW, most=3).replace(SEATED, ASTRAY)
    outcome = make_plan(parse_scenario(text), brief=True)
    (launch,) = make_slips(outcome, (), 0.0).launches
    (loss,) = launch.losses
    (same,) = call_ups(standing_after(outcome, outcome.plans[0], slots_stay=True), ["D"]).losses
    best = same.best("delta_v")
    assert best is not None
    assert best.least is not None
    assert loss.called is not None
    assert loss.caller == best.spare
    assert loss.called.delta_v_m_s == pytest.approx(best.least.delta_v_m_s, abs=SCREEN_M_S)
    assert loss.called.finish_s - outcome.plans[0].finish_s == pytest.approx(best.least.finish_s, abs=SECOND_S)
    text = slips_text(make_slips(outcome, (), 0.0), 100)
    assert f"call a spare that is up: {best.spare}, {loss.called.delta_v_m_s:.1f} m/s" in text


def written(tmp_path: Path, text: str, *typed: str) -> tuple[dict[str, Any], str]:
    """The answer as JSON, and the scenario that was written."""
    place, made, answer = (tmp_path / name for name in ("ring.toml", "made.toml", "answer.json"))
    place.write_text(text, encoding="utf-8")
    assert main(["respace", str(place), "--spares", *typed, "--json", str(answer), "--write", str(made)]) == 0
    return json.loads(answer.read_text(encoding="utf-8")), made.read_text(encoding="utf-8")


@pytest.mark.parametrize(("spare", "lost"), [(BETWEEN, "D"), (BELOW, "B")])
def test_a_call_flown_from_what_is_printed_ends_in_the_slot(tmp_path: Path, spare: str, lost: str) -> None:
    """Over a body with a bulge; the scenario that is written gives the plan of the table."""
    answer, text = written(tmp_path, ring(spare, j2=0.00196, most=3), "--lost", lost)
    result = tmp_path / "result.json"
    assert main(["plan", str(tmp_path / "made.toml"), "--json", str(result)]) == 0
    planned = json.loads(result.read_text(encoding="utf-8"))
    (way,) = answer["losses"][0]["ways"]
    assert planned["plans"][0]["delta_v_m_s"] == pytest.approx(way["cheapest"]["delta_v_m_s"], abs=MILLIMETER_M_S)
    assert planned["plans"][0]["finish_s"] == pytest.approx(way["cheapest"]["takes_s"], abs=SECOND_S)
    ended = fly_printed(text, planned)
    assert ended
    assert max(one.miss_deg for one in ended) < OFF_DEG
    assert max(abs(one.slot_error_deg) for one in ended) < OFF_DEG


def test_its_files_hold_a_figure_with_the_spares_where_they_wait(tmp_path: Path) -> None:
    found = called(ring(BETWEEN + BELOW), "A", "B")
    ahead = {seen.spare.craft.name: math.degrees(seen.ahead_rad) for seen in found.spares}
    # midway between slots 1 and 2 of four; and by the angles that are given
    assert ahead == pytest.approx({"Near": 135.0, "Low": 20.0 - 5.0})
    write_call_up(found, tmp_path / "calls")
    assert {one.name for one in (tmp_path / "calls").iterdir()} == {
        "call_up.json",
        "call_up.txt",
        "spares.png",
        "spares.svg",
    }
    assert planes_with_calls(found) == [0]
    left, right = draw_spares(found, 0).axes
    said = {text.get_text() for text in left.texts}
    assert {"A", "B", "Near", "Low"} <= said
    drawn = {tuple(point) for line in right.lines for point in np.asarray(line.get_xydata()).tolist()}
    least = [way.least for loss in found.losses for way in loss.ways if way.least is not None]
    cheapest = {(plan.finish_s, plan.delta_v_m_s) for plan in least}
    assert len(cheapest) == 4
    assert cheapest <= drawn


def test_a_spare_below_has_gone_ahead_by_the_time_of_the_call() -> None:
    scenario = parse_scenario(ring(BELOW))
    now = replace(standing_now(scenario, slots_stay=True), after_s=86400.0)
    (seen,) = call_ups(now, ["A"]).spares
    # a round body: Kepler's third law
    rate = math.sqrt(42000.0e9 / 5500.0e3**3)
    wanted = math.radians(20.0) + rate * 86400.0 - now.ring.slot0_rad
    assert math.remainder(seen.ahead_rad - wanted, 2.0 * math.pi) == pytest.approx(0.0, abs=ROUND_RAD)


def test_the_text_says_mean_and_worst_over_the_losses() -> None:
    found = called(ring(BETWEEN + BELOW, j2=0.00196, most=3))
    text = " ".join(call_up_text(found, 100).split())
    cheap = [way.least for loss in found.losses if (way := loss.best("delta_v")) is not None]
    assert len(cheap) == 4
    mean = math.fsum(plan.delta_v_m_s for plan in cheap if plan is not None) / 4.0
    assert f"for {mean:.1f} m/s" in text
    low = found.spares[1]
    assert low.waiting is not None
    assert "(synodic period)" in text
    assert "from the ring itself" in text
    names = {way.spare for loss in found.losses for way in loss.ways}
    assert names == {"Near", "Low"}


@pytest.mark.parametrize(
    ("change", "typed", "said"),
    [
        ((BETWEEN, ""), (), "no spare is up"),
        ((SEATED, ASTRAY), (), "--after-plan counts from"),
        (None, ("--slots", "5"), "--slots is about spreading the ring again"),
        (None, ("--write", "x.toml"), "name the craft that is lost with --lost"),
        (None, ("--lost", "Nobody"), "is no craft that is up"),
    ],
)
def test_what_cannot_be_asked_is_refused(
    change: tuple[str, str] | None,
    typed: tuple[str, ...],
    said: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    text = ring(BETWEEN, most=1)
    if change is not None:
        assert change[0] in text
        text = text.replace(*change)
    place = tmp_path / "ring.toml"
    place.write_text(text, encoding="utf-8")
    assert main(["respace", str(place), "--spares", *typed]) == 2
    assert said in " ".join(capsys.readouterr().err.split())
