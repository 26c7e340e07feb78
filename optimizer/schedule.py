"""The schedule: which options are chosen, proved best over all columns.

The road to a proof: the relaxation (``relaxation.py``) bounds every plan from below, and every plan through each
column; the few columns that may still matter go into an exact program that PuLP and HiGHS solve (``solver.py``). A plan
that costs no more than the bound is optimal. Else only columns whose own bound stays below the plan's cost can do
better: they are the next program, and its answer is the proof. Where no plan is known the programs grow in steps, each
of which either holds the best plan or raises the bound (reduced cost fixing, Dantzig, Fulkerson and Johnson 1954).
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Literal

import numpy as np
import numpy.typing as npt

from .columns import I32, Bool, Columns, F, I, ScheduleProblem, dominated
from .relaxation import Packed, Relaxed, relax
from .solver import Answer, Program, Status, solve_program

__all__ = [
    "Columns",
    "Objective",
    "ScheduleProblem",
    "Side",
    "Solved",
    "candidates",
    "dominated",
    "restrict",
    "solve_lexicographic",
    "solve_schedule",
]

Side = tuple[tuple[F, float], ...]
"""Extra rows: coefficients (n,) and the limit that their sum over the chosen columns must not exceed."""

TOLERANCE = 1e-6
"""Absolute, in units of the cost: a plan this close to the bound counts as optimal."""
SIDE_TOLERANCE = 1e-9
"""Relative to the sum of the coefficients' sizes: what rounding may do to an extra row."""
RELAXATION_SHARE = 0.6
"""Of a time limit, what the relaxation may take before the exact programs."""
FIRST_PROGRAM = 48
"""Columns beyond the relaxation's own that the first exact program may hold."""


@dataclass(frozen=True, kw_only=True)
class _Proof:
    """What bounds every plan through a column from below, in units of the cost."""

    price: F  # (n,) the costs solved for
    own: I
    least: F  # for the columns in `own`
    base: float  # for all others: base + price - pair prices - moment price
    pair_price: F
    moment_price: F


@dataclass(frozen=True, kw_only=True)
class Solved:
    """What was found and proved.

    Attributes:
        status: ``optimal``, ``bounded`` (a plan, but time ran out before the proof), ``infeasible`` or ``failed``.
        chosen: columns of the plan, ascending; empty without a plan.
        objective: the plan's cost, summed from the columns themselves; inf without a plan.
        bound: proved lower bound of every plan's cost; inf if infeasible, -inf if nothing was proved.
        gap: (objective - bound) / |objective|, 0 where both are equal; inf without a plan.
        values: what each objective of :func:`solve_lexicographic` came to; (objective,) after :func:`solve_schedule`.
        priced: columns that were priced; exact: columns of the largest exact program.
    """

    status: Status
    chosen: tuple[int, ...] = ()
    objective: float = np.inf
    bound: float = -np.inf
    gap: float = np.inf
    values: tuple[float, ...] = ()
    priced: int = 0
    exact: int = 0
    _proof: _Proof | None = field(default=None, repr=False, compare=False)


@dataclass(frozen=True, kw_only=True)
class Objective:
    """One aim of :func:`solve_lexicographic`: the ``sum`` or the ``worst`` of ``value`` (n,) over the chosen columns.

    Later aims may raise it by ``tolerance``.
    """

    value: F
    kind: Literal["sum", "worst"] = "sum"
    tolerance: float = TOLERANCE


@dataclass(frozen=True, kw_only=True)
class _Packing:
    packed: Packed
    own: I  # the problem's column of each packed one
    offset: float  # what was taken from every plan's cost
    taken: F  # and from each pair of a class


