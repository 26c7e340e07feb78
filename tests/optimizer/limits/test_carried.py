"""Limits of a plan with a carrier: what the carrier flies counts, and what is kept is not said to be broken."""

from __future__ import annotations

from dataclasses import replace

from ringwright.optimizer.limits.limit import LENGTH_SLACK_M
from ringwright.optimizer.limits.tilt_tolerance import PLANE_SLACK_RAD
from ringwright.reports.terminal import plan_text

from ...planned import outcome_of, scenario_of

TILTED = """
title = "Two on one bus"
[body]
name = "mars"
[ring]
altitude_km = 5695
slots = 3
inclination_deg = 40
node_deg = 257
slot0_deg = 337
tilt_tolerance_deg = 0.3
[limits]
finish_within_d = 2.145
revolutions_max = 4
separation_km = 50
apoapsis_max_km = 9233
between_craft_h = 3.66
[forces]
further = false
[launch]
latitude_deg = -23.2
longitude_deg = 33
ascent_min = 4
turnaround_h = 8
ready_h = 8.34
insertion = { periapsis_km = 1490, apoapsis_km = 1490 }
[[carrier]]
name = "Bus"
craft = ["Tarn", "Beck"]
delta_v_m_s = 868
passes_max = 4
[[craft]]
name = "Tarn"
[[craft]]
name = "Beck"
"""
"""The bus drops its craft from an orbit above the ring; a tilt is left on purpose."""


def test_the_highest_apoapsis_counts_that_of_the_carrier() -> None:
    plan = outcome_of(scenario_of(TILTED)).plans[0]
    [margin] = [one for one in plan.margins if one.limit.startswith("limits.apoapsis_max")]
    [bus] = plan.carriers
    highest = max(bus.apoapsis_m, *(one.flown.highest_m for one in plan.craft)) - 3396190.0
    assert bus.apoapsis_m - 3396190.0 > 5.7e6
    assert abs(margin.value - highest) < LENGTH_SLACK_M
    assert margin.craft == "Bus"


def test_a_limit_that_the_plan_keeps_is_not_said_to_be_overstepped() -> None:
    """A tilt over what is allowed, by less than counts as one."""
    outcome = outcome_of(scenario_of(TILTED))
    plan = outcome.plans[0]
    assert not plan.broken
    margins = tuple(
        replace(one, value=one.allowed + 0.5 * PLANE_SLACK_RAD) if one.limit.startswith("ring.tilt") else one
        for one in plan.margins
    )
    assert margins != plan.margins
    shown = plan_text(replace(outcome, plans=(replace(plan, margins=margins), *outcome.plans[1:])), 80)
    assert "tilt against" in shown
    assert "OVER" not in shown
