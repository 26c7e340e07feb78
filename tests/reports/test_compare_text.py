"""What a comparison and a sweep look like: widths, words, plain values, tables."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.optimizer.studies.strategies import Entry, compare_scenarios, compare_strategies
from ringwright.optimizer.studies.sweep import Row, grid
from ringwright.reports.compare import compare_json, compare_tables, compare_text, write_compare
from ringwright.reports.sweep import sweep_text, text_row, write_sweep

TEXT = """
title = "Two over Quill"
body = { name = "Quill", gm_km3_s2 = 5200.0, radius_km = 1500.0 }
ring = { altitude_km = 2500.0, slots = 3, slot0_deg = 0.0 }
limits = { revolutions_max = 2, finish_within_h = 30 }
craft = [{ name = "Reed", orbit = { altitude_km = 2500.0, angle_deg = 100.0 } }]
"""


@pytest.fixture(scope="module")
def by_strategy() -> tuple[Entry, ...]:
    return compare_strategies(parse_scenario(TEXT))


@pytest.fixture(scope="module")
def by_scenario() -> tuple[Entry, ...]:
    named = [
        ("calm", parse_scenario(TEXT, settings=["goal.first_service=1"])),
        ("hasty", parse_scenario(TEXT, settings=["limits.finish_within_h=1"])),
    ]
    return compare_scenarios(named)


@pytest.mark.parametrize("width", [60, 80, 120])
def test_no_line_is_wider_than_the_page(
    width: int, by_strategy: tuple[Entry, ...], by_scenario: tuple[Entry, ...]
) -> None:
    for entries in (by_strategy, by_scenario):
        shown = compare_text(entries, width)
        assert max(len(line) for line in shown.splitlines()) <= width
        assert all(entry.name in " ".join(shown.split()) for entry in entries)
        assert "planning aid" in shown


def test_a_scenario_without_a_plan_says_what_would_serve(by_scenario: tuple[Entry, ...]) -> None:
    shown = " ".join(compare_text(by_scenario, 80).split())
    assert "hasty: no plan keeps all limits; limits.finish_within_h = " in shown
    assert "would serve" in shown


def test_values_are_strict_json_and_tables_have_a_row_an_entry(by_scenario: tuple[Entry, ...]) -> None:
    values = json.loads(compare_json(by_scenario))
    assert values["format"] == "ringwright-compare/1"
    calm, hasty = values["entries"]
    assert set(calm["fronts"]) == {"delta_v", "worst_delta_v", "first_service"}
    assert hasty["delta_v_m_s"] is None
    assert hasty["no_plan"]["limits"][0]["limit"] == "limits.finish_within_h"
    tables = compare_tables(by_scenario)
    assert len(tables["compare"]) == 2
    assert len(tables["fronts"]) == sum(len(points) for points in calm["fronts"].values())


def test_the_directory_holds_text_values_tables_and_one_figure(by_scenario: tuple[Entry, ...], tmp_path: Path) -> None:
    written = write_compare(by_scenario, tmp_path / "out")
    assert {path.name for path in written} == {
        "compare.json",
        "compare.txt",
        "compare.csv",
        "fronts.csv",
        "fronts.svg",
        "fronts.png",
    }
    assert all(path.stat().st_size > 0 for path in written)


def test_a_sweep_shows_every_point_and_why_there_is_no_plan(tmp_path: Path) -> None:
    over = grid(TEXT, "two.toml", (), ("ring.slots=2,3", "limits.finish_within_h=1,30"))
    rows = [
        text_row(Row(values=("2", "1"), refused="ring.slots = 2 is no good here.")),
        text_row(Row(values=("2", "30"), delta_v_m_s=120.0, worst_delta_v_m_s=120.0, finish_s=7200.0, proved=True)),
        text_row(Row(values=("3", "1"))),
    ]
    for width in (60, 80, 120):
        shown = sweep_text("Two over Quill", "delta_v", over, rows, width)
        assert max(len(line) for line in shown.splitlines()) <= width
        flat = " ".join(shown.split())
        for words in ("120.0", "2 h", "refused", "no plan", "1 point of the grid"):
            assert words in flat
    written = write_sweep("Two over Quill", "delta_v", over, rows, tmp_path / "out")
    assert {path.name for path in written} == {"sweep.csv", "sweep.txt", "sweep.svg", "sweep.png"}
