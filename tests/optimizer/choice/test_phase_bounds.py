"""Bounds over all phases of a ring against the catalogue at single phases, which is made by other code.

Among them oblate bodies with inclined rings, where planes have to be turned back, craft on ellipses that touch the
ring, and what limits of time, height and propellant leave.
"""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from ringwright.models.scenario import Aim
from ringwright.optimizer.catalogue.catalogue import catalogue
from ringwright.optimizer.choice.objectives import total
from ringwright.optimizer.choice.phase_bounds import PhaseBounds
from ringwright.optimizer.choice.phase_front import phase_front
from ringwright.optimizer.choice.ring_phase import TOLERANCE, _Search, at, best_phase
from ringwright.optimizer.choice.selection import Selection
from ringwright.optimizer.problem.problem import Problem
from ringwright.optimizer.problem.restriction import NO_RESTRICTION, Restriction
from ringwright.optimizer.problem.ring_phase import problems
from ringwright.tests.tolerances import SOLVED, TWO_DIGITS_M_S, UNSEEN_M_S

from ...planned import scenario_of

HEAD = """
title = "Phases"
[body]
name = "earth"
{body}
[ring]
altitude_km = {altitude}
slots = {slots}
slot0_deg = "free"
{ring}
[limits]
clearance_km = 20.0
separation_km = 0.0
{limits}
"""
CRAFT = """
[[craft]]
name = "C{number}"
dry_mass_kg = 200.0
propellant_kg = {tank}
isp_s = 225.0
load = "{load}"
orbit = {orbit}
"""
AIMS: tuple[Aim, ...] = ("delta_v", "worst_delta_v", "finish", "propellant")

KINDS = {
    "round, two-body": {"body": "j2 = 0.0", "altitude": 9000.0, "limits": "revolutions_max = 6"},
    "inclined, oblate": {"ring": "inclination_deg = 53.0", "altitude": 700.0, "limits": "revolutions_max = 12"},
    "tilt kept": {
        "ring": "inclination_deg = 53.0\ntilt_tolerance_deg = 0.2",
        "altitude": 700.0,
        "limits": "revolutions_max = 12",
    },
    "in a hurry": {"altitude": 9000.0, "limits": "revolutions_max = 9\nfinish_within_h = 30.0\nwait_within_h = 29.0"},
    "low ceiling": {
        "altitude": 9000.0,
        "limits": "revolutions_max = 4\napoapsis_max_km = 9900.0\nfinish_within_d = 3.0",
    },
}


def _problem(kind: str, *, count: int = 3, seed: int = 1, ellipse: bool = True) -> Problem:
    draw = np.random.default_rng(seed)
    options = {"body": "", "ring": "", "limits": "", "slots": count, **KINDS[kind]}
    text = HEAD.format(**options)
    altitude = float(str(options["altitude"]))
    for number in range(count):
        angle = round(float(draw.uniform(0.0, 360.0)), 3)
        orbit = f"{{ altitude_km = {altitude}, angle_deg = {angle} }}"
        if ellipse and number == 0:
            low = round(altitude - float(draw.uniform(60.0, 250.0)), 1)
            orbit = f'{{ periapsis_km = {low}, apoapsis_km = {altitude}, angle_deg = {angle}, at = "apoapsis" }}'
        load = "least" if number == 1 else "full"
        text += CRAFT.format(number=number, tank=30.0 + 10.0 * number, load=load, orbit=orbit)
    return problems(scenario_of(text))[0]


def _best(problem: Problem, aim: Aim, restriction: Restriction = NO_RESTRICTION) -> float:
    selection = Selection(catalogue(problem, restriction))
    chosen = selection.best((aim,), ties="none", flown=False)
    return math.inf if chosen is None else total(selection.made, chosen.options, aim)


@pytest.mark.parametrize("kind", KINDS)
def test_no_phase_gets_below_the_bound(kind: str) -> None:
    problem = _problem(kind)
    bounds = PhaseBounds(problem)
    phases = np.random.default_rng(7).uniform(0.0, problem.ring.spacing_rad, 4).tolist()
    for aim in AIMS:
        least = bounds.least(aim, TOLERANCE[aim])
        assert least.value <= least.bound + TOLERANCE[aim] + 1e-9
        known = [_best(at(problem, phase), aim) for phase in phases]
        assert min(known) >= least.bound - 1e-6, aim
        # and it is met: the catalogue has the same at the phase that is named
        assert _best(at(problem, least.phase_rad), aim) == pytest.approx(least.value, abs=SOLVED), aim


@pytest.mark.parametrize("kind", ["round, two-body", "inclined, oblate"])
def test_a_finish_and_a_greatest_cost_are_kept(kind: str) -> None:
    problem = _problem(kind, seed=3)
    bounds = PhaseBounds(problem)
    free = bounds.least("delta_v", 0.01)
    soonest = bounds.least("finish", 1.0)
    until = 0.5 * (soonest.value + 5.0e5)
    early = bounds.least("delta_v", 0.01, finish_s=until)
    chosen = Selection(catalogue(at(problem, early.phase_rad))).best(("delta_v",), finish_s=until, flown=False)
    assert chosen is not None
    assert chosen.finish_s <= until + 1e-3
    assert chosen.delta_v_m_s == pytest.approx(early.value, abs=UNSEEN_M_S)
    assert early.value >= free.value - 0.01
    worst = bounds.least("worst_delta_v", 0.01)
    level = bounds.least("delta_v", 0.01, most_m_s=worst.value + 1.0)
    assert level.value >= free.value - 0.01
    assert level.value <= 3.0 * (worst.value + 1.0)


