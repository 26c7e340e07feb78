"""Clohessy-Wiltshire motion against Vallado's examples 6-14 and 6-15 and against two-body flight.

Vallado: *Fundamentals of Astrodynamics and Applications*, 4th ed. (2013), and the author's own companion tests, whose
constants these are; printed there to all digits.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from ringwright.models.kepler import propagate
from ringwright.models.relative import relative_transition

RATE = math.sqrt(398600.4415 / (6378.1363 + 590.0) ** 3)


def relative_flight(
    position: list[float], velocity: list[float], rate: float, time: float
) -> tuple[np.ndarray, np.ndarray]:
    """Position and velocity after a time, by the matrix that the planner uses."""
    moved = relative_transition(rate, time) @ np.array([*position, *velocity])
    return moved[:3], moved[3:]


def test_vallado_example_6_14() -> None:
    position, velocity = relative_flight([0.0, 0.0, 0.0], [-0.1, -0.04, -0.02], RATE, 300.0)
    assert position == pytest.approx([-33.3457244322, -1.4735603075, -5.8945303116], abs=1e-8)
    assert velocity == pytest.approx([-0.1203370939, 0.0323875844, -0.0189490317], abs=1e-10)


def test_vallado_example_6_15() -> None:
    start = [-70.933, 20.357, -11.170]
    matrix = relative_transition(RATE, 300.0)
    velocity = np.linalg.solve(matrix[:3, 3:], -matrix[:3, :3] @ np.array(start)).tolist()
    assert velocity == pytest.approx([0.274190838333, 0.013466718841, 0.035907981315], abs=1e-11)
    assert relative_flight(start, velocity, RATE, 300.0)[0] == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)


def test_matrices_compose() -> None:
    whole = relative_transition(RATE, 900.0)
    assert relative_transition(RATE, 500.0) @ relative_transition(RATE, 400.0) == pytest.approx(whole, abs=1e-9)
    assert np.linalg.det(whole) == pytest.approx(1.0, abs=1e-9)


def test_small_pushes_fly_as_two_bodies_do() -> None:
    # unit circle; along-track counted along the arc; what is left over is of the second order
    push = np.array([3e-5, -2e-5])
    for time in (0.7, 2.0, 5.0, 9.0):
        position, _ = propagate(np.array([1.0, 0.0]), np.array([push[0], 1.0 + push[1]]), time)
        outward = np.hypot(*position) - 1.0
        along = math.remainder(math.atan2(position[1], position[0]) - time, 2.0 * math.pi)
        linear, _ = relative_flight([0.0, 0.0, 0.0], [*push, 0.0], 1.0, time)
        assert [outward, along] == pytest.approx(linear[:2], abs=1e-7)
