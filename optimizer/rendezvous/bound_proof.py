"""The proof of a bound: the largest rate of F over everything in reach is at most one, by branch and bound.

Boxes over (g, x, y, l) are dropped where no flight within the cost can be, or where an enclosure of the squared rate
stays below one; the others are halved. Rounding is covered by the enclosures (see ``enclosure.py``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...models.arrays import Array
from .bound_domain import MARGIN, Domain, grid, reachable
from .bound_rates import largest_squares, values
from .enclosure import coordinates

FIRST_CELLS = (4, 6, 6, 8)
BLOCK = 16384
BOXES_MAX = 30_000_000


@dataclass(frozen=True, kw_only=True)
class Bound:
    """A function F and what it is valid for. Units: ring radius 1, circular speed 1.

    Args:
        lead: range of the lead over the allowed time, radians a radian, both of one sign or zero.
        turns: the least allowed time in ring periods; any longer one will do.
        cap: F bounds flights that cost no more than this.
        coefficients: of F, as ``bound_rates.MONOMIALS`` has them.
    """

    lead: tuple[float, float]
    turns: float
    cap: float
    coefficients: tuple[float, ...]

    @property
    def k_most(self) -> float:
        return 1.0 / (2.0 * np.pi * self.turns)

    def least(self, lead: Array | float) -> Array:
        """What every flight that ends in the slot on the winding of this lead costs at least, in circular speeds."""
        start = np.asarray(values(self.coefficients, 0.0, -np.asarray(lead, dtype=np.float64), 0.0))
        return np.clip(start * (1.0 - MARGIN), 0.0, self.cap)


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """Whether the proof came through, how many boxes it took, and where the rate is largest: states (4, N), rates."""

    proved: bool
    boxes: int
    states: Array
    rates: Array


def prove(bound: Bound, boxes_max: int = BOXES_MAX) -> Verdict:
    """Prove that the rate of F is at most one over the whole domain of a bound."""
    return cover(reachable(bound.lead, bound.k_most, bound.cap), bound.coefficients, bound.k_most, boxes_max)


def cover(domain: Domain, coefficients: Sequence[float], k_most: float, boxes_max: int = BOXES_MAX) -> Verdict:
    """Branch and bound over a domain; it ends with the first box whose center lies in reach and has a rate above one.

    Returns:
        ``proved`` is False too where ``boxes_max`` did not do.
    """
    e, g = domain.e_most, domain.g_most
    low, high = np.array([-g, -e, -e, domain.l_range[0]]), np.array([g, e, e, domain.l_range[1]])
    centers, halves = grid(low, high, FIRST_CELLS)
    widths = 0.5 * (high - low)
    count = 0
    stack = [(centers, halves)]
    while stack:
        centers, halves = stack.pop()
        if len(centers[0]) > BLOCK:
            stack.append((centers[:, BLOCK:], halves[:, BLOCK:]))
            centers, halves = centers[:, :BLOCK], halves[:, :BLOCK]
        kept = ~domain.excluded(centers, halves)
        centers, halves = centers[:, kept], halves[:, kept]
        count += centers.shape[1]
        if not centers.shape[1]:
            continue
        squares = largest_squares(coefficients, k_most, coordinates(centers, halves))
        most = np.max([one.highest() for one in squares], axis=0)
        still = most > 1.0
        if not still.any():
            continue
        centers, halves = centers[:, still], halves[:, still]
        rates = np.sqrt(np.max([one.middle[still] - one.rest[still] for one in squares], axis=0).clip(0.0))
        at = rates > 1.0
        if at.any() or count > boxes_max:
            here = ~domain.excluded(centers, np.zeros_like(halves)) & at
            if here.any() or count > boxes_max:
                return Verdict(proved=False, boxes=count, states=centers[:, here], rates=rates[here])
        slopes = np.max([np.abs(one.slopes[:, still]) for one in squares], axis=0)
        score = slopes + 0.3 * halves / widths[:, None] * np.max([one.rest[still] for one in squares], axis=0)
        stack.append(halved(centers, halves, np.argmax(score, axis=0)))
    return Verdict(proved=True, boxes=count, states=np.zeros((4, 0)), rates=np.zeros(0))


def halved(centers: Array, halves: Array, axis: Array) -> tuple[Array, Array]:
    """Each box cut into two along its own axis."""
    column = np.arange(centers.shape[1])
    half = halves.copy()
    half[axis, column] *= 0.5
    step = np.zeros_like(half)
    step[axis, column] = half[axis, column]
    half[axis, column] *= 1.0 + MARGIN
    return np.concatenate([centers - step, centers + step], axis=1), np.concatenate([half, half], axis=1)
