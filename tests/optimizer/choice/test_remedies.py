"""What is named as serving was tried: put into the scenario, a plan within all limits comes out of it."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from types import SimpleNamespace
from typing import cast

import pytest

from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.optimizer.choice.nearest_plans import values_that_serve
from ringwright.optimizer.limits.loosening import DEGREE, Loosening
from ringwright.optimizer.limits.propellant import LIMIT as PROPELLANT
from ringwright.optimizer.outcome import Broken, Infeasible, Plan
from ringwright.optimizer.plan import make_plan
from ringwright.reports.limits import limit_key, serving_value
from ringwright.tests.tolerances import EXACT, FLOAT

NEVER_IN_THE_PLANE = """
body = { name = "earth" }
ring = { altitude_km = 8000, slots = 4, slot0_deg = 0 }
limits = { finish_within_d = 0.3 }
craft = [{ name = "Kettle", dry_mass_kg = 100, propellant_kg = 1, isp_s = 220 }]
[launch]
latitude_deg = 5
longitude_deg = 0
insertion = { periapsis_km = 250, apoapsis_km = 8000, altitude_km = 250 }
"""

FLIGHT_COSTS_MORE = """
[body]
name = "jupiter"
[ring]
altitude_km = 204753.9752776554
slots = 1
inclination_deg = 0.001
node_deg = -335.69138096995835
[limits]
clearance_km = 357.46
finish_within_d = 25.98972239583994
separation_km = 0.0
[[craft]]
name = "Kettle"
dry_mass_kg = 1037.9947025417853
propellant_kg = 5973.603884479437
isp_s = 162.91336630349744
reserve_m_s = 1337.9491641197262
ready_h = 16.855712713193622
orbit = { periapsis_km = 50266.91333050891, apoapsis_km = 204753.9752776554, angle_deg = -134.11320840374808, \
at = "apoapsis", at_h = 166.2458709388207 }
"""

FAR_AND_FACING_AWAY = """
body = { name = "venus" }
ring = { altitude_km = 2788, slots = 4, inclination_deg = 33.7 }
limits = { revolutions_max = 3, finish_within_d = 3.5 }
craft = [{ name = "Kettle", dry_mass_kg = 100, propellant_kg = 300, isp_s = 300 }]
goal = { minimize = "finish" }
[launch]
latitude_deg = -36.7
longitude_deg = -89
insertion = { periapsis_km = -1210.2, apoapsis_km = 2788, altitude_km = 432 }
azimuth_from_deg = 236
azimuth_to_deg = 386
"""
"""The site never is in the plane, and where it may be far from it, no azimuth leads there."""

PAST_NORTH = """
body = { name = "earth" }
ring = { altitude_km = 9000.0, slots = 2, inclination_deg = 63.4, node_deg = 0.0, slot0_deg = 0.0 }
craft = [{ name = "Kettle" }]
[launch]
latitude_deg = -61.2
longitude_deg = 0.0
azimuth_from_deg = 349.4
azimuth_to_deg = 416.2
insertion = { periapsis_km = -400.0, apoapsis_km = 9000.0, altitude_km = 240.0 }
"""

PASSES_SELDOM = """
body = { name = "venus" }
ring = { altitude_km = 769, slots = 2, inclination_deg = 20.0 }
limits = { revolutions_max = 3, finish_within_d = 1.23 }
craft = [{ name = "Kettle" }]
[launch]
latitude_deg = 0.0
longitude_deg = 60
insertion = { periapsis_km = 432.0, apoapsis_km = 769.0, altitude_km = 432.0 }
"""
"""A site that passes through the ring plane twice in eight months."""

OUTSIDE_AND_LATE = """
body = { name = "venus" }
ring = { altitude_km = 3236, slots = 3, inclination_deg = 35.0 }
limits = { revolutions_max = 4, finish_within_d = 4.06 }
craft = [{ name = "Kettle" }]
[launch]
latitude_deg = -38.0
longitude_deg = 35
insertion = { periapsis_km = 432.0, apoapsis_km = 3236.0, altitude_km = 432.0 }
plane_tolerance_deg = 10.8
azimuth_from_deg = 165
azimuth_to_deg = 189
"""

THREE_SHORT = """
[body]
name = "Brannoch"
gm_km3_s2 = 600.0
radius_km = 700.0
sidereal_day_h = -11.389
prime_meridian_deg = -50.769
j2 = 0.001686
[ring]
altitude_km = 3057.0
slots = 4
inclination_deg = 155.26
node_deg = 101.008
slot0_deg = 103.932
[limits]
clearance_km = 10.0
revolutions_max = 1
finish_within_d = 5.22
[launch]
latitude_deg = 16.58
longitude_deg = 173.06
turnaround_h = 17.0
insertion = { periapsis_km = 70.0, apoapsis_km = 3057.0, altitude_km = 368.7 }
[[craft]]
name = "Kettle"
dry_mass_kg = 307.394
isp_s = 272.794
propellant_kg = 0.738
[[craft]]
name = "Ladle"
dry_mass_kg = 266.854
isp_s = 315.174
propellant_kg = 3.982
[[craft]]
name = "Bowl"
dry_mass_kg = 234.65
isp_s = 228.534
propellant_kg = 9.499
"""


@cache
def why_not(text: str) -> Infeasible:
    """What binds, once for each text; however busy the machine, what would serve is found."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("ringwright.optimizer.choice.infeasible.OUTER_S", 600.0)
        why = make_plan(parse_scenario(text)).infeasible
    assert why is not None
    return why


