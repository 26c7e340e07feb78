"""The formulas of Adams: their weights, their order, and that steps as long as are taken do not grow."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from ringwright.models.flight.adams import CORRECT, PREDICT, Past
from ringwright.models.flight.averaged import BEND
from ringwright.tests.tolerances import EXACT, FIRST_ORDER_REL

Array = NDArray[np.float64]
PACE = 0.3
"""How fast the push swings, rad/s: about as in half a step of `averaged.BEND`, for pulls that swing twice a turn."""


@pytest.mark.parametrize(("weights", "newest", "count"), [(PREDICT, 0.0, 4), (CORRECT, 1.0, 6)])
def test_weights_integrate_the_polynomial_through_the_rates(weights: Array, newest: float, count: int) -> None:
    """From their definition: every polynomial through so many rates is integrated over the step from 0 to 1."""
    at = newest - np.arange(weights.size)
    for power in range(count):
        assert weights @ at**power == pytest.approx(1.0 / (power + 1.0), rel=EXACT)


def _turned(turn: float, steps: int, pulled: float, step_s: float = 1.0) -> complex:
    """What turns by an angle a second and is pushed besides, at a rate of the time, after steps; begun exactly."""

    def rates(rows: Array, time_s: float) -> Array:
        return np.array([-turn * rows[1] + pulled * np.cos(PACE * time_s), turn * rows[0]])

    def exact(rows: Array, time_s: float, step_s: float, first: Array) -> Array:
        found = _exact(turn, pulled, time_s + step_s)
        return np.array([found.real, found.imag])

    past, rows = Past(rates, exact), np.array([1.0, 0.0])
    for k in range(steps):
        rows = past.stepped(rows, k * step_s, step_s)
    return complex(rows[0], rows[1])


def _exact(turn: float, pulled: float, time_s: float) -> complex:
    """In closed form: x' = i turn x + pulled cos(PACE t), x(0) = 1."""
    w, i = PACE, 1j
    part = pulled * (w * np.sin(w * time_s) - i * turn * np.cos(w * time_s)) / (w**2 - turn**2)
    return complex((1.0 + i * turn * pulled / (w**2 - turn**2)) * np.exp(i * turn * time_s) + part)


def test_what_the_time_alone_changes_keeps_to_the_error_of_the_formula() -> None:
    """863 / 60480 of the sixth power of pace and step (Hairer and others 1993, section III.2; from memory)."""
    off = abs(_turned(0.0, 60, 1.0) - _exact(0.0, 1.0, 60.0))
    assert 0.0 < off < 2.0 / PACE * 863.0 / 60480.0 * PACE**6


def test_what_turns_and_is_pushed_comes_out_as_in_closed_form() -> None:
    """Halved steps leave an error smaller by the fifth power of two, of the prediction's order and one more."""
    whole, half = (abs(_turned(0.05, n, 1.0, 60.0 / n) - _exact(0.05, 1.0, 60.0)) for n in (60, 120))
    assert 0.0 < half < whole / 2.0**4.5


def test_steps_as_long_as_are_taken_do_not_grow() -> None:
    """An orbit low over the equator turns by half of `averaged.BEND` / 2 a step: sizes stay for a thousand steps."""
    most = 0.5 * 0.5 * BEND
    assert abs(_turned(most, 4000, 0.0)) == pytest.approx(1.0, abs=FIRST_ORDER_REL)
    assert abs(_turned(3.0 * most, 1000, 0.0)) > 2.0
