"""Liftoffs just clear of a meeting, against halving with one moment at a time."""

from __future__ import annotations

import numpy as np

from ringwright.optimizer.catalogue.catalogue import catalogue
from ringwright.optimizer.catalogue.from_ground import launched
from ringwright.optimizer.choice.meeting_edges import clear_of
from ringwright.optimizer.problem.close_approaches import passes_slots
from ringwright.optimizer.problem.options import Options
from ringwright.optimizer.problem.problem import Problem
from ringwright.optimizer.problem.ring_phase import problems
from ringwright.optimizer.routes.route import Launches, Question

from ...planned import scenario_of

TEXT = """
title = "Buttons on a cuff"
[body]
name = "Madder"
gm_km3_s2 = 5200.0
radius_km = 940.0
atmosphere_top_km = 20.0
sidereal_day_h = 18.0
j2 = 0.0
[ring]
altitude_km = 1300.0
slots = 6
tolerance_deg = 0.2
[limits]
clearance_km = 5.0
revolutions_max = 4
separation_km = 90.0
[launch]
latitude_deg = 0.0
longitude_deg = 10.0
turnaround_h = 1.0
ascent_min = 5.0
downrange_deg = 9.0
insertion = { periapsis_km = 60.0, apoapsis_km = 1300.0 }
[[craft]]
name = "Toggle"
[[craft]]
name = "Buckle"
"""


def _meets(problem: Problem, one: Options, liftoff_s: float, slot: int) -> bool:
    winding = (int(one.revolutions[0]), int(one.ring_revolutions[0]))
    way = int(one.way[0])
    asked = Launches(
        way=way,
        liftoff_s=np.array([liftoff_s]),
        slot=one.slot[:1],
        touch=problem.touch(problem.ways[way].arrival_speed_m_s),
        wanted=lambda k, m: (k, m) == winding,
        prune=False,
    )
    found = launched(int(one.route[0]), Question(problem=problem, launches=asked))
    if not len(found):
        return False
    only, speed = found.take(np.zeros(1, dtype=np.int64)), problem.arrival_speed(found)[:1]
    limit = problem.scenario.limits.separation_m
    return bool(passes_slots(only, problem.ring, speed, np.zeros(1, dtype=bool), np.array([slot]), limit))


def _edge(problem: Problem, one: Options, slot: int, sign: float) -> float:
    begun = float(one.liftoff_s[0])
    step = 1.0
    while step < 3600.0 and _meets(problem, one, begun + sign * step, slot):
        step *= 2.0
    low, high = 0.0, step
    for _ in range(30):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if _meets(problem, one, begun + sign * middle, slot) else (low, middle)
    return begun + sign * high


def test_edges_are_those_of_plain_halving() -> None:
    [problem, *_] = problems(scenario_of(TEXT))
    options = catalogue(problem).options
    looked = 0
    for row in range(0, len(options), 7):
        one = options.take(np.array([row]))
        for slot in range(6):
            if slot != one.slot[0] and _meets(problem, one, float(one.liftoff_s[0]), slot):
                edges = clear_of(problem, one, slot)
                assert edges.tolist() == [_edge(problem, one, slot, sign) for sign in (-1.0, 1.0)]
                assert not any(_meets(problem, one, moment, slot) for moment in edges.tolist())
                looked += 1
        if looked >= 6:
            break
    assert looked >= 3
