"""What craft in space may do, as functions of the ring's phase: bounds over an interval of phases at once.

A craft that touches the ring at the argument of latitude theta at time t meets slot j of a ring of phase p after
W = M - (p + 2 pi j / N + n t - theta) / (2 pi) ring periods, for any whole M with W > 0. With k revolutions its phasing
period is x = W / k of the ring's. So along p each choice (craft, slot, pass, k, M) is a straight line in W, and so is
its finish. Its cost in the plane is constant while x lies between the arrival's period and the ring's, convex below and
concave above; the burn that turns the plane back into the ring's grows with the distance from x = 1. Both never fall on
the way from that stretch, so the least over an interval is taken at its nearest point. A sum of costs lies above a sum
of chords, each less what a convex cost may sag under it.

Each craft has the slots of its own plane alone. The model is the catalogue's: ``routes/rephase.py`` with
``routes/launch_tilt.py``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from ...models.deadline import poll
from ...models.memory import need
from ...models.oblateness import node_behind
from ...models.orbits import semi_major_from_speed
from ...models.planes import turn_delta_v
from ..problem.in_space import Standing
from ..problem.options import F, I
from ..problem.phasing import LEVEL_RAD, LIMIT_SLACK, Touch
from ..problem.problem import CraftClass, Problem
from ..problem.restriction import NO_RESTRICTION, Restriction
from ..routes import registry, rephase
from ..routes.launch_tilt import DRIFT_RAD

TWO_PI = 2.0 * math.pi

ROWS_BYTES = 400.0
"""What a row takes with all that is worked out of it."""

ROWS_MAX = 4_000_000
"""Most rows that are made."""

EDGE_TURNS = 1e-12
"""Waits this close to a limit keep it, as far as rounding goes."""


@dataclass(frozen=True, kw_only=True)
class PhaseChoices:
    """Choices of craft in space, one row each, sorted by (class, slot). All arrays of length n.

    Args:
        pair: class times the number of slots in all planes, plus slot.
        revolutions: k; 0 where no phasing is needed, which is at one phase only.
        wait_turns: W at phase 0, in ring periods.
        low_turns, high_turns: the least and the greatest W within the limits of the choice by itself.
        burn_s: when the phasing begins.
        arrival_m_s, arrival_ratio: speed of the arrival, and its period as a share of the ring's.
        behind_rad: how far the plane is off the ring's when the phasing begins, signed.
    """

    pair: I
    revolutions: I
    wait_turns: F
    low_turns: F
    high_turns: F
    burn_s: F
    arrival_m_s: F
    arrival_ratio: F
    behind_rad: F

    def __len__(self) -> int:
        return int(self.pair.size)

    def take(self, rows: NDArray[np.bool_] | I) -> PhaseChoices:
        """The rows picked by a mask or by indices."""
        return PhaseChoices(**{field.name: getattr(self, field.name)[rows] for field in fields(self)})


@dataclass(frozen=True, kw_only=True)
class Bounds:
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


def covers(problem: Problem, restriction: Restriction = NO_RESTRICTION) -> bool:
    """Whether all that craft in space may do is phasing in their own plane, and launches pay for their arrival."""
    known = [rephase.ROUTE, *(route for route in registry.ROUTES if route.begins == "liftoff" and route.arrives_by_way)]
    return restriction == NO_RESTRICTION and all(r in known or not r.may_serve(problem) for r in registry.ROUTES)


def level_phases(problem: Problem) -> F:
    """Phases in [0, spacing) at which some craft arrives in place, sorted."""
    ring, found = problem.ring, [np.zeros(0)]
    for group in problem.classes:
        plane = 0 if group.craft.orbit is None else group.craft.orbit.plane
        for time, angle in _touches(problem, group):
            phase = angle - (float(ring.phase(time, 0, plane)) - ring.slot0_rad)
            found.append(np.remainder(np.asarray([phase]), ring.spacing_rad))
    phases = np.sort(np.concatenate(found))
    return phases[np.concatenate([[True], np.diff(phases) > LEVEL_RAD])] if phases.size else phases


def _touches(problem: Problem, group: CraftClass) -> list[tuple[float, float]]:
    """Each touch of the ring at which a craft in space may begin: time, s, and argument of latitude, rad."""
    start = group.start
    if start is None or not start.touches:
        return []
    limits = problem.scenario.limits
    touch = problem.touch(start.speed_m_s)
    return [
        (start.first_s + j * start.period_s, start.angle_rad + j * start.advance_rad)
        for j in rephase.passes_of(touch, start, problem.scenario.floor_m, limits.apoapsis_max_m)
        if _safe(problem, start, j)
    ]


def _safe(problem: Problem, start: Standing, passes: int) -> bool:
    """Whether the orbit up to a touch keeps to floor and ceiling."""
    radius, scenario = problem.ring.radius_m, problem.scenario
    other = start.other_m if passes > 0 or start.passed_other else min(radius, start.begin_m)
    low, high = min(other, radius), max(other, radius)
    return low >= scenario.floor_m * (1.0 - LIMIT_SLACK) and high <= scenario.limits.apoapsis_max_m * (
        1.0 + LIMIT_SLACK
    )


def phase_choices(problem: Problem) -> PhaseChoices:
    """All choices of the craft in space that any phase of the ring leaves within the limits.

    For a wait of so many ring periods only the numbers of revolutions are listed whose periods are next to the stretch
    on which all cost the same: any other costs more in the same time.
    """
    parts: list[PhaseChoices] = []
    for index, group in enumerate(problem.classes):
        for number, (time, angle) in enumerate(_touches(problem, group)):
            poll()
            parts.extend(_from_touch(problem, index, group, number, time, angle))
    joined = (
        {f.name: np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(PhaseChoices)} if parts else {}
    )
    if not joined:
        whole = {"pair", "revolutions"}
        return PhaseChoices(
            **{f.name: np.zeros(0, dtype=np.int64 if f.name in whole else np.float64) for f in fields(PhaseChoices)}  # type: ignore[arg-type]
        )
    rows = PhaseChoices(**joined)
    return rows.take(np.argsort(rows.pair, kind="stable"))


def _from_touch(
    problem: Problem, index: int, group: CraftClass, passes: int, time: float, angle: float
) -> list[PhaseChoices]:
    """The choices of one class from one touch, into every slot."""
    ring, start, limits = problem.ring, group.start, problem.scenario.limits
    assert start is not None
    touch = problem.touch(start.speed_m_s)
    arrival = touch.ratio(start.speed_m_s)
    low, high = _ratios(touch, group.delta_v_allowed_m_s)
    if high < low:
        return []
    plane = 0 if group.craft.orbit is None else group.craft.orbit.plane
    slots = plane * ring.slots + np.arange(ring.slots)
    ahead = (ring.phase(time, slots) - ring.slot0_rad - angle) / TWO_PI
    first_pair = index * ring.planes * ring.slots + plane * ring.slots
    most = min(
        touch.ring_revolutions_max + 0.5,
        (limits.finish_within_s - time) / ring.period_s,
        (limits.wait_within_s - (time - start.first_s)) / ring.period_s,
        high * touch.revolutions_max,
    )
    behind = 0.0
    orbit = group.craft.orbit
    if not start.on_ring and orbit is not None and ring.node_rate_rad_s != 0.0:
        stage = (orbit.periapsis_m, orbit.apoapsis_m, time - orbit.at_s)
        behind = float(node_behind(problem.scenario.body, ring.inclination_rad, ring.node_rate_rad_s, [stage]))
        behind *= math.sin(ring.inclination_rad)
    parts = [_level(first_pair, ring.slots, ahead, time, start.speed_m_s, arrival, behind)]
    # W runs from M - ahead down by one slot spacing while the phase goes round
    first, last = math.floor(float(ahead.min())), math.ceil(most + float(ahead.max()) + 1.0 / ring.slots)
    for whole in range(first, last + 1):
        wait = whole - ahead
        # a plane that is off already may gain by any period
        ks = _revolutions(
            wait,
            ring.slots,
            low if behind else min(arrival, 1.0),
            high if behind else max(arrival, 1.0),
            touch.revolutions_max,
        )
        for k in ks:
            one = _rows(
                first_pair, ring.slots, wait, k, low * k, min(high * k, most), time, start.speed_m_s, arrival, behind
            )
            if len(one):
                parts.append(one)
    return parts


def _ratios(touch: Touch, allowed_m_s: float) -> tuple[float, float]:
    """The least and the greatest period, as a share of the ring's, that floor, ceiling and propellant leave."""
    circular, arrival = touch.ring.speed_m_s, touch.arrival_speed_m_s
    low, high = touch.ratio_low, touch.ratio_high
    if math.isinf(allowed_m_s):
        return low, high
    if allowed_m_s < touch.level_cost:
        return 1.0, 0.0
    slow = 0.5 * (arrival + circular - allowed_m_s)
    if slow > 0.0:
        low = max(low, touch.ratio(slow))
    return low, min(high, touch.ratio(0.5 * (allowed_m_s + arrival + circular)))


