"""Errors of drifts against the flight through all the months: both ends, what grows between, and the trims on the way.

The flight goes from node to node (`models/flight/nodal_returns.py`, itself held against plain integration in its test)
and knows neither the secular rates nor the linear models that are checked here.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from ringwright.models.dispersions import let_go_off
from ringwright.models.flight.flown import Itinerary
from ringwright.models.flight.gravity import gravity_around
from ringwright.models.flight.integrate import fly, measure
from ringwright.models.flight.nodal_returns import coast_by_returns
from ringwright.models.frames import from_local
from ringwright.models.scenario import INJECTION_ERRORS, Errors
from ringwright.optimizer.craft_plan import CraftPlan
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.robustness.budget import make_budget
from ringwright.optimizer.robustness.drift_story import DriftStory, drift_story_of
from ringwright.optimizer.robustness.flights_with_errors import block, exact_m_s
from ringwright.optimizer.robustness.linear import linear_story_of
from ringwright.tests.tolerances import FIRST_ORDER_RAD, UNSEEN_M_S
from ringwright.tests.worlds import THREE_BY_DRIFT, TWO_PLANES

from ...planned import outcome_of, scenario_of

TEXT = TWO_PLANES.format(ring=900.0, start=550.0, lean=66.0, spread=40.0, days=150.0)
ERRORS = """
[errors]
burn_share = 0.002
pointing_deg = 0.3
burn_time_s = 0.5
period_reading_s = 0.05
"""
BOTH_M_S = 0.5
"""What two sets of corrections may differ by, a quarter of what the errors ask for."""
SHARE = 0.02
"""Linear models and secular rates against the flight, as a share of what the errors come to after the wait."""


@cache
def planned() -> tuple[Outcome, CraftPlan, DriftStory]:
    """A craft that goes into another plane by a lower waiting orbit, and its story."""
    outcome = outcome_of(scenario_of(TEXT.replace("angle_deg = 47.0 }", "angle_deg = 47.0 }\n") + ERRORS))
    # the longest wait of those that go down first
    drifts = [one for plan in outcome.plans for one in plan.craft if one.route == "drift" and one.plane == 0]
    gone = [one for one in drifts if one.burns[1].time_s < one.in_slot_s - one.parking_wait_s]
    part = max(gone, key=lambda one: one.parking_wait_s)
    story = drift_story_of(outcome.scenario, outcome.ring, part, 0.0)
    assert isinstance(story, DriftStory)
    return outcome, part, story


def flown_through(part: CraftPlan, off: np.ndarray, trim_m_s: float = 0.0) -> tuple[float, np.ndarray]:
    """When and how the craft stands after its wait, its two first burns off by ``off`` (2, 3), m/s in local axes.

    ``trim_m_s``: burned forward as soon as it has settled.
    """
    outcome, _, story = planned()
    body, item = outcome.scenario.body, part.itinerary
    assert item is not None
    down = tuple(
        burn._replace(radial_m_s=burn.radial_m_s + x, along_m_s=burn.along_m_s + y, cross_m_s=burn.cross_m_s + z)
        for burn, (x, y, z) in zip(item.impulses[:2], off.tolist(), strict=True)
    )
    (flight,) = fly([replace(item, impulses=down, end_s=down[-1].time_s + 1.0)], gravity_around(body), relative=1e-12)
    state = np.asarray(flight.after[-1]).copy()
    state[3:] += from_local(state[:3], state[3:], np.array([0.0, trim_m_s, 0.0]))
    there = coast_by_returns(body, state[:, np.newaxis], np.array([story.wait.lasts_s]), 1e-12)[:, 0]
    return down[-1].time_s + story.wait.lasts_s, there


def ends_up(part: CraftPlan, begun_s: float, state: np.ndarray) -> np.ndarray:
    """Where the two last burns as planned then lead."""
    outcome, _, _ = planned()
    item = part.itinerary
    assert item is not None
    up = Itinerary.through_turn(begun_s, state[:3], state[3:], item.impulses[2:], outcome.ring)
    (flight,) = fly([up], gravity_around(outcome.scenario.body), relative=1e-12)
    return measure(flight, outcome.ring, part.plane, part.slot).misses(outcome.ring)


SMALL = [
    np.array([[0.0, 0.004, 0.0], [0.0, 0.0, 0.0]]),
    np.array([[0.0, 0.0, 0.2], [0.0, 0.0, 0.1]]),
    np.array([[0.02, 0.0, -0.1], [-0.03, -0.003, 0.2]]),
]


@pytest.mark.parametrize("off", SMALL, ids=["along", "across", "all"])
def test_burns_that_are_off_lead_where_months_of_flight_lead(off: np.ndarray) -> None:
    _, part, story = planned()
    wait = story.wait
    rows = np.einsum("knj,nj->k", wait.law, off)[:, np.newaxis]
    said = (story.arriving @ wait.grown(rows, wait.lasts_s))[:6, 0]
    found = ends_up(part, *flown_through(part, off)) - ends_up(part, *flown_through(part, np.zeros((2, 3))))
    # slot and plane; the rest is a thousandth of that
    for rows_of in ([0], [4, 5]):
        assert np.linalg.norm(said[rows_of] - found[rows_of]) < SHARE * np.linalg.norm(found[rows_of]) + 1e-5
    # months make much of little: without the growth the test would see it
    assert np.max(np.abs(found)) > 5.0 * np.max(np.abs(rows))


def test_a_trim_brings_the_craft_to_its_place_after_the_wait() -> None:
    """Burns off by a share of them: the trim that the planner makes, flown, leaves a small part of what they do."""
    _, part, story = planned()
    wait = story.wait
    off = np.array([[0.0, 0.02, 0.0], [0.0, 0.01, 0.0]])
    rows = np.einsum("knj,nj->k", wait.law, off)
    angle = rows[0] - rows[1] * wait.lasts_s / wait.period_s
    trim = angle * wait.period_s / wait.lasts_s * wait.speed_m_s / (6.0 * math.pi)
    start = ends_up(part, *flown_through(part, np.zeros((2, 3))))
    left = ends_up(part, *flown_through(part, off, trim)) - start
    assert abs(angle) > math.radians(3.0)
    assert abs(left[0]) < SHARE * abs(angle)
    # where the place is met, the node is, too
    assert np.hypot(left[4], left[5]) < SHARE * math.radians(1.0)


def test_without_errors_a_drift_burns_its_plan() -> None:
    _, part, story = planned()
    assert exact_m_s(story) == pytest.approx(part.delta_v_m_s, abs=UNSEEN_M_S)
    none = story.with_errors(Errors()).fly(np.zeros((story.normals, 3)))
    assert np.all(np.abs(none.slot_error_rad) < FIRST_ORDER_RAD)


def test_the_budget_of_a_drift() -> None:
    """Its burns are off by 0.2 % and 0.3 deg: the trims and the turn of what the plane has grown to are paid."""
    outcome, _, _ = planned()
    budget = make_budget(outcome, samples=8_000)
    for one in budget.craft:
        middle, _, most = (each.value for each in one.delta_v_m_s)
        assert one.planned_m_s < most < one.planned_m_s + 40.0
        assert middle < most
    doubled = make_budget(
        replace(
            outcome,
            scenario=replace(outcome.scenario, errors=replace(outcome.scenario.errors or Errors(), pointing_rad=2e-2)),
        ),
        samples=8_000,
    )
    assert doubled.craft[0].delta_v_m_s[-1].value > budget.craft[0].delta_v_m_s[-1].value + 1.0


def test_over_a_few_days_both_models_ask_for_the_same() -> None:
    """The wait by secular rates and trims, against a linear model of the whole flight, where that still holds."""
    outcome, _, _ = planned()
    drifts = [one for plan in outcome.plans for one in plan.craft if one.route == "drift"]
    part = min(drifts, key=lambda one: abs(one.in_slot_s - 2.7 * 86_400.0))
    by_rates = drift_story_of(outcome.scenario, outcome.ring, part, 0.0)
    whole = linear_story_of(outcome.scenario, outcome.ring, part, 0.0)
    assert isinstance(by_rates, DriftStory)
    most = [float(np.quantile(block(story, 1, 0, 0).delta_v_m_s, 0.99)) for story in (by_rates, whole)]
    assert most[0] - part.delta_v_m_s > 3.0 * BOTH_M_S
    assert most[0] == pytest.approx(most[1], abs=BOTH_M_S)
    soonest = min(drifts, key=lambda one: one.in_slot_s)
    assert not isinstance(drift_story_of(outcome.scenario, outcome.ring, soonest, 0.0), DriftStory)


@cache
def launched() -> tuple[Outcome, CraftPlan, DriftStory]:
    """A craft that its launcher lets go in the parking orbit, from which it goes to another orbit to wait."""
    text = THREE_BY_DRIFT.format(spread=75.0, node=20.0, days=170.0) + "[errors]\nperiapsis_km = 2.0\nnode_deg = 0.02\n"
    outcome = make_plan(scenario_of(text), brief=True)
    part = next(one for one in outcome.plans[0].craft if one.route == "drift" and one.plane == 0)
    story = drift_story_of(outcome.scenario, outcome.ring, part, 0.0)
    assert isinstance(story, DriftStory)
    return outcome, part, story


@pytest.mark.parametrize(("name", "by"), [("periapsis_m", 40.0), ("inclination_rad", 1e-4), ("node_rad", 1e-3)])
def test_what_the_launcher_is_off_by_leads_where_weeks_of_flight_lead(name: str, by: float) -> None:
    outcome, part, story = launched()
    wait, body, item = story.wait, outcome.scenario.body, part.itinerary
    assert item is not None
    rows = (wait.insertion[:, INJECTION_ERRORS.index(name)] * by)[:, np.newaxis]
    said = (story.arriving @ wait.grown(rows, wait.lasts_s))[:6, 0]
    ends = []
    for off in (0.0, by):
        position, velocity = let_go_off(item.position, item.velocity, body.gm, **{name: off})
        down = replace(item, position=position, velocity=velocity, impulses=item.impulses[:2])
        down = replace(down, end_s=down.impulses[-1].time_s + 1.0)
        (flight,) = fly([down], gravity_around(body), relative=1e-12)
        state = coast_by_returns(body, np.asarray(flight.after[-1])[:, np.newaxis], np.array([wait.lasts_s]), 1e-12)[
            :, 0
        ]
        begun_s = flight.settled_s + wait.lasts_s
        up = Itinerary.through_turn(begun_s, state[:3], state[3:], item.impulses[2:], outcome.ring)
        (flight,) = fly([up], gravity_around(body), relative=1e-12)
        ends.append(measure(flight, outcome.ring, part.plane, part.slot).misses(outcome.ring))
    found = ends[1] - ends[0]
    assert np.max(np.abs(found)) > 1e-4
    for rows_of in ([0], [4, 5]):
        assert np.linalg.norm(said[rows_of] - found[rows_of]) < SHARE * np.linalg.norm(found[rows_of]) + 2e-5


def test_errors_of_the_launcher_count_once_and_before_the_wait() -> None:
    _, part, story = launched()
    assert story.wait.insertion.shape == (6, 5)
    assert not story.launched
    assert exact_m_s(story) == pytest.approx(part.delta_v_m_s, abs=UNSEEN_M_S)
    flown = block(story, 1, 0, 0).delta_v_m_s
    quiet = block(story.with_errors(Errors()), 1, 0, 0).delta_v_m_s
    assert float(np.median(flown)) > float(np.median(quiet)) + 0.1
