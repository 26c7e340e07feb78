"""The pull of another body as a point mass: what it does to a craft more than to the body that the craft goes around.

With s from the body to the other and r to the craft: a = -GM' / d^3 (r + f(q) s), q = r . (r - 2 s) / s^2,
f(q) = q (3 + 3 q + q^2) / (1 + (1 + q)^(3/2)), which loses no digits where s is long (Battin 1999, section 8.4; Vallado
2013, section 8.6.3).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from .forces import Surfaces, Term

Array = NDArray[np.float64]


class Path(Protocol):
    """Where another body is."""

    def position(self, time_s: Array) -> Array:
        """Position from the body that craft go around, m, (3, n), in the base frame, at seconds from the epoch."""


@dataclass(frozen=True, kw_only=True)
class PointPull:
    """Another body: its name as printed, GM in m^3/s^2 and where it is."""

    name: str
    gm: float
    path: Path

    def acceleration(self, time_s: Array, position: Array, velocity: Array, surfaces: Surfaces) -> Array:
        """Acceleration relative to the body that craft go around, m/s^2, (3, n)."""
        there = self.path.position(time_s)
        far = np.einsum("ij,ij->j", there, there)
        # one place of the other body for all, or one for each
        beside = there[:, 0].dot(position) if far.size == 1 else np.einsum("ij,ij->j", there, position)
        q = (np.einsum("ij,ij->j", position, position) - 2.0 * beside) / far
        cube = (1.0 + q) * np.sqrt(1.0 + q)
        f = q * (3.0 + 3.0 * q + q * q) / (1.0 + cube)
        # d^2 = s^2 (1 + q)
        pull = -self.gm / (far * np.sqrt(far) * cube)
        return np.asarray(pull * position + (pull * f) * there)


def turning_rad_s(term: Term) -> float:
    """How fast the pattern of a pull turns, rad/s; 0 where it is no body's pull."""
    if not isinstance(term, PointPull):
        return 0.0
    hour = 3600.0
    there = term.path.position(np.array([0.0, hour]))
    sizes = np.linalg.norm(there, axis=0)
    return float(math.acos(min(1.0, float(there[:, 0] @ there[:, 1]) / float(sizes[0] * sizes[1])))) / hour
