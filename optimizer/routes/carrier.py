"""By carrier: several craft on one launch, dropped as the carrier touches the ring, each phasing on its own from there.

On arrival at the ring the carrier stays in the orbit it came by, or burns into one whose period is p / N of the ring's,
which brings another slot to the touching point on every pass (``models/carriers.py``). A craft dropped on some pass
makes its own burns from then on: one, if its slot is there, or two around k revolutions of a phasing orbit. What it
pays counts from the carrier's speed; what the carrier pays is the carrier's.

For one liftoff, parking wait and carrier orbit the craft choose independently of one another, so under every latest
finish the cheapest plan takes the cheapest option for each slot: the bundles made here are those, for every finish that
makes a difference. They are least in total, in the worst craft and in time at once; unlike craft are matched so that
who can pay less pays less.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...models import frames, launch, orbits
from ...models.carriers import carrier_orbits
from ...models.deadline import poll
from ...models.memory import need
from ...models.scenario import Carrier, UpperStage
from ...models.upper_stage import paid_by_stage
from .options import ROUTES, F, I, Options, empty, join
from .phasing import LEVEL_RAD, LIMIT_SLACK, Phasings, Touch, Wanted, best_phasing, every_phasing

STEPS_BEYOND = 2
"""Carrier orbits above the ring are examined up to this many times the ring's period, where no ceiling says less."""

SUBSETS_MAX = 64
"""Most ways to pick the slots that one carrier fills; where there are more, only runs of neighboring slots are."""

BLOCK_LIFTOFFS = 64
"""Most liftoffs worked on together."""

BLOCK_CHOICES = 1 << 22
"""Most choices (liftoff, wait, carrier orbit, pass, slot, turns) worked on together, unless one liftoff has more."""

CHOICE_BYTES = 60.0
"""What a choice takes at the most; few of them are within the limits, and only those are written down."""

ALIKE_M_S = 1e-8
"""Speeds this close are one."""

DROP_S = 1.0
"""A craft that gets into its slot this shortly before the carrier leaves there is only just being dropped."""


@dataclass(frozen=True, kw_only=True)
class Aboard:
    """A carrier and the craft on it, those that can pay least first: class and most delta-v of each."""

    carrier: Carrier
    craft_class: I
    allowed_m_s: F
    ready_s: float


@dataclass(frozen=True, kw_only=True)
class Asked:
    """Slots to look at together, all of one plane, and how a craft may phase into them."""

    slots: tuple[int, ...]
    touch: Touch
    wanted: Wanted | None = None


LastPasses = Callable[[Options, I], F]
Keeps = Callable[[Options], NDArray[np.bool_]]


def speeds(touch: Touch, way: launch.Ascent, able_m_s: float) -> list[tuple[float, bool]]:
    """Speeds at the ring of the orbits that a carrier may drop from, and whether it can come round in each.

    The orbit it arrived by comes first: it costs nothing. Then those that bring slot after slot, the cheapest first,
    as far as ``able_m_s`` goes, from the insertion on.
    """
    ring = touch.ring
    arrival = way.arrival_speed_m_s
    other = 2.0 * float(orbits.semi_major_from_speed(ring.gm, ring.radius_m, arrival)) - ring.radius_m
    safe = touch.floor_m <= other * (1.0 + LIMIT_SLACK) and other <= touch.ceiling_m * (1.0 + LIMIT_SLACK)
    level = abs(arrival - ring.speed_m_s) < ALIKE_M_S
    found = [(arrival, safe and not level)]
    ceiling = min(touch.ceiling_m, 2.0 * ring.radius_m * STEPS_BEYOND ** (2.0 / 3.0) - ring.radius_m)
    drops = carrier_orbits(replace(ring, planes=1), arrival_speed_m_s=arrival, floor_m=touch.floor_m, ceiling_m=ceiling)
    kept = drops.entry_delta_v_m_s + way.entry_delta_v_m_s <= able_m_s + 1e-9
    order = np.argsort(drops.entry_delta_v_m_s[kept], kind="stable")
    for step in drops.step[kept][order].tolist():
        speed = float(touch.speed(np.array(step / ring.slots)))
        if abs(speed - arrival) > 1e-6:
            found.append((speed, True))
    return found if way.entry_delta_v_m_s <= able_m_s + 1e-9 else []


