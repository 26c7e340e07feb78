"""How many options a second the catalogue decides: ``python tests/benchmarks/catalogue_speed.py [--smoke]``.

Processor time on one thread, against a plain Python loop over the same options and against what the memory of the
machine lets through (reading one number and writing one an option), all measured in the same run. *Decided* is every
(k, m) within the limits of a (liftoff, slot) pair, whether it took an evaluation or is known to be no better; *written*
is every one of them evaluated and kept as columns.
"""

from __future__ import annotations

import math
import os
import sys
import time
from collections.abc import Callable

# before numpy is loaded: the comparison is about one core
os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.models.ring import Ring
from ringwright.optimizer.catalogue.catalogue import catalogue
from ringwright.optimizer.problem.phasing import Touch, best_phasing, every_phasing
from ringwright.optimizer.problem.ring_phase import problems

GM = 3.986004418e14
RADIUS_M = 1.6378e7
RING = Ring(radius_m=RADIUS_M, slots=24, rate_rad_s=math.sqrt(GM / RADIUS_M**3), slot0_rad=0.0, gm=GM)
TOUCH = Touch(ring=RING, arrival_speed_m_s=0.8 * RING.speed_m_s, floor_m=6.5e6, ceiling_m=4.0e7, revolutions_max=12)
LAUNCHES = """
title = "Eight from an atoll"
body = {{ name = "earth", j2 = 0.0 }}
ring = {{ altitude_km = 10000.0, slots = 24, slot0_deg = 0.0 }}
limits = {{ clearance_km = 40.0, apoapsis_max_km = 34000.0 }}
[launch]
latitude_deg = 0.0
longitude_deg = -38.0
turnaround_h = 60.0
ascent_min = 9.0
downrange_deg = 18.0
insertion = {{ periapsis_km = -400.0, apoapsis_km = 10000.0, altitude_km = 190.0 }}
{craft}
"""


def taken(work: Callable[[], object], times: int) -> float:
    """Least processor time of some calls, s."""
    found = []
    for _ in range(times):
        begun = time.process_time()
        work()
        found.append(time.process_time() - begun)
    return min(found)


def plain_loop(leads: list[float]) -> list[tuple[float, float]]:
    """The cheapest choice for each lead, option by option."""
    period, circular, arrival = RING.period_s, RING.speed_m_s, TOUCH.arrival_speed_m_s
    low, high = TOUCH.ratio_low, TOUCH.ratio_high
    windings = TOUCH.windings()
    out = []
    for lead in leads:
        turn = lead / (2.0 * math.pi)
        best = (math.inf, math.inf)
        for k, m in windings:
            ratio = (m - turn) / k
            if ratio < low or ratio > high:
                continue
            speed = circular * math.sqrt(2.0 - ratio ** (-2.0 / 3.0))
            cost = abs(speed - arrival) + abs(circular - speed)
            if cost < best[0]:
                best = (cost, ratio * k * period)
        out.append(best)
    return out


def main(arguments: list[str]) -> int:
    """Print the table; with ``--smoke`` of few options."""
    smoke = "--smoke" in arguments
    rows, times = (1 << 12, 1) if smoke else (1 << 16, 7)
    lead = np.random.default_rng(1).uniform(-math.pi, math.pi, rows)
    options = rows * len(TOUCH.windings())
    few = lead[: max(rows // 128, 16)].tolist()
    loop = len(few) * len(TOUCH.windings()) / taken(lambda: plain_loop(few), times)
    source, target = np.ones(1 << (18 if smoke else 25)), np.empty(1 << (18 if smoke else 25))
    np.copyto(target, source)
    memory = source.size / taken(lambda: np.copyto(target, source), times)
    craft = "".join(f'[[craft]]\nname = "Craft {i}"\n' for i in range(2 if smoke else 8))
    (problem,) = problems(parse_scenario(LAUNCHES.format(craft=craft)))
    looked_at = catalogue(problem).looked_at
    rates = {
        "plain Python loop": loop,
        "decided": options / taken(lambda: best_phasing(TOUCH, lead), times),
        "written": options / taken(lambda: every_phasing(TOUCH, lead), times),
        "whole catalogue of launches": looked_at / taken(lambda: catalogue(problem), min(times, 3)),
        "memory": memory,
    }
    print(f"{'catalogue, one thread':30} {'million/s':>10} {'loops':>8} {'of memory':>10}")
    for name, rate in rates.items():
        print(f"{name:30} {rate / 1e6:10.1f} {rate / loop:8.1f} {rate / memory:10.2f}", flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