def _revolutions(wait: F, slots: int, low: float, high: float, most: int) -> range:
    """Numbers of revolutions worth listing for waits that each shrink by up to a slot spacing, over all slots.

    With x = W / k on the stretch [low, high], or next to it on either side.
    """
    longest, shortest = float(wait.max()), max(float(wait.min()) - 1.0 / slots, 0.0)
    first = max(math.floor(shortest / high) if math.isfinite(high) else 1, 1)
    last = math.ceil(longest / low)
    return range(min(first, most), min(max(last, 1), most) + 1)


def _rows(
    first_pair: int,
    slots: int,
    wait: F,
    k: int,
    low_turns: float,
    high_turns: float,
    time: float,
    speed: float,
    arrival: float,
    behind: float,
) -> PhaseChoices:
    """One number of revolutions into every slot, as far as some phase leaves it within the limits."""
    there = np.flatnonzero((wait > 0.0) & (wait >= low_turns) & (wait - 1.0 / slots <= high_turns))
    n = there.size
    need(n * ROWS_BYTES)
    return PhaseChoices(
        pair=first_pair + there,
        revolutions=np.full(n, k),
        wait_turns=wait[there],
        low_turns=np.full(n, max(low_turns, EDGE_TURNS)),
        high_turns=np.full(n, high_turns),
        burn_s=np.full(n, time),
        arrival_m_s=np.full(n, speed),
        arrival_ratio=np.full(n, arrival),
        behind_rad=np.full(n, behind),
    )


