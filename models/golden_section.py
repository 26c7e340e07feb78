"""Where functions of one number have their least, for many of them side by side."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from .arrays import Array

SHARE = 0.5 * (np.sqrt(5.0) - 1.0)
"""Of a span, what a step leaves."""


def least_between(value: Callable[[Array], Array], left: Array, right: Array, steps: int) -> Array:
    """Where each of n functions with one least between two bounds has it (golden section; Kiefer 1953, from memory).

    Args:
        value: all of them, each at its own place, (n,).
        left, right: the bounds, (n,).
        steps: how many are made; each leaves 0.62 of the span.

    Returns:
        The middles of the spans that are left, (n,).

    >>> round(float(least_between(np.cos, np.array([3.0]), np.array([3.5]), 40)[0]), 6)
    3.141593
    """
    a, b = right - SHARE * (right - left), left + SHARE * (right - left)
    at_a, at_b = value(a), value(b)
    for _ in range(steps):
        nearer = at_a < at_b
        left, right = np.where(nearer, left, a), np.where(nearer, b, right)
        kept, at_kept = np.where(nearer, a, b), np.where(nearer, at_a, at_b)
        fresh = np.where(nearer, right - SHARE * (right - left), left + SHARE * (right - left))
        at_fresh = value(fresh)
        a, b = np.where(nearer, fresh, kept), np.where(nearer, kept, fresh)
        at_a, at_b = np.where(nearer, at_fresh, at_kept), np.where(nearer, at_kept, at_fresh)
    return np.asarray(0.5 * (left + right))
