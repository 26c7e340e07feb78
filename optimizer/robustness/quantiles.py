"""Quantiles of samples with their own uncertainty, by order statistics: nothing is assumed about the distribution.

The number of n samples below the p-quantile is binomial(n, p), so that the r-th smallest sample is at or above the
quantile with the probability that no more than r - 1 are below it. Source: H. A. David and H. N. Nagaraja, *Order
Statistics*, 3rd edition, section 7.1 (from memory). scipy counts the ranks.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...models.arrays import Array

CONFIDENCE = 0.95
"""How sure each of the two bounds of a quantile is, alone."""


@dataclass(frozen=True, kw_only=True)
class Quantile:
    """A quantile of samples with bounds, each of which holds with `CONFIDENCE`.

    ``high`` is infinite, or ``low`` minus infinity, where the samples are too few to bound it.
    """

    share: float
    value: float
    low: float
    high: float


def quantiles(values: Array, shares: tuple[float, ...]) -> tuple[Quantile, ...]:
    """Quantiles of samples, shape (samples,), each the smallest sample that at least that share does not exceed.

    >>> [one] = quantiles(np.arange(1.0, 300.0), (0.99,))
    >>> float(one.value), one.high
    (297.0, 299.0)
    """
    return tuple(
        Quantile(
            share=share,
            value=float(np.quantile(values, share, method="inverted_cdf")),
            low=_bound(values, share, above=False),
            high=_bound(values, share, above=True),
        )
        for share in shares
    )


def _bound(values: Array, share: float, *, above: bool) -> float:
    """One bound of a quantile; infinite where the samples are too few."""
    from scipy.stats import quantile_test

    tested = quantile_test(values, p=share, alternative="less" if above else "greater")
    interval: Any = tested.confidence_interval(CONFIDENCE)  # the stubs know no ends of it
    bound = float(interval.high if above else interval.low)
    return bound if math.isfinite(bound) else math.inf if above else -math.inf
