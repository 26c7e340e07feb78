"""The exact answer for a few craft and slots, against every plan written out and against the relaxation."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from ringwright.optimizer.schedule import column_generation
from ringwright.optimizer.schedule.columns import Columns, ScheduleProblem
from ringwright.optimizer.schedule.few_slots import fill, suits
from ringwright.optimizer.schedule.one_aim import candidates, solve_schedule
from ringwright.optimizer.schedule.presolve import pack
from ringwright.tests.tolerances import CHAIN_REL

SMALL = [(seed, counts, slots) for seed in range(12) for counts, slots in [((2,), 3), ((1, 1), 2), ((2, 1), 4)]]


def _problem(seed: int, counts: tuple[int, ...], slots: int, n: int = 18) -> ScheduleProblem:
    """Two pads, and craft that need none; costs are whole numbers, so that many plans tie."""
    random = np.random.default_rng(seed)
    pad = random.integers(-1, 2, n)
    return ScheduleProblem(
        columns=Columns(
            cost=random.integers(1, 30, n).astype(float),
            finish_s=random.uniform(5.0, 50.0, n),
            pad=pad,
            liftoff_s=np.where(pad < 0, np.nan, random.integers(0, 12, n).astype(float)),
            pair_column=np.arange(n),
            pair_class=random.integers(0, len(counts), n),
            pair_slot=random.integers(0, slots, n),
        ),
        class_count=np.array(counts),
        slots=slots,
        turnaround_s=np.array([4.0, 2.5]),
    )


def _every_plan(problem: ScheduleProblem) -> list[tuple[int, ...]]:
    """All sets of columns within the limits, by trying them all."""
    c, found = problem.columns, []
    for plan in itertools.combinations(range(c.cost.size), int(problem.class_count.sum())):
        own = list(plan)
        served = np.bincount(c.pair_class[own], minlength=problem.class_count.size)
        if not np.array_equal(served, problem.class_count) or len(set(c.pair_slot[own].tolist())) < len(own):
            continue
        apart = all(
            c.pad[i] != c.pad[j]
            or c.pad[i] < 0
            or abs(c.liftoff_s[i] - c.liftoff_s[j]) >= problem.turnaround_s[c.pad[i]]
            for i, j in itertools.combinations(plan, 2)
        )
        if apart:
            found.append(plan)
    return found


@pytest.mark.parametrize(("seed", "counts", "slots"), SMALL)
def test_the_best_plan_and_the_best_through_each_column(seed: int, counts: tuple[int, ...], slots: int) -> None:
    problem = _problem(seed, counts, slots)
    packing = pack(problem, problem.columns.cost)
    packed = packing.packed
    assert suits(packed)
    found = fill(packed)
    plans = _every_plan(problem)
    cost = problem.columns.cost
    if not plans:
        assert not found.columns.size
        return
    least = min(float(cost[list(plan)].sum()) for plan in plans)
    assert packed.kept_by(found.columns)
    assert cost[packing.own[found.columns]].sum() == least
    assert found.cost + packing.offset == pytest.approx(least, rel=CHAIN_REL)
    through = np.full(cost.size, np.inf)
    for plan in plans:
        through[list(plan)] = np.minimum(through[list(plan)], cost[list(plan)].sum())
    assert found.through + packing.offset == pytest.approx(through[packing.own], rel=CHAIN_REL)
    # what is said of columns that were left out for one alike
    solved = solve_schedule(problem)
    bound = solved.objective + 3.0
    assert np.all(candidates(problem, solved, bound)[through <= bound])


@pytest.mark.parametrize("seed", range(6))
def test_barred_columns_are_not_used(seed: int) -> None:
    problem = _problem(seed, (2, 1), 4, n=40)
    packing = pack(problem, problem.columns.cost)
    first = fill(packing.packed)
    barred = np.zeros(packing.own.size, dtype=bool)
    barred[first.columns] = True
    second = fill(packing.packed, barred)
    assert not np.isin(second.columns, first.columns).any()
    assert second.cost >= first.cost
    assert np.all(np.isinf(second.through[barred]))


@pytest.mark.parametrize("seed", range(4))
def test_the_relaxation_comes_to_the_same(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    problem = _problem(seed, (2, 2), 5, n=400)
    exact = solve_schedule(problem)
    monkeypatch.setattr(column_generation, "suits", lambda _: False)
    other = solve_schedule(problem)
    assert exact.status == other.status == "optimal"
    assert exact.objective == pytest.approx(other.objective, rel=CHAIN_REL)
