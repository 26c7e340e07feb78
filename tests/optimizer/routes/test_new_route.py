"""A route is one file and one line in the registry: one that the planner lacks is planned, flown, written and drawn."""

from __future__ import annotations

import json
import math
from pathlib import Path

import jsonschema
import pytest

from ringwright.optimizer.catalogue.phase_choices import covers
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.problem.ring_phase import problems
from ringwright.optimizer.routes import registry
from ringwright.reports.figures import draw_all
from ringwright.reports.result import result_text
from ringwright.reports.result_schema import result_schema
from ringwright.reports.sheet.sheet import sheets
from ringwright.reports.sheet.text import sheet_text
from ringwright.reports.terminal import plan_text
from ringwright.tests.worlds import SALTMARSH

from ...planned import scenario_of
from . import waiting_circle

PAIR = (
    f'\ntitle = "One revolution at most"\n{SALTMARSH}'
    + """[limits]
revolutions_max = 1
finish_within_d = 6.0
clearance_km = 50.0
[[craft]]
name = "Avocet"
orbit = { altitude_km = 3000.0, angle_deg = 0.0 }
[[craft]]
name = "Curlew"
orbit = { altitude_km = 3000.0, angle_deg = 20.0 }
"""
)
SLOT_DEG = 1e-4
"""How well a flight of impulses in the planner's own gravity meets its slot: rounding over a week."""
ALIKE_M_S = 1e-3
"""Hohmann's cost from the formula and from the burns flown."""


@pytest.fixture
def outcome(monkeypatch: pytest.MonkeyPatch) -> Outcome:
    monkeypatch.setattr(registry, "ROUTES", (*registry.ROUTES, waiting_circle.ROUTE))
    return make_plan(scenario_of(PAIR))


def test_it_is_planned_flown_written_and_drawn(outcome: Outcome, tmp_path: Path) -> None:
    best = outcome.plans[0]
    (part,) = [one for one in best.craft if one.route == "waiting circle"]
    assert not best.broken
    # flown: into its slot by four burns along the track
    assert abs(math.degrees(part.flown.slot_error_rad)) < SLOT_DEG
    assert [burn.along_m_s < 0.0 for burn in part.burns] == [True, True, False, False]
    gm, ring_m, low_m = 4.2e13, 6.0e6, part.flown.lowest_m
    semi = 0.5 * (ring_m + low_m)
    hohmann = abs(math.sqrt(gm / ring_m) - math.sqrt(gm * (2.0 / ring_m - 1.0 / semi)))
    hohmann += abs(math.sqrt(gm / low_m) - math.sqrt(gm * (2.0 / low_m - 1.0 / semi)))
    assert part.delta_v_m_s == pytest.approx(2.0 * hohmann, abs=ALIKE_M_S)
    # written
    written = json.loads(result_text(outcome))
    jsonschema.validate(written, result_schema())
    assert "waiting circle" in {craft["route"] for craft in written["plans"][0]["craft"]}
    assert "waits 23 h 5 min in another orbit" in " ".join(plan_text(outcome, width=200).split())
    assert part.craft in sheet_text(sheets(outcome, best, [part.craft])[0])
    # drawn
    drawn = draw_all(outcome, tmp_path)
    assert len(drawn) > 2
    assert all(path.stat().st_size > 1000 for path in drawn)


def test_it_makes_the_difference(outcome: Outcome, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.undo()
    without = make_plan(scenario_of(PAIR))
    assert outcome.plans[0].delta_v_m_s < 0.9 * without.plans[0].delta_v_m_s
    assert all(part.route == "shift" for plan in without.plans for part in plan.craft)


def test_bounds_over_all_phases_of_the_ring_do_not_cover_what_they_do_not_know(monkeypatch: pytest.MonkeyPatch) -> None:
    (problem,) = problems(scenario_of(PAIR))
    assert covers(problem)
    monkeypatch.setattr(registry, "ROUTES", (*registry.ROUTES, waiting_circle.ROUTE))
    assert not covers(problem)
