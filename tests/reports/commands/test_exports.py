"""The options of ``plan`` that write for other tools, as they are typed."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

from ringwright.cli import main
from ringwright.tests.reports.exchange.messages import EARTH, OWN


@pytest.fixture
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    Path("ring.toml").write_text(EARTH, encoding="utf-8")
    Path("own.toml").write_text(OWN.replace("epoch = 2031-05-01T06:00:00Z\n", ""), encoding="utf-8")


@pytest.mark.usefixtures("_here")
def test_one_run_writes_all_and_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", "ring.toml", "--ccsds", "flights", "--calendar", "ring.ics", "--excel", "ring.xlsx"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "The flights are in flights as CCSDS messages, GCRF and UTC" in shown
    assert "Liftoffs, burns and looks are in ring.ics, for a calendar." in shown
    assert "The tables of all plans are in ring.xlsx." in shown
    assert sorted(path.name for path in Path("flights").iterdir()) == ["1-umber.oem", "1-umber.opm"]
    assert Path("ring.ics").stat().st_size > 500
    assert Path("ring.xlsx").stat().st_size > 5000


@pytest.mark.usefixtures("_here")
def test_another_plan_is_written_when_it_is_picked(capsys: pytest.CaptureFixture[str]) -> None:
    typed = ["plan", "ring.toml", "--plan", "2", "--ccsds", "flights", "--calendar", "ring.ics", "--json", "-"]
    assert main(typed) == 0
    assert capsys.readouterr().out.startswith("{")
    assert "COMMENT Plan 2 of: One of two over the Earth\n" in Path("flights/1-umber.oem").read_text(encoding="ascii")
    assert "Plan 2 of One" in Path("ring.ics").read_text(encoding="utf-8").replace("\r\n ", "")


@pytest.mark.usefixtures("_here")
def test_a_world_of_ones_own_is_written_as_tables_with_the_reason(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", "own.toml", "--ccsds", "flights"]) == 0
    assert "as CSV, not as CCSDS messages" in " ".join(capsys.readouterr().out.split())
    assert [path.name for path in Path("flights").iterdir()] == ["1-flint.csv"]


@pytest.mark.usefixtures("_here")
@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (["own.toml", "--calendar", "ring.ics"], "the scenario has no epoch: add epoch"),
        (["ring.toml", "--calendar", "-"], "name a file"),
        (["ring.toml", "--excel", "nowhere/ring.xlsx"], "no place for a file"),
        (["ring.toml", "--excel", "ring.xls"], "name a file that ends in .xlsx"),
        (["ring.toml", "--ccsds", "ring.toml"], "no place for a folder"),
        (["ring.toml", "--ccsds", "flights", "--plan", "99"], "--plan 99: there are plans 1 to"),
    ],
)
def test_what_cannot_be_written_is_refused_and_nothing_is(
    typed: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    before = sorted(Path.cwd().iterdir())
    assert main(["plan", *typed]) == 2
    assert said in " ".join(capsys.readouterr().err.split())
    assert sorted(Path.cwd().iterdir()) == before


@pytest.mark.usefixtures("_here")
def test_a_missing_library_is_said_before_anything_is_planned(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda _: None)
    monkeypatch.setattr("ringwright.optimizer.plan.make_plan", lambda *_, **__: pytest.fail("planned first"))
    assert main(["plan", "ring.toml", "--excel", "ring.xlsx"]) == 2
    assert "pip install openpyxl" in " ".join(capsys.readouterr().err.split())
