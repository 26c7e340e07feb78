"""The exact answer for a few craft and slots, by dynamic programming over which slots are filled, liftoff by liftoff.

A state says which slots are filled and how many craft of each class are up (Held and Karp 1962). What filling them
costs at least with liftoffs before a moment, and what filling the rest costs with those from a moment on, are running
minima along the moments; both together bound every plan through each column, exactly.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from .columns import Bool, F, I
from .presolve import Packed

SLOTS_MAX = 6
"""Slots above which there are too many states."""

WORK_MAX = 8_000_000
"""Steps between states times moments above which the relaxation is quicker."""


@dataclass(frozen=True, kw_only=True)
class Filled:
    """The cheapest plan.

    Attributes:
        cost: of it; inf where there is no plan.
        columns: it; empty where there is none.
        through: (n,) the cost of the cheapest plan through each column, inf where there is none.
        pair_price: (C * S,) ``cost + column cost - pair_price`` is a lower bound of every plan through any column of
            a pair, also through those that are not in the problem.
    """

    cost: float
    columns: I
    through: F
    pair_price: F


@dataclass(frozen=True, kw_only=True)
class _Steps:
    """From state to state by one more craft of a class in a slot; states are numbered, those with fewer craft first."""

    states: int
    before: I
    key: I
    after: I
    whole: I  # the states in which all craft are up


def suits(packed: Packed) -> bool:
    """Whether a problem has nothing but classes, slots and turnarounds, and is small enough."""
    if packed.width is not None or packed.group_start.size or packed.side.size or not packed.moments:
        return False
    if packed.count.sum() > packed.slots or packed.slots > SLOTS_MAX:
        return False
    return _steps(packed).key.size * (packed.moments + packed.count.size * packed.slots) <= WORK_MAX


def _steps(packed: Packed) -> _Steps:
    slots, craft = packed.slots, int(packed.count.sum())
    found: dict[tuple[int, tuple[int, ...]], int] = {}
    for filled in sorted(range(2**slots), key=int.bit_count):
        if filled.bit_count() <= craft:
            for up in itertools.product(*(range(int(n) + 1) for n in packed.count)):
                if sum(up) == filled.bit_count():
                    found[filled, up] = len(found)
    steps = []
    for (filled, up), place in found.items():
        for one, slot in itertools.product(range(len(up)), range(slots)):
            if not filled >> slot & 1 and up[one] < packed.count[one]:
                more = (*up[:one], up[one] + 1, *up[one + 1 :])
                steps.append((place, one * slots + slot, found[filled | 1 << slot, more]))
    before, key, after = np.array(steps, dtype=np.intp).reshape(-1, 3).T
    whole = np.array([place for (_, up), place in found.items() if sum(up) == craft], dtype=np.intp)
    return _Steps(states=len(found), before=before, key=key, after=after, whole=whole)


def fill(packed: Packed, barred: Bool | None = None) -> Filled:
    """The cheapest plan of a problem that `suits`.

    Args:
        packed: the problem.
        barred: (n,) columns that may not be used.
    """
    steps = _steps(packed)
    moments, pairs = packed.moments, packed.count.size * packed.slots
    # craft that need no liftoff come after all moments, each pair at a place by itself
    first = np.concatenate([packed.first, np.arange(moments, moments + pairs)]).astype(np.intp)
    last = np.concatenate([packed.last, np.arange(moments, moments + pairs) + 1]).astype(np.intp)
    place = np.where(packed.moment < moments, packed.moment, moments + packed.key).astype(np.intp)
    price = packed.cost if barred is None else np.where(barred, np.inf, packed.cost)
    cell = packed.key * first.size + place
    least = np.full(pairs * first.size, np.inf)
    np.minimum.at(least, cell, price)
    cost = least.reshape(pairs, first.size)

    until = np.full((steps.states, first.size + 1), np.inf)
    until[0] = 0.0
    for state in range(1, steps.states):
        into = np.flatnonzero(steps.after == state)
        added = np.stack([cost[steps.key[k]] + until[steps.before[k]][first] for k in into])
        until[state, 1:] = np.minimum.accumulate(added.min(axis=0))
    since = np.full_like(until, np.inf)
    since[steps.whole] = 0.0
    rest = np.full_like(cost, np.inf)
    for state in range(steps.states - 1, -1, -1):
        out = np.flatnonzero(steps.before == state)
        if not out.size:
            continue
        goes_on = [since[steps.after[k]][last] for k in out]
        added = np.stack([cost[steps.key[k]] + then for k, then in zip(out, goes_on, strict=True)])
        since[state, :-1] = np.minimum.accumulate(added.min(axis=0)[::-1])[::-1]
        begun = until[state][first]
        for k, then in zip(out, goes_on, strict=True):
            np.minimum(rest[steps.key[k]], begun + then, out=rest[steps.key[k]])
    end = int(steps.whole[np.argmin(until[steps.whole, -1])])
    best = float(until[end, -1])
    with np.errstate(invalid="ignore"):
        others = rest.min(axis=1)
        pair_price = np.where(np.isfinite(others) & np.isfinite(best), best - others, 0.0)
    cells = _trace(steps, cost, until, first, end) if np.isfinite(best) else []
    winner = [int(np.flatnonzero((cell == one) & (price == least[one]))[0]) for one in cells]
    return Filled(
        cost=best,
        columns=np.array(sorted(winner), dtype=np.intp),
        through=price + rest.ravel()[cell],
        pair_price=pair_price,
    )


def _trace(steps: _Steps, cost: F, until: F, first: I, end: int) -> list[int]:
    """The (pair, moment) cells of the cheapest way to a state, from the last one back."""
    cells, state, before = [], end, first.size
    while state:
        value = until[state, before]
        moment = int(np.searchsorted(-until[state, : before + 1], -value)) - 1
        for k in np.flatnonzero(steps.after == state):
            if cost[steps.key[k], moment] + until[steps.before[k], first[moment]] == value:
                cells.append(int(steps.key[k]) * first.size + moment)
                state, before = int(steps.before[k]), int(first[moment])
                break
    return cells
