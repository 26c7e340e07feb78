"""Coasts under further forces by Gauss's equations against steps in Cartesian coordinates."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from ringwright.models import bodies
from ringwright.models.arrays import Array
from ringwright.models.errors import FlightError
from ringwright.models.flight import gauss_equations, stepping
from ringwright.models.flight.drag import Air
from ringwright.models.flight.ephemeris import Circle, track
from ringwright.models.flight.forces import Extra, Field, Surfaces, Term
from ringwright.models.flight.gravity import Oblate, PointMass, gravity_around
from ringwright.models.flight.harmonics import UnevenField
from ringwright.models.flight.integrate import Itinerary, fly
from ringwright.models.flight.point_masses import PointPull
from ringwright.models.flight.sunlight import Sunlight
from ringwright.tests.tolerances import TWO_CENTIMETERS_M

EPOCH = datetime(2026, 3, 1, tzinfo=UTC)
TURNS = np.array([0.3, 2.2, 7.9, 12.4])


def _starts(gm: float, radius_m: float) -> tuple[Array, Array]:
    """Near-circles in four planes, one of them backwards and one at an eccentricity of 0.3, and a turn of each."""
    lean, excess = np.array([0.2, 1.4, 2.6, 0.9]), np.array([0.0, 0.01, -0.01, 0.3])
    speed = np.sqrt(gm * (1.0 + excess) / radius_m)
    nothing = np.zeros(4)
    start = np.stack([np.full(4, radius_m), nothing, nothing, nothing, speed * np.cos(lean), speed * np.sin(lean)])
    return start, 2.0 * math.pi * np.sqrt((radius_m / (1.0 - excess)) ** 3 / gm)


def _terms(body: str) -> tuple[Term, ...]:
    uneven = UnevenField.of(bodies.body(body), 8)
    assert uneven is not None
    found: list[Term] = [uneven]
    for name in {"earth": ("sun", "moon"), "moon": ("sun", "earth")}[body]:
        path = track(body, name, EPOCH)
        assert path is not None
        found.append(PointPull(name=name, gm=bodies.gm_of(name), path=path))
    return tuple(found)


def _both(
    near: PointMass | Oblate, terms: tuple[Term, ...], start: Array, duration_s: Array, surface: float = 0.02
) -> float:
    """How far apart both roads are at most, at the ends and on the way, m."""
    count = duration_s.size
    surfaces = Surfaces(np.full(count, surface), np.full(count, surface))
    extra = Extra(terms=terms, begin_s=np.linspace(0.0, 3e5, count), surfaces=surfaces)
    keep = np.ones(count, dtype=bool)
    landed, panels = gauss_equations.coast(near, start.copy(), duration_s, keep, extra)
    stepped, steps = stepping.coast(Field(near=near, terms=terms), start.copy(), duration_s, True, extra=extra)
    apart = [np.abs(landed - stepped)[:3].max()]
    for column, end_s in enumerate(duration_s.tolist()):
        times = np.linspace(0.0, end_s, 300)
        one, other = (record.arc(column, 0, 0.0, end_s).states(times) for record in (panels, steps))
        apart.append(np.abs(one - other)[:, :3].max())
    return float(max(apart))


@pytest.mark.parametrize(("body", "altitude_m"), [("earth", 9.0e5), ("earth", 3.6e7), ("moon", 2.0e6)])
def test_it_is_what_steps_come_to(body: str, altitude_m: float) -> None:
    world = bodies.body(body)
    start, turn = _starts(world.gm, world.radius_m + altitude_m)
    assert _both(gravity_around(world), _terms(body), start, TURNS * turn) < TWO_CENTIMETERS_M


def test_another_body_is_seen_from_a_point_mass_too() -> None:
    near = PointMass(gm=4.9e12)
    pull = PointPull(name="Oss", gm=4e14, path=Circle(radius_m=4e8, rate_rad_s=2.7e-6, inclination_rad=0.4))
    start, turn = _starts(near.gm, 6e6)
    assert _both(near, (pull,), start, TURNS * turn) < TWO_CENTIMETERS_M


def test_drag_takes_as_much_as_in_steps() -> None:
    world = bodies.body("earth")
    air = Air.of(world)
    assert air is not None
    start, turn = _starts(world.gm, world.radius_m + 9.0e5)
    assert _both(gravity_around(world), (air,), start[:, :2], 5.0 * turn[:2]) < TWO_CENTIMETERS_M


def test_what_pushes_too_hard_or_too_unevenly_is_stepped() -> None:
    world = bodies.body("earth")
    start, turn = _starts(world.gm, world.radius_m + 9.0e5)
    path = Circle(radius_m=3e7, rate_rad_s=1e-4)
    pull = PointPull(name="Oss", gm=world.gm, path=path)
    with pytest.raises(FlightError, match="pushed too strongly"):
        _both(gravity_around(world), (pull,), start, TURNS * turn)
    items = [
        Itinerary(start_s=0.0, position=row[:3], velocity=row[3:], end_s=float(end))
        for row, end in zip(start.T, 2.0 * turn, strict=True)
    ]
    field = Field(near=gravity_around(world), terms=(pull,))
    flights = fly(items, field)
    surfaces = Surfaces(np.zeros(4), np.zeros(4))
    extra = Extra(terms=field.terms, begin_s=np.zeros(4), surfaces=surfaces)
    stepped, _ = stepping.coast(field, start, 2.0 * turn, False, extra=extra)
    assert np.abs(np.array([one.end_state for one in flights]).T - stepped)[:3].max() < TWO_CENTIMETERS_M


def test_light_counts_by_the_edges_of_the_shadow() -> None:
    world = bodies.body("moon")
    sun = track("moon", "sun", EPOCH)
    assert sun is not None
    start, turn = _starts(world.gm, world.radius_m + 2.0e6)
    light = Sunlight(sun=sun, radius_m=world.radius_m)
    assert _both(gravity_around(world), (light,), start, TURNS * turn) < TWO_CENTIMETERS_M
    sharp = Field(near=gravity_around(world), terms=(replace(light, cone=False),))
    assert not gauss_equations.suits(sharp, start).any()
