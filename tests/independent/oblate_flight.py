"""Flight in the equatorial plane of an oblate body, integrated step by step: a second road for plans that know J2.

In that plane the pull is radial, GM / r^2 (1 + 3/2 J2 (Re / r)^2), so a circle of radius R is an exact orbit with the
rate sqrt(GM / R^3 (1 + 3/2 J2 (Re / R)^2)).
Source: Vallado, Fundamentals of Astrodynamics and Applications, section 8.6 (the acceleration of the second zonal).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp

from .kepler_flight import Vector, push


@dataclass(frozen=True)
class Oblate:
    """GM (m^3/s^2), J2 and the radius (m) that it belongs to."""

    gm: float
    j2: float
    radius: float

    def rate(self, ring_radius: float) -> float:
        """Rate of a circular equatorial orbit, rad/s."""
        squeeze = 1.5 * self.j2 * (self.radius / ring_radius) ** 2
        return math.sqrt(self.gm / ring_radius**3 * (1.0 + squeeze))

    def fly(self, state: Vector, start: float, end: float, times: Vector | None = None) -> Vector:
        """State (x, y, vx, vy) at ``end``, or at ``times`` between start and end with shape (4, n)."""

        def slope(_: float, y: Vector) -> list[float]:
            r2 = y[0] ** 2 + y[1] ** 2
            pull = -self.gm / (r2 * math.sqrt(r2)) * (1.0 + 1.5 * self.j2 * self.radius**2 / r2)
            return [y[2], y[3], pull * y[0], pull * y[1]]

        if end <= start:
            return state
        flown = solve_ivp(slope, (start, end), state, method="DOP853", rtol=1e-11, atol=1e-4, t_eval=times)
        assert flown.success, flown.message
        return np.asarray(flown.y if times is not None else flown.y[:, -1])


def slot_error_deg(
    body: Oblate,
    ring_radius: float,
    angle_at_epoch: float,
    burns: Sequence[Mapping[str, Any]],
    slot_angle_at_epoch: float,
) -> float:
    """Mean over the first ring turn after the last burn of how far a craft from the ring is ahead of its slot.

    Args:
        body: the oblate body.
        ring_radius: radius of the ring, m.
        angle_at_epoch: argument of latitude of the craft at time 0, rad.
        burns: the result's burns.
        slot_angle_at_epoch: argument of latitude of the slot at time 0, rad.
    """
    rate = body.rate(ring_radius)
    first = burns[0]["time_s"]
    angle = angle_at_epoch + rate * first
    speed = rate * ring_radius
    state = np.array(
        [
            ring_radius * math.cos(angle),
            ring_radius * math.sin(angle),
            -speed * math.sin(angle),
            speed * math.cos(angle),
        ]
    )
    now = first
    for burn in burns:
        state = body.fly(state, now, burn["time_s"])
        now = burn["time_s"]
        r, v = np.array([state[0], state[1], 0.0]), np.array([state[2], state[3], 0.0])
        v = push(r, v, burn["radial_m_s"], burn["along_m_s"], burn["cross_m_s"])
        state = np.array([state[0], state[1], v[0], v[1]])
    turn = math.tau / rate
    times = now + turn * (np.arange(720) + 0.5) / 720.0
    path = body.fly(state, now, now + turn, times)
    ahead = np.arctan2(path[1], path[0]) - slot_angle_at_epoch - rate * times
    return float(np.degrees(np.mean(np.angle(np.exp(1j * ahead)))))
