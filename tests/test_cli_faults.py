"""What goes wrong in a flight that was asked for by what was seen is bad input, not a fault of ours."""

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
