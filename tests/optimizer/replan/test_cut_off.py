"""What is read when a burn is cut off, without a file; and what was spent at least.

Periods and speeds are checked by vis-viva and Kepler's third law (Vallado, chapters 1 and 2), written down here.
"""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from ringwright.cli import main
from ringwright.models.errors import InputError
from ringwright.models.reading.observed import parse_observed
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.replan.cut_off import READ_AFTER_S, Reading, observed_at_cut_off
from ringwright.optimizer.replan.remaining_scenario import remaining
from ringwright.optimizer.replan.replan import replan
from ringwright.tests.tolerances import DIGIT_M_S, FLOWN_REL, GRAM_KG, METER_M, MOVED_S, SCREEN_M_S, WRITTEN_S

from ...planned import BULGE_ALONE, bundled_outcome
from .test_repair import FOLDER

SPEED_M_S = 0.01
"""Speeds of two-body formulas against the oblate flight, as far as they are compared here."""

READ_S = 665.0 * 60.0 + 20.0
"""11:05:20, four minutes short of the period that the plan of one-craft-mars asks for."""


def _flint() -> Outcome:
    return bundled_outcome("one-craft-mars", BULGE_ALONE)


def _period_s(state: np.ndarray, gm: float) -> float:
    semi = 1.0 / (2.0 / float(np.linalg.norm(state[:3])) - float(state[3:] @ state[3:]) / gm)
    return 2.0 * math.pi * math.sqrt(semi**3 / gm)


def test_the_period_read_is_that_of_the_state_at_the_place_of_the_burn() -> None:
    before = _flint()
    observed = observed_at_cut_off(before, Reading(craft="Flint", period_s=READ_S))
    [seen] = observed.craft
    assert seen.state is not None
    state, planned = np.array(seen.state), np.array(before.plans[0].craft[0].before_burns[0])
    assert observed.now_s == READ_AFTER_S
    assert np.linalg.norm(state[:3] - planned[:3]) < METER_M
    assert _period_s(state, before.scenario.body.gm) == pytest.approx(READ_S, abs=WRITTEN_S)
    # the burn was back along the track, and so is what was too much
    assert abs(np.linalg.norm(np.cross(state[3:], planned[3:]))) < FLOWN_REL * float(planned[3:] @ planned[3:])
    assert np.linalg.norm(state[3:]) < np.linalg.norm(planned[3:])


def test_the_period_of_the_plan_leaves_the_plan_as_it_is() -> None:
    before = _flint()
    burn = before.plans[0].craft[0].burns[0]
    done = replan(before, observed_at_cut_off(before, Reading(craft="Flint", period_s=burn.period_after_s)))
    [change] = done.changes
    assert change.spent_m_s == pytest.approx(burn.delta_v_m_s, abs=SPEED_M_S)
    assert done.total_m_s == pytest.approx(done.old_total_m_s, abs=SCREEN_M_S)
    assert abs(done.later_s) < MOVED_S


@pytest.mark.parametrize("more_s", [-240.0, 90.0])
def test_what_was_spent_is_what_the_two_orbits_need(more_s: float) -> None:
    before = _flint()
    part, gm = before.plans[0].craft[0], before.scenario.body.gm
    period_s = part.burns[0].period_after_s + more_s
    done = replan(before, observed_at_cut_off(before, Reading(craft="Flint", period_s=period_s)))
    state = np.array(part.before_burns[0])
    semi = (gm * (period_s / (2.0 * math.pi)) ** 2) ** (1.0 / 3.0)
    after = math.sqrt(gm * (2.0 / float(np.linalg.norm(state[:3])) - 1.0 / semi))
    assert done.changes[0].spent_m_s == pytest.approx(float(np.linalg.norm(state[3:])) - after, abs=SPEED_M_S)
    [spent] = done.remaining.spent
    assert (spent.at_least, spent.by_plan) == (True, False)


def test_a_file_and_the_options_come_to_the_same() -> None:
    before = _flint()
    text = (
        f'now_h = 1.0\n[[craft]]\nname = "Flint"\norbit = {{ period_s = {READ_S}, apoapsis_km = 9000, at = "apoapsis", '
        "at_h = 0, angle_deg = 0 }\n"
    )
    with_file = replan(before, parse_observed(text, before.scenario, before.ring))
    radius_m = before.scenario.body.radius_m
    reading = Reading(craft="Flint", period_s=READ_S, apoapsis_m=radius_m + 9.0e6, now_s=3600.0)
    done = replan(before, observed_at_cut_off(before, reading))
    assert done.total_m_s == pytest.approx(with_file.total_m_s, abs=DIGIT_M_S)
    assert done.finish_s == pytest.approx(with_file.finish_s, abs=MOVED_S)


