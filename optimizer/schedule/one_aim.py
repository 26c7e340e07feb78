"""The cheapest plan by one cost, with proof.

Columns are packed for pricing (``presolve.py``); a first plan is made quickly (``greedy.py``); the relaxation bounds
every plan from below, and every plan through each column (``column_generation.py`` over ``restricted_master.py``); what
remains is searched (``reduced_cost_fixing.py``), by one exact program in PuLP (``integer_program.py``, ``solver.py``)
or by branching first (``branch_and_bound.py``).
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field, replace

import numpy as np

from .column_generation import Relaxation
from .columns import Bool, Columns, F, I, ScheduleProblem
from .presolve import Packing, Side, pack
from .reduced_cost_fixing import Found, search
from .solver import Status

TOLERANCE = 1e-6
"""Absolute, in units of the cost: a plan this close to the bound counts as optimal."""
RELAXATION_SHARE = 0.6
"""Of a time limit, what the relaxation may take before the exact programs."""


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
        exact: columns of the largest exact program.
    """

    status: Status
    chosen: tuple[int, ...] = ()
    objective: float = np.inf
    bound: float = -np.inf
    gap: float = np.inf
    values: tuple[float, ...] = ()
    exact: int = 0
    _proof: _Proof | None = field(default=None, repr=False, compare=False)


def solve_schedule(
    problem: ScheduleProblem,
    *,
    cost: F | None = None,
    allowed: Bool | None = None,
    upper_bound: float = np.inf,
    side: Side = (),
    deadline_s: float | None = None,
    known: tuple[int, ...] | None = None,
    confirm: bool = True,
) -> Solved:
    """The cheapest plan, with proof.

    Args:
        problem: columns and limits.
        cost: (n,) costs to minimize instead of the columns' own.
        allowed: (n,) columns that may be chosen; None for all.
        upper_bound: only plans that cost no more are of interest; ``infeasible`` if there is none.
        side: extra rows, each a sum over the chosen columns that must not exceed its limit.
        deadline_s: reading of ``time.monotonic`` at which to stop with what is known; the answer then depends on the
            machine.
        known: a plan that keeps all limits: the answer unless there is a better one.
        confirm: whether a plan that the relaxation met and proved is put to the exact program once more.

    Two craft that are unlike, two slots; the cheap option of the first would leave the other without a slot.

    >>> two = ScheduleProblem(
    ...     columns=Columns(cost=np.array([1.0, 4.0, 2.0]), finish_s=np.zeros(3), pad=np.full(3, -1),
    ...                     liftoff_s=np.full(3, np.nan), pair_column=np.arange(3), pair_class=np.array([0, 0, 1]),
    ...                     pair_slot=np.array([0, 1, 0])),
    ...     class_count=np.array([1, 1]), slots=2, turnaround_s=np.empty(0))
    >>> solve_schedule(two).chosen, solve_schedule(two).objective
    ((1, 2), 6.0)
    """
    price = problem.columns.cost if cost is None else cost
    if int(problem.class_count.sum()) == 0:
        fits = upper_bound >= 0 and all(limit >= 0 for _, limit in side)
        return _solved(price, (), 0.0, 0) if fits else Solved(status="infeasible", bound=np.inf)
    return solve_packed(
        problem,
        price,
        pack(problem, price, allowed, side),
        upper_bound=upper_bound,
        deadline_s=deadline_s,
        known=known,
        confirm=confirm,
    )


def solve_packed(
    problem: ScheduleProblem,
    price: F,
    packing: Packing,
    *,
    relaxation: Relaxation | None = None,
    barred: Bool | None = None,
    upper_bound: float = np.inf,
    deadline_s: float | None = None,
    known: tuple[int, ...] | None = None,
    confirm: bool = True,
) -> Solved:
    """See :func:`solve_schedule`; a ``relaxation`` of the packing goes on where it stood, other columns ``barred``."""
    packed, offset = packing.packed, packing.offset
    limit = upper_bound - offset + TOLERANCE
    if known is not None:
        limit = min(limit, float(price[list(known)].sum()) - offset - TOLERANCE)
    relaxation = Relaxation(packed) if relaxation is None else relaxation
    relaxed = relaxation.solve(limit=limit, deadline_s=share_of_time(deadline_s, RELAXATION_SHARE), barred=barred)
    if relaxed.bound > limit or np.isinf(relaxed.bound):
        found = Found(plan=None, bound=np.inf, exact=0)
    else:
        found = search(packed, relaxed, limit, TOLERANCE, deadline_s, confirm=confirm)
    if found.plan is not None:
        plan = tuple(sorted(packing.own[found.plan].tolist()))
        solved = _solved(price, plan, found.bound + offset, found.exact)
    elif known is not None:
        solved = _solved(price, known, min(found.bound, limit) + offset, found.exact)
    else:
        status: Status = "infeasible" if np.isinf(found.bound) else "failed"
        return Solved(status=status, bound=found.bound + offset, exact=found.exact)
    proof = _Proof(
        price=price,
        own=packing.own,
        least=relaxed.reduced + (relaxed.bound + offset),
        base=relaxed.bound + offset,
        pair_price=relaxed.pair_price + np.repeat(packing.taken, problem.slots),
        moment_price=relaxed.moment_price,
    )
    return replace(solved, _proof=proof)


def share_of_time(deadline_s: float | None, share: float) -> float | None:
    """A moment before the deadline, after that share of the time left."""
    if deadline_s is None:
        return None
    now = time.monotonic()
    return now + share * max(deadline_s - now, 0.0)


def _solved(price: F, chosen: tuple[int, ...], bound: float, exact: int) -> Solved:
    objective = float(price[list(chosen)].sum()) if chosen else 0.0
    bound = min(bound, objective)
    short = objective - bound
    return Solved(
        status="optimal" if short <= 2 * TOLERANCE else "bounded",
        chosen=chosen,
        objective=objective,
        bound=bound,
        gap=short / abs(objective) if short > 0 else 0.0,
        values=(objective,),
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
