"""The command line as a user meets it: exit status, standard output, files written whole or not at all."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from ringwright import __version__
from ringwright.cli import main
from ringwright.scenarios import bundled
from ringwright.tests.worlds import QUILL_TURNING, REED, ring

SMALL = f"""
title = "Two over Quill"
{QUILL_TURNING}{ring(2500.0, 2)}[limits]
revolutions_max = 3
{REED}"""


@pytest.fixture
def scenario(tmp_path: Path) -> Path:
    path = tmp_path / "two.toml"
    path.write_text(SMALL, encoding="utf-8")
    return path


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as leaving:
        main(["--version"])
    assert leaving.value.code == 0
    assert capsys.readouterr().out.strip() == f"ringwright {__version__}"


def test_bare_command_lists_the_bundled_questions(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 0
    shown = capsys.readouterr().out
    assert all(name in shown for name in bundled())


def test_plan_prints_and_exits_0(scenario: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", str(scenario)]) == 0
    shown = capsys.readouterr().out
    assert "Reed" in shown
    assert "planning aid, not flight software" in shown
    assert max(len(line) for line in shown.splitlines()) <= 120


def test_json_on_standard_output_is_json_and_nothing_else(scenario: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "ringwright", "plan", str(scenario), "--json", "-"], capture_output=True, check=True
    )
    result = json.loads(done.stdout)
    assert result["format"] == "ringwright-plan/1"
    assert done.stderr == b""


@pytest.mark.usefixtures("shared_plans")
def test_out_writes_tables_result_and_figures(scenario: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert main(["plan", str(scenario), "--out", str(out), "--json", str(tmp_path / "plan.json")]) == 0
    names = {path.name for path in out.iterdir()}
    wanted = {"plan.json", "plans.csv", "craft.csv", "burns.csv", "front.csv", "front.svg", "front.png"}
    assert wanted | {"turning_view.svg", "unrolled_ring.svg", "timeline.svg"} <= names
    assert json.loads((tmp_path / "plan.json").read_text(encoding="utf-8"))["plans"]


def test_set_changes_one_value(scenario: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", str(scenario), "--set", "ring.altitude_km=2600", "--set", "craft[0].orbit.altitude_km=2600",
                 "--json", "-"]) == 0  # fmt: skip
    assert json.loads(capsys.readouterr().out)["ring"]["altitude_km"] == 2600.0


def test_no_plan_exits_3_and_the_value_named_serves(scenario: Path, capsys: pytest.CaptureFixture[str]) -> None:
    tight = ["--set", "limits.finish_within_h=1.0"]
    assert main(["plan", str(scenario), *tight, "--json", "-"]) == 3
    result = json.loads(capsys.readouterr().out)
    assert result["plans"] == []
    named = result["infeasible"]
    assert named["limit"] == "limits.finish_within_h"
    assert main(["plan", str(scenario), "--set", f"limits.finish_within_h={named['serves']}"]) == 0


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["plan"], "SCENARIO"),
        (["fly", "x.toml"], "invalid choice"),
        (["plan", "missing.toml"], "missing.toml"),
        (["new", "nothing-like-it", "x.toml"], "one-craft-mars"),
    ],
)
def test_bad_input_exits_2_with_one_paragraph(
    arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(arguments) == 2
    said = capsys.readouterr()
    assert words in said.err
    assert "Traceback" not in said.err
    assert said.out == ""


def test_new_copies_a_bundled_scenario_and_never_overwrites(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "mine.toml"
    assert main(["new", "one-craft-mars", str(place)]) == 0
    first = place.read_text(encoding="utf-8")
    assert main(["new", "atoll-on-the-equator", str(place)]) == 2
    assert place.read_text(encoding="utf-8") == first
    assert main(["check", str(place)]) == 0
    assert "Mars" in capsys.readouterr().out


def test_bodies_can_be_copied_into_a_scenario(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["bodies"]) == 0
    listed = capsys.readouterr().out
    ceres = listed[listed.index('name = "Ceres"') :].split("[body]")[0]
    place = tmp_path / "ceres.toml"
    place.write_text(
        f'title = "Round Ceres"\n[body]\n{ceres}\n[ring]\naltitude_km = 800\nslots = 1\nslot0_deg = 20\n'
        '[[craft]]\nname = "Moss"\norbit = { altitude_km = 800.0, angle_deg = 0.0 }\n',
        encoding="utf-8",
    )
    assert main(["check", str(place)]) == 0


@pytest.mark.usefixtures("shared_plans")
def test_an_interrupted_run_leaves_nothing_behind(
    scenario: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("ringwright.reports.tables.write_tables", interrupted)
    monkeypatch.setattr("ringwright.reports.folder.write_tables", interrupted)
    assert main(["plan", str(scenario), "--out", str(tmp_path / "out")]) == 130
    assert "interrupted" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == [scenario.name]


def test_a_fault_of_ours_is_one_sentence_and_exit_1(
    scenario: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a pivot of nothing")

    monkeypatch.setattr("ringwright.optimizer.plan.make_plan", broken)
    assert main(["plan", str(scenario)]) == 1
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert "a fault of ours (ZeroDivisionError)" in said.err
    assert "RINGWRIGHT_TRACEBACK=1" in said.err
    monkeypatch.setenv("RINGWRIGHT_TRACEBACK", "1")
    with pytest.raises(ZeroDivisionError):
        main(["plan", str(scenario)])
