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
from typing import Literal

import numpy as np
import numpy.typing as npt

from .columns import Bool, Columns, F, I, ScheduleProblem, dominated
from .packing import Packed, Packing, Side, pack
from .relaxation import Relaxation, Relaxed
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

TOLERANCE = 1e-6
"""Absolute, in units of the cost: a plan this close to the bound counts as optimal."""
LARGEST_PROGRAM = 20_000
"""Columns beyond which no exact program is tried: what is proved by then is the answer."""
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
    return _solve(
        problem, price, allowed=allowed, upper_bound=upper_bound, side=side, deadline_s=deadline_s, tolerance=tolerance
    )


def _solve(
    problem: ScheduleProblem,
    price: F,
    *,
    allowed: Bool | None = None,
    upper_bound: float = np.inf,
    side: Side = (),
    deadline_s: float | None = None,
    tolerance: float = TOLERANCE,
    known: tuple[int, ...] | None = None,
    confirm: bool = True,
) -> Solved:
    """See :func:`solve_schedule`. ``known`` is a plan that keeps all limits: the answer unless there is a better one.

    Without ``confirm`` a plan that the relaxation met and proved is not put to the exact program once more.
    """
    if int(problem.class_count.sum()) == 0:
        fits = upper_bound >= 0 and all(limit >= 0 for _, limit in side)
        return _solved(price, (), 0.0, 0, 0, tolerance) if fits else Solved(status="infeasible", bound=np.inf)
    return _solve_packed(
        problem,
        price,
        pack(problem, price, allowed, side),
        upper_bound=upper_bound,
        deadline_s=deadline_s,
        tolerance=tolerance,
        known=known,
        confirm=confirm,
    )


def _solve_packed(
    problem: ScheduleProblem,
    price: F,
    packing: Packing,
    *,
    relaxation: Relaxation | None = None,
    barred: Bool | None = None,
    upper_bound: float = np.inf,
    deadline_s: float | None = None,
    tolerance: float = TOLERANCE,
    known: tuple[int, ...] | None = None,
    confirm: bool = True,
) -> Solved:
    """See :func:`_solve`; a ``relaxation`` of the packing goes on from where it stood, other columns ``barred``."""
    packed, offset = packing.packed, packing.offset
    limit = upper_bound - offset + tolerance
    if known is not None:
        limit = min(limit, float(price[list(known)].sum()) - offset - tolerance)
    relaxation = Relaxation(packed) if relaxation is None else relaxation
    relaxed = relaxation.solve(limit=limit, deadline_s=_share(deadline_s, RELAXATION_SHARE), barred=barred)
    if relaxed.bound > limit or np.isinf(relaxed.bound):
        search = _Search(found=None, bound=np.inf, exact=0)
    else:
        search = _search(packed, relaxed, limit, tolerance, deadline_s, confirm)
    priced, exact = packed.cost.size, search.exact
    if search.found is not None:
        plan = tuple(sorted(packing.own[search.found].tolist()))
        solved = _solved(price, plan, search.bound + offset, priced, exact, tolerance)
    elif known is not None:
        bound = min(search.bound, limit) if np.isinf(search.bound) else search.bound
        solved = _solved(price, known, bound + offset, priced, exact, tolerance)
    else:
        status: Status = "infeasible" if np.isinf(search.bound) else "failed"
        return Solved(status=status, bound=search.bound + offset, priced=priced, exact=exact)
    proof = _Proof(
        price=price,
        own=packing.own,
        least=relaxed.reduced + (relaxed.bound + offset),
        base=relaxed.bound + offset,
        pair_price=relaxed.pair_price + np.repeat(packing.taken, problem.slots),
        moment_price=relaxed.moment_price,
    )
    return replace(solved, _proof=proof)


def _share(deadline_s: float | None, share: float) -> float | None:
    """A moment before the deadline, after that share of the time left."""
    if deadline_s is None:
        return None
    now = time.monotonic()
    return now + share * max(deadline_s - now, 0.0)


