"""Each force against its formula written out another way, and in the flight."""

from __future__ import annotations

import functools
import math
from datetime import UTC, datetime

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import lpmv

from ringwright.models import bodies
from ringwright.models.fields import unnormalized
from ringwright.models.flight import ephemeris
from ringwright.models.flight.drag import Air
from ringwright.models.flight.forces import Field, Surfaces
from ringwright.models.flight.gravity import PointMass, gravity_around
from ringwright.models.flight.harmonics import UnevenField
from ringwright.models.flight.integrate import FiniteThrust, Impulse, Itinerary, fly
from ringwright.models.flight.point_masses import PointPull
from ringwright.models.flight.sunlight import PRESSURE_PA, SUN_RADIUS_M, Sunlight
from ringwright.models.surroundings import AirLayer, Harmonic, Surface
from ringwright.tests.tolerances import (
    CENTIMETER_M,
    CHAIN_REL,
    FLOWN_REL,
    HARMONIC_REL,
    METER_M,
    ROADS_REL,
    SLOPE_OF_REL,
    SQUARED_REL,
    STEP_REL,
    TWO_DECIMALS,
)

Array = NDArray[np.float64]
RNG = np.random.default_rng(7)
NOTHING = Surfaces(np.zeros(1), np.zeros(1))
EPOCH = datetime(2031, 5, 1, tzinfo=UTC)


def _potential(field: UnevenField, place: Array) -> float:
    """The sum of the definition (Vallado 2013, equation 8-19), with scipy's Legendre functions."""
    x, y, z = place
    r = float(np.linalg.norm(place))
    longitude = math.atan2(y, x)
    total = 0.0
    for one in field.coefficients:
        n, m = one.degree, one.order
        # scipy's carry the sign (-1)^m of Condon and Shortley, geodesy's do not
        value = float(lpmv(m, n, z / r)) * (-1.0) ** m
        wave = one.cosine * math.cos(m * longitude) + one.sine * math.sin(m * longitude)
        total += (field.radius_m / r) ** n * value * wave
    return field.gm / r * total


@pytest.mark.parametrize("name", ["earth", "moon", "mars", "jupiter", "titan"])
def test_uneven_field_is_the_gradient_of_its_potential(name: str) -> None:
    field = UnevenField.of(bodies.body(name), 10)
    assert field is not None
    for _ in range(4):
        way = RNG.normal(size=3)
        place = way / np.linalg.norm(way) * field.radius_m * RNG.uniform(1.05, 2.0)
        step = 1e-4 * field.radius_m
        # central differences of fourth order
        parts = [
            sum(w * _potential(field, place + k * step * axis) for k, w in ((1, 8), (-1, -8), (2, -1), (-2, 1)))
            / (12.0 * step)
            for axis in np.eye(3)
        ]
        still = UnevenField(gm=field.gm, radius_m=field.radius_m, coefficients=field.coefficients)
        found = still.acceleration(np.zeros(1), place[:, np.newaxis], np.zeros((3, 1)), NOTHING)[:, 0]
        assert np.linalg.norm(found - parts) < SLOPE_OF_REL * np.linalg.norm(parts)


def test_uneven_field_turns_with_the_body() -> None:
    field = UnevenField(
        gm=4e14,
        radius_m=6.4e6,
        coefficients=(Harmonic(degree=3, order=1, cosine=2e-6, sine=1e-6),),
        meridian_rad=0.3,
        spin_rad_s=7e-5,
    )
    time, turn = 5000.0, 0.3 + 7e-5 * 5000.0
    turned = np.array([[math.cos(turn), -math.sin(turn), 0.0], [math.sin(turn), math.cos(turn), 0.0], [0.0, 0.0, 1.0]])
    place = np.array([5e6, -4e6, 3e6])
    still = UnevenField(gm=4e14, radius_m=6.4e6, coefficients=field.coefficients)
    there = field.acceleration(np.array([time]), (turned @ place)[:, np.newaxis], np.zeros((3, 1)), NOTHING)[:, 0]
    here = still.acceleration(np.zeros(1), place[:, np.newaxis], np.zeros((3, 1)), NOTHING)[:, 0]
    assert np.linalg.norm(there - turned @ here) < CHAIN_REL * np.linalg.norm(here)


def test_a_second_zonal_among_the_harmonics_is_the_bulge() -> None:
    earth = bodies.body("earth")
    field = UnevenField(
        gm=earth.gm, radius_m=earth.j2_radius_m, coefficients=(Harmonic(degree=2, order=0, cosine=-earth.j2),)
    )
    places = RNG.normal(size=(3, 5)) * 5e6
    bulge = gravity_around(earth).acceleration(places) - PointMass(gm=earth.gm).acceleration(places)
    found = field.acceleration(np.zeros(5), places, np.zeros((3, 5)), NOTHING)
    assert np.abs(found - bulge).max() < HARMONIC_REL * np.abs(bulge).max()


