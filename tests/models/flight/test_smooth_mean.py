"""Smooth means over a window: what a swing leaves in them, and what an even circle reads."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ringwright.models.flight.flown import Itinerary
from ringwright.models.flight.gravity import PointMass
from ringwright.models.flight.integrate import fly
from ringwright.models.flight.smooth_mean import TURNS, measure_smoothly, window, window_s
from ringwright.models.frames import in_plane_state
from ringwright.models.ring import Ring
from ringwright.tests.tolerances import FIRST_ORDER_REL, FLOWN_REL, HALF_DEG, TWO_REACHED_RAD

GM = 9120.5e9
RING = Ring(radius_m=1.9e6, slots=3, rate_rad_s=math.sqrt(GM / 1.9e6**3), slot0_rad=0.3, gm=GM, inclination_rad=0.5)


@pytest.mark.parametrize("cycles", [5.3, 7.9, 8.0, 14.1, 16.0, 30.7])
def test_what_a_swing_leaves(cycles: float) -> None:
    """Against the bounds stated in the module, for any phase of a swing of so many cycles in the window."""
    times, weights = window(RING, 0.0)
    x = 2.0 * times / window_s(RING) - 1.0
    wave = np.exp(1j * np.pi * cycles * x)
    level_bound, slope_bound = 2.0 / cycles**5, 20.0 / cycles**5
    assert abs(weights @ wave) < level_bound
    assert abs(weights @ (x * wave)) / (weights @ x**2) < slope_bound


def test_an_oval_orbit_a_little_too_slow() -> None:
    """A two-body orbit of a period longer by a thousandth: mean angle and rate are those of its mean anomaly."""
    slower, eccentricity = 1.001, 2e-3
    size = RING.radius_m * slower ** (2.0 / 3.0)
    start = 0.3 + 2.0 * math.pi / 3.0
    # at its periapsis in slot 1
    low = size * (1.0 - eccentricity)
    speed = math.sqrt(GM * (2.0 / low - 1.0 / size))
    position, velocity = in_plane_state(low, start, 0.0, speed, 0.5, 0.0)
    span = window_s(RING)
    [flight] = fly([Itinerary(start_s=0.0, position=position, velocity=velocity, end_s=span)], PointMass(gm=GM))
    seen = measure_smoothly(flight, RING, 0, 1, 0.0)
    rate = RING.rate_rad_s / slower
    assert seen.slot_error_rad == pytest.approx((rate - RING.rate_rad_s) * 0.5 * span, abs=TWO_REACHED_RAD)
    assert seen.period_error_s == pytest.approx(0.001 * RING.period_s, abs=FLOWN_REL * RING.period_s)
    assert math.hypot(*seen.eccentricity) == pytest.approx(eccentricity, rel=FIRST_ORDER_REL)
    assert math.degrees(math.atan2(seen.eccentricity[1], seen.eccentricity[0])) == pytest.approx(
        math.degrees(start), abs=HALF_DEG
    )
    assert seen.plane_error_rad < 1e-9
    assert TURNS >= 8
