"""What the schedule chooses from: columns, and the limits that bind them together.

A column is one option. It serves one or more (craft class, slot) pairs - a carrier's column serves several - with one
cost, one finish and at most one liftoff. A :class:`ScheduleProblem` asks for columns such that every class is served
exactly as often as it has craft, no slot is served twice, liftoffs on a pad are a turnaround apart, and of each set of
conflicting columns at most one is chosen: a set partitioning (Balas and Padberg 1976) with packing rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

F = npt.NDArray[np.float64]
I = npt.NDArray[np.intp]  # noqa: E741 - the integer twin of F
I32 = npt.NDArray[np.int32]
Bool = npt.NDArray[np.bool_]

TURNAROUND_TOLERANCE_S = 1e-6
"""Two liftoffs may be this much closer than the turnaround: times that meet it exactly carry rounding errors."""


@dataclass(frozen=True, kw_only=True)
class Columns:
    """Options as the schedule sees them.

    Attributes:
        cost: (n,) any finite cost, in any unit, or inf for a column that may not be chosen.
        finish_s: (n,) time at which the last craft of the column is in its slot, s.
        pad: (n,) index of the pad, -1 for none.
        liftoff_s: (n,) liftoff, s; nan where there is no pad.
        pair_column: (p,) column of each (class, slot) pair, sorted; every column appears at least once.
        pair_class, pair_slot: (p,) what the pair serves.
    """

    cost: F
    finish_s: F
    pad: I
    liftoff_s: F
    pair_column: I
    pair_class: I
    pair_slot: I


@dataclass(frozen=True, kw_only=True)
class Moments:
    """The distinct liftoffs, ordered by pad and time.

    Attributes:
        of_column: (n,) moment of each column; ``count`` for a column without a pad.
        pad, time_s: (count,) what the moment is.
        first, last: (count,) the moments ``first[i] <= j < last[i]`` of the same pad are those in the window of one
            turnaround that ends at i (for ``first``) or starts at i (for ``last``): of such a window at most one moment
            may be used, and once.
    """

    of_column: I32
    pad: I
    time_s: F
    first: I
    last: I

    @property
    def count(self) -> int:
        return self.time_s.size


@dataclass(frozen=True, kw_only=True)
class ScheduleProblem:
    """Choose columns so that each class is served ``class_count`` times, each slot at most once.

    Attributes:
        columns: the options.
        class_count: (C,) how many alike craft each class has.
        slots: number of slots; pairs name them 0 to slots - 1.
        turnaround_s: (P,) least time between liftoffs on each pad, s; 0 means no limit.
        conflicts: sets of columns of which at most one may be chosen.

    Raises:
        ValueError: arrays of unequal length, indices out of range, a column that serves nothing, a liftoff missing.
    """

    columns: Columns
    class_count: I
    slots: int
    turnaround_s: F
    conflicts: tuple[tuple[int, ...], ...] = ()

    def __post_init__(self) -> None:
        c = self.columns
        n, p = c.cost.size, c.pair_column.size
        if any(a.shape != (n,) for a in (c.cost, c.finish_s, c.pad, c.liftoff_s)):
            raise ValueError("cost, finish_s, pad and liftoff_s must be vectors of one length")
        if any(a.shape != (p,) for a in (c.pair_column, c.pair_class, c.pair_slot)):
            raise ValueError("pair_column, pair_class and pair_slot must be vectors of one length")
        step = np.diff(c.pair_column)
        whole = n == 0 or (p > 0 and c.pair_column[0] == 0 and c.pair_column[-1] == n - 1)
        if not whole or (n == 0) != (p == 0) or (step.size and (step.min() < 0 or step.max() > 1)):
            raise ValueError(f"pair_column must be sorted and name each of the {n} columns at least once")
        for name, index, end in (
            ("pair_class", c.pair_class, self.class_count.size),
            ("pair_slot", c.pair_slot, self.slots),
        ):
            if p and (index.min() < 0 or index.max() >= end):
                raise ValueError(f"{name} must lie in 0 to {end - 1}")
        if n and (c.pad.min() < -1 or c.pad.max() >= self.turnaround_s.size):
            raise ValueError(f"pad must lie in -1 to {self.turnaround_s.size - 1}")
        if n and np.isnan(np.max(np.where(c.pad >= 0, c.liftoff_s, 0.0))):
            raise ValueError("a column with a pad needs a liftoff_s")
        if n and not np.min(c.cost) > -np.inf:
            raise ValueError("cost must be a number above -inf")
        if any(i < 0 or i >= n for group in self.conflicts for i in group):
            raise ValueError(f"conflicts must name columns 0 to {n - 1}")

    @property
    def single(self) -> bool:
        """Whether every column serves one pair only."""
        return self.columns.pair_column.size == self.columns.cost.size

    @cached_property
    def first_pair(self) -> I:
        """(n,) position of each column's first pair."""
        c = self.columns
        if self.single:
            return np.arange(c.cost.size)
        return np.flatnonzero(np.diff(c.pair_column, prepend=-1))

    @cached_property
    def key(self) -> I32:
        """(p,) class * slots + slot of each pair."""
        c = self.columns
        return (c.pair_class * self.slots + c.pair_slot).astype(np.int32)

    @cached_property
    def moments(self) -> Moments:
        """The distinct liftoffs; worked out once."""
        c = self.columns
        on_pad = c.pad >= 0
        # catalogues come in runs of one liftoff: sort the runs, not the columns
        new = np.empty(c.cost.size, dtype=bool)
        new[:1] = True
        np.not_equal(c.pad[1:], c.pad[:-1], out=new[1:])
        new[1:] |= on_pad[1:] & (c.liftoff_s[1:] != c.liftoff_s[:-1])
        run = np.flatnonzero(new)
        pads, times = c.pad[run], c.liftoff_s[run]
        order = np.lexsort((times, pads))
        order = order[pads[order] >= 0]
        pads, times = pads[order], times[order]
        fresh = np.ones(order.size, dtype=bool)
        fresh[1:] = (pads[1:] != pads[:-1]) | (times[1:] != times[:-1])
        rank = np.cumsum(fresh) - 1
        pads, times = pads[fresh], times[fresh]
        of_run = np.full(run.size, times.size, dtype=np.int32)
        of_run[order] = rank
        first, last = np.empty(times.size, dtype=np.intp), np.empty(times.size, dtype=np.intp)
        for p, turnaround in enumerate(self.turnaround_s.tolist()):
            a, b = np.searchsorted(pads, [p, p + 1])
            reach = max(turnaround - TURNAROUND_TOLERANCE_S, 0.0)
            t = times[a:b]
            last[a:b] = np.maximum(a + np.searchsorted(t, t + reach, side="left"), np.arange(a, b) + (turnaround > 0))
            first[a:b] = np.minimum(
                a + np.searchsorted(t, t - reach, side="right"), np.arange(a, b) + (turnaround <= 0)
            )
        return Moments(
            of_column=np.repeat(of_run, np.diff(run, append=c.cost.size)),
            pad=pads,
            time_s=times,
            first=first,
            last=last,
        )


