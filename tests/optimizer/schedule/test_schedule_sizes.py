"""Larger schedules: the proved bound against the relaxation of the full model, and other roads by scipy."""

from __future__ import annotations

import time

import numpy as np
import numpy.typing as npt
import pytest
from scipy.optimize import linear_sum_assignment

from ringwright.optimizer.schedule.columns import Columns, ScheduleProblem
from ringwright.optimizer.schedule.lexicographic import Objective, solve_lexicographic
from ringwright.optimizer.schedule.one_aim import solve_schedule
from ringwright.tests.benchmarks.schedule_sizes import ring_of_planes, ring_problem
from ringwright.tests.optimizer.schedule.full_model import broken_limits, full_optimum, full_relaxation, problem_of
from ringwright.tests.tolerances import FLOAT_M_S, SUMMED_M_S, WRITTEN_M_S

HOUR_S = 3600.0


def noisy(problem: ScheduleProblem, seed: int, part: float) -> npt.NDArray[np.float64]:
    """Costs that share no structure, so that the relaxation falls short of every plan."""
    rng = np.random.default_rng(seed)
    return np.asarray(problem.columns.cost * rng.uniform(1.0 - part, 1.0 + part, problem.columns.cost.size))


@pytest.mark.parametrize(
    "problem",
    [
        ring_problem(classes=12, count=1, slots=12, opportunities=40, options=4, pads=1, turnaround_s=12 * HOUR_S),
        ring_problem(classes=3, count=8, slots=26, opportunities=120, options=3, pads=2, turnaround_s=20 * HOUR_S),
        ring_problem(classes=1, count=10, slots=10, opportunities=400, options=2, pads=1, turnaround_s=30 * HOUR_S),
        ring_of_planes(planes=8, slots=6, days=24, pads=2, options=2, turnaround_s=9 * HOUR_S),
    ],
    ids=["unlike craft", "alike craft, two pads", "many liftoffs", "planes"],
)
def test_no_plan_is_cheaper_than_the_relaxation_allows(problem: ScheduleProblem) -> None:
    for cost in (problem.columns.cost, noisy(problem, 1, 0.02)):
        relaxed = full_relaxation(problem, cost)
        solved = solve_schedule(problem, cost=cost)
        assert solved.status == "optimal"
        assert not broken_limits(problem, solved.chosen)
        assert solved.objective >= relaxed - 1e-6
        assert solved.bound >= relaxed - 1e-6
        # these instances are all but whole: a plan far above the relaxation would be a plan not proved
        assert solved.objective <= relaxed * 1.01


def test_plans_that_the_relaxation_falls_short_of_equal_the_full_model() -> None:
    gaps = 0
    for seed in range(6):
        problem = ring_problem(
            classes=5, count=1, slots=5, opportunities=24, options=1, pads=1, turnaround_s=70 * HOUR_S, seed=seed
        )
        cost = noisy(problem, seed, 0.5)
        solved = solve_schedule(problem, cost=cost)
        best = full_optimum(problem, cost)
        assert (best is None) == (solved.status == "infeasible")
        if best is not None:
            assert solved.status == "optimal"
            assert solved.objective == pytest.approx(best, abs=SUMMED_M_S)
            gaps += full_relaxation(problem, cost) < best - 0.1
    assert gaps >= 2


def test_without_pads_it_is_an_assignment() -> None:
    # scipy.optimize.linear_sum_assignment: Jonker and Volgenant's method, no relaxation
    rng = np.random.default_rng(7)
    cost = rng.integers(500, 900, (40, 55)).astype(float)
    rows = [(float(cost[k, s]), 0.0, -1, np.nan, [(k, s)]) for k in range(40) for s in range(55)]
    solved = solve_schedule(problem_of(rows, count=[1] * 40, slots=55))
    assert solved.status == "optimal"
    assert solved.objective == pytest.approx(cost[linear_sum_assignment(cost)].sum(), abs=WRITTEN_M_S)


