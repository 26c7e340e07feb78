"""Mean orbits over a body that turns slowly, against a direct flight."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ringwright.models import bodies
from ringwright.models.flight.averaged import MeanOrbits
from ringwright.models.flight.flown import Itinerary
from ringwright.models.flight.follow import follow
from ringwright.models.flight.forces import Field, Surfaces
from ringwright.models.flight.gravity import gravity_around
from ringwright.models.flight.harmonics import UnevenField
from ringwright.models.flight.integrate import fly
from ringwright.models.flight.slow_ground import REACH_S, NearAndFar, follow_both
from ringwright.models.frames import in_plane_state
from ringwright.tests.tolerances import EXACT, FIRST_ORDER_REL

DAY_S, RADIUS_M = 86_400.0, 2.037e6
END_S = 2.5 * DAY_S
NOTHING = Surfaces(np.zeros(1), np.zeros(1))


def _over_the_moon() -> tuple[Field, NearAndFar]:
    moon = bodies.body("moon")
    uneven = UnevenField.of(moon, 4)
    assert uneven is not None
    field = Field(near=gravity_around(moon), terms=(uneven,))
    return field, NearAndFar.of(moon, field, RADIUS_M)


def test_the_eccentricity_that_the_moon_swings_in_days() -> None:
    """Means over a turn of the osculating orbit of a flight: the zonal part alone misses most of what they move by."""
    moon = bodies.body("moon")
    field, forces = _over_the_moon()
    turn = 2.0 * math.pi * math.sqrt(RADIUS_M**3 / moon.gm)
    place, motion = in_plane_state(RADIUS_M, 0.3, 0.0, math.sqrt(moon.gm / RADIUS_M), 0.5, 0.2)
    [flight] = fly([Itinerary(start_s=0.0, position=place, velocity=motion, end_s=END_S)], field)

    def mean(at_s: float) -> MeanOrbits:
        x = np.arange(96) / 96.0 - 0.5
        return MeanOrbits.of([flight.states(at_s + turn * x)], np.full(96, 1.0 / 96.0), moon.gm)

    begin, end = turn, END_S - turn
    wanted = mean(end).eccentricity[:, 0] - mean(begin).eccentricity[:, 0]
    found = [follow(one, mean(begin), NOTHING, begin, end).rows for one in forces]
    moved = [rows[-1, 1:4, 0] - rows[0, 1:4, 0] for rows in found]
    size = float(np.linalg.norm(wanted))
    assert float(np.linalg.norm(moved[0] - wanted)) < FIRST_ORDER_REL * size
    assert float(np.linalg.norm(moved[1] - wanted)) > 10.0 * FIRST_ORDER_REL * size


def test_the_zonal_part_goes_on_where_the_ground_ends() -> None:
    moon = bodies.body("moon")
    place, motion = in_plane_state(RADIUS_M, 0.3, 0.0, math.sqrt(moon.gm / RADIUS_M), 0.5, 0.2)
    start = MeanOrbits.of([np.concatenate([place, motion])[np.newaxis]], np.ones(1), moon.gm)
    _, forces = _over_the_moon()
    found = follow_both(forces, start, NOTHING, 0.0, REACH_S + 5.0 * DAY_S)
    assert found.times_s[-1] == REACH_S + 5.0 * DAY_S
    change = int(np.flatnonzero(found.times_s == REACH_S)[0])
    alone = follow(forces.far, found.at(change), NOTHING, REACH_S, REACH_S + 5.0 * DAY_S)
    assert np.allclose(alone.rows, found.rows[change:], rtol=EXACT, atol=EXACT)


@pytest.mark.parametrize("name", ["earth", "mars"])
def test_a_body_that_turns_fast_is_left_as_it_is(name: str) -> None:
    body = bodies.body(name)
    uneven = UnevenField.of(body, 4)
    assert uneven is not None
    field = Field(near=gravity_around(body), terms=(uneven,))
    forces = NearAndFar.of(body, field, 1.1 * body.radius_m)
    assert forces.near is forces.far