def solve_schedule(
    problem: ScheduleProblem,
    *,
    cost: F | None = None,
    allowed: Bool | None = None,
    upper_bound: float = np.inf,
    side: Side = (),
    time_limit_s: float | None = None,
    tolerance: float = TOLERANCE,
) -> Solved:
    """The cheapest plan, with proof.

    Args:
        problem: columns and limits.
        cost: (n,) costs to minimize instead of the columns' own.
        allowed: (n,) columns that may be chosen; None for all.
        upper_bound: only plans that cost no more are of interest; ``infeasible`` if there is none.
        side: extra rows, each a sum over the chosen columns that must not exceed its limit.
        time_limit_s: stop after about so long with what is known. The answer then depends on the machine.
        tolerance: absolute, in units of the cost.

    Two craft that are unlike, two slots; the cheap option of the first would leave the other without a slot.

    >>> two = ScheduleProblem(
    ...     columns=Columns(cost=np.array([1.0, 4.0, 2.0]), finish_s=np.zeros(3), pad=np.full(3, -1),
    ...                     liftoff_s=np.full(3, np.nan), pair_column=np.arange(3), pair_class=np.array([0, 0, 1]),
    ...                     pair_slot=np.array([0, 1, 0])),
    ...     class_count=np.array([1, 1]), slots=2, turnaround_s=np.empty(0))
    >>> solve_schedule(two).chosen, solve_schedule(two).objective
    ((1, 2), 6.0)
    """
    deadline_s = None if time_limit_s is None else time.monotonic() + time_limit_s
    price = problem.columns.cost if cost is None else cost
    if int(problem.class_count.sum()) == 0:
        fits = upper_bound >= 0 and all(limit >= 0 for _, limit in side)
        return _solved(problem, price, (), 0.0, 0, 0, tolerance) if fits else Solved(status="infeasible", bound=np.inf)
    packing = _pack(problem, price, allowed, side, upper_bound)
    packed = packing.packed
    limit = upper_bound - packing.offset + tolerance
    pause_s = None if time_limit_s is None else time.monotonic() + RELAXATION_SHARE * time_limit_s
    relaxed = relax(packed, limit=limit, deadline_s=pause_s)
    priced = packed.cost.size
    if relaxed.bound > limit or np.isinf(relaxed.bound):
        return Solved(status="infeasible", bound=np.inf, priced=priced)
    search = _search(packed, relaxed, limit, tolerance, deadline_s)
    found, bound = search.found, search.bound + packing.offset
    if search.found is None:
        status: Status = "infeasible" if np.isinf(search.bound) else "failed"
        return Solved(status=status, bound=bound, priced=priced, exact=search.exact)
    assert found is not None
    chosen = tuple(sorted(packing.own[found].tolist()))
    return replace(
        _solved(problem, price, chosen, bound, priced, search.exact, tolerance),
        _proof=_Proof(
            price=price,
            own=packing.own,
            least=relaxed.reduced + (relaxed.bound + packing.offset),
            base=relaxed.bound + packing.offset,
            pair_price=relaxed.pair_price + np.repeat(packing.taken, problem.slots),
            moment_price=relaxed.moment_price,
        ),
    )


def _solved(
    problem: ScheduleProblem, price: F, chosen: tuple[int, ...], bound: float, priced: int, exact: int, tolerance: float
) -> Solved:
    objective = float(price[list(chosen)].sum()) if chosen else 0.0
    bound = min(bound, objective)
    short = objective - bound
    return Solved(
        status="optimal" if short <= 2 * tolerance else "bounded",
        chosen=chosen,
        objective=objective,
        bound=bound,
        gap=short / abs(objective) if short > 0 else 0.0,
        values=(objective,),
        priced=priced,
        exact=exact,
    )


@dataclass(frozen=True, kw_only=True)
class _Search:
    found: I | None
    bound: float  # inf: no plan of interest
    exact: int


def _search(packed: Packed, relaxed: Relaxed, limit: float, tolerance: float, deadline_s: float | None) -> _Search:
    """From the relaxation to a plan and its proof, by exact programs over ever more columns."""
    bound, best, largest = relaxed.bound, limit, 0
    found: I | None = None
    extra = np.maximum(relaxed.reduced, 0.0)
    if relaxed.plan.size and (cost := float(packed.cost[relaxed.plan].sum())) <= limit:
        found, best = relaxed.plan, cost
    ids = relaxed.plan if found is not None and best <= bound + tolerance else np.empty(0, dtype=np.intp)
    if ids.size == 0 and (found is None or np.count_nonzero(extra <= best - bound) > 4 * FIRST_PROGRAM):
        near = relaxed.entered[extra[relaxed.entered] <= best - bound]
        near = near[np.argsort(extra[near], kind="stable")][: relaxed.used.size + FIRST_PROGRAM]
        ids = np.unique(np.concatenate((relaxed.plan, relaxed.used, near)))
    if ids.size:
        answer = _exact(packed, ids, tolerance, deadline_s)
        largest = ids.size
        if answer.value.size and answer.objective <= best:
            found, best = ids[answer.value > 0.5], answer.objective
    within = best - bound
    if found is not None and within <= tolerance:
        return _Search(found=found, bound=bound, exact=largest)
    ordered = np.sort(extra[extra <= within])
    size = max(4 * FIRST_PROGRAM, 2 * largest)
    while True:
        # the columns whose own bound is at most `reach` above the relaxation's
        reach = within if ordered.size <= 4 * size else float(ordered[size])
        if deadline_s is not None and time.monotonic() > deadline_s:
            return _Search(found=found, bound=bound, exact=largest)
        ids = np.flatnonzero(extra <= reach)
        answer = _exact(packed, ids, tolerance, deadline_s)
        largest = max(largest, ids.size)
        if answer.value.size and (answer.objective < best or (found is None and answer.objective <= limit)):
            found, best = ids[answer.value > 0.5], answer.objective
        # a plan with a column left out costs at least relaxed.bound + reach
        outside = np.inf if reach >= within else relaxed.bound + reach
        bound = min(max(bound, min(answer.bound, outside)), best if found is not None else np.inf)
        if answer.status in ("failed", "bounded"):
            return _Search(found=found, bound=bound, exact=largest)
        if found is not None and best - bound <= tolerance:
            return _Search(found=found, bound=bound, exact=largest)
        if reach >= within:
            return _Search(found=found, bound=best if found is not None else np.inf, exact=largest)
        within = min(within, best - relaxed.bound) if found is not None else within
        size *= 4


