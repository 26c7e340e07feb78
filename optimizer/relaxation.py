"""The linear relaxation of a schedule, by column and row generation.

A restricted master program holds few columns and few rows. Its dual prices price every column at once (columnar, no
loop); those with a negative reduced cost enter. Pad rows are windows of one turnaround, of which at most one liftoff
may be used; a window at any position is a valid row, so only violated ones enter. What is reported as ``bound`` does
not rest on the master having converged: for any prices, signs right,

    bound = sum of prices over the rows' ends + sum over classes of count * min(0, least reduced cost of the class)

is a lower bound of every plan (Lagrange; Geoffrion 1974), and ``bound + reduced cost`` one of every plan that uses the
column. Column generation: Gilmore and Gomory 1961; Desaulniers, Desrosiers and Solomon 2005, chapter 1.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from .columns import I32, Bool, F, I

Ints = npt.NDArray[np.integer]

SHORT = 1e-9
"""Relative to the span of costs: reduced costs less negative than this do not enter; the bound allows for them."""
VIOLATED = 1e-6
"""A row enters the master when it is exceeded by more than this."""


@dataclass(frozen=True, kw_only=True)
class Packed:
    """A schedule problem ready for pricing. Costs and side rows are shifted so that nothing in them is negative.

    Attributes:
        cost: (n,) finite, >= 0.
        key: (n,) class * slots + slot of the first pair.
        more_column, more_key: further pairs of columns that serve several.
        width: (n,) number of pairs; None where all are 1.
        moment: (n,) index of the liftoff, ``first.size`` for none.
        first, last: (M,) windows of each moment, see ``Moments``.
        count: (C,) craft of each class.
        slots: number of slots.
        group_column, group_start: conflict sets one after the other, of at most one column each.
        side: (r, n) coefficients >= 0; ``side @ x <= side_limit``.
    """

    cost: F
    key: I32
    more_column: I
    more_key: I32
    width: F | None
    moment: I32
    first: I
    last: I
    count: I
    slots: int
    group_column: I
    group_start: I
    side: F
    side_limit: F


@dataclass(frozen=True, kw_only=True)
class Relaxed:
    """What the relaxation proved.

    Attributes:
        bound: lower bound of every plan; inf where there is none.
        reduced: (n,) ``bound + reduced[j]`` is a lower bound of every plan that uses column j.
        pair_price, moment_price: (C * S,) and (M + 1,) what ``reduced`` takes from a column's cost for each pair it
            serves and for its liftoff (<= 0), at the prices of the bound.
        used, weight: columns of the master's last solution and how much of each; empty if infeasible or stopped early.
        entered: columns that the master holds.
        windows: (w, 2) moments ``a <= j < b`` of the pad rows that entered.
        complete: whether the master converged: False where time ran out or the bound passed the limit.
        rounds: master programs solved.
    """

    bound: float
    reduced: F
    pair_price: F
    moment_price: F
    used: I
    weight: F
    entered: I
    windows: I
    complete: bool
    rounds: int


@dataclass(kw_only=True)
class _Master:
    """The restricted master program, grown in place."""

    packed: Packed
    highs: Any
    rows: int
    penalty: float
    ids: list[I] = field(default_factory=list)
    window: list[tuple[int, int]] = field(default_factory=list)
    group: list[int] = field(default_factory=list)
    known: set[tuple[int, int]] = field(default_factory=set)
    row_of_window: list[int] = field(default_factory=list)
    row_of_group: list[int] = field(default_factory=list)


def relax(packed: Packed, *, limit: float = np.inf, deadline_s: float | None = None) -> Relaxed:
    """Bound every plan from below, and every plan through each column.

    Args:
        packed: the problem.
        limit: stop as soon as the bound exceeds this: no plan of interest exists.
        deadline_s: reading of ``time.monotonic`` at which to stop with the best bound so far; None for never.
    """
    n, classes = packed.cost.size, packed.count.size
    span = float(packed.cost.max()) if n else 0.0
    scale = max(span, 1e-6)
    best = Relaxed(
        bound=0.0,
        reduced=packed.cost,
        pair_price=np.zeros(classes * packed.slots),
        moment_price=np.zeros(packed.first.size + 1),
        used=np.empty(0, dtype=np.intp),
        weight=np.empty(0),
        entered=np.empty(0, dtype=np.intp),
        windows=np.empty((0, 2), dtype=np.intp),
        complete=False,
        rounds=0,
    )
    least = np.full(classes, np.inf)
    np.minimum.at(least, packed.key // packed.slots, packed.cost)
    if packed.more_key.size:
        np.minimum.at(least, packed.more_key // packed.slots, packed.cost[packed.more_column])
    if np.any((packed.count > 0) & np.isinf(least)) or np.any(packed.side_limit < 0):
        return _with(best, bound=np.inf, complete=True)

    master = _open(packed, penalty=4.0 * scale)
    _enter(master, _starting(packed))
    inside = np.zeros(n, dtype=bool)
    for ids in master.ids:
        inside[ids] = True
    feasibility = False
    rounds = 0
    while True:
        value, dual, _ = _run(master)
        rounds += 1
        prices = np.minimum(dual, 0.0)
        prices[:classes] = dual[:classes]
        reduced, total, pair_price, moment_price = _price(master, prices, np.zeros(n) if feasibility else packed.cost)
        slack = _shortfall(packed, reduced)
        bound = total + slack
        if feasibility:
            if bound > 1e-6:
                return _with(best, bound=np.inf, complete=True, rounds=rounds)
        elif bound > best.bound or rounds == 1:
            if bound >= 0:
                best = _with(
                    best, bound=bound, reduced=reduced, pair_price=pair_price, moment_price=moment_price, rounds=rounds
                )
            if bound > limit:
                return _with(best, complete=False, entered=np.concatenate(master.ids))
        weight = value[classes:]
        entered = np.concatenate(master.ids)
        positive = weight > 1e-9
        used, share = entered[positive], weight[positive]
        fresh = _choose(packed, reduced, inside, -SHORT * scale)
        if fresh.size:
            inside[fresh] = True
            _enter(master, fresh)
        grown = _cut(master, used, share)
        if deadline_s is not None and time.monotonic() > deadline_s:
            return _with(
                best, entered=entered, windows=np.array(master.window, dtype=np.intp).reshape(-1, 2), rounds=rounds
            )
        if fresh.size or grown:
            continue
        if value[:classes].sum() <= 1e-7:
            if feasibility:
                feasibility = False
                _set_costs(master, packed.cost, master.penalty)
                continue
            return _with(
                best,
                used=used,
                weight=share,
                entered=entered,
                windows=np.array(master.window, dtype=np.intp).reshape(-1, 2),
                complete=True,
                rounds=rounds,
            )
        if feasibility:
            # the least shortfall is positive yet too small to be told from rounding: leave it to the exact program
            return _with(
                best, entered=entered, windows=np.array(master.window, dtype=np.intp).reshape(-1, 2), rounds=rounds
            )
        # the penalty was too small, or there is no plan: find out which with the shortfall alone
        feasibility = True
        master.penalty *= 1e3
        _set_costs(master, np.zeros(n), 1.0)


def _with(relaxed: Relaxed, **changes: Any) -> Relaxed:
    from dataclasses import replace

    return replace(relaxed, **changes)


def _open(packed: Packed, *, penalty: float) -> _Master:
    """A master with the class, slot and side rows and, for each class, a column for craft that are not served."""
    import highspy

    classes, sides = packed.count.size, packed.side_limit.size
    rows = classes + packed.slots + sides
    highs: Any = highspy.Highs()  # type: ignore[no-untyped-call]
    for name, value in (
        ("output_flag", False),
        ("threads", 1),
        ("presolve", "off"),
        ("solver", "simplex"),
        ("primal_feasibility_tolerance", 1e-9),
        ("dual_feasibility_tolerance", 1e-9),
    ):
        highs.setOptionValue(name, value)
    upper = np.concatenate((packed.count.astype(float), np.ones(packed.slots), packed.side_limit))
    lower = np.concatenate((packed.count.astype(float), np.full(packed.slots + sides, -np.inf)))
    none = np.empty(0, dtype=np.int32)
    highs.addRows(rows, lower, upper, 0, none, none, np.empty(0))
    highs.addCols(
        classes,
        np.full(classes, penalty),
        np.zeros(classes),
        np.full(classes, np.inf),
        classes,
        np.arange(classes, dtype=np.int32),
        np.arange(classes, dtype=np.int32),
        np.ones(classes),
    )
    return _Master(packed=packed, highs=highs, rows=rows, penalty=penalty)


def _starting(packed: Packed) -> I:
    """The cheapest column of each (class, slot) pair."""
    order = np.argsort(packed.cost, kind="stable") if packed.cost.size <= 4096 else None
    if order is None:
        least = np.full(packed.count.size * packed.slots, np.inf)
        np.minimum.at(least, packed.key, packed.cost)
        order = np.flatnonzero(packed.cost == least[packed.key])
    _, where = np.unique(packed.key[order], return_index=True)
    return order[where]


def _enter(master: _Master, ids: I) -> None:
    """Add columns to the master with their entries in every row it has."""
    packed, classes = master.packed, master.packed.count.size
    local = np.arange(ids.size)
    key = packed.key[ids]
    column: list[Ints] = [local, local]
    row: list[Ints] = [key // packed.slots, classes + key % packed.slots]
    value = [np.ones(ids.size), np.ones(ids.size)]
    if packed.more_column.size:
        position = np.full(packed.cost.size, -1)
        position[ids] = local
        hit = position[packed.more_column] >= 0
        more = packed.more_key[hit]
        column += [position[packed.more_column[hit]]] * 2
        row += [more // packed.slots, classes + more % packed.slots]
        value += [np.ones(more.size)] * 2
    if packed.side_limit.size:
        r, c = np.nonzero(packed.side[:, ids])
        column.append(c)
        row.append(classes + packed.slots + r)
        value.append(packed.side[r, ids[c]])
    if master.window:
        ends = np.array(master.window)
        moment = packed.moment[ids][:, None]
        c, w = np.nonzero((moment >= ends[:, 0]) & (moment < ends[:, 1]))
        column.append(c)
        row.append(np.array(master.row_of_window)[w])
        value.append(np.ones(c.size))
    for group, g in zip(master.group, master.row_of_group, strict=True):
        c = np.flatnonzero(np.isin(ids, _members(packed, group)))
        column.append(c)
        row.append(np.full(c.size, g))
        value.append(np.ones(c.size))
    columns, rows, values = np.concatenate(column), np.concatenate(row), np.concatenate(value)
    cell, where = np.unique(columns * master.rows + rows, return_inverse=True)
    summed = np.bincount(where, values)
    start = np.searchsorted(cell, local * master.rows)
    master.highs.addCols(
        ids.size,
        packed.cost[ids],
        np.zeros(ids.size),
        np.full(ids.size, np.inf),
        cell.size,
        start.astype(np.int32),
        (cell % master.rows).astype(np.int32),
        summed,
    )
    master.ids.append(ids)


def _members(packed: Packed, group: int) -> I:
    ends = np.append(packed.group_start, packed.group_column.size)
    return packed.group_column[ends[group] : ends[group + 1]]


def _run(master: _Master) -> tuple[F, F, float]:
    highs = master.highs
    highs.run()
    solution = highs.getSolution()
    return np.array(solution.col_value), np.array(solution.row_dual), highs.getInfo().objective_function_value


def _price(master: _Master, prices: F, cost: F) -> tuple[F, float, F, F]:
    """Reduced cost of every column, the prices' sum over the rows' ends, and the prices of pairs and moments."""
    packed, classes, slots = master.packed, master.packed.count.size, master.packed.slots
    pair = (prices[:classes, None] + prices[None, classes : classes + slots]).ravel()
    reduced = cost - pair[packed.key]
    if packed.more_column.size:
        np.subtract.at(reduced, packed.more_column, pair[packed.more_key])
    side = prices[classes + slots : classes + slots + packed.side_limit.size]
    if np.any(side):
        reduced -= side @ packed.side
    total = float(prices[:classes] @ packed.count + prices[classes : classes + slots].sum() + side @ packed.side_limit)
    moment_price = np.zeros(packed.first.size + 1)
    if master.window:
        price = prices[master.row_of_window]
        total += float(price.sum())
        if np.any(price):
            ends = np.array(master.window)
            step = np.bincount(ends[:, 0], price, packed.first.size + 1) - np.bincount(
                ends[:, 1], price, packed.first.size + 1
            )
            at = np.cumsum(step)
            at[-1] = 0.0
            reduced -= at[packed.moment]
            moment_price = at
    for group, row in zip(master.group, master.row_of_group, strict=True):
        total += float(prices[row])
        if prices[row]:
            reduced[_members(packed, group)] -= prices[row]
    return reduced, total, pair, moment_price


def _shortfall(packed: Packed, reduced: F) -> float:
    """A lower bound (<= 0) on the sum of the reduced costs of any plan."""
    if reduced.size == 0 or reduced.min() >= 0:
        return 0.0
    each = reduced if packed.width is None else reduced / packed.width
    least = np.zeros(packed.count.size)
    np.minimum.at(least, packed.key // packed.slots, each)
    if packed.more_column.size:
        np.minimum.at(least, packed.more_key // packed.slots, each[packed.more_column])
    return float(least @ packed.count)


def _choose(packed: Packed, reduced: F, inside: Bool, threshold: float) -> I:
    """Columns to enter: of each (class, slot) pair the most negative one, the most negative pairs first."""
    candidate = np.flatnonzero(reduced < threshold)
    candidate = candidate[~inside[candidate]]
    if candidate.size == 0:
        return candidate
    most = 2 * (packed.count.size + packed.slots) + 20
    if candidate.size <= 20:
        return candidate
    value = reduced[candidate]
    if candidate.size > 20000:
        least = np.zeros(packed.count.size * packed.slots)
        np.minimum.at(least, packed.key[candidate], value)
        hit = value == least[packed.key[candidate]]
        candidate, value = candidate[hit], value[hit]
    order = np.argsort(value, kind="stable")
    _, where = np.unique(packed.key[candidate[order]], return_index=True)
    where.sort()
    return candidate[order[where[:most]]]


def _cut(master: _Master, used: I, share: F) -> bool:
    """Add the windows and conflict rows that the master's solution exceeds; tell whether there were any."""
    packed = master.packed
    grown = False
    moment = packed.moment[used]
    on_pad = moment < packed.first.size
    if np.any(on_pad):
        at, where = np.unique(moment[on_pad], return_inverse=True)
        weight = np.concatenate(([0.0], np.cumsum(np.bincount(where, share[on_pad]))))
        end = np.searchsorted(at, packed.last[at])
        over = np.flatnonzero(weight[end] - weight[:-1] > 1.0 + VIOLATED)
        if over.size:
            ends = {(int(at[i]), int(packed.last[at[i]])) for i in over}
            ends |= {(int(packed.first[at[e - 1]]), int(at[e - 1]) + 1) for e in end[over]}
            new = sorted(ends - master.known)
            if new:
                _add_windows(master, new)
                grown = True
    if packed.group_start.size:
        x = np.zeros(packed.cost.size)
        x[used] = share
        total = np.add.reduceat(x[packed.group_column], packed.group_start)
        for group in np.flatnonzero(total > 1.0 + VIOLATED).tolist():
            if group not in master.group:
                entered = np.concatenate(master.ids)
                position = np.flatnonzero(np.isin(entered, _members(packed, group))) + packed.count.size
                _add_row(master, position)
                master.group.append(group)
                master.row_of_group.append(master.rows - 1)
                grown = True
    return grown


def _add_windows(master: _Master, ends: list[tuple[int, int]]) -> None:
    entered = np.concatenate(master.ids)
    moment = master.packed.moment[entered]
    for a, b in ends:
        _add_row(master, np.flatnonzero((moment >= a) & (moment < b)) + master.packed.count.size)
        master.window.append((a, b))
        master.known.add((a, b))
        master.row_of_window.append(master.rows - 1)


def _add_row(master: _Master, position: I) -> None:
    master.highs.addRows(
        1,
        np.array([-np.inf]),
        np.ones(1),
        position.size,
        np.zeros(1, dtype=np.int32),
        position.astype(np.int32),
        np.ones(position.size),
    )
    master.rows += 1


def _set_costs(master: _Master, cost: F, penalty: float) -> None:
    classes = master.packed.count.size
    ids = np.concatenate(master.ids)
    every = np.concatenate((np.full(classes, penalty), cost[ids]))
    master.highs.changeColsCost(every.size, np.arange(every.size, dtype=np.int32), every)
