"""Which options pass too near to the place of a craft that is already in its slot.

Every return of a phasing orbit touches the ring, and may do so exactly where another slot is: after i of k returns
whenever i L / k is as far as from the own slot to another. The departure from the ring is a touch like the others.
Craft that start together do not count against one another until they are first outside the separation.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ...models import frames, meetings
from ...models.arrays import Mask, Rows
from ...models.deadline import poll
from ...models.ring import Ring
from .options import F, I, Options

EPOCH_S = 1e-6
"""A craft in space that touches the ring no later than this has come by no way that counts."""


@dataclass(frozen=True, kw_only=True)
class Touches(Rows):
    """Touches of the ring of one set of options, for the i-th return of each: arrays of length n, nan where none.

    ``arriving_m_s`` speed before the touch (nan where the craft was on the ring or nowhere), ``leaving_m_s`` after.
    ``first`` marks options that touch the ring here for the first time.
    """

    time_s: F
    lead_rad: F
    arriving_m_s: F
    leaving_m_s: F
    first: Mask

    def apart(self, ring: Ring, ahead_of_slot_rad: F) -> F:
        """Distance along the ring to another craft so far ahead of each option's own slot, m; (n,)."""
        return np.asarray(np.abs(frames.wrap(self.lead_rad + ahead_of_slot_rad)) * ring.radius_m)

    def height_m(self, ring: Ring) -> F:
        """How far from the ring's radius the orbit leads that a craft leaves in, m; (n,)."""
        semi = 1.0 / (2.0 / ring.radius_m - self.leaving_m_s**2 / ring.gm)
        return np.asarray(2.0 * np.abs(semi - ring.radius_m))


def touches(options: Options, ring: Ring, arrival_speed_m_s: F, on_ring: Mask) -> list[Touches]:
    """All touches before the last burn, in order of time; a touch that an option lacks is nan.

    ``arrival_speed_m_s`` is the speed on the orbit that first touches the ring, (n,); ``on_ring`` marks craft that
    start on the ring: they arrive nowhere, and neither does a craft in space that begins with a touch.
    """
    begun, by_touches = options.way < 0, _by_touches(options)
    found = []
    period = options.phasing_s / np.maximum(options.revolutions, 1)
    before, rode_m_s = _rode(options, arrival_speed_m_s)
    rode_s = (2.0 - (rode_m_s / ring.speed_m_s) ** 2) ** -1.5 * ring.period_s
    after = options.passes - before
    change_s = options.touch_s + before * np.where(before > 0, rode_s, 0.0)
    passing = np.where(after > 0, (options.burn_s - change_s) / np.maximum(after, 1), 0.0)
    for i in range(int(options.passes.max(initial=0))):
        live = (options.passes > i) & by_touches
        time = np.where(i < before, options.touch_s + i * rode_s, change_s + (i - before) * passing)
        time = np.where(live, time, np.nan)
        lead = options.lead_rad + ring.rate_rad_s * (time - options.burn_s)
        speed = np.where(live, np.where(i < before, rode_m_s, arrival_speed_m_s), np.nan)
        arriving = np.where((i == before) & (i > 0), rode_m_s, speed)
        arriving = np.where((begun & (time <= EPOCH_S)) | ~live, np.nan, arriving)
        first = live & (i == 0)
        found.append(Touches(time_s=time, lead_rad=lead, arriving_m_s=arriving, leaving_m_s=speed, first=first))
    for i in range(int(options.revolutions.max(initial=0))):
        live = (options.revolutions > i) & by_touches
        time = np.where(live, options.burn_s + i * period, np.nan)
        lead = options.lead_rad + ring.rate_rad_s * (time - options.burn_s)
        leaving = np.where(live, options.speed_m_s, np.nan)
        arriving = leaving
        if i == 0:
            arriving = np.where(
                on_ring | (begun & (time <= EPOCH_S)), np.nan, np.where(live, arrival_speed_m_s, np.nan)
            )
            arriving = np.where(live & (before > 0) & (after == 0), rode_m_s, arriving)
        first = live & (options.passes == 0) & (i == 0)
        found.append(Touches(time_s=time, lead_rad=lead, arriving_m_s=arriving, leaving_m_s=leaving, first=first))
    return found


def _rode(options: Options, speed_m_s: F) -> tuple[I, F]:
    """Passes of each in another orbit before the one that it first burns from, and its speed at the ring there."""
    before, rode_m_s = np.zeros(len(options), dtype=np.int64), speed_m_s.copy()
    for rows, table in options.detailed():
        rode = table.rode()
        if rode is not None:
            before[rows], rode_m_s[rows] = rode
    return before, np.where(before > 0, rode_m_s, 0.0)


