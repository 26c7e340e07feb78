"""What craft may do that a carrier drops, and what the carrier may: every pass, every slot.

On arrival at the ring the carrier stays in the orbit it came by, or burns into one whose period is p / N of the ring's,
which brings another slot to the touching point on every pass (``models/carriers.py``). A craft dropped on some pass
makes its own burns from then on: one, if its slot is there, or two around k revolutions of a phasing orbit. What it
pays counts from the carrier's speed; what the carrier pays is the carrier's.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...models import frames, launch, orbits
from ...models.carriers import carrier_orbits
from ...models.deadline import poll
from ...models.memory import need
from ...models.ring import Ring
from ...models.scenario import UpperStage
from ...models.upper_stage import paid_by_stage
from ..problem.detail import Detail
from ..problem.options import F, I, Options, join
from ..problem.phasing import LEVEL_RAD, LIMIT_SLACK, Phasings, Touch, Wanted, best_phasing, every_phasing
from ..problem.problem import Aboard
from .carrier_bundles import CHOICE_BYTES, LastPasses, bundles, of_use, unbeaten_that_keep

STEPS_BEYOND = 2
"""Carrier orbits above the ring are examined up to this many times the ring's period, where no ceiling says less."""


BLOCK_LIFTOFFS = 64
"""Most liftoffs worked on together."""

BLOCK_CHOICES = 1 << 22
"""Most choices (liftoff, wait, carrier orbit, pass, slot, turns) worked on together, unless one liftoff has more."""

ALIKE_M_S = 1e-8
"""Speeds this close are one."""


Keeps = Callable[[Options], NDArray[np.bool_]]


@dataclass(frozen=True, kw_only=True)
class Drops(Detail):
    """Speed at the ring of the orbit from which the carrier drops each craft, m/s.

    ``touch_s`` of an option is then the carrier's, ``passes`` are its passes from then on, ``burn_s`` is the drop.
    """

    speed_m_s: F

    def arrival_speed_m_s(self) -> F:
        """See `Detail`."""
        return self.speed_m_s


@dataclass(frozen=True, kw_only=True)
class Asked:
    """Slots to look at together, all of one plane, and how a craft may phase into them."""

    slots: tuple[int, ...]
    touch: Touch
    wanted: Wanted | None = None


@dataclass(frozen=True, kw_only=True)
class Load:
    """A carrier on one way up, and what it may do.

    Args:
        asked: the slots of the plane that the way leads to.
        way, way_index: how the carrier gets to the ring.
        aboard: who is on board.
        finish_s: latest finish.
        keeps: which rows keep the other limits (floor, ceiling, craft in place); asked before bundles are made.
        last_passes: when each row last passes each of some slots too closely, (n, slots), -inf for never.
        apart_s: least time between drops.
        prune: whether phasing that another beats in delta-v and time is left out.
        stage: the launcher's, where it pays the carrier's first burns.
    """

    asked: Sequence[Asked]
    way: launch.Ascent
    way_index: int
    aboard: Aboard
    finish_s: float
    keeps: Keeps
    last_passes: LastPasses
    apart_s: float = 0.0
    prune: bool = True
    stage: UpperStage | None = None

    @property
    def slots(self) -> I:
        """All slots asked about."""
        return np.array([slot for each in self.asked for slot in each.slots])

    @property
    def touch(self) -> Touch:
        """How it arrives."""
        return self.asked[0].touch

    @property
    def speeds(self) -> list[tuple[float, bool]]:
        """See `speeds`, as far as carrier and upper stage can pay together."""
        able_m_s = self.aboard.carrier.delta_v_m_s + (0.0 if self.stage is None else self.stage.delta_v_m_s)
        return speeds(self.touch, self.way, able_m_s)

    def own_m_s(self, waited_s: F, speed_m_s: float) -> F:
        """What the carrier itself pays to get into a drop orbit after each wait in the parking orbit."""
        way, stage = self.way, self.stage
        sizes = np.array([way.entry_delta_v_m_s, abs(speed_m_s - way.arrival_speed_m_s)])
        if stage is None:
            return np.full(waited_s.size, sizes.sum())
        after = np.stack([waited_s, waited_s + way.after_s - way.insertion_after_s], axis=-1)
        return np.asarray(sizes.sum() - paid_by_stage(stage, np.broadcast_to(sizes, after.shape), after).sum(axis=-1))


@dataclass(frozen=True, kw_only=True)
class Round:
    """Arrivals of a carrier, and the orbit in which it comes round from there.

    Args:
        liftoff_s, waited_s: of each arrival, with its wait in the parking orbit, (n,).
        group: number of each, which rows that may be in one load share, (n,).
        lead_rad: of each slot on arrival, by slot, (n,) each.
        speed_m_s, period_s, other_m: at the ring, and other apsis, of the orbit that it comes round in.
        passes: those on which it may drop.
    """

    liftoff_s: F
    waited_s: F
    group: I
    lead_rad: dict[int, F]
    speed_m_s: float
    period_s: float
    other_m: float
    passes: I


