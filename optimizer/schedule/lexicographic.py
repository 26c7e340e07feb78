"""The schedule: which options are chosen, proved best over all columns.

Several aims are taken one after the other (``one_aim.py``), each over the columns that the aims before it leave.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ...models.deadline import effort, past, searching
from .column_generation import Relaxation
from .columns import F, I, ScheduleProblem
from .integer_program import solve_exactly
from .one_aim import TOLERANCE, Solved, candidates, restrict, share_of_time, solve_packed, solve_schedule
from .presolve import Side, pack

LATER_SHARE = 0.5
"""Of the time left after the first of several aims, what all others may take."""
LATER_EFFORT = 100e6
"""And whatever the time, what they may take of the simplex method (see ``models/deadline.py``): about 2 s. Where that
ends them, the plan is the best one found by then, and is not called proved."""
TIES_MAX = 50_000
"""Columns above which nothing decides between plans that are equally good: it would take longer than all the aims."""
ALTERNATIVES = 24
"""Columns beside those of the plan that the last exact program of several aims may choose from."""


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

    def of(self, plan: tuple[int, ...]) -> float:
        """What a plan comes to; 0 without a column."""
        own = self.value[list(plan)]
        return float(own.max() if self.kind == "worst" else own.sum()) if plan else 0.0

    def limit(self, least: float) -> float:
        """How far later aims may raise it, where ``least`` is the least there is."""
        most = least + self.tolerance
        return most if self.alike is None else max(most, self.alike(least))


def solve_lexicographic(
    problem: ScheduleProblem,
    objectives: Sequence[Objective],
    *,
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
        upper_bound: of the first aim, see :func:`solve_schedule`.
        side, time_limit_s: see :func:`solve_schedule`, the time for all aims together.
        stopped: asked between aims, once there is a plan: whether to leave the further ones.
        confirm: whether the plan, proved already, is put to the exact program once more.

    ``objective``, ``bound`` and ``gap`` of the answer are those of the first aim, ``values`` those of all; ``optimal``
    only if each was proved.
    """
    deadline_s = None if time_limit_s is None else time.monotonic() + time_limit_s
    if int(problem.class_count.sum()) == 0:
        return replace(solve_schedule(problem), values=(0.0,) * len(objectives))
    left = _Left(problem=problem, own=np.arange(problem.columns.cost.size), held=side)
    first: Solved | None = None
    proved, exact = True, 0
    clock = effort(np.inf)
    for aim in objectives:
        if first is not None and (stopped() or clock() <= 0.0):
            proved = False
            break
        if aim.tie and left.own.size > TIES_MAX:
            continue
        with searching(clock):
            solved = left.least(aim, upper_bound if first is None else np.inf, deadline_s)
        exact = max(exact, solved.exact)
        if solved.status not in ("optimal", "bounded"):
            return solved
        if first is None:
            # what only chooses between the best plans leaves time for what comes after
            first, deadline_s = solved, share_of_time(deadline_s, LATER_SHARE)
            clock = effort(LATER_EFFORT)
        proved &= solved.status == "optimal"
        left = left.after(aim, solved)
    assert first is not None
    assert left.chosen is not None
    plan, used = _confirmed(left.problem, left.chosen, left.held, deadline_s) if confirm else (left.chosen, 0)
    plan = tuple(sorted(left.own[list(plan)].tolist()))
    return replace(
        first,
        status="optimal" if proved else "bounded",
        chosen=plan,
        objective=objectives[0].of(plan),
        values=tuple(aim.of(plan) for aim in objectives),
        exact=max(exact, used),
    )


@dataclass(frozen=True, kw_only=True)
class _Left:
    """What the aims so far leave: columns, which of the first problem's each is, rows that hold sums, and a plan."""

    problem: ScheduleProblem
    own: I
    held: Side
    chosen: tuple[int, ...] | None = None

    def least(self, aim: Objective, upper_bound: float, deadline_s: float | None) -> Solved:
        """The best plan by one more aim."""
        value, known = aim.value[self.own], self.chosen
        if aim.kind == "worst":
            return _least_worst(self.problem, value, self.held, known, upper_bound, deadline_s)
        if known is not None and float(value[list(known)].sum()) <= _floor(self.problem, value) + TOLERANCE:
            best = float(value[list(known)].sum())
            return Solved(status="optimal", chosen=known, objective=best, bound=best)
        return solve_schedule(
            self.problem,
            cost=value,
            side=self.held,
            upper_bound=upper_bound,
            deadline_s=deadline_s,
            known=known,
            confirm=False,
        )

    def after(self, aim: Objective, solved: Solved) -> _Left:
        """What is left once that aim may not become worse."""
        value, limit = aim.value[self.own], aim.limit(solved.objective)
        keep = value <= limit if aim.kind == "worst" else candidates(self.problem, solved, limit)
        keep[list(solved.chosen)] = True
        rest, kept = restrict(self.problem, keep)
        held = tuple((row[kept], end) for row, end in self.held)
        return _Left(
            problem=rest,
            own=self.own[kept],
            held=(*held, (value[kept], limit)) if aim.kind == "sum" else held,
            chosen=tuple((np.cumsum(keep) - 1)[list(solved.chosen)].tolist()),
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
    width = 1 if problem.single else np.bincount(problem.columns.pair_column, minlength=value.size)
    return float(_cheapest_slots(problem, value / width).sum())


def _cheapest_slots(problem: ScheduleProblem, value: F) -> F:
    """The least value in each class's cheapest slots, as many as it has craft."""
    least = np.full(problem.class_count.size * problem.slots, np.inf)
    np.minimum.at(least, problem.key, value[problem.columns.pair_column])
    table = np.sort(least.reshape(-1, problem.slots), axis=1)
    return np.asarray(table[np.arange(problem.slots) < problem.class_count[:, None]])


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
        return solve_packed(
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
    floor = float(_cheapest_slots(problem, value).max())
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
        exact=exact,
    )
