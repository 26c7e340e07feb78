"""A site that may launch off the plane for weeks: who is to be in place soonest looks at its first moments closely."""

from __future__ import annotations

import numpy as np

from ringwright.models.opportunities import liftoffs
from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.problem.ring_phase import problems
from ringwright.tests.tolerances import WHOLE_S

from ...planned import scenario_of

SLOW = """
[body]
name = "mercury"
[ring]
altitude_km = 987
slots = 4
inclination_deg = 0
node_deg = 64
slot0_deg = 351
[limits]
finish_within_d = {within_d}
revolutions_max = 2
[forces]
further = false
[launch]
latitude_deg = -3
longitude_deg = 51
ascent_min = 9
downrange_deg = 18
plane_tolerance_deg = 5
insertion = {{ periapsis_km = 234, apoapsis_km = 234 }}
[[craft]]
name = "Ladle"
[goal]
minimize = "finish"
"""
"""Where the body turns in 59 days, the site is always 3 deg off the plane over the equator."""


def test_moments_of_the_first_ring_turn_are_as_close_as_slots_ask_for() -> None:
    [problem] = problems(scenario_of(SLOW.format(within_d=118.0)))
    way = problem.ways[0]
    tried = liftoffs(way, problem.ring, problem.scenario.pads[0], 0.0, 5000.0, 118.0 * 86400.0)
    first = tried[tried <= 5000.0 + problem.ring.period_s]
    # a slot passes by in a quarter of a turn
    assert np.max(np.diff(first)) < problem.ring.period_s / 80.0
    assert tried.size < 1000


def test_more_time_makes_no_finish_later() -> None:
    """Two days and four months: the earliest finish is the same."""
    soon, late = (make_plan(scenario_of(SLOW.format(within_d=d)), brief=True).plans[0].finish_s for d in (2.0, 118.0))
    assert late < soon + WHOLE_S