def speeds(touch: Touch, way: launch.Ascent, able_m_s: float) -> list[tuple[float, bool]]:
    """Speeds at the ring of the orbits that a carrier may drop from, and whether it can come round in each.

    The orbit it arrived by comes first: it costs nothing. Then those that bring slot after slot, the cheapest first,
    as far as ``able_m_s`` goes, from the insertion on.
    """
    ring = touch.ring
    arrival = way.arrival_speed_m_s
    other = float(orbits.other_apsis(ring.gm, ring.radius_m, arrival))
    safe = touch.floor_m <= other * (1.0 + LIMIT_SLACK) and other <= touch.ceiling_m * (1.0 + LIMIT_SLACK)
    level = abs(arrival - ring.speed_m_s) < ALIKE_M_S
    found = [(arrival, safe and not level)]
    ceiling = min(touch.ceiling_m, 2.0 * ring.radius_m * STEPS_BEYOND ** (2.0 / 3.0) - ring.radius_m)
    drops = carrier_orbits(replace(ring, planes=1), arrival_speed_m_s=arrival, floor_m=touch.floor_m, ceiling_m=ceiling)
    kept = drops.entry_delta_v_m_s + way.entry_delta_v_m_s <= able_m_s + 1e-9
    order = np.argsort(drops.entry_delta_v_m_s[kept], kind="stable")
    for ratio in drops.ratio[kept][order].tolist():
        speed = float(touch.speed(np.array(ratio)))
        if abs(speed - arrival) > 1e-6:
            found.append((speed, True))
    return found if way.entry_delta_v_m_s <= able_m_s + 1e-9 else []


def turn_s(ring: Ring, speed_m_s: float) -> float:
    """Period of an orbit with that speed at the ring, s: the share of the ring's own that it has with two bodies."""
    semi = float(orbits.semi_major_from_speed(ring.gm, ring.radius_m, speed_m_s))
    return float((semi / ring.radius_m) ** 1.5 * ring.period_s)