def test_the_propellant_left_is_that_of_what_was_spent() -> None:
    """Rocket equation (Vallado, section 6.1): the mass after is that before times exp(-dv / (g0 Isp))."""
    before = bundled_outcome("four-over-the-equator")
    part = next(one for one in before.plans[0].craft if one.craft == "Sienna")
    period_s = part.burns[0].period_after_s + 300.0
    left = remaining(before, before.plans[0], observed_at_cut_off(before, Reading(craft="Sienna", period_s=period_s)))
    craft = next(one for one in before.scenario.craft if one.name == "Sienna")
    assert craft.dry_mass_kg is not None
    assert craft.propellant_kg is not None
    assert craft.isp_s is not None
    assert left.scenario is not None
    now = next(one for one in left.scenario.craft if one.name == "Sienna")
    spent = next(one for one in left.spent if one.craft == "Sienna")
    assert spent.delta_v_m_s > part.burns[0].delta_v_m_s
    mass = (craft.dry_mass_kg + craft.propellant_kg) * math.exp(-spent.delta_v_m_s / (9.80665 * craft.isp_s))
    assert now.propellant_kg == pytest.approx(mass - craft.dry_mass_kg, abs=GRAM_KG)


def test_the_last_burn_before_the_moment_is_the_one_that_was_read() -> None:
    before = _flint()
    part = before.plans[0].craft[0]
    last = part.burns[-1]
    observed = observed_at_cut_off(
        before, Reading(craft="Flint", period_s=last.period_after_s, now_s=last.time_s + 3600.0)
    )
    assert observed.craft[0].state_s == pytest.approx(last.time_s, abs=WRITTEN_S)


@pytest.mark.parametrize(
    ("reading", "words"),
    [
        (Reading(craft="Nobody", period_s=READ_S), "Flint"),
        (Reading(craft="Flint", period_s=600.0), "every orbit has more than 4:06:5"),
        (Reading(craft="Flint", period_s=1e-300), "every orbit has more than 4:06:5"),
        (Reading(craft="Flint", period_s=1e-300, apoapsis_m=1.3e7), "the first must be the lower one"),
        (Reading(craft="Flint"), "give a period, or apsides"),
        (Reading(craft="Flint", periapsis_m=1.0e7, apoapsis_m=1.1e7), "no apsis of the orbit read"),
        (Reading(craft="Flint", periapsis_m=1.3e7, apoapsis_m=1.24e7), "the first must be the lower one"),
        (Reading(craft="Flint", apoapsis_m=1.2396e7), "which the plan knows"),
        (Reading(craft="Flint", period_s=3600.0, periapsis_m=1.2e7, apoapsis_m=1.24e7), "keep two of the three"),
    ],
)
def test_what_cannot_be_is_refused_with_what_would_do(reading: Reading, words: str) -> None:
    with pytest.raises(InputError, match=words):
        observed_at_cut_off(_flint(), reading)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ([], "--observed FILE, or --craft NAME --period TIME"),
        (["--period", "3:14:00"], "add --craft NAME"),
        (["--craft", "Flint"], "add --period"),
        (["--craft", "Flimt", "--period", "3:14:00"], "Flint"),
        (["--craft", "Flint", "--period", "3"], "has no unit"),
        (["--craft", "Flint", "--period", "3h", "--at", "2031-05-01T12:00:00Z"], "has no epoch"),
        (["--craft", "Flint", "--period", "0h"], "not after zero"),
    ],
)
def test_options_that_say_nothing_are_refused_before_planning(
    options: list[str], words: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("ringwright.optimizer.plan.make_plan", None)
    assert main(["replan", f"{FOLDER}/one-craft-mars.toml", *options]) == 2
    assert words in capsys.readouterr().err


@pytest.mark.usefixtures("shared_plans")
def test_the_command_prints_what_was_spent_at_least_and_the_next_command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    place = tmp_path / "new.json"
    typed = ["replan", f"{FOLDER}/one-craft-mars.toml", "--craft", "Flint", "--period", "11:05:20"]
    assert main([*typed, "--json", str(place)]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "What Flint spent is at least what the orbits before and after the last burn need" in shown
    assert "--craft Flint --period 11:05:20 --out DIR" in shown.replace("\\ ", "")
    [spent] = json.loads(place.read_text(encoding="utf-8"))["spent"]
    assert spent["at_least"] is True
