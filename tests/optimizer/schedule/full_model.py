"""Schedules by other roads than the scheduler's: the full model in scipy, exhaustive search, and a checker of limits.

Nothing here uses the scheduler: liftoffs too close together are compared pair by pair, not by windows.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import scipy.sparse as sp
from scipy.optimize import Bounds, LinearConstraint, milp

from ringwright.optimizer.schedule.columns import Columns, ScheduleProblem

F = npt.NDArray[np.float64]
CLOSE_S = 1e-6


def problem_of(
    rows: Sequence[tuple[float, float, int, float, Sequence[tuple[int, int]]]],
    *,
    count: Sequence[int],
    slots: int,
    turnaround: Sequence[float] = (),
    conflicts: tuple[tuple[int, ...], ...] = (),
) -> ScheduleProblem:
    """A problem from rows (cost, finish, pad, liftoff, [(class, slot), ...])."""
    pairs = [(i, k, s) for i, row in enumerate(rows) for k, s in row[4]]
    return ScheduleProblem(
        columns=Columns(
            cost=np.array([r[0] for r in rows], dtype=float),
            finish_s=np.array([r[1] for r in rows], dtype=float),
            pad=np.array([r[2] for r in rows], dtype=np.intp),
            liftoff_s=np.array([r[3] for r in rows], dtype=float),
            pair_column=np.array([p[0] for p in pairs], dtype=np.intp),
            pair_class=np.array([p[1] for p in pairs], dtype=np.intp),
            pair_slot=np.array([p[2] for p in pairs], dtype=np.intp),
        ),
        class_count=np.array(count, dtype=np.intp),
        slots=slots,
        turnaround_s=np.array(turnaround, dtype=float),
        conflicts=conflicts,
    )


def broken_limits(problem: ScheduleProblem, chosen: Sequence[int], side: Sequence[tuple[F, float]] = ()) -> list[str]:
    """Every limit that the chosen columns break, in words."""
    c = problem.columns
    out = []
    if len(set(chosen)) != len(chosen):
        out.append("a column is chosen twice")
    served = [0] * problem.class_count.size
    slots: list[int] = []
    for column, k, s in zip(c.pair_column.tolist(), c.pair_class.tolist(), c.pair_slot.tolist(), strict=True):
        if column in set(chosen):
            served[k] += 1
            slots.append(s)
    out += [
        f"class {k}: {a} of {b}"
        for k, (a, b) in enumerate(zip(served, problem.class_count.tolist(), strict=True))
        if a != b
    ]
    if len(set(slots)) != len(slots):
        out.append("a slot is served twice")
    lifted = [(int(c.pad[i]), float(c.liftoff_s[i])) for i in chosen if c.pad[i] >= 0]
    for i, (p, t) in enumerate(lifted):
        for q, u in lifted[:i]:
            if p == q and abs(t - u) < problem.turnaround_s[p] - CLOSE_S * 1.001:
                out.append(f"pad {p}: {t} and {u}")
    out += [f"conflict {g}" for g in problem.conflicts if len(set(g) & set(chosen)) > 1]
    for row, end in side:
        total = sum(float(row[i]) for i in chosen)
        if total > end + 1e-6 * (1.0 + abs(end)):
            out.append(f"side row: {total} above {end}")
    out += [f"column {i} may not be chosen" for i in chosen if not np.isfinite(c.cost[i])]
    return out


def full_rows(problem: ScheduleProblem, side: Sequence[tuple[F, float]] = ()) -> list[LinearConstraint]:
    """Every row of the full model; liftoffs too close as pairs of moments."""
    c = problem.columns
    n = c.cost.size
    one = np.ones(c.pair_column.size)
    classes = sp.csr_array((one, (c.pair_class, c.pair_column)), shape=(problem.class_count.size, n))
    slots = sp.csr_array((one, (c.pair_slot, c.pair_column)), shape=(problem.slots, n))
    rows = [
        LinearConstraint(classes, problem.class_count, problem.class_count),
        LinearConstraint(slots, -np.inf, 1.0),
    ]
    close = []
    for p, turnaround in enumerate(problem.turnaround_s):
        if turnaround <= 0:
            continue
        on = np.flatnonzero(c.pad == p)
        times = np.unique(c.liftoff_s[on])
        member = {float(t): on[c.liftoff_s[on] == t] for t in times}
        for i, t in enumerate(times.tolist()):
            close.append(member[t])
            close += [
                np.concatenate((member[t], member[u])) for u in times[i + 1 :].tolist() if u - t < turnaround - CLOSE_S
            ]
    close += [np.array(sorted(set(g)), dtype=np.intp) for g in problem.conflicts]
    if close:
        r = np.repeat(np.arange(len(close)), [m.size for m in close])
        packing = sp.csr_array((np.ones(r.size), (r, np.concatenate(close))), shape=(len(close), n))
        rows.append(LinearConstraint(packing, -np.inf, 1.0))
    rows += [LinearConstraint(row[None, :], -np.inf, end) for row, end in side]
    return rows


def full_optimum(problem: ScheduleProblem, cost: F | None = None, side: Sequence[tuple[F, float]] = ()) -> float | None:
    """Cost of the best plan by scipy's mixed-integer solver over the full model, None if there is no plan."""
    price = problem.columns.cost if cost is None else cost
    if price.size == 0:
        return None if problem.class_count.sum() else 0.0
    fine = np.isfinite(price)
    result = milp(
        np.where(fine, price, 0.0),
        constraints=full_rows(problem, side),
        integrality=np.ones(price.size, dtype=np.int64),
        bounds=Bounds(0.0, fine.astype(float)),
        options={"mip_rel_gap": 0.0},
    )
    assert result.status in (0, 2), result.message
    return None if result.status == 2 else float(price[result.x > 0.5].sum())


