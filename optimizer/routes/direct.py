"""Direct insertion: coast to the apoapsis on the ring, then one burn, or a stop part-way for k revolutions."""

from __future__ import annotations

import numpy as np

from ...models import frames, launch, orbits
from ..problem.options import ROUTES, F, I, Options
from ..problem.phasing import Phasings, Touch, Wanted, best_phasing, every_phasing


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
    """Columns for each (liftoff, slot) pair, both of length n; pruned to what none beats in delta-v and time.

    The slot's lead on arrival follows from the liftoff; everything else is phasing from that touch. The lowest
    radius counts from insertion: the coast rises, so it is the insertion point until the first ring burn.
    """
    lead = frames.wrap(launch.lead_on_arrival(touch.ring, way, liftoff_s, slot))
    chosen = (best_phasing if prune else every_phasing)(touch, lead, wanted)
    arrival = liftoff_s[chosen.row] + way.after_s
    return from_touch(
        touch,
        chosen,
        lead,
        craft_class=np.full(chosen.row.size, craft_class),
        slot=slot[chosen.row],
        route="direct",
        way=way,
        way_index=way_index,
        liftoff_s=liftoff_s[chosen.row],
        parking_wait_s=np.zeros(chosen.row.size),
        touch_s=arrival,
        lowest_before_m=insertion_m,
    )


def from_touch(
    touch: Touch,
    chosen: Phasings,
    lead: F,
    *,
    craft_class: I,
    slot: I,
    route: str,
    way: launch.Ascent,
    way_index: int,
    liftoff_s: F,
    parking_wait_s: F,
    touch_s: F,
    lowest_before_m: float,
) -> Options:
    """Columns of a launched craft, given its phasing choices from the first touch of the ring."""
    n = chosen.row.size
    radius = touch.ring.radius_m
    other = 2.0 * orbits.semi_major_from_speed(touch.ring.gm, radius, chosen.speed_m_s) - radius
    return Options(
        craft_class=craft_class,
        slot=slot,
        route=np.full(n, ROUTES.index(route)),
        pad=np.full(n, way.pad),
        way=np.full(n, way_index),
        flight=np.full(n, -1),
        liftoff_s=liftoff_s,
        parking_wait_s=parking_wait_s,
        passes=np.zeros(n, dtype=np.int64),
        revolutions=chosen.revolutions,
        ring_revolutions=chosen.ring_revolutions,
        touch_s=touch_s,
        burn_s=touch_s,
        finish_s=touch_s + chosen.wait_s,
        lead_rad=lead[chosen.row],
        speed_m_s=chosen.speed_m_s,
        turn_after_s=np.zeros(n),
        delta_v_m_s=way.entry_delta_v_m_s + chosen.cost_m_s,
        lowest_m=np.minimum(np.minimum(other, radius), lowest_before_m),
        highest_m=np.maximum(other, radius),
    )
