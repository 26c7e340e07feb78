"""The restricted master program of a schedule's relaxation: few columns, few rows, both entering as they matter.

Rows: each class served as often as it has craft (a penalty column takes what is not served), each slot at most once,
extra rows; and, once they are exceeded, windows of one turnaround on a pad and conflict sets. HiGHS keeps the basis
from one run to the next.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ...models.deadline import left_s, worked
from .columns import Bool, F, I
from .presolve import Packed
from .solver import GrowingProgram

VIOLATED = 1e-6
"""A row enters when it is exceeded by more than this."""
LARGE = 400
"""Rows above which the primal simplex, slower on small masters, stalls less on the ties of large ones."""


@dataclass(frozen=True, kw_only=True)
class Point:
    """A solution of the master, good for nothing unless ``solved``.

    ``unserved`` craft of each class; columns ``used`` and their ``share``; the ``price`` of each row; ``cost`` with
    penalties.
    """

    solved: bool
    unserved: F
    used: I
    share: F
    price: F
    cost: float


@dataclass(frozen=True, kw_only=True)
class Priced:
    """All columns at given prices.

    ``reduced`` (n,) costs, the ``total`` of the prices over the rows' ends, and what was taken from each column's cost
    for each ``pair`` (C * S,) it serves and for its ``moment`` (M + 1,).
    """

    reduced: F
    total: float
    pair: F
    moment: F


class Master:
    """A linear program that grows in place.

    Args:
        packed: the problem.
    """

    def __init__(self, packed: Packed) -> None:
        self.packed = packed
        self.inside: Bool = np.zeros(packed.cost.size, dtype=bool)
        self.entered = np.empty(0, dtype=np.intp)
        self.windows: list[tuple[int, int]] = []
        self._known: set[tuple[int, int]] = set()
        self._row_of_window: list[int] = []
        self._row_of_group: dict[int, int] = {}
        self._classes, sides = packed.count.size, packed.side_limit.size
        self.rows = self._classes + packed.slots + sides
        count = packed.count.astype(float)
        upper = np.concatenate((count, np.ones(packed.slots), packed.side_limit))
        lower = np.concatenate((count, np.full(packed.slots + sides, -np.inf)))
        self._program = GrowingProgram(primal=self.rows > LARGE)
        none = np.empty(0, dtype=np.intp)
        self._program.add_rows(lower, upper, none, none, np.empty(0))
        each = np.arange(self._classes)
        self._program.add_columns(np.ones(self._classes), each, each, np.ones(self._classes))

    def run(self) -> Point:
        """Solve the master as it stands; not solved where time runs out before that."""
        solved, value, price, cost, steps = self._program.run(left_s())
        worked(steps * (self.rows + self.entered.size))
        # rows that only limit from above never earn: signs are what makes the bound valid
        price[self._classes :] = np.minimum(price[self._classes :], 0.0)
        weight = value[self._classes :]
        at = np.flatnonzero(weight > 1e-9)
        return Point(
            solved=solved,
            unserved=value[: self._classes],
            used=self.entered[at],
            share=weight[at],
            price=price,
            cost=cost,
        )

    def set_costs(self, cost: F, penalty: float) -> None:
        """Change what columns and craft that are not served cost."""
        self._program.set_costs(np.concatenate((np.full(self._classes, penalty), cost[self.entered])))

    def hold(self, whole: Bool, barred: Bool | None = None) -> None:
        """Hold columns that entered, by position, at one, those that are barred at zero, and free the rest."""
        upper = np.full(whole.size, np.inf) if barred is None else np.where(barred[self.entered], 0.0, np.inf)
        self._program.set_bounds(self._classes, whole.astype(float), upper)

    def price(self, price: F, cost: F) -> Priced:
        """Price every column."""
        packed, classes, slots = self.packed, self._classes, self.packed.slots
        pair = (price[:classes, None] + price[None, classes : classes + slots]).ravel()
        reduced = cost - pair[packed.key]
        if packed.more_column.size:
            np.subtract.at(reduced, packed.more_column, pair[packed.more_key])
        side = price[classes + slots : classes + slots + packed.side_limit.size]
        if np.any(side):
            reduced -= side @ packed.side
        total = float(price[:classes] @ packed.count + side @ packed.side_limit)
        total += float(price[classes : classes + slots].sum())
        moment = np.zeros(packed.moments + 1)
        if self.windows:
            window = price[self._row_of_window]
            total += float(window.sum())
            active = np.flatnonzero(window)
            if active.size:
                ends = np.array(self.windows)[active]
                step = np.bincount(ends[:, 0], window[active], moment.size)
                step -= np.bincount(ends[:, 1], window[active], moment.size)
                moment = np.cumsum(step)
                moment[-1] = 0.0
                reduced -= moment[packed.moment]
        for group, row in self._row_of_group.items():
            total += float(price[row])
            if price[row]:
                reduced[packed.members(group)] -= price[row]
        return Priced(reduced=reduced, total=total, pair=pair, moment=moment)

    def enter(self, ids: I, cost: F) -> None:
        """Add columns, with their entries in every row there is."""
        packed, classes = self.packed, self._classes
        local = np.arange(ids.size)
        key = packed.key[ids]
        column: list[npt.NDArray[np.integer]] = [local, local]
        row: list[npt.NDArray[np.integer]] = [key // packed.slots, classes + key % packed.slots]
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
        if self.windows:
            ends = np.array(self.windows)
            moment = packed.moment[ids][:, None]
            c, w = np.nonzero((moment >= ends[:, 0]) & (moment < ends[:, 1]))
            column.append(c)
            row.append(np.array(self._row_of_window)[w])
            value.append(np.ones(c.size))
        if self._row_of_group:
            position = np.full(packed.cost.size, -1)
            position[ids] = local
            own = np.full(packed.group_start.size, -1)
            own[list(self._row_of_group)] = list(self._row_of_group.values())
            sizes = np.diff(np.append(packed.group_start, packed.group_column.size))
            c, r = position[packed.group_column], np.repeat(own, sizes)
            hit = (c >= 0) & (r >= 0)
            column.append(c[hit])
            row.append(r[hit])
            value.append(np.ones(int(hit.sum())))
        columns, rows, values = np.concatenate(column), np.concatenate(row), np.concatenate(value)
        cell, where = np.unique(columns * self.rows + rows, return_inverse=True)
        self._program.add_columns(
            cost[ids],
            np.searchsorted(cell, local * self.rows),
            cell % self.rows,
            np.bincount(where, values).astype(np.float64),
        )
        self.entered = np.concatenate((self.entered, ids))
        self.inside[ids] = True

    def cut(self, point: Point) -> bool:
        """Add the windows and conflict rows that a solution exceeds. Return whether there were any."""
        packed = self.packed
        moment = packed.moment[point.used]
        on_pad = moment < packed.moments
        grown = False
        if np.any(on_pad):
            at, where = np.unique(moment[on_pad], return_inverse=True)
            weight = np.concatenate(([0.0], np.cumsum(np.bincount(where, point.share[on_pad]))))
            end = np.searchsorted(at, packed.last[at])
            over = np.flatnonzero(weight[end] - weight[:-1] > 1.0 + VIOLATED)
            if over.size:
                # of the windows that hold the same liftoffs, the earliest and the latest
                ends = {(int(at[i]), int(packed.last[at[i]])) for i in over}
                ends |= {(int(packed.first[at[e - 1]]), int(at[e - 1]) + 1) for e in end[over]}
                grown = self._add_windows(sorted(ends - self._known))
        if packed.group_start.size:
            x = np.zeros(packed.cost.size)
            x[point.used] = point.share
            total = np.add.reduceat(x[packed.group_column], packed.group_start)
            for group in np.flatnonzero(total > 1.0 + VIOLATED).tolist():
                if group not in self._row_of_group:
                    self._add_rows([np.flatnonzero(np.isin(self.entered, packed.members(group)))])
                    self._row_of_group[group] = self.rows - 1
                    grown = True
        return grown

    def _add_windows(self, ends: list[tuple[int, int]]) -> bool:
        if not ends:
            return False
        moment = self.packed.moment[self.entered]
        order = np.argsort(moment, kind="stable")
        at = np.searchsorted(moment[order], np.array(ends))
        self._add_rows([order[a:b] for a, b in at.tolist()])
        self.windows += ends
        self._known.update(ends)
        self._row_of_window += range(self.rows - len(ends), self.rows)
        return True

    def _add_rows(self, positions: list[I]) -> None:
        """Rows that allow at most one of the columns at the given positions."""
        count = len(positions)
        entries = np.concatenate(positions) + self._classes
        start = np.cumsum([0] + [p.size for p in positions[:-1]])
        self._program.add_rows(np.full(count, -np.inf), np.ones(count), start, entries, np.ones(entries.size))
        self.rows += count
