"""Trims by a forecast: they keep the band, cost what the closed form says, and are none where none is needed."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from ringwright.models import bodies
from ringwright.models.flight.flown import Impulse, Itinerary
from ringwright.models.flight.forces import Field, Surfaces
from ringwright.models.flight.gravity import PointMass
from ringwright.models.flight.harmonics import UnevenField
from ringwright.models.flight.integrate import fly
from ringwright.models.ring import Ring
from ringwright.models.synchronous import drift_rad_s2
from ringwright.optimizer.robustness.trims import east_west, schedule, yearly_m_s
from ringwright.tests.tolerances import BOTH_ENDS, FLOWN_REL, LEADING_REL, ROADS_REL, SIX_DECIMALS

YEAR_S = 365.25 * 86_400.0
GM, RADIUS = 398_600.4418e9, 42_164.17e3
RING = Ring(radius_m=RADIUS, slots=4, rate_rad_s=math.sqrt(GM / RADIUS**3), slot0_rad=0.0, gm=GM)
TIMES = np.linspace(0.0, 5.0 * YEAR_S, 3001)


@pytest.mark.parametrize(("deg_d2", "m_s_year"), [(1.99e-3, 2.06), (1.77e-3, 1.84), (1.42e-3, 1.47)])
def test_east_west_keeping_of_a_synchronous_orbit(deg_d2: float, m_s_year: float) -> None:
    """A steady acceleration in longitude costs 2.06, 1.84 and 1.47 m/s a year (Soop 1983, table of longitudes).

    In a band of 0.1 deg either way parabolas of drift last 4 sqrt(band / acceleration) (Soop 1994, chapter 7).
    """
    bend = math.radians(deg_d2) / 86_400.0**2
    band = math.radians(0.1)
    trims, left = schedule("Teal", RING, TIMES, 0.5 * bend * TIMES**2, band)
    assert np.max(np.abs(left)) <= band * (1.0 + ROADS_REL)
    cycle = 4.0 * math.sqrt(band / bend)
    assert len(trims) == pytest.approx(5.0 * YEAR_S / cycle, abs=BOTH_ENDS)
    assert yearly_m_s(trims, 5.0 * YEAR_S) == pytest.approx(m_s_year, rel=LEADING_REL)
    # it speeds up along its track, so that its orbit is to be raised
    assert all(one.along_m_s > 0.0 for one in trims)


def test_a_flight_with_its_trims_keeps_its_longitude() -> None:
    """Over Mars, under its field of second degree, for two cycles; without trims it goes off to ten times as far."""
    mars = bodies.body("mars")
    uneven = UnevenField.of(mars, 2)
    assert uneven is not None
    spin, east = mars.spin_rad_s, math.radians(40.0)
    radius = (mars.gm / spin**2) ** (1.0 / 3.0)
    ring = Ring(radius_m=radius, slots=1, rate_rad_s=spin, slot0_rad=0.0, gm=mars.gm)
    drift = drift_rad_s2(uneven, radius, np.array([east]))
    band = math.radians(0.25)
    end = 7.0 * math.sqrt(band / float(np.abs(drift[0])))
    _, _, trims = east_west(["Teal"], ring, drift, np.zeros(1), 0.0, end, band)
    angle = uneven.meridian_rad + east
    ahead = np.array([-math.sin(angle), math.cos(angle), 0.0])
    out = np.array([math.cos(angle), math.sin(angle), 0.0])
    # the same field pulls outward there, too, which changes the circle that stands still over the ground
    none = Surfaces(np.zeros(1), np.zeros(1))
    extra = uneven.acceleration(np.zeros(1), radius * out[:, np.newaxis], np.zeros((3, 1)), none)[:, 0]
    start = ((mars.gm - float(extra @ out) * radius**2) / spin**2) ** (1.0 / 3.0)
    bare = Itinerary(
        start_s=0.0,
        position=start * out,
        velocity=start * spin * ahead,
        end_s=end,
    )
    burns = tuple(Impulse(one.time_s, 0.0, one.along_m_s) for one in trims)
    field = Field(near=PointMass(gm=mars.gm), terms=(uneven,))
    turn = 48
    times = np.arange(0.0, end, mars.sidereal_day_s / turn)
    worst = []
    for flight in fly([bare, replace(bare, impulses=burns)], field):
        states = flight.states(times)
        off = np.arctan2(states[:, 1], states[:, 0]) - spin * times - angle
        # means over a turn: a trim leaves an orbit a little oval, which swings the craft once a turn
        off = np.convolve(np.unwrap(np.angle(np.exp(1j * off))), np.full(turn, 1.0 / turn), "valid")
        worst.append(float(np.max(np.abs(off))))
    assert worst[1] < 1.2 * band
    assert worst[0] > 10.0 * band


def test_a_wrong_rate_is_trimmed_once() -> None:
    """dv = v dn / (3 n): Kepler's third law and vis-viva."""
    drift = 1e-9
    [trim], left = schedule("Teal", RING, TIMES, drift * TIMES, 1e-4)
    assert trim.time_s == 0.0
    # the line that stays in the middle of what the band allows
    assert trim.along_m_s == pytest.approx(drift * RING.speed_m_s / (3.0 * RING.rate_rad_s), rel=FLOWN_REL)
    assert np.max(np.abs(left)) < SIX_DECIMALS


def test_what_stays_in_the_band_is_left_alone() -> None:
    swing = 0.9e-4 * np.sin(2.0 * math.pi * TIMES / YEAR_S)
    trims, left = schedule("Teal", RING, TIMES, swing, 1e-4)
    assert trims == ()
    assert np.array_equal(left, swing)


def test_what_is_outside_at_first_is_brought_in() -> None:
    trims, left = schedule("Teal", RING, TIMES, np.full(TIMES.size, 3e-4), 1e-4)
    assert len(trims) >= 1
    assert abs(left[-1]) <= 1e-4 * (1.0 + ROADS_REL)