def test_one_carrier_against_single_launches() -> None:
    # a carrier for all eight slots at 790 against eight launches at 100 each, two of which cannot both be made
    slots = 8
    rows = [(100.0, 0.0, 0, 10.0 * s, [(0, s)]) for s in range(slots)]
    rows += [(790.0, 0.0, 0, 100.0, [(0, s) for s in range(slots)]), (700.0, 0.0, 0, 0.0, [(0, s) for s in range(7)])]
    free = solve_schedule(problem_of(rows, count=[slots], slots=slots, turnaround=[10.0]))
    assert free.objective == pytest.approx(790.0)
    dear = solve_schedule(problem_of([*rows[:8], (801.0, *rows[8][1:])], count=[slots], slots=slots, turnaround=[10.0]))
    assert dear.objective == pytest.approx(800.0)
    tight = solve_schedule(problem_of(rows[:8], count=[slots], slots=slots, turnaround=[10.1]))
    assert tight.status == "infeasible"


def test_an_answer_cut_short_by_time_still_holds() -> None:
    problem = ring_problem(
        classes=12, count=1, slots=12, opportunities=40, options=2, pads=1, turnaround_s=20 * HOUR_S, seed=4
    )
    cost = noisy(problem, 4, 0.4)
    best = solve_schedule(problem, cost=cost)
    assert best.status == "optimal"
    for limit in (1e-4, 0.01, 0.05, 0.2):
        short = solve_schedule(problem, cost=cost, deadline_s=time.monotonic() + limit)
        assert short.status in ("optimal", "bounded", "failed")
        assert short.bound <= best.objective + 1e-5
        assert short.objective >= best.objective - 1e-5
        if short.status == "optimal":
            assert short.objective == pytest.approx(best.objective, abs=SUMMED_M_S)
        if short.chosen:
            assert not broken_limits(problem, short.chosen)
            assert short.gap == pytest.approx((short.objective - short.bound) / short.objective, abs=FLOAT_M_S)


def test_the_same_problem_gives_the_same_plan() -> None:
    problem = ring_problem(classes=4, count=1, slots=4, opportunities=60, options=3, pads=1, turnaround_s=30 * HOUR_S)
    aims = [Objective(value=problem.columns.cost), Objective(value=problem.columns.finish_s, kind="worst")]
    plans = {solve_lexicographic(problem, aims).chosen for _ in range(3)}
    assert len(plans) == 1


def test_nothing_reaches_standard_output(capfd: pytest.CaptureFixture[str]) -> None:
    problem = ring_problem(classes=4, count=1, slots=4, opportunities=30, options=3, pads=1, turnaround_s=50 * HOUR_S)
    solve_schedule(problem, cost=noisy(problem, 3, 0.4))
    solve_schedule(problem, allowed=problem.columns.finish_s < 0.0)
    assert capfd.readouterr() == ("", "")


def test_many_columns_in_no_order() -> None:
    problem = ring_problem(classes=3, count=2, slots=6, opportunities=50, options=3, pads=2, turnaround_s=40 * HOUR_S)
    c = problem.columns
    order = np.random.default_rng(3).permutation(c.cost.size)
    mixed = ScheduleProblem(
        columns=Columns(
            cost=c.cost[order],
            finish_s=c.finish_s[order],
            pad=c.pad[order],
            liftoff_s=c.liftoff_s[order],
            pair_column=np.arange(order.size),
            pair_class=c.pair_class[order],
            pair_slot=c.pair_slot[order],
        ),
        class_count=problem.class_count,
        slots=problem.slots,
        turnaround_s=problem.turnaround_s,
    )
    one, other = solve_schedule(problem), solve_schedule(mixed)
    assert other.objective == pytest.approx(one.objective, abs=SUMMED_M_S)
    assert not broken_limits(mixed, other.chosen)
