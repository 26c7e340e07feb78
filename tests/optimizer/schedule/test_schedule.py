"""Schedules against the full model in scipy.optimize.milp, and against exhaustive search."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from ringwright.optimizer.schedule.branch_and_bound import branch
from ringwright.optimizer.schedule.column_generation import Relaxation
from ringwright.optimizer.schedule.columns import ScheduleProblem, dominated
from ringwright.optimizer.schedule.lexicographic import Objective, solve_lexicographic
from ringwright.optimizer.schedule.one_aim import candidates, solve_schedule
from ringwright.optimizer.schedule.presolve import pack
from ringwright.tests.optimizer.schedule.full_model import broken_limits, every_plan, full_optimum, problem_of

F = npt.NDArray[np.float64]
COST_TOLERANCE = 1e-5
"""Ten times what either solver may leave between a plan and the best one."""


def random_problem(seed: int) -> tuple[ScheduleProblem, tuple[tuple[F, float], ...]]:
    """A small problem of any kind: alike and unlike craft, pads, carriers, conflicts, ties, extra rows, no plan."""
    rng = np.random.default_rng(seed)
    classes, slots, pads = int(rng.integers(1, 5)), int(rng.integers(1, 7)), int(rng.integers(0, 3))
    count = rng.integers(0 if rng.random() < 0.1 else 1, 3, classes)
    while count.sum() > slots and rng.random() < 0.97:
        count[rng.integers(classes)] = 1 if rng.random() < 0.7 else 0
    n = int(rng.integers(1, 40))
    ties = rng.random() < 0.4
    rows = []
    for _ in range(n):
        pairs = [
            (int(rng.integers(classes)), int(rng.integers(slots)))
            for _ in range(1 if rng.random() < 0.8 else int(rng.integers(1, 4)))
        ]
        pad = int(rng.integers(-1, pads))
        liftoff = float(rng.integers(0, 12)) if pad >= 0 else np.nan
        cost = float(rng.integers(0, 6)) if ties else float(rng.random() * 100.0)
        rows.append((cost, float(rng.integers(0, 50)), pad, liftoff, pairs))
    conflicts: tuple[tuple[int, ...], ...] = ()
    if rng.random() < 0.5:
        sizes = rng.integers(2, 4, int(rng.integers(0, 4)))
        conflicts = tuple(tuple(rng.choice(n, min(n, int(k)), replace=False).tolist()) for k in sizes)
    problem = problem_of(
        rows,
        count=count.tolist(),
        slots=slots,
        turnaround=[float(rng.integers(0, 6)) for _ in range(pads)],
        conflicts=conflicts,
    )
    side: tuple[tuple[F, float], ...] = ()
    if rng.random() < 0.3:
        side = ((rng.random(n) * 10.0 - 2.0, float(rng.random() * 5.0 * count.sum())),)
    return problem, side


def total(problem: ScheduleProblem, chosen: tuple[int, ...]) -> float:
    return float(problem.columns.cost[list(chosen)].sum())


@pytest.mark.parametrize("block", range(10))
def test_random_small_schedules_equal_the_full_model(block: int) -> None:
    feasible = 0
    for seed in range(20 * block, 20 * block + 20):
        problem, side = random_problem(seed)
        solved, best = solve_schedule(problem, side=side), full_optimum(problem, side=side)
        if best is None:
            assert solved.status == "infeasible", seed
            continue
        feasible += 1
        assert solved.status == "optimal", seed
        assert not broken_limits(problem, solved.chosen, side), seed
        assert abs(solved.objective - best) < COST_TOLERANCE, seed
        assert solved.bound <= best + COST_TOLERANCE, seed
    assert 4 < feasible < 20


def test_candidates_hold_every_plan_within_the_limit() -> None:
    seen = 0
    for seed in range(200):
        problem, side = random_problem(seed)
        if side or problem.columns.cost.size > 22 or problem.class_count.sum() > 4:
            continue
        plans, solved = every_plan(problem), solve_schedule(problem)
        assert bool(plans) == (solved.status == "optimal"), seed
        if not plans:
            continue
        assert solved.objective == pytest.approx(min(total(problem, p) for p in plans), abs=COST_TOLERANCE)
        for slack in (0.0, 3.0, 40.0):
            possible = candidates(problem, solved, solved.objective + slack + 1e-6)
            for plan in plans:
                if total(problem, plan) <= solved.objective + slack:
                    seen += 1
                    assert possible[list(plan)].all(), seed
    assert seen > 100


def test_lexicographic_plans_equal_exhaustive_search() -> None:
    seen = 0
    for seed in range(300, 420):
        problem, side = random_problem(seed)
        if side or problem.columns.cost.size > 25 or problem.class_count.sum() > 4:
            continue
        c = problem.columns
        rng = np.random.default_rng(seed)
        third = rng.integers(0, 9, c.cost.size).astype(float)
        aims = [Objective(value=c.cost), Objective(value=c.finish_s, kind="worst"), Objective(value=third)]
        if seed % 2:
            aims = [Objective(value=c.finish_s, kind="worst"), Objective(value=c.cost), Objective(value=third)]
        plans, solved = every_plan(problem), solve_lexicographic(problem, aims)
        assert bool(plans) == (solved.status == "optimal"), seed

        def values(plan: tuple[int, ...], aims: list[Objective] = aims) -> tuple[float, ...]:
            picked = [a.value[list(plan)] for a in aims]
            return tuple(
                round(float((p.max() if a.kind == "worst" else p.sum()) if p.size else 0.0), 5)
                for a, p in zip(aims, picked, strict=True)
            )

        if plans:
            seen += 1
            assert not broken_limits(problem, solved.chosen), seed
            best = min(values(p) for p in plans)
            assert values(solved.chosen) == pytest.approx(best, abs=COST_TOLERANCE), seed
            assert solved.values == pytest.approx(best, abs=COST_TOLERANCE), seed
    assert seen > 20


def test_only_plans_under_the_upper_bound_count() -> None:
    for seed in range(40):
        problem, side = random_problem(seed)
        solved = solve_schedule(problem, side=side)
        if solved.status != "optimal":
            continue
        assert solve_schedule(problem, side=side, upper_bound=solved.objective).objective == solved.objective
        assert solve_schedule(problem, side=side, upper_bound=solved.objective - 0.01).status == "infeasible"


def test_deleting_columns_equals_forbidding_them() -> None:
    for seed in range(40):
        problem, side = random_problem(seed)
        allowed = np.random.default_rng(seed).random(problem.columns.cost.size) < 0.7
        best = full_optimum(problem, np.where(allowed, problem.columns.cost, np.inf), side)
        solved = solve_schedule(problem, allowed=allowed, side=side)
        assert (solved.status == "infeasible") == (best is None)
        if best is not None:
            assert solved.objective == pytest.approx(best, abs=COST_TOLERANCE)
            assert allowed[list(solved.chosen)].all()


def test_dominated_columns_equal_pairwise_comparison() -> None:
    for seed in range(30):
        rng = np.random.default_rng(seed)
        rows = [
            (
                float(rng.integers(0, 5)),
                float(rng.integers(0, 5)),
                pad := int(rng.integers(-1, 1)),
                float(rng.integers(0, 2)) if pad >= 0 else np.nan,
                [(int(rng.integers(2)), int(rng.integers(2)))] * int(rng.choice([1, 1, 1, 2])),
            )
            for _ in range(60)
        ]
        marked = dominated(problem_of(rows, count=[1, 1], slots=2, turnaround=[1.0]).columns)
        assert rows
        for i, a in enumerate(rows):
            better = [
                b[0] <= a[0] and b[1] <= a[1] and (b[:2] != a[:2] or j < i)
                for j, b in enumerate(rows)
                if len(a[4]) == len(b[4]) == 1 and a[4] == b[4] and a[2] == b[2] and (a[2] < 0 or a[3] == b[3])
            ]
            assert marked[i] == any(better)


def test_turnaround_met_exactly_is_enough() -> None:
    rows = [(1.0, 0.0, 0, 0.1, [(0, 0)]), (1.0, 0.0, 0, 0.1 + 0.2, [(1, 1)]), (9.0, 0.0, 0, 5.0, [(1, 1)])]
    met = solve_schedule(problem_of(rows, count=[1, 1], slots=2, turnaround=[0.2]))
    assert met.chosen == (0, 1)
    missed = solve_schedule(problem_of(rows, count=[1, 1], slots=2, turnaround=[0.2001]))
    assert missed.chosen == (0, 2)


def test_edges() -> None:
    nothing = problem_of([], count=[], slots=3)
    assert solve_schedule(nothing).status == "optimal"
    assert solve_schedule(problem_of([], count=[1], slots=3)).status == "infeasible"
    one = problem_of([(7.0, 1.0, -1, np.nan, [(0, 2)]), (5.0, 9.0, -1, np.nan, [(0, 1)])], count=[1], slots=3)
    assert solve_schedule(one).chosen == (1,)
    assert solve_schedule(one).gap == 0.0
    crowd = problem_of([(1.0, 1.0, -1, np.nan, [(0, s)]) for s in range(3)], count=[4], slots=3)
    assert solve_schedule(crowd).status == "infeasible"
    assert solve_schedule(one, allowed=np.zeros(2, dtype=bool)).status == "infeasible"
    never = problem_of([(np.inf, 1.0, -1, np.nan, [(0, 2)])], count=[1], slots=3)
    assert solve_schedule(never).status == "infeasible"


def test_a_full_ring_with_all_costs_alike() -> None:
    slots = 8
    rows = [(2.5, 1.0, -1, np.nan, [(k, s)]) for k in range(slots) for s in range(slots)]
    solved = solve_schedule(problem_of(rows, count=[1] * slots, slots=slots))
    assert solved.status == "optimal"
    assert solved.objective == 20.0
    assert not broken_limits(problem_of(rows, count=[1] * slots, slots=slots), solved.chosen)


def test_shifting_all_costs_and_renaming_slots_changes_nothing() -> None:
    for seed in range(25):
        problem, _ = random_problem(seed)
        c = problem.columns
        turned = problem_of(
            [
                (
                    float(c.cost[i]) - 1e4 * int((c.pair_column == i).sum()),
                    float(c.finish_s[i]),
                    int(c.pad[i]),
                    float(c.liftoff_s[i]) + 1e6,
                    [
                        (int(k), (int(s) + 1) % problem.slots)
                        for k, s in zip(c.pair_class[c.pair_column == i], c.pair_slot[c.pair_column == i], strict=True)
                    ],
                )
                for i in range(c.cost.size)
            ],
            count=problem.class_count.tolist(),
            slots=problem.slots,
            turnaround=problem.turnaround_s.tolist(),
            conflicts=problem.conflicts,
        )
        one, other = solve_schedule(problem), solve_schedule(turned)
        assert one.status == other.status
        if one.status == "optimal":
            assert other.objective + 1e4 * problem.class_count.sum() == pytest.approx(one.objective, abs=COST_TOLERANCE)


@pytest.mark.parametrize(
    "change",
    [
        {"pair_slot": np.array([3])},
        {"pair_column": np.array([1])},
        {"pad": np.array([0]), "liftoff_s": np.array([np.nan])},
        {"pad": np.array([1]), "liftoff_s": np.array([1.0])},
        {"cost": np.array([np.nan])},
        {"cost": np.array([1.0, 2.0])},
    ],
)
def test_columns_that_make_no_sense_are_refused(change: dict[str, npt.NDArray[np.generic]]) -> None:
    from dataclasses import replace

    good = problem_of([(1.0, 1.0, -1, np.nan, [(0, 2)])], count=[1], slots=3, turnaround=[1.0])
    with pytest.raises(ValueError, match=r"must|needs"):
        replace(good, columns=replace(good.columns, **change))  # type: ignore[arg-type]


def test_branch_and_bound_alone_equals_the_full_model() -> None:
    split = 0
    for seed in range(120):
        problem, side = random_problem(seed)
        if problem.class_count.sum() == 0:
            continue
        best = full_optimum(problem, side=side)
        packing = pack(problem, problem.columns.cost, None, side)
        branched = branch(packing.packed, best=np.inf, tolerance=1e-7, deadline_s=None)
        split += branched.parts > 1
        if best is None:
            assert branched.found is None
            assert branched.bound == np.inf
            continue
        assert branched.found is not None
        assert branched.best + packing.offset == pytest.approx(best, abs=COST_TOLERANCE)
        assert branched.bound + packing.offset == pytest.approx(best, abs=COST_TOLERANCE)
        assert not broken_limits(problem, packing.own[branched.found].tolist(), side)
    assert split > 5


def test_barring_columns_in_a_relaxation_equals_leaving_them_out() -> None:
    # the relaxation goes on from where it stood; its bound must not depend on what was asked before
    for seed in range(40):
        problem, side = random_problem(seed)
        if problem.class_count.sum() == 0:
            continue
        packed = pack(problem, problem.columns.cost, None, side, merge=False).packed
        warm = Relaxation(packed)
        rng = np.random.default_rng(seed)
        for _ in range(4):
            barred = rng.random(packed.cost.size) < 0.3
            again = warm.solve(barred=barred)
            fresh = Relaxation(packed).solve(barred=barred)
            assert np.isinf(again.bound) == np.isinf(fresh.bound), seed
            if np.isfinite(fresh.bound):
                assert again.bound == pytest.approx(fresh.bound, abs=COST_TOLERANCE)
                assert np.all(np.isinf(again.reduced[barred]))
            if again.plan.size:
                assert not barred[again.plan].any()
                assert packed.kept_by(again.plan)
