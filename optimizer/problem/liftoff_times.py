"""Moments of liftoff worth looking at, for a site in the ring plane.

For one choice of slot, insertion and (k, m) the phasing period is a straight line in the moment of liftoff, the cost
constant (folded in from below) or concave (above) along it, and the finish a straight line. Launches that stand a
turnaround apart form blocks; sliding a block changes a sum of concave functions, so an optimum exists in which each
block has a member at one end: an end of the allowed interval, or a moment at which the phasing period
reaches one of a few values (the ring's own, the arrival orbit's, that of the floor, of the ceiling, of the propellant,
of the longest wait), or the finish reaches a threshold. Those moments, each shifted by whole turnarounds, are the
candidates, and with them the choice is exact. Where the arrival speed lies above the floor's (a phasing orbit lower
than the coast itself is allowed) the cost is convex: that stretch gets ``DIVE_STEPS`` more values and is a grid.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ...models import launch
from .options import F
from .phasing import Touch

DIVE_STEPS = 12


@dataclass(frozen=True, kw_only=True)
class Ends:
    """Phasing periods, as fractions of the ring's, at which a choice ends or changes, for one way up.

    ``any_k`` hold for each number of revolutions; ``wait_turns`` is the longest wait in ring periods, an end that is
    ``wait_turns / k`` for k revolutions. ``grid`` is whether some of them are a grid and not an end.
    """

    any_k: tuple[float, ...]
    wait_turns: float
    revolutions_max: int
    grid: bool


def ends(touch: Touch, delta_v_left_m_s: tuple[float, ...]) -> Ends:
    """The ends for one way up. ``delta_v_left_m_s``: what each class of craft may spend at the ring."""
    low, high = touch.ratio_low, touch.ratio_high
    circular, arrival = touch.ring.speed_m_s, touch.arrival_speed_m_s
    arrival_ratio = touch.ratio(arrival)
    values = [low, high, arrival_ratio]
    for spend in delta_v_left_m_s:
        if math.isfinite(spend):
            values.append(touch.ratio(0.5 * (spend + arrival + circular)))
            slow = 0.5 * (arrival + circular - spend)
            if slow > 0.0:
                values.append(touch.ratio(slow))
    grid = False
    top = min(arrival_ratio, 1.0)
    if low < top - 1e-9:
        grid = True
        values.extend(np.linspace(low, top, DIVE_STEPS + 1)[1:-1].tolist())
    if arrival > circular and arrival_ratio < high:
        grid = grid or math.isfinite(high)
    kept = sorted({v for v in values if low * (1 - 1e-12) <= v <= high * (1 + 1e-12) and math.isfinite(v)})
    return Ends(
        any_k=tuple(kept),
        wait_turns=touch.wait_within_s / touch.ring.period_s,
        revolutions_max=touch.revolutions_max,
        grid=grid,
    )


def grid_step_s(touch: Touch, way: launch.Ascent) -> float:
    """Distance in time between grid liftoffs for one revolution below the coast; k revolutions are k times as far."""
    closing = abs(touch.ring.rate_rad_s - way.site_rate_rad_s)
    top = min(touch.ratio(touch.arrival_speed_m_s), 1.0)
    return 2.0 * math.pi * max(top - touch.ratio_low, 0.0) / DIVE_STEPS / closing if closing > 1e-12 else 0.0


def turning_moments(touch: Touch, way: launch.Ascent, at: Ends, earliest_s: float, latest_s: float) -> F:
    """Liftoffs in [earliest, latest] at which some slot's choice ends, or a slot needs no phasing, sorted.

    The lead of every slot changes at nu = n - (site's rate); with T_p = x T the condition is
    2 pi m - L(t) = 2 pi k x, so each (k, x) gives an arithmetic progression in t, whose step is a slot spacing
    and serves all slots; where they are not equally spaced each slot has a progression that goes by whole turns.
    """
    ring = touch.ring
    closing = ring.rate_rad_s - way.site_rate_rad_s
    # equally spaced slots follow one another by one step
    slots = np.arange(ring.slots if ring.pattern_rad else 1, dtype=np.int64)
    lead0 = launch.lead_on_arrival(ring, way, np.zeros(1), slots)
    windings = {0.0}
    for k in range(1, at.revolutions_max + 1):
        windings.update(k * x for x in at.any_k)
    if math.isfinite(at.wait_turns):
        windings.add(at.wait_turns)
    if abs(closing) * max(latest_s - earliest_s, 0.0) < 1e-12:
        return np.zeros(0)
    phases = np.unique(np.round(np.remainder(np.array(sorted(windings)), 1.0), 13)) * 2.0 * math.pi
    step = (2.0 * math.pi if ring.pattern_rad else ring.spacing_rad) / abs(closing)
    offsets = ((-lead0[:, None] - phases) / closing).ravel()
    first = offsets + step * np.ceil((earliest_s - offsets) / step - 1e-12)
    count = max(math.ceil((latest_s - earliest_s) / step) + 1, 0)
    moments = (first[:, None] + step * np.arange(count)[None, :]).ravel()
    return np.unique(moments[(moments >= earliest_s) & (moments <= latest_s)])


def finish_moments(touch: Touch, way: launch.Ascent, finish_s: float, earliest_s: float, latest_s: float) -> F:
    """Liftoffs at which a choice finishes exactly at a threshold, sorted.

    By m alone for phasing from the touch, since the wait there is (2 pi m - L) / n; for a wait in a parking orbit
    until the slot is right, by the number of turns gained there.
    """
    ring = touch.ring
    lead0 = launch.lead_on_arrival(ring, way, np.zeros(1), np.arange(ring.slots, dtype=np.int64))
    closing = ring.rate_rad_s - way.site_rate_rad_s
    found = []
    slope = 1.0 - closing / ring.rate_rad_s
    if abs(slope) > 1e-12:
        # t + after + (2 pi m - lead0 - closing t) / n = F, for every m that can fall into the interval
        base = finish_s - way.after_s + lead0 / ring.rate_rad_s
        low, high = sorted((slope * earliest_s, slope * latest_s))
        first = math.floor((float(base.min()) - high) / ring.period_s)
        last = math.ceil((float(base.max()) - low) / ring.period_s)
        found.append(((base[:, None] - ring.period_s * np.arange(first, last + 1)[None, :]) / slope).ravel())
    if way.parking_rate_rad_s is not None:
        gain = way.parking_rate_rad_s - ring.rate_rad_s
        # t + after + (lead0 + closing t + 2 pi j) / gain = F
        slope = 1.0 + closing / gain
        if abs(slope) > 1e-12:
            base = finish_s - way.after_s - lead0 / gain
            synodic = 2.0 * math.pi / gain
            low, high = sorted((slope * earliest_s, slope * latest_s))
            bounds = sorted(((float(base.min()) - high) / synodic, (float(base.max()) - low) / synodic))
            whole = np.arange(math.floor(bounds[0]) - 1, math.ceil(bounds[1]) + 2)
            found.append(((base[:, None] - synodic * whole[None, :]) / slope).ravel())
    if not found:
        return np.zeros(0)
    moments = np.concatenate(found)
    return np.unique(moments[(moments >= earliest_s) & (moments <= latest_s)])


def with_turnarounds(moments_s: F, turnaround_s: float, launches: int, earliest_s: float, latest_s: float) -> F:
    """Each moment in [earliest, latest], shifted by every chain of turnarounds both ways; sorted, no repeats."""
    reach = launches - 1 if turnaround_s > 0.0 else 0
    chain = np.arange(-reach, reach + 1) * turnaround_s
    moments = (moments_s[:, None] + chain[None, :]).ravel()
    moments = np.sort(moments[(moments >= earliest_s) & (moments <= latest_s)])
    return moments[np.concatenate([[True], np.diff(moments) > 1e-7])] if moments.size else moments
