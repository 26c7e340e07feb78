"""Flights over the Moon and the Earth against a flight that shares no code with ours."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from ringwright.models import bodies
from ringwright.models.flight import ephemeris
from ringwright.models.flight.drag import Air
from ringwright.models.flight.forces import Field
from ringwright.models.flight.gravity import gravity_around
from ringwright.models.flight.harmonics import UnevenField
from ringwright.models.flight.integrate import Itinerary, fly
from ringwright.models.flight.point_masses import PointPull
from ringwright.models.surroundings import Surface
from ringwright.tests.tolerances import DAY_OF_FLIGHT_M, DRAGGED_M

from .held_flight import Array, Craft, World, around, onward

EPOCH = datetime(2031, 5, 1, tzinfo=UTC)
# 11 442.5 d of UTC since 2000-01-01 12:00, 37 s of leap seconds and 32.184 s
DAYS = 11_442.5 + 69.184 / 86_400.0


def flown(world: World, state: Array, seconds: float, drag: float = 0.0) -> Array:
    """State (6,) of a craft so long after a state."""
    one = Craft(start=0.0, state=state, burns=(), drag=drag, light=0.0, slot_angle=0.0)
    return np.asarray(onward(world, one, state, np.array([0.0, seconds]))[-1])


@pytest.mark.soak
def test_over_the_moon() -> None:
    """300 km up, 70 deg, degree 10, Earth and Sun, a day."""
    world = around("moon", DAYS, ("Earth", "Sun"), 10)
    # the values of `models/bodies.toml`, as their sources print them
    assert world.terms[:2] == [(2, 0, -2.0322e-4, 0.0, 1.738e6), (2, 2, 2.2382e-5, 0.0, 1.738e6)]
    assert world.spin == pytest.approx(math.radians(13.17635815) / 86_400.0)
    gm = world.gm
    radius, lean = 2.0374e6, math.radians(70.0)
    speed = math.sqrt(gm / radius)
    state = np.array([0.0, radius * math.cos(lean), radius * math.sin(lean), -speed, 0.0, 0.0])
    theirs = flown(world, state, 86_400.0)
    moon = replace(bodies.body("moon"), prime_meridian_rad=bodies.prime_meridian_rad("moon", EPOCH))
    uneven = UnevenField.of(moon, 10)
    earth, sun = ephemeris.track("moon", "earth", EPOCH), ephemeris.track("moon", "sun", EPOCH)
    assert uneven is not None
    assert earth is not None
    assert sun is not None
    terms = (
        uneven,
        PointPull(name="Earth", gm=bodies.gm_of("earth"), path=earth),
        PointPull(name="Sun", gm=bodies.gm_of("sun"), path=sun),
    )
    item = Itinerary(start_s=0.0, position=state[:3], velocity=state[3:], end_s=86_400.0)
    [flight] = fly([item], Field(near=gravity_around(moon), terms=terms))
    assert np.linalg.norm(flight.end_state[:3] - theirs[:3]) < DAY_OF_FLIGHT_M
    # what the forces did: without them the craft is elsewhere by kilometers
    [bare] = fly([item], gravity_around(moon))
    assert np.linalg.norm(bare.end_state[:3] - theirs[:3]) > 1e3


@pytest.mark.soak
def test_low_over_the_earth_with_drag() -> None:
    """440 km up, within one layer of the air, degree 4, Moon and Sun, two days."""
    world = around("earth", DAYS, ("Moon", "Sun", "drag"), 4)
    assert world.gm == 398600.43550702266e9
    assert (400e3, 3.725e-12, 58.515e3) in world.layers
    gm = world.gm
    radius, lean = 6.3781366e6 + 430e3, math.radians(52.0)
    speed = math.sqrt(gm / radius)
    state = np.array([radius, 0.0, 0.0, 0.0, speed * math.cos(lean), speed * math.sin(lean)])
    theirs = flown(world, state, 2.0 * 86_400.0, 0.02)
    earth = replace(bodies.body("earth"), prime_meridian_rad=bodies.prime_meridian_rad("earth", EPOCH))
    uneven, air = UnevenField.of(earth, 4), Air.of(earth)
    moon, sun = ephemeris.track("earth", "moon", EPOCH), ephemeris.track("earth", "sun", EPOCH)
    assert uneven is not None
    assert air is not None
    assert moon is not None
    assert sun is not None
    terms = (
        uneven,
        air,
        PointPull(name="Moon", gm=bodies.gm_of("moon"), path=moon),
        PointPull(name="Sun", gm=bodies.gm_of("sun"), path=sun),
    )
    surface = Surface(drag_m2_kg=0.02)
    item = Itinerary(start_s=0.0, position=state[:3], velocity=state[3:], end_s=2.0 * 86_400.0, surface=surface)
    [flight] = fly([item], Field(near=gravity_around(earth), terms=terms))
    assert np.linalg.norm(flight.end_state[:3] - theirs[:3]) < DRAGGED_M
