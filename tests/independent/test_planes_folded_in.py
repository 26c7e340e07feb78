"""Phasing burns that turn the plane, too, against a grid of places to begin and of parts across, by vectors alone.

A craft on an inclined ring over an oblate body burns at an argument of latitude u, phases, burns there again, and takes
off what tilt is left in a third burn where planes cross. Its node drifts by the secular rate of the second zonal
harmonic (Vallado 2013, eq. 9-37); planes are poles, burns are vectors. The planner may be no dearer than the best of
the grid, and what it prints, flown over the oblate body by the checker's own integrator, ends in its slot and plane.
"""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np
import pytest

from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.problem.ring_phase import problems
from ringwright.optimizer.routes.drifted_plane import shared
from ringwright.reports.result import result_text
from ringwright.tests.tolerances import DIFFERENCE_M_S, SQUARED_REL, WRITTEN_M_S

from ..planned import planned, scenario_of
from .printed_flight import fly_printed

TEXT = """
title = "Ninety degrees on"
[body]
name = "earth"
[ring]
altitude_km = 400.0
slots = 1
inclination_deg = {inclination}
slot0_deg = 90.0
tolerance_deg = 0.5
{ring}
[limits]
clearance_km = 10.0
finish_within_d = 6.0
revolutions_max = {revolutions}
[[craft]]
name = "Elm"
dry_mass_kg = 200.0
propellant_kg = 60.0
isp_s = 225.0
orbit = {{ altitude_km = 400.0, angle_deg = {angle} }}
"""
GM, RE, J2 = 3.986004418e14, 6378136.3, 1.082626174e-3
"""EGM96 as in Vallado 2013, table D-1 (JGM/EGM): the planner's constants differ in the seventh digit."""

OFF_DEG, SAME_M_S = 0.01, 0.15


def _text(inclination: float, revolutions: int, angle: float, ring: str = "") -> str:
    return TEXT.format(inclination=inclination, revolutions=revolutions, angle=angle, ring=ring)


def _best(text: str) -> dict[str, Any]:
    """The result with the best plan alone."""
    found: dict[str, Any] = json.loads(result_text(make_plan(scenario_of(text), brief=True)))
    return found


def _pole(inclination: float, node: float) -> np.ndarray:
    return np.array(
        [math.sin(inclination) * math.sin(node), -math.sin(inclination) * math.cos(node), math.cos(inclination)]
    )


def _frame(pole: np.ndarray, place: np.ndarray) -> np.ndarray:
    """Direction of motion there."""
    along = np.cross(pole, place)
    return np.asarray(along / np.linalg.norm(along))


def _turned(vector: np.ndarray, by: float) -> np.ndarray:
    c, s = math.cos(by), math.sin(by)
    return np.array([c * vector[0] - s * vector[1], s * vector[0] + c * vector[1], vector[2]])


def _least_of_grid(case: dict[str, Any], lead: float, revolutions: int) -> float:
    """The least total over where to begin, how to share the part across, and whether to gain or fall back."""
    inclination, radius = math.radians(case["inclination"]), RE + 400e3
    rate = math.sqrt(GM / radius**3)
    circular = radius * rate
    drift = -1.5 * J2 * (RE / radius) ** 2 * rate * math.cos(inclination)
    best = math.inf
    for whole in (revolutions, revolutions + 1, revolutions - 1):
        wait = (2.0 * math.pi * whole - lead) / rate
        semi = (GM * (wait / revolutions / (2.0 * math.pi)) ** 2) ** (1.0 / 3.0)
        if 2.0 * semi - radius < RE + 230e3:
            continue
        speed = math.sqrt(GM * (2.0 / radius - 1.0 / semi))
        motion, parameter = math.sqrt(GM / semi**3), semi * (1.0 - ((radius - semi) / semi) ** 2)
        own = -1.5 * J2 * (RE / parameter) ** 2 * motion * math.cos(inclination)
        behind = (own - drift) * wait
        for u in np.radians(np.arange(0.0, 180.0, 3.0)):
            pole = _pole(inclination, 0.0)
            place = np.array([math.cos(u), math.sin(u) * math.cos(inclination), math.sin(u) * math.sin(inclination)])
            before = circular * _frame(pole, place)
            for part in np.linspace(-60.0, 60.0, 61):
                after = speed * _frame(pole, place) + part * pole
                first = float(np.linalg.norm(after - before))
                tilted = np.cross(place, after)
                tilted /= np.linalg.norm(tilted)
                # seen from the ring, whose node stands still: the pole has turned about the axis meanwhile
                tilted, here = _turned(tilted, behind), _turned(place, behind)
                arrives = float(np.linalg.norm(after)) * _frame(tilted, here)
                # the plane through this place that is nearest to the ring's; what is left goes in a third burn
                off = float(here @ pole)
                leaves = circular * _frame((pole - off * here) / math.sqrt(1.0 - off * off), here)
                second = float(np.linalg.norm(leaves - arrives))
                best = min(best, first + second + 2.0 * circular * math.sin(0.5 * math.asin(abs(off))))
                # or along the track alone, and the tilt by itself
                alone = abs(speed - circular) + 2.0 * circular * math.sin(0.5 * math.acos(min(tilted @ pole, 1.0)))
                best = min(best, first + alone)
    return best


