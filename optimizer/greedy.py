"""A first plan, quickly: craft are served in turn, dense pads first; a heuristic that proves nothing."""

from __future__ import annotations

import time
from itertools import pairwise

import numpy as np

from .columns import Bool, I
from .packing import Packed


def serve_in_turn(packed: Packed, deadline_s: float | None = None, barred: Bool | None = None) -> tuple[I, bool]:
    """Serve row by row what is cheapest, then earliest; whether all craft are served. Earliest first packs the pads.

    Rows are the slots, or the classes where slots stay free. Those with the fewest cheapest columns come first; then,
    again and again, those that were left out or dear the last time (Joslin and Clements 1999).
    """
    n, slots, moments = packed.cost.size, packed.slots, packed.first.size
    if packed.more_column.size or packed.side_limit.size or n == 0:
        return np.empty(0, dtype=np.intp), n == 0
    full = int(packed.count.sum()) == slots
    of_class, of_slot = packed.key // slots, packed.key % slots
    of_row, rows = (of_slot, slots) if full else (of_class, packed.count.size)
    order = np.argsort(of_row, kind="stable")
    if barred is not None:
        order = order[~barred[order]]
    ends = np.searchsorted(of_row[order], np.arange(rows + 1)).tolist()
    moment, cost = packed.moment[order], packed.cost[order]
    slot, kind = of_slot[order], of_class[order]
    least = np.minimum.reduceat(cost, ends[:-1]) if all(a < b for a, b in pairwise(ends)) else np.zeros(rows)
    urgency = -np.bincount(of_row[order][cost <= least[of_row[order]] * (1 + 1e-9)], minlength=rows).astype(float)
    conflicts = _conflicts(packed)
    best: list[int] = []
    reward = (-1, 0.0)
    for attempt in range(3 if rows <= 64 else 16):
        blocked = np.zeros(moments + 1, dtype=bool)
        excluded: set[int] = set()
        taken = np.zeros(slots, dtype=bool)
        left = packed.count.copy()
        chosen: list[int] = []
        total = 0.0
        missed = np.zeros(rows)
        for row in np.argsort(-urgency, kind="stable").tolist():
            a, b = ends[row], ends[row + 1]
            for _ in range(1 if full else int(packed.count[row])):
                free = ~(blocked[moment[a:b]] | (left[kind[a:b]] <= 0 if full else taken[slot[a:b]]))
                if excluded:
                    free &= ~np.isin(order[a:b], list(excluded))
                at = np.flatnonzero(free)
                if at.size == 0:
                    missed[row] = np.inf
                    break
                price = cost[a:b][at]
                at = at[price <= price.min()]
                pick = a + int(at[np.argmin(moment[a:b][at])])
                chosen.append(int(order[pick]))
                total += float(cost[pick])
                missed[row] += float(cost[pick]) - least[row]
                left[kind[pick]] -= 1
                taken[slot[pick]] = True
                if moment[pick] < moments:
                    blocked[packed.first[moment[pick]] : packed.last[moment[pick]]] = True
                excluded.update(*(packed.members(g).tolist() for g in conflicts.get(chosen[-1], ())))
        if (len(chosen), -total) > reward:
            best, reward = chosen, (len(chosen), -total)
        late = deadline_s is not None and time.monotonic() > deadline_s
        if not missed.any() or late:
            break
        floor = urgency.max()
        urgency[np.isinf(missed)] = floor + 2.0 + attempt
        dear = (missed > 0) & np.isfinite(missed)
        urgency[dear] = floor + missed[dear] / missed[dear].max() if dear.any() else floor
    return np.array(best, dtype=np.intp), len(best) == int(packed.count.sum())


def _conflicts(packed: Packed) -> dict[int, list[int]]:
    """The conflict sets of each column that has any."""
    out: dict[int, list[int]] = {}
    for group in range(packed.group_start.size):
        for column in packed.members(group).tolist():
            out.setdefault(column, []).append(group)
    return out