def options(
    asked: Sequence[Asked],
    way: launch.Ascent,
    way_index: int,
    liftoff_s: F,
    aboard: Aboard,
    *,
    insertion_m: float,
    finish_s: float,
    keeps: Keeps,
    last_passes: LastPasses,
    prune: bool = True,
    stage: UpperStage | None = None,
) -> Options:
    """Bundles for each liftoff: one row for each craft on board, each in a separate slot.

    Args:
        asked: the slots of the plane that the way leads to.
        way, way_index: how the carrier gets to the ring.
        liftoff_s: (n,).
        aboard: who is on board.
        insertion_m: radius of the insertion.
        finish_s: latest finish.
        keeps: which rows keep the other limits (floor, ceiling, craft in place); asked before bundles are made.
        last_passes: when each row last passes each of some slots too closely, (n, slots), -inf for never.
        prune: whether phasing that another beats in delta-v and time is left out.
        stage: the launcher's, where it pays the carrier's first burns.
    """
    parts: list[Options] = []
    each = _choices(asked, way, aboard, stage)
    block = min(max(BLOCK_CHOICES // each, 1), BLOCK_LIFTOFFS)
    for first in range(0, liftoff_s.size, block):
        times = liftoff_s[first : first + block]
        need(each * times.size * CHOICE_BYTES)
        rows, group = _rows(asked, way, way_index, times, aboard, insertion_m, prune, stage)
        fits = (rows.finish_s <= finish_s + 1e-6) & (rows.delta_v_m_s <= aboard.allowed_m_s.max(initial=0.0) + 1e-9)
        fits &= rows.liftoff_s >= aboard.ready_s - 1e-6
        rows, group = rows.take(fits), group[fits]
        clear = keeps(rows)
        rows, group = rows.take(clear), group[clear]
        slots = np.array([s for a in asked for s in a.slots])
        order = np.lexsort((rows.delta_v_m_s, rows.finish_s, group))
        rows, group = rows.take(order), group[order]
        straight = rows.revolutions == 0
        families = [(rows, group), (rows.take(straight), group[straight])]
        for own, mine in families:
            use = _of_use(own, mine)
            parts.append(_bundles(own.take(use), mine[use], aboard, slots, last_passes))
    return join(parts)


def _choices(asked: Sequence[Asked], way: launch.Ascent, aboard: Aboard, stage: UpperStage | None) -> int:
    """How many choices one liftoff comes to, those outside the limits counted."""
    touch = asked[0].touch
    slots = sum(len(each.slots) for each in asked)
    waits = 1 if way.parking_rate_rad_s is None else 1 + slots
    orbits_round = [comes_round for _, comes_round in speeds(touch, way, _able(aboard.carrier, stage))]
    passes = sum(aboard.carrier.passes_max + 1 if comes_round else 1 for comes_round in orbits_round)
    return max(waits * slots * passes * (touch.ring_revolutions_max + 1), 1)


def _able(carrier: Carrier, stage: UpperStage | None) -> float:
    """What carrier and upper stage can pay together, m/s."""
    return carrier.delta_v_m_s + (0.0 if stage is None else stage.delta_v_m_s)


def _rows(
    asked: Sequence[Asked],
    way: launch.Ascent,
    way_index: int,
    liftoff_s: F,
    aboard: Aboard,
    insertion_m: float,
    prune: bool,
    stage: UpperStage | None,
) -> tuple[Options, I]:
    """Every option of one craft dropped by the carrier, and the group (liftoff, wait, carrier orbit) of each."""
    parts: list[Options] = []
    groups: list[I] = []
    carrier = aboard.carrier
    slots = [slot for each in asked for slot in each.slots]
    able = _able(carrier, stage)
    lead0 = {slot: launch.lead_on_arrival(asked[0].touch.ring, way, liftoff_s, np.array(slot)) for slot in slots}
    count = 0
    for waited in _waits(asked[0].touch, way, lead0):
        for speed, comes_round in speeds(asked[0].touch, way, able):
            ring = asked[0].touch.ring
            semi = float(orbits.semi_major_from_speed(ring.gm, ring.radius_m, speed))
            period = float(orbits.period(ring.gm, semi))
            passes = np.arange(carrier.passes_max + 1 if comes_round else 1)
            for each in asked:
                poll()
                touch = replace(each.touch, arrival_speed_m_s=speed)
                made, row = _drops(
                    touch, each, way, way_index, liftoff_s, waited, lead0, passes, period, 2.0 * semi - ring.radius_m,
                    insertion_m, prune,
                )  # fmt: skip
                made = replace(made, craft_class=np.full(len(made), int(aboard.craft_class[0])))
                after = made.burn_s - made.liftoff_s - way.insertion_after_s
                kept = (after <= carrier.lasts_s + 1e-6) & (_own(stage, way, made, speed) <= carrier.delta_v_m_s + 1e-9)
                parts.append(made.take(kept))
                groups.append(count + row[kept])
            count += liftoff_s.size
    if not parts:
        return empty(), np.zeros(0, dtype=np.int64)
    return join(parts), np.concatenate(groups)


def _own(stage: UpperStage | None, way: launch.Ascent, made: Options, speed_m_s: float) -> F:
    """What the carrier itself pays to get into its drop orbit, for each option, m/s."""
    sizes = np.array([way.entry_delta_v_m_s, abs(speed_m_s - way.arrival_speed_m_s)])
    if stage is None:
        return np.full(len(made), sizes.sum())
    inserted = made.liftoff_s + way.insertion_after_s
    after = np.stack([made.parking_wait_s, made.touch_s - inserted], axis=-1)
    return np.asarray(sizes.sum() - paid_by_stage(stage, np.broadcast_to(sizes, after.shape), after).sum(axis=-1))


def _waits(touch: Touch, way: launch.Ascent, lead0: dict[int, F]) -> list[F]:
    """Waits in the parking orbit that are worth a look: none, and until a slot is there on arrival."""
    none = np.zeros(next(iter(lead0.values())).size)
    if way.parking_rate_rad_s is None:
        return [none]
    gain = way.parking_rate_rad_s - touch.ring.rate_rad_s
    turn = 2.0 * math.pi
    waits = [
        np.maximum(np.remainder(np.sign(gain) * lead + LEVEL_RAD, turn) - LEVEL_RAD, 0.0) / abs(gain)
        for lead in lead0.values()
    ]
    return [none, *waits]


def _drops(
    touch: Touch,
    each: Asked,
    way: launch.Ascent,
    way_index: int,
    liftoff_s: F,
    waited: F,
    lead0: dict[int, F],
    passes: NDArray[np.int64],
    period_s: float,
    other_m: float,
    insertion_m: float,
    prune: bool,
) -> tuple[Options, I]:
    """Drops on every pass into every slot, and the liftoff (index) of each."""
    ring = touch.ring
    slots = np.array(each.slots)
    gain = (way.parking_rate_rad_s or ring.rate_rad_s) - ring.rate_rad_s
    shape = (liftoff_s.size, slots.size, passes.size)
    at_touch = np.stack([lead0[slot] for slot in each.slots], axis=1) - (gain * waited)[:, None]
    turned = np.remainder(passes * (period_s / ring.period_s), 1.0) * 2.0 * math.pi
    lead = frames.wrap(at_touch[:, :, None] + turned).ravel()
    lead[np.abs(lead) < 4.0 * LEVEL_RAD] = 0.0
    flat = np.indices(shape).reshape(3, -1)
    chosen: Phasings = (best_phasing if prune else every_phasing)(touch, lead, each.wanted)
    time, slot, number = flat[:, chosen.row]
    arrival = liftoff_s[time] + waited[time] + way.after_s
    drop = arrival + passes[number] * period_s
    other = 2.0 * orbits.semi_major_from_speed(ring.gm, ring.radius_m, chosen.speed_m_s) - ring.radius_m
    n = chosen.row.size
    rides = passes[number] > 0
    within = drop + chosen.wait_s - arrival <= touch.wait_within_s * (1.0 + LIMIT_SLACK)
    low = np.minimum(np.minimum(other, ring.radius_m), np.where(rides, other_m, ring.radius_m))
    made = Options(
        craft_class=np.zeros(n, dtype=np.int64),
        slot=slots[slot],
        route=np.full(n, ROUTES.index("carrier")),
        pad=np.full(n, way.pad),
        way=np.full(n, way_index),
        flight=np.full(n, -1),
        liftoff_s=liftoff_s[time],
        parking_wait_s=waited[time],
        passes=passes[number],
        revolutions=chosen.revolutions,
        ring_revolutions=chosen.ring_revolutions,
        touch_s=arrival,
        burn_s=drop,
        finish_s=drop + chosen.wait_s,
        lead_rad=lead[chosen.row],
        speed_m_s=chosen.speed_m_s,
        turn_after_s=np.zeros(n),
        delta_v_m_s=chosen.cost_m_s,
        lowest_m=np.minimum(low, insertion_m),
        highest_m=np.maximum(np.maximum(other, ring.radius_m), np.where(rides, other_m, 0.0)),
        bundle=np.zeros(n, dtype=np.int64),
        carrier_speed_m_s=np.full(n, touch.arrival_speed_m_s),
    )
    return made.take(within), time[within]


def _of_use(rows: Options, group: I) -> I:
    """The rows, sorted by group, finish and delta-v, that are cheaper than all before them of their group and slot."""
    order = np.lexsort((rows.slot, group))
    cost, number = rows.delta_v_m_s[order], np.zeros(len(rows), dtype=np.int64)
    number[1:] = np.cumsum((np.diff(group[order]) != 0) | (np.diff(rows.slot[order]) != 0))
    # ranks lowered from one run to the next turn the running minimum of each into one accumulate
    lowered = np.unique(cost, return_inverse=True)[1].reshape(-1) - number * (len(rows) + 1)
    kept = np.ones(len(rows), dtype=bool)
    kept[1:] = lowered[1:] < np.minimum.accumulate(lowered)[:-1]
    return np.sort(order[kept])


def _bundles(rows: Options, group: I, aboard: Aboard, slots: I, last_passes: LastPasses) -> Options:
    """Whole loads from the options of single craft: for each group and each finish that makes a difference.

    Rows are sorted by group, finish and delta-v, without those that are of no use. ``last_passes``: when each last
    passes each slot too closely.
    """
    size = aboard.craft_class.size
    if not len(rows) or size > slots.size:
        return empty()
    need(len(rows) * slots.size * CHOICE_BYTES)
    passed_s = last_passes(rows, slots)
    best = _best_so_far(rows, group, slots)
    found, picked = [], []
    for chosen in subsets(slots.size, size):
        poll()
        # only what goes into one of these slots makes a difference to them
        (own,) = np.nonzero(np.isin(rows.slot, slots[chosen]))
        index = best[own[:, None], chosen]
        whole = np.all(index >= 0, axis=1)
        own, index = own[whole], index[whole]
        if own.size:
            found.append(np.column_stack([own, index]))
            picked.append(chosen)
    if not found:
        return empty()
    for number, (part, chosen) in enumerate(zip(found, picked, strict=True)):
        # a craft in its slot may not be passed by one that is still under way; the drop itself is no meeting
        members = part[:, 1:]
        in_place = rows.finish_s[members][:, None, :] + DROP_S < passed_s[members[:, :, None], chosen]
        found[number] = part[~in_place.any(axis=(1, 2))]
    table = np.concatenate(found)
    subset = np.concatenate([np.full(len(part), number) for number, part in enumerate(found)])
    members = table[:, 1:]
    spent = rows.delta_v_m_s[members]
    # who can pay less pays less
    by_price = np.argsort(spent, axis=1, kind="stable")
    members, spent = np.take_along_axis(members, by_price, axis=1), np.take_along_axis(spent, by_price, axis=1)
    able = np.all(spent <= aboard.allowed_m_s + 1e-9, axis=1)
    members, spent, subset = members[able], spent[able], subset[able]
    finish = rows.finish_s[members].max(axis=1) if members.size else np.zeros(0)
    kept = _unbeaten(rows.liftoff_s[members[:, 0]], subset, spent.sum(axis=1), spent[:, -1], finish)
    members = members[kept]
    made = rows.take(members.ravel())
    return replace(
        made,
        craft_class=np.tile(aboard.craft_class, len(members)),
        bundle=np.repeat(np.arange(len(members)), size),
    )


def subsets(slots: int, size: int) -> list[list[int]]:
    """Which of so many slots one load may fill, as lists of positions.

    >>> subsets(4, 4), len(subsets(4, 2)), len(subsets(40, 6))
    ([[0, 1, 2, 3]], 6, 40)
    """
    if math.comb(slots, size) <= SUBSETS_MAX:
        return [list(chosen) for chosen in itertools.combinations(range(slots), size)]
    return [sorted((first + j) % slots for j in range(size)) for first in range(slots)]


def _best_so_far(rows: Options, group: I, slots: I) -> I:
    """For each row and each slot, the cheapest row of the same group that finishes no later; -1 where none does."""
    n = len(rows)
    cheap = np.argsort(rows.delta_v_m_s, kind="stable")
    rank = np.empty(n, dtype=np.int64)
    rank[cheap] = np.arange(n)
    # ranks lowered group by group turn the running minimum of each group into one accumulate
    number = np.cumsum(np.diff(group, prepend=group[0]) > 0)
    lowered = number * (n + 1)
    found = np.empty((n, slots.size), dtype=np.int64)
    for position, slot in enumerate(slots.tolist()):
        own = np.where(rows.slot == slot, rank, n) - lowered
        least = np.minimum.accumulate(own) + lowered
        found[:, position] = np.where(least < n, cheap[np.minimum(least, n - 1)], -1)
    return found


def _unbeaten(liftoff_s: F, subset: I, total: F, worst: F, finish_s: F) -> I:
    """Bundles that no quicker one of the same liftoff and slots beats, both in total and in the worst craft."""
    if not total.size:
        return np.zeros(0, dtype=np.int64)
    total, worst, finish = np.round(total, 8), np.round(worst, 8), np.round(finish_s, 5)
    order = np.lexsort((worst, total, finish, subset, liftoff_s))
    start = np.ones(order.size, dtype=bool)
    start[1:] = (np.diff(liftoff_s[order]) != 0.0) | (np.diff(subset[order]) != 0)
    kept = start.copy()
    for value in (total[order], worst[order]):
        ranks = np.unique(value, return_inverse=True)[1].reshape(-1)
        lowered = ranks - np.cumsum(start) * (order.size + 2)
        best = np.minimum.accumulate(lowered)
        kept[1:] |= lowered[1:] < best[:-1]
    return np.sort(order[kept])