def test_known_fields() -> None:
    """Unnormalized J3 and J4 of the Earth: -2.532e-6 and -1.620e-6 (Vallado 2013, table D-1, for EGM-08)."""
    zonal = {one.degree: -one.cosine for one in bodies.body("earth").harmonics if one.order == 0}
    assert zonal[3] == pytest.approx(-2.5326e-6, rel=SQUARED_REL)
    assert zonal[4] == pytest.approx(-1.6196e-6, rel=SQUARED_REL)
    moon = next(one for one in bodies.body("moon").harmonics if (one.degree, one.order) == (3, 1))
    # GRAIL: 2.634e-5 normalized (Konopliv et al. 2013, from memory)
    assert moon.cosine / unnormalized(3, 1) == pytest.approx(2.634e-5, rel=SQUARED_REL)


def test_point_pull_is_the_difference_of_two_attractions() -> None:
    there = np.array([3.8e8, 5e7, -2e7])

    class Still:
        def position(self, time_s: Array) -> Array:
            return np.repeat(there[:, np.newaxis], np.size(time_s), axis=1)

    places = RNG.normal(size=(3, 6)) * 4e7
    found = PointPull(name="Moon", gm=4.9e12, path=Still()).acceleration(np.zeros(6), places, np.zeros((3, 6)), NOTHING)
    away = there[:, np.newaxis] - places
    plain = 4.9e12 * (away / np.linalg.norm(away, axis=0) ** 3 - (there / np.linalg.norm(there) ** 3)[:, np.newaxis])
    assert np.abs(found - plain).max() < ROADS_REL * np.abs(plain).max()


def test_tracks_keep_to_their_series() -> None:
    """Polynomials add less than is said of them, between their nodes and across spans."""
    sun, moon = ephemeris.sun_from_earth, ephemeris.moon_from_earth
    for center, target, series in (
        ("earth", "moon", moon),
        ("earth", "sun", sun),
        ("mars", "sun", functools.partial(ephemeris.sun_from_planet, "mars")),
        ("moon", "earth", lambda days: -moon(days)),
        ("moon", "sun", lambda days: sun(days) - moon(days)),
    ):
        track = ephemeris.track(center, target, EPOCH)
        assert track is not None
        days = RNG.uniform(-20.0, 400.0, 200)
        plain = ephemeris.base_axes(center, EPOCH) @ series(bodies.terrestrial_days(EPOCH) + days).T
        assert np.linalg.norm(track.position(days * 86_400.0) - plain, axis=0).max() < METER_M


def test_air_turns_with_the_body() -> None:
    """A craft that goes along with the air feels none; one that stands still is blown along by it."""
    air = Air(
        layers=(AirLayer(altitude_m=0.0, density_kg_m3=1e-9, scale_height_m=50e3),), radius_m=6e6, spin_rad_s=7e-5
    )
    place = np.array([[6.1e6], [0.0], [0.0]])
    surface = Surfaces(np.array([0.02]), np.zeros(1))
    along = np.array([[0.0], [7e-5 * 6.1e6], [0.0]])
    assert np.all(air.acceleration(np.zeros(1), place, along, surface) == 0.0)
    blown = air.acceleration(np.zeros(1), place, np.zeros((3, 1)), surface)[:, 0]
    wind = 7e-5 * 6.1e6
    assert blown == pytest.approx([0.0, 0.5 * 1e-9 * math.exp(-2.0) * 0.02 * wind**2, 0.0])


def test_no_craft_surface_no_drag() -> None:
    earth = bodies.body("earth")
    air = Air.of(earth)
    assert air is not None
    place, speed = np.array([[6.6e6], [0.0], [0.0]]), np.array([[0.0], [7700.0], [0.0]])
    assert np.all(air.acceleration(np.zeros(1), place, speed, NOTHING) == 0.0)


class _Sun:
    def position(self, time_s: Array) -> Array:
        return np.repeat(np.array([[1.495978707e11], [0.0], [0.0]]), np.size(time_s), axis=1)


def _lit(place: tuple[float, float, float], cone: bool) -> float:
    light = Sunlight(sun=_Sun(), radius_m=6.378e6, cone=cone)
    surface = Surfaces(np.zeros(1), np.ones(1))
    found = light.acceleration(np.zeros(1), np.array(place)[:, np.newaxis], np.zeros((3, 1)), surface)
    return float(np.linalg.norm(found)) / PRESSURE_PA


@pytest.mark.parametrize("cone", [True, False])
def test_light_and_shadow(cone: bool) -> None:
    assert _lit((0.0, 7e6, 0.0), cone) == pytest.approx(1.0, rel=FLOWN_REL)
    assert _lit((7e6, 0.0, 0.0), cone) == pytest.approx(1.0, rel=SQUARED_REL)
    assert _lit((-7e6, 0.0, 0.0), cone) == 0.0
    assert _lit((-7e6, 6.5e6, 0.0), cone) == pytest.approx(1.0, rel=SQUARED_REL)


