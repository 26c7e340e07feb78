"""Whole loads from options of single craft: each slot its own, none beaten in total, in the worst craft and in time.

For one liftoff, parking wait and carrier orbit the craft choose independently of one another, so under every latest
finish the cheapest plan takes the cheapest option for each slot: the bundles made here are those, for every finish that
makes a difference. Unlike craft are matched so that who can pay less pays less. Where drops are a time apart they do
depend on one another (`carrier_spaced.py`).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from ...models.deadline import poll
from ...models.memory import need
from ..problem.detail import Mask
from ..problem.options import F, I, Options, empty
from ..problem.problem import Aboard
from .carrier_spaced import spaced_members

SUBSETS_MAX = 64
"""Most ways to pick the slots that one carrier fills; where there are more, only runs of neighboring slots are."""

DROP_S = 1.0
"""A craft that gets into its slot this shortly before the carrier leaves there is only just being dropped."""

CHOICE_BYTES = 60.0
"""What a choice takes at the most; few of them are within the limits, and only those are written down."""

BEST_BYTES = 24.0
"""The same of a row and a slot, where the best rows so far are looked up."""

ROUNDS = 4
"""After so many rounds of `unbeaten_that_keep` all that is left is asked at once."""

LastPasses = Callable[[Options, I], F]
"""When each option last passes another slot, one for each, too closely, (n,), -inf for never."""


def unbeaten_that_keep(count: int, unbeaten: Callable[[I], I], keeps: Callable[[I], Mask]) -> I:
    """The rows that none beats of those that keep, in order; few that others beat are asked whether they keep.

    Args:
        count: number of rows.
        unbeaten: which of some rows, ascending, none of them beats, as places in these; a row that is beaten must be
            so by rows that none beats.
        keeps: mask of some rows.
    """
    asked, left = np.zeros(count, dtype=bool), np.arange(count)
    for number in itertools.count():
        use = left[unbeaten(left)]
        new = use[~asked[use]] if number < ROUNDS else left[~asked[left]]
        if not new.size:
            return use
        poll()
        asked[new] = True
        left = np.setdiff1d(left, new[~keeps(new)], assume_unique=True)
    raise AssertionError


def of_use(slot: I, cost: F, group: I) -> I:
    """The rows, sorted by group, finish and delta-v, that are cheaper than all before them of their group and slot."""
    order = np.lexsort((slot, group))
    cost, number = cost[order], np.zeros(slot.size, dtype=np.int64)
    number[1:] = np.cumsum((np.diff(group[order]) != 0) | (np.diff(slot[order]) != 0))
    # ranks lowered from one run to the next turn the running minimum of each into one accumulate
    lowered = np.unique(cost, return_inverse=True)[1].reshape(-1) - number * (slot.size + 1)
    kept = np.ones(slot.size, dtype=bool)
    kept[1:] = lowered[1:] < np.minimum.accumulate(lowered)[:-1]
    return np.sort(order[kept])


def bundles(
    rows: Options, group: I, aboard: Aboard, slots: I, last_passes: LastPasses, apart_s: float = 0.0
) -> Options:
    """Whole loads from the options of single craft: for each group and each finish that makes a difference.

    Rows are sorted by group, finish and delta-v, without those that are of no use; drops are ``apart_s`` apart.
    """
    size = aboard.craft_class.size
    if not len(rows) or size > slots.size:
        return empty()
    picks = subsets(slots.size, size)
    if apart_s > 0.0 and size > 1:
        found = spaced_members(rows, group, slots, picks, apart_s)
    else:
        found = _members(rows, group, slots, picks)
    members = np.concatenate(found)
    subset = np.repeat(np.arange(len(found)), [len(part) for part in found])
    spent = rows.delta_v_m_s[members]
    # who can pay less pays less
    by_price = np.argsort(spent, axis=1, kind="stable")
    members, spent = np.take_along_axis(members, by_price, axis=1), np.take_along_axis(spent, by_price, axis=1)
    able = np.all(spent <= aboard.allowed_m_s + 1e-9, axis=1)
    members, spent, subset = members[able], spent[able], subset[able]
    liftoff, total, worst = rows.liftoff_s[members[:, 0]], spent.sum(axis=1), spent[:, -1]
    finish = rows.finish_s[members].max(axis=1, initial=-np.inf)
    kept = unbeaten_that_keep(
        len(members),
        lambda own: _unbeaten(liftoff[own], subset[own], total[own], worst[own], finish[own]),
        lambda own: ~_passed_in_place(rows, members[own], last_passes),
    )
    members = members[kept]
    made = rows.take(members.ravel())
    return replace(
        made,
        craft_class=np.tile(aboard.craft_class, len(members)),
        bundle=np.repeat(np.arange(len(members)), size),
    )


def _members(rows: Options, group: I, slots: I, picks: list[list[int]]) -> list[I]:
    """Rows that make whole loads, for each pick of slots, (loads, size): craft choose independently of one another."""
    need(len(rows) * slots.size * BEST_BYTES)
    best = _best_so_far(rows, group, slots)
    found = []
    for chosen in picks:
        poll()
        # only what goes into one of these slots makes a difference to them
        (own,) = np.nonzero(np.isin(rows.slot, slots[chosen]))
        index = best[own[:, None], chosen]
        found.append(index[np.all(index >= 0, axis=1)])
    return found


def _passed_in_place(rows: Options, members: I, last_passes: LastPasses) -> Mask:
    """Mask of loads in which a craft in its slot is passed by one that is still under way; the drop is no meeting."""
    finish, slot = rows.finish_s[members], rows.slot[members]
    load, mover, sitter = np.nonzero(finish[:, None, :] + DROP_S < finish[:, :, None])
    # a pair of row and slot is in many loads
    most = int(rows.slot.max(initial=0)) + 1
    pairs, back = np.unique(members[load, mover] * most + slot[load, sitter], return_inverse=True)
    row, other = np.divmod(pairs, most)
    passed_s = last_passes(rows.take(row), other)[back.reshape(-1)]
    hit = np.zeros(len(members), dtype=bool)
    hit[load[finish[load, sitter] + DROP_S < passed_s]] = True
    return hit


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
