"""What is listed keeps its limits in the flight: plans that break one are cut off, and the search goes on.

The other road: every option of a lone craft is flown, and the front is read off those that keep their limits.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from ringwright.optimizer.catalogue.catalogue import from_space
from ringwright.optimizer.choice.flyer import Flyer
from ringwright.optimizer.problem.options import join
from ringwright.optimizer.problem.ring_phase import problems
from ringwright.optimizer.routes.route import Question
from ringwright.reports.result import result_text
from ringwright.reports.terminal import plan_text
from ringwright.tests.tolerances import SCREEN_M_S

from ...independent.plan_checker import check, printed
from ...independent.scenario_maker import make, with_limit, write_toml
from ...planned import outcome_of, planned, scenario_of

WORLD = """
[body]
name = "Orrin"
gm_km3_s2 = 6000.0
radius_km = 1000.0
atmosphere_top_km = 30.0
sidereal_day_h = 20.0
j2 = 0.0
"""


def ring(altitude_km: float, slots: int, slot0_deg: float, taken: tuple[int, ...]) -> str:
    """A ring with some slots occupied, the tables of it."""
    text = f"[ring]\naltitude_km = {altitude_km}\nslots = {slots}\nslot0_deg = {slot0_deg}\ntolerance_deg = 0.2\n"
    return text + "".join(f'[[ring.occupied]]\nname = "Peg{slot}"\nslot = {slot}\n' for slot in taken)


def limits(separation_km: float, finish_h: float, revolutions: int) -> str:
    """Limits of which the separation binds."""
    return (
        f"[limits]\nclearance_km = 5.0\nseparation_km = {separation_km}\nfinish_within_h = {finish_h}\n"
        f"revolutions_max = {revolutions}\n"
    )


def craft(name: str, altitude_km: float, angle_deg: float) -> str:
    """A craft on the ring."""
    return f'[[craft]]\nname = "{name}"\norbit = {{ altitude_km = {altitude_km}, angle_deg = {angle_deg} }}\n'


CHEAPEST_TOO_NEAR = (
    'title = "The cheapest way passes too near to a peg"'
    + WORLD
    + ring(1496.3, 6, 206.6, (3, 1, 5, 4, 2))
    + limits(149.8, 33.72, 10)
    + craft("Awl", 1496.3, 326.6)
)
HALF_OF_THEM_TOO_NEAR = (
    'title = "Three of six ways pass too near to a peg"'
    + WORLD
    + ring(366.2, 8, 167.0, (0, 3, 2, 5))
    + limits(163.9, 8.54, 9)
    + craft("Awl", 366.2, 302.0)
)
TWO_TO_MOVE = (
    'title = "Two craft that may come too near to one another"'
    + WORLD
    + ring(1679.9, 5, 111.9, (3,))
    + limits(321.6, 39.52, 9)
    + craft("Awl", 1679.9, 183.9)
    + craft("Burr", 1679.9, 185.429)
)
NONE_KEEPS_IT = """
title = "Low over a world so flat that every way dips into the ground"
[body]
name = "Pell"
gm_km3_s2 = 1326.416896446142
radius_km = 1266.6801025560658
sidereal_day_h = inf
j2 = 0.05
[ring]
altitude_km = 76.88566295778195
slots = 20
inclination_deg = 180.0
node_deg = -100.50298691114375
slot0_deg = -78.95001605947067
tolerance_deg = 0.0011623839514657642
[limits]
finish_within_d = 0.6
apoapsis_max_km = 181.67713654442775
[[craft]]
name = "Awl"
orbit = { periapsis_km = 76.88566295778195, apoapsis_km = 145.0789519981889, angle_deg = 40.0, at = "apoapsis" }
"""


def front_by_flying_all(text: str) -> list[tuple[float, float]]:
    """Finish (min) and delta-v (m/s) as printed of every option of a lone craft that none beats and that keeps its
    limits in the flight, sooner ones first."""
    (problem,) = problems(scenario_of(text))
    options = join(from_space(Question(problem=problem)))
    flyer = Flyer(problem)
    flyer.fly([options])
    sound = [row for row in range(len(options)) if not flyer.broken(options, row)]
    values = sorted(
        (printed("finish_s", float(options.finish_s[row])), printed("delta_v_m_s", float(options.delta_v_m_s[row])))
        for row in sound
    )
    found: list[tuple[float, float]] = []
    for finish, delta_v in values:
        if not found or delta_v < found[-1][1]:
            found.append((finish, delta_v))
    return found


def front_of(result: dict[str, Any]) -> list[tuple[float, float]]:
    """The front of a result as printed."""
    return [(printed("finish_s", p["finish_s"]), printed("delta_v_m_s", p["delta_v_m_s"])) for p in result["front"]]


@pytest.mark.parametrize("text", [CHEAPEST_TOO_NEAR, HALF_OF_THEM_TOO_NEAR])
def test_the_front_of_a_lone_craft_is_that_of_all_its_flights(text: str) -> None:
    result = planned(text)
    assert front_of(result) == front_by_flying_all(text)
    assert check(text, result) == []


@pytest.mark.parametrize("text", [CHEAPEST_TOO_NEAR, HALF_OF_THEM_TOO_NEAR, TWO_TO_MOVE])
def test_no_plan_breaks_a_limit_and_plan_1_is_the_one_that_is_proved(text: str) -> None:
    result = planned(text)
    assert all(plan["within_limits"] for plan in result["plans"])
    assert result["plans"][0]["on_front"]
    assert result["front"][-1]["plan"] == 1
    assert result["proof"]["status"] == "optimal"
    assert result["proof"]["bound"] == pytest.approx(result["plans"][0]["delta_v_m_s"], abs=SCREEN_M_S)
    assert check(text, result) == []


def test_front_points_behind_breaking_ones_are_found() -> None:
    """At 23 to 26 h the cheapest combinations come too near; these two keep their distance."""
    assert {(1538.0, 24.9), (1350.0, 28.3)} <= set(front_of(planned(TWO_TO_MOVE)))


def test_where_the_flight_shows_that_none_keeps_its_limits_the_nearest_are_listed() -> None:
    outcome = outcome_of(scenario_of(NONE_KEEPS_IT))
    result = json.loads(result_text(outcome))
    assert result["plans"] == []
    assert result["front"] == []
    nearest = result["rejected"][0]
    assert not nearest["within_limits"]
    below = [broken for broken in nearest["broken"] if broken["limit"] == "limits.clearance_km"]
    assert below
    assert below[0]["value"] < below[0]["allowed"] == 0.0
    screen = plan_text(outcome)
    assert "NO PLAN KEEPS ALL LIMITS" in screen
    assert "DO NOT FLY IT" in screen
    assert f"{-below[0]['value']:.1f} km too little" in " ".join(screen.split())


def test_where_the_orbit_that_craft_are_on_dips_too_low_every_option_breaks_that() -> None:
    """One flight shows it of all that wait as long, which are left out unflown; here they are flown all the same."""
    infeasible = outcome_of(scenario_of(NONE_KEEPS_IT)).infeasible
    assert infeasible is not None
    assert infeasible.reason == "every plan that the options allow breaks one in its flight"
    assert infeasible.binds == (), "no lower clearance than 0 is to be named"
    (problem,) = problems(scenario_of(NONE_KEEPS_IT))
    options = join(from_space(Question(problem=problem)))
    options = options.take(np.arange(0, len(options), 1 + len(options) // 30))
    flyer = Flyer(problem)
    flyer.fly([options])
    for row in range(len(options)):
        assert flyer.fails(options, row) or "limits.clearance" in {b.limit for b in flyer.broken(options, row)}


def test_where_separation_leaves_no_plan_what_serves_serves() -> None:
    text = CHEAPEST_TOO_NEAR.replace("149.8", "1200.0").replace("33.72", "6.0")
    infeasible = outcome_of(scenario_of(text)).infeasible
    assert infeasible is not None
    serves_m = next(bind.serves for bind in infeasible.binds if bind.limit == "limits.separation")
    assert serves_m is not None
    served = text.replace("1200.0", str(serves_m / 1000.0))
    assert planned(served)["plans"][0]["within_limits"]


def tight(number: int, crowd: int) -> str:
    """A random scenario of craft in space whose separation binds."""
    draft = make(number, craft="space", crowd=crowd)
    radius = draft["body"]["radius_m"] + draft["ring"]["altitude_m"]
    share = np.random.default_rng(number).uniform(0.02, 0.12)
    return write_toml(with_limit(draft, "separation_m", float(np.round(share * radius))))


def holds(number: int, crowd: int) -> None:
    """Everything listed keeps its limits, the bound is a bound, and plan 1 is what is proved."""
    text = tight(number, crowd)
    result = planned(text)
    assert check(text, result) == [], number
    if not result["plans"]:
        assert all(not plan["within_limits"] for plan in result.get("rejected", []))
        return
    assert all(plan["within_limits"] for plan in result["plans"]), number
    aim = {"propellant": "propellant_kg", "finish": "finish_s"}.get(
        result["proof"]["aim"], f"{result['proof']['aim']}_m_s"
    )
    for plan in result["plans"]:
        assert result["proof"]["bound"] <= plan[aim] + 2e-6, number
    if result["proof"]["status"] == "optimal":
        assert printed(aim, result["proof"]["bound"]) == printed(aim, result["plans"][0][aim]), number


@pytest.mark.parametrize("number", range(700, 705))
def test_what_is_listed_keeps_its_limits_where_separation_binds(number: int) -> None:
    holds(number, 2)


@pytest.mark.soak
@pytest.mark.parametrize("block", range(8))
def test_what_is_listed_keeps_its_limits_campaign(block: int) -> None:
    for number in range(20_000 + 25 * block, 20_025 + 25 * block):
        holds(number, 3)
