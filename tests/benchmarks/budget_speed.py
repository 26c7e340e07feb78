"""How many flights with errors a second the budget computes: ``python tests/benchmarks/budget_speed.py [--smoke]``.

On one thread, beside how fast NumPy draws the random numbers that they take, measured in the same run in the same
blocks.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import numpy as np

from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.robustness.flights_with_errors import BLOCK, block, numbers_of, stories
from ringwright.scenarios import text


def taken(work: Callable[[int], object], blocks: int) -> float:
    """Processor time of a block, s: the least of three rounds."""
    found = []
    for _ in range(3):
        begun = time.process_time()
        for number in range(blocks):
            work(number)
        found.append((time.process_time() - begun) / blocks)
    return min(found)


def main(arguments: list[str]) -> int:
    """Measure and print a row for each kind of craft."""
    smoke = "--smoke" in arguments
    blocks, every = (2, "10.0") if smoke else (120, "1.0")
    tangent = stories(make_plan(parse_scenario(text("thick-air" if smoke else "atoll-on-the-equator")), brief=True))[:2]
    free = stories(make_plan(parse_scenario(text("one-astray"), settings=[f"goal.front_step_h={every}"]), brief=True))
    print("craft: numbers a flight; million flights/s; share of the rate at which NumPy draws the numbers")
    for story in (*tangent, *free):
        rows, generator = numbers_of(story), np.random.default_rng(1)
        drawn = taken(lambda _, g=generator, r=rows: g.standard_normal((r, BLOCK)), blocks)  # type: ignore[misc]
        flown = taken(lambda number, s=story: block(s, 1, 0, number), blocks)  # type: ignore[misc]
        rate = BLOCK / flown / 1e6
        print(f"  {story.craft}: {rows}; {rate:.1f}; {drawn / flown:.2f}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
