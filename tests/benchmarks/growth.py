"""How the cost of a schedule grows: ``python tests/benchmarks/growth.py [--smoke] [FILE.svg]``.

Processor time against the number of craft (options a craft fixed) and against options (craft fixed), each with the
exponent of a straight line through the logarithms; with a file name, the figure.
"""

from __future__ import annotations

import os
import sys
import time

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from ringwright.optimizer.schedule.columns import ScheduleProblem
from ringwright.optimizer.schedule.one_aim import solve_schedule
from ringwright.reports.figures.style import FAINT, ink, paper
from ringwright.tests.benchmarks.schedule_sizes import HOUR_S, ring_problem

READABLE = ((1e-3, "1 ms"), (1e-2, "10 ms"), (1e-1, "0.1 s"), (1.0, "1 s"), (10.0, "10 s"))

Series = list[tuple[int, float]]

NOISE = 0.01
"""Each option gets a different cost, as in no catalogue: without that the relaxation is met at once."""


def unlike(craft: int, opportunities: int, turnaround_h: float) -> ScheduleProblem:
    """Unlike craft into as many slots, from one pad, six options a liftoff and slot."""
    return ring_problem(
        classes=craft,
        count=1,
        slots=craft,
        opportunities=opportunities,
        options=6,
        pads=1,
        turnaround_s=turnaround_h * HOUR_S,
        noise=NOISE,
    )


def by_craft(craft: int) -> ScheduleProblem:
    """Ever more craft, 2.5 liftoffs each."""
    return unlike(craft, 5 * craft // 2, 160.0 / craft)


def by_options(opportunities: int) -> ScheduleProblem:
    """Twelve craft and ever more liftoffs."""
    return unlike(12, opportunities, 16)


def taken(problem: ScheduleProblem) -> float:
    """Least processor time of three solutions, s."""
    found = []
    for _ in range(3):
        begun = time.process_time()
        solve_schedule(problem, deadline_s=time.monotonic() + 60.0)
        found.append(time.process_time() - begun)
    return min(found)


def exponent(series: Series) -> float:
    """Slope of time against size, both as logarithms."""
    size, seconds = np.log(np.array(series)).T
    return float(np.polyfit(size, seconds, 1)[0])


def draw(path: str, craft: Series, options: Series) -> None:
    """Both series, log on log, each with the straight line that names its exponent."""
    from matplotlib.figure import Figure

    with paper():
        figure = Figure(figsize=(8.4, 3.6), layout="constrained")
        both = figure.subplots(1, 2, sharey=True)
        for axes, series, what in zip(both, (craft, options), ("craft, all unlike", "options, 12 craft"), strict=True):
            size, seconds = (np.array(column) for column in zip(*series, strict=True))
            power = exponent(series)
            middle = np.exp(np.mean(np.log(seconds)) + power * (np.log(size) - np.mean(np.log(size))))
            axes.loglog(size, middle, color=FAINT, linewidth=1.0)
            axes.loglog(size, seconds, "o-", color=ink(0), markersize=4, linewidth=1.4)
            axes.set_xlabel(what)
            axes.set_title(f"time grows as their number to the {power:.1f}", fontsize=10, loc="left")
            axes.set_xticks(size, [f"{each:,}".replace(",", " ") for each in size.tolist()])
            axes.set_xticks([], minor=True)
        both[0].set_ylabel("processor time")
        low, high = both[0].get_ylim()
        marks = [(v, label) for v, label in READABLE if low <= v <= high]
        both[0].set_yticks([v for v, _ in marks], [label for _, label in marks])
        figure.savefig(path, metadata={"Date": None})


def main(arguments: list[str]) -> int:
    """Print both tables; with ``--smoke`` two small sizes of each."""
    smoke = "--smoke" in arguments
    solve_schedule(by_options(60))
    craft: Series = []
    options: Series = []
    print(f"{'craft, all unlike':>18} {'options':>9} {'s':>8}")
    for count in (4, 8) if smoke else (6, 12, 24, 48):
        problem = by_craft(count)
        craft.append((count, taken(problem)))
        print(f"{count:18d} {problem.columns.cost.size:9d} {craft[-1][1]:8.3f}", flush=True)
    print(f"{'12 craft, liftoffs':>18} {'options':>9} {'s':>8}")
    for opportunities in (60, 120) if smoke else (60, 240, 960, 3840):
        problem = by_options(opportunities)
        options.append((problem.columns.cost.size, taken(problem)))
        print(f"{opportunities:18d} {options[-1][0]:9d} {options[-1][1]:8.3f}", flush=True)
    print(f"time grows as craft to the {exponent(craft):.2f}, as options to the {exponent(options):.2f}")
    for path in arguments:
        if path.endswith(".svg"):
            draw(path, craft, options)
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
