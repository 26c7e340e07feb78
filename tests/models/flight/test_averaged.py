"""Mean orbits over years, against closed forms and against direct flights."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import trapezoid

from ringwright.models import bodies
from ringwright.models.flight.averaged import AveragedForces, MeanOrbits, in_step
from ringwright.models.flight.drag import Air
from ringwright.models.flight.ephemeris import Circle, track
from ringwright.models.flight.follow import Track, follow
from ringwright.models.flight.forces import Field, Surfaces, Term
from ringwright.models.flight.gravity import gravity_around
from ringwright.models.flight.harmonics import UnevenField
from ringwright.models.flight.point_masses import PointPull
from ringwright.models.flight.shadow_work import shadow_work
from ringwright.models.flight.sunlight import Sunlight
from ringwright.models.flight.zonals import Zonals
from ringwright.models.frames import in_plane_state, plane_axes
from ringwright.models.oblateness import secular_rates
from ringwright.models.scenario import Body
from ringwright.models.surroundings import AirLayer
from ringwright.tests.tolerances import (
    AND_BACK_RAD,
    CENTIMETER_M,
    EXACT,
    FIVE_DIGITS_REL,
    FLOAT_M_S2,
    FOUR_DAYS_D,
    FOUR_DECIMALS,
    SHADOW_REL,
    SQUARED_REL,
    TENTH_DEG,
    TWO_SQUARED_REL,
)

Array = NDArray[np.float64]
DAY_S, YEAR_S = 86_400.0, 365.25 * 86_400.0
EPOCH = datetime(2031, 5, 1, tzinfo=UTC)


def _orbits(body: Body, radius_m: float, inclination: float, angles: Array, node: float = 0.0) -> MeanOrbits:
    place, motion = in_plane_state(radius_m, angles, 0.0, math.sqrt(body.gm / radius_m), inclination, node)
    states = [np.concatenate([r, v])[np.newaxis] for r, v in zip(place, motion, strict=True)]
    found = MeanOrbits.of(states, np.ones(1), body.gm)
    return found.placed(angles, plane_axes(inclination, np.full(angles.size, node)))


def _flown(body: Body, start: MeanOrbits, days: float, *terms: Term, drag_m2_kg: float = 0.0) -> Track:
    forces = AveragedForces.of(body, Field(near=gravity_around(body), terms=terms), float(start.semi_major_m[0]))
    spread = np.full(start.semi_major_m.size, drag_m2_kg)
    return follow(forces, start, Surfaces(spread, 0.0 * spread), 0.0, days * DAY_S)


def _node(pole: Array) -> Array:
    return np.unwrap(np.arctan2(pole[:, 0], -pole[:, 1]), axis=0)


@pytest.mark.parametrize("inclination", [0.3, 1.2, 2.4])
def test_the_bulge_turns_node_and_periapsis_at_secular_rates(inclination: float) -> None:
    """Vallado 2013, equations 9-37, 9-39 and 9-41, on an orbit of eccentricity 0.2."""
    earth = bodies.body("earth")
    a, e = 9.0e6, 0.2
    low = a * (1.0 - e)
    speed = math.sqrt(earth.gm * (2.0 / low - 1.0 / a))
    place, motion = in_plane_state(low, 0.7, 0.0, speed, inclination, 0.4)
    start = MeanOrbits.of([np.concatenate([place, motion])[np.newaxis]], np.ones(1), earth.gm)
    found = _flown(earth, start, 10.0)
    wanted = secular_rates(earth, a, e, inclination)
    elapsed = found.times_s[-1]
    node = _node(found.rows[:, 4:7, 0])
    assert node[-1] - node[0] == pytest.approx(float(wanted.node_rad_s) * elapsed, rel=FIVE_DIGITS_REL)
    assert found.rows[-1, 0, 0] == pytest.approx(a, abs=FOUR_DECIMALS)
    shape, pole = found.rows[:, 1:4, 0], found.rows[:, 4:7, 0]
    first = np.stack([np.cos(node), np.sin(node), 0.0 * node], axis=1)
    second = np.cross(pole, first)
    apsis = np.unwrap(np.arctan2(np.sum(shape * second, axis=1), np.sum(shape * first, axis=1)))
    assert apsis[-1] - apsis[0] == pytest.approx(float(wanted.periapsis_rad_s) * elapsed, rel=SQUARED_REL)


def test_zonals_are_the_zonal_part_of_the_field() -> None:
    moon = bodies.body("moon")
    zonal = [one for one in moon.harmonics if one.order == 0 and one.degree > 2]
    uneven = UnevenField(gm=moon.gm, radius_m=moon.j2_radius_m, coefficients=tuple(zonal))
    place = np.random.default_rng(4).normal(size=(3, 40))
    place *= 1.9e6 / np.linalg.norm(place, axis=0)
    nothing = np.zeros(40)
    far = uneven.acceleration(nothing, place, place, Surfaces(nothing, nothing))
    far += gravity_around(moon).acceleration(place) + moon.gm * place / 1.9e6**3
    assert np.allclose(Zonals.of(moon, 10).acceleration(place), far, rtol=0.0, atol=FLOAT_M_S2)


def test_sun_and_moon_tilt_a_synchronous_orbit() -> None:
    """0.75 to 0.95 deg a year (Soop 1994, chapter 3; from memory), least and most with the Moon's node (18.6 years)."""
    earth = bodies.body("earth")
    for year in (2015, 2025):
        pulls = []
        for name in ("sun", "moon"):
            path = track("earth", name, datetime(year, 3, 20, tzinfo=UTC))
            assert path is not None
            pulls.append(PointPull(name=name, gm=bodies.gm_of(name), path=path))
        found = _flown(earth, _orbits(earth, 42_164.2e3, 1e-4, np.zeros(1)), 365.25, *pulls)
        assert 0.74 < math.degrees(math.acos(found.rows[-1, 6, 0])) < 0.96