@pytest.mark.parametrize(
    ("inclination", "revolutions", "angle"), [(53.0, 30, 0.0), (75.0, 16, 200.0), (30.0, 12, 310.0)]
)
def test_no_place_to_begin_is_better(inclination: float, revolutions: int, angle: float) -> None:
    text = _text(inclination, revolutions, angle)
    result = _best(text)
    lead = math.remainder(math.radians(90.0 - angle), 2.0 * math.pi)
    least = _least_of_grid({"inclination": inclination}, lead, revolutions)
    assert result["proof"]["catalogue_bound"] <= least + SAME_M_S
    first = result["plans"][0]["craft"][0]
    assert len(first["burns"]) == 2
    assert all(abs(burn["cross_m_s"]) > 0.1 for burn in first["burns"])
    assert result["plans"][0]["delta_v_m_s"] <= least + 1.0  # as flown, secular rates are not all there is
    ended = fly_printed(text, result)
    assert ended
    for one in ended:
        assert one.miss_deg < OFF_DEG, one
        assert abs(one.off_plane_deg) < OFF_DEG, one


def test_the_burns_are_vector_sums() -> None:
    """Each burn by the law of cosines (Vallado 2013, section 6.5: combined change of speed and plane)."""
    result = _best(_text(53.0, 16, 0.0))
    for burn in result["plans"][0]["craft"][0]["burns"]:
        size = math.hypot(burn["radial_m_s"], burn["along_m_s"], burn["cross_m_s"])
        assert burn["delta_v_m_s"] == pytest.approx(size, abs=WRITTEN_M_S)
        circular = math.sqrt(GM / (RE + 400e3))
        before = circular if burn["time_s"] < 1e4 else circular - abs(burn["along_m_s"])
        along, across = before + burn["along_m_s"], burn["cross_m_s"]
        after, turn = math.hypot(along, across), math.atan2(across, along)
        law = math.sqrt(before**2 + after**2 - 2.0 * before * after * math.cos(turn))
        assert size == pytest.approx(law, rel=SQUARED_REL)


def test_a_tilt_left_on_purpose_stays_within_what_is_allowed() -> None:
    whole = _best(_text(53.0, 16, 0.0))
    last = whole["plans"][0]["delta_v_m_s"]
    for tolerance in (0.03, 0.08, 0.3):
        text = _text(53.0, 16, 0.0, ring=f"tilt_tolerance_deg = {tolerance}")
        result = _best(text)
        plan = result["plans"][0]
        assert plan["delta_v_m_s"] < last - 0.1
        last = plan["delta_v_m_s"]
        assert plan["craft"][0]["flown"]["plane_error_deg"] <= tolerance
        ended = fly_printed(text, result)
        assert ended
        for one in ended:
            assert one.miss_deg < OFF_DEG, one
            assert one.off_plane_deg <= tolerance + 1e-3, one


def test_the_price_of_a_tilt_is_what_a_plan_with_it_saves() -> None:
    result = planned(_text(53.0, 8, 0.0))
    [note] = [one for one in result["notes"] if "of tilt left on purpose" in one]
    tolerance, saves = float(note.split()[0]), float(note.split("would save ")[1].split()[0])
    other = _best(_text(53.0, 8, 0.0, ring=f"tilt_tolerance_deg = {tolerance}"))
    saved = result["plans"][0]["delta_v_m_s"] - other["plans"][0]["delta_v_m_s"]
    assert saves == pytest.approx(saved, abs=DIFFERENCE_M_S)


TOUCHES = """
title = "Dropped from a lower orbit"
body = {{ name = "earth" }}
ring = {{ altitude_km = 1200.0, slots = 3, inclination_deg = 50.0, node_deg = 10.0, slot0_deg = 0.0 }}
limits = {{ finish_within_d = 3.0, revolutions_max = 12 }}
[[craft]]
name = "Pear"
dry_mass_kg = 100.0
propellant_kg = 30.0
isp_s = 220.0
orbit = {{ periapsis_km = 800.0, apoapsis_km = 1200.0, angle_deg = {angle}, at = "apoapsis" }}
"""
WOBBLE_M_S = 5.0
"""A state measured at one place is off its mean plane by 3/4 J2 (Re/R)^2 sin i cos i at most, which is turned, too."""


@pytest.mark.parametrize("angle", [90.0, 45.0, 5.0])
def test_a_craft_that_touches_the_ring_turns_its_plane_in_burns_that_do_not_undo_one_another(angle: float) -> None:
    """At 90 deg the planes cross at the touch: once a burn there and one a minute before turned against each other."""
    text = TOUCHES.format(angle=angle)
    result = _best(text)
    plan = result["plans"][0]
    assert plan["delta_v_m_s"] == pytest.approx(result["proof"]["catalogue_bound"], abs=WOBBLE_M_S)
    ended = fly_printed(text, result)
    assert ended
    for one in ended:
        assert one.miss_deg < OFF_DEG, one
        assert abs(one.off_plane_deg) < OFF_DEG, one


@pytest.mark.parametrize(("along", "more"), [(200.0, 0.001), (20.0, 0.02), (2.0, 0.07), (0.1, 0.07)])
def test_sharing_a_turn_is_near_the_least_of_every_place_for_the_burn_apart(along: float, more: float) -> None:
    """Against a scan of places, half a degree apart, each solved for both parts; a few shares are tried, no more."""
    ring = problems(scenario_of(TOUCHES.format(angle=90.0)))[0].ring
    places = np.radians(np.arange(0.25, 360.0, 0.5))
    touch = np.radians(np.arange(0.0, 360.0, 7.0))
    away = np.sin(places - touch[:, None])
    for turn in (3e-4, 3e-3):
        apart, at_touch = turn * np.cos(touch)[:, None] / away, -turn * np.cos(places) / away
        least = np.min(np.hypot(along, ring.speed_m_s * at_touch) + ring.speed_m_s * np.abs(apart), axis=1)
        found = shared(ring, np.full(touch.size, along), np.full(touch.size, turn), touch).delta_v_m_s
        assert np.all(found >= least - SAME_M_S)
        assert np.all(found <= least * (1.0 + more))
