"""Two-body flight by the f and g functions of the eccentric anomaly difference, in three dimensions.

Written for the tests alone. Coordinates are those of the ring plane: x towards the ring's node (argument of
latitude 0), y a quarter turn ahead along the motion, z completing the set. SI units.
Source: Battin 1999, "An Introduction to the Mathematics and Methods of Astrodynamics", section 4.3 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]


@dataclass(frozen=True)
class Arc:
    """A free flight from ``start`` to ``end`` (times, s) with position and velocity at its start."""

    start: float
    end: float
    position: Vector
    velocity: Vector


def semi_major(gm: float, position: Vector, velocity: Vector) -> float:
    """Semi-major axis, m (vis-viva); negative for an open orbit."""
    inverse = 2.0 / float(np.linalg.norm(position)) - float(velocity @ velocity) / gm
    return 1.0 / inverse if inverse != 0.0 else math.inf


def apsides(gm: float, position: Vector, velocity: Vector) -> tuple[float, float]:
    """Periapsis and apoapsis radius, m; an open orbit has an infinite apoapsis."""
    r = float(np.linalg.norm(position))
    a = semi_major(gm, position, velocity)
    turned = np.cross(position, velocity)
    e_vector = np.cross(velocity, turned) / gm - position / r
    e = float(np.linalg.norm(e_vector))
    if a < 0.0 or math.isinf(a):
        return float(turned @ turned) / gm / (1.0 + e), math.inf
    return a * (1.0 - e), a * (1.0 + e)


def period(gm: float, position: Vector, velocity: Vector) -> float:
    """Period, s; infinite for an open orbit."""
    a = semi_major(gm, position, velocity)
    return 2.0 * math.pi * math.sqrt(a**3 / gm) if 0.0 < a < math.inf else math.inf


def propagate(gm: float, position: Vector, velocity: Vector, times: Vector) -> tuple[Vector, Vector]:
    """Positions and velocities after each of ``times`` (s, shape (n,)) along a closed orbit; shapes (n, 3).

    >>> r, v = propagate(1.0, np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0]), np.array([math.pi]))
    >>> [round(float(x), 9) + 0.0 for x in r[0]]
    [-1.0, 0.0, 0.0]
    """
    a = semi_major(gm, position, velocity)
    assert 0.0 < a < math.inf, "the checker flies closed orbits only"
    r0 = float(np.linalg.norm(position))
    rate = math.sqrt(gm / a**3)
    turn = 2.0 * math.pi / rate
    dt = np.asarray(times, dtype=np.float64)
    dt = dt - np.floor(dt / turn) * turn
    mean = rate * dt
    c = 1.0 - r0 / a
    s = float(position @ velocity) / math.sqrt(gm * a)
    low, high = mean - 3.0, mean + 3.0
    x = mean.copy()
    for _ in range(80):
        sin, cos = np.sin(x), np.cos(x)
        miss = x - c * sin + s * (1.0 - cos) - mean
        high = np.where(miss > 0.0, x, high)
        low = np.where(miss > 0.0, low, x)
        step = x - miss / (1.0 - c * cos + s * sin)
        step = np.where((step >= low) & (step <= high), step, 0.5 * (low + high))
        done = bool(np.max(np.abs(step - x), initial=0.0) < 1e-14)
        x = step
        if done:
            break
    cos, sin = np.cos(x), np.sin(x)
    r = a * (1.0 - c * cos + s * sin)
    f = 1.0 - a / r0 * (1.0 - cos)
    g = dt - (x - sin) / rate
    f_rate = -math.sqrt(gm * a) / (r * r0) * sin
    g_rate = 1.0 - a / r * (1.0 - cos)
    where = f[:, None] * position + g[:, None] * velocity
    speed = f_rate[:, None] * position + g_rate[:, None] * velocity
    return where, speed


def fly(gm: float, arc: Arc, time: float) -> tuple[Vector, Vector]:
    """Position and velocity at one time on an arc."""
    r, v = propagate(gm, arc.position, arc.velocity, np.array([time - arc.start]))
    return r[0], v[0]


def mean_anomaly(gm: float, position: Vector, velocity: Vector) -> float:
    """Mean anomaly in [0, 2 pi); meaningless, but harmless, on a circle."""
    a = semi_major(gm, position, velocity)
    e_cos = 1.0 - float(np.linalg.norm(position)) / a
    e_sin = float(position @ velocity) / math.sqrt(gm * a)
    return (math.atan2(e_sin, e_cos) - e_sin) % (2.0 * math.pi)


def radii_flown(gm: float, arc: Arc) -> tuple[float, float, bool]:
    """Least and greatest radius on an arc, and whether the arc passes its periapsis strictly inside.

    The ends count. A start at an apsis within 1e-9 of a turn counts as an end, not as a pass.
    """
    last, _ = fly(gm, arc, arc.end)
    ends = (float(np.linalg.norm(arc.position)), float(np.linalg.norm(last)))
    low, high = min(ends), max(ends)
    periapsis, apoapsis = apsides(gm, arc.position, arc.velocity)
    turns = mean_anomaly(gm, arc.position, arc.velocity) / (2.0 * math.pi)
    length = (arc.end - arc.start) / period(gm, arc.position, arc.velocity)
    edge = 1e-9
    past_periapsis = math.floor(turns + length - edge) > math.floor(turns + edge)
    past_apoapsis = math.floor(turns + length - 0.5 - edge) > math.floor(turns - 0.5 + edge)
    if past_periapsis:
        low = min(low, periapsis)
    if past_apoapsis:
        high = max(high, apoapsis)
    return low, high, past_periapsis


def push(position: Vector, velocity: Vector, radial: float, along: float, cross: float) -> Vector:
    """Velocity after a burn with components outward, along (in the orbit plane, at right angles) and cross."""
    out = position / np.linalg.norm(position)
    normal = np.cross(position, velocity)
    normal = normal / np.linalg.norm(normal)
    pushed: Vector = velocity + radial * out + along * np.cross(normal, out) + cross * normal
    return pushed


def state_on_ellipse(
    gm: float, periapsis: float, apoapsis: float, anomaly: float, angle: float
) -> tuple[Vector, Vector]:
    """Position and velocity in the plane at a true anomaly, where the craft stands at argument ``angle``."""
    a = 0.5 * (periapsis + apoapsis)
    e = (apoapsis - periapsis) / (apoapsis + periapsis)
    p = a * (1.0 - e * e)
    r = p / (1.0 + e * math.cos(anomaly))
    radial = math.sqrt(gm / p) * e * math.sin(anomaly)
    across = math.sqrt(gm / p) * (1.0 + e * math.cos(anomaly))
    out = np.array([math.cos(angle), math.sin(angle), 0.0])
    ahead = np.array([-math.sin(angle), math.cos(angle), 0.0])
    return r * out, radial * out + across * ahead


def tilted(vectors: Vector, inclination: float, node: float) -> Vector:
    """Vectors (..., 3) of a plane's own axes (x along its ascending node, z its pole) in the axes of the equator."""
    lean, turn = inclination, node
    axes = np.array(
        [
            [math.cos(turn), math.sin(turn), 0.0],
            [-math.sin(turn) * math.cos(lean), math.cos(turn) * math.cos(lean), math.sin(lean)],
            [math.sin(turn) * math.sin(lean), -math.cos(turn) * math.sin(lean), math.cos(lean)],
        ]
    )
    moved: Vector = np.asarray(vectors) @ axes
    return moved


def anomaly_on_the_way_up(periapsis: float, apoapsis: float, radius: float) -> float:
    """True anomaly in [0, pi] at which an ellipse has a radius; 0 on a circle."""
    if apoapsis - periapsis <= 1.0:
        return 0.0
    e = (apoapsis - periapsis) / (apoapsis + periapsis)
    p = 0.5 * (periapsis + apoapsis) * (1.0 - e * e)
    return math.acos(min(1.0, max(-1.0, (p / radius - 1.0) / e)))


def time_to_apoapsis(gm: float, periapsis: float, apoapsis: float, anomaly: float) -> float:
    """Time from a true anomaly in [0, pi] to the apoapsis, s (Kepler's equation)."""
    a = 0.5 * (periapsis + apoapsis)
    e = (apoapsis - periapsis) / (apoapsis + periapsis)
    eccentric = 2.0 * math.atan2(
        math.sqrt(1.0 - e) * math.sin(0.5 * anomaly), math.sqrt(1.0 + e) * math.cos(0.5 * anomaly)
    )
    return (math.pi - eccentric + e * math.sin(eccentric)) * math.sqrt(a**3 / gm)
