"""What the forces of the flight do to orbits, against published rates and closed forms."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import iv

from ringwright.models import bodies
from ringwright.models.bodies import ASTRONOMICAL_UNIT_M
from ringwright.models.flight import ephemeris
from ringwright.models.flight.drag import Air
from ringwright.models.flight.ephemeris import Circle
from ringwright.models.flight.forces import Field, Term
from ringwright.models.flight.gravity import PointMass, gravity_around
from ringwright.models.flight.harmonics import UnevenField
from ringwright.models.flight.integrate import Flight, Itinerary, fly
from ringwright.models.flight.point_masses import PointPull
from ringwright.models.flight.sunlight import PRESSURE_PA, Sunlight
from ringwright.models.keeping import pole_drift_rad_year
from ringwright.models.scenario import Body
from ringwright.models.surroundings import AirLayer, Harmonic, Surface

Array = NDArray[np.float64]
DAY_S = 86_400.0
YEAR_S = 365.25 * DAY_S


def _at(name: str, epoch: datetime) -> Body:
    """A body as it is turned at an instant."""
    return replace(bodies.body(name), prime_meridian_rad=bodies.prime_meridian_rad(name, epoch))


def _circular(gm: float, radius_m: float, angle: float, inclination: float, days: float, **more: object) -> Itinerary:
    speed = math.sqrt(gm / radius_m)
    cos, sin = math.cos(angle), math.sin(angle)
    lean, rise = math.cos(inclination), math.sin(inclination)
    return Itinerary(
        start_s=0.0,
        position=radius_m * np.array([cos, sin * lean, sin * rise]),
        velocity=speed * np.array([-sin, cos * lean, cos * rise]),
        end_s=days * DAY_S,
        **more,  # type: ignore[arg-type]
    )


def _poles(flight: Flight, times: Array) -> Array:
    states = flight.states(times)
    poles = np.cross(states[:, :3], states[:, 3:])
    return np.asarray(poles / np.linalg.norm(poles, axis=1, keepdims=True))


def _eccentricity(flight: Flight, times: Array, gm: float) -> Array:
    states = flight.states(times)
    r, v = states[:, :3], states[:, 3:]
    return np.asarray(np.cross(v, np.cross(r, v)) / gm - r / np.linalg.norm(r, axis=1, keepdims=True))


def test_secular_drift_of_the_node_by_the_fourth_zonal() -> None:
    """15 J4 n cos i (8 - 14 sin^2 i) (Re / a)^4 / 32 for a circle (Vallado 2013, equation 9-41, its J4 term)."""
    earth = bodies.body("earth")
    radius_m, inclination, j4 = 8.0e6, math.radians(40.0), 1e-5
    field = UnevenField(
        gm=earth.gm, radius_m=earth.j2_radius_m, coefficients=(Harmonic(degree=4, order=0, cosine=-j4),)
    )
    [flight] = fly(
        [_circular(earth.gm, radius_m, 0.0, inclination, 1.0)], Field(near=PointMass(gm=earth.gm), terms=(field,))
    )
    n = math.sqrt(earth.gm / radius_m**3)
    turn = 2.0 * math.pi / n
    spread = np.linspace(0.0, turn, 64, endpoint=False)
    first, last = (_poles(flight, start + spread).mean(axis=0) for start in (0.0, 10.0 * turn))
    nodes = [math.atan2(pole[0], -pole[1]) for pole in (first, last)]
    said = 15.0 / 32.0 * j4 * (earth.j2_radius_m / radius_m) ** 4 * n * math.cos(inclination)
    said *= 8.0 - 14.0 * math.sin(inclination) ** 2
    assert (nodes[1] - nodes[0]) / (10.0 * turn) == pytest.approx(said, rel=1e-3)


def test_secular_growth_of_the_eccentricity_by_the_third_zonal() -> None:
    """A circle under J3 alone: e cos w grows at -3/2 J3 n (Re / a)^3 sin i (1 - 5/4 sin^2 i). Over J2, whose apsides
    turn at 3 J2 n (Re / a)^2 (1 - 5/4 sin^2 i), the two balance at e = -J3 / (2 J2) Re / a sin i, the frozen orbit
    (Cook 1966, Planet. Space Sci. 14, 433; Vallado 2013, section 11.4.2).
    """
    earth = bodies.body("earth")
    radius_m, inclination, j3 = 8.0e6, math.radians(70.0), -1e-5
    field = UnevenField(
        gm=earth.gm, radius_m=earth.j2_radius_m, coefficients=(Harmonic(degree=3, order=0, cosine=-j3),)
    )
    [flight] = fly(
        [_circular(earth.gm, radius_m, 0.0, inclination, 1.0)], Field(near=PointMass(gm=earth.gm), terms=(field,))
    )
    n, rise = math.sqrt(earth.gm / radius_m**3), math.sin(inclination)
    turn = 2.0 * math.pi / n
    spread = np.linspace(0.0, turn, 64, endpoint=False)
    first, last = (_eccentricity(flight, start + spread, earth.gm).mean(axis=0) for start in (0.0, 10.0 * turn))
    said = -1.5 * j3 * n * (earth.j2_radius_m / radius_m) ** 3 * rise * (1.0 - 1.25 * rise**2)
    assert (last - first)[0] / (10.0 * turn) == pytest.approx(said, rel=2e-3)
    assert np.abs(last - first)[1:].max() < 0.02 * abs((last - first)[0])


def _sky(name: str, epoch: datetime) -> tuple[Term, ...]:
    sun, moon = ephemeris.track(name, "sun", epoch), ephemeris.track(name, "moon", epoch)
    assert sun is not None
    assert moon is not None
    return (
        PointPull(name="Sun", gm=bodies.gm_of("sun"), path=sun),
        PointPull(name="Moon", gm=bodies.gm_of("moon"), path=moon),
    )


def _synchronous(body: Body) -> float:
    return float((body.gm / body.spin_rad_s**2) ** (1.0 / 3.0))


@pytest.mark.soak
@pytest.mark.parametrize(("year", "rate"), [(2025, 0.95), (2034, 0.75)])
def test_sun_and_moon_tilt_a_synchronous_orbit(year: int, rate: float) -> None:
    """0.75 to 0.95 deg a year, most when the Moon's orbit leans most from the equator (2025), least nine years later
    (Soop 1994, chapter 4; Vallado 2013, chapter 9; from memory)."""
    epoch = datetime(year, 1, 1, tzinfo=UTC)
    earth = _at("earth", epoch)
    field = Field(near=gravity_around(earth), terms=_sky("earth", epoch))
    item = _circular(earth.gm, _synchronous(earth), 0.0, 0.0, 366.0)
    [flight] = fly([item], field, relative=1e-6)
    pole = _poles(flight, np.array([YEAR_S]))[0]
    tilt = math.degrees(math.acos(pole[2]))
    assert tilt == pytest.approx(rate, abs=0.03)
    # the drift by which north-south keeping is counted: mean equations, on the equator throughout
    drift = math.degrees(pole_drift_rad_year(earth, field, _synchronous(earth), 0.0, YEAR_S))
    assert tilt == pytest.approx(drift, rel=0.01)
    # towards the March equinox: the orbit's pole leans there, its ascending node is at 90 deg (Soop)
    assert math.degrees(math.atan2(pole[0], -pole[1])) == pytest.approx(90.0, abs=15.0)


def test_drift_of_synchronous_craft_in_longitude() -> None:
    """Soop, Handbook of Geostationary Orbits (table of 1983, extrapolated there): deg/day^2, and none at 75 deg E."""
    earth = bodies.body("earth")
    uneven = UnevenField.of(earth, 8)
    assert uneven is not None
    places = [120.0, 30.0, -60.0, 75.0]
    # the bulge makes the circle of that rate wider by J2 (Re / a)^2 / 2 (from n^2 a^3 = GM (1 + 3/2 J2 (Re / a)^2))
    wide = _synchronous(earth)
    wide *= 1.0 + 0.5 * earth.j2 * (earth.j2_radius_m / wide) ** 2
    speed = wide * earth.spin_rad_s
    items = [
        Itinerary(
            start_s=0.0,
            position=wide * np.array([math.cos(east), math.sin(east), 0.0]),
            velocity=speed * np.array([-math.sin(east), math.cos(east), 0.0]),
            end_s=41.0 * DAY_S,
        )
        for east in np.radians(places)
    ]
    flights = fly(items, Field(near=gravity_around(earth), terms=(uneven,)), relative=1e-10)
    hours = 24
    times = earth.sidereal_day_s * np.arange(40 * hours) / hours
    found = []
    for flight in flights:
        states = flight.states(times)
        turned = np.unwrap(np.angle((states[:, 0] + 1j * states[:, 1]) * np.exp(-1j * earth.spin_rad_s * times)))
        daily = turned.reshape(-1, hours).mean(axis=1)
        found.append(math.degrees(2.0 * np.polyfit(times[::hours] / DAY_S, daily, 2)[0]))
    assert np.abs(found[:3]) == pytest.approx([1.99e-3, 1.77e-3, 1.42e-3], rel=0.06)
    # towards 75 deg E from either side, and from 60 deg W towards 105 deg W
    assert found[0] < 0.0 < found[1]
    assert found[2] < 0.0
    assert abs(found[3]) < 1e-4


@pytest.mark.soak
def test_libration_about_the_stable_longitude_of_mars() -> None:
    """About 130 d (J. Astronaut. Sci. 2009, on areostationary keeping; abstract; degree 2 alone 129 d)."""
    mars = bodies.body("mars")
    uneven = UnevenField.of(mars, 2)
    assert uneven is not None
    two = uneven.coefficients[0]
    long_axis = 0.5 * math.atan2(two.sine, two.cosine)
    wide = _synchronous(mars)
    wide *= 1.0 + 0.5 * mars.j2 * (mars.j2_radius_m / wide) ** 2
    # a quarter turn from the long axis, 3 deg off, where the pull of the axis itself is about the same as at rest
    east = long_axis + 0.5 * math.pi + math.radians(3.0)
    item = Itinerary(
        start_s=0.0,
        position=wide * np.array([math.cos(east), math.sin(east), 0.0]),
        velocity=wide * mars.spin_rad_s * np.array([-math.sin(east), math.cos(east), 0.0]),
        end_s=140.0 * DAY_S,
    )
    [flight] = fly([item], Field(near=gravity_around(mars), terms=(uneven,)), relative=1e-9)
    day = mars.sidereal_day_s
    times = np.arange(0.0, 135.0 * 24.0) * day / 24.0
    states = flight.states(times)
    off = np.unwrap(np.angle((states[:, 0] + 1j * states[:, 1]) * np.exp(-1j * (mars.spin_rad_s * times + east))))
    mean = np.convolve(off, np.full(24, 1.0 / 24.0), "valid")
    middle = 0.5 * (mean.max() + mean.min())
    crossings = np.flatnonzero(np.signbit(mean[:-1] - middle) != np.signbit(mean[1:] - middle))
    assert crossings.size >= 2
    half_s = (times[crossings[-1]] - times[crossings[0]]) / (crossings.size - 1)
    assert 2.0 * half_s / DAY_S == pytest.approx(130.0, rel=0.02)


@pytest.mark.parametrize("e", [0.0, 0.01, 0.03])
def test_decay_in_an_exponential_atmosphere(e: float) -> None:
    """Loss of the semi-major axis in a turn, air at rest (King-Hele, Satellite Orbits in an Atmosphere, 1987, chapter
    4): 2 pi delta a^2 rho_p exp(-c) (I0 + 2 e I1 + 3/4 e^2 (I0 + I2) + ...), c = a e / H; 2 pi delta a^2 rho for e = 0.
    """
    gm, lowest, scale, density, surface = 3.986e14, 6.678e6, 40e3, 2e-11, 0.02
    a = lowest / (1.0 - e)
    layer = AirLayer(altitude_m=300e3, density_kg_m3=density, scale_height_m=scale)
    air = Air(layers=(layer,), radius_m=6.378e6, spin_rad_s=0.0)
    speed = math.sqrt(gm / a * (1.0 + e) / (1.0 - e))
    item = Itinerary(
        start_s=0.0,
        position=np.array([lowest, 0.0, 0.0]),
        velocity=np.array([0.0, speed, 0.0]),
        end_s=2.0 * math.pi * math.sqrt(a**3 / gm),
        surface=Surface(drag_m2_kg=surface),
    )
    [flight] = fly([item], Field(near=PointMass(gm=gm), terms=(air,)))
    end = flight.end_state
    fallen = a - 1.0 / (2.0 / float(np.linalg.norm(end[:3])) - float(end[3:] @ end[3:]) / gm)
    c = a * e / scale
    i = [float(iv(k, c)) * math.exp(-c) for k in range(4)]
    series = i[0] + 2.0 * e * i[1] + 0.75 * e**2 * (i[0] + i[2]) + 0.25 * e**3 * (3.0 * i[1] + i[3])
    assert fallen == pytest.approx(2.0 * math.pi * surface * a**2 * density * series, rel=2e-3)


@pytest.mark.parametrize(
    ("altitude_km", "density"),
    # Vallado 2013, table 8-4 (values as printed in public programs)
    [(150.0, 2.070e-9), (200.0, 2.789e-10), (400.0, 3.725e-12), (600.0, 1.454e-13), (1000.0, 3.019e-15)],
)
def test_density_of_the_flown_air(altitude_km: float, density: float) -> None:
    air = Air.of(bodies.body("earth"), factor=2.0)
    assert air is not None
    assert air.density(np.array([altitude_km * 1e3]))[0] == pytest.approx(2.0 * density, rel=1e-9)


def test_sunlight_forces_an_eccentricity() -> None:
    """The eccentricity of a synchronous craft goes round a circle once a year, of radius 3 P sigma / (2 V n_s), 0.011
    for sigma = Cr A / m of 1 m^2/kg (Soop 1994, chapter 4, from memory): flown for a quarter of a year without shadow.
    """
    gm, radius_m, surface = 3.986004418e14, 42_164.17e3, 0.5
    rate = 2.0 * math.pi / YEAR_S
    light = Sunlight(sun=Circle(radius_m=ASTRONOMICAL_UNIT_M, rate_rad_s=rate), radius_m=1.0, cone=False)
    item = _circular(gm, radius_m, 0.0, 0.0, 92.0, surface=Surface(light_m2_kg=surface))
    [flight] = fly([item], Field(near=PointMass(gm=gm), terms=(light,)), relative=1e-8)
    turn = 2.0 * math.pi * math.sqrt(radius_m**3 / gm)
    times = 0.25 * YEAR_S + turn * (np.arange(64) / 64.0 - 0.5)
    forced = _eccentricity(flight, times, gm).mean(axis=0)
    circle = 1.5 * PRESSURE_PA * surface / (math.sqrt(gm / radius_m) * rate)
    assert circle == pytest.approx(0.011 * surface, rel=0.02)
    # the vector grows at right angles to the Sun, ahead of it: from 0 round a center on the x axis
    assert forced[:2] == pytest.approx([-circle, circle], rel=0.03)
