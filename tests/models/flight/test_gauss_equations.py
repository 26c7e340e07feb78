"""Coasts by Gauss's equations against steps in Cartesian coordinates and against Kepler's equation."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ringwright.models.arrays import Array
from ringwright.models.flight import gauss_equations, stepping
from ringwright.models.flight.gravity import Oblate, PointMass
from ringwright.models.flight.integrate import Itinerary, fly
from ringwright.models.kepler import propagate
from ringwright.tests.tolerances import ROADS_REL

# Earth's gravitational parameter and bulge: Vallado 2013, table D-1
GM, J2, RADIUS_M = 3.986004418e14, 1.08262668e-3, 6378137.0

NEAR_M = 0.1
"""How far both roads may be apart: a billionth of the way out at an eccentricity of 0.8, far less near in."""


def _starts(count: int, eccentricity: float, seed: int) -> tuple[Array, Array]:
    """Orbits in random planes, some of them backwards, from random places: states (6, n) and periods (n,)."""
    rng = np.random.default_rng(seed)
    states, periods = [], []
    for _ in range(count):
        axis = rng.uniform(6.8e6, 2.0e7) / (1.0 - eccentricity)
        semilatus, anomaly = axis * (1.0 - eccentricity**2), rng.uniform(0.0, 2.0 * math.pi)
        place = (
            semilatus / (1.0 + eccentricity * math.cos(anomaly)) * np.array([math.cos(anomaly), math.sin(anomaly), 0])
        )
        speed = math.sqrt(GM / semilatus) * np.array([-math.sin(anomaly), eccentricity + math.cos(anomaly), 0.0])
        turned, _ = np.linalg.qr(rng.normal(size=(3, 3)))
        states.append([*(turned @ place), *(turned @ speed)])
        periods.append(2.0 * math.pi * math.sqrt(axis**3 / GM))
    return np.array(states).T, np.array(periods)


@pytest.mark.parametrize("j2", [J2, -0.03, 0.08])
@pytest.mark.parametrize("eccentricity", [0.0, 0.3, 0.8])
def test_it_is_what_steps_come_to(j2: float, eccentricity: float) -> None:
    gravity = Oblate(gm=GM, j2=j2, j2_radius=RADIUS_M)
    start, period = _starts(6, eccentricity, 3)
    turns = np.array([0.2, 1.25, 3.0, 7.9, 8.1, 12.0])
    if eccentricity < 0.8:
        assert gauss_equations.suits(gravity, start).all()
    keep = np.ones(6, dtype=bool)
    landed, panels = gauss_equations.coast(gravity, start, turns * period, keep)
    stepped, steps = stepping.coast(gravity, start, turns * period, True)
    assert np.abs(landed - stepped)[:3].max() < NEAR_M
    for column, end_s in enumerate((turns * period).tolist()):
        times = np.linspace(0.0, end_s, 200)
        one, other = (record.arc(column, 0, 0.0, end_s).states(times) for record in (panels, steps))
        assert np.abs(one - other)[:, :3].max() < NEAR_M
        # samples are dense enough to see near passes: no two farther apart than a fiftieth of a turn on a circle
        arc = panels.arc(column, 0, 0.0, end_s)
        if eccentricity == 0.0:
            assert np.diff(arc.knots).max() / arc.looks < period[column] / 50.0


@pytest.mark.parametrize("eccentricity", [1e-9, 0.5, 0.85])
def test_without_a_bulge_it_is_keplers_orbit(eccentricity: float) -> None:
    start, period = _starts(4, eccentricity, 5)
    landed, _ = gauss_equations.coast(PointMass(gm=GM), start, 20.3 * period, np.zeros(4, dtype=bool))
    for column in range(4):
        there, _ = propagate(start[:3, column], start[3:, column], 20.3 * float(period[column]), GM)
        assert np.linalg.norm(landed[:3, column] - there) < NEAR_M


def test_what_is_open_or_nearly_so_is_stepped() -> None:
    [[fast]] = np.sqrt([[2.0 * GM / 7.0e6]])
    state = np.array([[7.0e6, 0, 0, 0, 1.01 * fast, 0], [7.0e6, 0, 0, 0, 0.99 * fast, 0], [7.0e6, 0, 0, 1e3, 0, 0]]).T
    gravity = Oblate(gm=GM, j2=J2, j2_radius=RADIUS_M)
    assert not gauss_equations.suits(gravity, state).any()
    items = [
        Itinerary(start_s=0.0, position=np.array([7.0e6, 0, 0]), velocity=np.array([0.0, v, 0.0]), end_s=2.0e4)
        for v in (1.01 * fast, 0.75 * fast)
    ]
    # both ways in one batch, each as alone
    together = fly(items, gravity)
    for item, flight in zip(items, together, strict=True):
        [alone] = fly([item], gravity)
        assert np.allclose(alone.end_state, flight.end_state, rtol=ROADS_REL)