def _exact(packed: Packed, ids: I, tolerance: float, deadline_s: float | None) -> Answer:
    """The exact program over some columns, with every limit that binds them."""
    left = None if deadline_s is None else max(deadline_s - time.monotonic(), 0.05)
    return solve_program(_program(packed, ids), time_limit_s=left, tolerance=tolerance / 4)


def _program(packed: Packed, ids: I) -> Program:
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
    for members in _groups(packed, position):
        rows.append(np.full(members.size, total))
        columns.append(members)
        values.append(np.ones(members.size))
        lower.append(np.array([-np.inf]))
        upper.append(np.ones(1))
        total += 1
    moment = packed.moment[ids]
    at, where = np.unique(moment[moment < packed.first.size], return_inverse=True)
    end = np.searchsorted(at, packed.last[at])
    # a window that ends where its forerunner ends is part of it
    start = np.flatnonzero((np.diff(end, prepend=-1) > 0) & (end > np.arange(at.size)))
    on_pad = np.flatnonzero(moment < packed.first.size)
    on_pad = on_pad[np.argsort(where, kind="stable")]
    ends = np.searchsorted(np.sort(where), np.arange(at.size + 1))
    for i in start.tolist():
        members = on_pad[ends[i] : ends[end[i]]]
        if members.size < 2:
            continue
        rows.append(np.full(members.size, total))
        columns.append(members)
        values.append(np.ones(members.size))
        lower.append(np.array([-np.inf]))
        upper.append(np.ones(1))
        total += 1
    return Program(
        cost=packed.cost[ids],
        row=np.concatenate(rows),
        column=np.concatenate(columns),
        value=np.concatenate(values),
        lower=np.concatenate(lower),
        upper=np.concatenate(upper),
    )


def _groups(packed: Packed, position: I) -> list[I]:
    ends = np.append(packed.group_start, packed.group_column.size).tolist()
    members = [position[packed.group_column[a:b]] for a, b in pairwise(ends)]
    members = [m[m >= 0] for m in members]
    return [m for m in members if m.size > 1]


