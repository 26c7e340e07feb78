"""Whole loads from options of single craft: each slot its own, none beaten in total, in the worst craft and in time.

For one liftoff, parking wait and carrier orbit the craft choose independently of one another, so under every latest
finish the cheapest plan takes the cheapest option for each slot: the bundles made here are those, for every finish that
makes a difference. Unlike craft are matched so that who can pay less pays less.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from ...models.deadline import poll
from ...models.memory import need
from ..problem.options import F, I, Options, empty
from ..problem.problem import Aboard

SUBSETS_MAX = 64
"""Most ways to pick the slots that one carrier fills; where there are more, only runs of neighboring slots are."""

DROP_S = 1.0
"""A craft that gets into its slot this shortly before the carrier leaves there is only just being dropped."""

CHOICE_BYTES = 60.0
"""What a choice takes at the most; few of them are within the limits, and only those are written down."""

LastPasses = Callable[[Options, I], F]
"""When each option last passes each of some slots too closely, (n, slots), -inf for never."""


def of_use(rows: Options, group: I) -> I:
    """The rows, sorted by group, finish and delta-v, that are cheaper than all before them of their group and slot."""
    order = np.lexsort((rows.slot, group))
    cost, number = rows.delta_v_m_s[order], np.zeros(len(rows), dtype=np.int64)
    number[1:] = np.cumsum((np.diff(group[order]) != 0) | (np.diff(rows.slot[order]) != 0))
    # ranks lowered from one run to the next turn the running minimum of each into one accumulate
    lowered = np.unique(cost, return_inverse=True)[1].reshape(-1) - number * (len(rows) + 1)
    kept = np.ones(len(rows), dtype=bool)
    kept[1:] = lowered[1:] < np.minimum.accumulate(lowered)[:-1]
    return np.sort(order[kept])


def bundles(rows: Options, group: I, aboard: Aboard, slots: I, last_passes: LastPasses) -> Options:
    """Whole loads from the options of single craft: for each group and each finish that makes a difference.

    Rows are sorted by group, finish and delta-v, without those that are of no use. ``last_passes``: when each last
    passes each slot too closely.
    """
    size = aboard.craft_class.size
    if not len(rows) or size > slots.size:
        return empty()
    need(len(rows) * slots.size * CHOICE_BYTES)
    passed_s = last_passes(rows, slots)
    best = _best_so_far(rows, group, slots)
    found, picked = [], []
    for chosen in subsets(slots.size, size):
        poll()
        # only what goes into one of these slots makes a difference to them
        (own,) = np.nonzero(np.isin(rows.slot, slots[chosen]))
        index = best[own[:, None], chosen]
        whole = np.all(index >= 0, axis=1)
        own, index = own[whole], index[whole]
        if own.size:
            found.append(np.column_stack([own, index]))
            picked.append(chosen)
    if not found:
        return empty()
    for number, (part, chosen) in enumerate(zip(found, picked, strict=True)):
        # a craft in its slot may not be passed by one that is still under way; the drop itself is no meeting
        members = part[:, 1:]
        in_place = rows.finish_s[members][:, None, :] + DROP_S < passed_s[members[:, :, None], chosen]
        found[number] = part[~in_place.any(axis=(1, 2))]
    table = np.concatenate(found)
    subset = np.concatenate([np.full(len(part), number) for number, part in enumerate(found)])
    members = table[:, 1:]
    spent = rows.delta_v_m_s[members]
    # who can pay less pays less
    by_price = np.argsort(spent, axis=1, kind="stable")
    members, spent = np.take_along_axis(members, by_price, axis=1), np.take_along_axis(spent, by_price, axis=1)
    able = np.all(spent <= aboard.allowed_m_s + 1e-9, axis=1)
    members, spent, subset = members[able], spent[able], subset[able]
    finish = rows.finish_s[members].max(axis=1) if members.size else np.zeros(0)
    kept = _unbeaten(rows.liftoff_s[members[:, 0]], subset, spent.sum(axis=1), spent[:, -1], finish)
    members = members[kept]
    made = rows.take(members.ravel())
    return replace(
        made,
        craft_class=np.tile(aboard.craft_class, len(members)),
        bundle=np.repeat(np.arange(len(members)), size),
    )


def subsets(slots: int, size: int) -> list[list[int]]:
    """Which of so many slots one load may fill, as lists of positions.

    >>> subsets(4, 4), len(subsets(4, 2)), len(subsets(40, 6))
    ([[0, 1, 2, 3]], 6, 40)
    """
    if math.comb(slots, size) <= SUBSETS_MAX:
        return [list(chosen) for chosen in itertools.combinations(range(slots), size)]
    return [sorted((first + j) % slots for j in range(size)) for first in range(slots)]


def _best_so_far(rows: Options, group: I, slots: I) -> I:
    """For each row and each slot, the cheapest row of the same group that finishes no later; -1 where none does."""
    n = len(rows)
    cheap = np.argsort(rows.delta_v_m_s, kind="stable")
    rank = np.empty(n, dtype=np.int64)
    rank[cheap] = np.arange(n)
    # ranks lowered group by group turn the running minimum of each group into one accumulate
    number = np.cumsum(np.diff(group, prepend=group[0]) > 0)
    lowered = number * (n + 1)
    found = np.empty((n, slots.size), dtype=np.int64)
    for position, slot in enumerate(slots.tolist()):
        own = np.where(rows.slot == slot, rank, n) - lowered
        least = np.minimum.accumulate(own) + lowered
        found[:, position] = np.where(least < n, cheap[np.minimum(least, n - 1)], -1)
    return found


def _unbeaten(liftoff_s: F, subset: I, total: F, worst: F, finish_s: F) -> I:
    """Bundles that no quicker one of the same liftoff and slots beats, both in total and in the worst craft."""
    if not total.size:
        return np.zeros(0, dtype=np.int64)
    total, worst, finish = np.round(total, 8), np.round(worst, 8), np.round(finish_s, 5)
    order = np.lexsort((worst, total, finish, subset, liftoff_s))
    start = np.ones(order.size, dtype=bool)
    start[1:] = (np.diff(liftoff_s[order]) != 0.0) | (np.diff(subset[order]) != 0)
    kept = start.copy()
    for value in (total[order], worst[order]):
        ranks = np.unique(value, return_inverse=True)[1].reshape(-1)
        lowered = ranks - np.cumsum(start) * (order.size + 2)
        best = np.minimum.accumulate(lowered)
        kept[1:] |= lowered[1:] < best[:-1]
    return np.sort(order[kept])
