"""The type of real arrays, and the product of vectors whose components come first."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def dot(left: Array, right: Array) -> Array:
    """Product over the first axis, of two or three components; the axes behind it broadcast.

    >>> dot(np.array([1.0, 2.0]), np.array([3.0, 4.0]))
    np.float64(11.0)
    """
    total: Array = left[0] * right[0] + left[1] * right[1]
    return total if len(left) == 2 else total + left[2] * right[2]
