"""Whatever goes wrong inside ends in one sentence."""

from __future__ import annotations

from pathlib import Path

import pytest

from ringwright.cli import main
from ringwright.models.errors import FlightError
from ringwright.tests.test_cli import SMALL


@pytest.fixture
def scenario(tmp_path: Path) -> str:
    path = tmp_path / "two.toml"
    path.write_text(SMALL, encoding="utf-8")
    return str(path)


def _broken(*_: object, **__: object) -> None:
    raise ZeroDivisionError("division by zero")


def test_a_fault_of_ours_is_one_sentence(
    scenario: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.delenv("RINGWRIGHT_TRACEBACK", raising=False)
    monkeypatch.setattr("ringwright.optimizer.plan.make_plan", _broken)
    assert main(["plan", scenario]) == 1
    said = capsys.readouterr().err
    assert said.startswith("ringwright: a fault of ours (ZeroDivisionError)")
    assert said.count("\n") == 1


def test_its_traceback_is_shown_on_request(scenario: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RINGWRIGHT_TRACEBACK", "1")
    monkeypatch.setattr("ringwright.optimizer.plan.make_plan", _broken)
    with pytest.raises(ZeroDivisionError):
        main(["plan", scenario])


def test_a_flight_that_cannot_be_followed_is_bad_input(
    scenario: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def lost(*_: object, **__: object) -> None:
        raise FlightError("the step became too small")

    seen = tmp_path / "seen.toml"
    seen.write_text("now_h = 1.0\n", encoding="utf-8")
    monkeypatch.setattr("ringwright.optimizer.replan.resumed_plan.go_on", lost)
    assert main(["replan", scenario, "--observed", str(seen)]) == 2
    said = capsys.readouterr().err
    assert f"{seen}: from what was seen a flight cannot be followed" in said
    assert 'status = "lost"' in said
