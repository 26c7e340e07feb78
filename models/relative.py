"""Motion relative to a craft on a circular orbit, linearized (Clohessy and Wiltshire 1960, J. Aerospace Sci. 27:653).

Axes of the reference craft: outward, along, cross, in that order. Valid while distances are small against the radius;
with the along-track coordinate taken along the arc (radius times angle) it holds for long arcs too, while the
difference in radius is small. Rates are those of the reference orbit, rad/s.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def relative_transition(rate_rad_s: ArrayLike, time_s: ArrayLike) -> Array:
    """State-transition matrix of the relative motion.

    Args:
        rate_rad_s: n, the mean motion of the reference orbit.
        time_s: time of flight; broadcasts against the rate.

    Returns:
        Shape (..., 6, 6), positions (outward, along, cross) before velocities (Vallado 2013, eqs. 6-66, 6-67).
    """
    n, t = np.broadcast_arrays(np.asarray(rate_rad_s, dtype=np.float64), np.asarray(time_s, dtype=np.float64))
    angle = n * t
    s, c = np.sin(angle), np.cos(angle)
    matrix = np.zeros((*n.shape, 6, 6))
    matrix[..., 0, 0] = 4.0 - 3.0 * c
    matrix[..., 0, 3] = s / n
    matrix[..., 0, 4] = 2.0 * (1.0 - c) / n
    matrix[..., 1, 0] = 6.0 * (s - angle)
    matrix[..., 1, 1] = 1.0
    matrix[..., 1, 3] = -2.0 * (1.0 - c) / n
    matrix[..., 1, 4] = 4.0 * s / n - 3.0 * t
    matrix[..., 2, 2] = c
    matrix[..., 2, 5] = s / n
    matrix[..., 3, 0] = 3.0 * n * s
    matrix[..., 3, 3] = c
    matrix[..., 3, 4] = 2.0 * s
    matrix[..., 4, 0] = -6.0 * n * (1.0 - c)
    matrix[..., 4, 3] = -2.0 * s
    matrix[..., 4, 4] = 4.0 * c - 3.0
    matrix[..., 5, 2] = -n * s
    matrix[..., 5, 5] = c
    return matrix


def relative_flight(
    position_m: ArrayLike, velocity_m_s: ArrayLike, rate_rad_s: ArrayLike, time_s: ArrayLike
) -> tuple[Array, Array]:
    """Relative position and velocity after a time, shapes (..., 3); arguments as for :func:`relative_transition`.

    A push along the motion of a craft at rest there leaves it behind, by 6 pi times the push over n in a turn:

    >>> position, _ = relative_flight([0.0, 0.0, 0.0], [0.0, 1.0, 0.0], 1.0, 2.0 * np.pi)
    >>> round(float(position[1] / np.pi), 9)
    -6.0
    """
    start = np.concatenate(
        np.broadcast_arrays(np.asarray(position_m, dtype=np.float64), np.asarray(velocity_m_s, dtype=np.float64)),
        axis=-1,
    )
    end = np.einsum("...ij,...j->...i", relative_transition(rate_rad_s, time_s), start)
    return np.asarray(end[..., :3]), np.asarray(end[..., 3:])


def velocity_to_meet(position_m: ArrayLike, rate_rad_s: ArrayLike, time_s: ArrayLike) -> Array:
    """Relative velocity with which a craft reaches the origin in a time, m/s, shape (..., 3).

    Not defined at whole multiples of half a turn, where the matrix to be inverted is singular: LinAlgError or very
    large values there (Vallado 2013, eq. 6-68).
    """
    position = np.asarray(position_m, dtype=np.float64)
    matrix = relative_transition(rate_rad_s, time_s)
    aimed = np.einsum("...ij,...j->...i", matrix[..., :3, :3], position)
    return np.asarray(-np.linalg.solve(matrix[..., :3, 3:], aimed[..., None])[..., 0])
