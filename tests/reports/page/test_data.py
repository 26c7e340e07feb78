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
from ringwright.optimizer.outcome import Outcome
from ringwright.reports.figures.arcs import craft_stretches, gm_drawn
from ringwright.reports.page.data import page_data
from ringwright.reports.page.page import page_text
from ringwright.reports.result import result
from ringwright.tests.reports import sample
from ringwright.tests.reports.crowd import crowd

ROUNDED_KM = 2e-3
"""Elements are written to a millimeter and a billionth of a radian: a meter or so on an orbit of ten thousand km."""

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


def test_without_a_plan_the_page_says_why() -> None:
    data = data_of(page_text(sample.impossible()))
    assert data["plans"] == []
    assert data["answer"] == "No plan keeps all limits."
    assert data["text"]
