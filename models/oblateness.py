"""What the second zonal harmonic does to orbits on the long run: secular rates, and the ring that drifts evenly in it.

First order in J2: relative errors of about J2 (Re / a)^2 of the rates themselves, that is one part in a thousand for a
low Earth orbit. Averaged over a revolution (the rates) or written out within one (`ring_state`). The nodes of circles
(`circle_rates`) have the second order, too, which in a year comes to a degree. Not valid beside resonances or for other
harmonics.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from . import frames
from .arrays import Array
from .scenario import Body

EQUATORIAL_SINE = 1e-9
"""Planes nearer to the equator than this (rad) have no node to speak of: angles count from a fixed axis."""


@dataclass(frozen=True, kw_only=True)
class SecularRates:
    """Long-run rates under J2, rad/s: of node, argument of periapsis, and mean anomaly (the whole of it)."""

    node_rad_s: Array
    periapsis_rad_s: Array
    mean_anomaly_rad_s: Array

    @property
    def latitude_argument_rad_s(self) -> Array:
        """Mean rate of the argument of latitude: what counts turns from node to node."""
        return self.periapsis_rad_s + self.mean_anomaly_rad_s


def secular_rates(
    body: Body, semi_major_m: ArrayLike, eccentricity: ArrayLike, inclination_rad: ArrayLike
) -> SecularRates:
    """Secular rates of a mean orbit. Broadcasts.

    Args:
        semi_major_m, eccentricity, inclination_rad: mean elements, eccentricity in [0, 1).

    Source: Vallado 2013, equations 9-37, 9-39, 9-41; Kozai 1959.
    """
    a, e, i = (np.asarray(x, dtype=np.float64) for x in (semi_major_m, eccentricity, inclination_rad))
    n = np.sqrt(body.gm / a**3)
    k = 1.5 * n * body.j2 * (body.j2_radius_m / (a * (1.0 - e**2))) ** 2
    sine2 = np.sin(i) ** 2
    return SecularRates(
        node_rad_s=np.asarray(-k * np.cos(i)),
        periapsis_rad_s=np.asarray(k * (2.0 - 2.5 * sine2)),
        mean_anomaly_rad_s=np.asarray(n + k * np.sqrt(1.0 - e**2) * (1.0 - 1.5 * sine2)),
    )


def node_behind(
    body: Body, inclination_rad: float, ring_m: float, stages: Sequence[tuple[ArrayLike, ArrayLike, ArrayLike]]
) -> Array:
    """How far the node of a craft falls behind that of a circle, over some stages of its flight, rad; broadcasts.

    Args:
        ring_m: radius of the circle.
        stages: for each, the two apsides, m, in any order, and how long it lasts, s.

    Source: `secular_rates` of both, the mean elements taken for the given ones.
    """
    behind = np.zeros(())
    level = _node_rate(body, np.asarray(ring_m, dtype=np.float64), np.zeros(()), inclination_rad)
    for one, other, lasts_s in stages:
        first, second = np.asarray(one, dtype=np.float64), np.asarray(other, dtype=np.float64)
        shape = np.abs(first - second) / (first + second)
        drift = _node_rate(body, 0.5 * (first + second), shape, inclination_rad)
        behind = behind + (level - drift) * np.asarray(lasts_s, dtype=np.float64)
    return np.asarray(behind)


def _node_rate(body: Body, a: Array, e: Array, inclination_rad: float) -> Array:
    """The node's rate alone, as in `secular_rates`, which works out more."""
    p = a * (1.0 - e * e)
    bulge = 1.5 * body.j2 * body.j2_radius_m**2 * math.cos(inclination_rad)
    return np.asarray(-bulge * np.sqrt(body.gm / (a * a * a)) / (p * p))


def _strength(body: Body, radius_m: float) -> float:
    return body.j2 * (body.j2_radius_m / radius_m) ** 2


def _equatorial(inclination_rad: float) -> bool:
    return abs(math.sin(inclination_rad)) < EQUATORIAL_SINE


def ring_rates(body: Body, radius_m: float, inclination_rad: float) -> tuple[float, float]:
    """Rates of a ring that is defined by its mean radius: of a slot's argument of latitude, and of the node.

    Args:
        body: with its J2; zero gives the two-body rates.
        radius_m: mean radius R over a turn (which is not the mean semi-major axis).
        inclination_rad: for planes on the equator angles count from the fixed x axis and the node stands still.

    Returns:
        As `circle_rates`; on the equator n (1 + 3/4 eps) and 0, where n^2 = GM / R^3 and eps = J2 (Re / R)^2.
    """
    if _equatorial(inclination_rad):
        return math.sqrt(body.gm / radius_m**3) * (1.0 + 0.75 * _strength(body, radius_m)), 0.0
    rate, node_rate = circle_rates(body, radius_m, inclination_rad)
    return float(rate), float(node_rate)


