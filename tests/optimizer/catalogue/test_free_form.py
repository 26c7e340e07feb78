"""Free-form flights as options of a plan: they keep every limit, never cost more, and screen who is passed."""

from __future__ import annotations

import math
import re
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from ringwright.models import frames
from ringwright.models.errors import InputError
from ringwright.models.flight.gravity import gravity_around
from ringwright.models.flight.integrate import Impulse, Itinerary, closest, fly
from ringwright.models.scenario import Scenario
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.problem.ring_phase import problems
from ringwright.optimizer.problem.timed_flight import TimedFlight, states
from ringwright.reports.result import result
from ringwright.tests.tolerances import SLOT_DEG, TENTH_S

from ...independent.plan_checker import check
from ...planned import outcome_of, planned, scenario_of

WORLD = """
title = "Three ways to be astray"
[body]
name = "Tessaly"
gm_km3_s2 = 9120.5
radius_km = 1210.0
atmosphere_top_km = 62.0
{j2}
[ring]
altitude_km = 1400.0
slots = {slots}
slot0_deg = 0.0
{occupied}
[limits]
clearance_km = 20.0
apoapsis_max_km = 4000.0
finish_within_h = {hours}
separation_km = {separation}
[goal]
{step}
[[craft]]
name = "Gimlet"
dry_mass_kg = 90.0
propellant_kg = 40.0
isp_s = 250.0
orbit = {{ {orbit} }}
"""
ON_RING = "altitude_km = 1400.0, angle_deg = 40.0"
CROSSING = 'periapsis_km = 1000.0, apoapsis_km = 1700.0, angle_deg = 200.0, at = "apoapsis"'
AWAY = 'periapsis_km = 900.0, apoapsis_km = 1200.0, angle_deg = -60.0, at = "periapsis", at_h = -1.0'
OCCUPIED = '[[ring.occupied]]\nname = "Alder"\nslot = 1\n'
TANGENT_M_S = 1e-5
"""The result rounds to a micrometer a second."""


def world(
    orbit: str,
    *,
    step: str = "front_step_min = 60",
    hours: float = 8.0,
    slots: int = 2,
    occupied: str = OCCUPIED,
    separation: float = 10.0,
    j2: str = "",
) -> str:
    return WORLD.format(
        orbit=orbit, step=step, hours=hours, slots=slots, occupied=occupied, separation=separation, j2=j2
    )


@pytest.mark.parametrize("orbit", [ON_RING, CROSSING, AWAY], ids=["on the ring", "crossing", "away"])
def test_plans_keep_every_limit_by_the_independent_checker(orbit: str) -> None:
    text = world(orbit, step="front_step_min = 60" if orbit == ON_RING else "front_step_min = 150")
    result = planned(text)
    assert result["plans"]
    assert {item["route"] for plan in result["plans"] for item in plan["craft"]} & {"timed"}
    assert check(text, result) == []


def test_the_front_is_never_above_the_one_by_phasing_orbits() -> None:
    free, steps = planned(world(ON_RING)), planned(world(ON_RING, step=""))
    assert len(free["front"]) > len(steps["front"])
    for point in steps["front"]:
        in_time = [p["delta_v_m_s"] for p in free["front"] if p["finish_s"] <= point["finish_s"] + 1e-3]
        assert min(in_time) <= point["delta_v_m_s"] + TANGENT_M_S
    assert any(point["kind"] == "curve" for point in free["front"])
    assert free["proof"]["over"] == "catalogue"
    assert free["proof"]["free_form_options"] > 0


def test_evidence_and_flyability_are_told() -> None:
    result = planned(world(ON_RING))
    seen = 0
    for plan in result["plans"]:
        routes = {item["route"] for item in plan["craft"]}
        assert plan.get("by_period_alone", True) == ("timed" not in routes)
        for item in plan["craft"]:
            if item["route"] == "timed":
                seen += 1
                assert item["phasing_period_s"] is None
                assert 0.0 <= item["free_form"]["primer_excess"] < 0.02
                assert item["free_form"]["estimate_model"] == "motion linearized about the slot"
    assert seen


def test_over_an_oblate_body_burns_are_corrected() -> None:
    result = planned(world(CROSSING, j2="j2 = 0.001", step="front_step_h = 2.5"))
    assert result["model"]["gravity"] == "j2"
    assert result["plans"]
    for plan in result["plans"]:
        assert plan["within_limits"]
        for item in plan["craft"]:
            assert abs(item["flown"]["slot_error_deg"]) < SLOT_DEG
            assert abs(item["flown"]["period_error_s"]) < TENTH_S


def test_an_orbit_off_the_ring_asks_for_free_form_flights() -> None:
    with pytest.raises(InputError, match=r"goal\.front_step"):
        scenario_of(world(AWAY, step=""))


@lru_cache
def _quick() -> tuple[Scenario, TimedFlight]:
    scenario = scenario_of(world(CROSSING, step="front_step_h = 4", occupied="", separation=0.0, slots=1))
    (problem,) = problems(scenario)
    from ringwright.optimizer.catalogue.free_form import with_free_form
    from ringwright.optimizer.problem.options import empty

    found = with_free_form(problem, empty()).timed
    return scenario, max(found, key=lambda flight: flight.solution.finish_s)


