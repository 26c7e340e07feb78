"""The work that sunlight does on a craft in a turn, exact at the edges of the shadow.

Light of one direction and strength does no work on a closed path; with a shadow it does F . r at the place where the
craft goes into it less F . r where it comes out, F being the push. That difference is small, since both edges are about
as far behind the body, and a sum over points of the path, which knows an edge no better than to a point, drowns it.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..arrays import Array
from .forces import Surfaces
from .sunlight import Sunlight

EDGES = 96
"""Points between which the edges of the shadow are looked for; between two of them in proportion."""


def shadow_work(light: Sunlight, time_s: float, place: Callable[[Array], Array], surfaces: Surfaces) -> Array:
    """Work over a turn, J/kg, (n,), in the cylinder of the shadow.

    Args:
        place: positions, m, (3, k, n), at eccentric longitudes of (k, n), or (k, 1).
        surfaces: of the n craft.
    """
    around = (2.0 * np.pi / EDGES) * np.arange(EDGES + 1.0)
    sun = light.sun.position(np.array([time_s]))[:, 0]
    distance = float(np.linalg.norm(sun))
    sunward = sun / distance
    r = place(around[:, np.newaxis])
    ahead = np.einsum("i,ikn->kn", sunward, r)
    beside = np.sqrt(np.maximum(np.einsum("ikn,ikn->kn", r, r) - ahead**2, 0.0))
    # on the day side nothing is near the shadow
    height = np.where(ahead < 0.0, beside - light.radius_m, light.radius_m)
    changes = np.signbit(height[1:]) != np.signbit(height[:-1])
    row, craft = np.nonzero(changes)
    before, after = height[row, craft], height[row + 1, craft]
    edge = around[row] + (2.0 * np.pi / EDGES) * before / (before - after)
    # the rows of a table with one column a craft: every crossing in a row of its own
    table = np.zeros((row.size, surfaces.light_m2_kg.size))
    table[np.arange(row.size), craft] = edge
    depth = np.einsum("i,ikn->kn", sunward, place(table))[np.arange(row.size), craft]
    # going in where the height falls below nothing: the push along -sunward ends there
    gained = np.where(after < before, -depth, depth)
    work = np.zeros(surfaces.light_m2_kg.size)
    np.add.at(work, craft, gained)
    return work * light.push_m_s2(distance) * surfaces.light_m2_kg
