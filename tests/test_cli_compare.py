"""The commands that compare and sweep, and plans that are cut short, as a user meets them."""

from __future__ import annotations

import json
import os
import signal
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from ringwright.cli import main
from ringwright.reports.commands.progress import Progress
from ringwright.tests.tolerances import FOUR_DECIMALS
from ringwright.tests.worlds import QUILL_TURNING, REED, ring

SMALL = f"""
title = "One over Quill"
{QUILL_TURNING}{ring(2500.0, 2)}[limits]
revolutions_max = 2
finish_within_h = 40
{REED}"""


@pytest.fixture
def scenario(tmp_path: Path) -> Path:
    path = tmp_path / "one.toml"
    path.write_text(SMALL, encoding="utf-8")
    return path


def test_fronts_go_to_the_result_on_request(scenario: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", str(scenario), "--fronts", "--set", "goal.first_service=1", "--json", "-"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert set(result["fronts"]) == {"worst_delta_v", "propellant", "first_service"}
    assert result["fronts"]["propellant"] == []
    main_front = [(p["finish_s"], p["delta_v_m_s"]) for p in result["front"]]
    # one craft: its delta-v is the worst and the total, its finish the first service
    for name, time in (("worst_delta_v", "finish_s"), ("first_service", "first_service_s")):
        found = [(p[time], p["worst_delta_v_m_s"]) for p in result["fronts"][name]]
        assert found == [pytest.approx(point, abs=FOUR_DECIMALS) for point in main_front]
    assert main(["plan", str(scenario), "--json", "-"]) == 0
    assert "fronts" not in json.loads(capsys.readouterr().out)


@pytest.mark.parametrize("limit", ["0", "-1", "soon", "inf"])
def test_a_time_limit_is_a_number_of_seconds(limit: str, scenario: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", str(scenario), f"--time-limit={limit}"]) == 2
    assert "seconds" in capsys.readouterr().err


def test_a_time_limit_that_is_too_short_is_said(scenario: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", str(scenario), "--time-limit", "1e-9"]) == 4
    assert "search ended early" in " ".join(capsys.readouterr().out.split())


def test_a_search_that_was_ended_leaves_the_result_undecided(
    scenario: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["plan", str(scenario), "--time-limit", "1e-9", "--json", "-"]) == 4
    result = json.loads(capsys.readouterr().out)
    assert (result["proof"]["status"], result["infeasible"], result["plans"]) == ("undecided", None, [])
    for command in ("sheet", "slips", "compare"):
        assert main([command, str(scenario), "--time-limit", "1e-9"]) == 4
    capsys.readouterr()
    rows = ["sweep", str(scenario), "--vary", "limits.finish_within_h=1,40", "--workers", "1", "--time-limit", "1e-9"]
    assert main(rows) == 4
    assert "2 points undecided" in " ".join(capsys.readouterr().out.split())


def test_the_limits_of_time_and_memory_can_be_lifted(scenario: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", str(scenario), "--time-limit", "none", "--memory-limit", "none"]) == 0
    assert "ended early" not in capsys.readouterr().out
    assert main(["plan", str(scenario), "--memory-limit", "2 GB"]) == 0
    for size in ("2", "1KB", "-1GB", "lots"):
        assert main(["plan", str(scenario), f"--memory-limit={size}"]) == 2
        assert "no size" in capsys.readouterr().err


def test_ctrl_c_shows_the_best_plan_so_far(
    scenario: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from ringwright.optimizer.choice import front

    walk = front.walk

    def interrupted(*arguments: Any, **more: Any) -> front.Walked:
        os.kill(os.getpid(), signal.SIGINT)
        return walk(*arguments, **more)

    monkeypatch.setattr(front, "walk", interrupted)
    assert main(["plan", str(scenario)]) == 0
    said = capsys.readouterr()
    assert "Reed" in said.out
    assert "search ended early" in " ".join(said.out.split())
    assert "stopping" in said.err


def test_ctrl_c_before_any_plan_says_there_is_none(
    scenario: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from ringwright.optimizer.choice import selection
    from ringwright.optimizer.schedule.one_aim import Solved

    def interrupted(*_: object, **__: object) -> Solved:
        os.kill(os.getpid(), signal.SIGINT)
        return Solved(status="failed")

    monkeypatch.setattr(selection, "solve_lexicographic", interrupted)
    assert main(["plan", str(scenario), "--time-limit", "60"]) == 130
    assert "NO PLAN YET" in capsys.readouterr().out


def test_compare_strategies_and_scenarios(scenario: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compare", str(scenario), "--out", str(tmp_path / "out")]) == 0
    assert "below only" in capsys.readouterr().out
    assert (tmp_path / "out" / "fronts.png").exists()
    other = tmp_path / "other.toml"
    other.write_text(SMALL.replace("angle_deg = 100.0", "angle_deg = 30.0"), encoding="utf-8")
    assert main(["compare", str(scenario), str(other), "--json", "-"]) == 0
    values = json.loads(capsys.readouterr().out)
    assert [entry["name"] for entry in values["entries"]] == ["one", "other"]
    assert main(["compare", str(scenario), "--set", "limits.finish_within_h=1"]) == 3


def test_sweep_streams_to_a_file_and_goes_on_from_it(
    scenario: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = tmp_path / "rows.csv"
    command = ["sweep", str(scenario), "--vary", "limits.finish_within_h=1,20,40", "--csv", str(rows)]
    assert main([*command, "--workers", "1", "--out", str(tmp_path / "out")]) == 0
    first = capsys.readouterr().out
    assert (tmp_path / "out" / "sweep.png").exists()
    lines = rows.read_text(encoding="utf-8").splitlines(keepends=True)
    assert len(lines) == 4
    rows.write_text("".join(lines[:3]) + lines[3][:7], encoding="utf-8")
    assert main([*command, "--workers", "1"]) == 0
    assert sorted(rows.read_text(encoding="utf-8").splitlines(keepends=True)) == sorted(lines)
    assert first.startswith(capsys.readouterr().out[:200])


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ([], "varied"),
        (["--vary", "ring.altitde_km=400,500"], "altitde_km"),
        (["--vary", "ring.slots=2,3", "--workers", "0"], "processes"),
        (["--vary", "ring.slots=2,3", "--workers", "2", "--cluster", "tcp://127.0.0.1:1"], "not allowed with"),
    ],
)
def test_a_sweep_that_cannot_be_run_says_why(
    more: list[str], words: str, scenario: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["sweep", str(scenario), *more]) == 2
    assert words in capsys.readouterr().err


def test_first_service_must_fit_the_ring(scenario: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(scenario), "--set", "goal.first_service=2"]) == 2
    assert "1 to 1 would be accepted" in capsys.readouterr().err


def test_progress_is_a_line_now_and_then_where_it_is_piped(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    clock = iter([0.0, 3.0, 12.0, 15.0, 24.5])
    monkeypatch.setattr("ringwright.reports.commands.progress.time", SimpleNamespace(monotonic=lambda: next(clock)))
    progress = Progress()
    for what in ("one", "two", "three", "four"):
        progress(what)
    progress.done()
    assert capsys.readouterr().err == "after 12 s: two\nafter 24 s: four\n"
