"""Any plan of the list can be taken further by its rank."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from ringwright.cli import main
from ringwright.models.reading.scenario_reader import read_scenario
from ringwright.reports.figures import drawings
from ringwright.reports.folder import write_folder
from ringwright.tests.test_cli import SMALL

from ...planned import outcome_of

pytestmark = pytest.mark.usefixtures("shared_plans")

SHOWN = 1e-6
"""Rounding of the JSON result, m/s and s."""


@pytest.fixture
def scenario(tmp_path: Path) -> str:
    path = tmp_path / "two.toml"
    path.write_text(f"{SMALL}[errors]\nburn_share = 0.01\n", encoding="utf-8")
    return str(path)


@pytest.fixture
def ranked(scenario: str, capsys: pytest.CaptureFixture[str]) -> dict[str, dict[str, float]]:
    """Plan 1 and a plan that costs another sum."""
    assert main(["plan", scenario, "--json", "-"]) == 0
    plans = json.loads(capsys.readouterr().out)["plans"]
    other = next(plan for plan in plans if abs(plan["delta_v_m_s"] - plans[0]["delta_v_m_s"]) > 1.0)
    return {"first": plans[0], "other": other}


def test_plan_shows_the_plan_that_was_picked(
    scenario: str,
    ranked: dict[str, dict[str, float]],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv("COLUMNS", "120")
    rank, cost = int(ranked["other"]["rank"]), ranked["other"]["delta_v_m_s"]
    assert main(["plan", scenario, "--plan", str(rank)]) == 0
    shown = capsys.readouterr().out
    assert f"Plan {rank}: 1 craft reaches its slot for {cost:.1f} m/s" in shown
    assert "Against plan 1: " in shown
    assert f"--plan {rank}" in " ".join(shown.splitlines()[-2:])


def test_files_show_and_draw_the_plan_that_was_picked(
    scenario: str, ranked: dict[str, dict[str, float]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rank = int(ranked["other"]["rank"])
    outcome = outcome_of(read_scenario(scenario))
    drawn = drawings(outcome, rank)
    of_one_plan = [draw.args[1] for name, draw in drawn.items() if name != "front"]
    assert len(of_one_plan) == 3
    assert all(plan.rank == rank for plan in of_one_plan)
    asked = []

    def draw_all(_: object, __: object, which: int) -> list[Path]:
        asked.append(which)
        return []

    monkeypatch.setattr("ringwright.reports.folder.draw_all", draw_all)
    write_folder(outcome, tmp_path / "other", rank)
    assert asked == [rank]
    assert f"Plan {rank}: " in (tmp_path / "other" / "plan.txt").read_text(encoding="utf-8")
    assert f'"open":{rank},' in (tmp_path / "other" / "page.html").read_text(encoding="utf-8")


def test_the_page_opens_on_the_plan_that_was_picked(
    scenario: str, ranked: dict[str, dict[str, float]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rank = int(ranked["other"]["rank"])
    place = tmp_path / "page.html"
    assert main(["page", scenario, "--plan", str(rank), "--out", str(place)]) == 0
    assert f'"open":{rank},' in place.read_text(encoding="utf-8")
    assert f"--plan {rank}" in capsys.readouterr().out
    assert main(["page", scenario, "--plan", "999", "--out", str(tmp_path / "none.html")]) == 2
    assert "--plan 999: there are plans 1 to" in capsys.readouterr().err
    assert not (tmp_path / "none.html").exists()


def test_budget_is_of_the_plan_that_was_picked(
    scenario: str, ranked: dict[str, dict[str, float]], capsys: pytest.CaptureFixture[str]
) -> None:
    rank = int(ranked["other"]["rank"])
    assert main(["budget", scenario, "--plan", str(rank), "--samples", "100", "--json", "-"]) == 0
    [craft] = json.loads(capsys.readouterr().out)["craft"]
    assert craft["planned_m_s"] == pytest.approx(ranked["other"]["delta_v_m_s"], abs=SHOWN)


def test_replan_goes_on_from_the_plan_that_was_picked(
    scenario: str, ranked: dict[str, dict[str, float]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rank = int(ranked["other"]["rank"])
    seen = tmp_path / "seen.toml"
    seen.write_text("now_s = 60.0\n", encoding="utf-8")
    assert main(["replan", scenario, "--plan", str(rank), "--observed", str(seen), "--json", "-"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["old_delta_v_m_s"] == pytest.approx(ranked["other"]["delta_v_m_s"], abs=SHOWN)
    assert answer["old_finish_s"] == pytest.approx(ranked["other"]["finish_s"], abs=SHOWN)
    assert main(["replan", scenario, "--plan", str(rank), "--observed", str(seen)]) == 0
    assert f"Plan {rank} was being flown." in capsys.readouterr().out


def test_slips_are_of_the_plan_that_was_picked(
    scenario: str, ranked: dict[str, dict[str, float]], capsys: pytest.CaptureFixture[str]
) -> None:
    rank = int(ranked["other"]["rank"])
    assert main(["slips", scenario, "--plan", str(rank)]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert f"Plan {rank}: {ranked['other']['delta_v_m_s']:.1f} m/s in all" in shown
    assert "follows the goal of the scenario (the least total delta-v)" in shown


@pytest.mark.parametrize("command", ["plan", "budget", "sheet", "slips"])
def test_a_rank_that_there_is_not_is_refused(command: str, scenario: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([command, scenario, "--plan", "9999"]) == 2
    assert "--plan 9999: there are plans 1 to " in capsys.readouterr().err
