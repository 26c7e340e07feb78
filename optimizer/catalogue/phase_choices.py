"""What craft in space may do, as functions of the ring's phase.

A craft that touches the ring at the argument of latitude theta at time t meets slot j of a ring of phase p after
W = M - (p + a_j + n t - theta) / (2 pi) ring periods, for any whole M with W > 0; a_j is how far the slot is ahead of
slot 0, 2 pi j / N where they are equally spaced. With k revolutions its phasing
period is x = W / k of the ring's. So along p each choice (craft, slot, pass, k, M) is a straight line in W, and so is
its finish. What that costs, and its bounds over an interval, are in
``phase_costs.py``.

Each craft has the slots of its own plane alone. The model is the catalogue's: ``routes/rephase.py`` with
``routes/launch_tilt.py``, and ``routes/rephase_at_crossing.py``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from ...models.deadline import poll
from ...models.memory import need
from ...models.oblateness import node_behind
from ..problem.in_space import Standing
from ..problem.options import F, I
from ..problem.phasing import LEVEL_RAD, LIMIT_SLACK, Touch
from ..problem.problem import CraftClass, Problem
from ..problem.restriction import NO_RESTRICTION, Restriction
from ..routes import registry, rephase, rephase_at_crossing

TWO_PI = 2.0 * math.pi

ROWS_BYTES = 400.0
"""What a row takes with all that is worked out of it."""

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
        touch_rad: argument of latitude where it begins and ends, whose burns turn a part of the plane.
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
    touch_rad: F

    def __len__(self) -> int:
        return int(self.pair.size)

    def take(self, rows: NDArray[np.bool_] | I) -> PhaseChoices:
        """The rows picked by a mask or by indices."""
        return PhaseChoices(**{field.name: getattr(self, field.name)[rows] for field in fields(self)})


def covers(problem: Problem, restriction: Restriction = NO_RESTRICTION) -> bool:
    """Whether all that craft in space may do is phasing in their own plane, and launches pay for their arrival."""
    launches = [route for route in registry.ROUTES if route.begins == "liftoff" and route.arrives_by_way]
    known = [rephase.ROUTE, rephase_at_crossing.ROUTE, *launches]
    whole = restriction.slots is None and restriction.routes is None and restriction.ways is None
    # what restrictions make of launches is not looked into
    plain = restriction == NO_RESTRICTION or (whole and not problem.launches)
    return plain and all(r in known or not r.may_serve(problem) for r in registry.ROUTES)


def level_phases(problem: Problem) -> F:
    """Phases in [0, repeat) at which some craft arrives in place, sorted."""
    ring, found = problem.ring, [np.zeros(0)]
    # equally spaced slots are in place at the same phases
    slots = np.arange(ring.slots if ring.pattern_rad else 1)
    for group in problem.classes:
        plane = 0 if group.craft.orbit is None else group.craft.orbit.plane
        for time, angle, at_crossing in _touches(problem, group):
            if at_crossing:
                continue
            phase = angle - (float(ring.phase(time, 0, plane)) - ring.slot0_rad)
            found.append(np.remainder(phase - ring.ahead(slots), ring.repeat_rad))
    phases = np.sort(np.concatenate(found))
    return phases[np.concatenate([[True], np.diff(phases) > LEVEL_RAD])] if phases.size else phases


def _touches(problem: Problem, group: CraftClass) -> list[tuple[float, float, bool]]:
    """Each touch of the ring at which a craft in space may begin: time, s, argument of latitude, rad, and whether it
    begins where planes cross, so that its burns turn the plane, too."""
    start = group.start
    if start is None or not start.touches:
        return []
    limits = problem.scenario.limits
    touch = problem.touch(start.speed_m_s)
    crossing = [(there.first_s, there.angle_rad, True) for there in rephase_at_crossing.crossings(problem, group)]
    return crossing + [
        (start.first_s + j * start.period_s, start.angle_rad + j * start.advance_rad, False)
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


def phase_choices(problem: Problem, restriction: Restriction = NO_RESTRICTION) -> PhaseChoices:
    """All choices of the craft in space that any phase of the ring leaves within the limits, and that are wanted.

    For a wait of so many ring periods only the numbers of revolutions are listed whose periods are next to the stretch
    on which all cost the same: any other costs more in the same time.
    """
    parts: list[PhaseChoices] = []
    for index, group in enumerate(problem.classes):
        for time, angle, at_crossing in _touches(problem, group):
            poll()
            parts.extend(_from_touch(problem, restriction, index, group, time, angle, at_crossing=at_crossing))
    if not parts:
        none, nothing = np.zeros(0, dtype=np.int64), np.zeros(0)
        return PhaseChoices(
            pair=none,
            revolutions=none,
            wait_turns=nothing,
            low_turns=nothing,
            high_turns=nothing,
            burn_s=nothing,
            arrival_m_s=nothing,
            arrival_ratio=nothing,
            behind_rad=nothing,
            touch_rad=nothing,
        )
    rows = joined(parts)
    return rows.take(np.argsort(rows.pair, kind="stable"))


def joined(parts: list[PhaseChoices]) -> PhaseChoices:
    """All rows of several, in order; at least one of them."""
    return PhaseChoices(**{f.name: np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(PhaseChoices)})


def _from_touch(
    problem: Problem,
    restriction: Restriction,
    index: int,
    group: CraftClass,
    time: float,
    angle: float,
    *,
    at_crossing: bool,
) -> list[PhaseChoices]:
    """The choices of one class from one touch, into every slot."""
    ring, start, limits = problem.ring, group.start, problem.scenario.limits
    assert start is not None
    touch = restriction.touch(problem.touch(start.speed_m_s))
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
    behind = _behind(problem, group, start, time)
    here = _Touch(
        first_pair=first_pair,
        ahead=ahead,
        time_s=time,
        speed_m_s=start.speed_m_s,
        ratio=arrival,
        behind_rad=behind,
        touch_rad=angle,
        around_turns=ring.repeat_rad / TWO_PI,
    )
    if most < 0.0:
        return []
    level = all(wanted is None or 0 in wanted for wanted in (restriction.revolutions, restriction.sides))
    parts = [here.level()] if level and not at_crossing else []
    # a plane that is off already may gain by any period
    nearest, farthest = (low, high) if behind else (min(arrival, 1.0), max(arrival, 1.0))
    # W runs from M - ahead down by that part of a turn while the phase goes round
    around = ring.repeat_rad / TWO_PI
    first, last = math.floor(float(ahead.min())), math.ceil(most + float(ahead.max()) + around)
    for whole in range(first, last + 1):
        wait = whole - ahead
        among = range(1, touch.revolutions_max + 1)
        if restriction.revolutions is None:
            among = _revolutions(wait, around, nearest, farthest, touch.revolutions_max)
        for k in (k for k in among if restriction.revolutions is None or k in restriction.revolutions):
            one = here.phasing(wait, k, low * k, min(high * k, most))
            if len(one):
                parts.append(one)
    return parts


def _behind(problem: Problem, group: CraftClass, start: Standing, time: float) -> float:
    """How far the plane of a craft is off the ring's at a touch by its orbit up to then, rad, signed."""
    ring, orbit = problem.ring, group.craft.orbit
    if start.on_ring or orbit is None or ring.node_rate_rad_s == 0.0:
        return 0.0
    stage = (orbit.periapsis_m, orbit.apoapsis_m, time - orbit.at_s)
    behind = float(node_behind(problem.scenario.body, ring.inclination_rad, ring.radius_m, [stage]))
    return behind * math.sin(ring.inclination_rad)


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