def _pack(problem: ScheduleProblem, price: F, allowed: Bool | None, side: Side, upper_bound: float) -> _Packing:
    """Leave out what cannot be chosen, keep of equal columns the cheapest, shift costs to start at zero."""
    columns, slots = problem.columns, problem.slots
    n = price.size
    moments = problem.moments
    keep = np.isfinite(price)
    if allowed is not None:
        keep &= allowed
    craft = problem.class_count
    if not problem.single:
        # a column that serves a slot twice, or a class more often than it has craft, fits no plan
        keep[_impossible(problem)] = False
    elif np.any(craft == 0):
        keep &= craft[columns.pair_class] > 0
    first_key = problem.key if problem.single else problem.key[problem.first_pair]
    if not side:
        keep = _cheapest_of_each(problem, price, keep, first_key)
    own = np.flatnonzero(keep)
    position = np.full(n, -1)
    position[own] = np.arange(own.size)
    cost = price[own].astype(float)
    key, moment = first_key[own], moments.of_column[own]
    width: F | None = None
    more_column, more_key = np.empty(0, dtype=np.intp), np.empty(0, dtype=np.int32)
    if not problem.single:
        more = np.ones(columns.pair_column.size, dtype=bool)
        more[problem.first_pair] = False
        more &= keep[columns.pair_column]
        more_column, more_key = position[columns.pair_column[more]], problem.key[more]
        if more_column.size:
            width = np.ones(own.size) + np.bincount(more_column, minlength=own.size)
    classes = (key // slots, more_column, more_key // slots, width)
    cost, offset, taken = _shifted(cost, craft, *classes)
    rows, limits = [], []
    for coefficients, limit in side:
        row, less, _ = _shifted(coefficients[own].astype(float), craft, *classes)
        scale = float(row.max()) if row.size and row.max() > 0 else 1.0
        size = float(np.abs(coefficients[own]).max(initial=0.0)) * float(craft.sum()) + abs(limit)
        rows.append(row / scale)
        limits.append((limit - less + SIDE_TOLERANCE * size) / scale)
    groups = [np.unique(position[list(g)]) for g in problem.conflicts]
    groups = [g[g >= 0] for g in groups]
    groups = [g for g in groups if g.size > 1]
    return _Packing(
        packed=Packed(
            cost=cost,
            key=key,
            more_column=more_column,
            more_key=more_key,
            width=width,
            moment=moment,
            first=moments.first,
            last=moments.last,
            count=craft,
            slots=slots,
            group_column=np.concatenate(groups) if groups else np.empty(0, dtype=np.intp),
            group_start=np.cumsum([0] + [g.size for g in groups[:-1]]) if groups else np.empty(0, dtype=np.intp),
            side=np.array(rows) if rows else np.empty((0, own.size)),
            side_limit=np.array(limits),
        ),
        own=own,
        offset=offset,
        taken=taken,
    )


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


def restrict(problem: ScheduleProblem, keep: Bool) -> tuple[ScheduleProblem, I]:
    """The problem over some of its columns, and which column of the old one each of the new one is."""
    c = problem.columns
    own = np.flatnonzero(keep)
    position = np.full(c.cost.size, -1)
    position[own] = np.arange(own.size)
    pairs = keep[c.pair_column]
    conflicts = tuple(
        kept
        for group in problem.conflicts
        if len(kept := tuple(int(position[i]) for i in group if position[i] >= 0)) > 1
    )
    columns = Columns(
        cost=c.cost[own],
        finish_s=c.finish_s[own],
        pad=c.pad[own],
        liftoff_s=c.liftoff_s[own],
        pair_column=position[c.pair_column[pairs]],
        pair_class=c.pair_class[pairs],
        pair_slot=c.pair_slot[pairs],
    )
    return replace(problem, columns=columns, conflicts=conflicts), own


def candidates(problem: ScheduleProblem, solved: Solved, limit: float) -> Bool:
    """(n,) columns that may appear in a plan that costs at most ``limit``: all others are proved not to.

    Args:
        problem: what was solved.
        solved: answer of :func:`solve_schedule` for the costs that ``limit`` is meant in.
    """
    proof = solved._proof
    if proof is None:
        return np.ones(problem.columns.cost.size, dtype=bool)
    pairs = proof.pair_price[problem.key]
    taken = pairs if problem.single else np.add.reduceat(pairs, problem.first_pair)
    least = proof.base + proof.price - taken - proof.moment_price[problem.moments.of_column]
    least[proof.own] = proof.least
    out: Bool = least <= limit
    return out


def solve_lexicographic(
    problem: ScheduleProblem,
    objectives: Sequence[Objective],
    *,
    allowed: Bool | None = None,
    upper_bound: float = np.inf,
    side: Side = (),
    time_limit_s: float | None = None,
    stopped: Callable[[], bool] = lambda: False,
) -> Solved:
    """Minimize the first aim, then among its best plans the second, and so on.

    Args:
        problem: columns and limits; the columns' own costs play no part.
        objectives: at least one.
        allowed: (n,) columns that may be chosen; None for all.
        upper_bound: of the first aim, see :func:`solve_schedule`.
        side: extra rows, see :func:`solve_schedule`.
        time_limit_s: for all aims together.
        stopped: asked between aims, once there is a plan: whether to leave the further ones.

    Returns:
        ``objective``, ``bound`` and ``gap`` are those of the first aim, ``values`` those of all; ``optimal`` only if
        each was proved.
    """
    deadline_s = None if time_limit_s is None else time.monotonic() + time_limit_s
    n = problem.columns.cost.size
    rest, own = (problem, np.arange(n)) if allowed is None else restrict(problem, allowed)
    side = tuple((row[own], end) for row, end in side)
    first: Solved | None = None
    chosen: tuple[int, ...] = ()
    proved, exact = True, 0
    for number, aim in enumerate(objectives):
        if first is not None and stopped():
            proved = False
            break
        value = aim.value[own]
        bar = upper_bound if number == 0 else np.inf
        left = None if deadline_s is None else max(deadline_s - time.monotonic(), 0.05)
        known = None if first is None else chosen
        if aim.kind == "worst":
            solved = _least_worst(rest, value, side, known, bar, left)
        elif known is not None and float(value[list(known)].sum()) <= _floor(rest, value) + TOLERANCE:
            best = float(value[list(known)].sum())
            solved = Solved(status="optimal", chosen=known, objective=best, bound=best)
        else:
            solved = solve_schedule(rest, cost=value, side=side, upper_bound=bar, time_limit_s=left)
        exact = max(exact, solved.exact)
        if first is None:
            first = solved
            if solved.status not in ("optimal", "bounded"):
                return solved
        elif solved.status not in ("optimal", "bounded"):
            proved = False
            break
        proved &= solved.status == "optimal"
        chosen = solved.chosen
        limit = solved.objective + aim.tolerance
        if aim.kind == "worst":
            keep = value <= limit
        else:
            keep = candidates(rest, solved, limit)
            side = (*side, (value, limit))
        keep[list(chosen)] = True
        if not keep.all():
            rest, kept = restrict(rest, keep)
            place = np.cumsum(keep) - 1
            chosen = tuple(place[list(chosen)].tolist())
            own = own[kept]
            side = tuple((row[kept], end) for row, end in side)
    assert first is not None
    plan = tuple(sorted(own[list(chosen)].tolist()))
    values = tuple(
        float(a.value[list(plan)].max() if a.kind == "worst" else a.value[list(plan)].sum()) if plan else 0.0
        for a in objectives
    )
    return replace(
        first, status="optimal" if proved else "bounded", chosen=plan, objective=values[0], values=values, exact=exact
    )


def _floor(problem: ScheduleProblem, value: F) -> float:
    """What every plan's sum comes to at least, class by class."""
    width = np.bincount(problem.columns.pair_column, minlength=value.size)
    least = np.full(problem.class_count.size, np.inf)
    np.minimum.at(least, problem.columns.pair_class, (value / width)[problem.columns.pair_column])
    return float(np.where(problem.class_count > 0, least, 0.0) @ problem.class_count)


def _least_worst(
    problem: ScheduleProblem,
    value: F,
    side: Side,
    known: tuple[int, ...] | None,
    upper_bound: float,
    left: float | None,
) -> Solved:
    """The least threshold under which the columns still hold a plan, by bisection over the distinct values."""
    deadline_s = None if left is None else time.monotonic() + left
    none = np.zeros(value.size)
    best: Solved | None = None
    if known is not None:
        best = Solved(status="optimal", chosen=known)
    else:
        best = solve_schedule(problem, cost=none, side=side, allowed=value <= upper_bound, time_limit_s=left)
        if best.status not in ("optimal", "bounded"):
            return best
    if not best.chosen:
        return replace(best, objective=0.0, bound=0.0)
    top = float(value[list(best.chosen)].max())
    served = problem.class_count[problem.columns.pair_class] > 0
    least = np.full(problem.class_count.size, np.inf)
    np.minimum.at(least, problem.columns.pair_class, value[problem.columns.pair_column])
    floor = float(least[problem.columns.pair_class[served]].max())
    steps = np.unique(value[(value >= floor) & (value <= top)])
    low, high, exact, proved = 0, steps.size - 1, best.exact, True
    while low < high:
        if deadline_s is not None and time.monotonic() > deadline_s:
            break
        middle = (low + high) // 2
        trial = solve_schedule(
            problem,
            cost=none,
            side=side,
            allowed=value <= steps[middle],
            time_limit_s=None if deadline_s is None else max(deadline_s - time.monotonic(), 0.05),
        )
        exact = max(exact, trial.exact)
        if trial.status in ("optimal", "bounded"):
            best = trial
            high = int(np.searchsorted(steps, value[list(trial.chosen)].max()))
        elif trial.status == "infeasible":
            low = middle + 1
        else:
            break
    proved = low >= high
    worst = float(steps[high])
    bound = worst if proved else float(steps[low])
    return Solved(
        status="optimal" if proved else "bounded",
        chosen=best.chosen,
        objective=worst,
        bound=bound,
        gap=(worst - bound) / abs(worst) if worst > bound else 0.0,
        values=(worst,),
        priced=value.size,
        exact=exact,
    )
