"""Parking orbit, wait, Hohmann transfer, with or without phasing revolutions at the ring.

The parking orbit gains n_0 - n on the slot. Waiting until the transfer arrives in place costs the Hohmann total and at
most one synodic period. Leaving earlier and phasing at the ring pays only where that is quicker: above the ring at
once, or on a phasing orbit lower than the transfer, where each bit of further waiting trades time for fuel.
"""

from __future__ import annotations

import numpy as np

from ...models import launch, orbits
from ..options import F, I, Options, join
from .direct import from_touch
from .phasing import LEVEL_RAD, Phasings, Touch, Wanted, best_phasing, every_phasing

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
            from_touch(
                touch,
                chosen,
                left,
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
    arrival_ratio = touch.ratio(touch.arrival_speed_m_s)
    dives = touch.ratio_low < min(arrival_ratio, 1.0) - 1e-12
    # without a lower orbit to dive to, waiting on in the parking orbit is never better than leaving at once or in place
    for step in range(DIVE_STEPS if dives else 1):
        waited = wait * (step / DIVE_STEPS)
        left = orbits.wrap(lead - gain * waited)
        add(phasing(touch, left, phasing_only), left, waited)
    return join(parts)
