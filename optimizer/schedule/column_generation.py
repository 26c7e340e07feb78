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
from .assignment import assign, is_assignment
from .columns import Bool, F, I
from .few_slots import fill, suits
from .greedy import serve_in_turn
from .in_a_row import in_a_row
from .presolve import Packed
from .restricted_master import Master, Point, Priced

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
        self._few = suits(packed)
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
        best = self._nothing_known(barred)
        if self._hopeless(best.reduced):
            return replace(best, bound=np.inf)
        if self._assigns:
            return self._assigned(best, barred)
        if self._few:
            return self._filled(best, barred)
        packed = self.packed
        dense = in_a_row(packed, barred) if packed.moments else _none()
        if self._free_of_cost(dense):
            return _whole(best, dense)
        if self._master is None:
            first, complete = serve_in_turn(packed, deadline_s, barred)
            if complete:
                best = replace(best, plan=first, entered=first)
                if self._free_of_cost(first):
                    return _whole(best, first)
            self._master = Master(packed)
            self._master.enter(np.union1d(self._starting(best.reduced), first), packed.cost)
        return self._generated(best, self._master, limit, deadline_s, barred, rounding)

    def _nothing_known(self, barred: Bool | None) -> Relaxed:
        packed = self.packed
        return Relaxed(
            bound=0.0,
            reduced=packed.cost if barred is None else np.where(barred, np.inf, packed.cost),
            pair_price=np.zeros(packed.count.size * packed.slots),
            moment_price=np.zeros(packed.moments + 1),
            used=_none(),
            share=np.empty(0),
            plan=_none(),
            entered=_none(),
        )

    def _hopeless(self, reduced: F) -> bool:
        """Whether a class has no column left, a row can never be kept, or the pads hold too few liftoffs."""
        packed = self.packed
        without = np.any((packed.count > 0) & np.isinf(self._least(reduced)))
        return bool(without or np.any(packed.side_limit < 0)) or not self._liftoffs_fit(reduced)

    def _free_of_cost(self, plan: I) -> bool:
        """Whether there is such a plan and no other can be cheaper."""
        return bool(plan.size) and bool(self.packed.cost[plan].sum() <= SHORT * self._scale)

    def _generated(
        self,
        best: Relaxed,
        master: Master,
        limit: float,
        deadline_s: float | None,
        barred: Bool | None,
        rounding: bool,
    ) -> Relaxed:
        """Columns and rows enter until none is missing; while ``counting``, craft left unserved are all the cost.

        Where the master converges with craft unserved, the penalty was too small or there is no plan: the shortfall
        alone then decides which.
        """
        packed, short = self.packed, SHORT * self._scale
        penalty, counting = 4.0 * self._scale, self._free
        free = np.zeros(packed.cost.size)
        master.hold(np.zeros(master.entered.size, dtype=bool), barred)
        master.set_costs(packed.cost, 1.0 if counting else penalty)
        while (point := master.run()).solved:
            cost = free if counting else packed.cost
            priced = _open_to(master.price(point.price, cost), barred)
            bound = priced.total + self._shortfall(priced.reduced)
            if counting and bound > SHORTFALL:
                return replace(best, bound=np.inf)
            if not counting and bound > best.bound:
                best = _raised(best, bound, priced)
                if bound > limit:
                    return best
            if rounding and packed.count.sum() > LEANING and not counting:
                best = self._better(best, self._lean(point, barred))
                if best.plan.size and packed.cost[best.plan].sum() <= best.bound + short:
                    return _whole(best, best.plan)
            grown = master.cut(point)
            met = not grown and float(point.unserved.sum()) <= SHORTFALL
            if past(deadline_s):
                break
            done = met and (counting or point.cost <= best.bound + short)
            fresh = _none() if done else self._choose(priced.reduced)
            if fresh.size:
                master.enter(fresh, cost)
            if counting and met:
                # there may be a plan after all: back to what it costs
                counting = False
                master.set_costs(packed.cost, penalty)
            elif not (fresh.size or grown):
                if met:
                    best = replace(best, used=point.used, share=point.share)
                    if rounding or np.all(point.share > WHOLE):
                        best = self._better(best, self._round(point, deadline_s, barred))
                if met or counting:
                    # a shortfall of the size of rounding is left to the exact program
                    break
                counting, penalty = True, 1e3 * penalty
                master.set_costs(free, 1.0)
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
        best = replace(none, bound=total + self._shortfall(reduced), reduced=reduced, pair_price=pair)
        return _whole(best, found.columns)

    def _filled(self, none: Relaxed, barred: Bool | None) -> Relaxed:
        """The answer where there are a few craft and slots, whole, with what each column comes to at least."""
        found = fill(self.packed, barred)
        if not found.columns.size:
            return replace(none, bound=np.inf)
        best = replace(none, bound=found.cost, reduced=found.through - found.cost, pair_price=found.pair_price)
        return _whole(best, found.columns)

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
        return plan if complete else _none()

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
                    return _none()
                point = master.run()
                if not point.solved:
                    return _none()
                reduced = _open_to(master.price(point.price, packed.cost), barred).reduced
                grown = master.cut(point)
                fresh = self._choose(reduced)
                if fresh.size:
                    master.enter(fresh, packed.cost)
                if not fresh.size and not grown:
                    break
            if point.unserved.sum() > SHORTFALL or not np.isin(take, point.used[point.share > WHOLE]).all():
                return _none()
        return point.used


def _none() -> I:
    return np.empty(0, dtype=np.intp)


def _whole(best: Relaxed, plan: I) -> Relaxed:
    """Where the relaxation's solution is a plan."""
    return replace(best, plan=plan, used=plan, share=np.ones(plan.size), entered=plan)


def _raised(best: Relaxed, bound: float, priced: Priced) -> Relaxed:
    return replace(best, bound=bound, reduced=priced.reduced, pair_price=priced.pair, moment_price=priced.moment)


def _open_to(priced: Priced, barred: Bool | None) -> Priced:
    """The same with barred columns at no price."""
    return priced if barred is None else replace(priced, reduced=np.where(barred, np.inf, priced.reduced))


def _spread(ids: I, size: float) -> F:
    """Between 0 and ``size`` for each column, evenly spread and always the same: breaks ties between equal columns.

    Without it the columns that enter together would all share the first liftoff. (Weyl 1916, golden ratio.)
    """
    spread: F = np.mod(ids * 0.6180339887498949, 1.0) * size
    return spread