def full_relaxation(problem: ScheduleProblem, cost: F | None = None) -> float:
    """The linear relaxation of the full model with every maximal window of a turnaround as a row, by scipy."""
    c = problem.columns
    price = c.cost if cost is None else cost
    rows = full_rows(
        ScheduleProblem(
            columns=c,
            class_count=problem.class_count,
            slots=problem.slots,
            turnaround_s=0.0 * problem.turnaround_s,
            conflicts=problem.conflicts,
        )
    )
    windows = [
        on[(c.liftoff_s[on] >= t) & (c.liftoff_s[on] < t + turnaround - CLOSE_S)]
        for on, turnaround in ((np.flatnonzero(c.pad == p), end) for p, end in enumerate(problem.turnaround_s))
        for t in np.unique(c.liftoff_s[on]).tolist()
    ]
    if windows:
        r = np.repeat(np.arange(len(windows)), [m.size for m in windows])
        shape = (len(windows), price.size)
        rows.append(
            LinearConstraint(sp.csr_array((np.ones(r.size), (r, np.concatenate(windows))), shape=shape), ub=1.0)
        )
    result = milp(price, constraints=rows)
    assert result.status == 0, result.message
    return float(result.fun)


def every_plan(problem: ScheduleProblem, side: Sequence[tuple[F, float]] = ()) -> list[tuple[int, ...]]:
    """All plans, by trying every set of columns craft by craft."""
    c = problem.columns
    serves: list[list[tuple[int, int]]] = [[] for _ in range(c.cost.size)]
    for column, k, s in zip(c.pair_column.tolist(), c.pair_class.tolist(), c.pair_slot.tolist(), strict=True):
        serves[column].append((k, s))
    found = []

    def extend(start: int, chosen: list[int], left: list[int], free: set[int]) -> None:
        if not any(left):
            if not broken_limits(problem, chosen, side):
                found.append(tuple(chosen))
            return
        for i in range(start, len(serves)):
            after, taken = left.copy(), {s for _, s in serves[i]}
            for k, _ in serves[i]:
                after[k] -= 1
            if min(after) < 0 or not taken <= free or len(taken) < len(serves[i]):
                continue
            extend(i + 1, [*chosen, i], after, free - taken)

    extend(0, [], problem.class_count.tolist(), set(range(problem.slots)))
    return found
