"""Separation from craft in place: from the epoch or the drop on, craft that start together once they come back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ringwright.models.flight.gravity import gravity_around
from ringwright.models.flight.integrate import fly
from ringwright.models.reading.observed import parse_observed
from ringwright.optimizer.catalogue.catalogue import from_space
from ringwright.optimizer.flown_plans.assembly import assemble
from ringwright.optimizer.flown_plans.flights import fly_all
from ringwright.optimizer.limits.screening import passes_kept
from ringwright.optimizer.problem.options import join
from ringwright.optimizer.problem.problem import Problem
from ringwright.optimizer.problem.ring_phase import problems
from ringwright.optimizer.problem.starts import nearest_start
from ringwright.optimizer.replan.remaining_scenario import remaining
from ringwright.optimizer.replan.replan import replan
from ringwright.optimizer.routes.route import Question
from ringwright.tests.tolerances import TENTH_KM

from ...planned import as_read, outcome_of, planned, scenario_of

NEAR_SHARE = 0.02
"""Distances this near to the limit are left out: the screen takes passes by a parabola and by touches."""

WORLD = """
title = "Beads on a hoop"
[body]
name = "Tannin"
gm_km3_s2 = 5200.0
radius_km = 940.0
atmosphere_top_km = 20.0
sidereal_day_h = 18.0
j2 = 0.0
[ring]
altitude_km = 1300.0
slots = 6
slot0_deg = 40.0
tolerance_deg = 0.2
"""


def scenario(*, kept: str, craft: str, separation_km: float, more: str = "") -> str:
    """A small ring with those that stay and those that move."""
    limits = f"[limits]\nclearance_km = 5.0\nrevolutions_max = 4\nseparation_km = {separation_km}\n{more}"
    return f"{WORLD}{kept}{limits}{craft}"


def stays(name: str, angle_deg: float) -> str:
    return f'[[ring.occupied]]\nname = "{name}"\nangle_deg = {angle_deg}\n'


def on_ring(name: str, angle_deg: float) -> str:
    return f'[[craft]]\nname = "{name}"\norbit = {{ altitude_km = 1300.0, angle_deg = {angle_deg} }}\n'


def test_a_start_inside_the_limit_has_no_plan_and_says_how_near() -> None:
    # 0.6 deg of a ring of 2 240 km are 23.46 km
    text = scenario(kept=stays("Rivet", 100.0), craft=on_ring("Washer", 100.6), separation_km=80.0)
    result = planned(text)
    assert result["plans"] == []
    [bind] = result["infeasible"]["binds"]
    assert bind["limit"] == "limits.separation_km"
    assert "Washer starts 23.5 km from Rivet" in result["infeasible"]["reason"]
    assert bind["serves"] == pytest.approx(2240.0 * 2.0 * np.sin(np.radians(0.3)), abs=TENTH_KM)
    served = planned(text.replace("separation_km = 80.0", f"separation_km = {bind['serves']}"))
    assert served["plans"][0]["within_limits"]
    assert served["plans"][0]["craft"][0]["closest_km"] >= bind["serves"] - 1e-3


def test_the_first_half_revolution_counts() -> None:
    # a phasing orbit above the ring is faster at the touch: it first gains on a craft ahead, then falls back
    text = scenario(
        kept=stays("Rivet", 160.0) + stays("Stud", 103.0), craft=on_ring("Washer", 100.0), separation_km=90.0
    )
    result = planned(text)
    assert result["plans"]
    for plan in result["plans"]:
        assert plan["within_limits"]
        assert plan["craft"][0]["closest_km"] >= 90.0 - 1e-3


def _each(text: str, most: int = 1000) -> tuple[Problem, list[bool], list[float]]:
    """Options of one craft by phasing: whether the screen leaves each out, and how near it was flown to others."""
    [problem] = problems(scenario_of(text))
    off = replace(problem.scenario, limits=replace(problem.scenario.limits, separation_m=0.0))
    options = join(from_space(Question(problem=replace(problem, scenario=off))))
    options = options.take(np.arange(0, len(options), -(-len(options) // most)))
    screened = passes_kept(problem, options)
    single = [options.take(np.array([row])) for row in range(len(options))]
    flights = fly_all(problem, [options])
    nearest = [assemble(problem, one, flights).craft[0].flown.closest_m for one in single]
    return problem, screened.tolist(), [np.inf if n is None else n for n in nearest]


@pytest.mark.parametrize(
    ("kept", "craft", "separation_km"),
    [
        (stays("Rivet", 160.0) + stays("Stud", 220.0), on_ring("Washer", 100.0), 60.0),
        (stays("Rivet", 160.0) + stays("Stud", 104.0), on_ring("Washer", 100.0), 90.0),
        (stays("Rivet", 160.0) + stays("Stud", 95.5), on_ring("Washer", 100.0), 120.0),
        (stays("Rivet", 100.0) + stays("Stud", 220.0), on_ring("Washer", 100.0), 40.0),
        (
            stays("Rivet", 98.0) + stays("Stud", 280.0),
            '[[craft]]\nname = "Washer"\norbit = { periapsis_km = 900.0, apoapsis_km = 1300.0, angle_deg = 100.0, '
            'at = "apoapsis" }\n',
            60.0,
        ),
    ],
    ids=["far", "ahead", "behind", "together", "arriving at the epoch"],
)
def test_options_are_screened_as_flown_plans_are_judged(kept: str, craft: str, separation_km: float) -> None:
    problem, screened, nearest = _each(scenario(kept=kept, craft=craft, separation_km=separation_km), 40)
    limit = problem.scenario.limits.separation_m
    assert len(set(screened)) == 2  # some of either kind, or the case shows nothing
    for out, distance in zip(screened, nearest, strict=True):
        if abs(distance / limit - 1.0) > NEAR_SHARE:
            assert out == (distance < limit)


def test_craft_that_start_together_do_not_count_until_they_come_back() -> None:
    # Washer starts where Rivet stays; falling back 540 deg in three revolutions it is back at Rivet after two
    text = scenario(kept=stays("Rivet", 100.0), craft=on_ring("Washer", 100.0), separation_km=40.0)
    result = planned(text)
    assert all(plan["within_limits"] for plan in result["plans"])
    problem, screened, nearest = _each(text)
    off = replace(problem.scenario, limits=replace(problem.scenario.limits, separation_m=0.0))
    options = join(from_space(Question(problem=replace(problem, scenario=off))))
    gained = 2.0 * np.pi * (options.revolutions - options.ring_revolutions) + options.lead_rad
    back = (options.revolutions == 3) & np.isclose(gained, -3.0 * np.pi)
    assert back.sum() == 1
    [row] = np.flatnonzero(back).tolist()
    assert screened[row]
    assert nearest[row] < 100.0
    [quick] = np.flatnonzero((options.revolutions == 3) & np.isclose(gained, np.pi)).tolist()
    assert not screened[quick]


def test_a_craft_that_is_moved_and_one_that_need_not_move_start_together() -> None:
    craft = on_ring("Washer", 100.0) + on_ring("Gasket", 100.0)
    result = planned(scenario(kept="", craft=craft, separation_km=40.0))
    best = result["plans"][0]
    assert best["within_limits"]
    assert sorted(one["delta_v_m_s"] > 0.0 for one in best["craft"]) == [False, True]


def test_who_has_only_just_left_may_be_planned_anew() -> None:
    text = scenario(kept=stays("Rivet", 100.0), craft=on_ring("Washer", 100.0), separation_km=40.0)
    outcome = outcome_of(scenario_of(text))
    part = outcome.plans[0].craft[0]
    [(other, again_s)] = part.apart_s
    assert other == "Rivet"
    assert part.itinerary is not None
    now_s = 300.0
    assert again_s > now_s
    [flight] = fly([part.itinerary], gravity_around(outcome.scenario.body))
    state = flight.states(np.array([now_s]))[0]
    state[3:] *= 1.0 + 1e-4  # off the plan by some 10 cm/s
    seen = parse_observed(f"now_s = {now_s}\n" + as_read("Washer", state), outcome.scenario, outcome.ring)
    left = remaining(outcome, outcome.plans[0], seen)
    assert left.scenario is not None
    assert [one.left_with for one in left.scenario.craft] == [("Rivet",)]
    assert nearest_start(problems(left.scenario)[0]) is None
    assert replan(outcome, seen, fresh=False).fits
