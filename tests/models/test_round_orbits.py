"""Circles that do not stay round, and orbits that are frozen: closed forms against averaged flights."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ringwright.models import bodies
from ringwright.models.bodies import Neighbor
from ringwright.models.flight.averaged import AveragedForces
from ringwright.models.flight.ephemeris import Circle
from ringwright.models.flight.follow import follow
from ringwright.models.flight.forces import Surfaces
from ringwright.models.flight.lifetime import AllAround, circles
from ringwright.models.flight.point_masses import PointPull
from ringwright.models.flight.zonals import Zonals
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.models.round_orbits import (
    SEED,
    bulge_rad_s,
    frozen_eccentricity,
    growth_rad_s,
    round_up_to_rad,
)
from ringwright.models.scenario import Body
from ringwright.models.surroundings import Surface
from ringwright.tests.tolerances import EXACT_RAD, FIRST_ORDER_REL, FLOAT_RAD, SLOPE_REL, TENTH_DEG, TWO_FIRST_ORDER_REL

DAY_S = 86_400.0
MOON = Body(name="Vell", gm=4.9028e12, radius_m=1.7374e6, j2=2.03e-4, j2_radius_m=1.738e6)
EARTH = Neighbor(name="Oss", gm=3.986e14, distance_m=3.844e8)
TURN_S = 2.0 * math.pi * math.sqrt(EARTH.distance_m**3 / (EARTH.gm + MOON.gm))
STILL = Surfaces.of([Surface()])


def test_circles_stay_round_up_to_39_deg() -> None:
    """Lidov 1962 (from memory): sin^2 i = 2/5, 39.2 deg; the bulge keeps circles round at higher inclinations."""
    critical = math.asin(math.sqrt(0.4))
    assert math.degrees(critical) == pytest.approx(39.2, abs=TENTH_DEG)
    bare = Body(name="Vell", gm=MOON.gm, radius_m=MOON.radius_m)
    assert round_up_to_rad(bare, 1.2e7, 1.2, [EARTH]) == pytest.approx(critical, abs=FLOAT_RAD)
    assert round_up_to_rad(bare, 1.2e7, math.pi - 1.2, [EARTH]) == pytest.approx(math.pi - critical, abs=FLOAT_RAD)
    assert round_up_to_rad(MOON, 4e6, 1.05, [EARTH]) > critical + math.radians(1.0)
    assert growth_rad_s(MOON, 2.0e6, 1.05, [EARTH]) == 0.0


@pytest.mark.parametrize("inclination_deg", [50.0, 60.0])
def test_eccentricity_grows_as_by_the_closed_form(inclination_deg: float) -> None:
    """What the averaged equations do to an eccentricity ahead along the node, and across it, seen from the node."""
    radius_m, tilt = 1.0e7, math.radians(inclination_deg)
    path = Circle(radius_m=EARTH.distance_m, rate_rad_s=2.0 * math.pi / TURN_S)
    pull = AllAround(PointPull(name="Oss", gm=EARTH.gm, path=path), TURN_S)
    forces = AveragedForces(
        gm=MOON.gm, zonals=Zonals.of(MOON, 2), ground=None, turns=1, terms=(pull,), step_s=DAY_S, floor_m=0.0
    )
    low, high = (np.array([radius_m * (1.0 + sign * SEED)]) for sign in (-1.0, 1.0))
    turned = []
    for argument in (0.0, math.pi / 2.0):
        start = circles(low, np.array([tilt]), np.zeros(1), argument, high)
        rates = forces.rates(start, 0.0, STILL)[:, 0]
        first, pole = start.origin[:, 0], start.pole[:, 0]
        node = float(rates[4:7] @ first) / math.sin(tilt) * math.cos(tilt)
        own = rates[1:4] - node * np.cross(pole, start.eccentricity[:, 0])
        turned.append((own @ np.cross(pole, first) if argument == 0.0 else own @ first) / SEED)
    grows = growth_rad_s(MOON, radius_m, tilt, [EARTH])
    assert math.sqrt(turned[0] * turned[1]) == pytest.approx(grows, rel=FIRST_ORDER_REL)


def test_a_frozen_orbit_stays_as_it_is() -> None:
    """Cutting et al. 1978; Vallado 2013, 11.4 (from memory): about 0.001 for the Earth; under J2 and J3."""
    earth = bodies.body("earth")
    radius_m, tilt = 7.168e6, math.radians(98.5)
    frozen = frozen_eccentricity(earth, radius_m, tilt)
    assert frozen is not None
    assert frozen == pytest.approx(1.04e-3, rel=TWO_FIRST_ORDER_REL)
    forces = AveragedForces(
        gm=earth.gm, zonals=Zonals.of(earth, 3), ground=None, turns=1, terms=(), step_s=0.5 * DAY_S, floor_m=0.0
    )
    round_s = 2.0 * math.pi / abs(bulge_rad_s(earth, radius_m, tilt))
    moved = []
    for e in (frozen, 0.0):
        low, high = np.array([radius_m * (1.0 - e)]), np.array([radius_m * (1.0 + e)])
        start = circles(low, np.array([tilt]), np.zeros(1), math.pi / 2.0, high)
        track = follow(forces, start, STILL, 0.0, 0.5 * round_s)
        size = np.linalg.norm(track.rows[:, 1:4, 0], axis=1)
        moved.append(float(np.max(np.abs(size - e))))
    assert moved[0] < 0.02 * frozen
    # half a round later a circle is as far on the other side of the frozen one
    assert moved[1] == pytest.approx(2.0 * frozen, rel=SLOPE_REL)


def test_no_orbit_is_frozen_by_them_at_63_deg() -> None:
    """sin^2 i = 4/5: 63.4 deg (Vallado 2013, section 11.4, from memory)."""
    earth = bodies.body("earth")
    critical = math.asin(math.sqrt(0.8))
    assert math.degrees(critical) == pytest.approx(63.4, abs=TENTH_DEG)
    assert frozen_eccentricity(earth, 7e6, critical) is None
    assert bulge_rad_s(earth, 7e6, critical) == pytest.approx(0.0, abs=EXACT_RAD)


def test_a_scenario_is_warned_of_that_is_no_ring() -> None:
    text = '[body]\nname = "moon"\n[ring]\naltitude_km = 10000\nslots = 3\ninclination_deg = {}\n'
    text += '[[craft]]\nname = "Larch"\norbit = {{ altitude_km = 10000, angle_deg = 3 }}\n'
    said = [one for one in parse_scenario(text.format(60)).warnings if "no ring for long" in one]
    assert len(said) == 1
    assert (
        "the pull of the Earth circles at 60.0 deg do not stay round here: their eccentricity comes to about 0.76"
        in said[0]
    )
    assert "circles stay round below about 39 deg" in said[0]
    assert not any("no ring" in one for one in parse_scenario(text.format(30)).warnings)
