"""Launches slid together: the earliest finish at one cost, against a linear program, and fronts in few choices."""

from __future__ import annotations

import functools
import itertools

import numpy as np
import pytest
from scipy.optimize import linprog

from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.optimizer.catalogue.catalogue import Catalogue, at_finish, catalogue
from ringwright.optimizer.catalogue.sliding import SLACK_S, Slide, _in_order, earliest
from ringwright.optimizer.choice import selection as selection_module
from ringwright.optimizer.choice.front import STEP_S, Walked, walk
from ringwright.optimizer.choice.selection import Selection
from ringwright.optimizer.problem.liftoff_windows import windows
from ringwright.optimizer.problem.options import Options
from ringwright.optimizer.problem.ring_phase import problems

AT_ONE_COST_M_S = 1e-5
FINISH_S = 1e-2
"""A finish may stay this far from the earliest: less is not worth a slide."""
CALLS_MAX = 12
"""Choices, and sets of finishing options, for each point of these fronts; creeping along took hundreds."""

HEAD = """
title = "Kettles over a slow world"
body = {{ name = "Lathe", gm_km3_s2 = {gm}, radius_km = {radius}, sidereal_day_h = {day} }}
ring = {{ altitude_km = {ring}, slots = {slots}, slot0_deg = {slot0} }}
[limits]
revolutions_max = 3
separation_km = 0.0
clearance_km = 100.0
apoapsis_max_km = {ceiling}
{limits}
[launch]
latitude_deg = 0.0
longitude_deg = 40.0
ready_h = 3.1
turnaround_h = {turnaround}
ascent_min = 10.0
downrange_deg = 9.0
insertion = {insertion}
"""
LOW, HIGH = "{ periapsis_km = 2100.0, apoapsis_km = 2100.0 }", "{ periapsis_km = 9500.0, apoapsis_km = 9500.0 }"
BOTH = (
    '[{ name = "low", periapsis_km = 2100.0, apoapsis_km = 2100.0 }, '
    '{ name = "high", periapsis_km = 9500.0, apoapsis_km = 9500.0 }]'
)
DIVING = (
    '[{ name = "steep", periapsis_km = 1900.0, apoapsis_km = 1900.0 }, '
    '{ name = "flat", periapsis_km = 5200.0, apoapsis_km = 5200.0 }]'
)


def kettles(
    count: int, day_h: float, insertion: str, *, slots: int = 4, turnaround_h: float = 6.2, limits: str = ""
) -> str:
    """Craft alike from one pad by parking orbits."""
    head = HEAD.format(
        gm=190000.0,
        radius=5600.0,
        day=day_h,
        ring=7200.0,
        slots=slots,
        slot0=222.0,
        ceiling=27000.0,
        turnaround=turnaround_h,
        insertion=insertion,
        limits=limits,
    )
    return head + "".join(f'[[craft]]\nname = "Kettle {i}"\n' for i in range(count))


CASES = {
    "two, slow spin, finish limited": kettles(2, 120.0, LOW, limits="finish_within_h = 76.0"),
    "three, slow spin": kettles(3, 400.0, LOW),
    "four, turning backwards": kettles(4, -240.0, LOW),
    "three, from above": kettles(3, 240.0, HIGH),
    "two, low and high": kettles(2, -900.0, BOTH, slots=3),
    "three, two low ones": kettles(3, 400.0, DIVING, slots=3, limits="finish_within_h = 119.0"),
}


@functools.cache
def made_of(text: str) -> Catalogue:
    (problem,) = problems(parse_scenario(text))
    return catalogue(problem)


