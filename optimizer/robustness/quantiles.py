"""Quantiles of samples with their own uncertainty, by order statistics: nothing is assumed about the distribution.

The number of n samples below the p-quantile is binomial(n, p), so that the r-th smallest sample is at or above the
quantile with the probability that no more than r - 1 are below it. Source: H. A. David and H. N. Nagaraja, *Order
Statistics*, 3rd edition, section 7.1 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

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


def rank_above(samples: int, share: float, confidence: float = CONFIDENCE) -> int | None:
    """The least rank, counted from 1, whose sample is at or above the quantile with that confidence; None for none.

    >>> rank_above(299, 0.99), rank_above(298, 0.99)
    (299, None)
    """
    from scipy.stats import binom

    rank = int(binom.ppf(confidence, samples, share)) + 1
    return rank if rank <= samples else None


def rank_below(samples: int, share: float, confidence: float = CONFIDENCE) -> int | None:
    """The greatest rank, counted from 1, whose sample is at or below the quantile with that confidence; None for none.

    >>> rank_below(299, 0.01), rank_below(298, 0.01)
    (1, None)
    """
    mirrored = rank_above(samples, 1.0 - share, confidence)
    return None if mirrored is None else samples + 1 - mirrored


def quantiles(values: Array, shares: tuple[float, ...]) -> tuple[Quantile, ...]:
    """Quantiles of samples, shape (samples,), each the smallest sample that at least that share does not exceed.

    >>> [one] = quantiles(np.arange(1.0, 300.0), (0.99,))
    >>> one.value, one.high
    (297.0, 299.0)
    """
    count = values.size
    ranks = [(max(math.ceil(share * count), 1), rank_below(count, share), rank_above(count, share)) for share in shares]
    wanted = sorted({rank - 1 for trio in ranks for rank in trio if rank is not None})
    parted = np.partition(values, wanted)
    return tuple(
        Quantile(
            share=share,
            value=float(parted[rank - 1]),
            low=-math.inf if low is None else float(parted[low - 1]),
            high=math.inf if high is None else float(parted[high - 1]),
        )
        for share, (rank, low, high) in zip(shares, ranks, strict=True)
    )