def _revolutions(wait: F, around: float, low: float, high: float, most: int) -> range:
    """Numbers of revolutions worth listing for waits that each shrink by up to ``around`` of a turn, over all slots.

    With x = W / k on the stretch [low, high], or next to it on either side.
    """
    longest, shortest = float(wait.max()), max(float(wait.min()) - around, 0.0)
    first = max(math.floor(shortest / high) if math.isfinite(high) else 1, 1)
    last = math.ceil(longest / low)
    return range(min(first, most), min(max(last, 1), most) + 1)


@dataclass(frozen=True, kw_only=True)
class _Touch:
    """One touch of a class into the slots of its plane: what all its rows share, and how far each slot is ahead then at
    phase 0, in turns."""

    first_pair: int
    ahead: F
    time_s: float
    speed_m_s: float
    ratio: float
    behind_rad: float
    touch_rad: float
    around_turns: float

    def rows(self, there: I, k: int, wait: F, low: float, high: float) -> PhaseChoices:
        """Rows for some of the slots, with their waits at phase 0 and the limits on these."""
        n = there.size
        need(n * ROWS_BYTES)
        return PhaseChoices(
            pair=self.first_pair + there,
            revolutions=np.full(n, k),
            wait_turns=wait[there],
            low_turns=np.full(n, low),
            high_turns=np.full(n, high),
            burn_s=np.full(n, self.time_s),
            arrival_m_s=np.full(n, self.speed_m_s),
            arrival_ratio=np.full(n, self.ratio),
            behind_rad=np.full(n, self.behind_rad),
            touch_rad=np.full(n, self.touch_rad),
        )

    def phasing(self, wait: F, k: int, low: float, high: float) -> PhaseChoices:
        """One number of revolutions into every slot, as far as some phase leaves it within the limits."""
        there = np.flatnonzero((wait > 0.0) & (wait >= low) & (wait - self.around_turns <= high))
        return self.rows(there, k, wait, max(low, EDGE_TURNS), high)

    def level(self) -> PhaseChoices:
        """Arriving in place, which each slot allows at one phase in a turn of the ring."""
        # W as it would be were the craft to wait for nothing: 0 where the phase puts it in place
        wait = np.remainder(-self.ahead, 1.0)
        wait = np.where(wait > 1.0 - LEVEL_RAD, wait - 1.0, wait)
        there = np.flatnonzero(wait <= self.around_turns)
        return self.rows(there, 0, wait, -LEVEL_RAD / TWO_PI, LEVEL_RAD / TWO_PI)
