"""Which options pass through the place of a craft that is already in its slot.

Every return of a phasing orbit touches the ring, and may do so exactly where another slot is: after i of k returns
whenever i L / k is a multiple of the slot spacing. A craft that starts on the ring leaves its own starting point, so
its departure is no meeting.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..models import meetings, orbits
from ..models.ring import Ring
from .options import F, I, Options


@dataclass(frozen=True, kw_only=True)
class Touches:
    """Touches of the ring of one set of options, for the i-th return of each: arrays of length n, nan where none.

    ``arriving_m_s`` speed before the touch (nan where the craft was on the ring or nowhere), ``leaving_m_s`` after.
    """

    time_s: F
    lead_rad: F
    arriving_m_s: F
    leaving_m_s: F


def touches(options: Options, ring: Ring, arrival_speed_m_s: F, on_ring: NDArray[np.bool_]) -> list[Touches]:
    """All touches before the last burn, one item for each pass and return; a touch that an option lacks is nan.

    ``arrival_speed_m_s`` is the speed on the orbit that first touches the ring, (n,); ``on_ring`` marks craft that
    start on the ring.
    """
    found = []
    period = (options.finish_s - options.burn_s) / np.maximum(options.revolutions, 1)
    passing = np.where(options.passes > 0, (options.burn_s - options.touch_s) / np.maximum(options.passes, 1), 0.0)
    for i in range(int(options.passes.max(initial=0))):
        live = options.passes > i
        time = np.where(live, options.touch_s + i * passing, np.nan)
        lead = options.lead_rad + ring.rate_rad_s * (time - options.burn_s)
        speed = np.where(live, arrival_speed_m_s, np.nan)
        found.append(Touches(time_s=time, lead_rad=lead, arriving_m_s=speed, leaving_m_s=speed))
    for i in range(int(options.revolutions.max(initial=0))):
        live = (options.revolutions > i) & ~(on_ring & (i == 0))
        time = np.where(live, options.burn_s + i * period, np.nan)
        lead = options.lead_rad + ring.rate_rad_s * (time - options.burn_s)
        leaving = np.where(live, options.speed_m_s, np.nan)
        arriving = np.where(live, arrival_speed_m_s, np.nan) if i == 0 else leaving
        found.append(Touches(time_s=time, lead_rad=lead, arriving_m_s=arriving, leaving_m_s=leaving))
    return found


def met(touch: Touches, ring: Ring, ahead_of_slot_rad: F, since_s: F, separation_m: float) -> NDArray[np.bool_]:
    """Whether somebody on the ring is met at a touch, (n,).

    Args:
        touch: the touches, (n,).
        ahead_of_slot_rad: how far that somebody is ahead of the option's own slot.
        since_s: when that somebody is in place; distances count from then on.
        separation_m: distance to keep.
    """
    ahead = orbits.wrap(touch.lead_rad + ahead_of_slot_rad)
    hit = np.zeros(ahead.shape, dtype=bool)
    for speed, before in ((touch.arriving_m_s, True), (touch.leaving_m_s, False)):
        with np.errstate(invalid="ignore"):
            near = np.abs(ahead) <= meetings.near_angle(ring, speed, separation_m)
        (which,) = np.nonzero(near)
        if not which.size:
            continue
        distance, when = meetings.closest(ring, speed[which], ahead[which], before=before, after=not before)
        late = np.broadcast_to(since_s, ahead.shape)[which] <= touch.time_s[which] + when
        hit[which] |= (distance < separation_m) & late
    return hit


def meets_kept(
    options: Options,
    ring: Ring,
    arrival_speed_m_s: F,
    on_ring: NDArray[np.bool_],
    kept_angle_rad: F,
    separation_m: float,
) -> NDArray[np.bool_]:
    """Mask of options that pass a craft which stays in the ring. ``kept_angle_rad``: their angles at time 0."""
    hit = np.zeros(len(options), dtype=bool)
    if separation_m <= 0.0 or not kept_angle_rad.size or not len(options):
        return hit
    own = ring.phase(0.0, options.slot)
    for touch in touches(options, ring, arrival_speed_m_s, on_ring):
        for angle in kept_angle_rad:
            hit |= met(touch, ring, angle - own, np.asarray(-np.inf), separation_m)
    return hit


def meets_slots(
    option: Options,
    ring: Ring,
    arrival_speed_m_s: F,
    on_ring: NDArray[np.bool_],
    slots: I,
    since_s: F,
    separation_m: float,
) -> I:
    """Indices into ``slots`` of the craft, in place since ``since_s`` (both (q,)), that a single option passes."""
    hit = np.zeros(slots.size, dtype=bool)
    if separation_m > 0.0:
        ahead = (slots - option.slot[0]) * ring.spacing_rad
        for touch in touches(option, ring, arrival_speed_m_s, on_ring):
            spread = Touches(
                time_s=np.repeat(touch.time_s, slots.size),
                lead_rad=np.repeat(touch.lead_rad, slots.size),
                arriving_m_s=np.repeat(touch.arriving_m_s, slots.size),
                leaving_m_s=np.repeat(touch.leaving_m_s, slots.size),
            )
            hit |= met(spread, ring, ahead, since_s, separation_m)
    return np.nonzero(hit)[0]
