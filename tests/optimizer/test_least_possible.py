"""What no flight can beat, beside plans: never more than a plan takes, and said only where it is proved."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from ringwright.optimizer.additions import with_all
from ringwright.optimizer.least_possible import least_possible
from ringwright.optimizer.outcome import Outcome
from ringwright.reports.least_possible import least_possible_text
from ringwright.reports.result import result_text
from ringwright.reports.terminal import plan_text

from ..planned import bundled_outcome
from ..tolerances import SUMMED_M_S


@pytest.fixture(scope="module")
def found() -> Outcome:
    return bundled_outcome("four-over-the-equator", "body.j2=0.0")


def test_no_plan_is_below(found: Outcome) -> None:
    least = found.least_possible
    assert least is not None
    assert least.total_m_s is not None
    first = found.plans[0]
    for one, part in zip(least.craft, first.craft, strict=True):
        assert (one.craft, one.slot) == (part.craft, part.slot)
        assert 0.9 * part.delta_v_m_s <= one.least_m_s <= part.delta_v_m_s
    assert 0.9 * first.delta_v_m_s < least.total_m_s < first.delta_v_m_s
    sooner = [plan for plan in found.plans if plan.finish_s <= first.finish_s]
    assert len(sooner) > 3
    assert all(plan.delta_v_m_s >= least.total_m_s for plan in sooner)


def test_it_is_said_of_plan_1_alone(found: Outcome) -> None:
    least = found.least_possible
    assert least is not None
    text = least_possible_text(found, found.plans[0])
    assert "Sienna 79.0 m/s (plan 1: 80.2)" in text
    assert " ".join(text.split()) in " ".join(plan_text(found).split())
    assert not least_possible_text(found, found.plans[1])
    assert "no flight of any kind" not in plan_text(found, rank=2)
    values = json.loads(result_text(found))["least_possible"]
    assert values["total_m_s"] == pytest.approx(least.total_m_s, abs=SUMMED_M_S)
    assert [row["craft"] for row in values["craft"]] == [one.craft for one in least.craft]


def test_nothing_is_said_where_nothing_is_proved(found: Outcome) -> None:
    scenario = found.scenario
    oblate = replace(scenario, body=replace(scenario.body, j2=1e-9))
    assert least_possible(replace(found, scenario=oblate)) is None
    first = found.plans[0]
    hurried = replace(first, finish_s=0.5 * found.ring.period_s)
    assert least_possible(replace(found, plans=(hurried, *found.plans[1:]))) is None
    off = [
        replace(one, orbit=None if one.orbit is None else replace(one.orbit, apoapsis_m=one.orbit.apoapsis_m + 1.0))
        for one in scenario.craft
    ]
    assert least_possible(replace(found, scenario=replace(scenario, craft=tuple(off)))) is None
    assert "least_possible" not in json.loads(result_text(replace(found, least_possible=None)))


def test_craft_from_elsewhere_leave_the_ring_without_a_sum(found: Outcome) -> None:
    scenario, first = found.scenario, found.plans[0]
    name = first.craft[-1].craft
    mixed = tuple(replace(one, orbit=None) if one.name == name else one for one in scenario.craft)
    least = least_possible(replace(found, scenario=replace(scenario, craft=mixed)))
    assert least is not None
    assert name not in {one.craft for one in least.craft}
    assert least.total_m_s is None
    assert with_all(found, lambda _: None).least_possible == found.least_possible
