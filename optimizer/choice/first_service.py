"""First service: the moment at which some k neighboring slots of one plane all hold a craft.

Craft that stay count as in place from the beginning. Which k neighbors come first is free, so the moment is a minimum
over groups of neighbors of a maximum over the group: thresholds are set group by group (see ``front.py``).
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from ...models.ring import Ring
from ..problem.options import Options
from ..problem.problem import Problem


def neighbor_groups(ring: Ring, neighbors: int) -> tuple[frozenset[int], ...]:
    """Every set of that many neighboring slots, plane by plane; slots are counted through the planes.

    Args:
        neighbors: k, from 1 to the slots of a plane.

    Raises:
        ValueError: k is out of that range.

    >>> four = Ring(radius_m=1e7, slots=4, rate_rad_s=1e-3, slot0_rad=0.0, gm=4e14)
    >>> [sorted(group) for group in neighbor_groups(four, 2)]
    [[0, 1], [1, 2], [2, 3], [0, 3]]
    >>> [sorted(group) for group in neighbor_groups(four, 4)]
    [[0, 1, 2, 3]]
    """
    if not 1 <= neighbors <= ring.slots:
        raise ValueError(f"{neighbors} neighbors are asked for, of {ring.slots} slots: 1 to {ring.slots} would do")
    found: dict[frozenset[int], None] = {}
    for plane in range(ring.planes):
        for first in range(ring.slots):
            found[frozenset(plane * ring.slots + (first + j) % ring.slots for j in range(neighbors))] = None
    return tuple(found)


def kept_slots(problem: Problem) -> frozenset[int]:
    """Slots that craft hold which stay."""
    return (
        frozenset(range(problem.ring.slots * problem.ring.planes)) - frozenset(problem.free_slots) - problem.left_free
    )


def served_s(ring: Ring, in_place_s: Mapping[int, float], neighbors: int) -> float:
    """When some k neighboring slots all hold a craft, s; infinite where that never happens.

    Args:
        in_place_s: for each slot that is filled, since when, s; from the beginning: 0.

    >>> four = Ring(radius_m=1e7, slots=4, rate_rad_s=1e-3, slot0_rad=0.0, gm=4e14)
    >>> served_s(four, {0: 50.0, 1: 10.0, 2: 30.0}, 2), served_s(four, {0: 50.0, 2: 30.0}, 2)
    (30.0, inf)
    """
    return min(max(in_place_s.get(slot, math.inf) for slot in group) for group in neighbor_groups(ring, neighbors))


def first_service_s(problem: Problem, options: Options, neighbors: int) -> float:
    """First service of a choice of options, s; infinite where it leaves too few neighbors."""
    in_place = dict.fromkeys(kept_slots(problem), 0.0)
    in_place.update(zip(options.slot.tolist(), options.finish_s.tolist(), strict=True))
    return served_s(problem.ring, in_place, neighbors)
