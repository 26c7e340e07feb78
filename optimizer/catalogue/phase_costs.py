"""What choices of craft in space cost at least over an interval of phases of the ring.

Along the phase of the ring the period of a choice (``phase_choices.py``) is a straight line. Its cost in the plane is
constant while the period lies between the arrival's and the ring's, convex below and concave above; the burn that turns
the plane back into the ring's grows with the distance from the ring's period. Both never fall on the way from that
stretch, so the least over an interval is taken at its nearest point. A sum of costs lies above a sum of chords, each
less what a convex cost may sag under it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ...models.arrays import Mask, Rows
from ...models.oblateness import node_behind
from ...models.orbits import other_apsis
from ..problem.options import F
from ..problem.problem import Problem
from ..routes.drifted_plane import DRIFT_RAD, INSIDE_RAD, shared
from .phase_choices import EDGE_TURNS, TWO_PI, PhaseChoices

RING_RATIO = 1e-12
"""A period this close to the ring's is the ring's."""


@dataclass(frozen=True, kw_only=True)
class Bounds(Rows):
    """What each row comes to at least over an interval of phases; arrays of length n, infinite where it is not there.

    ``cost_m_s`` and ``finish_s`` over the whole of it; ``most_m_s`` and ``latest_s`` are what rows that are there all
    along come to at most, infinite for the others. ``at_first_m_s`` and ``at_last_m_s`` are the ends of a straight
    line that the cost nowhere falls below. ``edge_rad`` is a phase within the interval at which the choice begins or
    ends, NaN for none.
    """

    cost_m_s: F
    finish_s: F
    at_first_m_s: F
    at_last_m_s: F
    edge_rad: F
    most_m_s: F
    latest_s: F


def bounds(
    problem: Problem,
    rows: PhaseChoices,
    first_rad: float,
    last_rad: float,
    *,
    level: bool,
    finish_s: float = math.inf,
) -> Bounds:
    """What each row comes to at least over phases from ``first_rad`` to ``last_rad``, within [0, spacing].

    Args:
        first_rad, last_rad: the interval; a single phase where both are the same. It holds no phase at which a craft
            arrives in place but at its ends.
        level: whether arriving in place counts: at such a phase itself.
        finish_s: only choices that finish by then.
    """
    ring = problem.ring
    period, k = ring.period_s, rows.revolutions
    phases = k > 0
    longest, shortest = rows.wait_turns - first_rad / TWO_PI, rows.wait_turns - last_rad / TWO_PI
    low, high = rows.low_turns, rows.high_turns
    if math.isfinite(finish_s):
        high = np.minimum(high, (finish_s - rows.burn_s) / period)
    most, least = np.minimum(longest, high), np.maximum(shortest, low)
    there = (most >= least - EDGE_TURNS) & (phases | level)
    parts = np.maximum(k, 1)
    near, far = np.where(phases, least / parts, 1.0), np.where(phases, np.maximum(most, least) / parts, 1.0)
    if first_rad == last_rad:
        # the ring itself is no phasing orbit
        there &= ~phases | (np.abs(near - 1.0) > RING_RATIO)
    stretch_low = np.minimum(rows.arrival_ratio, 1.0)
    nearest = np.where(far < stretch_low, far, np.maximum(near, stretch_low))
    turn, turn_most = _turn(problem, rows, near, far)
    cost = _together(problem, rows, _in_plane(problem, rows, nearest), turn, there)
    along_most = np.maximum(_in_plane(problem, rows, near), _in_plane(problem, rows, far))
    finish = rows.burn_s + np.where(phases, np.maximum(least, 0.0) * period, 0.0)
    inf = np.inf
    if first_rad == last_rad:
        return _at_one_phase(np.where(there, cost, inf), np.where(there, finish, inf))
    # what the turn adds falls as the burns along the track grow
    ends = longest / parts, shortest / parts
    most_along = np.maximum(*(_in_plane(problem, rows, end) for end in ends))
    added = _together(problem, rows, most_along, turn, there & phases) - most_along
    begin, end = _line(problem, rows, *ends, cost, added, there & phases)
    edge = np.where(longest > high + EDGE_TURNS, rows.wait_turns - high, rows.wait_turns - low) * TWO_PI
    whole = there & phases & (longest <= high + EDGE_TURNS) & (shortest >= low - EDGE_TURNS)
    return Bounds(
        cost_m_s=np.where(there, cost, inf),
        finish_s=np.where(there, finish, inf),
        at_first_m_s=np.where(there, begin, inf),
        at_last_m_s=np.where(there, end, inf),
        edge_rad=np.where(there & ~whole, edge, np.nan),
        most_m_s=np.where(whole, _together(problem, rows, along_most, turn_most, whole), inf),
        latest_s=np.where(whole, rows.burn_s + longest * period, inf),
    )


def _together(problem: Problem, rows: PhaseChoices, along: F, turn: F, among: Mask) -> F:
    """The cost of burns along the track with a turn of the plane, rad; of others than those rows without it."""
    cost = along.copy()
    (turned,) = np.nonzero((turn != 0.0) & among)
    cost[turned] = shared(problem.ring, along[turned], turn[turned], rows.touch_rad[turned]).delta_v_m_s
    return cost


def _at_one_phase(cost: F, finish: F) -> Bounds:
    """Of a single phase nothing is asked of the stretch around it."""
    none = np.full(cost.size, np.inf)
    return Bounds(
        cost_m_s=cost,
        finish_s=finish,
        at_first_m_s=cost,
        at_last_m_s=cost,
        edge_rad=np.full(cost.size, np.nan),
        most_m_s=none,
        latest_s=none,
    )


def _in_plane(problem: Problem, rows: PhaseChoices, ratio: F) -> F:
    """Both burns at the ring, m/s, for a phasing period of that share of the ring's."""
    circular = problem.ring.speed_m_s
    speed = _speed(circular, ratio)
    return np.asarray(np.abs(speed - rows.arrival_m_s) + np.abs(circular - speed))