def dominated(columns: Columns) -> Bool:
    """(n,) which columns another one makes needless: same class, slot, pad and liftoff, neither cost nor finish worse.

    Exact for every aim that grows with cost and finish. Of equal columns the first stays. Columns that serve several
    pairs are never marked. Conflicts and other quantities of the columns are not examined.

    >>> three = Columns(cost=np.array([5.0, 4.0, 6.0]), finish_s=np.array([9.0, 8.0, 7.0]), pad=np.full(3, -1),
    ...                 liftoff_s=np.full(3, np.nan), pair_column=np.arange(3), pair_class=np.zeros(3, dtype=np.intp),
    ...                 pair_slot=np.zeros(3, dtype=np.intp))
    >>> dominated(three)
    array([ True, False, False])
    """
    n = columns.cost.size
    out = np.zeros(n, dtype=bool)
    pairs = np.bincount(columns.pair_column, minlength=n)
    lone = pairs[columns.pair_column] == 1
    column = columns.pair_column[lone]
    if column.size == 0:
        return out
    slots = int(columns.pair_slot.max()) + 1
    key = columns.pair_class[lone] * slots + columns.pair_slot[lone]
    pad, liftoff = columns.pad[column], np.where(columns.pad[column] >= 0, columns.liftoff_s[column], 0.0)
    cost, finish = columns.cost[column], columns.finish_s[column]
    order = np.lexsort((finish, cost, liftoff, pad, key))
    key, pad, liftoff, finish = key[order], pad[order], liftoff[order], finish[order]
    start = np.ones(order.size, dtype=bool)
    start[1:] = (key[1:] != key[:-1]) | (pad[1:] != pad[:-1]) | (liftoff[1:] != liftoff[:-1])
    # ranks of the finishes, lowered group by group, turn the running minimum of each group into one accumulate
    rank = np.empty(order.size, dtype=np.int64)
    by_finish = np.argsort(finish, kind="stable")
    rank[by_finish] = np.cumsum(np.diff(finish[by_finish], prepend=-np.inf) > 0)
    lowered = rank - np.cumsum(start) * (order.size + 2)
    best = np.minimum.accumulate(lowered)
    out[column[order]] = ~start & np.concatenate(([False], lowered[1:] >= best[:-1]))
    return out