@pytest.mark.parametrize("share", [0.3, 0.6, 0.9])
def test_who_is_passed_equals_the_least_distance_flown(share: float) -> None:
    """Somebody is put on the ring where the flight crosses its radius, and a little beside it."""
    scenario, flight = _quick()
    (problem,) = problems(scenario)
    ring = problem.ring
    times = np.linspace(flight.start.time_s, flight.solution.finish_s, 200_001)[:-1]
    place, _ = states(flight.start, flight.solution, ring.gm, times)
    height = np.linalg.norm(place, axis=1) - ring.radius_m
    crossings = times[:-1][np.signbit(height[:-1]) != np.signbit(height[1:])]
    moment = crossings[int(share * crossings.size)]
    at = float(frames.latitude_argument(place[np.searchsorted(times, moment)], 0.0, 0.0))
    itinerary = Itinerary.through_turn(
        flight.start.time_s,
        flight.start.position,
        flight.start.velocity,
        [Impulse(b.time_s, b.radial_m_s, b.along_m_s, b.cross_m_s) for b in flight.solution.burns],
        ring,
    )
    (flown,) = fly([itinerary], gravity_around(scenario.body))
    for beside_m in (0.0, 8_000.0, 40_000.0):
        angle = at - ring.rate_rad_s * moment + beside_m / ring.radius_m

        def other(when: np.ndarray, angle: float = angle) -> np.ndarray:
            return frames.on_circle(ring.radius_m, angle + ring.rate_rad_s * when, 0.0, 0.0)

        least = closest(flown, other, flight.start.time_s, flight.solution.finish_s - 1.0).distance_m
        for separation in (0.97 * least - 30.0, 1.03 * least + 30.0):
            hit, until = flight.passes(ring, np.array([angle]), max(separation, 1e-3))
            assert bool(hit[0]) == (separation > least)
            assert math.isnan(until[0]) != bool(hit[0])


@pytest.mark.soak
def test_a_finer_step_only_adds_to_the_front() -> None:
    coarse, fine = planned(world(ON_RING)), planned(world(ON_RING, step="front_step_min = 30"))
    assert coarse["front"]
    for point in coarse["front"]:
        in_time = [p["delta_v_m_s"] for p in fine["front"] if p["finish_s"] <= point["finish_s"] + 1e-3]
        # the solver finds each flight again, and promises each within two parts in a thousand of the best
        assert min(in_time) <= point["delta_v_m_s"] * (1.0 + 2e-3)


def test_the_bundled_scenario_is_planned_over_the_oblate_body() -> None:
    text = (Path(__file__).parents[3] / "scenarios" / "one-astray.toml").read_text(encoding="utf-8")
    quick = re.sub(r"front_step_h = 1\.0", "front_step_h = 10.0", text)
    outcome: Outcome = outcome_of(scenario_of(quick))
    values = result(outcome)
    assert values["plans"][0]["craft"][0]["route"] == "timed"
    assert values["plans"][0]["within_limits"]


LAUNCHED = """
title = "One from the ground"
[body]
name = "Tessaly"
gm_km3_s2 = 9120.5
radius_km = 1210.0
atmosphere_top_km = 62.0
sidereal_day_h = 70.0
{j2}
[ring]
altitude_km = 1400.0
slots = 2
slot0_deg = 0.0
[[ring.occupied]]
name = "Alder"
slot = 1
[limits]
clearance_km = 20.0
apoapsis_max_km = 4000.0
finish_within_h = 12
separation_km = 10
[launch]
latitude_deg = 0.0
longitude_deg = {longitude}
ascent_min = 6.0
downrange_deg = 18.0
insertion = {{ periapsis_km = {low}, apoapsis_km = {high}, altitude_km = 95.0 }}
[goal]
{step}
[[craft]]
name = "Gimlet"
dry_mass_kg = 90.0
propellant_kg = 80.0
isp_s = 250.0
"""
COAST, PARKING = {"low": -200.0, "high": 1400.0}, {"low": 95.0, "high": 95.0}


def from_the_ground(insertion: dict[str, float], longitude: float, step: str) -> None:
    """Plan a launch with and without free-form flights: they are chosen and never dearer."""

    def text(step: str) -> str:
        return LAUNCHED.format(j2="", longitude=longitude, step=step, **insertion)

    free, steps = planned(text(step)), planned(text(""))
    assert check(text(step), free) == []
    assert len(free["front"]) > len(steps["front"])
    for point in steps["front"]:
        in_time = [p["delta_v_m_s"] for p in free["front"] if p["finish_s"] <= point["finish_s"] + 1e-3]
        assert min(in_time) <= point["delta_v_m_s"] + TANGENT_M_S
    found = [item for plan in free["plans"] for item in plan["craft"] if item["route"] == "timed"]
    assert found
    assert all(item["launch_s"] is not None and item["insertion"] is not None for item in found)
    assert all(plan["within_limits"] for plan in free["plans"])


@pytest.mark.parametrize(("insertion", "minutes"), [(COAST, 60), (PARKING, 20)], ids=["direct", "parking"])
def test_from_the_ground_too_and_never_above_the_phasing_orbits(insertion: dict[str, float], minutes: int) -> None:
    from_the_ground(insertion, 300.0, f"front_step_min = {minutes}")


@pytest.mark.soak
@pytest.mark.parametrize("insertion", [COAST, PARKING], ids=["direct", "parking"])
@pytest.mark.parametrize("longitude", [90.0, 300.0])
def test_from_the_ground_for_every_third_of_an_hour(insertion: dict[str, float], longitude: float) -> None:
    from_the_ground(insertion, longitude, "front_step_min = 20")


def test_from_the_ground_over_an_oblate_body_burns_are_corrected() -> None:
    result = planned(LAUNCHED.format(j2="j2 = 0.001", longitude=300.0, step="front_step_min = 60", **COAST))
    found = [item for plan in result["plans"] for item in plan["craft"] if item["route"] == "timed"]
    assert found
    for item in found:
        assert abs(item["flown"]["slot_error_deg"]) < SLOT_DEG
        assert abs(item["flown"]["period_error_s"]) < TENTH_S