@pytest.mark.parametrize(
    "text",
    [
        NEVER_IN_THE_PLANE,
        pytest.param(FLIGHT_COSTS_MORE, marks=pytest.mark.soak),
        PAST_NORTH,
        PASSES_SELDOM,
        OUTSIDE_AND_LATE,
        FAR_AND_FACING_AWAY,
        THREE_SHORT,
    ],
)
def test_what_is_named_serves_in_the_flight_too(text: str) -> None:
    why = why_not(text)
    named = [(bind.limit, bind.serves) for bind in why.binds if bind.serves is not None]
    assert named
    settings = [f"{limit_key(limit)}={serving_value(limit, value, 4):.12g}" for limit, value in named]
    tried = [settings] if why.together else [[one] for one in settings]
    assert tried
    for chosen in tried:
        plans = make_plan(parse_scenario(text, settings=chosen)).plans
        assert plans, chosen
        assert not plans[0].broken, chosen


def test_a_corridor_is_widened_past_north_and_not_wrapped() -> None:
    why = why_not(PAST_NORTH)
    [bind] = why.binds
    assert bind.limit == "launch.azimuth_to"
    assert bind.serves is not None
    assert math.degrees(bind.serves) > 416.2


@pytest.mark.parametrize(
    ("text", "keys"),
    [
        (PASSES_SELDOM, ["limits.finish_within"]),
        (OUTSIDE_AND_LATE, ["launch.azimuth_from", "limits.finish_within"]),
        (FAR_AND_FACING_AWAY, ["launch.plane_tolerance", "launch.azimuth_to"]),
        (THREE_SHORT, ["craft.Kettle.propellant", "craft.Ladle.propellant", "craft.Bowl.propellant"]),
    ],
)
def test_all_that_has_to_give_is_named_and_no_more(text: str, keys: list[str]) -> None:
    why = why_not(text)
    assert [bind.limit for bind in why.binds] == keys
    assert why.together == (len(keys) > 1)


@pytest.mark.parametrize(("least_deg", "named_deg"), [(0.02, 0.03), (0.035, 0.04), (0.05, None)])
def test_what_the_nearest_plan_breaks_is_named_where_it_was_tried(least_deg: float, named_deg: float | None) -> None:
    """Where not every plan was flown what the nearest one breaks may still give way, tried as it is printed."""
    scenario = parse_scenario(PASSES_SELDOM)
    broken = Broken(craft="Kettle", limit="ring.tilt_tolerance", value=0.0241 * DEGREE, allowed=0.0)
    plan = cast(Plan, SimpleNamespace(broken=(broken,)))
    found = values_that_serve(scenario, [plan], lambda one: one.ring.tilt_tolerance_rad >= least_deg * DEGREE)
    named = [] if named_deg is None else [named_deg * DEGREE]
    assert [bind.limit for bind in found] == ["ring.tilt_tolerance"] * len(named)
    assert [bind.serves for bind in found] == pytest.approx(named)
    # what no value loosens is not named
    ground = cast(Plan, SimpleNamespace(broken=(broken, replace(broken, limit="body.surface"))))
    assert not values_that_serve(scenario, [ground], lambda _: True)


@pytest.mark.parametrize(("now", "most"), [(0.123456, 2.0), (2.0, 0.5)])
def test_values_are_tried_as_they_are_printed(now: float, most: float) -> None:
    item = Loosening(
        key="ring.tolerance", now=now * DEGREE, most=most * DEGREE, step=0.01, unit=DEGREE, apply=lambda s, _: s
    )
    values = [item.value(steps) / DEGREE for steps in range(1, item.count + 1)]
    assert all(value == pytest.approx(round(value, 2), abs=EXACT) for value in values)
    assert all(abs(value - now) <= abs(most - now) + FLOAT for value in values)
    assert values[-1] == pytest.approx(most)
    assert (values[0] - now) * (most - now) > 0.0


def test_a_load_is_loosened_for_craft_that_carry_as_much_alone() -> None:
    """A load is loosened for all craft that carry as much; one with another load keeps its own."""
    scenario = parse_scenario(THREE_SHORT)
    first = scenario.craft[0]
    apart = replace(first, name="Apart", propellant_kg=(first.propellant_kg or 0.0) + 1.0)
    changed = replace(scenario, craft=(first, apart))
    loads = [one for one in PROPELLANT.loosenings(changed) if one.key == f"craft.{first.name}.propellant"]
    assert len(loads) == 1
    by_name = {craft.name: craft.propellant_kg for craft in loads[0].apply(changed, 900.0).craft}
    assert by_name[first.name] == 900.0
    assert by_name["Apart"] == apart.propellant_kg