@pytest.mark.parametrize(
    "restriction",
    [
        Restriction(sides=frozenset({-1, 0})),
        Restriction(sides=frozenset({1})),
        Restriction(revolutions=frozenset({1, 2})),
        Restriction(revolutions=frozenset({0, 3, 4, 5})),
    ],
)
def test_what_is_wanted_alone_counts(restriction: Restriction) -> None:
    problem = _problem("round, two-body", ellipse=False)
    bounds = PhaseBounds(problem, restriction)
    for aim in AIMS:
        least = bounds.least(aim, TOLERANCE[aim])
        for phase in (0.1, 0.9, 1.7):
            assert _best(at(problem, phase), aim, restriction) >= least.bound - 1e-6
        assert _best(at(problem, least.phase_rad), aim, restriction) == pytest.approx(least.value, abs=SOLVED), aim


@pytest.mark.parametrize("kind", ["round, two-body", "inclined, oblate"])
def test_searches_that_follow_find_what_the_first_one_would(kind: str) -> None:
    problem = _problem(kind)
    soonest = PhaseBounds(problem).least("finish", TOLERANCE["finish"]).value
    again = PhaseBounds(problem)
    for share in (8.0, 5.0, 3.0, 2.0, 1.3):
        alone = PhaseBounds(problem).least("delta_v", TOLERANCE["delta_v"], finish_s=share * soonest)
        assert again.least("delta_v", TOLERANCE["delta_v"], finish_s=share * soonest) == alone
        assert math.isfinite(alone.value)
    assert again.least("finish", TOLERANCE["finish"]).value == soonest


def test_a_phase_more_by_a_slot_is_the_same_phase() -> None:
    problem = _problem("round, two-body")
    here = PhaseBounds(problem).least("delta_v", 0.01)
    turned = replace(problem, ring=replace(problem.ring, slot0_rad=problem.ring.slot0_rad + 0.3))
    assert PhaseBounds(turned).least("delta_v", 0.01).value == pytest.approx(here.value, abs=TWO_DIGITS_M_S)


def test_twenty_four_craft_are_proved_over_all_phases() -> None:
    problem = _problem("round, two-body", count=24, ellipse=False)
    laid = best_phase((problem,), "delta_v", lambda _: None)
    assert laid.best is not None
    assert laid.phases is not None
    assert laid.phases.proved
    assert laid.best.delta_v_m_s <= laid.phases.bound + 0.1


def test_what_was_flown_at_a_phase_is_not_flown_again_for_the_front() -> None:
    laid = best_phase((_problem("round, two-body", ellipse=False),), "delta_v", lambda _: None)
    points = phase_front(laid).points
    phases = {one.made.problem.ring.slot0_rad: one for one in laid.examined}
    shared = [point for point in points if point.selection.made.problem.ring.slot0_rad in phases]
    assert shared
    assert all(point.selection is phases[point.selection.made.problem.ring.slot0_rad] for point in shared)


class _Flown:
    """A phase whose plan takes a number of turns to be flown; it may keep no limits."""

    def __init__(self, finish_s: float, turns: float, *, keeps: bool) -> None:
        self.finish_s, self.turns, self.keeps = finish_s, turns, keeps
        self.flyer = SimpleNamespace(work_turns=0.0)

    def best(self, aims: object) -> SimpleNamespace | None:
        self.flyer.work_turns += self.turns
        return SimpleNamespace() if self.keeps else None


@pytest.mark.parametrize(("keeps", "flown"), [(True, 3), (False, 4)])
def test_phases_are_not_flown_for_ever(keeps: bool, flown: int, monkeypatch: pytest.MonkeyPatch) -> None:
    search = _Search("delta_v", lambda _: None, NO_RESTRICTION, (), 6)

    def examined(selection: _Flown, best: object, *, flown: bool) -> SimpleNamespace:
        return SimpleNamespace(rank=(100.0, selection.finish_s), value=100.0, selection=selection, flown=flown)

    monkeypatch.setattr(search, "_as_examined", examined)
    # one that keeps the limits later than it seemed, and five that seem to be sooner and break limits
    phases = [_Flown(1.0, 600.0, keeps=keeps), *(_Flown(2.0 + i, 1500.0, keeps=False) for i in range(5))]
    search.found = [examined(one, None, flown=False) for one in phases]  # type: ignore[misc]
    phases[0].finish_s = 9.0
    search.settle(100.0)
    assert keeps == (search.best is not None and search.best.flown)
    assert sum(one.flyer.work_turns > 0.0 for one in phases) == flown
    assert search.late == len(phases) - flown
