"""The public functions: what they return, in which units, and that it is what the command prints."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import ringwright
from ringwright import InputError, budget, compare, period, plan, read_scenario, replan, sweep
from ringwright.cli import main
from ringwright.reports.notebook.answers import Planned
from ringwright.tests.tolerances import WRITTEN_S

ROOT = Path(ringwright.__file__).parent
MARS = ROOT / "scenarios" / "one-craft-mars.toml"

ROUNDED_M = 0.06
"""The result rounds altitudes to a tenth of a meter; half of that, and the rounding of the radius."""

PERIOD_S = 1e-6
"""Two formulas for the same period differ by rounding alone."""


@pytest.fixture(scope="module")
def answer() -> Planned:
    return plan(MARS)


def test_frames_hold_the_numbers_of_the_result_in_si_units(answer: Planned) -> None:
    result = json.loads(answer.json)
    assert list(answer.plans["delta_v_m_s"].round(6)) == [p["delta_v_m_s"] for p in result["plans"]]
    assert list(answer.front["finish_s"].round(6)) == [p["finish_s"] for p in result["front"]]
    first = result["plans"][0]["craft"][0]["burns"]
    own = answer.burns[answer.burns["plan"] == 1]
    assert len(own) == len(first) > 0
    radius_m = 1e3 * result["body"]["radius_km"]
    for (_, row), burn in zip(own.iterrows(), first, strict=True):
        assert row["periapsis_after_m"] == pytest.approx(radius_m + 1e3 * burn["periapsis_after_km"], abs=ROUNDED_M)
        assert row["time_s"] == pytest.approx(burn["time_s"], abs=WRITTEN_S)


def test_text_is_what_the_command_prints(
    answer: Planned, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", "100")
    assert main(["plan", str(MARS)]) == 0
    printed = capsys.readouterr().out
    body = answer.text.split("Planning aid")[0].strip()
    assert body[:2000] in printed


def test_every_picture_shows_itself(answer: Planned, tmp_path: Path) -> None:
    assert "front" in answer.figures
    for name in answer.figures:
        assert answer.figure(name)._repr_svg_().lstrip().startswith("<?xml")
    for ending in ("svg", "png", "pdf"):
        assert answer.figure("front").save(tmp_path / f"front.{ending}").stat().st_size > 1000
    with pytest.raises(ValueError, match="there is no picture 'moon'"):
        answer.figure("moon")


def test_an_answer_shows_itself_as_a_table(answer: Planned) -> None:
    shown = answer._repr_html_()
    assert "<table" in shown
    assert answer.outcome.scenario.title in shown


def test_the_one_craft_question_obeys_the_phasing_rule() -> None:
    found = period(gm_m3_s2=3.986004418e14, ring_radius_m=16_378_137.0, lead_rad=1.5, floor_radius_m=6.5e6)
    turn = 2.0 * math.pi * math.sqrt(16_378_137.0**3 / 3.986004418e14)
    options = found.options
    assert len(options) > 0
    # Vallado, section 6.6: k T_p = (2 pi m - L) / n, here with m the slot's turns
    wait = (options["ring_revolutions"] - 1.5 / (2.0 * math.pi)) * turn
    assert np.allclose(options["revolutions"] * options["period_s"], wait, atol=PERIOD_S)


def test_the_budget_takes_a_plan_or_a_scenario() -> None:
    scenario = read_scenario(MARS, ["errors.burn_share=0.01"])
    of_plan, of_file = budget(plan(scenario), samples=500), budget(scenario, samples=500)
    assert of_plan.craft.equals(of_file.craft)
    assert (of_plan.craft["p99_m_s"] > of_plan.craft["planned_m_s"]).all()
    with pytest.raises(InputError, match="errors"):
        budget(MARS)


def test_a_replan_leaves_a_plan_to_go_on_from(answer: Planned, tmp_path: Path) -> None:
    seen = tmp_path / "seen.toml"
    seen.write_text(
        'now_h = 1.0\n[[craft]]\nname = "Flint"\norbit = { period = "11:05:20", apoapsis_km = 9000, '
        'at = "apoapsis", at_h = 0, angle_deg = 0 }\n',
        encoding="utf-8",
    )
    done = replan(answer, seen)
    assert list(done.changes["craft"]) == ["Flint"]
    assert done.after is not None
    assert done.after.plans["finish_s"].iloc[0] == pytest.approx(done.changes["in_slot_s"].iloc[0])


def test_a_sweep_of_one_worker_runs_here() -> None:
    table = sweep(MARS, "ring.slots=1,2").table
    assert list(table["ring.slots"]) == ["1", "2"]
    assert (table["delta_v_m_s"] > 0.0).all()


def test_strategies_side_by_side() -> None:
    table = compare(MARS).table
    assert table["delta_v_m_s"].iloc[0] == pytest.approx(table["delta_v_m_s"].min())


def test_importing_the_package_loads_nothing_heavy() -> None:
    code = (
        "import sys, ringwright\nringwright.__all__\n"
        "slow = {'numpy', 'scipy', 'pandas', 'matplotlib', 'pulp'} & set(sys.modules)\n"
        "sys.exit(f'loaded {slow}' if slow else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


def test_every_public_name_is_there_and_documented() -> None:
    assert ringwright.__all__
    for name in ringwright.__all__:
        assert getattr(ringwright, name).__doc__, name
    with pytest.raises(AttributeError, match="has no attribute 'moon'"):
        ringwright.moon  # noqa: B018
