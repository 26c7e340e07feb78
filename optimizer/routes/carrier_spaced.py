"""Whole loads of a carrier whose drops are a stated time apart: which craft leaves at which pass, into which slot.

Of one carrier flight the passes are taken in their order. The least sum with which some slots are served by the passes
up to one is the lesser of the sum without a drop there and of the sums with a drop there into one of the slots, after
the last pass that is long enough before (dynamic programming over sets of slots; Bellman 1957, Held and Karp 1962; from
memory). That is asked for every latest finish that makes a difference, and again for less and less in the worst craft.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...models.arrays import Rows
from ...models.deadline import poll
from ...models.memory import need
from ..problem.options import F, I, Options

NONE = np.iinfo(np.int64).max
"""The rank of no row."""

SAME_S = 1e-3
"""Moments this close are one."""

SAME_M_S = 1e-8
"""Speeds this close are one."""

STATES = 1 << 22
"""Most states (finish, pass, set of slots) worked on together."""


@dataclass(frozen=True, kw_only=True)
class _Cheapest(Rows):
    """Of some finishes each: rows by rank of their delta-v, the cheapest so far for each pass and slot.

    Args:
        rank: of delta-v among all rows, (n, passes, slots); `NONE` where there is none.
        after: how many passes, the earliest first, are long enough before each pass, (n, passes).
    """

    rank: I
    after: I


def spaced_members(rows: Options, group: I, slots: I, subsets: list[list[int]], apart_s: float) -> list[I]:
    """Rows that make whole loads, for each of ``subsets``: the least sums by finish and worst craft, (loads, size).

    Args:
        rows: of single craft, sorted by group, finish and delta-v.
        group: which rows are of one carrier flight, (n,).
        slots: those that ``subsets`` count in.
        apart_s: least time between drops.
    """
    position = np.full(int(slots.max()) + 1, -1)
    position[slots] = np.arange(slots.size)
    first = np.flatnonzero(np.diff(group, prepend=group[0] - 1))
    last = np.append(first[1:], group.size)
    cheap = np.argsort(rows.delta_v_m_s, kind="stable")
    rank = np.empty(group.size, dtype=np.int64)
    rank[cheap] = np.arange(group.size)
    cost = rows.delta_v_m_s[cheap]
    found: list[list[I]] = [[] for _ in subsets]
    for begin, end in zip(first.tolist(), last.tolist(), strict=True):
        poll()
        own = np.arange(begin, end)
        table = _cheapest(rows, own, position[rows.slot[own]], slots.size, rank[own], apart_s)
        for served, chosen in zip(found, subsets, strict=True):
            of_these = _Cheapest(rank=table.rank[:, :, chosen], after=table.after)
            served += [cheap[picked] for picked in _loads(of_these, cost)]
    size = len(subsets[0])
    return [np.concatenate(parts) if parts else np.zeros((0, size), dtype=np.int64) for parts in found]


def _cheapest(rows: Options, own: I, slot: I, slots: int, rank: I, apart_s: float) -> _Cheapest:
    """The cheapest rows of one carrier flight after each of its finishes."""
    dropped = np.round(rows.burn_s[own] / SAME_S).astype(np.int64)
    moments, number = np.unique(dropped, return_inverse=True)
    need(float(own.size) * moments.size * slots * 16.0)
    table = np.full((own.size, moments.size, slots), NONE)
    table[np.arange(own.size), number.reshape(-1), slot] = rank
    table = np.minimum.accumulate(table, axis=0)
    # of rows that are in their slots at one moment the last has seen all
    ends = np.append(np.diff(rows.finish_s[own]) > SAME_S, True)
    after = np.searchsorted(moments, moments - apart_s / SAME_S + 1.0, side="right")
    after = np.minimum(after, np.arange(moments.size))
    return _Cheapest(rank=table[ends], after=np.broadcast_to(after, (int(ends.sum()), moments.size)))


def _loads(table: _Cheapest, cost: F) -> list[I]:
    """Ranks of the rows of loads, (loads, size) each: least sums, then such with less in the worst craft."""
    found: list[I] = []
    passes, size = table.rank.shape[1:]
    least = table.rank.min(axis=1, initial=NONE)
    (able,) = np.nonzero(np.all(least < NONE, axis=1))
    block = max(STATES // (passes << size), 1)
    for begin in range(0, able.size, block):
        some = able[begin : begin + block]
        left, held = table.take(some), cost[least[some]].max(axis=1)
        most = np.full(some.size, np.inf)
        while most.size:
            poll()
            picked, served = _least(left, np.append(cost, np.inf), most)
            found.append(picked[served])
            worst = cost[picked[served]].max(axis=1, initial=0.0) - SAME_M_S
            more = worst > held[served]
            keep = np.flatnonzero(served)[more]
            left, held, most = left.take(keep), held[keep], worst[more]
    return found


def _least(table: _Cheapest, cost: F, most_m_s: F) -> tuple[I, NDArray[np.bool_]]:
    """Ranks of the rows with the least sum, (n, size), none dearer than ``most_m_s``, and where there are any.

    Args:
        cost: by rank, the last of no row.
    """
    count, passes, size = table.rank.shape
    each = cost[np.minimum(table.rank, cost.size - 1)]
    each = np.where(each <= most_m_s[:, None, None], each, np.inf)
    sets, every = np.arange(1 << size), np.arange(count)
    total = np.full((count, passes + 1, sets.size), np.inf)
    total[:, 0, 0] = 0.0
    taken = np.full((count, passes, sets.size), -1, dtype=np.int8)
    for number in range(passes):
        best = total[:, number].copy()
        before = total[every, table.after[:, number]]
        for slot in range(size):
            into = sets[sets >> slot & 1 == 1]
            tried = before[:, into ^ (1 << slot)] + each[:, number, slot, None]
            less = tried < best[:, into] - SAME_M_S
            best[:, into] = np.where(less, tried, best[:, into])
            taken[:, number, into] = np.where(less, np.int8(slot), taken[:, number, into])
        total[:, number + 1] = best
    served = np.isfinite(total[:, passes, -1])
    return _picked(table, taken), served


def _picked(table: _Cheapest, taken: NDArray[np.int8]) -> I:
    """The rows of each least sum, back from the last pass, as ranks, (n, size)."""
    count, passes, size = table.rank.shape
    picked = np.zeros((count, size), dtype=np.int64)
    left, upto = np.full(count, (1 << size) - 1), np.full(count, passes)
    for number in range(passes - 1, -1, -1):
        (at,) = np.nonzero(upto == number + 1)
        slot = taken[at, number, left[at]]
        upto[at[slot < 0]] = number
        at, into = at[slot >= 0], slot[slot >= 0].astype(np.int64)
        picked[at, into] = table.rank[at, number, into]
        left[at] ^= 1 << into
        upto[at] = table.after[at, number]
    return picked
