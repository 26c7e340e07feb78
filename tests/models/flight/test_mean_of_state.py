"""Mean orbits out of one state, against means over a turn of flight, and heights against flights."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ringwright.models import bodies, frames
from ringwright.models.flight.averaged import MeanOrbits
from ringwright.models.flight.flown import Itinerary
from ringwright.models.flight.gravity import gravity_around
from ringwright.models.flight.integrate import fly
from ringwright.models.flight.lifted import lifted, semi_major_of_circle
from ringwright.models.flight.mean_of_state import mean_orbits
from ringwright.models.oblateness import ring_state
from ringwright.models.scenario import Body
from ringwright.tests.tolerances import SECOND_ORDER_M

EARTH = bodies.body("earth")
TURNED = np.linspace(0.0, 1.0, 257)[:-1]


@pytest.mark.parametrize("place", [0.3, 2.8])
@pytest.mark.parametrize(("low_m", "high_m", "tilt"), [(3e5, 3e5, 0.0), (3e5, 3e5, 1.0), (2.5e5, 9e5, 1.7)])
def test_the_mean_of_a_state_is_that_of_a_turn(low_m: float, high_m: float, tilt: float, place: float) -> None:
    """The state in the middle of the turn, so that what grows evenly is none."""
    low, high = EARTH.radius_m + low_m, EARTH.radius_m + high_m
    a, e = 0.5 * (low + high), (high - low) / (low + high)
    radius = a * (1.0 - e * e) / (1.0 + e * math.cos(place))
    pace = math.sqrt(EARTH.gm / (a * (1.0 - e * e)))
    state = frames.in_plane_state(
        radius, place + 0.4, pace * e * math.sin(place), pace * (1.0 + e * math.cos(place)), tilt, 0.0
    )
    turn_s = 2.0 * math.pi * math.sqrt(a**3 / EARTH.gm)
    item = Itinerary(start_s=0.0, position=state[0], velocity=state[1], end_s=1.01 * turn_s)
    [flight] = fly([item], gravity_around(EARTH))
    flown = MeanOrbits.of([flight.states(turn_s * TURNED)], np.full(256, 1.0 / 256.0), EARTH.gm)
    middle = flight.states(np.array([0.5 * turn_s]))
    found, seen = mean_orbits(EARTH, middle), MeanOrbits.of([middle], np.ones(1), EARTH.gm)
    assert float(found.semi_major_m[0]) == pytest.approx(float(flown.semi_major_m[0]), abs=SECOND_ORDER_M)
    assert a * float(np.linalg.norm(found.eccentricity - flown.eccentricity)) < SECOND_ORDER_M
    # what it would be without
    assert a * float(np.linalg.norm(seen.eccentricity - flown.eccentricity)) > 20.0 * SECOND_ORDER_M


@pytest.mark.parametrize("tilt", [0.05, 0.9, math.pi / 2.0])
def test_circles_are_where_they_are_flown(tilt: float) -> None:
    """The mean radius of a ring comes back from its mean semi-major axis, lifted."""
    radius = EARTH.radius_m + 4e5
    found = mean_orbits(EARTH, np.concatenate(ring_state(EARTH, radius, 0.7, tilt, 0.2))[np.newaxis])
    a = semi_major_of_circle(EARTH, radius, tilt)
    assert float(found.semi_major_m[0]) == pytest.approx(a, abs=SECOND_ORDER_M)
    place = lifted(
        np.array([[a], [0.0], [0.0]]),
        EARTH.j2 * EARTH.j2_radius_m**2,
        np.array([a]),
        np.zeros((3, 1)),
        np.array([[0.0], [math.sin(tilt)], [math.cos(tilt)]]),
    )
    assert float(np.linalg.norm(place)) == pytest.approx(radius, abs=SECOND_ORDER_M)


def test_a_point_mass_leaves_the_orbit_of_the_state() -> None:
    still = Body(name="Vell", gm=EARTH.gm, radius_m=EARTH.radius_m)
    state = np.array([[7.0e6, 0.0, 0.0, 100.0, 7.6e3, 0.0]])
    assert mean_orbits(still, state).packed().tolist() == MeanOrbits.of([state], np.ones(1), EARTH.gm).packed().tolist()
