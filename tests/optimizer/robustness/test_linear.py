"""The budget of ways without a closed form: the linear law against the numerical flight, and against closed forms.

That all of it together gives what planners really burn is checked in ``test_closed_loop.py``.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import spearmanr

from ringwright.models.dispersions import let_go_off, sigma_across, sigma_along
from ringwright.models.flight.gravity import gravity_around
from ringwright.models.flight.integrate import Impulse, fly, measure
from ringwright.models.frames import wrap
from ringwright.models.scenario import Errors
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.robustness.budget import make_budget
from ringwright.optimizer.robustness.flights_with_errors import BLOCK, block, exact_m_s, stories
from ringwright.optimizer.robustness.linear import TARGETS, LinearStory, linear_story_of
from ringwright.reports.budget import budget_json, budget_text
from ringwright.tests.tolerances import (
    ALONG_SHARE,
    FLOAT_RAD,
    LINEAR_REL,
    MILLIMETER_M,
    MILLIMETER_M_S,
    ONE_DECIMAL,
    SAMPLED_REL,
    TWO_DIGITS_M_S,
    TWO_RULES_REL,
    TWO_WRITTEN,
    WRITTEN_M_S,
    WRITTEN_RAD,
)

from ...planned import BULGE_ALONE, bundled_outcome, outcome_of, scenario_of
from .test_closed_loop import planned_once

Array = NDArray[np.float64]

READ_M = 1.0
"""Lowest points are found to a meter."""

SECOND_ORDER_REL = 0.02
"""What a law of first order leaves out of 1 km in a semi-major axis of thousands, over all turns that a craft waits."""

STAGED = """
body = { name = "mars", j2 = 0.0 }
ring = { altitude_km = 3000.0, slots = 3, slot0_deg = 40.0 }
limits = { finish_within_d = 3.0, revolutions_max = 6 }
errors = { burn_share = 0.004 }
craft = [{ name = "Awl" }]
[launch]
latitude_deg = 0.0
longitude_deg = 0.0
until_h = 0.0
insertion = { periapsis_km = 130.0, apoapsis_km = 3000.0, altitude_km = 130.0 }
upper_stage = { delta_v_m_s = 400.0, lasts_h = 40.0 }
"""


@cache
def astray() -> tuple[Outcome, LinearStory]:
    outcome = planned_once("coarse one-astray")
    [story] = stories(outcome)
    assert isinstance(story, LinearStory)
    return outcome, story


def test_the_law_tells_the_end_of_flights_a_little_off() -> None:
    # tenfold burn errors of a usual engine: what is of second order stays below a fiftieth
    outcome, story = astray()
    [part] = outcome.plans[0].craft
    assert part.itinerary is not None
    item, rng = part.itinerary, np.random.default_rng(3)
    offs = 0.3 * rng.normal(size=(12, len(story.burns), 3))
    late = 20.0 * rng.normal(size=(12, len(story.burns)))
    items = [item]
    for off, by in zip(offs, late, strict=True):
        burns = [
            Impulse(burn.time_s + float(t), *(np.array(burn[1:]) + one))
            for burn, one, t in zip(item.impulses, off, by, strict=True)
        ]
        items.append(replace(item, impulses=tuple(burns), end_s=item.end_s + 200.0))
    flights = fly(items, gravity_around(outcome.scenario.body))
    seen = [measure(flight, outcome.ring, part.plane, part.slot) for flight in flights]
    rate = 2.0 * math.pi / outcome.ring.period_s
    ends = np.array([[s.slot_error_rad, rate * s.period_error_s, *s.eccentricity, *s.plane_tilt_rad] for s in seen])
    found = ends[1:] - ends[0]
    found[:, 0] = wrap(found[:, 0])
    by_law = np.tensordot(offs, story.law[:TARGETS], ([1, 2], [1, 2])) + late @ story.late[:TARGETS].T
    for row in range(TARGETS):
        assert np.abs(by_law[:, row] - found[:, row]).max() < LINEAR_REL * np.abs(found[:, row]).max() + TWO_WRITTEN, (
            row
        )


def test_without_errors_it_burns_what_the_plan_does() -> None:
    _, story = astray()
    assert exact_m_s(story.with_errors(Errors())) == pytest.approx(story.planned_m_s, abs=TWO_DIGITS_M_S)


def test_stories_that_differ_in_their_burns_alone_are_not_taken_for_one_another() -> None:
    _, story = astray()
    assert exact_m_s(replace(story, burns=2.0 * story.burns)) == pytest.approx(2.0 * exact_m_s(story))


def test_one_burn_alone_spreads_as_gates_has_it() -> None:
    # what a burn adds: sigma along it and across, per axis, in the draws themselves (JPL TR 32-504, from memory)
    _, base = astray()
    errors = Errors(burn_m_s=0.02, burn_share=0.01, across_m_s=0.03, pointing_rad=0.005)
    # a law of nothing but the first burn, so that the end shows its error as it was drawn
    law = np.zeros_like(base.law)
    law[[1, 2, 3], 0, [0, 1, 2]] = 1.0
    story = replace(base, errors=errors, law=law, late=0.0 * base.late, match_s=1e9)
    story = replace(story, tolerance_rad=9.0, tilt_tolerance_rad=9.0)
    rng = np.random.default_rng(8)
    wanted = story.burns[0]
    size = float(np.linalg.norm(wanted))
    ahead = wanted / size
    flights = story.fly(rng.standard_normal((story.normals, 60_000)))
    # the radial part is almost all across, as the burn is almost along the track
    assert abs(ahead[0]) < ALONG_SHARE
    spread = float(np.std(flights.period_error_s)) * 2.0 * math.pi / story.ring.period_s
    assert spread == pytest.approx(float(sigma_across(errors, size)), rel=SAMPLED_REL)
    assert float(sigma_along(errors, size)) == pytest.approx(math.hypot(0.02, 0.01 * size))


@pytest.mark.parametrize("name", ["on the ring", "atoll-on-the-equator"])
def test_it_comes_near_the_closed_forms_where_there_are_some(name: str) -> None:
    # two planners that trim by other rules: the reserves for 99 in 100 agree to a quarter
    outcome = planned_once(name)
    plan = outcome.plans[0]
    assert plan.hold is not None
    part, [closed, *_] = plan.craft[0], stories(outcome)
    law = linear_story_of(outcome.scenario, outcome.ring, part, plan.hold.match_s)
    reserves = [
        np.quantile(np.concatenate([block(one, 7, 0, k).delta_v_m_s for k in range(3)]), 0.99) - one.planned_m_s
        for one in (closed, law)
    ]
    assert reserves[1] == pytest.approx(reserves[0], rel=TWO_RULES_REL)


def test_a_burn_that_an_upper_stage_pays_costs_the_craft_nothing() -> None:
    outcome = outcome_of(scenario_of(STAGED))
    [part] = outcome.plans[0].craft
    assert part.burns[0].by_stage_m_s > 0.0
    [story] = stories(outcome)
    assert isinstance(story, LinearStory)
    assert story.own @ np.linalg.norm(story.burns, axis=1) == pytest.approx(part.delta_v_m_s, abs=WRITTEN_M_S)
    budget = make_budget(outcome, samples=BLOCK)
    text = " ".join(budget_text(budget, 80).split())
    assert "No closed form is known for such a flight" in text
    assert '"propagated_by": "linear model"' in budget_json(budget)
    assert budget.craft[0].planned_m_s <= budget.craft[0].delta_v_m_s[0].value


def test_a_launcher_off_its_mark() -> None:
    # apsides by vis-viva and the eccentricity vector, planes by the pole (Vallado 2013, algorithm 9)
    gm, low, high = 4.28e13, 3.6e6, 6.4e6
    semi, e = 0.5 * (low + high), (high - low) / (high + low)
    nu, incline = 1.1, 0.4
    p = semi * (1.0 - e * e)
    flat = p / (1.0 + e * math.cos(nu)) * np.array([math.cos(nu), math.sin(nu), 0.0])
    speed = math.sqrt(gm / p) * np.array([-math.sin(nu), e + math.cos(nu), 0.0])
    tilt = np.array(
        [
            [1.0, 0.0, 0.0],
            [0.0, math.cos(incline), -math.sin(incline)],
            [0.0, math.sin(incline), math.cos(incline)],
        ]
    )
    position, velocity = tilt @ flat, tilt @ speed
    new, going = let_go_off(
        position, velocity, gm, periapsis_m=5e3, apoapsis_m=-9e3, inclination_rad=0.01, node_rad=0.02
    )
    spin = np.cross(new, going)
    found = 1.0 / (2.0 / np.linalg.norm(new) - going @ going / gm)
    shape = np.cross(going, spin) / gm - new / np.linalg.norm(new)
    assert found * (1.0 - np.linalg.norm(shape)) == pytest.approx(low + 5e3, abs=MILLIMETER_M)
    assert found * (1.0 + np.linalg.norm(shape)) == pytest.approx(high - 9e3, abs=MILLIMETER_M)
    assert math.acos(spin[2] / np.linalg.norm(spin)) == pytest.approx(incline + 0.01, abs=FLOAT_RAD)
    assert math.atan2(spin[0], -spin[1]) == pytest.approx(0.02, abs=FLOAT_RAD)
    assert math.acos(shape @ new / np.linalg.norm(shape) / np.linalg.norm(new)) == pytest.approx(nu, abs=WRITTEN_RAD)


def on_a_carrier(errors: Errors) -> tuple[Outcome, tuple[LinearStory, ...]]:
    """The six on one carrier, with errors."""
    outcome = bundled_outcome("shared-ride", BULGE_ALONE)
    outcome = replace(outcome, scenario=replace(outcome.scenario, errors=errors))
    found = tuple(one for one in stories(outcome) if isinstance(one, LinearStory))
    assert len(found) == 6
    return outcome, found


def test_a_flight_from_the_carrier_s_insertion_ends_as_planned() -> None:
    outcome, found = on_a_carrier(Errors(burn_share=0.01))
    assert found
    for story, part in zip(found, outcome.plans[0].craft, strict=True):
        assert story.company == 0
        assert story.aboard >= 1
        assert math.fsum(story.own) == len(part.burns)
        flights = block(story.with_errors(Errors()), 1, 0, 0)
        assert math.hypot(*story.tilt_rad) == pytest.approx(part.flown.plane_error_rad, abs=WRITTEN_RAD)
        assert story.lowest_m == pytest.approx(
            min(outcome.plans[0].carriers[0].lowest_m, part.flown.lowest_m), abs=READ_M
        )
        assert float(flights.delta_v_m_s[0]) == pytest.approx(part.delta_v_m_s, abs=MILLIMETER_M_S)


def test_what_an_insertion_a_little_off_does_to_craft_on_a_carrier() -> None:
    """The law against a flight with the carrier let go 1 km too high, from there to the end, no burn changed."""
    outcome, found = on_a_carrier(Errors(apoapsis_m=1000.0))
    carrier = outcome.plans[0].carriers[0].itinerary
    some = list(zip(found, outcome.plans[0].craft, strict=True))[:3]
    assert some
    for story, part in some:
        assert part.itinerary is not None
        position, velocity = let_go_off(carrier.position, carrier.velocity, outcome.ring.gm, apoapsis_m=1000.0)
        before = tuple(burn for burn in carrier.impulses if burn.time_s < part.itinerary.start_s + 1.0)
        item = replace(
            part.itinerary,
            start_s=carrier.start_s,
            position=position,
            velocity=velocity,
            impulses=(*before, *part.itinerary.impulses),
        )
        [flight] = fly([item], gravity_around(outcome.scenario.body))
        seen = measure(flight, outcome.ring, part.plane, part.slot)
        expected = story.insertion[0, 1] * 1000.0 + part.flown.slot_error_rad
        assert seen.slot_error_rad == pytest.approx(expected, rel=SECOND_ORDER_REL)


def test_craft_on_a_carrier_share_its_errors() -> None:
    """One error of the launcher alone: what craft burn goes up and down together, as ranks show (Spearman)."""
    _, found = on_a_carrier(Errors(apoapsis_m=8000.0))
    used = [block(story, 1, number, 0).delta_v_m_s for number, story in enumerate(found)]
    apart = [block(replace(story, company=None), 1, number, 0).delta_v_m_s for number, story in enumerate(found)]
    together = [float(spearmanr(used[0], other).statistic) for other in used[1:]]
    assert min(together) > 0.3
    assert max(abs(float(spearmanr(apart[0], other).statistic)) for other in apart[1:]) < ONE_DECIMAL
