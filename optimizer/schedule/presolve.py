"""A schedule problem made ready for pricing: what cannot be chosen left out, costs shifted to start at zero."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from .columns import I32, Bool, F, I, ScheduleProblem

Side = tuple[tuple[F, float], ...]
"""Extra rows: coefficients (n,) and the limit that their sum over the chosen columns must not exceed."""

SIDE_TOLERANCE = 1e-9
"""Relative to the sum of the coefficients' sizes: what rounding may do to an extra row."""


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

    @property
    def moments(self) -> int:
        """Number of distinct liftoffs."""
        return self.first.size

    def members(self, group: int) -> I:
        """Columns of a conflict set."""
        end = self.group_start[group + 1] if group + 1 < self.group_start.size else self.group_column.size
        return self.group_column[self.group_start[group] : end]

    def conflicts_among(self, place: I) -> list[I]:
        """Conflict sets of the columns whose place, (n,), is not negative, as places; none that bind nothing."""
        return _binding(place[self.members(group)] for group in range(self.group_start.size))

    def take(self, ids: I) -> Packed:
        """The same problem with some of the columns only, in their order."""
        place = np.full(self.cost.size, -1)
        place[ids] = np.arange(ids.size)
        more = place[self.more_column] >= 0
        groups = self.conflicts_among(place)
        return replace(
            self,
            cost=self.cost[ids],
            key=self.key[ids],
            more_column=place[self.more_column[more]],
            more_key=self.more_key[more],
            width=None if self.width is None else self.width[ids],
            moment=self.moment[ids],
            group_column=_joined(groups),
            group_start=_starts(groups),
            side=self.side[:, ids],
        )

    def kept_by(self, ids: I) -> bool:
        """Whether the columns make a plan: every limit is examined again, column by column."""
        more = np.isin(self.more_column, ids)
        key = np.concatenate((self.key[ids], self.more_key[more]))
        served = np.bincount(key // self.slots, minlength=self.count.size)
        slots = np.bincount(key % self.slots, minlength=self.slots)
        moment = np.sort(self.moment[ids])
        moment = moment[moment < self.moments]
        return bool(
            np.array_equal(served, self.count)
            and slots.max(initial=0) <= 1
            and np.all(self.last[moment[:-1]] <= moment[1:])
            and all(np.isin(self.members(g), ids).sum() <= 1 for g in range(self.group_start.size))
            and np.all(self.side[:, ids].sum(axis=1) <= self.side_limit + 1e-9)
        )


@dataclass(frozen=True, kw_only=True)
class Packing:
    """A problem made ready, and how it goes back to the one it was made from."""

    packed: Packed
    own: I  # the problem's column of each packed one
    offset: float  # what was taken from every plan's cost
    taken: F  # and from each pair of a class


def pack(
    problem: ScheduleProblem, price: F, allowed: Bool | None = None, side: Side = (), *, merge: bool = True
) -> Packing:
    """Leave out what cannot be chosen, keep of equal columns the cheapest, shift costs to start at zero.

    Args:
        problem: columns and limits.
        price: (n,) costs.
        allowed: (n,) columns that may be chosen; None for all.
        side: extra rows. Columns alike in all but these differ, so none are left out for another.
        merge: whether columns may be left out because one alike is cheaper.
    """
    slots, craft = problem.slots, problem.class_count
    keep = np.isfinite(price)
    if allowed is not None:
        keep &= allowed
    if not problem.single:
        # a column that serves a slot twice, or a class more often than it has craft, fits no plan
        keep[_impossible(problem)] = False
    elif np.any(craft == 0):
        keep &= craft[problem.columns.pair_class] > 0
    first_key = problem.key if problem.single else problem.key[problem.first_pair]
    if merge and not side:
        keep = _cheapest_of_each(problem, price, keep, first_key)
    own = np.flatnonzero(keep)
    position = np.full(price.size, -1)
    position[own] = np.arange(own.size)
    key = first_key[own]
    more_column, more_key = _further_pairs(problem, keep, position)
    width = np.ones(own.size) + np.bincount(more_column, minlength=own.size) if more_column.size else None

    def shifted(value: F) -> tuple[F, float, F]:
        return _shifted(value[own].astype(float), craft, key // slots, more_column, more_key // slots, width)

    cost, offset, taken = shifted(price)
    rows, limits = [], []
    for coefficients, limit in side:
        row, less, _ = shifted(coefficients)
        scale = float(row.max()) if row.size and row.max() > 0 else 1.0
        size = float(np.abs(coefficients[own]).max(initial=0.0)) * float(craft.sum()) + abs(limit)
        rows.append(row / scale)
        limits.append((limit - less + SIDE_TOLERANCE * size) / scale)
    groups = _binding(np.unique(position[list(group)]) for group in problem.conflicts)
    packed = Packed(
        cost=cost,
        key=key,
        more_column=more_column,
        more_key=more_key,
        width=width,
        moment=problem.moments.of_column[own],
        first=problem.moments.first,
        last=problem.moments.last,
        count=craft,
        slots=slots,
        group_column=_joined(groups),
        group_start=_starts(groups),
        side=np.array(rows) if rows else np.empty((0, own.size)),
        side_limit=np.array(limits),
    )
    return Packing(packed=packed, own=own, offset=offset, taken=taken)


def _further_pairs(problem: ScheduleProblem, keep: Bool, position: I) -> tuple[I, I32]:
    """Columns kept, by position, of every pair but their first, and the keys of those pairs."""
    if problem.single:
        return np.empty(0, dtype=np.intp), np.empty(0, dtype=np.int32)
    owner = problem.columns.pair_column
    more = np.ones(owner.size, dtype=bool)
    more[problem.first_pair] = False
    more &= keep[owner]
    return position[owner[more]], problem.key[more]


def _binding(groups: Iterable[I]) -> list[I]:
    """Conflict sets without the columns that are not there (-1), where more than one is left."""
    there = (group[group >= 0] for group in groups)
    return [group for group in there if group.size > 1]


def _joined(groups: list[I]) -> I:
    return np.concatenate(groups) if groups else np.empty(0, dtype=np.intp)


def _starts(groups: list[I]) -> I:
    return np.cumsum([0] + [g.size for g in groups[:-1]]) if groups else np.empty(0, dtype=np.intp)


def _impossible(problem: ScheduleProblem) -> I:
    c = problem.columns
    per_class, times = np.unique(np.stack((c.pair_column, c.pair_class)), axis=1, return_counts=True)
    too_often = per_class[0, times > problem.class_count[per_class[1]]]
    per_slot, times = np.unique(np.stack((c.pair_column, c.pair_slot)), axis=1, return_counts=True)
    return np.concatenate((too_often, per_slot[0, times > 1]))


def _shifted(value: F, craft: I, of_class: I32, more_column: I, more_class: I32, width: F | None) -> tuple[F, float, F]:
    """Take each class's least value per pair from its pairs: no plan's order changes, since every class is served
    exactly; returns what is left (>= 0), the sum taken from every plan, and what was taken from each class's pairs."""
    each = value if width is None else value / width
    least = np.full(craft.size, np.inf)
    np.minimum.at(least, of_class, each)
    if more_column.size:
        np.minimum.at(least, more_class, each[more_column])
    least[np.isinf(least)] = 0.0
    left = value - least[of_class]
    if more_column.size:
        np.subtract.at(left, more_column, least[more_class])
    return np.maximum(left, 0.0), float(least @ craft), least


def _cheapest_of_each(problem: ScheduleProblem, price: F, keep: Bool, key: I32) -> Bool:
    """Of columns alike in class, slot and liftoff keep the cheapest, then the earliest; those in a conflict or with
    several pairs all stay."""
    moments = problem.moments
    cells = problem.class_count.size * problem.slots * (moments.count + 1)
    n = price.size
    if cells > 4 * n + 10_000:
        return keep
    alone = keep.copy()
    if not problem.single:
        alone &= np.bincount(problem.columns.pair_column, minlength=n) == 1
    for group in problem.conflicts:
        alone[list(group)] = False
    cell = key.astype(np.int64) * (moments.count + 1) + moments.of_column
    least = np.full(cells, np.inf)
    at = np.flatnonzero(alone)
    np.minimum.at(least, cell[at], price[at])
    at = at[price[at] == least[cell[at]]]
    finish = problem.columns.finish_s
    soonest = np.full(cells, np.inf)
    np.minimum.at(soonest, cell[at], finish[at])
    at = at[finish[at] == soonest[cell[at]]]
    winner = np.full(cells, -1)
    winner[cell[at[::-1]]] = at[::-1]
    out = keep & ~alone
    out[winner[winner >= 0]] = True
    return out