def test_decay_in_an_even_layer() -> None:
    """da / dt = -rho B sqrt(GM a) on a circle (King-Hele 1987, chapter 4), air at rest and of one scale height."""
    earth = bodies.body("earth")
    layer = AirLayer(altitude_m=400e3, density_kg_m3=4e-12, scale_height_m=60e3)
    air = Air(layers=(layer,), radius_m=earth.radius_m, spin_rad_s=0.0)
    begin = earth.radius_m + 400e3
    found = _flown(earth, _orbits(earth, begin, 0.9, np.zeros(1)), 40.0, air, drag_m2_kg=0.022)
    # along a circle that sinks, by the closed form of an exponential: time = integral of da / (rho B sqrt(GM a))
    radii = np.linspace(float(found.rows[-1, 0, 0]), begin, 2001)
    # the air is met at mean radii R: a = R (1 - 3/4 J2 (Re / R)^2 (1 - 3 cos^2 i)), Brouwer 1959
    met = radii / (1.0 - 0.75 * earth.j2 * (earth.j2_radius_m / radii) ** 2 * (1.0 - 3.0 * math.cos(0.9) ** 2))
    density = 4e-12 * np.exp((begin - met) / 60e3)
    took = float(trapezoid(1.0 / (density * 0.022 * np.sqrt(earth.gm * radii)), radii))
    assert begin - radii[0] > 5e3
    assert took == pytest.approx(found.times_s[-1], rel=TWO_SQUARED_REL)


def test_libration_about_the_stable_longitude_of_mars() -> None:
    """Some 130 d (J. Astronaut. Sci. 2009, on keeping of synchronous Mars orbits; abstract)."""
    mars = bodies.body("mars")
    radius = (mars.gm / mars.spin_rad_s**2) ** (1.0 / 3.0)
    uneven = UnevenField.of(mars, 2)
    assert uneven is not None
    [sectoral] = uneven.coefficients
    # the long axes of the equator are unstable, the short ones stable (Soop 1994, chapter 4)
    stable = 0.5 * math.atan2(sectoral.sine, sectoral.cosine) + 0.5 * math.pi
    round_mars = Body(name="own", gm=mars.gm, radius_m=mars.radius_m, sidereal_day_s=mars.sidereal_day_s)
    angle = mars.prime_meridian_rad + stable + math.radians(3.0)
    found = _flown(round_mars, _orbits(round_mars, radius, 1e-9, np.array([angle])), 250.0, uneven)
    gap = found.rows[:, 10, 0] - found.rows[0, 10, 0] - mars.spin_rad_s * found.times_s
    # beginning at rest it comes back after whole periods
    turns = np.flatnonzero((gap[1:-1] > gap[:-2]) & (gap[1:-1] >= gap[2:])) + 1
    assert -math.degrees(gap.min()) == pytest.approx(6.0, abs=TENTH_DEG)
    assert found.times_s[turns[0]] / DAY_S == pytest.approx(130.0, abs=FOUR_DAYS_D)


