"""Sentences that give a reason hold where they are printed."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import pytest

from ringwright.models.errors import InputError
from ringwright.optimizer.catalogue.catalogue import catalogue
from ringwright.optimizer.choice import front
from ringwright.optimizer.choice.alternatives import relabeled
from ringwright.optimizer.choice.ring_phase import best_phase
from ringwright.optimizer.choice.selection import Selection
from ringwright.optimizer.craft_plan import CraftPlan
from ringwright.optimizer.outcome import Bind, Infeasible, Outcome
from ringwright.optimizer.problem.ring_phase import problems
from ringwright.reports.carriers import duty_text
from ringwright.reports.terminal import plan_text

from ...planned import outcome_of, planned, scenario_of
from ..routes.test_carrier import FOUR, carrier, world

PAD = """
title = "One kettle up"
[body]
name = "Pennant"
gm_km3_s2 = 6856.9
radius_km = 1588.4
atmosphere_top_km = 15.9
sidereal_day_h = {day}
j2 = 0.0
[ring]
altitude_km = 1405.6
slots = 3
slot0_deg = 273.0
[[ring.occupied]]
name = "Trivet"
slot = 1
[[ring.occupied]]
name = "Skillet"
slot = 0
[limits]
clearance_km = 5.0
separation_km = 0.0
finish_within_h = 34.38
revolutions_max = 7
[launch]
latitude_deg = 0.0
longitude_deg = -9.8
ready_h = 2.694
{until}
ascent_min = 8.0
downrange_deg = 15.0
insertion = {{ periapsis_km = -476.5, apoapsis_km = 1405.6, altitude_km = 37.3 }}
[[craft]]
name = "Kettle"
"""

TWO = """
title = "Two buckets apart"
[body]
name = "Pennant"
gm_km3_s2 = 6856.9
radius_km = 1588.4
sidereal_day_h = 20.0
j2 = 0.0
[ring]
altitude_km = 1405.6
slots = 2
slot0_deg = {phase}
[limits]
finish_within_d = 3.0
revolutions_max = 8
[[craft]]
name = "Bucket"
orbit = {{ altitude_km = 1405.6, angle_deg = 0.0 }}
[[craft]]
name = "Mop"
orbit = {{ altitude_km = 1405.6, angle_deg = 60.0 }}
[goal]
minimize = "worst_delta_v"
"""


@lru_cache
def _outcome(text: str) -> Outcome:
    return outcome_of(scenario_of(text))


def _note(text: str) -> str:
    front_found = _outcome(text).front
    assert front_found is not None
    return front_found.note


def test_phasing_that_costs_nothing_is_not_said_to_be_a_wait_on_the_pad() -> None:
    text = PAD.format(day="inf", until="until_h = 2.867")
    [part] = _outcome(text).plans[0].craft
    assert part.revolutions == 1  # it phases, so no wait on the pad brought it into place
    assert "waiting on the pad" not in _note(text)
    assert "phasing is part of the burns that enter the ring" in _note(text)


def test_a_site_that_stands_still_is_not_said_to_turn() -> None:
    still, turning = PAD.format(day="inf", until=""), PAD.format(day="20.0", until="")
    laid = best_phase(problems(scenario_of(still)), "delta_v", lambda _: None)
    selection, best = laid.selection, laid.best
    assert best is not None
    for text, words in ((still, "stands still"), (turning, "the turning site brings")):
        selection = Selection(catalogue(problems(scenario_of(text))[0]))
        best = selection.best(("delta_v", "last_liftoff"), finish_s=1e9)
        assert best is not None
        level = replace(best, options=replace(best.options, revolutions=0 * best.options.revolutions))
        why = front._free_because(selection, level)
        assert words in why


def test_a_walk_that_was_broken_off_does_not_call_its_only_point_the_earliest() -> None:
    text = TWO.format(phase="0.0")
    laid = best_phase(problems(scenario_of(text)), "delta_v", lambda _: None)
    selection, best = laid.selection, laid.best
    assert best is not None
    walked = front.Walked(plans=(best,), times_s=(1.0,), kinds=("step",), resolution=0.0, complete=False, late=True)
    said = front.note(walked, selection)
    assert "earliest" not in said
    assert "only the cheapest point is listed; faster plans may exist" in said
    full = front.note(replace(walked, late=False), selection)
    assert "earliest" not in full
    assert "still faster plans exist" in full


PARKED = """
title = "One ladle over the equator"
[body]
name = "mercury"
[ring]
altitude_km = 493
slots = 6
inclination_deg = 28.5
node_deg = 297
slot0_deg = 309
[limits]
finish_within_d = 235
clearance_km = 5
[forces]
further = false
[launch]
latitude_deg = 0
longitude_deg = -4
ascent_min = 4
insertion = { periapsis_km = 51, apoapsis_km = 51 }
[[craft]]
name = "Ladle"
"""
"""Its cheapest option is the earliest by the catalogue, and in flight another is sooner and dearer."""


def test_a_front_that_the_flight_makes_longer_is_not_said_to_trade_nothing() -> None:
    found = _outcome(PARKED).front
    assert found is not None
    assert len(found.points) > 1
    assert "nothing to trade" not in _note(PARKED)


def test_labels_are_true_against_plan_1_as_printed() -> None:
    outcome = _outcome(TWO.format(phase="0.0"))
    first, other = outcome.plans[0], outcome.plans[1]
    alike = replace(first, rank=2, kind="other side")
    best = replace(other, rank=3, kind=None)
    moved = replace(first, rank=4, kind="other side", craft=tuple(_turned(part) for part in first.craft))
    labels = [plan.kind for plan in relabeled((first, alike, best, moved))]
    assert labels == [first.kind, "other moments", None, "other revolutions"]


def _turned(part: CraftPlan) -> CraftPlan:
    return replace(part, revolutions=part.revolutions + 1)


@pytest.mark.parametrize("phase", ['"free"', "0.0"])
def test_a_free_phase_is_proved_over_all_phases(phase: str) -> None:
    text = TWO.format(phase=phase)
    shown, result = " ".join(plan_text(_outcome(text)).split()), planned(text)
    chosen = phase == '"free"'
    assert ("and over all phases of the ring, to 0.1 m/s." in shown) is chosen
    assert ("The ring stands with slot 0 at" in shown) is chosen
    assert (result["proof"]["phase"] == "given") is not chosen
    assert result["proof"].get("phases", {}).get("proved", False) is chosen


def test_the_phase_at_which_two_craft_share_the_way_is_found() -> None:
    # Bucket and Mop share the way: each moves about 60 deg instead of one of them 120 deg
    in_place, shared = (planned(TWO.format(phase=phase))["plans"][0]["worst_delta_v_m_s"] for phase in ("0.0", "-60.0"))
    chosen = planned(TWO.format(phase='"free"'))["plans"][0]["worst_delta_v_m_s"]
    assert chosen <= shared + 0.1
    assert shared < 0.6 * in_place


def test_free_form_options_are_never_more_than_all_options() -> None:
    text = TWO.format(phase="0.0") + "front_step_h = 24\n"
    outcome = _outcome(text)
    assert outcome.proof is not None
    assert 0 < outcome.proof.free_form <= outcome.proof.options
    shown = " ".join(plan_text(outcome).split())
    assert "not by proof" not in shown
    assert "is cheaper is not proved" in shown


def test_a_carrier_above_the_air_is_not_said_to_re_enter() -> None:
    outcome = _outcome(world(carriers=carrier(FOUR, 900.0), launch="until_h = 0.0\nturnaround_h = 50.0"))
    flown = next(one for plan in outcome.plans for one in plan.carriers)
    body = outcome.scenario.body
    top = body.radius_m + body.atmosphere_top_m
    above = duty_text(outcome, replace(flown, periapsis_safe=False, periapsis_m=top + 25e3))
    assert "re-enter" not in above
    assert "to 25.0 km above the top of the atmosphere" in above
    under = duty_text(outcome, replace(flown, periapsis_safe=False, periapsis_m=top - 25e3))
    assert "re-enters" in under


ARC = """
title = "An arc through the ground"
[body]
name = "Pennant"
gm_km3_s2 = 280.174
radius_km = 588.0
atmosphere_top_km = 5.9
sidereal_day_h = 30.0
j2 = 0.0
[ring]
altitude_km = 80.0
slots = 5
slot0_deg = 221.57
[limits]
clearance_km = 2.4
separation_km = 0.0
finish_within_h = 17.1
revolutions_max = 9
[[craft]]
name = "Ladle"
orbit = {{ periapsis_km = -150.6, apoapsis_km = 80.0, angle_deg = 2.37, at = "{at}", at_h = {hours} }}
"""


@pytest.mark.parametrize(("at", "hours"), [("apoapsis", "2.0967"), ("periapsis", "0.0"), ("apoapsis", "0.45")])
def test_a_craft_under_the_ground_is_refused_with_a_remedy_that_serves(at: str, hours: str) -> None:
    with pytest.raises(InputError, match="pass through the ground") as refused:
        scenario_of(ARC.format(at=at, hours=hours))
    free = float(str(refused.value).split("at_h = 0 to ")[1].split()[0])
    for served in (0.0, 0.5 * free, free):
        result = planned(ARC.format(at="apoapsis", hours=served))
        assert result["plans"]
        assert result["plans"][0]["within_limits"]


def test_a_craft_that_comes_down_first_is_said_to() -> None:
    result = planned(ARC.format(at="apoapsis", hours="-0.1"))
    assert result["plans"] == []
    assert "Ladle falls below the lowest altitude allowed" in result["infeasible"]["reason"]


def test_how_several_limits_bind_is_said_as_it_was_found() -> None:
    finish = Bind(limit="limits.finish_within", value=18_000.0, serves=36_000.0)
    height = Bind(limit="limits.apoapsis_max", value=1.5e6, serves=2.0e6)
    base = replace(_outcome(TWO.format(phase="0.0")), plans=(), front=None, proof=None)

    def shown(why: Infeasible) -> str:
        return " ".join(plan_text(replace(base, infeasible=why)).split())

    either = Infeasible(binds=(finish, height), together=False)
    unknown = tuple(replace(bind, serves=None) for bind in either.binds)
    assert "Easing any one of these limits would serve" in shown(either)
    assert "all of them have to give" in shown(replace(either, together=True))
    assert "easing two of them is not enough" in shown(replace(either, binds=unknown, together=True))
    assert "stand in the way" in shown(replace(either, binds=unknown))
