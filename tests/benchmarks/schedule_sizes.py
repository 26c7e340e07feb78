"""Schedules of named sizes: how long a proof takes, against one pass of NumPy over the same columns, and against the
same question as one program in PuLP (HiGHS, one thread, 60 s at most).

    python tests/benchmarks/schedule_sizes.py            all sizes
    python tests/benchmarks/schedule_sizes.py --smoke    the small ones, in a second or two

Instances are invented: options as a phasing catalogue has them, folded in for free up to a point and dearer beyond
(more revolutions cost less and finish later), liftoffs without pattern. ``noise`` gives each option a different cost,
which no catalogue does and which makes the relaxation fall short: the hard case.
"""

from __future__ import annotations

import multiprocessing
import resource
import sys
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor

import numpy as np
import numpy.typing as npt

from ringwright.optimizer.schedule.columns import Columns, ScheduleProblem
from ringwright.optimizer.schedule.one_aim import solve_schedule

F = npt.NDArray[np.float64]

DAY_S = 86400.0
HOUR_S = 3600.0


def _folded_in(lead: F, revolutions: npt.NDArray[np.intp]) -> F:
    """Cost above the least, m/s: free while the lead per revolution is small, then in proportion to it."""
    off = np.abs((lead + np.pi) % (2.0 * np.pi) - np.pi)
    return np.asarray(np.maximum(0.0, 600.0 * off / revolutions - 120.0))


def ring_problem(
    *,
    classes: int,
    count: int,
    slots: int,
    opportunities: int,
    options: int,
    pads: int,
    turnaround_s: float,
    seed: int = 0,
    days: float = 20.0,
    noise: float = 0.0,
) -> ScheduleProblem:
    """Every class may reach every slot at every opportunity in ``options`` ways."""
    rng = np.random.default_rng(seed)
    period = 6.0 * 3600.0
    pad, liftoff = np.sort(rng.integers(0, pads, opportunities)), rng.random(opportunities) * days * DAY_S
    kind, slot, when = (
        a.ravel() for a in np.meshgrid(np.arange(classes), np.arange(slots), np.arange(opportunities), indexing="ij")
    )
    lead = np.mod(slot / slots * 2.0 * np.pi - 2.0 * np.pi * liftoff[when] / period * 1.07 + 0.3 * kind, 2.0 * np.pi)
    revolutions = np.arange(1, options + 1)
    cost = (800.0 + 10.0 * kind)[:, None] + _folded_in(lead[:, None], revolutions)
    if noise:
        cost *= rng.uniform(1.0 - noise, 1.0 + noise, cost.shape)
    finish = liftoff[when][:, None] + 0.98 * period * revolutions + (lead / (2.0 * np.pi) * period)[:, None]
    return ScheduleProblem(
        columns=Columns(
            cost=cost.ravel(),
            finish_s=finish.ravel(),
            pad=np.repeat(pad[when], options),
            liftoff_s=np.repeat(liftoff[when], options),
            pair_column=np.arange(cost.size),
            pair_class=np.repeat(kind, options),
            pair_slot=np.repeat(slot, options),
        ),
        class_count=np.full(classes, count),
        slots=slots,
        turnaround_s=np.full(pads, turnaround_s),
    )


def ring_of_planes(
    *,
    planes: int,
    slots: int,
    days: int,
    pads: int,
    options: int,
    turnaround_s: float,
    seed: int = 0,
    part: float = 1.0,
) -> ScheduleProblem:
    """A class for each plane, a plane above each pad twice a day; ``part`` of the openings can be used."""
    rng = np.random.default_rng(seed)
    period = 6000.0
    plane, day, pass_, pad = (
        a.ravel() for a in np.meshgrid(np.arange(planes), np.arange(days), np.arange(2), np.arange(pads), indexing="ij")
    )
    liftoff = (day + 0.43 * pass_ + 0.997 * plane / planes) * DAY_S + 120.0 * pad
    use = np.flatnonzero(rng.random(liftoff.size) < part)
    plane, pad, liftoff = (np.repeat(a[use], slots) for a in (plane, pad, liftoff))
    slot = np.tile(np.arange(slots), use.size)
    lead = np.mod(slot / slots * 2.0 * np.pi - 2.0 * np.pi * liftoff / period, 2.0 * np.pi)
    revolutions = np.arange(1, options + 1)
    cost = 300.0 + _folded_in(lead[:, None], revolutions) / 3.0
    finish = liftoff[:, None] + period * revolutions + (lead / (2.0 * np.pi) * period)[:, None]
    return ScheduleProblem(
        columns=Columns(
            cost=cost.ravel(),
            finish_s=finish.ravel(),
            pad=np.repeat(pad, options),
            liftoff_s=np.repeat(liftoff, options),
            pair_column=np.arange(cost.size),
            pair_class=np.repeat(plane, options),
            pair_slot=np.repeat(plane * slots + slot, options),
        ),
        class_count=np.full(planes, slots),
        slots=planes * slots,
        turnaround_s=np.full(pads, turnaround_s),
    )


