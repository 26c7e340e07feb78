"""Flights over the Moon and the Earth against a flight that shares no code with ours."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime

import erfa
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

from .full_flight import Sky, coefficients, constants, orientation, series

EPOCH = datetime(2031, 5, 1, tzinfo=UTC)
# 11 442.5 d of UTC since 2000-01-01 12:00, 37 s of leap seconds and 32.184 s
DAYS = 11_442.5 + 69.184 / 86_400.0


@pytest.mark.soak
def test_over_the_moon() -> None:
    """300 km up, 70 deg, degree 10, Earth and Sun, a day."""
    row = constants("moon")
    gm = row["gm_km3_s2"] * 1e9
    *pole, meridian = orientation(row, DAYS)
    spin = math.radians(13.17635815) / 86_400.0
    reference, rows = coefficients("moon", 10)
    sky = Sky(
        gm=gm,
        j2=2.0322e-4,
        j2_radius=1.738e6,
        c22=2.2382e-5,
        reference=reference,
        rows=rows,
        meridian=meridian,
        spin=spin,
        others=[
            (398600.43550702266e9, series((pole[0], pole[1]), DAYS, lambda d: -erfa.moon98(2451545.0, d)["p"])),
            (
                132712440041.27942e9,
                series(
                    (pole[0], pole[1]),
                    DAYS,
                    lambda d: -erfa.epv00(2451545.0, d)[0]["p"] - erfa.moon98(2451545.0, d)["p"],
                ),
            ),
        ],
    )
    radius, lean = 2.0374e6, math.radians(70.0)
    speed = math.sqrt(gm / radius)
    state = np.array([0.0, radius * math.cos(lean), radius * math.sin(lean), -speed, 0.0, 0.0])
    theirs = sky.fly(state, 86_400.0)

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
    gm, spin = 398600.43550702266e9, 2.0 * math.pi * 1.00273781191135448 / 86_400.0
    meridian = float(erfa.era00(2451545.0, DAYS - 69.184 / 86_400.0))
    turn = np.asarray(erfa.c2i06a(2451545.0, DAYS))
    au = 149_597_870_700.0
    reference, rows = coefficients("earth", 4)
    sky = Sky(
        gm=gm,
        j2=1.082626174e-3,
        j2_radius=6.3781363e6,
        c22=1.574615e-6,
        s22=-9.038729e-7,
        reference=reference,
        rows=rows,
        meridian=meridian,
        spin=spin,
        others=[
            (4902.8001184575496e9, lambda t: au * turn @ erfa.moon98(2451545.0, DAYS + t / 86_400.0)["p"]),
            (132712440041.27942e9, lambda t: -au * turn @ erfa.epv00(2451545.0, DAYS + t / 86_400.0)[0]["p"]),
        ],
        air=(400e3, 3.725e-12, 58.515e3, 6.3781366e6, 0.02),
    )
    radius, lean = 6.3781366e6 + 430e3, math.radians(52.0)
    speed = math.sqrt(gm / radius)
    state = np.array([radius, 0.0, 0.0, 0.0, speed * math.cos(lean), speed * math.sin(lean)])
    theirs = sky.fly(state, 2.0 * 86_400.0)
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