@pytest.fixture
def calls(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What was asked for while a front was walked."""
    seen: list[str] = []
    best, finishing = Selection.best, at_finish

    def counted_best(self: Selection, *given: object, **named: object) -> object:
        seen.append("best")
        return best(self, *given, **named)  # type: ignore[arg-type]

    def counted_finishing(*given: object, **named: object) -> Options:
        seen.append("at_finish")
        return finishing(*given, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(Selection, "best", counted_best)
    monkeypatch.setattr(selection_module, "at_finish", counted_finishing)
    return seen


def _is_front(walked: Walked) -> bool:
    costs = [plan.delta_v_m_s for plan in walked.plans]
    return all(a > b for a, b in itertools.pairwise(costs)) and all(
        a < b for a, b in itertools.pairwise(walked.times_s)
    )


LONG = {"three, from above", "three, two low ones"}


@pytest.mark.parametrize("name", [pytest.param(n, marks=pytest.mark.soak) if n in LONG else n for n in CASES])
def test_a_front_of_launches_from_parking_orbits_takes_a_few_choices(name: str, calls: list[str]) -> None:
    walked = walk(Selection(made_of(CASES[name])))
    assert walked.complete
    assert _is_front(walked)
    assert calls.count("at_finish") <= CALLS_MAX * len(walked.plans)
    assert calls.count("best") <= CALLS_MAX * len(walked.plans)


@pytest.mark.parametrize("name", CASES)
def test_no_plan_at_the_same_cost_finishes_sooner(name: str) -> None:
    # asked in another way: the least cost under a finish that is a little sooner
    chooser = Selection(made_of(CASES[name]))
    cheapest = chooser.best(("delta_v", "finish"), ties="none")
    assert cheapest is not None
    for sooner_s in (2.0 * STEP_S, 60.0):
        other = chooser.best(("delta_v",), finish_s=cheapest.finish_s - sooner_s, ties="none")
        assert other is None or other.delta_v_m_s > cheapest.delta_v_m_s + AT_ONE_COST_M_S


def test_the_earliest_finish_is_that_of_a_linear_program() -> None:
    random = np.random.default_rng(7)
    for _ in range(60):
        count = int(random.integers(1, 6))
        at = np.sort(random.uniform(0.0, 50.0, count)) + 10.0 * np.arange(count)
        slides = [
            Slide(
                liftoff_s=float(t),
                finish_s=float(t + random.uniform(20.0, 60.0)),
                slope=float(random.choice([-0.6, 0.0, 0.3, 1.7])),
                low_s=float(t - random.uniform(0.0, 30.0)),
                high_s=float(t + random.uniform(0.0, 30.0)),
                counts=bool(random.random() < 0.8),
            )
            for t in at
        ]
        turnaround = 10.0
        rows, ends = [], []
        for i, one in enumerate(slides):
            row = np.zeros(count + 1)
            if one.counts:
                row[i], row[-1] = one.slope, -1.0
                rows.append(row)
                ends.append(one.slope * one.liftoff_s - one.finish_s)
            if i:
                apart = np.zeros(count + 1)
                apart[i - 1], apart[i] = 1.0, -1.0
                rows.append(apart)
                ends.append(-turnaround)
        bounds = [*((one.low_s, one.high_s) for one in slides), (None, None)]
        if not any(one.counts for one in slides):
            continue
        asked = linprog([*np.zeros(count), 1.0], A_ub=np.array(rows), b_ub=ends, bounds=bounds)
        assert asked.status == 0
        least = float(np.asarray(asked.fun))
        assert _in_order(slides, turnaround, least + 1e-6) is not None
        assert _in_order(slides, turnaround, least - 1e-4) is None


def test_slid_launches_keep_their_pad_and_their_cost() -> None:
    slid = 0
    for text in CASES.values():
        made = made_of(text)
        problem = made.problem
        chosen = Selection(made).best(("delta_v",), ties="none")
        best = Selection(made).best(("delta_v", "finish"), ties="none")
        assert chosen is not None
        assert best is not None
        assert best.delta_v_m_s == pytest.approx(chosen.delta_v_m_s, abs=AT_ONE_COST_M_S)
        found = earliest(problem, chosen.options, windows(problem), np.ones(len(chosen.options), dtype=bool))
        if found is None:
            continue
        slid += 1
        finish, liftoffs = found
        assert best.finish_s <= finish + FINISH_S
        assert liftoffs
        for pad, times in liftoffs.items():
            early, late = windows(problem)[pad]
            assert times.min() >= early - SLACK_S
            assert times.max() <= late + SLACK_S
            assert np.all(np.diff(times) >= problem.scenario.pads[pad].turnaround_s - SLACK_S)
    assert slid > 0
