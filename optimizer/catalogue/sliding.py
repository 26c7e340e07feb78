"""A plan's launches slid together until it finishes as soon as it can for what it costs.

With slots, revolutions and the order of launches held, each craft's finish is a straight line in its liftoff, and its
cost is the same along a stretch of liftoffs: while it waits in a parking orbit until the slot is right, and while its
phasing period lies between the arrival orbit's and the ring's. Whether all can finish by a given moment is then a
question of intervals: launched in order, each as early as it may, a turnaround after the one before. So the earliest
finish is found by halving.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...models.launch import Ascent
from ..problem.options import F, Options
from ..problem.problem import Problem

WORTH_S = 1e-2
"""A plan that finishes sooner by less than this is left where it is."""

HALVINGS = 60
"""Of the time in question: far below a microsecond."""

SLACK_S = 1e-6
"""By so much a launch may stand outside its interval from rounding alone."""


@dataclass(frozen=True, kw_only=True)
class Slide:
    """One craft's liftoffs at one cost, s: from ``low_s`` to ``high_s``, finishing ``slope`` times as much later."""

    liftoff_s: float
    finish_s: float
    slope: float
    low_s: float
    high_s: float
    counts: bool = True

    def until(self, finish_s: float) -> tuple[float, float]:
        """The liftoffs of those that finish by then; an empty interval where none does."""
        room = finish_s - self.finish_s
        if not self.counts:
            return self.low_s, self.high_s
        if self.slope == 0.0 or self.low_s == self.high_s:
            return (self.low_s, self.high_s) if room >= -SLACK_S else (math.inf, -math.inf)
        end = self.liftoff_s + room / self.slope
        return (self.low_s, min(self.high_s, end)) if self.slope > 0.0 else (max(self.low_s, end), self.high_s)

    @property
    def soonest_s(self) -> float:
        """Its own earliest finish."""
        at = self.low_s if self.slope > 0.0 else self.high_s
        return self.finish_s + self.slope * (at - self.liftoff_s)


def earliest(
    problem: Problem, options: Options, windows: tuple[tuple[float, float], ...], counted: NDArray[np.bool_]
) -> tuple[float, dict[int, F]] | None:
    """The earliest finish that a plan's launches can be slid to at no more cost, with their liftoffs by pad.

    Args:
        options: one option for each craft.
        windows: earliest and latest liftoff of each pad, s.
        counted: (n,) mask of the options whose finish counts.

    Returns:
        The finish, s, and the liftoffs, s; None where nothing is gained.
    """
    pads: dict[int, list[Slide]] = {}
    held = -math.inf
    for row in np.argsort(options.liftoff_s, kind="stable").tolist():
        if options.pad[row] >= 0:
            pads.setdefault(int(options.pad[row]), []).append(
                _slide(problem, options, row, windows, bool(counted[row]))
            )
        elif counted[row]:
            held = max(held, float(options.finish_s[row]))
    slides = [one for some in pads.values() for one in some if one.counts]
    if not slides:
        return None
    now = max(held, *(one.finish_s for one in slides))
    low, high = max(held, *(one.soonest_s for one in slides)), now
    if now - low <= WORTH_S:
        return None
    turnarounds = [pad.turnaround_s for pad in problem.scenario.pads]

    def by(finish_s: float) -> dict[int, F] | None:
        found = {pad: _in_order(some, turnarounds[pad], finish_s) for pad, some in pads.items()}
        return None if any(times is None for times in found.values()) else found  # type: ignore[return-value]

    times = by(low)
    if times is not None:
        return low, times
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        at = by(middle)
        if at is None:
            low = middle
        else:
            high, times = middle, at
    return None if times is None or now - high <= WORTH_S else (high, times)


def _in_order(slides: list[Slide], turnaround_s: float, finish_s: float) -> F | None:
    """Liftoffs from one pad, each as early as it may be for all to finish by then; None where that cannot be."""
    times = np.empty(len(slides))
    free = -math.inf
    for i, one in enumerate(slides):
        low, high = one.until(finish_s)
        times[i] = max(low, free)
        if times[i] > high + SLACK_S:
            return None
        free = times[i] + turnaround_s
    return times


def _slide(
    problem: Problem, options: Options, row: int, windows: tuple[tuple[float, float], ...], counts: bool
) -> Slide:
    liftoff, finish = float(options.liftoff_s[row]), float(options.finish_s[row])
    way = problem.ways[options.way[row]]
    pad = problem.scenario.pads[way.pad]
    staged = pad.upper_stage is not None and math.isfinite(pad.upper_stage.lasts_s)
    slope, low, high = 0.0, liftoff, liftoff
    if way.place is None and options.bundle[row] < 0 and not staged:
        slope, low, high = _stretch(problem, way, options, row)
        early, late = windows[way.pad]
        low = max(low, early, problem.classes[options.craft_class[row]].craft.ready_s)
        high = min(high, late)
        for start, end in pad.blackouts_s:
            low = max(low, end) if end <= liftoff + SLACK_S else low
            high = min(high, start) if start >= liftoff - SLACK_S else high
        if not counts and slope != 0.0:
            # what does not count still has to be there within the limits
            room = (problem.scenario.limits.finish_within_s - finish) / slope
            low, high = (low, min(high, liftoff + room)) if slope > 0.0 else (max(low, liftoff + room), high)
    return Slide(
        liftoff_s=liftoff,
        finish_s=finish,
        slope=slope,
        low_s=min(low, liftoff),
        high_s=max(high, liftoff),
        counts=counts,
    )


def _stretch(problem: Problem, way: Ascent, options: Options, row: int) -> tuple[float, float, float]:
    """How the finish moves with the liftoff at one cost, and from which liftoff to which."""
    ring = problem.ring
    liftoff, wait = float(options.liftoff_s[row]), float(options.parking_wait_s[row])
    closing = ring.rate_rad_s - way.site_rate_rad_s
    k = int(options.revolutions[row])
    if way.parking_rate_rad_s is not None and (k == 0 or wait > 0.0):
        # the wait in the parking orbit makes up for the liftoff, and the phasing stays as it is
        gain = way.parking_rate_rad_s - ring.rate_rad_s
        per_s = closing / gain
        return 1.0 + per_s, *_while(liftoff, per_s, wait, 0.0, 2.0 * math.pi / abs(gain))
    slope = 1.0 - closing / ring.rate_rad_s
    if k == 0:
        return slope, liftoff, liftoff
    touch = problem.touch(way.arrival_speed_m_s)
    arrival = touch.ratio(way.arrival_speed_m_s)
    ratio = (int(options.ring_revolutions[row]) - float(options.lead_rad[row]) / (2.0 * math.pi)) / k
    least = max(min(arrival, 1.0), touch.ratio_low)
    most = min(max(arrival, 1.0), touch.ratio_high, touch.wait_within_s / (k * ring.period_s))
    if not least <= ratio <= most:
        return slope, liftoff, liftoff
    return slope, *_while(liftoff, -closing / (2.0 * math.pi * k), ratio, least, most)


def _while(liftoff_s: float, per_s: float, value: float, least: float, most: float) -> tuple[float, float]:
    """The liftoffs for which a quantity that grows at a steady rate stays between two values."""
    if per_s == 0.0:
        return -math.inf, math.inf
    low, high = sorted(((least - value) / per_s, (most - value) / per_s))
    return liftoff_s + low, liftoff_s + high
