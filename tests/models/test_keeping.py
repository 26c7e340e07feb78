"""What keeping a ring costs, each closed form by another road."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ringwright.models import bodies
from ringwright.models.flight.drag import Air
from ringwright.models.flight.flown import Itinerary
from ringwright.models.flight.forces import Field
from ringwright.models.flight.gravity import PointMass
from ringwright.models.flight.integrate import fly
from ringwright.models.frames import in_plane_state
from ringwright.models.keeping import drag_m_s2, north_south_m_s_year, pole_drift_rad_year, stays_over_the_equator
from ringwright.models.ring import Ring
from ringwright.models.surroundings import AirLayer, Surface
from ringwright.models.synchronous import synchronous_radius_m
from ringwright.tests.tolerances import CHAIN_REL, FIRST_ORDER_REL, SQUARED_REL

GM, RADIUS = 398_600.4418e9, 6_778.137e3
LAYERS = (AirLayer(altitude_m=350e3, density_kg_m3=9.518e-12, scale_height_m=53_298.0),)


def _ring(inclination_deg: float) -> Ring:
    return Ring(
        radius_m=RADIUS,
        slots=3,
        rate_rad_s=math.sqrt(GM / RADIUS**3),
        slot0_rad=0.2,
        gm=GM,
        inclination_rad=math.radians(inclination_deg),
    )


def test_drag_in_still_air_by_the_decay_of_a_turn() -> None:
    """In an exponential atmosphere a circle sinks by 2 pi (Cd A / m) rho a^2 a turn (King-Hele 1987, chapter 4;
    Vallado 2013, section 9.6.2), which n / 2 of it a turn makes up for. Layer of 350 km of Vallado, table 8-4."""
    ring, ballistic = _ring(52.0), 0.022
    air = Air(layers=LAYERS, radius_m=6_378.137e3, spin_rad_s=0.0)
    density = 9.518e-12 * math.exp(-50e3 / 53_298.0)
    sinks_m = 2.0 * math.pi * ballistic * density * RADIUS**2
    [found] = drag_m_s2(air, ring, np.array([ballistic]))
    assert found * ring.period_s == pytest.approx(0.5 * ring.rate_rad_s * sinks_m, rel=CHAIN_REL)


@pytest.mark.parametrize("inclination_deg", [0.0, 52.0, 120.0])
def test_drag_in_air_that_turns_by_a_flight(inclination_deg: float) -> None:
    """The energy that a flight of five turns loses, v dv for each kilogram."""
    ring, ballistic, turns = _ring(inclination_deg), 0.022, 5.0
    air = Air(layers=LAYERS, radius_m=6_378.137e3, spin_rad_s=7.292115e-5)
    place, motion = in_plane_state(RADIUS, 0.0, 0.0, ring.speed_m_s, ring.inclination_rad, 0.0)
    end_s = turns * ring.period_s
    surface = Surface(drag_m2_kg=ballistic)
    item = Itinerary(start_s=0.0, position=place, velocity=motion, end_s=end_s, surface=surface)
    [flight] = fly([item], Field(near=PointMass(gm=GM), terms=(air,)))
    states = flight.states(np.array([0.0, end_s]))
    energy = 0.5 * np.sum(states[:, 3:] ** 2, axis=1) - GM / np.linalg.norm(states[:, :3], axis=1)
    lost_m_s = float(energy[0] - energy[1]) / ring.speed_m_s
    [found] = drag_m_s2(air, ring, np.array([ballistic]))
    # it sinks by 500 m meanwhile, into air that is denser by a hundredth
    assert found * end_s == pytest.approx(lost_m_s, rel=FIRST_ORDER_REL)


def test_a_dead_band_costs_what_small_angles_say() -> None:
    """v times the drift, whatever the band: each burn turns the velocity by twice the band."""
    drift = math.radians(0.8)
    for band_deg in (0.05, 1.0):
        cost = north_south_m_s_year(3_074.66, drift, math.radians(band_deg))
        assert cost == pytest.approx(3_074.66 * drift, rel=SQUARED_REL)


def test_which_rings_keep_step_over_the_equator() -> None:
    earth = bodies.body("earth")
    radius = synchronous_radius_m(earth)
    still = Ring(radius_m=radius, slots=1, rate_rad_s=earth.spin_rad_s, slot0_rad=0.0, gm=earth.gm)
    assert stays_over_the_equator(earth, still)
    assert not stays_over_the_equator(earth, _ring(0.0))
    leaning = Ring(
        radius_m=radius, slots=1, rate_rad_s=earth.spin_rad_s, slot0_rad=0.0, gm=earth.gm, inclination_rad=0.1
    )
    assert not stays_over_the_equator(earth, leaning)


def test_no_other_body_turns_no_plane() -> None:
    earth = bodies.body("earth")
    assert pole_drift_rad_year(earth, Field(near=PointMass(gm=earth.gm)), 42_164e3, 0.0, 1.0) == 0.0
