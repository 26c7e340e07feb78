"""How long a front takes: ``python tests/benchmarks/front_times.py [--smoke]``.

Craft that are unlike (each on the ring at a different angle), all points proved; processor time, against one plan of
the same catalogue.
"""

from __future__ import annotations

import sys
import time

from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.optimizer.catalogue.catalogue import catalogue
from ringwright.optimizer.choice.front import walk
from ringwright.optimizer.choice.selection import Selection
from ringwright.optimizer.problem.ring_phase import problems

POINTS_MAX = 20_000
"""Enough for every point of these rings."""

HEAD = """
title = "Unlike craft"
body = {{ name = "earth", j2 = 0.0 }}
ring = {{ altitude_km = 10000.0, slots = {count}, slot0_deg = 0.0 }}
limits = {{ clearance_km = 40.0, apoapsis_max_km = 34000.0, revolutions_max = {revolutions}, separation_km = 0.0 }}
"""
CRAFT = """
[[craft]]
name = "Craft {number}"
orbit = {{ altitude_km = 10000.0, angle_deg = {angle} }}
"""


def unlike(count: int, revolutions: int) -> str:
    """A ring whose craft all wait within a third of a turn, at angles without pattern."""
    craft = [CRAFT.format(number=i, angle=round((i * 61.803398875) % 120.0, 3)) for i in range(count)]
    return HEAD.format(count=count, revolutions=revolutions) + "".join(craft)


def main(arguments: list[str]) -> int:
    """Print the table; with ``--smoke`` of the smallest ring alone."""
    sizes = [(4, 4)] if "--smoke" in arguments else [(4, 20), (12, 20), (24, 12), (24, 20), (36, 12)]
    print(
        f"{'unlike craft, revolutions':28} {'options':>8} {'points':>7} {'proved':>7} {'one plan s':>11} {'front s':>8}"
    )
    for count, revolutions in sizes:
        (problem,) = problems(parse_scenario(unlike(count, revolutions)))
        made = catalogue(problem)
        begun = time.process_time()
        best = Selection(made).best(("delta_v", "finish"))
        one = time.process_time() - begun
        begun = time.process_time()
        walked = walk(Selection(made), best, points_max=POINTS_MAX)
        whole = time.process_time() - begun
        proved = sum(plan.proved for plan in walked.plans)
        name = f"{count}, up to {revolutions}"
        print(
            f"{name:28} {len(made.options):8d} {len(walked.plans):7d} {proved:7d} {one:11.3f} {whole:8.2f}", flush=True
        )
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
