"""Craft on circles that are not the ring: they start where their orbit is, by every route that takes them."""

from __future__ import annotations

import numpy as np
import pytest

from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.problem.ring_phase import problems
from ringwright.optimizer.routes import rephase
from ringwright.optimizer.routes.nodal_drift_start import start_of
from ringwright.optimizer.routes.route import Question
from ringwright.tests.tolerances import METER_M, SECOND_ORDER_M

from ..planned import scenario_of

LOWER = """
title = "From a lower circle"
body = { name = "Tessaly", gm_km3_s2 = 9120.5, radius_km = 1210.0 }
ring = { altitude_km = 1500.0, slots = 1, slot0_deg = 90.0 }
limits = { finish_within_h = 12.0 }
goal = { front_step_h = 6 }
craft = [{ name = "Rake", orbit = { altitude_km = 1000.0, angle_deg = 0.0 } }]
"""
OTHER_PLANE = """
title = "From a lower circle into another plane"
body = { name = "earth" }
ring = { altitude_km = 1500.0, slots = 2, planes = 2, spread_deg = 60.0, inclination_deg = 66.0, slot0_deg = 40.0 }
limits = { finish_within_d = 110.0 }
goal = { front_step_d = 30 }
craft = [{ name = "Rake", orbit = { altitude_km = 1000.0, angle_deg = 0.0 } }]
"""


def test_a_free_form_flight_starts_on_the_craft_s_own_circle() -> None:
    outcome = make_plan(scenario_of(LOWER))
    assert outcome.plans
    for plan in outcome.plans:
        (part,) = plan.craft
        assert part.itinerary is not None
        assert float(np.linalg.norm(part.itinerary.position)) == pytest.approx(2_210e3, abs=METER_M)
        # the Hohmann transfer alone costs 196.4 m/s (vis-viva); no flight between the circles costs less
        assert part.delta_v_m_s > 196.0


def test_a_lower_circle_over_an_oblate_body_is_not_the_ring() -> None:
    (problem,) = problems(scenario_of(OTHER_PLANE))
    (group,) = problem.classes
    assert group.start is not None
    assert not group.start.on_ring
    assert not len(rephase.columns(Question(problem=problem)))
    orbit = group.craft.orbit
    assert orbit is not None
    start = start_of(problem.scenario.body, problem.ring, orbit, 0.0, group.start.on_ring)
    assert start is not None
    # a circle keeps its height on the mean; what a flight of some turns reads is second order in oblateness
    assert start.radius_m == pytest.approx(orbit.periapsis_m, abs=SECOND_ORDER_M)


def test_without_free_form_flights_such_a_circle_leads_into_other_planes_by_drift_alone() -> None:
    """As scenarios/README.md says."""
    (problem,) = problems(scenario_of(OTHER_PLANE.replace("front_step_d = 30", "")))
    (group,) = problem.classes
    assert group.start is not None
    assert not group.start.on_ring
