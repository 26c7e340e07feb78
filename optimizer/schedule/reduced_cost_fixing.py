"""From the relaxation to the best plan and its proof.

A plan that costs no more than the relaxation's bound is best. Else only columns whose own bound stays below the plan's
cost can make a better one: that remainder goes into one exact program, or, where it is too large for one, into branch
and bound (reduced cost fixing, Dantzig, Fulkerson and Johnson 1954).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .branch_and_bound import branch
from .column_generation import Relaxed
from .columns import I
from .integer_program import solve_exactly
from .presolve import Packed

SMALL = 192
"""Columns up to which a remainder is one exact program; above, branch and bound is quicker."""


@dataclass(frozen=True, kw_only=True)
class Found:
    """The best plan, as packed columns (None: none found), a lower ``bound`` of every plan's cost, inf where none is of
    interest, and the columns of the largest exact program."""

    plan: I | None
    bound: float
    exact: int


def search(
    packed: Packed, relaxed: Relaxed, limit: float, tolerance: float, deadline_s: float | None, *, confirm: bool
) -> Found:
    """The best plan that costs at most ``limit``, from what the relaxation found and proved.

    Args:
        packed: the problem.
        relaxed: its relaxation.
        limit: dearer plans are of no interest.
        tolerance: absolute, in units of the cost.
        deadline_s: reading of ``time.monotonic`` at which to stop.
        confirm: whether a plan that is proved already is put to the exact program once more.
    """
    bound, best = relaxed.bound, limit
    plan: I | None = None
    if relaxed.plan.size and packed.cost[relaxed.plan].sum() <= limit and packed.kept_by(relaxed.plan):
        plan, best = relaxed.plan, float(packed.cost[relaxed.plan].sum())
    extra = np.maximum(relaxed.reduced, 0.0)
    exact = 0
    if plan is None or best > bound + tolerance:
        ids = np.flatnonzero(np.isfinite(extra) & (extra <= best - bound))
        if ids.size <= SMALL:
            answer = solve_exactly(packed, ids, tolerance, deadline_s)
            if answer.value.size and (answer.objective < best or (plan is None and answer.objective <= limit)):
                plan, best = ids[answer.value > 0.5], answer.objective
            # what was left out is in dearer plans only
            proved = min(answer.bound, best if plan is not None else np.inf)
            bound = max(bound, proved)
            return Found(plan=plan, bound=np.inf if plan is None and bound > limit else bound, exact=ids.size)
        branched = branch(
            packed.take(ids),
            best=best if plan is not None else limit + tolerance,
            tolerance=tolerance / 2.0,
            deadline_s=deadline_s,
        )
        if branched.found is not None:
            plan, best = ids[branched.found], branched.best
        exact = branched.exact
        bound = max(bound, min(branched.bound, best if plan is not None else np.inf))
    if plan is not None and confirm:
        rest = np.flatnonzero(extra <= best - relaxed.bound)
        ids = np.union1d(plan, rest) if rest.size <= SMALL // 2 else plan
        answer = solve_exactly(packed, ids, tolerance, deadline_s)
        exact = max(exact, ids.size)
        if answer.value.size and answer.objective <= best:
            plan = ids[answer.value > 0.5]
    return Found(plan=plan, bound=bound, exact=exact)