def _level(
    first_pair: int, slots: int, ahead: F, time: float, speed: float, arrival: float, behind: float
) -> PhaseChoices:
    """Arriving in place, which each slot allows at one phase in a turn of it."""
    # W as it would be were the craft to wait for nothing: 0 where the phase puts it in place
    wait = np.remainder(-ahead, 1.0)
    wait = np.where(wait > 1.0 - LEVEL_RAD, wait - 1.0, wait)
    there = np.flatnonzero(wait <= 1.0 / slots)
    n = there.size
    return PhaseChoices(
        pair=first_pair + there,
        revolutions=np.zeros(n, dtype=np.int64),
        wait_turns=wait[there],
        low_turns=np.full(n, -LEVEL_RAD / TWO_PI),
        high_turns=np.full(n, LEVEL_RAD / TWO_PI),
        burn_s=np.full(n, time),
        arrival_m_s=np.full(n, speed),
        arrival_ratio=np.full(n, arrival),
        behind_rad=np.full(n, behind),
    )


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
        problem: whose ring and tolerance count.
        rows: of :func:`phase_choices`.
        first_rad, last_rad: the interval; a single phase where both are the same. It holds no phase at which somebody
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
    stretch_low = np.minimum(rows.arrival_ratio, 1.0)
    nearest = np.where(far < stretch_low, far, np.maximum(near, stretch_low))
    plane, plane_most = _plane(problem, rows, near, far)
    cost = _in_plane(problem, rows, nearest) + plane
    finish = rows.burn_s + np.where(phases, np.maximum(least, 0.0) * period, 0.0)
    begin, end = _line(problem, rows, longest / parts, shortest / parts, cost, plane, there & phases)
    edge = np.where(longest > high + EDGE_TURNS, rows.wait_turns - high, rows.wait_turns - low) * TWO_PI
    whole = there & phases & (longest <= high + EDGE_TURNS) & (shortest >= low - EDGE_TURNS)
    inf = np.inf
    return Bounds(
        cost_m_s=np.where(there, cost, inf),
        finish_s=np.where(there, finish, inf),
        at_first_m_s=np.where(there, begin, inf),
        at_last_m_s=np.where(there, end, inf),
        edge_rad=np.where(there & ~whole, edge, np.nan),
        most_m_s=np.where(
            whole, np.maximum(_in_plane(problem, rows, near), _in_plane(problem, rows, far)) + plane_most, inf
        ),
        latest_s=np.where(whole, rows.burn_s + longest * period, inf),
    )