def _speed(circular: float, ratio: F) -> F:
    root = np.cbrt(np.maximum(ratio, 1e-9))
    return np.asarray(circular * np.sqrt(np.maximum(2.0 - 1.0 / (root * root), 0.0)))


def _line(problem: Problem, rows: PhaseChoices, far: F, near: F, least: F, added: F, there: Mask) -> tuple[F, F]:
    """Ends of a straight line under the cost along the whole interval; where there is none, level at the least.

    A convex cost lies under its chord by no more than an eighth of the square of the way times the greatest second
    derivative, which is that at the shorter period: |v''| falls along x.
    """
    circular = problem.ring.speed_m_s
    low, high = np.minimum(rows.arrival_ratio, 1.0), np.maximum(rows.arrival_ratio, 1.0)
    root = np.cbrt(np.maximum(near, 1e-9))
    inside = 2.0 - 1.0 / (root * root)
    below, above = there & (far <= low) & (inside > 1e-3), there & (near >= high)
    begin, end = least.copy(), least.copy()
    for some, sags in ((below, True), (above, False)):
        if not some.any():
            continue
        sag = np.zeros(int(some.sum()))
        if sags:
            x, s = near[some], inside[some]
            second = circular / 3.0 * (5.0 / 3.0 * x ** (-8.0 / 3.0) * s**-0.5 + x ** (-10.0 / 3.0) * s**-1.5 / 3.0)
            sag = 0.25 * (far[some] - near[some]) ** 2 * second
        mine = rows.take(some)
        begin[some] = _in_plane(problem, mine, far[some]) - sag + added[some]
        end[some] = _in_plane(problem, mine, near[some]) - sag + added[some]
    return begin, end


def _turn(problem: Problem, rows: PhaseChoices, near: F, far: F) -> tuple[F, F]:
    """By how much the plane has to be turned back at least and at most, rad, between two phasing periods."""
    ring, body = problem.ring, problem.scenario.body
    if ring.node_rate_rad_s == 0.0 or ring.inclination_rad == 0.0 or not len(rows):
        return np.zeros(len(rows)), np.zeros(len(rows))
    ends = []
    for ratio in (near, far):
        speed = _speed(ring.speed_m_s, ratio)
        other = other_apsis(ring.gm, ring.radius_m, speed)
        lasts = np.where(rows.revolutions > 0, ratio * rows.revolutions * ring.period_s, 0.0)
        stage = (other, np.full(other.size, ring.radius_m), lasts)
        behind = node_behind(body, ring.inclination_rad, ring.radius_m, [stage])
        ends.append(rows.behind_rad + behind * math.sin(ring.inclination_rad))
    sizes = np.abs(ends[0]), np.abs(ends[1])
    allowed = problem.scenario.ring.tilt_tolerance_rad
    left = max(allowed - INSIDE_RAD, 0.0)
    found = [
        np.where(apart > max(allowed, DRIFT_RAD), apart - left, 0.0)
        for apart in (np.where(ends[0] * ends[1] <= 0.0, 0.0, np.minimum(*sizes)), np.maximum(*sizes))
    ]
    return found[0], found[1]
