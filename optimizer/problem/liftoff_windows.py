"""When each pad may launch at all: spans of time, and passes through the ring plane."""

from __future__ import annotations

import math

from ...models.launch import Ascent
from ...models.opportunities import turn_s
from ...models.scenario import Pad
from .problem import Problem

CHOICES_MAX = 25_000_000
"""Most choices (moment, slot, k, m) that one pad may come to before its list of liftoffs is cut short."""


PASS_TURNS = 10
"""Without a finish to keep, launches at passes through the plane are examined for so many turns of the site longer."""


PASS_TURNS_MAX = 500
"""And never for more turns than this."""


def windows(problem: Problem) -> tuple[tuple[float, float], ...]:
    """Earliest and latest liftoff worth looking at, per pad.

    Within one synodic turn of the ring over the site every slot can be met without phasing, so a launch never has
    cause to wait longer than that after its pad is free: later liftoffs cost more time and save nothing. A blackout may
    come in between, after which the same holds again.

    Where the site only passes through the plane, waiting for a better pass may pay for as long as there is time;
    without a limit on the finish the search ends a few turns of the site after all craft could have gone up.
    """
    scenario = problem.scenario
    found = []
    readies = [c.craft.ready_s for c in problem.classes if c.start is None]
    for index, pad in enumerate(scenario.pads):
        ways = [w for w in problem.ways if w.pad == index]
        earliest = max(pad.ready_s, min(readies, default=0.0))
        latest = max(pad.ready_s, max(readies, default=0.0))
        latest += max((_horizon_s(problem, pad, way) for way in ways), default=0.0)
        latest = min(latest, pad.until_s)
        limit = scenario.limits.finish_within_s - min((w.after_s for w in ways), default=0.0)
        found.append((earliest, min(latest, limit)))
    return tuple(found)


def _horizon_s(problem: Problem, pad: Pad, way: Ascent) -> float:
    """How long after a site is ready the last launch by a way may be worth looking at."""
    blackouts = sum(end - start for start, end in pad.blackouts_s)
    if way.place is None:
        closing = abs(problem.ring.rate_rad_s - way.site_rate_rad_s)
        turn = 2.0 * math.pi / closing if closing > 1e-12 else 0.0
        return problem.launches * (pad.turnaround_s + turn) + blackouts + turn * len(pad.blackouts_s)
    turn = turn_s(way.place)
    if math.isinf(turn):
        return problem.launches * pad.turnaround_s + blackouts
    if math.isfinite(problem.scenario.limits.finish_within_s):
        return PASS_TURNS_MAX * turn
    turns = min(problem.launches * (pad.turnaround_s / turn + 1.0) + PASS_TURNS, PASS_TURNS_MAX)
    return turns * turn + blackouts
