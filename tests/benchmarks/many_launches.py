"""Many craft from one pad into as many slots: processor time and memory of a whole plan, flights included.

    python tests/benchmarks/many_launches.py            a hundred craft, alike, of four kinds, and all unlike
    python tests/benchmarks/many_launches.py --smoke    three

The world is the Earth, everything else invented. Each size runs in a separate process.
"""

from __future__ import annotations

import multiprocessing
import resource
import sys
import time
from concurrent.futures import ProcessPoolExecutor

from ringwright.models.deadline import Deadline, within
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.optimizer.plan import make_plan
from ringwright.tests.worlds import PAD_UNDER_THE_RING

LIMIT_S = 60.0
"""As long as a command searches where nothing else is asked for."""

PAD = f"""
[body]
name = "earth"
{PAD_UNDER_THE_RING}"""


def scenario_text(count: int, kinds: int) -> str:
    """A scenario of so many craft in so many kinds of mass and tank; 1 kind: all alike."""
    craft = []
    for i in range(count):
        kind = i % kinds
        dry, isp = 100 + (37 * kind) % 101, 290 + kind % 5
        tank = round(dry * (0.75 + 0.004 * ((61 * kind) % 101)), 1)
        craft.append(
            f'[[craft]]\nname = "Lantern {i + 1}"\ndry_mass_kg = {dry}\npropellant_kg = {tank}\nisp_s = {isp}\n'
        )
    return PAD.format(count=count) + "".join(craft)


def one_size(count: int, kinds: int) -> str:
    """Plan one size, and say what it took."""
    scenario = parse_scenario(scenario_text(count, kinds))
    start = time.process_time()
    with within(Deadline(limit_s=LIMIT_S)):
        outcome = make_plan(scenario)
    taken = time.process_time() - start
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    proof = outcome.proof
    said = "no proof" if proof is None else f"{proof.status} {proof.gap:8.1e} {proof.options:10d}"
    finish = f"{outcome.plans[0].finish_s / 86400.0:7.1f}" if outcome.plans else "no plan"
    return f"{count:5d} {kinds:5d} {taken:7.1f} {memory:6.2f} {finish} {said}"


def main(arguments: list[str]) -> int:
    """Print the table."""
    smoke = "--smoke" in arguments
    print(f"{'craft':>5} {'kinds':>5} {'s':>7} {'GB':>6} {'days':>7} proof, gap, options")
    if smoke:
        for kinds in (1, 3):
            print(one_size(3, kinds), flush=True)
        return 0
    with ProcessPoolExecutor(1, multiprocessing.get_context("spawn"), max_tasks_per_child=1) as executor:
        for count, kinds in ((100, 1), (100, 4), (100, 100)):
            print(executor.submit(one_size, count, kinds).result(), flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