def _in_plane(problem: Problem, rows: PhaseChoices, ratio: F) -> F:
    """Both burns at the ring, m/s, for a phasing period of that share of the ring's."""
    circular = problem.ring.speed_m_s
    speed = _speed(circular, ratio)
    return np.asarray(np.abs(speed - rows.arrival_m_s) + np.abs(circular - speed))


def _speed(circular: float, ratio: F) -> F:
    root = np.cbrt(np.maximum(ratio, 1e-9))
    return np.asarray(circular * np.sqrt(np.maximum(2.0 - 1.0 / (root * root), 0.0)))


def _line(
    problem: Problem, rows: PhaseChoices, far: F, near: F, least: F, plane: F, there: NDArray[np.bool_]
) -> tuple[F, F]:
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
        begin[some] = _in_plane(problem, mine, far[some]) - sag + plane[some]
        end[some] = _in_plane(problem, mine, near[some]) - sag + plane[some]
    return begin, end


def _plane(problem: Problem, rows: PhaseChoices, near: F, far: F) -> tuple[F, F]:
    """What turning the plane back into the ring's costs at least and at most, m/s, between two phasing periods."""
    ring, body = problem.ring, problem.scenario.body
    if ring.node_rate_rad_s == 0.0 or ring.inclination_rad == 0.0 or not len(rows):
        return np.zeros(len(rows)), np.zeros(len(rows))
    ends = []
    for ratio in (near, far):
        speed = _speed(ring.speed_m_s, ratio)
        other = 2.0 * semi_major_from_speed(ring.gm, ring.radius_m, speed) - ring.radius_m
        lasts = np.where(rows.revolutions > 0, ratio * rows.revolutions * ring.period_s, 0.0)
        stage = (other, np.full(other.size, ring.radius_m), lasts)
        behind = node_behind(body, ring.inclination_rad, ring.node_rate_rad_s, [stage])
        ends.append(rows.behind_rad + behind * math.sin(ring.inclination_rad))
    sizes = np.abs(ends[0]), np.abs(ends[1])
    kept = max(problem.scenario.ring.tilt_tolerance_rad, DRIFT_RAD)
    found = [
        np.asarray(turn_delta_v(ring.speed_m_s, np.where(apart > kept, apart, 0.0)))
        for apart in (np.where(ends[0] * ends[1] <= 0.0, 0.0, np.minimum(*sizes)), np.maximum(*sizes))
    ]
    return found[0], found[1]
