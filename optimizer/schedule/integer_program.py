"""The exact program of a schedule over some of its columns: a set partitioning in PuLP, solved by HiGHS."""

from __future__ import annotations

import time

import numpy as np
import numpy.typing as npt

from .columns import I
from .presolve import Packed
from .solver import Answer, Program, solve_program


def solve_exactly(packed: Packed, ids: I, tolerance: float, deadline_s: float | None) -> Answer:
    """The exact program over some columns, with every limit that binds them."""
    left = None if deadline_s is None else max(deadline_s - time.monotonic(), 0.05)
    return solve_program(program(packed, ids), time_limit_s=left, tolerance=tolerance / 4.0)


def program(packed: Packed, ids: I) -> Program:
    """Each class served as often as it has craft, each slot at most once; at most one column of each conflict set and
    of each window of one turnaround; the extra rows."""
    classes, slots, n = packed.count.size, packed.slots, ids.size
    position = np.full(packed.cost.size, -1)
    position[ids] = np.arange(n)
    hit = position[packed.more_column] >= 0
    column = np.concatenate((np.arange(n), position[packed.more_column[hit]]))
    key = np.concatenate((packed.key[ids], packed.more_key[hit]))
    rows: list[npt.NDArray[np.integer]] = [key // slots, classes + key % slots]
    columns: list[npt.NDArray[np.integer]] = [column, column]
    values = [np.ones(key.size), np.ones(key.size)]
    lower = [packed.count.astype(float), np.full(slots, -np.inf)]
    upper = [packed.count.astype(float), np.ones(slots)]
    total = classes + slots
    if packed.side_limit.size:
        r, c = np.nonzero(packed.side[:, ids])
        rows.append(total + r)
        columns.append(c)
        values.append(packed.side[r, ids[c]])
        lower.append(np.full(packed.side_limit.size, -np.inf))
        upper.append(packed.side_limit)
        total += packed.side_limit.size
    only_one = [*packed.conflicts_among(position), *_windows(packed, ids)]
    for number, members in enumerate(only_one):
        rows.append(np.full(members.size, total + number))
        columns.append(members)
        values.append(np.ones(members.size))
    lower.append(np.full(len(only_one), -np.inf))
    upper.append(np.ones(len(only_one)))
    return Program(
        cost=packed.cost[ids],
        row=np.concatenate(rows),
        column=np.concatenate(columns),
        value=np.concatenate(values),
        lower=np.concatenate(lower),
        upper=np.concatenate(upper),
    )


def _windows(packed: Packed, ids: I) -> list[I]:
    """Positions among ``ids`` of the columns that lift off within each turnaround; none for windows within others."""
    moment = packed.moment[ids]
    at, where = np.unique(moment[moment < packed.moments], return_inverse=True)
    end = np.searchsorted(at, packed.last[at])
    # a window that ends where its forerunner ends is part of it
    start = np.flatnonzero((np.diff(end, prepend=-1) > 0) & (end > np.arange(at.size)))
    on_pad = np.flatnonzero(moment < packed.moments)
    on_pad = on_pad[np.argsort(where, kind="stable")]
    ends = np.searchsorted(np.sort(where), np.arange(at.size + 1))
    members = (on_pad[ends[i] : ends[end[i]]] for i in start.tolist())
    return [each for each in members if each.size > 1]
