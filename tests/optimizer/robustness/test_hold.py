"""How long a ring holds, against the flight and against closed forms."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from ringwright.models.flight.gravity import gravity_around
from ringwright.models.flight.integrate import Itinerary, fly, measure
from ringwright.models.frames import in_plane_state
from ringwright.models.ring import Ring
from ringwright.models.scenario import Body
from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.robustness.hold import YEAR_S, Drift, rate_of, trim_m_s
from ringwright.reports.hold import hold_text
from ringwright.reports.result import result

from ...planned import scenario_of

GM, RADIUS_M = 3.986004418e14, 16_378_137.0
RING = Ring(radius_m=RADIUS_M, slots=4, rate_rad_s=math.sqrt(GM / RADIUS_M**3), slot0_rad=0.0, gm=GM)
FIRST_ORDER = 2e-3
"""The drift is of first order in dT / T, here 5e-4, twice over."""
TEXT = """
title = "Two hold"
[body]
name = "earth"
j2 = 0.0
[ring]
altitude_km = 10000.0
slots = 2
slot0_deg = 0.0
tolerance_deg = 0.4
{known}
[[ring.occupied]]
name = "Alder"
angle_deg = 0.1
slot = 0
[[craft]]
name = "Birch"
orbit = {{ altitude_km = 10000.0, angle_deg = 90.0 }}
"""


def test_the_drift_is_the_flights() -> None:
    """A craft is pushed by what should change its period by 10 s; the slot error grows at the rate that is said."""
    period_error_s = 10.0
    push = trim_m_s(RING, period_error_s)
    position, velocity = in_plane_state(RADIUS_M, 0.0, 0.0, RING.speed_m_s + push, 0.0, 0.0)
    turns = 20.0
    itinerary = Itinerary(start_s=0.0, position=position, velocity=velocity, end_s=(turns + 2.0) * RING.period_s)
    body = Body(name="Earth", gm=GM, radius_m=6_378_137.0, sidereal_day_s=86_164.1)
    (flight,) = fly([itinerary], gravity_around(body))
    first, last = (measure(flight, RING, 0, 0, from_s=t * RING.period_s) for t in (0.0, turns))
    assert first.period_error_s == pytest.approx(period_error_s, rel=FIRST_ORDER)
    grown = (last.slot_error_rad - first.slot_error_rad) / (turns * RING.period_s)
    assert grown == pytest.approx(rate_of(period_error_s, RING.period_s), rel=FIRST_ORDER)


def test_the_nearer_edge_is_reached_first() -> None:
    ahead = Drift(craft="Teal", error_rad=0.002, rate_rad_s=1e-9)
    assert ahead.leaves_s(0.01) == pytest.approx(8.0e6)
    assert ahead.leaves_s(0.01, doubt_rad_s=3e-9) == pytest.approx(2.0e6)
    still = replace(ahead, rate_rad_s=0.0)
    assert still.leaves_s(0.01) == math.inf
    assert replace(ahead, error_rad=0.02).leaves_s(0.01) == 0.0


def test_match_and_trims_by_hand() -> None:
    """0.3 deg of room for a year; a drift of one second of period crosses 0.8 deg between two trims of two seconds."""
    outcome = make_plan(scenario_of(TEXT.format(known="period_known_to_s = 1.0")))
    held = outcome.plans[0].hold
    assert held is not None
    period_s = outcome.ring.period_s
    assert held.craft == "Alder"
    assert held.known_s == pytest.approx(math.radians(0.3) / (2.0 * math.pi / period_s**2), rel=1e-6)
    assert held.match_s == pytest.approx(math.radians(0.3) / YEAR_S * period_s**2 / (2.0 * math.pi), rel=1e-6)
    between_s = math.radians(0.8) / (2.0 * math.pi / period_s**2)
    assert held.trim_m_s_year == pytest.approx(YEAR_S / between_s * trim_m_s(outcome.ring, 2.0), rel=1e-6)
    assert "With periods known to 1.0 s only" in hold_text(outcome, held)


def test_without_doubt_nothing_is_said_about_trims() -> None:
    outcome = make_plan(scenario_of(TEXT.format(known="hold_for_d = 30")))
    told = result(outcome)["plans"][0]["hold"]
    assert told["trim_m_s_year"] is None
    assert told["holds_with_doubt_s"] is None
    assert told["wanted_s"] == 30 * 86_400.0
