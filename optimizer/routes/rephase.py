"""A craft in space already, on the ring or at an apsis that touches it: phase at once, or after j passes."""

from __future__ import annotations

import numpy as np

from ...models import frames, orbits
from ..problem.in_space import Standing
from ..problem.options import ROUTES, F, I, Options
from ..problem.phasing import LIMIT_SLACK, Phasings, Touch, Wanted, best_phasing, every_phasing


def options(
    touch: Touch,
    start: Standing,
    slot: I,
    *,
    craft_class: int,
    wanted: Wanted | None = None,
    floor_m: float,
    ceiling_m: float,
    passes: range | None = None,
    prune: bool = False,
) -> Options:
    """Columns for each slot of ``slot``, every (j, k, m) within the limits, dominated ones too.

    ``passes``: which j are looked at, of :func:`passes_of`; all unless given. ``prune``: for each slot and j only what
    no other (k, m) beats in delta-v and time.
    """
    ring = touch.ring
    other = start.other_m
    several = passes_of(touch, start, floor_m, ceiling_m) if passes is None else passes
    let_by = np.repeat(np.array(several), slot.size)
    slots = np.tile(slot, len(several))
    burn: F = np.asarray(start.first_s + let_by * start.period_s, dtype=np.float64)
    lead = frames.wrap(ring.phase(burn, slots) - start.angle_rad - let_by * start.advance_rad)
    chosen = (best_phasing if prune else every_phasing)(touch, lead, wanted)
    # of options alike in cost and time the one that starts soonest comes first, and is kept
    soonest = np.argsort(let_by[chosen.row], kind="stable")
    chosen = Phasings(**{name: column[soonest] for name, column in vars(chosen).items()})
    row = chosen.row
    finish = burn[row] + chosen.wait_s
    flown_other = 2.0 * orbits.semi_major_from_speed(ring.gm, ring.radius_m, chosen.speed_m_s) - ring.radius_m
    before = np.where((let_by[row] > 0) | start.passed_other, other, min(ring.radius_m, start.begin_m))
    columns = Options(
        craft_class=np.full(row.size, craft_class),
        slot=slots[row],
        route=np.full(row.size, ROUTES.index("shift")),
        pad=np.full(row.size, -1),
        way=np.full(row.size, -1),
        flight=np.full(row.size, -1),
        liftoff_s=np.full(row.size, np.nan),
        parking_wait_s=np.zeros(row.size),
        passes=let_by[row],
        revolutions=chosen.revolutions,
        ring_revolutions=chosen.ring_revolutions,
        touch_s=np.full(row.size, start.first_s),
        burn_s=burn[row],
        finish_s=finish,
        lead_rad=lead[row],
        speed_m_s=chosen.speed_m_s,
        turn_after_s=np.zeros(row.size),
        delta_v_m_s=chosen.cost_m_s,
        lowest_m=np.minimum(np.minimum(flown_other, ring.radius_m), before),
        highest_m=np.maximum(np.maximum(flown_other, ring.radius_m), before),
    )
    return columns.take(within_wait(columns, touch.wait_within_s))


def passes_of(touch: Touch, start: Standing, floor_m: float, ceiling_m: float) -> range:
    """How many touches a craft may let by before its first burn: none where it is on the ring, or unsafe."""
    other = start.other_m
    safe = other >= floor_m * (1.0 - LIMIT_SLACK) and other <= ceiling_m * (1.0 + LIMIT_SLACK)
    return range(1 if start.on_ring or not safe else touch.revolutions_max + 1)


def within_wait(columns: Options, wait_within_s: float) -> np.ndarray:
    """Mask of the options in their slot soon enough after first reaching the ring."""
    return np.asarray(columns.finish_s - columns.touch_s <= wait_within_s * (1.0 + LIMIT_SLACK))
