"""What the page draws from: the numbers of the result, places on the conics, and texts that stay texts."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from ringwright.models import kepler
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.plan import make_plan
from ringwright.reports.figures.arcs import craft_stretches, gm_drawn
from ringwright.reports.page.data import page_data
from ringwright.reports.page.drawn import drawn_off
from ringwright.reports.page.page import page_text
from ringwright.reports.result import result
from ringwright.reports.terminal import plan_text
from ringwright.scenarios import text
from ringwright.tests.reports import sample
from ringwright.tests.reports.crowd import crowd

ROUNDED_KM = 2e-3
"""Elements are written to a millimeter and a billionth of a radian: a meter or so on an orbit of ten thousand km."""

EXACT_RAD, EXACT_M = 1e-9, 0.01
"""Of a conic against a two-body flight integrated to twelve digits."""

SIZE_MOST = 1_000_000
"""Bytes of the page for a ring of four craft."""


SIZE_MOST_CROWD = 5_000_000
"""Bytes of the page for 66 craft and 400 plans."""


def data_of(page: str) -> dict[str, Any]:
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', page, flags=re.DOTALL)
    assert found is not None
    data: dict[str, Any] = json.loads(found.group(1))
    return data


@pytest.mark.parametrize("make", [sample.relay, sample.parked, sample.single])
def test_plans_are_those_of_the_result(make: Any) -> None:
    outcome: Outcome = make()
    data, values = page_data(outcome), result(outcome)
    assert data["front"] == values["front"]
    assert len(data["plans"]) == len(values["plans"]) > 0
    for plan, own in zip(data["plans"], values["plans"], strict=True):
        assert plan["rank"] == own["rank"]
        assert plan["delta_v_m_s"] == own["delta_v_m_s"]
        assert plan["finish_s"] == own["finish_s"]
        parts = [data["parts"][number] for number in plan["parts"]]
        assert [data["craft"][part["craft"]] for part in parts] == [craft["craft"] for craft in own["craft"]]
        assert parts
        for part, craft in zip(parts, own["craft"], strict=True):
            assert part["slot"] == craft["slot"]
            assert [burn["s"] for burn in part["burns"]] == [round(b["time_s"], 3) for b in craft["burns"]]


def test_conics_lead_where_the_universal_solution_leads() -> None:
    outcome = sample.relay()
    data = page_data(outcome)
    gm = gm_drawn(outcome.ring)
    checked = 0
    for plan, made in zip(sorted(outcome.plans, key=lambda plan: plan.rank), data["plans"], strict=True):
        for part, number in zip(plan.craft, made["parts"], strict=True):
            stretches = craft_stretches(outcome, part)
            for one, (_, start, end, axis, e, toward, mean) in zip(
                stretches, data["parts"][number]["stretches"], strict=True
            ):
                times = np.linspace(start, end, 7)
                there, _ = kepler.propagate(one.position_m, one.velocity_m_s, times - one.at_s, gm)
                n = math.sqrt(data["ring"]["gm_km3_s2"] / axis**3)
                anomaly = kepler.eccentric_anomaly(np.mod(mean + n * (times - start), 2 * math.pi), np.full(7, e))
                x, y = axis * (np.cos(anomaly) - e), axis * math.sqrt(1 - e * e) * np.sin(anomaly)
                drawn = np.stack(
                    [x * math.cos(toward) - y * math.sin(toward), x * math.sin(toward) + y * math.cos(toward)], axis=-1
                )
                assert np.abs(drawn - 1e-3 * there).max() < ROUNDED_KM * max(1.0, (end - start) * n)
                checked += 1
    assert checked > 0


def test_no_text_can_end_the_script_that_holds_it() -> None:
    outcome = sample.single()
    hostile = "</script><script>alert(1)</script><!-- \u2028 & \u202e =1+1"
    outcome = replace(outcome, scenario=replace(outcome.scenario, title=hostile))
    page = page_text(outcome, with_sheets=False)
    assert "alert(1)</script>" not in page.replace("&lt;/script&gt;", "")
    assert data_of(page)["title"] == hostile


def test_nothing_is_fetched() -> None:
    page = page_text(sample.relay(), with_sheets=False)
    assert "default-src 'none'" in page
    assert not re.search(r"\b(src|href)\s*=|@import|url\(|fetch\(|XMLHttpRequest|WebSocket|import\(", page)
    assert len(page.encode("utf-8")) < SIZE_MOST


@pytest.mark.soak
def test_a_crowd_fits_into_five_megabytes() -> None:
    outcome = crowd()
    assert (len(outcome.scenario.craft), len(outcome.plans)) == (66, 400)
    page = page_text(outcome, with_sheets=False)
    assert len(page.encode("utf-8")) < SIZE_MOST_CROWD
    assert len(data_of(page)["plans"]) == 400


def test_marks_of_the_template_are_text_in_names() -> None:
    outcome = sample.single()
    hostile = "@@DATA@@ @@TITLE@@ @@SCRIPT@@ @@STYLE@@"
    outcome = replace(outcome, scenario=replace(outcome.scenario, title=hostile))
    page = page_text(outcome, with_sheets=False)
    assert data_of(page)["title"] == hostile
    assert f"<title>{hostile}</title>" in page


def test_the_page_says_how_far_its_pictures_are_from_the_flight() -> None:
    """Over a round body the conics are the flight; over a bulging one they are off by what ratios of periods miss.

    That is about 5.5 J2 (Re/R)^2 of the angle gained (README, measured), here 150 degrees.
    """
    outcome = make_plan(parse_scenario(text("one-craft-mars"), settings=["body.j2=0"]), brief=True)
    off = drawn_off(outcome, outcome.plans[0])
    assert off is not None
    assert off.angle_rad < EXACT_RAD
    assert off.height_m < EXACT_M
    bulging = make_plan(parse_scenario(text("one-craft-mars")), brief=True)
    wide = drawn_off(bulging, bulging.plans[0])
    assert wide is not None
    body, ring = bulging.scenario.body, bulging.ring
    missed = 5.5 * body.j2 * (body.j2_radius_m / ring.radius_m) ** 2 * math.radians(150.0)
    assert 0.5 * missed < wide.angle_rad < 2.0 * missed
    assert "of the numerical flight" in page_data(bulging)["drawn"]
    assert "was not examined" in page_data(sample.relay())["drawn"]


@pytest.mark.parametrize("make", [sample.relay, sample.parked, sample.single])
def test_what_the_text_says_of_proof_and_flight_is_on_the_page(make: Any) -> None:
    """Word for word, but for the breaks of lines."""
    outcome: Outcome = make()
    data = page_data(outcome)
    text = " ".join(plan_text(outcome, 100).split())
    for said in (data["answer"], data["proof"], data["plans"][0]["flown"], *data["remarks"]):
        assert " ".join(said.split()) in text
    for plan in data["plans"][1:]:
        assert plan["flown"].startswith("Flown numerically")
        assert "At the end slots are met to " in plan["flown"]


@pytest.mark.parametrize("rank", [None, 2])
def test_the_whole_text_is_on_the_page(rank: int | None) -> None:
    outcome = sample.relay()
    assert data_of(page_text(outcome, rank=rank, with_sheets=False))["text"] == plan_text(outcome, 100, rank)


def test_a_search_that_was_ended_is_not_said_to_have_found_that_there_is_none() -> None:
    outcome = replace(sample.impossible(), infeasible=None, unfinished="the search did not finish")
    assert page_data(outcome)["answer"] == "No plan yet, and undecided whether there is one: the search ended early."


def test_without_a_plan_the_page_says_why() -> None:
    data = data_of(page_text(sample.impossible()))
    assert data["plans"] == []
    assert data["answer"] == "No plan keeps all limits."
    assert data["text"]