def _by_touches(options: Options) -> Mask:
    """Mask of the options that are near the ring at its touches alone."""
    out = np.ones(len(options), dtype=bool)
    for rows, table in options.detailed():
        out[rows] = table.at_touches()
    return out


def passed(touch: Touches, ring: Ring, ahead_of_slot_rad: F, separation_m: float) -> tuple[Mask, F]:
    """Whether another craft on the ring is passed too closely at a touch, and until when that lasts, s; both (n,).

    ``ahead_of_slot_rad`` is how far that craft is ahead of the option's own slot. What is over by the epoch does not
    count.
    """
    (live,) = np.nonzero(np.isfinite(touch.time_s))
    if live.size < touch.time_s.size:
        hit, until = np.zeros(touch.time_s.size, dtype=bool), np.full(touch.time_s.size, np.nan)
        hit[live], until[live] = passed(touch.take(live), ring, ahead_of_slot_rad[live], separation_m)
        return hit, until
    ahead = frames.wrap(touch.lead_rad + ahead_of_slot_rad)
    hit, until = meetings.passes_within(ring, touch.arriving_m_s, ahead, separation_m, before=True)
    with np.errstate(invalid="ignore"):
        hit = hit & (touch.time_s + until >= 0.0)
    after, later = meetings.passes_within(ring, touch.leaving_m_s, ahead, separation_m, before=False)
    # the way to a later touch is the way from the one before it
    arriving = np.where(touch.first, touch.arriving_m_s, np.nan)
    round_before, until_before = meetings.passes_around(
        ring, arriving, ahead, separation_m, before=True, since_s=-touch.time_s
    )
    round_after, until_after = meetings.passes_around(ring, touch.leaving_m_s, ahead, separation_m, before=False)
    until = np.fmax(np.fmax(until, later), np.fmax(until_before, until_after))
    return hit | after | round_before | round_after, touch.time_s + until


def passes_each(
    options: Options, ring: Ring, arrival_speed_m_s: F, on_ring: Mask, wanted: Mask, separation_m: float, together: Mask
) -> list[dict[int, float]]:
    """For each option the slots of others in its plane that it passes too closely, as in `passes_slots`.

    ``wanted`` and ``together``, (n, n), mark for each option whose slots are asked, and who starts together with it.
    """
    found: list[dict[int, float]] = [{} for _ in range(len(options))]
    by_touches, slots = _by_touches(options), options.slot
    for row in np.flatnonzero(~by_touches).tolist():
        one, asked = np.array([row]), wanted[row]
        found[row] = passes_slots(
            options.take(one),
            ring,
            arrival_speed_m_s[one],
            on_ring[one],
            slots[asked],
            separation_m,
            together[row, asked],
        )
    plane = slots // ring.slots
    rows, others = np.nonzero(wanted & (plane[:, None] == plane[None, :]) & by_touches[:, None])
    if separation_m <= 0.0 or not rows.size:
        return found
    ahead = ring.ahead(slots[others]) - ring.ahead(slots[rows])
    way = touches(options.take(rows), ring, arrival_speed_m_s[rows], on_ring[rows])
    for _, hit, until in passes_in_turn(way, ring, ahead, separation_m, together[rows, others]):
        for row, slot, time in zip(rows[hit].tolist(), slots[others[hit]].tolist(), until[hit].tolist(), strict=True):
            found[row][slot] = max(found[row].get(slot, time), time)
    return found


def passes_in_turn(
    found: Sequence[Touches], ring: Ring, ahead_of_slot_rad: F, separation_m: float, together: Mask
) -> Iterator[tuple[Touches, Mask, F]]:
    """Each touch with what `passed` says of it; where craft start ``together`` only once they were outside the limit.

    They were where a touch lies outside it, or where the orbit between two touches leads farther than that from the
    ring. ``found`` is in order of time, ``together`` (n,).
    """
    apart = ~together
    for touch in found:
        poll()
        if not apart.all():
            apart = apart | (touch.apart(ring, ahead_of_slot_rad) >= separation_m)
        hit, until = passed(touch, ring, ahead_of_slot_rad, separation_m)
        yield touch, hit & apart, until
        if not apart.all():
            apart = apart | (touch.height_m(ring) >= separation_m)


