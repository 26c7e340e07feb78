"""Plans for alike craft from one pad, made without a relaxation: valid, and as cheap as what is proved best."""

from __future__ import annotations

import numpy as np
import pytest

from ringwright.optimizer.schedule.columns import Columns, ScheduleProblem
from ringwright.optimizer.schedule.in_a_row import CRAFT_MIN, in_a_row
from ringwright.optimizer.schedule.one_aim import solve_schedule
from ringwright.optimizer.schedule.presolve import pack


def _problem(craft: int, slots: int, turnaround_s: float, seed: int) -> ScheduleProblem:
    random = np.random.default_rng(seed)
    times, where = (axis.ravel() for axis in np.meshgrid(np.arange(3.0 * craft), np.arange(slots), indexing="ij"))
    n = times.size
    columns = Columns(
        cost=random.integers(1, 9, n).astype(float),
        finish_s=times + 5.0,
        pad=np.zeros(n, dtype=np.intp),
        liftoff_s=times,
        pair_column=np.arange(n),
        pair_class=np.zeros(n, dtype=np.intp),
        pair_slot=where.astype(np.intp),
    )
    return ScheduleProblem(
        columns=columns, class_count=np.array([craft]), slots=slots, turnaround_s=np.array([turnaround_s])
    )


@pytest.mark.parametrize("slots", [10, 13])
def test_a_dense_plan_keeps_all_limits_and_is_no_better_than_the_best(slots: int) -> None:
    problem = _problem(10, slots, 2.0, seed=3)
    packing = pack(problem, problem.columns.cost)
    plan = in_a_row(packing.packed)
    assert plan.size == 10
    assert packing.packed.kept_by(plan)
    liftoffs = np.sort(problem.columns.liftoff_s[packing.own[plan]])
    assert np.diff(liftoffs).min() >= 2.0
    best = solve_schedule(problem)
    assert problem.columns.cost[packing.own[plan]].sum() >= best.objective - 1e-9


def test_few_craft_and_pads_too_short_give_none() -> None:
    few = _problem(CRAFT_MIN - 1, 9, 1.0, seed=5)
    assert in_a_row(pack(few, few.columns.cost).packed).size == 0
    tight = _problem(10, 10, 4.0, seed=5)
    assert in_a_row(pack(tight, tight.columns.cost).packed).size == 0