SMALL: dict[str, Callable[[], ScheduleProblem]] = {
    "4 unlike x 100 x 3": lambda: ring_problem(
        classes=4, count=1, slots=4, opportunities=100, options=3, pads=1, turnaround_s=60 * HOUR_S
    ),
    "4 unlike x 60 x 3, noise": lambda: ring_problem(
        classes=4, count=1, slots=4, opportunities=60, options=3, pads=1, turnaround_s=60 * HOUR_S, noise=0.3
    ),
    "4 alike x 2 000 x 2": lambda: ring_problem(
        classes=1, count=4, slots=4, opportunities=2000, options=2, pads=1, turnaround_s=60 * HOUR_S
    ),
    "48 in 8 planes": lambda: ring_of_planes(planes=8, slots=6, days=30, pads=2, options=2, turnaround_s=8 * HOUR_S),
}
LARGE: dict[str, Callable[[], ScheduleProblem]] = {
    "12 unlike x 60 x 10": lambda: ring_problem(
        classes=12, count=1, slots=12, opportunities=60, options=10, pads=1, turnaround_s=16 * HOUR_S
    ),
    "24 unlike x 60 x 20": lambda: ring_problem(
        classes=24, count=1, slots=24, opportunities=60, options=20, pads=1, turnaround_s=8 * HOUR_S
    ),
    "24 unlike x 60 x 20, noise": lambda: ring_problem(
        classes=24, count=1, slots=24, opportunities=60, options=20, pads=1, turnaround_s=8 * HOUR_S, noise=0.02
    ),
    "8 unlike x 10 000 x 2": lambda: ring_problem(
        classes=8, count=1, slots=8, opportunities=10_000, options=2, pads=1, turnaround_s=50 * HOUR_S
    ),
    "66 in 6 planes": lambda: ring_of_planes(planes=6, slots=11, days=60, pads=2, options=4, turnaround_s=12 * HOUR_S),
    "200 in 4 classes x 400 x 20": lambda: ring_problem(
        classes=4, count=50, slots=200, opportunities=400, options=20, pads=4, turnaround_s=6 * HOUR_S, days=120.0
    ),
    "1 584 in 72 planes": lambda: ring_of_planes(
        planes=72, slots=22, days=360, pads=3, options=3, turnaround_s=8 * HOUR_S, part=0.06
    ),
    "1 584 in 72 planes, tight": lambda: ring_of_planes(
        planes=72, slots=22, days=180, pads=3, options=3, turnaround_s=6 * HOUR_S, part=0.3
    ),
}
FULL_MODEL_MAX = 90_000
"""Options up to which the full model is put to PuLP; building it takes minutes beyond."""
FULL_MODEL_S = 60.0


def full_model(problem: ScheduleProblem) -> str:
    """The same question as one program in PuLP with every option a variable: its time, or how far it came."""
    import pulp

    c = problem.columns
    if c.cost.size > FULL_MODEL_MAX:
        return "not tried"
    start = time.process_time()
    program = pulp.LpProblem("full", pulp.LpMinimize)
    chosen = [pulp.LpVariable(f"x{i}", cat="Binary") for i in range(c.cost.size)]
    program += pulp.lpSum(cost * x for cost, x in zip(c.cost.tolist(), chosen, strict=True))
    by_class: dict[int, list[pulp.LpVariable]] = {}
    by_slot: dict[int, list[pulp.LpVariable]] = {}
    by_moment: dict[int, list[pulp.LpVariable]] = {}
    for column, kind, slot in zip(c.pair_column.tolist(), c.pair_class.tolist(), c.pair_slot.tolist(), strict=True):
        by_class.setdefault(kind, []).append(chosen[column])
        by_slot.setdefault(slot, []).append(chosen[column])
    moments = problem.moments
    for column, moment in enumerate(moments.of_column.tolist()):
        by_moment.setdefault(moment, []).append(chosen[column])
    for kind, count in enumerate(problem.class_count.tolist()):
        program += pulp.lpSum(by_class[kind]) == count
    for members in by_slot.values():
        program += pulp.lpSum(members) <= 1
    for first, last in zip(range(moments.count), moments.last.tolist(), strict=True):
        program += pulp.lpSum(x for moment in range(first, last) for x in by_moment[moment]) <= 1
    program.solve(pulp.HiGHS(msg=False, timeLimit=FULL_MODEL_S, threads=1))
    taken = time.process_time() - start
    if program.sol_status == pulp.LpSolutionOptimal:
        return f"{taken:.1f} s"
    return f"no proof in {taken:.0f} s"


def one_size(name: str, against: bool) -> str:
    """Solve one size, and say what it took: processor time, since the machine may be shared."""
    problem = (SMALL | LARGE)[name]()
    # what is loaded on first use is loaded before the clock starts
    solve_schedule(SMALL["4 unlike x 60 x 3, noise"](), deadline_s=time.monotonic() + 60.0)
    start = time.process_time()
    solved = solve_schedule(problem, deadline_s=time.monotonic() + 60.0)
    taken = time.process_time() - start
    start = time.process_time()
    for _ in range(5):
        np.add(problem.columns.cost, problem.columns.finish_s).min()
    one = (time.process_time() - start) / 5.0
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    full = full_model(problem) if against else "-"
    return (
        f"{name:28} {problem.columns.cost.size:9d} {solved.status:>8} {solved.gap:8.1e} {taken:7.3f}"
        f" {taken / one:7.0f} {memory:6.2f}  {full}"
    )


def main(arguments: list[str]) -> int:
    """Print the table, each size in a separate process; with ``--smoke`` the small ones, without the full model."""
    smoke = "--smoke" in arguments
    print(
        f"{'craft x liftoffs x options':28} {'options':>9} {'status':>8} {'gap':>8} {'s':>7} {'passes':>7} {'GB':>6}",
        end="",
    )
    print("  full model in PuLP")
    if smoke:
        for name in SMALL:
            print(one_size(name, against=False), flush=True)
        return 0
    with ProcessPoolExecutor(1, multiprocessing.get_context("spawn"), max_tasks_per_child=1) as executor:
        for name in SMALL | LARGE:
            print(executor.submit(one_size, name, True).result(), flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
