"""Parking orbit, wait, Hohmann transfer, with or without phasing revolutions at the ring.

The parking orbit gains n_0 - n on the slot. Waiting until the transfer arrives in place costs the Hohmann total and at
most one synodic period. Leaving earlier and phasing at the ring pays only where that is quicker: above the ring at
once, or on a phasing orbit lower than the transfer, where each bit of further waiting trades time for fuel.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...models import frames, launch
from ...models.launch import Ascent
from ..problem.options import F, Options, empty, join
from ..problem.phasing import LEVEL_RAD, Phasings, Touch, every_phasing
from ..problem.problem import Problem
from ..trajectory.course import Course
from ..trajectory.differential_correction import Unknown
from .launched import begun, from_touch, launched_course
from .route import Launches, Question, Route

DIVE_STEPS = 8
"""Steps of parking wait between leaving at once and the wait at which a phasing orbit below costs nothing more."""

HALF_TURNS_MAX = 60
"""Most passes of the node that are waited for in a parking orbit."""


def columns(question: Question) -> Options:
    """Options for each (liftoff, slot) pair.

    Launched at the least tilt where the burns at the apsides take it off, a craft leaves where it crosses the plane.
    """
    way, asked = question.lifting
    rate = way.parking_rate_rad_s
    if rate is None:
        raise ValueError("a parking orbit is needed")
    if way.tilt_at == "apsis":
        return empty() if asked.until_s is not None else _from_node(way, asked, rate)
    return _waiting(way, asked, rate) if asked.until_s is None else _finishing(way, asked, rate, asked.until_s)


def _waiting(way: Ascent, asked: Launches, rate_rad_s: float) -> Options:
    """Leaving in place, and at once, or in between where a phasing orbit may dive."""
    touch = asked.touch
    lead = launch.lead_on_arrival(touch.ring, way, asked.liftoff_s, asked.slot)
    gain = rate_rad_s - touch.ring.rate_rad_s
    parts = []
    turn = 2.0 * np.pi
    # a lead of a hair under a whole turn is a lead of nothing, not a synodic period of waiting
    to_gain = np.remainder(np.sign(gain) * lead + LEVEL_RAD, turn) - LEVEL_RAD
    wait = np.maximum(to_gain, 0.0) / abs(gain)
    if asked.wanted is None or asked.wanted(0, 0):
        level = every_phasing(touch, np.zeros(lead.size), lambda k, m: (k, m) == (0, 0))
        parts.append(from_touch(way, asked, level, np.zeros(lead.size), wait))

    def phasing_only(k: int, m: int) -> bool:
        return (k, m) != (0, 0) and (asked.wanted is None or asked.wanted(k, m))

    # without a lower orbit to dive to, waiting on in the parking orbit is never better than leaving at once or in place
    for step in range(DIVE_STEPS if dives(touch) else 1):
        waited = wait * (step / DIVE_STEPS)
        left = frames.wrap(lead - gain * waited)
        parts.append(from_touch(way, asked, asked.phasings(left, phasing_only), left, waited))
    return join(parts)


def dives(touch: Touch) -> bool:
    """Whether a phasing orbit may go lower than the transfer itself."""
    return touch.ratio_low < min(touch.ratio(touch.arrival_speed_m_s), 1.0) - 1e-12


def _finishing(way: Ascent, asked: Launches, rate_rad_s: float, finish_s: float) -> Options:
    """Options whose wait in the parking orbit is as long as a finish allows, for phasing orbits below the transfer.

    There each bit of waiting saves fuel and costs time, so under a latest finish the best wait is the longest one. With
    the finish given, the time from touch to slot depends on m alone.
    """
    touch, ring = asked.touch, asked.touch.ring
    if not dives(touch):
        return empty()
    lead = launch.lead_on_arrival(ring, way, asked.liftoff_s, asked.slot)
    turn = 2.0 * np.pi
    spare = finish_s - asked.liftoff_s - way.after_s
    arrival_ratio = touch.ratio(touch.arrival_speed_m_s)
    parts = []
    low, high = touch.ratio_low * ring.period_s, min(arrival_ratio, 1.0) * ring.period_s
    first = np.floor(lead / turn).astype(np.int64)
    for m in range(touch.ring_revolutions_max + 1):
        # (2 pi (m + whole turns) - lead + gain * wait) / n + wait = spare
        waited = (spare - (turn * (m + first) - lead) / ring.rate_rad_s) * ring.rate_rad_s / rate_rad_s
        phasing = spare - waited
        for k in range(1, touch.revolutions_max + 1):
            if asked.wanted is not None and not asked.wanted(k, m):
                continue
            period = phasing / k
            (row,) = np.nonzero((waited >= 0.0) & (period >= low) & (period < high) & (phasing <= touch.wait_within_s))
            if not row.size:
                continue
            speed = touch.speed(period[row] / ring.period_s)
            left = frames.wrap(lead - (rate_rad_s - ring.rate_rad_s) * waited)
            chosen = Phasings(
                row=row,
                revolutions=np.full(row.size, k),
                ring_revolutions=np.rint((phasing[row] * ring.rate_rad_s + left[row]) / turn).astype(np.int64),
                wait_s=phasing[row],
                speed_m_s=speed,
                cost_m_s=touch.cost(speed),
            )
            parts.append(from_touch(way, asked, chosen, left, waited))
    return join(parts)


def _from_node(way: Ascent, asked: Launches, rate_rad_s: float) -> Options:
    """Leaving a parking orbit where it crosses the ring plane.

    Launched at the least tilt, the relative node is a quarter turn from the site; the craft waits for it, or for one of
    the next ones half a turn apart, until the slot has come round once. The transfer then arrives on the node line.
    """
    ring = asked.touch.ring
    lead0 = launch.lead_on_arrival(ring, way, asked.liftoff_s, asked.slot)
    to_node = np.remainder(0.5 * np.pi - way.insertion_angle0_rad, np.pi)
    gain = rate_rad_s - ring.rate_rad_s
    half_turns = min(int(np.ceil(2.0 * rate_rad_s / abs(gain))), HALF_TURNS_MAX)
    parts = []
    for j in range(half_turns + 1):
        waited: F = np.full(lead0.size, (to_node + j * np.pi) / rate_rad_s)
        lead = frames.wrap(lead0 - gain * waited)
        parts.append(from_touch(way, asked, asked.phasings(lead), lead, waited))
    return join(parts)


def course(
    problem: Problem, options: Options, row: int, finite: bool = False, *, late_s: float | None = None
) -> Course:
    """The burn out of the parking orbit, and those at the ring; ``late_s`` as in `launched.begun`."""
    one, start = options.one(row), begun(problem, options, row, late_s)
    insertion_m, radius_m = start.way.insertion.radius_m, problem.ring.radius_m
    sign = 1.0 if insertion_m < radius_m else -1.0
    start = replace(
        start,
        burns=((start.start_s + one.parking_wait_s, sign * start.way.entry_delta_v_m_s),),
        dips_m=(min(insertion_m, radius_m),),
        # leaving when planned, the transfer's height is a third thing to choose; arriving in place, when it begins
        unknowns=(Unknown(0, "along"),) if one.revolutions else (Unknown(0, "onward"), Unknown(0, "along")),
        waits_between=(None, 0),
    )
    return launched_course(problem, one, start, finite=finite)


ROUTE = Route(
    name="park",
    words=("go", "by a parking orbit"),
    begins="liftoff",
    columns=columns,
    course=course,
    lifts_off=lambda way: way.parking,
    steps=lambda _, touch: DIVE_STEPS if dives(touch) else 1,
)
