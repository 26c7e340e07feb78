"""The schedule: which options are chosen, proved best over all columns.

The road from a problem to a proof, each step a module: columns are packed for pricing (``presolve.py``); a first plan
is made quickly (``greedy.py``); the relaxation bounds every plan from below, and every plan through each column
(``column_generation.py`` over ``restricted_master.py``); what remains is searched (``reduced_cost_fixing.py``), by one
exact program in PuLP (``integer_program.py``, ``solver.py``) or by branching first (``branch_and_bound.py``). Several
aims are taken one after the other, each over the columns that the aims before it leave.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from ...models.deadline import past
from .column_generation import Relaxation
from .columns import Bool, Columns, F, I, ScheduleProblem, dominated
from .integer_program import solve_exactly
from .presolve import Packing, Side, pack
from .reduced_cost_fixing import Found, search
from .solver import Status

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
RELAXATION_SHARE = 0.6
"""Of a time limit, what the relaxation may take before the exact programs."""
LATER_SHARE = 0.5
"""Of the time left after the first of several aims, what all others may take."""
TIES_MAX = 50_000
"""Columns above which nothing decides between plans that are equally good: it would take longer than all the aims."""
ALTERNATIVES = 24
"""Columns beside those of the plan that the last exact program of several aims may choose from."""


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

    Later aims may raise it by ``tolerance``, and as far as ``alike`` allows: the greatest value that counts as equal to
    a given one. A ``tie`` only chooses between plans that are equally good: it is left where more than ``TIES_MAX``
    columns are.
    """

    value: F
    kind: Literal["sum", "worst"] = "sum"
    tolerance: float = TOLERANCE
    tie: bool = False
    alike: Callable[[float], float] | None = None

    def limit(self, least: float) -> float:
        """How far later aims may raise it, where ``least`` is the least there is."""
        most = least + self.tolerance
        return most if self.alike is None else max(most, self.alike(least))


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
        found = Found(plan=None, bound=np.inf, exact=0)
    else:
        found = search(packed, relaxed, limit, tolerance, deadline_s, confirm=confirm)
    priced, exact = packed.cost.size, found.exact
    if found.plan is not None:
        plan = tuple(sorted(packing.own[found.plan].tolist()))
        solved = _solved(price, plan, found.bound + offset, priced, exact, tolerance)
    elif known is not None:
        solved = _solved(price, known, min(found.bound, limit) + offset, priced, exact, tolerance)
    else:
        status: Status = "infeasible" if np.isinf(found.bound) else "failed"
        return Solved(status=status, bound=found.bound + offset, priced=priced, exact=exact)
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
    confirm: bool = True,
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
        confirm: whether the plan, proved already, is put to the exact program once more.

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
        if aim.tie and own.size > TIES_MAX:
            continue
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
        if first is None:
            # what only chooses between the best plans leaves time for what comes after
            first, deadline_s = solved, _share(deadline_s, LATER_SHARE)
        proved &= solved.status == "optimal"
        limit = aim.limit(solved.objective)
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
    plan, used = _confirmed(rest, chosen, held, deadline_s) if confirm else (chosen, 0)
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
    keep[np.flatnonzero(~keep)[:ALTERNATIVES]] = True
    rest, own = restrict(problem, keep)
    aim = held[-1][0][own] if held else np.zeros(own.size)
    side = tuple((row[own], limit) for row, limit in held)
    packing = pack(rest, aim, None, side)
    answer = solve_exactly(packing.packed, np.arange(packing.own.size), TOLERANCE, deadline_s)
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
    while low < high and not past(deadline_s):
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
