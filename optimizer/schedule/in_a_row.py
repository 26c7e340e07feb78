"""A plan for alike craft that go up one after another: liftoffs as dense as the pads allow, then who fills which slot.

Liftoffs that stand a turnaround apart are picked first, the earliest again and again; with them fixed the slots are a
plain assignment. A heuristic that proves nothing, for what the relaxation takes long to find: pads that are never idle.
"""

from __future__ import annotations

import numpy as np

from .columns import Bool, I
from .presolve import Packed

CRAFT_MIN = 8
"""Craft below which the relaxation is quick enough."""

CELLS_MAX = 4_000_000
"""Liftoffs times slots above which nothing is tried."""


def in_a_row(packed: Packed, barred: Bool | None = None) -> I:
    """Columns of a plan; empty where none was found, where craft are unlike or few, and where one needs no pad.

    Args:
        packed: the problem.
        barred: (n,) columns that may not be used.
    """
    none = np.empty(0, dtype=np.intp)
    if packed.count.size != 1 or packed.width is not None or np.any(packed.moment >= packed.moments):
        return none
    if int(packed.count[0]) < CRAFT_MIN:
        return none
    ids = np.arange(packed.cost.size) if barred is None else np.flatnonzero(~barred)
    moments = np.unique(packed.moment[ids]).astype(np.intp)
    for at in (_early(packed, moments), _late(packed, moments)):
        plan = _assigned(packed, ids, at)
        if plan.size and packed.kept_by(plan):
            return plan
    return none


def _assigned(packed: Packed, ids: I, at: I) -> I:
    """The cheapest columns that use each of some liftoffs once, or fill each slot; empty where that is impossible."""
    from scipy.optimize import linear_sum_assignment

    none = np.empty(0, dtype=np.intp)
    wanted = int(packed.count[0])
    slots, column = np.unique(packed.key[ids] % packed.slots, return_inverse=True)
    if wanted < slots.size:
        at = at[:wanted]
    if min(at.size, slots.size) != wanted or at.size * slots.size > CELLS_MAX:
        return none
    row = np.minimum(np.searchsorted(at, packed.moment[ids]), at.size - 1)
    picked = at[row] == packed.moment[ids]
    ids, cell = ids[picked], row[picked] * slots.size + column[picked]
    cost = np.full(at.size * slots.size, np.inf)
    np.minimum.at(cost, cell, packed.cost[ids])
    winner = np.full(cost.size, -1)
    cheapest = packed.cost[ids] == cost[cell]
    winner[cell[cheapest][::-1]] = ids[cheapest][::-1]
    try:
        who, where = linear_sum_assignment(cost.reshape(at.size, slots.size))
    except ValueError:  # scipy's word for a table without a finite assignment
        return none
    return np.sort(winner[who * slots.size + where])


def _early(packed: Packed, moments: I) -> I:
    """Of sorted moments the earliest one again and again, each a turnaround or more after the last on its pad."""
    found = []
    place = 0
    while place < moments.size:
        found.append(int(moments[place]))
        place = int(np.searchsorted(moments, packed.last[moments[place]]))
    return np.array(found, dtype=np.intp)


def _late(packed: Packed, moments: I) -> I:
    """The same from the last one back."""
    found = []
    place = moments.size - 1
    while place >= 0:
        found.append(int(moments[place]))
        place = int(np.searchsorted(moments, packed.first[moments[place]])) - 1
    return np.array(found[::-1], dtype=np.intp)
