"""The linear relaxation of a schedule, by column and row generation.

A restricted master program (``restricted_master.py``) holds few columns and few rows. Its dual prices price every
column at once (columnar, no loop); those with a negative reduced cost enter. Pad rows are windows of one turnaround,
of which at most one liftoff may be used; a window at any position is a valid row, so only violated ones enter. What is
reported as ``bound`` does not rest on the master having converged: for any prices, signs right,

    bound = sum of prices over the rows' ends + sum over classes of count * min(0, least reduced cost of the class)

is a lower bound of every plan (Lagrange; Geoffrion 1974), and ``bound + reduced cost`` one of every plan that uses the
column. Column generation: Gilmore and Gomory 1961; Desaulniers, Desrosiers and Solomon 2005, chapter 1.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ...models.deadline import past
from ..in_a_row import in_a_row
from .assignment import assign, is_assignment
from .columns import Bool, F, I
from .greedy import serve_in_turn
from .presolve import Packed
from .restricted_master import Master, Point

SHORT = 1e-9
"""Relative to the span of costs: reduced costs less negative than this do not enter; the bound allows for them."""
TIE = 1e-5
"""Relative to the span of costs: which of two columns enters first is left to chance when they are this close."""
SHORTFALL = 1e-6
"""Craft: with less than this left unserved the relaxation counts as met; the bound does not rest on it."""
WHOLE = 1.0 - 1e-6
"""A column of which the master uses more than this is used whole."""
LEANING = 100
"""Craft above which each solution of the master, whole or not, is made a plan by serving its largest shares first."""
ENTER = 400
"""Columns that may enter at a time, besides two for each class and slot."""
MANY = 20_000
"""Columns above which candidates are thinned before they are sorted."""


@dataclass(frozen=True, kw_only=True)
class Relaxed:
    """What the relaxation proved.

    Attributes:
        bound: lower bound of every plan; inf where there is none.
        reduced: (n,) ``bound + reduced[j]`` is a lower bound of every plan that uses column j; inf for barred columns.
        pair_price, moment_price: (C * S,) and (M + 1,) what ``reduced`` takes from a column's cost for each pair it
            serves and for its liftoff (<= 0), at the prices of the bound.
        used, share: columns of the master's last solution, how much of each; empty if infeasible or stopped early.
        plan: columns of a plan met on the way, good but not proved best; empty if none was met.
        entered: columns that the master holds and that are not barred.
    """

    bound: float
    reduced: F
    pair_price: F
    moment_price: F
    used: I
    share: F
    plan: I
    entered: I


class Relaxation:
    """A relaxation that can be solved again with other columns barred, from where it stood.

    Args:
        packed: the problem.
    """

    def __init__(self, packed: Packed) -> None:
        self.packed = packed
        span = float(packed.cost.max(initial=0.0))
        self._free = span == 0.0
        self._scale = 1.0 if self._free else span
        self._master: Master | None = None
        self._assigns = is_assignment(packed)
        pairs = packed.count.size * packed.slots
        self._stretches = max(1, min(ENTER // max(pairs, 1), packed.moments))
        stretch = packed.moment.astype(np.int64) * self._stretches // (packed.moments + 1)
        self._group = packed.key * self._stretches + stretch

    def solve(
        self,
        *,
        limit: float = np.inf,
        deadline_s: float | None = None,
        barred: Bool | None = None,
        rounding: bool = True,
    ) -> Relaxed:
        """Bound every plan from below, and every plan through each column.

        Args:
            limit: stop as soon as the bound exceeds this: no plan of interest exists.
            deadline_s: reading of ``time.monotonic`` at which to stop with the best bound so far; None for never.
            barred: (n,) columns that may not be used this time.
            rounding: whether a solution that is not whole is rounded to a plan.
        """
        packed, scale = self.packed, self._scale
        n, classes = packed.cost.size, packed.count.size
        none = np.empty(0, dtype=np.intp)
        best = Relaxed(
            bound=0.0,
            reduced=packed.cost if barred is None else np.where(barred, np.inf, packed.cost),
            pair_price=np.zeros(classes * packed.slots),
            moment_price=np.zeros(packed.moments + 1),
            used=none,
            share=np.empty(0),
            plan=none,
            entered=none,
        )
        if np.any((packed.count > 0) & np.isinf(self._least(best.reduced))) or np.any(packed.side_limit < 0):
            return replace(best, bound=np.inf)
        if not self._liftoffs_fit(best.reduced):
            return replace(best, bound=np.inf)
        if self._assigns:
            return self._assigned(best, barred)
        dense = in_a_row(packed, barred) if packed.moments else none
        if dense.size and packed.cost[dense].sum() <= SHORT * scale:
            return replace(best, plan=dense, entered=dense, used=dense, share=np.ones(dense.size))
        if self._master is None:
            first, complete = serve_in_turn(packed, deadline_s, barred)
            if complete:
                best = replace(best, plan=first, entered=first)
                if packed.cost[first].sum() <= SHORT * scale:
                    return replace(best, used=first, share=np.ones(first.size))
            self._master = Master(packed)
            self._master.enter(np.union1d(self._starting(best.reduced), first), packed.cost)
        master = self._master
        penalty = 4.0 * scale
        counting = self._free
        master.hold(np.zeros(master.entered.size, dtype=bool), barred)
        master.set_costs(packed.cost, 1.0 if counting else penalty)
        while True:
            point = master.run()
            if not point.solved:
                break
            priced = master.price(point.price, np.zeros(n) if counting else packed.cost)
            reduced = priced.reduced
            if barred is not None:
                reduced[barred] = np.inf
            bound = priced.total + self._shortfall(reduced)
            if counting:
                if bound > SHORTFALL:
                    return replace(best, bound=np.inf)
            elif bound > best.bound:
                best = replace(best, bound=bound, reduced=reduced, pair_price=priced.pair, moment_price=priced.moment)
                if bound > limit:
                    return best
            if rounding and packed.count.sum() > LEANING and not counting:
                best = self._better(best, self._lean(point, barred))
                if best.plan.size and packed.cost[best.plan].sum() <= best.bound + SHORT * scale:
                    return replace(best, used=best.plan, share=np.ones(best.plan.size), entered=best.plan)
            grown = master.cut(point)
            met = not grown and float(point.unserved.sum()) <= SHORTFALL
            if past(deadline_s):
                break
            done = met and (counting or point.cost <= best.bound + SHORT * scale)
            fresh = none if done else self._choose(reduced)
            if fresh.size:
                master.enter(fresh, np.zeros(n) if counting else packed.cost)
            if counting and met:
                # there may be a plan after all: back to what it costs
                counting = False
                master.set_costs(packed.cost, penalty)
            elif fresh.size or grown:
                continue
            elif met:
                best = replace(best, used=point.used, share=point.share)
                if rounding or np.all(point.share > WHOLE):
                    best = self._better(best, self._round(point, deadline_s, barred))
                break
            elif counting:
                # a shortfall too small to be told from rounding: left to the exact program
                break
            else:
                # the penalty was too small, or there is no plan: the shortfall alone will tell
                counting = True
                penalty *= 1e3
                master.set_costs(np.zeros(n), 1.0)
        entered = master.entered
        return replace(best, entered=entered if barred is None else entered[~barred[entered]])

    def _liftoffs_fit(self, reduced: F) -> bool:
        """Whether the pads hold as many liftoffs a turnaround apart as there are craft that can only be launched.

        The earliest moment that is left, again and again, gives the most that fit (intervals of one length).
        """
        packed = self.packed
        if packed.width is not None or not packed.moments:
            return True
        open_ = np.isfinite(reduced)
        launched = packed.moment < packed.moments
        classes = packed.key // packed.slots
        elsewhere = np.bincount(classes[open_ & ~launched], minlength=packed.count.size) > 0
        wanted = int(packed.count[~elsewhere].sum())
        left = np.unique(packed.moment[open_ & launched])
        found, place = 0, 0
        while found < wanted and place < left.size:
            found += 1
            place = int(np.searchsorted(left, packed.last[left[place]]))
        return found >= wanted

    def _assigned(self, none: Relaxed, barred: Bool | None) -> Relaxed:
        """The answer where the problem is a plain assignment, whose relaxation is whole."""
        packed = self.packed
        found = assign(packed, barred)
        if found is None:
            return replace(none, bound=np.inf)
        pair = (found.class_price[:, np.newaxis] + found.slot_price).ravel()
        reduced = none.reduced - pair[packed.key]
        total = float(packed.count @ found.class_price + found.slot_price.sum())
        return replace(
            none,
            bound=total + self._shortfall(reduced),
            reduced=reduced,
            pair_price=pair,
            used=found.columns,
            share=np.ones(found.columns.size),
            plan=found.columns,
            entered=found.columns,
        )

    def _least(self, each: F) -> F:
        """The least value of any column that serves each class, inf where none does."""
        packed = self.packed
        least = np.full(packed.count.size, np.inf)
        np.minimum.at(least, packed.key // packed.slots, each)
        if packed.more_column.size:
            np.minimum.at(least, packed.more_key // packed.slots, each[packed.more_column])
        return least

    def _shortfall(self, reduced: F) -> float:
        """A lower bound (<= 0) on the sum of the reduced costs of any plan."""
        if reduced.min(initial=0.0) >= 0:
            return 0.0
        width = self.packed.width
        return float(np.minimum(self._least(reduced if width is None else reduced / width), 0.0) @ self.packed.count)

    def _starting(self, cost: F) -> I:
        """The two cheapest columns of each (class, slot) pair."""
        packed = self.packed
        ids = np.flatnonzero(np.isfinite(cost))
        if ids.size > MANY:
            least = np.full(packed.count.size * packed.slots, np.inf)
            np.minimum.at(least, packed.key, cost)
            ids = np.flatnonzero(cost <= least[packed.key] + TIE * self._scale)
        order = ids[np.lexsort((cost[ids] + _spread(ids, TIE * self._scale), packed.key[ids]))]
        key = packed.key[order]
        second = np.ones(order.size, dtype=bool)
        second[2:] = key[2:] != key[:-2]
        return order[second]

    def _choose(self, reduced: F) -> I:
        """Columns to enter: of each (class, slot) pair and stretch of liftoffs the most negative, such pairs first."""
        assert self._master is not None
        packed = self.packed
        candidate = np.flatnonzero(reduced < -SHORT * self._scale)
        candidate = candidate[~self._master.inside[candidate]]
        if candidate.size <= 20:
            return candidate
        value = reduced[candidate] + _spread(candidate, TIE * self._scale)
        if candidate.size > MANY:
            least = np.full(packed.count.size * packed.slots * self._stretches, np.inf)
            np.minimum.at(least, self._group[candidate], value)
            hit = value == least[self._group[candidate]]
            candidate, value = candidate[hit], value[hit]
        order = np.argsort(value, kind="stable")
        _, where = np.unique(self._group[candidate[order]], return_index=True)
        where.sort()
        return candidate[order[where[: 2 * (packed.count.size + packed.slots) + ENTER]]]

    def _better(self, best: Relaxed, plan: I) -> Relaxed:
        """The same with another plan, if that is cheaper."""
        cost = self.packed.cost
        if plan.size and (not best.plan.size or cost[plan].sum() < cost[best.plan].sum()):
            return replace(best, plan=plan)
        return best

    def _lean(self, point: Point, barred: Bool | None) -> I:
        """A plan that takes what the master's solution uses most, then what is free; empty if that serves not all."""
        order = point.used[np.argsort(-point.share, kind="stable")]
        plan, complete = serve_in_turn(self.packed, barred=barred, preferred=order)
        return plan if complete else np.empty(0, dtype=np.intp)

    def _round(self, point: Point, deadline_s: float | None, barred: Bool | None) -> I:
        """From the master's solution to a plan: hold its largest columns at one, converge, and so on. Heuristic."""
        assert self._master is not None
        master, packed = self._master, self.packed
        craft = int(packed.count.sum())
        while not np.all(point.share > WHOLE):
            part = np.flatnonzero(point.share <= WHOLE)
            part = part[np.argsort(-point.share[part], kind="stable")]
            many = max(1, min(craft // 20, int(np.count_nonzero(point.share[part] > 0.95))))
            take = np.concatenate((point.used[point.share > WHOLE], point.used[part[:many]]))
            master.hold(np.isin(master.entered, take), barred)
            for _ in range(20):
                if past(deadline_s):
                    return np.empty(0, dtype=np.intp)
                point = master.run()
                if not point.solved:
                    return np.empty(0, dtype=np.intp)
                reduced = master.price(point.price, packed.cost).reduced
                if barred is not None:
                    reduced[barred] = np.inf
                grown = master.cut(point)
                fresh = self._choose(reduced)
                if fresh.size:
                    master.enter(fresh, packed.cost)
                if not fresh.size and not grown:
                    break
            if point.unserved.sum() > SHORTFALL or not np.isin(take, point.used[point.share > WHOLE]).all():
                return np.empty(0, dtype=np.intp)
        return point.used


def relax(packed: Packed, *, limit: float = np.inf, deadline_s: float | None = None) -> Relaxed:
    """Solve the relaxation once; see :meth:`Relaxation.solve`."""
    return Relaxation(packed).solve(limit=limit, deadline_s=deadline_s)


def _spread(ids: I, size: float) -> F:
    """Between 0 and ``size`` for each column, evenly spread and always the same: breaks ties between equal columns.

    Without it the columns that enter together would all share the first liftoff. (Weyl 1916, golden ratio.)
    """
    spread: F = np.mod(ids * 0.6180339887498949, 1.0) * size
    return spread
