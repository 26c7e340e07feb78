"""Parking orbit, wait, Hohmann transfer, with or without phasing revolutions at the ring.

The parking orbit gains n_0 - n on the slot. Waiting until the transfer arrives in place costs the Hohmann total and at
most one synodic period. Leaving earlier and phasing at the ring pays only where that is quicker: above the ring at
once, or on a phasing orbit lower than the transfer, where each bit of further waiting trades time for fuel.
"""

from __future__ import annotations

import numpy as np

from ...models import frames, launch
from ..problem.options import F, I, Options, empty, join
from ..problem.phasing import LEVEL_RAD, Phasings, Touch, Wanted, best_phasing, every_phasing
from .direct import from_touch

DIVE_STEPS = 8
"""Steps of parking wait between leaving at once and the wait at which a phasing orbit below costs nothing more."""


def options(
    touch: Touch,
    way: launch.Ascent,
    way_index: int,
    liftoff_s: F,
    slot: I,
    *,
    craft_class: int,
    insertion_m: float,
    wanted: Wanted | None = None,
    prune: bool = True,
) -> Options:
    """Columns for each (liftoff, slot) pair, both of length n."""
    if way.parking_rate_rad_s is None:
        raise ValueError("a parking orbit is needed")
    lead = launch.lead_on_arrival(touch.ring, way, liftoff_s, slot)
    gain = way.parking_rate_rad_s - touch.ring.rate_rad_s
    parts = []

    def add(chosen: Phasings, left: F, waited: F) -> None:
        parts.append(
            after_waiting(touch, way, way_index, chosen, left, waited, liftoff_s, slot, craft_class, insertion_m)
        )

    turn = 2.0 * np.pi
    # a lead of a hair under a whole turn is a lead of nothing, not a synodic period of waiting
    to_gain = np.remainder(np.sign(gain) * lead + LEVEL_RAD, turn) - LEVEL_RAD
    wait = np.maximum(to_gain, 0.0) / abs(gain)
    if wanted is None or wanted(0, 0):
        add(every_phasing(touch, np.zeros(lead.size), lambda k, m: (k, m) == (0, 0)), np.zeros(lead.size), wait)

    def phasing_only(k: int, m: int) -> bool:
        return (k, m) != (0, 0) and (wanted is None or wanted(k, m))

    phasing = best_phasing if prune else every_phasing
    # without a lower orbit to dive to, waiting on in the parking orbit is never better than leaving at once or in place
    for step in range(DIVE_STEPS if dives(touch) else 1):
        waited = wait * (step / DIVE_STEPS)
        left = frames.wrap(lead - gain * waited)
        add(phasing(touch, left, phasing_only), left, waited)
    return join(parts)


def dives(touch: Touch) -> bool:
    """Whether a phasing orbit may go lower than the transfer itself."""
    return touch.ratio_low < min(touch.ratio(touch.arrival_speed_m_s), 1.0) - 1e-12


def finishing_at(
    touch: Touch,
    way: launch.Ascent,
    way_index: int,
    liftoff_s: F,
    slot: I,
    finish_s: float,
    *,
    craft_class: int,
    insertion_m: float,
    wanted: Wanted | None = None,
) -> Options:
    """Columns whose wait in the parking orbit is as long as a finish allows, for phasing orbits below the transfer.

    There each bit of waiting saves fuel and costs time, so under a latest finish the best wait is the longest one. With
    the finish given, the time from touch to slot depends on m alone.
    """
    if way.parking_rate_rad_s is None:
        raise ValueError("a parking orbit is needed")
    if not dives(touch):
        return empty()
    ring = touch.ring
    lead = launch.lead_on_arrival(ring, way, liftoff_s, slot)
    turn = 2.0 * np.pi
    spare = finish_s - liftoff_s - way.after_s
    arrival_ratio = touch.ratio(touch.arrival_speed_m_s)
    parts = []
    most = touch.ring_revolutions_max
    low, high = touch.ratio_low * ring.period_s, min(arrival_ratio, 1.0) * ring.period_s
    first = np.floor(lead / turn).astype(np.int64)
    for m in range(most + 1):
        # (2 pi (m + whole turns) - lead + gain * wait) / n + wait = spare
        waited = (spare - (turn * (m + first) - lead) / ring.rate_rad_s) * ring.rate_rad_s / way.parking_rate_rad_s
        phasing = spare - waited
        for k in range(1, touch.revolutions_max + 1):
            if wanted is not None and not wanted(k, m):
                continue
            period = phasing / k
            (row,) = np.nonzero((waited >= 0.0) & (period >= low) & (period < high) & (phasing <= touch.wait_within_s))
            if not row.size:
                continue
            ratio = period[row] / ring.period_s
            speed = touch.speed(ratio)
            left = frames.wrap(lead - (way.parking_rate_rad_s - ring.rate_rad_s) * waited)
            chosen = Phasings(
                row=row,
                revolutions=np.full(row.size, k),
                ring_revolutions=np.rint((phasing[row] * ring.rate_rad_s + left[row]) / turn).astype(np.int64),
                wait_s=phasing[row],
                speed_m_s=speed,
                cost_m_s=touch.cost(speed),
            )
            parts.append(
                after_waiting(touch, way, way_index, chosen, left, waited, liftoff_s, slot, craft_class, insertion_m)
            )
    return join(parts)


def after_waiting(
    touch: Touch,
    way: launch.Ascent,
    way_index: int,
    chosen: Phasings,
    lead: F,
    waited: F,
    liftoff_s: F,
    slot: I,
    craft_class: int,
    insertion_m: float,
) -> Options:
    """Columns of phasings that begin where a parking orbit was left after a wait, ``waited`` in s for each pair."""
    return from_touch(
        touch,
        chosen,
        lead,
        craft_class=np.full(chosen.row.size, craft_class),
        slot=slot[chosen.row],
        route="park",
        way=way,
        way_index=way_index,
        liftoff_s=liftoff_s[chosen.row],
        parking_wait_s=waited[chosen.row],
        touch_s=liftoff_s[chosen.row] + way.after_s + waited[chosen.row],
        lowest_before_m=insertion_m,
    )