def options(load: Load, liftoff_s: F) -> Options:
    """Bundles for each liftoff: one row for each craft on board, each in a separate slot; ``liftoff_s`` (n,)."""
    parts: list[Options] = []
    each, drop_orbits = _choices(load), len(load.speeds)
    block = min(max(BLOCK_CHOICES // max(each * drop_orbits, 1), 1), BLOCK_LIFTOFFS)
    for first in range(0, liftoff_s.size if drop_orbits else 0, block):
        times = liftoff_s[first : first + block]
        need(each * times.size * CHOICE_BYTES)
        for rows, group in _rows(load, times):
            order = np.lexsort((rows.delta_v_m_s, rows.finish_s, group))
            parts.append(
                bundles(rows.take(order), group[order], load.aboard, load.slots, load.last_passes, load.apart_s)
            )
    return join(parts)


def _choices(load: Load) -> int:
    """How many choices one liftoff comes to in one carrier orbit, those outside the limits counted."""
    slots = load.slots.size
    waits = 1 if load.way.parking_rate_rad_s is None else 1 + slots
    return max(waits * slots * (load.aboard.carrier.passes_max + 1) * (load.touch.ring_revolutions_max + 1), 1)


def _rows(load: Load, liftoff_s: F) -> list[tuple[Options, I]]:
    """Options of one craft dropped by the carrier within the limits that are of use, with the group (liftoff, wait,
    carrier orbit) of each: among all of them, and among those that are dropped at their slots."""
    found: list[list[tuple[Options, I]]] = [[], []]
    way, ring, most, entries = load.way, load.touch.ring, load.aboard.carrier.passes_max, load.speeds
    lead0 = {slot: launch.lead_on_arrival(ring, way, liftoff_s, np.array(slot)) for slot in load.slots.tolist()}
    waits = _waits(load.touch, way, lead0)
    waited = np.concatenate(waits)
    gain = (way.parking_rate_rad_s or ring.rate_rad_s) - ring.rate_rad_s
    lead = {slot: np.tile(own, len(waits)) - gain * waited for slot, own in lead0.items()}
    wait, liftoff = np.divmod(np.arange(waited.size), liftoff_s.size)
    for number, (speed, comes_round) in enumerate(entries):
        able = load.own_m_s(waited, speed) <= load.aboard.carrier.delta_v_m_s + 1e-9
        able &= liftoff_s[liftoff] >= load.aboard.ready_s - 1e-6
        semi = float(orbits.semi_major_from_speed(ring.gm, ring.radius_m, speed))
        turn = Round(
            liftoff_s=liftoff_s[liftoff[able]],
            waited_s=waited[able],
            group=((wait * len(entries) + number) * liftoff_s.size + liftoff)[able],
            lead_rad={slot: own[able] for slot, own in lead.items()},
            speed_m_s=speed,
            period_s=turn_s(ring, speed),
            other_m=2.0 * semi - ring.radius_m,
            passes=np.arange(most + 1 if comes_round else 1),
        )
        parts, groups = [], []
        for each in load.asked:
            poll()
            made, group = _drops(load, each, turn)
            parts.append(made)
            groups.append(group)
        rows, group = join(parts), np.concatenate(groups)
        order = np.lexsort((rows.delta_v_m_s, rows.finish_s, group))
        rows, group = rows.take(order), group[order]
        (straight,) = np.nonzero(rows.revolutions == 0)
        for family, own in zip(found, (np.arange(len(rows)), straight), strict=True):
            use = own[_of_use(load, rows.take(own), group[own])]
            family.append((rows.take(use), group[use]))
    return [(join([rows for rows, _ in family]), np.concatenate([group for _, group in family])) for family in found]


def _of_use(load: Load, rows: Options, group: I) -> I:
    """The rows of use among those that keep what is asked of their path; of each pass, where drops are apart."""
    if load.apart_s > 0.0:
        group = group * (load.aboard.carrier.passes_max + 1) + rows.passes
    return unbeaten_that_keep(
        len(rows),
        lambda own: of_use(rows.slot[own], rows.delta_v_m_s[own], group[own]),
        lambda own: load.keeps(rows.take(own)),
    )


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


def _drops(load: Load, each: Asked, turn: Round) -> tuple[Options, I]:
    """Drops on every pass into every slot that are in time and that some craft aboard can pay, and their groups."""
    way, ring, passes = load.way, each.touch.ring, turn.passes
    slots = np.array(each.slots)
    arrived = turn.liftoff_s + turn.waited_s + way.after_s
    dropped = arrived[:, None] + passes * turn.period_s
    lasts_s = turn.liftoff_s + way.insertion_after_s + load.aboard.carrier.lasts_s
    open_ = dropped <= np.minimum(load.finish_s, lasts_s)[:, None] + 1e-6
    open_ &= dropped - arrived[:, None] <= each.touch.wait_within_s * (1.0 + LIMIT_SLACK)
    time, slot, number = np.nonzero(np.broadcast_to(open_[:, None], (arrived.size, slots.size, passes.size)))
    at_touch = np.stack([turn.lead_rad[slot] for slot in each.slots], axis=1)
    turned = np.remainder(passes * (turn.period_s / ring.period_s), 1.0) * 2.0 * math.pi
    lead = frames.wrap(at_touch[time, slot] + turned[number])
    lead[np.abs(lead) < 4.0 * LEVEL_RAD] = 0.0
    left_s = load.finish_s + 1e-6 - dropped.min(initial=math.inf, where=open_)
    touch = replace(
        each.touch, arrival_speed_m_s=turn.speed_m_s, wait_within_s=min(each.touch.wait_within_s, max(left_s, 0.0))
    )
    chosen: Phasings = (best_phasing if load.prune else every_phasing)(touch, lead, each.wanted)
    time, slot, number = time[chosen.row], slot[chosen.row], number[chosen.row]
    arrival, drop = arrived[time], dropped[time, number]
    other = orbits.other_apsis(ring.gm, ring.radius_m, chosen.speed_m_s)
    n = chosen.row.size
    rides = passes[number] > 0
    within = drop + chosen.wait_s - arrival <= each.touch.wait_within_s * (1.0 + LIMIT_SLACK)
    within &= drop + chosen.wait_s <= load.finish_s + 1e-6
    within &= chosen.cost_m_s <= load.aboard.allowed_m_s.max(initial=0.0) + 1e-9
    low = np.minimum(np.minimum(other, ring.radius_m), np.where(rides, turn.other_m, ring.radius_m))
    made = Options(
        craft_class=np.full(n, int(load.aboard.craft_class[0])),
        slot=slots[slot],
        pad=np.full(n, way.pad),
        way=np.full(n, load.way_index),
        liftoff_s=turn.liftoff_s[time],
        parking_wait_s=turn.waited_s[time],
        passes=passes[number],
        revolutions=chosen.revolutions,
        ring_revolutions=chosen.ring_revolutions,
        touch_s=arrival,
        burn_s=drop,
        finish_s=drop + chosen.wait_s,
        lead_rad=lead[chosen.row],
        speed_m_s=chosen.speed_m_s,
        delta_v_m_s=chosen.cost_m_s,
        lowest_m=np.minimum(low, way.insertion.radius_m),
        highest_m=np.maximum(np.maximum(other, ring.radius_m), np.where(rides, turn.other_m, 0.0)),
        bundle=np.zeros(n, dtype=np.int64),
    ).with_table(Drops(speed_m_s=np.full(n, turn.speed_m_s)))
    return made.take(within), turn.group[time[within]]
