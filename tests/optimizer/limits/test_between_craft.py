"""Craft that one operator moves in space arrive a stated time apart: against every combination of options there is."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from ringwright.optimizer.catalogue.catalogue import catalogue
from ringwright.optimizer.limits import between_craft
from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.problem.ring_phase import problems
from ringwright.tests.tolerances import UNSEEN_M_S

from ...planned import scenario_of

TEXT = """
title = "Three from one point"
body = {{ name = "Saltmarsh", gm_km3_s2 = 42000.0, radius_km = 3000.0 }}
ring = {{ altitude_km = 3000.0, slots = 3, slot0_deg = 0.0 }}
limits = {{ finish_within_d = 3, revolutions_max = 5, between_craft_h = {apart} }}
craft = [
    {{ name = "Curlew", orbit = {{ altitude_km = 3000.0, angle_deg = 20.0 }} }},
    {{ name = "Plover", orbit = {{ altitude_km = 3000.0, angle_deg = 25.0 }} }},
    {{ name = "Dunlin", orbit = {{ altitude_km = 3000.0, angle_deg = 30.0 }} }},
]
"""
HOUR = 3_600.0


def least(apart_h: float) -> float:
    """Every combination of one option of each craft, slots once, arrivals apart; the least sum."""
    (problem,) = problems(scenario_of(TEXT.format(apart=apart_h)))
    options = catalogue(problem).options
    rows = [np.flatnonzero(options.craft_class == index) for index in range(3)]
    best = math.inf
    for chosen in itertools.product(*rows):
        some = np.array(chosen)
        if len(set(options.slot[some].tolist())) < 3:
            continue
        times = np.sort(options.finish_s[some])
        if float(np.diff(times).min()) >= apart_h * HOUR + between_craft.ROOM_S * (apart_h > 0.0) - 1e-5:
            best = min(best, float(options.delta_v_m_s[some].sum()))
    return best


@pytest.mark.parametrize("apart_h", [0.0, 5.0, 9.0])
def test_the_plan_is_the_cheapest_whose_arrivals_are_apart(apart_h: float) -> None:
    outcome = make_plan(scenario_of(TEXT.format(apart=apart_h)))
    assert outcome.plans
    assert outcome.plans[0].delta_v_m_s == pytest.approx(least(apart_h), abs=UNSEEN_M_S)
    for plan in outcome.plans:
        assert not plan.broken
        times = sorted(part.in_slot_s for part in plan.craft if part.burns)
        assert all(late - early >= apart_h * HOUR for early, late in itertools.pairwise(times))


def test_it_costs_something_here() -> None:
    assert least(9.0) > least(0.0) + 1.0


def test_where_no_plan_keeps_it_the_value_that_serves_is_named() -> None:
    outcome = make_plan(scenario_of(TEXT.format(apart=40.0)))
    assert not outcome.plans
    assert outcome.infeasible is not None
    assert any(bind.limit.startswith("limits.between_craft") for bind in outcome.infeasible.binds)
