"""Flight over an oblate body, many craft at once, integrated step by step: a second road for plans that know J2.

Sources: Vallado, Fundamentals of Astrodynamics and Applications, section 8.6 (the acceleration of the second zonal);
the craft that keeps its place in a ring: Kozai 1959 at zero eccentricity, first order in J2; its node:
Brouwer 1959, second order.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

Array = NDArray[np.float64]

RELATIVE = 1e-12
"""Error allowed in a step, of all craft together."""
ALIKE = 1.5
"""Flights whose lengths differ by no more than this factor are integrated together."""


@dataclass(frozen=True)
class Oblate:
    """GM (m^3/s^2), J2 and the radius (m) that it belongs to."""

    gm: float
    j2: float
    radius: float

    def strength(self, ring_radius: float) -> float:
        """J2 (Re / R)^2."""
        return self.j2 * (self.radius / ring_radius) ** 2

    def rates(self, ring_radius: float, inclination: float) -> tuple[float, float]:
        """Rates of a ring's slots and of its node, rad/s: those that the format of the result defines it by."""
        n = math.sqrt(self.gm / ring_radius**3)
        eps = self.strength(ring_radius)
        if abs(math.sin(inclination)) < 1e-9:
            return n * (1.0 + 0.75 * eps), 0.0
        rate = n * (1.0 + eps * (9.0 / 4.0 - 21.0 / 8.0 * math.sin(inclination) ** 2))
        return rate, self._node_rate(ring_radius, rate, math.cos(inclination))

    def _node_rate(self, ring_radius: float, rate: float, c: float) -> float:
        """The node of the circle that turns from node to node at a rate: Brouwer 1959, secular, second order, e = 0."""
        of: dict[str, float] = {}

        def faster(mean: float) -> float:
            motion, half = math.sqrt(self.gm / mean**3), 0.5 * self.strength(mean)
            latitude = 3.0 * half * (4.0 * c**2 - 1.0) + 3.0 / 32.0 * half**2 * (40.0 - 384.0 * c**2 + 1064.0 * c**4)
            of["node"] = motion * (-3.0 * half * c + 1.5 * half**2 * c * (4.0 - 19.0 * c**2))
            return motion * (1.0 + latitude) / rate - 1.0

        if self.j2 == 0.0:
            return 0.0
        faster(float(brentq(faster, 0.5 * ring_radius, 2.0 * ring_radius, xtol=1e-6)))
        return of["node"]

    def in_place(self, ring_radius: float, angle: float, inclination: float, node: float) -> tuple[Array, Array]:
        """Position and velocity of a craft that keeps its place in a ring: it wobbles about the mean circle."""
        eps, s, c = self.strength(ring_radius), math.sin(inclination), math.cos(inclination)
        wave, beat = math.cos(2.0 * angle), math.sin(2.0 * angle)
        speed = math.sqrt(self.gm / ring_radius)
        radius = ring_radius * (1.0 + 0.25 * eps * s * s * wave)
        out = -0.5 * eps * speed * s * s * beat
        across = speed * (1.0 + 0.75 * eps * (1.0 - 1.5 * s * s) + 0.5 * eps * s * s * wave)
        u = angle + eps * (0.875 * s * s - 0.75) * beat
        x, y, _ = axes(inclination + 0.75 * eps * s * c * wave, node + 0.75 * eps * c * beat)
        up, ahead = math.cos(u) * x + math.sin(u) * y, math.cos(u) * y - math.sin(u) * x
        return radius * up, out * up + across * ahead

    def fly(self, states: Array, start: Array, end: Array, points: Array | None = None) -> Array:
        """States of many craft at the end of a flight, each from its own start to its own end.

        Args:
            states: shape (n, 6), m and m/s.
            start, end: shape (n,), s; an end before its start is flown backwards.
            points: shape (m,), where to look in between: 0 at the start, 1 at the end, rising.

        Returns:
            Shape (n, 6), or (n, m, 6) with points.
        """
        out = np.empty((len(states), 1 if points is None else points.size, 6))
        out[:] = states[:, np.newaxis]
        lasts = end - start
        order = [int(i) for i in np.argsort(np.abs(lasts)) if lasts[i] != 0.0]
        while order:
            together = [i for i in order if abs(lasts[i]) <= ALIKE * abs(lasts[order[0]])]
            out[together] = self._together(states[together], lasts[together], points)
            order = order[len(together) :]
        return out[:, 0] if points is None else out

    def _together(self, states: Array, lasts: Array, points: Array | None) -> Array:
        length = float(np.linalg.norm(states[:, :3], axis=1).max())
        speed = math.sqrt(self.gm / length)
        scale = np.repeat([length, speed], 3)[:, np.newaxis]
        pace = lasts * speed / length
        squeeze = 1.5 * self.j2 * (self.radius / length) ** 2

        def slope(_: float, y: Array) -> Array:
            r, v = y.reshape(6, -1)[:3], y.reshape(6, -1)[3:]
            r2 = np.einsum("ij,ij->j", r, r)
            high = 5.0 * r[2] ** 2 / r2
            bulge = squeeze / r2
            pull = -1.0 / (r2 * np.sqrt(r2))
            level, upright = pull * (1.0 + bulge * (1.0 - high)), pull * (1.0 + bulge * (3.0 - high))
            return np.concatenate([v, r[:2] * level, r[2:] * upright]).ravel() * np.tile(pace, 6)

        flown = solve_ivp(
            slope,
            (0.0, 1.0),
            (states.T / scale).ravel(),
            method="DOP853",
            rtol=RELATIVE,
            atol=RELATIVE,
            t_eval=np.ones(1) if points is None else points,
        )
        assert flown.success, flown.message
        shaped = flown.y.reshape(6, len(states), -1) * scale[:, :, np.newaxis]
        return np.asarray(np.moveaxis(shaped, 0, 2))


def axes(inclination: float, node: float) -> tuple[Array, Array, Array]:
    """Unit vectors of a plane: along its ascending node, a quarter turn ahead, and its pole."""
    lean, turn = (math.cos(inclination), math.sin(inclination)), (math.cos(node), math.sin(node))
    return (
        np.array([turn[0], turn[1], 0.0]),
        np.array([-turn[1] * lean[0], turn[0] * lean[0], lean[1]]),
        np.array([turn[1] * lean[1], -turn[0] * lean[1], lean[0]]),
    )