def meets_kept(
    options: Options,
    ring: Ring,
    arrival_speed_m_s: F,
    on_ring: Mask,
    kept_angle_rad: F,
    kept_plane: I,
    separation_m: float,
    together: Mask,
) -> Mask:
    """Mask of options that pass a craft which stays in the ring. ``kept_angle_rad``: their angles at time 0.

    Those of the option's own plane: where planes cross the flight is examined instead. ``together`` marks who starts
    together with whom, (n, kept).
    """
    hit = np.zeros(len(options), dtype=bool)
    if separation_m <= 0.0 or not kept_angle_rad.size or not len(options):
        return hit
    own = ring.phase(0.0, options.slot)
    found = touches(options, ring, arrival_speed_m_s, on_ring)
    for column, (angle, plane) in enumerate(zip(kept_angle_rad, kept_plane, strict=True)):
        for _, near, _ in passes_in_turn(found, ring, angle - own, separation_m, together[:, column]):
            hit |= near & (options.slot // ring.slots == plane)
    for rows, table in options.detailed():
        for at, row in enumerate(rows.tolist() if not table.by_touches else ()):
            plane = int(options.slot[row]) // ring.slots
            own = kept_plane == plane
            angles, alike = kept_angle_rad[own], together[row, own]
            hit[row] = own.any() and table.passes(at, ring.of_plane(plane), angles, separation_m, alike)[0].any()
    return hit


def meets_any_slot(options: Options, ring: Ring, arrival_speed_m_s: F, on_ring: Mask, separation_m: float) -> Mask:
    """Mask of options that pass the slot of another craft too closely, whether anybody is there or not.

    At each touch the nearest slot is examined, and with slots that are not equally spaced the next on either side.
    """
    hit = np.zeros(len(options), dtype=bool)
    if separation_m <= 0.0 or not len(options):
        return hit
    for touch in touches(options, ring, arrival_speed_m_s, on_ring):
        nearest = ring.nearest(ring.ahead(options.slot) - np.nan_to_num(touch.lead_rad))
        for by in (-1, 0, 1) if ring.pattern_rad else (0,):
            slot = (nearest + by) % ring.slots
            close = passed(touch, ring, ring.ahead(slot) - ring.ahead(options.slot), separation_m)[0]
            hit |= close & (slot != options.slot % ring.slots)
    return hit


def meets_slot(options: Options, ring: Ring, arrival_speed_m_s: F, slot: int, separation_m: float) -> Mask:
    """Mask of launched options that pass one slot of their plane too closely, (n,)."""
    hit = np.zeros(len(options), dtype=bool)
    if separation_m <= 0.0 or not len(options):
        return hit
    ahead = ring.ahead(slot) - ring.ahead(options.slot)
    for touch in touches(options, ring, arrival_speed_m_s, np.zeros(len(options), dtype=bool)):
        hit |= passed(touch, ring, ahead, separation_m)[0]
    in_plane: Mask = options.slot // ring.slots == slot // ring.slots
    return hit & in_plane


def last_passes(options: Options, ring: Ring, arrival_speed_m_s: F, slots: I, separation_m: float) -> F:
    """When each option from a carrier last passes another slot of its plane too closely before it is in its own, s.

    Its own touches of the ring, and the carrier's while it is on board. ``slots`` has one for each option, (n,); -inf
    where it never does.
    """
    found = np.full(len(options), -np.inf)
    if separation_m <= 0.0 or not len(options):
        return found
    ahead = ring.ahead(slots) - ring.ahead(options.slot)
    for touch in touches(options, ring, arrival_speed_m_s, np.zeros(len(options), dtype=bool)):
        poll()
        hit = passed(touch, ring, ahead, separation_m)[0] & (options.slot // ring.slots == slots // ring.slots)
        found[hit] = np.fmax(found[hit], touch.time_s[hit])
    return found


def passes_slots(
    option: Options,
    ring: Ring,
    arrival_speed_m_s: F,
    on_ring: Mask,
    slots: I,
    separation_m: float,
    together: Mask | None = None,
) -> dict[int, float]:
    """The slots, of ``slots`` in its plane, that an option passes too closely, each with the last time of that, s.

    ``together`` marks the slots of those that it starts together with; None: of none.
    """
    found: dict[int, float] = {}
    own = slots // ring.slots == option.slot[0] // ring.slots
    together = np.zeros(own.sum(), dtype=bool) if together is None else together[own]
    slots = slots[own]
    if separation_m <= 0.0 or not slots.size:
        return found
    for _, table in option.detailed():
        if not table.by_touches:
            plane = ring.of_plane(int(option.slot[0]) // ring.slots)
            near, until = table.passes(0, plane, ring.phase(0.0, slots), separation_m, together)
            return dict(zip(slots[near].tolist(), until[near].tolist(), strict=True))
    ahead = ring.ahead(slots) - ring.ahead(option.slot[0])
    many = option.take(np.zeros(slots.size, dtype=np.int64))
    speed, start = np.repeat(arrival_speed_m_s, slots.size), np.repeat(on_ring, slots.size)
    for _, hit, until in passes_in_turn(touches(many, ring, speed, start), ring, ahead, separation_m, together):
        for slot, time in zip(slots[hit].tolist(), until[hit].tolist(), strict=True):
            found[slot] = max(found.get(slot, time), time)
    return found
