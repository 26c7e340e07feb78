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
on from it cost.
"""

from __future__ import annotations

import math

import numpy as np

from ...models.arrays import Array
from .bound_rates import MONOMIALS, largest_squares
from .enclosure import coordinates

TILTS = (0.0, 0.15, 0.3, 0.4, 0.5, 0.6, 0.7, 0.85, 1.0, 1.3)
"""Straight functions l - 3 t g, for these t."""
CELLS = 12
"""Cells along each of g, x and y over which the largest rates of straight functions are bounded."""
MARGIN = 1e-9
"""Share by which proved sizes are taken larger, far above any rounding."""


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
