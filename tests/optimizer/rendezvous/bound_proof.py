"""The proof of a bound: the largest rate of F over everything in reach is at most one, by branch and bound.

Boxes over (g, x, y, l) are dropped where no flight within the cost can be, or where an enclosure of the squared rate
stays below one; the others are halved. Rounding is covered by the enclosures (see ``rendezvous/enclosure.py``). In
reach is what ``rendezvous/bound_domain.py`` leaves of orbits, less states that straight functions say cost more than V
to come to and to go on from together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ringwright.models.arrays import Array
from ringwright.optimizer.rendezvous.bound_domain import MARGIN, grid, orbit_extent, straight_functions
from ringwright.optimizer.rendezvous.bound_rates import largest_squares
from ringwright.optimizer.rendezvous.enclosure import coordinates
from ringwright.optimizer.rendezvous.lower_bound import Bound

FIRST_CELLS = (4, 6, 6, 8)
BLOCK = 16384
BOXES_MAX = 30_000_000


@dataclass(frozen=True, kw_only=True)
class Domain:
    """Orbits that a flight of cost ``cap`` can reach, for leads from ``lead[0]`` to ``lead[1]`` per radian of time.

    Args:
        cap: V, in circular speeds.
        g_most, e_most: bounds of \\|g\\| and e.
        l_range: bounds of l.
        straight: rows (A, B): a change of A g + B l costs at least its size, (M, 2).
        lead_middle, lead_half: of the range of leads.
        e_cost: what a change of e costs at least, per unit.
    """

    cap: float
    g_most: float
    e_most: float
    l_range: tuple[float, float]
    straight: Array
    lead_middle: float
    lead_half: float
    e_cost: float

    def excluded(self, centers: Array, half_widths: Array) -> NDArray[np.bool_]:
        """Which boxes over (g, x, y, l) hold no state that a flight of cost ``cap`` can reach, (N,)."""
        g, x, y, l = centers  # noqa: E741
        g_half, x_half, y_half, l_half = half_widths
        by_g, by_l = self.straight[:, :1], self.straight[:, 1:]
        here = by_g * g + by_l * l
        spent, to_go = here + by_l * self.lead_middle, here
        spread = np.abs(by_g) * g_half + np.abs(by_l) * l_half
        leads = np.abs(by_l) * self.lead_half
        column = np.arange(len(g))
        i, j = np.argmax(np.abs(spent) - leads, axis=0), np.argmax(np.abs(to_go), axis=0)
        i_sign, j_sign = np.sign(spent[i, column]), np.sign(to_go[j, column])
        a = i_sign * self.straight[i, 0] + j_sign * self.straight[j, 0]
        b = i_sign * self.straight[i, 1] + j_sign * self.straight[j, 1]
        both = np.abs(spent[i, column]) + np.abs(to_go[j, column]) - np.abs(a) * g_half - np.abs(b) * l_half
        both -= leads[i, 0]
        e_least = np.hypot(np.maximum(np.abs(x) - x_half, 0.0), np.maximum(np.abs(y) - y_half, 0.0))
        one_way = np.maximum((np.abs(spent) - spread - leads).max(axis=0), (np.abs(to_go) - spread).max(axis=0))
        least = np.maximum(both, np.maximum(one_way, self.e_cost * e_least) + self.e_cost * e_least)
        out: NDArray[np.bool_] = (least > self.cap * (1.0 + MARGIN)) | (e_least > self.e_most)
        return out


def reachable(lead: tuple[float, float], k_most: float, cap: float) -> Domain:
    """The domain for leads per radian of time in a range, all T >= 1 / ``k_most``, and a cost.

    Raises:
        ValueError: where the cost is too large.
    """
    g_most, e_most = orbit_extent(0.5 * cap)
    straight = straight_functions(g_most, e_most, k_most)
    l_reach = 0.5 * cap / float(straight[1, 1]) * (1.0 + MARGIN)
    middle, half = 0.5 * (lead[0] + lead[1]), 0.5 * abs(lead[1] - lead[0]) * (1.0 + MARGIN)
    ends = (-middle - half, -middle + half, 0.0)
    return Domain(
        cap=cap,
        g_most=g_most,
        e_most=e_most,
        l_range=(min(ends) - l_reach, max(ends) + l_reach),
        straight=straight,
        lead_middle=middle,
        lead_half=half,
        e_cost=0.5 * (1.0 - g_most) * (1.0 - MARGIN),
    )


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
