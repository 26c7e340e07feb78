"""Mean orbits out of states, under the bulge, to first order.

An orbit that is read off one state swings about the mean one as the craft goes round, by kilometers low over the Earth:
in thin air a tenth of how long it lasts. The swings are the rates of Gauss's equations under the bulge, summed along
the orbit from the state on, less what grows evenly; so they hold for circles and ellipses alike.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Array
from ..scenario import Body
from .averaged import MeanOrbits
from .zonals import Zonals

POINTS = 96
"""Places along a turn."""


def mean_orbits(body: Body, states: Array) -> MeanOrbits:
    """Mean orbits, under the bulge, of states (n, 6) on orbits that come back; longitudes are left at 0.

    First order: what is left out is of the radius times the square of the bulge, meters low over the Earth.
    Source: Gauss's equations for semi-major axis, eccentricity vector and pole, as in `averaged.py`; places along the
    turn by Lagrange's coefficients in the eccentric anomaly (Battin 1999, chapter 4; from memory).
    """
    osculating = MeanOrbits.of([state[np.newaxis] for state in states], np.ones(1), body.gm)
    if body.j2 == 0.0:
        return osculating
    gm, a = body.gm, osculating.semi_major_m
    ahead, radius, position, velocity = _around(states.T, a, gm)
    count = states.shape[0]
    force = Zonals.of(body, 2).acceleration(position.reshape(3, -1)).reshape(3, POINTS, count)
    torque = np.cross(position, force, axis=0)
    momentum = np.cross(position, velocity, axis=0)
    size = np.linalg.norm(momentum, axis=0)
    pole = momentum / size
    rates = np.concatenate(
        [
            2.0 * a**2 / gm * np.sum(velocity * force, axis=0)[np.newaxis],
            (np.cross(force, momentum, axis=0) + np.cross(velocity, torque, axis=0)) / gm,
            (torque - np.sum(torque * pole, axis=0) * pole) / size,
        ]
    )
    swing = _swing(rates * radius * np.sqrt(a / gm), ahead, radius / a)
    found = osculating.packed()
    found[:7] -= swing
    return osculating.unpacked(found)


def _around(states: Array, a: Array, gm: float) -> tuple[Array, Array, Array, Array]:
    """Eccentric anomalies from states (6, n) on, (k,), and radii (k, n), positions and velocities (3, k, n) there."""
    first, speed = states[:3, np.newaxis], states[3:, np.newaxis]
    start = np.linalg.norm(states[:3], axis=0)
    climb = np.sum(states[:3] * states[3:], axis=0) / np.sqrt(gm)
    ahead = 2.0 * np.pi / POINTS * np.arange(POINTS)
    cos, sin = np.cos(ahead)[:, np.newaxis], np.sin(ahead)[:, np.newaxis]
    radius = a + (start - a) * cos + climb * np.sqrt(a) * sin
    along = a * climb / np.sqrt(gm) * (1.0 - cos) + start * np.sqrt(a / gm) * sin
    position = (1.0 - a / start * (1.0 - cos)) * first + along * speed
    velocity = -np.sqrt(gm * a) / (radius * start) * sin * first + (1.0 - a / radius * (1.0 - cos)) * speed
    return np.asarray(ahead), radius, position, velocity


def _swing(slopes: Array, ahead: Array, weight: Array) -> Array:
    """By how much values (m, n) are above their means over time at the first of points, from their slopes (m, k, n)
    there by the anomaly; what grows evenly in time is not counted."""
    # even growth is in time, not in the anomaly
    slopes = slopes - slopes.mean(axis=1, keepdims=True) * weight
    waves = np.fft.rfft(slopes, axis=1)
    order = np.arange(waves.shape[1])
    order[0] = 1
    waves = waves / (1j * order[:, np.newaxis])
    waves[:, 0] = 0.0
    above = np.fft.irfft(waves, ahead.size, axis=1)
    return np.asarray(above[:, 0] - np.mean(above * weight, axis=1))
