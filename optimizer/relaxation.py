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
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from .columns import I32, Bool, F, I

Ints = npt.NDArray[np.integer]

SHORT = 1e-9
"""Relative to the span of costs: reduced costs less negative than this do not enter; the bound allows for them."""
TIE = 1e-5
"""Relative to the span of costs: which of two columns enters first is left to chance when they are this close."""
LARGE = 400
"""Rows above which the primal simplex, slower on small masters, stalls less on the ties of large ones."""
DUAL, PRIMAL = 1, 4
"""HiGHS's numbers for its simplex strategies."""
SHORTFALL = 1e-6
"""Craft: with less than this left unserved the relaxation counts as met; the bound does not rest on it."""
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
        plan: columns of a plan met on the way, good but not proved best; empty if none was met.
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
    plan: I
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
    inside: Bool
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
    scale = span if span > 0 else 1.0
    best = Relaxed(
        bound=0.0,
        reduced=packed.cost,
        pair_price=np.zeros(classes * packed.slots),
        moment_price=np.zeros(packed.first.size + 1),
        used=np.empty(0, dtype=np.intp),
        weight=np.empty(0),
        plan=np.empty(0, dtype=np.intp),
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

    met_early, whole = _greedy(packed, deadline_s)
    if whole and packed.cost[met_early].sum() <= SHORT * scale:
        return _with(
            best, used=met_early, weight=np.ones(met_early.size), plan=met_early, entered=met_early, complete=True
        )

    if whole:
        best = _with(best, plan=met_early)
    feasibility = span == 0.0
    master = _open(packed, penalty=1.0 if feasibility else 4.0 * scale)
    _enter(master, np.union1d(_starting(packed, scale), met_early))
    rounds = 0
    while True:
        value, dual, cost = _run(master)
        rounds += 1
        prices = np.minimum(dual, 0.0)
        prices[:classes] = dual[:classes]
        reduced, total, pair_price, moment_price = _price(master, prices, np.zeros(n) if feasibility else packed.cost)
        bound = total + _shortfall(packed, reduced)
        if feasibility:
            if bound > SHORTFALL:
                return _with(best, bound=np.inf, complete=True, rounds=rounds)
        elif bound > best.bound:
            best = _with(best, bound=bound, reduced=reduced, pair_price=pair_price, moment_price=moment_price)
            if bound > limit:
                return _with(best, rounds=rounds)
        unserved = float(value[:classes].sum())
        used, share = _support(master, value)
        grown = _cut(master, used, share)
        met = not grown and unserved <= SHORTFALL
        late = deadline_s is not None and time.monotonic() > deadline_s
        done = met and (feasibility or cost <= best.bound + SHORT * scale)
        fresh = np.empty(0, dtype=np.intp) if done or late else _choose(master, reduced, SHORT * scale)
        if fresh.size:
            _enter(master, fresh)
        if late:
            break
        if feasibility and met:
            # there may be a plan after all: back to what it costs
            feasibility = False
            _set_costs(master, packed.cost, master.penalty)
        elif fresh.size or grown:
            continue
        elif met or feasibility:
            # where a shortfall remains it is too small to be told from rounding: left to the exact program
            break
        else:
            # the penalty was too small, or there is no plan: the shortfall alone will tell
            feasibility = True
            master.penalty *= 1e3
            _set_costs(master, np.zeros(n), 1.0)
    best = _with(best, rounds=rounds, complete=met and not late, used=used, weight=share)
    if best.complete:
        rounded = _dive(master, value, scale, deadline_s)
        if rounded.size and (not whole or packed.cost[rounded].sum() < packed.cost[met_early].sum()):
            best = _with(best, plan=rounded)
    windows = np.array(master.window, dtype=np.intp).reshape(-1, 2)
    return _with(best, entered=np.concatenate(master.ids), windows=windows)


def _greedy(packed: Packed, deadline_s: float | None) -> tuple[I, bool]:
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
        barred: set[int] = set()
        taken = np.zeros(slots, dtype=bool)
        left = packed.count.copy()
        chosen: list[int] = []
        total = 0.0
        missed = np.zeros(rows)
        for row in np.argsort(-urgency, kind="stable").tolist():
            a, b = ends[row], ends[row + 1]
            for _ in range(1 if full else int(packed.count[row])):
                free = ~(blocked[moment[a:b]] | (left[kind[a:b]] <= 0 if full else taken[slot[a:b]]))
                if barred:
                    free &= ~np.isin(order[a:b], list(barred))
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
                barred.update(*(_members(packed, g).tolist() for g in conflicts.get(chosen[-1], ())))
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
        for column in _members(packed, group).tolist():
            out.setdefault(column, []).append(group)
    return out


def _dive(master: _Master, value: F, scale: float, deadline_s: float | None) -> I:
    """Round the master's solution to a plan: hold the largest columns at one, converge again, and so on. Heuristic."""
    packed, classes = master.packed, master.packed.count.size
    craft = int(packed.count.sum())
    used, share = _support(master, value)
    held = np.zeros(0, dtype=np.intp)
    for _ in range(craft + 1):
        if np.all(share > 1.0 - 1e-6):
            return used
        position = np.flatnonzero(value[classes:] > 1e-9) + classes
        weight = value[position]
        most = np.max(weight[weight <= 1.0 - 1e-6])
        held = position[weight >= min(most, 0.95)]
        if held.size > np.count_nonzero(weight > 1.0 - 1e-6) + max(1, craft // 20):
            whole, part = held[value[held] > 1.0 - 1e-6], held[value[held] <= 1.0 - 1e-6]
            held = np.concatenate((whole, part[: max(1, craft // 20)]))
        master.highs.changeColsBounds(held.size, held.astype(np.int32), np.ones(held.size), np.full(held.size, np.inf))
        for _ in range(20):
            if deadline_s is not None and time.monotonic() > deadline_s:
                return np.empty(0, dtype=np.intp)
            value, dual, cost = _run(master)
            used, share = _support(master, value)
            reduced = _price(master, np.concatenate((dual[:classes], np.minimum(dual[classes:], 0.0))), packed.cost)[0]
            grown = _cut(master, used, share)
            fresh = _choose(master, reduced, SHORT * scale)
            if fresh.size:
                _enter(master, fresh)
            if not fresh.size and not grown:
                break
        if not np.isfinite(cost) or value[:classes].sum() > SHORTFALL or used.size == 0:
            break
    return np.empty(0, dtype=np.intp)


def _support(master: _Master, value: F) -> tuple[I, F]:
    """Columns that a solution of the master uses, and how much of each."""
    weight = value[master.packed.count.size :]
    positive = np.flatnonzero(weight > 1e-9)
    return np.concatenate(master.ids)[positive], weight[positive]


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
        ("simplex_strategy", PRIMAL if rows > LARGE else DUAL),
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
    return _Master(
        packed=packed, highs=highs, rows=rows, penalty=penalty, inside=np.zeros(packed.cost.size, dtype=bool)
    )


def _spread(ids: I, size: float) -> F:
    """Between 0 and ``size`` for each column, evenly spread and always the same: breaks ties between equal columns.

    Without it the columns that enter together would all share the first liftoff. (Weyl 1916, golden ratio.)
    """
    spread: F = np.mod(ids * 0.6180339887498949, 1.0) * size
    return spread


def _starting(packed: Packed, scale: float) -> I:
    """The two cheapest columns of each (class, slot) pair."""
    ids = np.arange(packed.cost.size)
    least = np.full(packed.count.size * packed.slots, np.inf)
    np.minimum.at(least, packed.key, packed.cost)
    if ids.size > 20_000:
        ids = np.flatnonzero(packed.cost <= least[packed.key] + TIE * scale)
    order = ids[np.lexsort((packed.cost[ids] + _spread(ids, TIE * scale), packed.key[ids]))]
    key = packed.key[order]
    second = np.ones(order.size, dtype=bool)
    second[2:] = key[2:] != key[:-2]
    return order[second]


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
    master.inside[ids] = True


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


def _choose(master: _Master, reduced: F, threshold: float) -> I:
    """Columns to enter: of each (class, slot) pair the most negative one, the most negative pairs first."""
    packed = master.packed
    candidate = np.flatnonzero(reduced < -threshold)
    if candidate.size:
        candidate = candidate[~master.inside[candidate]]
    if candidate.size <= 20:
        return candidate
    value = reduced[candidate] + _spread(candidate, TIE / SHORT * threshold)
    if candidate.size > 20_000:
        least = np.zeros(packed.count.size * packed.slots)
        np.minimum.at(least, packed.key[candidate], value)
        hit = value == least[packed.key[candidate]]
        candidate, value = candidate[hit], value[hit]
    order = np.argsort(value, kind="stable")
    _, where = np.unique(packed.key[candidate[order]], return_index=True)
    where.sort()
    return candidate[order[where[: 2 * (packed.count.size + packed.slots) + 20]]]


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
                _add_rows(master, [position])
                master.group.append(group)
                master.row_of_group.append(master.rows - 1)
                grown = True
    return grown


def _add_windows(master: _Master, ends: list[tuple[int, int]]) -> None:
    moment = master.packed.moment[np.concatenate(master.ids)]
    order = np.argsort(moment, kind="stable")
    at = np.searchsorted(moment[order], np.array(ends))
    _add_rows(master, [order[a:b] + master.packed.count.size for a, b in at.tolist()])
    master.window += ends
    master.known.update(ends)
    master.row_of_window += range(master.rows - len(ends), master.rows)


def _add_rows(master: _Master, positions: list[I]) -> None:
    """Rows of which at most one of the master's columns at the given positions may be used."""
    count = len(positions)
    entries = np.concatenate(positions).astype(np.int32)
    start = np.cumsum([0] + [p.size for p in positions[:-1]]).astype(np.int32)
    master.highs.addRows(
        count, np.full(count, -np.inf), np.ones(count), entries.size, start, entries, np.ones(entries.size)
    )
    master.rows += count


def _set_costs(master: _Master, cost: F, penalty: float) -> None:
    classes = master.packed.count.size
    ids = np.concatenate(master.ids)
    every = np.concatenate((np.full(classes, penalty), cost[ids]))
    master.highs.changeColsCost(every.size, np.arange(every.size, dtype=np.int32), every)