def _solved(price: F, chosen: tuple[int, ...], bound: float, priced: int, exact: int, tolerance: float) -> Solved:
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


def _search(
    packed: Packed, relaxed: Relaxed, limit: float, tolerance: float, deadline_s: float | None, confirm: bool
) -> _Search:
    """From the relaxation to a plan and its proof, by exact programs over ever more columns."""
    bound, best, largest = relaxed.bound, limit, 0
    found: I | None = None
    extra = np.maximum(relaxed.reduced, 0.0)
    if relaxed.plan.size and packed.cost[relaxed.plan].sum() <= limit and packed.kept_by(relaxed.plan):
        found, best = relaxed.plan, float(packed.cost[relaxed.plan].sum())
    proved = found is not None and best <= bound + tolerance
    if proved and not confirm:
        return _Search(found=found, bound=bound, exact=0)
    ids = relaxed.plan if proved else np.empty(0, dtype=np.intp)
    if not proved and (found is None or np.count_nonzero(extra <= best - bound) > 4 * FIRST_PROGRAM):
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
    usable = np.isfinite(extra)
    ordered = np.sort(extra[usable & (extra <= within)])
    size = max(4 * FIRST_PROGRAM, 2 * largest)
    while True:
        # the columns whose own bound is at most `reach` above the relaxation's
        reach = within if ordered.size <= 4 * size else float(ordered[size])
        if deadline_s is not None and time.monotonic() > deadline_s:
            return _Search(found=found, bound=bound, exact=largest)
        ids = np.flatnonzero(usable & (extra <= reach))
        if ids.size > LARGEST_PROGRAM:
            return _Search(found=found, bound=bound, exact=largest)
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
    for group in range(packed.group_start.size):
        members = position[packed.members(group)]
        members = members[members >= 0]
        if members.size < 2:
            continue
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
    if int(problem.class_count.sum()) == 0:
        return replace(_solve(problem, problem.columns.cost), values=(0.0,) * len(objectives))
    rest, own = (problem, np.arange(n)) if allowed is None else restrict(problem, allowed)
    held: Side = tuple((row[own], end) for row, end in side)
    first: Solved | None = None
    chosen: tuple[int, ...] | None = None
    proved, exact = True, 0
    for aim in objectives:
        if first is not None and stopped():
            proved = False
            break
        value = aim.value[own]
        bar = upper_bound if first is None else np.inf
        if aim.kind == "worst":
            solved = _least_worst(rest, value, held, chosen, bar, deadline_s)
        elif chosen is not None and float(value[list(chosen)].sum()) <= _floor(rest, value) + TOLERANCE:
            best = float(value[list(chosen)].sum())
            solved = Solved(status="optimal", chosen=chosen, objective=best, bound=best)
        else:
            solved = _solve(rest, value, side=held, upper_bound=bar, deadline_s=deadline_s, known=chosen, confirm=False)
        exact = max(exact, solved.exact)
        if solved.status not in ("optimal", "bounded"):
            return solved
        first = solved if first is None else first
        proved &= solved.status == "optimal"
        limit = solved.objective + aim.tolerance
        keep = value <= limit if aim.kind == "worst" else candidates(rest, solved, limit)
        keep[list(solved.chosen)] = True
        rest, kept = restrict(rest, keep)
        chosen = tuple((np.cumsum(keep) - 1)[list(solved.chosen)].tolist())
        own = own[kept]
        held = tuple((row[kept], end) for row, end in held)
        if aim.kind == "sum":
            held = (*held, (value[kept], limit))
    assert first is not None
    assert chosen is not None
    plan, used = _confirmed(rest, chosen, held, deadline_s)
    plan = tuple(sorted(own[list(plan)].tolist()))
    values = tuple(
        float(a.value[list(plan)].max() if a.kind == "worst" else a.value[list(plan)].sum()) if plan else 0.0
        for a in objectives
    )
    return replace(
        first,
        status="optimal" if proved else "bounded",
        chosen=plan,
        objective=values[0],
        values=values,
        exact=max(exact, used),
    )