def test_half_shadow() -> None:
    """Where the Sun's center stands on the edge of the body, which is nearly straight against it, half is left."""
    depth = 4.2e7
    edge = 6.378e6 / math.cos(math.asin(6.378e6 / depth))  # the line from the Sun's far center grazes the body here
    half = _lit((-math.sqrt(depth**2 - 6.378e6**2), 6.378e6, 0.0), True)
    assert half == pytest.approx(0.5, abs=TWO_DECIMALS)
    assert edge > 6.378e6
    # by numbers: points of the disk seen from there
    disk = RNG.uniform(-1.0, 1.0, size=(2, 200_000)) * SUN_RADIUS_M
    disk = disk[:, np.hypot(*disk) < SUN_RADIUS_M]
    eye = np.array([-4.19e7, 6.4e6, 0.0])
    way = np.stack([np.full(disk.shape[1], 1.495978707e11), *disk]) - eye[:, np.newaxis]
    way /= np.linalg.norm(way, axis=0)
    nearest = np.sqrt(np.maximum(eye @ eye - (eye @ way) ** 2, 0.0))
    seen = float(np.mean(nearest > 6.378e6))
    assert 0.1 < seen < 0.9
    assert _lit((-4.19e7, 6.4e6, 0.0), True) == pytest.approx(seen, abs=TWO_DECIMALS)


def _item(**more: object) -> Itinerary:
    r = 7.0e6
    speed = math.sqrt(bodies.body("earth").gm / r)
    return Itinerary(
        start_s=1000.0,
        position=np.array([r, 0.0, 0.0]),
        velocity=np.array([0.0, 0.8 * speed, 0.6 * speed]),
        end_s=30_000.0,
        **more,  # type: ignore[arg-type]
    )


def test_a_field_without_terms_flies_as_before() -> None:
    near = gravity_around(bodies.body("earth"))
    burns = (Impulse(5000.0, 1.0, 20.0, 3.0),)
    [plain] = fly([_item(impulses=burns)], near)
    [field] = fly([_item(impulses=burns)], Field(near=near))
    assert np.array_equal(plain.end_state, field.end_state)


def test_extra_terms_alone_make_the_same_flight() -> None:
    """The bulge as a term among the harmonics, through coasts, an impulse and a long burn: as the bulge itself."""
    earth = bodies.body("earth")
    near = gravity_around(earth)
    bulge = UnevenField(
        gm=earth.gm, radius_m=earth.j2_radius_m, coefficients=(Harmonic(degree=2, order=0, cosine=-earth.j2),)
    )
    split = Field(near=PointMass(gm=earth.gm), terms=(bulge,))
    thrust = FiniteThrust(thrust_n=200.0, isp_s=300.0, mass_kg=400.0)
    for model in (None, thrust):
        item = _item(impulses=(Impulse(5000.0, 1.0, 20.0, 3.0), Impulse(12_000.0, 0.0, -30.0, 0.0)))
        flights = [fly([item], g) if model is None else fly([item], g, model) for g in (near, split)]
        first, second = (flight[0].end_state for flight in flights)
        assert np.linalg.norm(first[:3] - second[:3]) < CENTIMETER_M


def test_terms_know_the_time() -> None:
    """A push that begins at a moment: times count from the epoch, through every leg."""

    class Late:
        name = "late"

        def acceleration(self, time_s: Array, position: Array, velocity: Array, surfaces: Surfaces) -> Array:
            asked.extend(time_s.tolist())
            return np.zeros_like(position)

    asked: list[float] = []
    near = gravity_around(bodies.body("earth"))
    fly([_item(impulses=(Impulse(5000.0, 0.0, 1.0),))], Field(near=near, terms=(Late(),)))
    assert min(asked) == 1000.0
    assert max(asked) == pytest.approx(30_000.0, rel=STEP_REL)


def test_each_craft_has_its_own_surface() -> None:
    earth = bodies.body("earth")
    air = Air.of(earth, factor=100.0)
    assert air is not None
    field = Field(near=gravity_around(earth), terms=(air,))
    bare, wide = fly([_item(), _item(surface=Surface(drag_m2_kg=0.02))], field)
    [plain] = fly([_item()], gravity_around(earth))
    energies = [
        0.5 * float(s[3:] @ s[3:]) - earth.gm / float(np.linalg.norm(s[:3])) for s in (bare.end_state, wide.end_state)
    ]
    assert np.linalg.norm(bare.end_state[:3] - plain.end_state[:3]) < CENTIMETER_M
    assert energies[1] < energies[0] - 10.0
