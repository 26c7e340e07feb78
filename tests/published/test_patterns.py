"""Patterns, coverage and lines of sight against published figures."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ringwright.models.orbits import period
from ringwright.models.patterns import (
    Pattern,
    cap_radius,
    closest_to_center,
    grazing_radius,
    in_sight,
    street_half_width,
    worst_coverage,
)

GM = 398600.4415e9
EARTH_RADIUS_M = 6378.137e3
# Ballard prints hundredths of a degree
BALLARD_DEG = 0.006
TENTH = 0.05


@pytest.mark.parametrize(
    ("total", "phasing", "inclination", "radius"),
    [(5, 1, 43.66, 69.15), (6, 4, 53.13, 66.42), (7, 5, 55.69, 60.26), (8, 6, 61.86, 56.52), (9, 7, 70.54, 54.81)],
)
def test_ballards_best_rosettes(total: int, phasing: int, inclination: float, radius: float) -> None:
    """Ballard 1980, *Rosette constellations of Earth satellites*, IEEE Trans. AES-16(5), table of the best
    one-per-plane patterns: inclination and worst-case radius, from memory."""
    found = worst_coverage(
        Pattern(total=total, planes=total, phasing=phasing, inclination_rad=math.radians(inclination))
    )
    assert math.degrees(found.radius_rad) == pytest.approx(radius, abs=BALLARD_DEG)
    # the inclination is the best one: a degree either way covers worse
    for off in (-1.0, 1.0):
        other = worst_coverage(
            Pattern(total=total, planes=total, phasing=phasing, inclination_rad=math.radians(inclination + off))
        )
        assert other.radius_rad > found.radius_rad


def test_five_are_the_fewest_that_cover_a_sphere() -> None:
    """Walker 1970, RAE TR 70211; Ballard 1980, abstract: five satellites are the least for continuous cover."""
    inclinations = np.radians([30.0, 54.7, 75.0])
    for planes in (1, 2, 4):
        for phasing in range(planes):
            for inclination in inclinations:
                four = Pattern(total=4, planes=planes, phasing=phasing, inclination_rad=float(inclination))
                assert worst_coverage(four).radius_rad >= math.pi / 2 - 1e-9


def test_vallado_5_6_sight() -> None:
    """Vallado, *Fundamentals of Astrodynamics and Applications*, Ex. 5-6: not in sight, tau 0.5082352992 (companion
    tests, spherical Earth of 6378.1363 km)."""
    first, second = np.array([0.0, -4464.696e3, -5102.509e3]), np.array([0.0, 5740.323e3, 3189.068e3])
    distance, fraction = closest_to_center(first, second)
    assert float(fraction) == pytest.approx(0.5082352992, abs=1e-10)
    assert not in_sight(first, second, 6378.1363e3)
    # recomputed, not published
    assert float(distance) / 1e3 == pytest.approx(1144.7247, abs=1e-4)


def test_lowest_rings_whose_neighbors_see_each_other() -> None:
    """r / R = 1 / cos(pi / N); plane geometry, no source: altitudes over the Earth and over 100 km of air, in km."""
    slots = np.arange(3, 13)
    bare = (grazing_radius(slots, EARTH_RADIUS_M) - EARTH_RADIUS_M) / 1e3
    assert bare == pytest.approx(
        [6378.137, 2641.911, 1505.674, 986.701, 701.061, 525.509, 409.335, 328.233, 269.267, 224.996], abs=1e-3
    )
    aired = (grazing_radius(slots, EARTH_RADIUS_M + 100e3) - EARTH_RADIUS_M) / 1e3
    assert aired == pytest.approx(
        [6578.137, 2783.332, 1629.281, 1102.171, 812.053, 633.748, 515.752, 433.379, 373.488, 328.524], abs=1e-3
    )


def test_nadir_angle_problem() -> None:
    """Radius 6371 km, altitude 20180 km, elevation 5 deg: nadir 13.83 deg, central 71.17 deg, range 25226 km (worked
    problem, continuouswave.com forum)."""
    radius, body, elevation = 26551e3, 6371e3, math.radians(5.0)
    central = float(cap_radius(radius, body, elevation))
    assert math.degrees(central) == pytest.approx(71.17, abs=0.005)
    assert 90.0 - 5.0 - math.degrees(central) == pytest.approx(13.83, abs=0.005)
    reach = math.sqrt(radius**2 + body**2 - 2.0 * radius * body * math.cos(central))
    assert reach / 1e3 == pytest.approx(25226.0, abs=1.0)


def test_sixty_six_in_six_near_polar_planes() -> None:
    """66 craft in 6 planes at 780 km, 86.4 deg, planes 31.58 deg apart and 22.10 deg across the seam, about 9.1 minutes
    between neighbors in a plane (SeeSat-L list, satobs.org, Oct-1999/0202)."""
    spacing = math.radians(31.58)
    pattern = Pattern(total=66, planes=6, phasing=0, inclination_rad=math.radians(86.4), spread_rad=6.0 * spacing)
    nodes = np.degrees(pattern.nodes()[:: pattern.slots])
    assert np.diff(nodes) == pytest.approx([31.58] * 5)
    assert 180.0 - nodes[-1] == pytest.approx(22.10, abs=0.005)
    radius = EARTH_RADIUS_M + 780e3
    assert float(period(GM, radius)) / pattern.slots / 60.0 == pytest.approx(9.1, abs=TENTH)
    places = radius * pattern.directions()[: pattern.slots]
    near, _ = closest_to_center(places, np.roll(places, 1, axis=0))
    # recomputed, not published: chord and lowest height of the link
    assert np.linalg.norm(places[1] - places[0]) / 1e3 == pytest.approx(4033.360, abs=1e-3)
    assert (near - EARTH_RADIUS_M) / 1e3 == pytest.approx([490.045] * 11, abs=1e-3)
    # at 8.2 deg of elevation the streets just close: five co-rotating gaps and the seam make half a turn
    cap = float(cap_radius(radius, EARTH_RADIUS_M, math.radians(8.2)))
    street = float(street_half_width(cap, pattern.slots))
    assert math.degrees(cap + street) == pytest.approx(31.58, abs=0.2)
    assert math.degrees(5.0 * (cap + street) + 2.0 * street) == pytest.approx(180.3, abs=TENTH)
