"""How a craft stands to its slot by smooth means over several turns, which further forces leave as they are.

Pulls that turn against the ring (an uneven field, other bodies) swing a craft's angle with periods near half a turn,
one turn and so on, which do not close within a turn: the time of one turn then reads a rate that is off by the swing
times the slip. Over a window of several turns with the weights w(x) = cos^4(pi x / 2), x from -1 to 1 across it, whose
ends are smooth, such a swing of f > 4 cycles in the window is left with less than 2 / f^5 of its size in the mean, and
with less than 20 / f^5 in the slope by weighted least squares times half the window (windows of powers of a cosine:
Harris, Proc. IEEE 66, 51, 1978; the figures are computed in the tests).
"""

from __future__ import annotations

import functools
import math

import numpy as np

from .. import frames
from ..arrays import Array
from ..errors import FlightError
from ..ring import Ring
from .flown import Flight
from .slot_error import Measured

TURNS = 8
"""Turns of the ring in the window: of what swings once a turn 1 / 1600 is left in the slope, times half the window."""

SAMPLES_A_TURN = 24


def window_s(ring: Ring) -> float:
    """Length of the window, s."""
    return TURNS * ring.period_s


def window(ring: Ring, from_s: float) -> tuple[Array, Array]:
    """Times in the window that begins at a moment, s, rising, and their weights, which sum to 1: (n,) each."""
    x, weights = _window()
    return from_s + 0.5 * window_s(ring) * (1.0 + x), weights


def measure_smoothly(flight: Flight, ring: Ring, plane: int, slot: int, from_s: float) -> Measured:
    """Measure a flight against a slot by smooth means over the window that begins at a moment.

    Args:
        flight: must last until `window_s` past ``from_s``.

    Returns:
        As of ``slot_error.measure``: the slot error is that of the window's middle, the period is that of the mean
        rate there.

    Raises:
        FlightError: the flight ends before the window, or the craft goes round less than half as fast as the ring.
    """
    x, span = _window()[0], window_s(ring)
    times, weights = window(ring, from_s)
    states = flight.states(times)
    axes = frames.plane_axes(ring.inclination_rad, ring.node(0.0, plane) + ring.node_rate_rad_s * times)
    along = [np.einsum("ij,ij->i", states[:, :3], axis) for axis in axes[:2]]
    angle = np.arctan2(along[1], along[0])
    gap = angle - ring.phase(times, slot, plane)
    gap = gap[0] + np.cumsum([0.0, *frames.wrap(np.diff(gap))])
    error = float(weights @ gap)
    slope = float(weights @ (x * (gap - error)) / (weights @ x**2)) / (0.5 * span)
    rate = ring.rate_rad_s + slope
    if not rate > 0.5 * ring.rate_rad_s:
        raise FlightError(f"a craft does not go round with the ring from {from_s!r} s on")
    poles = np.cross(states[:, :3], states[:, 3:])
    poles /= np.linalg.norm(poles, axis=1, keepdims=True)
    lean = [float(weights @ np.einsum("ij,ij->i", poles, axis)) for axis in axes]
    radius = np.linalg.norm(states[:, :3], axis=1)
    mean = float(weights @ radius)
    # the mean over time of r cos(true anomaly) is -3/2 a e (Kepler's problem); the bulge's wobble averages out
    e_x, e_y = (-2.0 / 3.0 * float(weights @ (radius / mean * wave)) for wave in (np.cos(angle), np.sin(angle)))
    return Measured(
        slot_error_rad=float(frames.wrap(error)),
        period_error_s=2.0 * math.pi / rate - ring.period_s,
        plane_error_rad=math.atan2(math.hypot(lean[0], lean[1]), lean[2]),
        radius_error_m=mean - ring.radius_m,
        eccentricity=(e_x, e_y),
        plane_tilt_rad=(lean[0], lean[1]),
    )


@functools.cache
def _window() -> tuple[Array, Array]:
    """Points in (-1, 1) and their weights, which sum to 1."""
    count = TURNS * SAMPLES_A_TURN
    x = (2.0 * np.arange(count) + 1.0) / count - 1.0
    weights = np.cos(0.5 * np.pi * x) ** 4
    return x, weights / weights.sum()
