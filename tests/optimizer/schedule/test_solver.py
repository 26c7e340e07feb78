"""Mixed-integer programs through PuLP against scipy.optimize.milp, a separate interface to HiGHS."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.sparse as sp
from scipy.optimize import Bounds, LinearConstraint, milp

from ringwright.optimizer.schedule.solver import Program, solve_program
from ringwright.tests.tolerances import MILLIMETER_M_S


def program(
    cost: list[float], rows: list[tuple[list[float], float, float]], whole: list[bool] | None = None
) -> Program:
    matrix = sp.coo_array(np.array([r[0] for r in rows]).reshape(len(rows), len(cost)))
    return Program(
        cost=np.array(cost, dtype=float),
        row=matrix.row.astype(np.intp),
        column=matrix.col.astype(np.intp),
        value=matrix.data,
        lower=np.array([r[1] for r in rows], dtype=float),
        upper=np.array([r[2] for r in rows], dtype=float),
        whole=None if whole is None else np.array(whole),
    )


def hard(seed: int, variables: int, rows: int) -> Program:
    """A knapsack in many dimensions, its gains close to its weights: easy to fill, hard to fill best."""
    rng = np.random.default_rng(seed)
    weight = rng.integers(1, 1000, (rows, variables)).astype(float)
    gain = weight.mean(axis=0) + rng.random(variables) * 100.0
    r, c = np.nonzero(weight)
    return Program(
        cost=-gain,
        row=r,
        column=c,
        value=weight[r, c],
        lower=np.full(rows, -np.inf),
        upper=np.floor(weight.sum(axis=1) / 2.0),
    )


def test_best_plan_equals_scipy_to_the_last_unit() -> None:
    # costs near 1e6 that differ by ones: a solver that stops at its usual gap of 1e-4 would fail
    for seed in range(25):
        rng = np.random.default_rng(seed)
        n, m = int(rng.integers(3, 12)), int(rng.integers(1, 5))
        cost = 1e6 + rng.integers(0, 50, n)
        entries = rng.integers(0, 3, (m, n)).astype(float)
        lower, upper = entries.sum(axis=1) // 3, entries.sum(axis=1) // 1.5
        found = solve_program(program(cost.tolist(), list(zip(entries.tolist(), lower, upper, strict=True))))
        other = milp(
            cost,
            constraints=LinearConstraint(entries, lower, upper),
            integrality=np.ones(n, dtype=np.int64),
            bounds=Bounds(0, 1),
            options={"mip_rel_gap": 0.0},
        )
        if other.status == 2:
            assert found.status == "infeasible"
            assert found.bound == np.inf
        else:
            assert found.status == "optimal"
            assert found.objective == pytest.approx(other.fun, abs=MILLIMETER_M_S)
            assert found.bound == pytest.approx(other.fun, abs=MILLIMETER_M_S)
            assert np.all(entries @ found.value >= lower)
            assert np.all(entries @ found.value <= upper)


def test_time_that_runs_out_is_told_from_a_proof() -> None:
    knapsack = hard(1, 300, 40)
    answer = solve_program(knapsack, time_limit_s=0.3)
    assert answer.status == "bounded"
    assert answer.bound < answer.objective
    weight = sp.coo_array((knapsack.value, (knapsack.row, knapsack.column))).toarray()
    assert np.all(weight @ answer.value <= knapsack.upper)


def test_a_variable_that_need_not_be_whole() -> None:
    # maximize the part of 2.5 that one binary variable and one free one take: 1 + 1.5
    answer = solve_program(program([-1.0, -0.9], [([1.0, 1.0], -np.inf, 2.5)], [True, False]))
    assert answer.status == "optimal"
    assert answer.value == pytest.approx([1.0, 1.5])


def test_entries_given_twice_count_twice() -> None:
    twice = Program(
        cost=np.array([1.0, 5.0]),
        row=np.array([0, 0, 0]),
        column=np.array([0, 0, 1]),
        value=np.ones(3),
        lower=np.array([1.0]),
        upper=np.array([1.0]),
    )
    assert solve_program(twice).value == pytest.approx([0.0, 1.0])


def test_rows_without_entries_and_programs_without_variables() -> None:
    assert solve_program(program([1.0], [([0.0], 1.0, 1.0)])).status == "infeasible"
    assert solve_program(program([1.0], [([0.0], -1.0, 0.0)])).status == "optimal"
    assert solve_program(program([], [])).objective == 0.0


def test_nothing_reaches_standard_output(capfd: pytest.CaptureFixture[str]) -> None:
    solve_program(hard(2, 20, 3))
    solve_program(program([1.0, 1.0], [([1.0, 1.0], 3.0, 3.0)]))
    assert capfd.readouterr() == ("", "")
