"""How close an orbit that touches the ring comes to a craft on the ring near that touch.

Two-body. Near a touch the two move almost alike, so the least distance is often much less than the distance at the touch
itself: a craft 10 km ahead there may be passed at 300 m beneath a little later.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .ring import Ring

F = NDArray[np.float64]

_SPAN_RAD = 0.9
_GRID = 121
_STEPS = 48


def near_angle(ring: Ring, speed_m_s: F, separation_m: float) -> F:
    """An angle beyond which nobody on the ring is met within a separation, rad, for each speed at the touch.

    From the parabola of the relative motion, height = (v + v_c) / (2 |v - v_c|) * angle^2 * R, with a third to spare.
    """
    slip = np.abs(speed_m_s - ring.speed_m_s) / (speed_m_s + ring.speed_m_s)
    ratio = separation_m / ring.radius_m
    return np.asarray(1.33 * (ratio + np.sqrt(2.0 * ratio * slip)) + 1e-9)


def closest(ring: Ring, speed_m_s: F, ahead_rad: F, before: bool, after: bool) -> tuple[F, F]:
    """Least distance to a ring craft near a touch, m, and the time of it from the touch, s; all of shape (n,).

    Args:
        ring: radius, rate and GM.
        speed_m_s: tangential speed at the touch.
        ahead_rad: how far the ring craft is ahead at the touch, small, in (-pi, pi].
        before, after: which sides of the touch to look at (one of them is another orbit at a burn).
    """
    semi = 1.0 / (2.0 / ring.radius_m - speed_m_s**2 / ring.gm)
    # signed so that the touch is at E = 0 whether it is the periapsis (positive) or the apoapsis (negative)
    eccentricity = 1.0 - ring.radius_m / semi
    low = np.full(speed_m_s.shape, -_SPAN_RAD if before else 0.0)
    high = np.full(speed_m_s.shape, _SPAN_RAD if after else 0.0)
    motion = np.sqrt(ring.gm / semi**3)

    def gap(anomaly: F) -> F:
        x = semi * (np.cos(anomaly) - eccentricity)
        y = semi * np.sqrt(1.0 - eccentricity**2) * np.sin(anomaly)
        angle = ahead_rad + ring.rate_rad_s * (anomaly - eccentricity * np.sin(anomaly)) / motion
        return np.hypot(x - ring.radius_m * np.cos(angle), y - ring.radius_m * np.sin(angle))

    grid = low + (high - low) * np.linspace(0.0, 1.0, _GRID).reshape(-1, *([1] * speed_m_s.ndim))
    best = np.argmin(gap(grid), axis=0)
    step = (high - low) / (_GRID - 1)
    left, right = np.maximum(low + (best - 1) * step, low), np.minimum(low + (best + 1) * step, high)
    for _ in range(_STEPS):
        a, b = left + 0.382 * (right - left), left + 0.618 * (right - left)
        nearer = gap(a) < gap(b)
        left, right = np.where(nearer, left, a), np.where(nearer, b, right)
    anomaly = 0.5 * (left + right)
    return gap(anomaly), (anomaly - eccentricity * np.sin(anomaly)) / motion
