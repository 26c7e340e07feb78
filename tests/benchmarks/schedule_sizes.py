"""Schedules of named sizes: how long a proof takes, against one pass of NumPy over the same columns.

    python tests/benchmarks/schedule_sizes.py            all sizes
    python tests/benchmarks/schedule_sizes.py --smoke    the small ones, in a second or two

Instances are invented: options as a phasing catalogue has them, folded in for free up to a point and dearer beyond
(more revolutions cost less and finish later), liftoffs without pattern. ``noise`` gives each option a cost of its own,
which no catalogue does and which makes the relaxation fall short: the hard case.
"""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from ringwright.optimizer.columns import Columns, ScheduleProblem
from ringwright.optimizer.schedule import solve_schedule

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
    "4 unlike, 4 800 options": lambda: ring_problem(
        classes=4, count=1, slots=4, opportunities=100, options=3, pads=1, turnaround_s=60 * HOUR_S
    ),
    "4 unlike, noise": lambda: ring_problem(
        classes=4, count=1, slots=4, opportunities=60, options=3, pads=1, turnaround_s=60 * HOUR_S, noise=0.3
    ),
    "4 alike, 2 000 liftoffs": lambda: ring_problem(
        classes=1, count=4, slots=4, opportunities=2000, options=2, pads=1, turnaround_s=60 * HOUR_S
    ),
    "48 in 8 planes": lambda: ring_of_planes(planes=8, slots=6, days=30, pads=2, options=2, turnaround_s=8 * HOUR_S),
}
LARGE: dict[str, Callable[[], ScheduleProblem]] = {
    "24 unlike x 60 x 20": lambda: ring_problem(
        classes=24, count=1, slots=24, opportunities=60, options=20, pads=1, turnaround_s=8 * HOUR_S
    ),
    "24 unlike x 60 x 20, noise": lambda: ring_problem(
        classes=24, count=1, slots=24, opportunities=60, options=20, pads=1, turnaround_s=8 * HOUR_S, noise=0.02
    ),
    "8 unlike, 10 000 liftoffs": lambda: ring_problem(
        classes=8, count=1, slots=8, opportunities=10_000, options=2, pads=1, turnaround_s=50 * HOUR_S
    ),
    "200 in 4 classes x 400 x 20": lambda: ring_problem(
        classes=4, count=50, slots=200, opportunities=400, options=20, pads=4, turnaround_s=6 * HOUR_S, days=120.0
    ),
    "1 584 in 72 planes of 22": lambda: ring_of_planes(
        planes=72, slots=22, days=360, pads=3, options=3, turnaround_s=8 * HOUR_S, part=0.06
    ),
    "1 584 in 72 planes, tight": lambda: ring_of_planes(
        planes=72, slots=22, days=180, pads=3, options=3, turnaround_s=6 * HOUR_S, part=0.3
    ),
}


def main() -> None:
    """Time each size; processor time, since the machine may be shared."""
    sizes = SMALL if "--smoke" in sys.argv[1:] else SMALL | LARGE
    solve_schedule(SMALL["4 unlike, noise"](), time_limit_s=60.0)
    print(f"{'size':30} {'options':>9} {'status':>10} {'gap':>8} {'s':>8} {'passes':>8} {'GB':>6}")
    for name, make in sizes.items():
        problem = make()
        start = time.process_time()
        solved = solve_schedule(problem, time_limit_s=60.0)
        taken = time.process_time() - start
        start = time.process_time()
        for _ in range(5):
            np.add(problem.columns.cost, problem.columns.finish_s).min()
        one = (time.process_time() - start) / 5.0
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        print(
            f"{name:30} {problem.columns.cost.size:9d} {solved.status:>10} {solved.gap:8.1e} {taken:8.3f}"
            f" {taken / one:8.0f} {memory:6.2f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
