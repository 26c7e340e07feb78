"""How long it takes to spread planes again after losses: ``python tests/benchmarks/respace_speed.py [--smoke]``.

Processor time of each plane in which craft are lost: the best plan alone, and with its front over all phases.
"""

from __future__ import annotations

import sys
import time

from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.studies.respace import planes_asked, spread_plane, standing_now

HEAD = """
title = "Planes that have lost craft"
[body]
name = "earth"
[ring]
altitude_km = 800.0
slots = {slots}
planes = {planes}
phasing = {phasing}
inclination_deg = 86.0
slot0_deg = 0.0
occupied = [{held}]
[limits]
finish_within_d = 6.0
revolutions_max = {revolutions}
[[craft]]
name = "P0S0"
stay = true
orbit = {{ altitude_km = 800.0, angle_deg = 0.0 }}
"""


def full(slots: int, planes: int, revolutions: int) -> str:
    """A ring of several planes in which every slot is taken."""
    names = [(plane, slot) for plane in range(planes) for slot in range(slots) if (plane, slot) != (0, 0)]
    held = ", ".join(f'{{ name = "P{p}S{s}", plane = {p}, slot = {s} }}' for p, s in names)
    return HEAD.format(slots=slots, planes=planes, phasing=planes // 3, held=held, revolutions=revolutions)


def main(arguments: list[str]) -> int:
    """Print the table; with ``--smoke`` of a small ring alone."""
    smoke = "--smoke" in arguments
    text, lost = (full(4, 2, 4), ["P1S3"]) if smoke else (full(11, 6, 30), ["P1S3", "P1S4", "P4S0"])
    now = standing_now(parse_scenario(text), lost)
    print(f"{len(now.places)} craft are left after {len(lost)} losses")
    print(f"{'plane':>5} {'craft':>6} {'plan s':>7} {'front s':>8} {'points':>7}")
    for plane in planes_asked(now, None):
        made = spread_plane(now, plane, None)
        begun = time.process_time()
        make_plan(made, brief=True)
        alone = time.process_time()
        front = make_plan(made).front
        done = time.process_time()
        points = 0 if front is None else len(front.points)
        print(f"{plane:5d} {len(made.craft):6d} {alone - begun:7.2f} {done - alone:8.2f} {points:7d}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
