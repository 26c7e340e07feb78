"""Motion relative to a craft on a circular orbit, linearized (Clohessy and Wiltshire 1960, J. Aerospace Sci. 27:653).

Axes of the reference craft: outward, along, cross, in that order. Valid while distances are small against the radius;
with the along-track coordinate taken along the arc (radius times angle) it holds for long arcs too, while the
difference in radius is small. Rates are those of the reference orbit, rad/s.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from .arrays import Array


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