def test_in_step_with_the_ground() -> None:
    earth = bodies.body("earth")
    spin = earth.spin_rad_s
    assert in_step(earth, spin, 4) == 1
    assert in_step(earth, 2.003 * spin, 4) == 2
    assert in_step(earth, 1.5 * spin, 4) == 3
    assert in_step(earth, 2.3 * spin, 4) == 0
    assert in_step(earth, 15.5 * spin, 8) == 0


def test_a_craft_that_comes_down_ends_it() -> None:
    earth = bodies.body("earth")
    air = Air.of(earth)
    assert air is not None
    start = _orbits(earth, earth.radius_m + 300e3, 0.9, np.array([0.0, 2.0]))
    forces = AveragedForces.of(earth, Field(near=gravity_around(earth), terms=(air,)), earth.radius_m + 300e3)
    found = follow(forces, start, Surfaces(np.array([0.02, 0.04]), np.zeros(2)), 0.0, YEAR_S)
    assert found.down == 1
    assert found.times_s[-1] < 0.2 * YEAR_S
    assert found.at(-1).periapsis_m[1] < earth.radius_m + earth.atmosphere_top_m < found.at(-1).periapsis_m[0]


def test_there_and_back() -> None:
    """Steps are good to far less than a meter."""
    moon = bodies.body("moon")
    path = track("moon", "earth", EPOCH)
    assert path is not None
    pull = PointPull(name="Earth", gm=bodies.gm_of("earth"), path=path)
    forces = AveragedForces.of(moon, Field(near=gravity_around(moon), terms=(pull,)), 3.7e6)
    start = _orbits(moon, 3.7e6, 0.4, np.array([0.0, 1.0]))
    nothing = Surfaces(np.zeros(2), np.zeros(2))
    there = follow(forces, start, nothing, 0.0, 60.0 * DAY_S)
    back = follow(forces, there.at(-1), nothing, 60.0 * DAY_S, 0.0)
    assert np.allclose(back.rows[-1, 0], there.rows[0, 0], rtol=0.0, atol=CENTIMETER_M)
    assert np.allclose(back.rows[-1, 10], there.rows[0, 10], rtol=0.0, atol=AND_BACK_RAD)


def test_work_of_light_by_the_edges_of_the_shadow() -> None:
    """An oval orbit, its periapsis aside of the Sun's line, against a sum over 200 000 points; none on a circle."""
    moon = bodies.body("moon")
    sun = Circle(radius_m=1.5e11, rate_rad_s=0.0)
    light = Sunlight(sun=sun, radius_m=moon.radius_m, cone=False)
    a, e, surfaces = 3.7e6, 0.1, Surfaces(np.zeros(2), np.array([0.01, 0.01]))
    size, tilt = np.array([0.0, e]), 0.2

    def place(around: Array) -> Array:
        # ovals with their periapsis along y, in a plane tilted about y
        level, up = a * np.sqrt(1.0 - size**2) * np.sin(around), a * (np.cos(around) - size)
        return np.stack([-level * math.cos(tilt), up, level * math.sin(tilt)])

    found = shadow_work(light, 0.0, place, surfaces)
    around = np.linspace(0.0, 2.0 * math.pi, 200_001)
    r = place(np.repeat(0.5 * (around[1:] + around[:-1])[:, np.newaxis], 2, axis=1))
    steps = np.diff(place(np.repeat(around[:, np.newaxis], 2, axis=1)), axis=1)
    spread = Surfaces(np.zeros(r[0].size), np.full(r[0].size, 0.01))
    push = light.acceleration(np.zeros(1), r.reshape(3, -1), r.reshape(3, -1), spread).reshape(r.shape)
    wanted = np.einsum("ikn,ikn->n", push, steps)
    scale = light.push_m_s2(1.5e11) * 0.01 * a
    assert np.abs(found[0]) < EXACT * scale
    assert abs(wanted[1]) > 0.02 * scale
    assert found[1] == pytest.approx(float(wanted[1]), abs=SHADOW_REL * scale)