def circle_rates(body: Body, radius_m: ArrayLike, inclination_rad: ArrayLike) -> tuple[Array, Array]:
    """Rates of argument of latitude and node, rad/s, on circles off the equator; broadcasts.

    Args:
        radius_m: mean radius R over a turn.

    Returns:
        rate = n [1 + eps (9/4 - 21/8 s^2)] and node rate = -3/2 eps n c [1 + eps (13/8 - 25/8 c^2)], where n^2 = GM /
        R^3, eps = J2 (Re / R)^2, s and c are sine and cosine of the inclination. The node is that of a circle which
        keeps that rate exactly.

    Source: the rate, the first-order solution of the equations of motion about a circle, mean radius held at R (as
    `ring_state`); the node, the secular rates of second order at zero eccentricity (Brouwer 1959, Astronomical Journal
    64, 378; his mean semi-major axis is then R [1 - 3/4 eps (1 - 3 c^2)]). Both checked by integration in
    tests/models/test_oblateness.py, the node against his formulas in tests/published/test_second_order.py.
    """
    radius, inclination = (np.asarray(x, dtype=np.float64) for x in (radius_m, inclination_rad))
    n = np.sqrt(body.gm / radius**3)
    eps = body.j2 * (body.j2_radius_m / radius) ** 2
    cosine = np.cos(inclination)
    rate = n * (1.0 + eps * (9.0 / 4.0 - 21.0 / 8.0 * np.sin(inclination) ** 2))
    return rate, -1.5 * eps * n * cosine * (1.0 + eps * (13.0 / 8.0 - 25.0 / 8.0 * cosine**2))


def apsis_lag(body: Body, semi_major_m: float, eccentricity: float, inclination_rad: float) -> float:
    """How much later than its angle a craft comes back to its apsis, as a share of the period, by `secular_rates`.

    The line of apsides turns: with the node fixed (or on the equator, from a fixed axis) the angle comes round sooner.
    """
    rates = secular_rates(body, semi_major_m, eccentricity, inclination_rad)
    turning = float(rates.periapsis_rad_s)
    if _equatorial(inclination_rad):
        turning += float(rates.node_rad_s) * math.cos(inclination_rad)
    return turning / float(rates.mean_anomaly_rad_s)


def circular_speed(body: Body, radius_m: float, inclination_rad: float) -> float:
    """Mean speed, m/s, of a craft that keeps its place in a ring of that mean radius: see `ring_state`.

    Faster than sqrt(GM / R) over the equator of an oblate body, where its bulge adds to the pull.
    """
    sine2 = math.sin(inclination_rad) ** 2
    return math.sqrt(body.gm / radius_m) * (1.0 + 0.75 * _strength(body, radius_m) * (1.0 - 1.5 * sine2))


def ring_state(
    body: Body, radius_m: float, latitude_argument_rad: ArrayLike, inclination_rad: float, node_rad: ArrayLike
) -> tuple[Array, Array]:
    """Osculating state of a craft that keeps its place in a ring: circular on the mean, wobbling about it.

    Args:
        radius_m: mean radius R.
        latitude_argument_rad: mean argument of latitude, that of the slot. Broadcasts with the node.
        inclination_rad, node_rad: mean plane.

    Returns:
        Position, m, and velocity, m/s, each with a last axis of 3. With eps = J2 (Re / R)^2, s = sin i, c = cos i the
        radius is R (1 + eps/4 s^2 cos 2u), its rate -eps/2 n R s^2 sin 2u, the speed across it
        n R [1 + 3/4 eps (1 - 3/2 s^2) + eps/2 s^2 cos 2u]; inclination, node and argument of latitude are
        3/4 eps s c cos 2u, 3/4 eps c sin 2u and eps (7/8 s^2 - 3/4) sin 2u off their means.

    Source: the equations of motion about a circle in local axes, to first order in J2 (compare Kozai 1959 at zero
    eccentricity).
    """
    u = np.asarray(latitude_argument_rad, dtype=np.float64)
    node = np.asarray(node_rad, dtype=np.float64)
    eps = _strength(body, radius_m)
    s, c = math.sin(inclination_rad), math.cos(inclination_rad)
    speed = math.sqrt(body.gm / radius_m)
    wave, beat = np.cos(2.0 * u), np.sin(2.0 * u)
    return frames.in_plane_state(
        radius_m * (1.0 + 0.25 * eps * s * s * wave),
        u + eps * (0.875 * s * s - 0.75) * beat,
        -0.5 * eps * speed * s * s * beat,
        speed * (1.0 + 0.75 * eps * (1.0 - 1.5 * s * s) + 0.5 * eps * s * s * wave),
        inclination_rad + 0.75 * eps * s * c * wave,
        node + 0.75 * eps * c * beat,
    )