def _confirmed(
    problem: ScheduleProblem, chosen: tuple[int, ...], held: Side, deadline_s: float | None
) -> tuple[tuple[int, ...], int]:
    """The plan as the exact program has it, over the plan's columns and some of those that all aims left."""
    keep = np.zeros(problem.columns.cost.size, dtype=bool)
    keep[list(chosen)] = True
    keep[np.flatnonzero(~keep)[: FIRST_PROGRAM // 2]] = True
    rest, own = restrict(problem, keep)
    aim = held[-1][0][own] if held else np.zeros(own.size)
    side = tuple((row[own], limit) for row, limit in held)
    packing = pack(rest, aim, None, side)
    answer = _exact(packing.packed, np.arange(packing.own.size), TOLERANCE, deadline_s)
    if not answer.value.size:
        return chosen, 0
    return tuple(own[packing.own[answer.value > 0.5]].tolist()), packing.own.size


def _floor(problem: ScheduleProblem, value: F) -> float:
    """What every plan's sum comes to at least: each class in its cheapest slots."""
    c, slots = problem.columns, problem.slots
    width = 1 if problem.single else np.bincount(c.pair_column, minlength=value.size)
    least = np.full(problem.class_count.size * slots, np.inf)
    np.minimum.at(least, problem.key, (value / width)[c.pair_column])
    table = np.sort(least.reshape(-1, slots), axis=1)
    wanted = np.arange(slots) < problem.class_count[:, None]
    return float(table[wanted].sum())


def _least_worst(
    problem: ScheduleProblem,
    value: F,
    held: Side,
    known: tuple[int, ...] | None,
    upper_bound: float,
    deadline_s: float | None,
) -> Solved:
    """The least threshold under which the columns still hold a plan, by bisection over the distinct values."""
    # the last sum that is held is minimized rather than put in a row: its own limit then ends the search
    cost, most = held[-1] if held else (np.zeros(value.size), np.inf)
    top = upper_bound if known is None else float(value[list(known)].max(initial=-np.inf))
    packing = pack(problem, cost, value <= top, held[:-1], merge=False)
    relaxation = Relaxation(packing.packed)
    worth = value[packing.own]

    def under(threshold: float) -> Solved:
        return _solve_packed(
            problem,
            cost,
            packing,
            relaxation=relaxation,
            barred=worth > threshold,
            upper_bound=most,
            deadline_s=deadline_s,
            confirm=False,
        )

    best = under(top) if known is None else Solved(status="optimal", chosen=known)
    if best.status not in ("optimal", "bounded"):
        return best
    if not best.chosen:
        return replace(best, objective=0.0, bound=0.0)
    table = np.full(problem.class_count.size * problem.slots, np.inf)
    np.minimum.at(table, problem.key, value[problem.columns.pair_column])
    table = np.sort(table.reshape(-1, problem.slots), axis=1)
    floor = float(table[np.arange(problem.slots) < problem.class_count[:, None]].max())
    steps = np.unique(value[(value >= floor) & (value <= value[list(best.chosen)].max())])
    low, high, exact, trial = 0, steps.size - 1, best.exact, 0
    while low < high and not (deadline_s is not None and time.monotonic() > deadline_s):
        solved = under(steps[trial])
        exact = max(exact, solved.exact)
        if solved.status in ("optimal", "bounded"):
            best = solved
            high = int(np.searchsorted(steps, value[list(solved.chosen)].max()))
        elif solved.status == "infeasible":
            low = trial + 1
        else:
            break
        trial = (low + high) // 2
    proved = low >= high
    worst, bound = float(steps[high]), float(steps[low])
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
