"""Plans weighed by risk, as people and programs get it."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from ringwright.cli import main
from ringwright.models.readouts import span
from ringwright.optimizer.craft_plan import CraftPlan
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.robustness import known_flights, weighing
from ringwright.optimizer.robustness.flights_with_errors import story_in
from ringwright.tests.worlds import FLAT_ROCK, heavy

from ..planned import outcome_of, scenario_of

RING = f"""
title = "Ring at risk"
{FLAT_ROCK}{heavy("Fen", 120.0)}{heavy("Moor", 120.0)}[errors]
burn_share = 0.01
[risk]
slip_share = 0.4
slip_mean_d = 3.0
loss_share = 0.05
replaced_after_d = 40.0
"""


@pytest.fixture
def scenario(tmp_path: Path) -> str:
    place = tmp_path / "ring.toml"
    place.write_text(RING, encoding="utf-8")
    return str(place)


def test_screen_json_and_files_say_the_same(scenario: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert (
        main(["risk", scenario, "--samples", "2000", "--json", str(tmp_path / "r.json"), "--out", str(tmp_path / "o")])
        == 0
    )
    text = capsys.readouterr().out
    found = json.loads((tmp_path / "r.json").read_text(encoding="utf-8"))
    assert found == json.loads((tmp_path / "o" / "risk.json").read_text(encoding="utf-8"))
    first = found["plans"][0]
    assert f"after {span(first['finish_p90_s'])} in 90 of 100 rings" in " ".join(text.split())
    assert f"{first['load_p99_kg']:.2f} kg in all craft" in " ".join(text.split())
    assert "40.0 % of launches slip" in text
    assert "no spare stands ready and another can lift off 40 d after that" in " ".join(text.split())
    assert [one["spares"] for one in found["spares"]] == [0, 1, 2]
    assert (tmp_path / "o" / "completion.svg").exists()


@pytest.mark.parametrize(("aim", "column"), [("finish_p90", "finish_p90_s"), ("load_p99", "load_p99_kg")])
def test_a_plan_by_risk(
    aim: str, column: str, scenario: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / "plan.json"
    assert main(["plan", scenario, "--set", f'goal.minimize="{aim}"', "--json", str(place)]) == 0
    text = " ".join(capsys.readouterr().out.split())
    found = json.loads(place.read_text(encoding="utf-8"))
    assert main(["schema", "result"]) == 0
    jsonschema.validate(found, json.loads(capsys.readouterr().out))
    weights = [one[column] for one in found["weighed"]]
    assert [one["plan"] for one in found["weighed"]] == [plan["rank"] for plan in found["plans"]]
    assert len(weights) > 1
    assert weights[0] <= min(weights) + (60.0 if aim == "finish_p90" else 0.1)
    assert "Weighed by risk" in text
    assert "a plan that is not listed may be better" in text
    assert found["proof"] is None
    assert not re.search(r"[Pp]roved (the )?least|no plan .* is better", text)


def test_nothing_to_weigh_by(scenario: str, capsys: pytest.CaptureFixture[str]) -> None:
    bare = ["--set", "risk.slip_share=0", "--set", "risk.loss_share=0"]
    assert main(["risk", scenario, *bare, "--set", "errors.burn_share=0", "--set", 'goal.minimize="load_p99"']) == 2
    assert "add [errors]" in " ".join(capsys.readouterr().err.split())


def test_a_plan_weighs_the_same_beside_others(monkeypatch: pytest.MonkeyPatch) -> None:
    """What craft need that fly the same in several plans is worked out once, and is what it is for each plan alone."""
    outcome = outcome_of(scenario_of(RING))
    again = replace(outcome.plans[0], rank=len(outcome.plans) + 1)
    outcome = replace(outcome, plans=(*outcome.plans, again))
    asked: list[str] = []

    def counted(of: Outcome, part: CraftPlan) -> Any:
        asked.append(part.craft)
        return story_in(of, part)

    monkeypatch.setattr(known_flights, "story_in", counted)
    together = weighing.weighed(outcome, samples=500)
    assert len(together) > 2
    assert len(asked) <= sum(len(plan.craft) for plan in outcome.plans[:-1])
    for plan, found in zip(outcome.plans, together, strict=True):
        [alone] = weighing.weighed(replace(outcome, plans=(plan,)), samples=500)
        assert alone.load_m_s == found.load_m_s
        assert alone.load_kg == found.load_kg
