"""Which orbits a flight from the ring back to the ring can reach when it costs at most so much, proved.

A flight of cost V or less has at each moment, within its impulses too, either spent at most V / 2 or at most V / 2 to
go. So its orbit is reached from the ring's circle, forward or backward in time, by S = V / 2:

- The eccentricity vector changes by at most 2 / c per unit of impulse: over axes (outward, transverse) its rate is
  (q / c) [[0, 2], [-1, -y / w]], and with \\|y / w\\| <= e / q the square of its norm is at most
  (5 - 4 e^2 + sqrt(9 - 8 e^2)) / 2 / c^2 <= 4 / c^2.
- c = 1 + g changes by at most the speed over c, sqrt((1 + e) / (1 - e)) at a periapsis.

With c >= c0 all the way, e <= 2 s / c0 after s, hence \\|g\\| <= (c0 / 2) (arcsin U + 1 - sqrt(1 - U^2)) with
U = 2 S / c0; where that is at most 1 - c0, c never leaves [c0, 2 - c0].

Straight functions A g + B l have a largest rate over this box; divided by it they bound what reaching a state and going
on from it cost, and only states where both together are within V belong to the domain.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...models.arrays import Array
from .bound_rates import MONOMIALS, largest_squares
from .enclosure import coordinates

TILTS = (0.0, 0.15, 0.3, 0.4, 0.5, 0.6, 0.7, 0.85, 1.0, 1.3)
"""Straight functions l - 3 t g, for these t."""
CELLS = 12
"""Cells along each of g, x and y over which the largest rates of straight functions are bounded."""
MARGIN = 1e-9
"""Share by which proved sizes are taken larger, far above any rounding."""


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


def orbit_extent(half_cost: float) -> tuple[float, float]:
    """Largest \\|g\\| and e of orbits reached from the circle by so much, with ``MARGIN``.

    Raises:
        ValueError: where the cost is too large for the closed form.
    """
    least = 1.0 - half_cost
    for _ in range(200):
        share = 2.0 * half_cost / least
        if not 0.0 <= share < 0.9:
            raise ValueError(f"a cost of {2 * half_cost} circular speeds is too large to bound the orbits by")
        reach = 0.5 * least * (math.asin(share) + 1.0 - math.sqrt(1.0 - share * share))
        if reach * (1.0 + MARGIN) <= 1.0 - least:
            return (1.0 - least) * (1.0 + MARGIN), share * (1.0 + MARGIN)
        least = 1.0 - reach * (1.0 + 2.0 * MARGIN)
    raise ValueError(f"a cost of {2 * half_cost} circular speeds is too large to bound the orbits by")


def grid(low: Array, high: Array, cells: tuple[int, ...]) -> tuple[Array, Array]:
    """Boxes that cover a box: centers and half-widths, (d, N) each; the half-widths overlap by ``MARGIN``."""
    edges = [np.linspace(a, b, count + 1) for a, b, count in zip(low, high, cells, strict=True)]
    middles = np.meshgrid(*[0.5 * (e[1:] + e[:-1]) for e in edges], indexing="ij")
    halves = np.meshgrid(*[np.full(len(e) - 1, 0.5 * (e[-1] - e[0]) / (len(e) - 1)) for e in edges], indexing="ij")
    centers = np.stack([one.ravel() for one in middles])
    return centers, np.stack([one.ravel() for one in halves]) * (1.0 + MARGIN)


def straight_functions(g_most: float, e_most: float, k_most: float) -> Array:
    """Straight functions with their largest rate, over all |g| and e within these bounds, made one: (A, B), (M, 2)."""
    low, high = np.array([-g_most, -e_most, -e_most]), np.array([g_most, e_most, e_most])
    centers, halves = grid(low, high, (CELLS,) * 3)
    inside = np.hypot(*np.maximum(np.abs(centers[1:]) - halves[1:], 0.0)) <= e_most
    boxes = coordinates(centers[:, inside], halves[:, inside])
    state = (*boxes, boxes[0])  # l does not matter: the function is straight
    found = []
    for by_g, by_l in [(1.0, 0.0)] + [(-3.0 * tilt, 1.0) for tilt in TILTS]:
        coefficients = [{(1, 0, 0): by_g, (0, 1, 0): by_l}.get(one, 0.0) for one in MONOMIALS]
        most = max(float(one.highest().max()) for one in largest_squares(coefficients, k_most, state))
        rate = math.sqrt(most) * (1.0 + MARGIN)
        found.append((by_g / rate, by_l / rate))
    return np.array(found)


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
