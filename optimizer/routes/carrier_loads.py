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
from ...models.scenario import UpperStage
from ...models.upper_stage import paid_by_stage
from ..problem.detail import Detail
from ..problem.options import F, I, Options, empty, join
from ..problem.phasing import LEVEL_RAD, LIMIT_SLACK, Phasings, Touch, Wanted, best_phasing, every_phasing
from ..problem.problem import Aboard
from .carrier_bundles import CHOICE_BYTES, LastPasses, bundles, of_use

STEPS_BEYOND = 2
"""Carrier orbits above the ring are examined up to this many times the ring's period, where no ceiling says less."""


BLOCK_LIFTOFFS = 64
"""Most liftoffs worked on together."""

BLOCK_CHOICES = 1 << 22
"""Most choices (liftoff, wait, carrier orbit, pass, slot, turns) worked on together, unless one liftoff has more."""

ROWS_TOGETHER = 1 << 17
"""Rows that are kept before their paths are examined, which leaves fewer of them."""

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
    prune: bool = True
    stage: UpperStage | None = None

    @property
    def touch(self) -> Touch:
        """How it arrives."""
        return self.asked[0].touch

    @property
    def speeds(self) -> list[tuple[float, bool]]:
        """See `speeds`, as far as carrier and upper stage can pay together."""
        able_m_s = self.aboard.carrier.delta_v_m_s + (0.0 if self.stage is None else self.stage.delta_v_m_s)
        return speeds(self.touch, self.way, able_m_s)

    def own_m_s(self, made: Options, speed_m_s: float) -> F:
        """What the carrier itself pays to get into its drop orbit, for each option."""
        way, stage = self.way, self.stage
        sizes = np.array([way.entry_delta_v_m_s, abs(speed_m_s - way.arrival_speed_m_s)])
        if stage is None:
            return np.full(len(made), sizes.sum())
        inserted = made.liftoff_s + way.insertion_after_s
        after = np.stack([made.parking_wait_s, made.touch_s - inserted], axis=-1)
        return np.asarray(sizes.sum() - paid_by_stage(stage, np.broadcast_to(sizes, after.shape), after).sum(axis=-1))


@dataclass(frozen=True, kw_only=True)
class Round:
    """Some liftoffs of a carrier that waits as long for each, and then comes round in one orbit.

    Args:
        liftoff_s, waited_s: (n,).
        lead0_rad: of each slot on arrival without a wait, (n,).
        speed_m_s, period_s, other_m: at the ring, and other apsis, of the orbit that it comes round in.
        passes: those on which it may drop.
    """

    liftoff_s: F
    waited_s: F
    lead0_rad: dict[int, F]
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
    for step in drops.step[kept][order].tolist():
        speed = float(touch.speed(np.array(step / ring.slots)))
        if abs(speed - arrival) > 1e-6:
            found.append((speed, True))
    return found if way.entry_delta_v_m_s <= able_m_s + 1e-9 else []


def options(load: Load, liftoff_s: F) -> Options:
    """Bundles for each liftoff: one row for each craft on board, each in a separate slot; ``liftoff_s`` (n,)."""
    parts: list[Options] = []
    aboard = load.aboard
    each = _choices(load)
    block = min(max(BLOCK_CHOICES // each, 1), BLOCK_LIFTOFFS)
    for first in range(0, liftoff_s.size, block):
        times = liftoff_s[first : first + block]
        need(each * times.size * CHOICE_BYTES)
        rows, group = _rows(load, times)
        slots = np.array([s for a in load.asked for s in a.slots])
        order = np.lexsort((rows.delta_v_m_s, rows.finish_s, group))
        rows, group = rows.take(order), group[order]
        straight = rows.revolutions == 0
        families = [(rows, group), (rows.take(straight), group[straight])]
        for own, mine in families:
            use = of_use(own, mine)
            parts.append(bundles(own.take(use), mine[use], aboard, slots, load.last_passes))
    return join(parts)


def _choices(load: Load) -> int:
    """How many choices one liftoff comes to, those outside the limits counted."""
    slots = sum(len(each.slots) for each in load.asked)
    waits = 1 if load.way.parking_rate_rad_s is None else 1 + slots
    passes = sum(load.aboard.carrier.passes_max + 1 if comes_round else 1 for _, comes_round in load.speeds)
    return max(waits * slots * passes * (load.touch.ring_revolutions_max + 1), 1)


def _rows(load: Load, liftoff_s: F) -> tuple[Options, I]:
    """Every option of one craft dropped by the carrier within the limits, and the group (liftoff, wait, carrier orbit)
    of each."""
    found: list[tuple[Options, I]] = []
    parts: list[Options] = []
    groups: list[I] = []
    carrier, way, ring = load.aboard.carrier, load.way, load.touch.ring
    slots = [slot for each in load.asked for slot in each.slots]
    lead0 = {slot: launch.lead_on_arrival(ring, way, liftoff_s, np.array(slot)) for slot in slots}
    count = 0
    for waited in _waits(load.touch, way, lead0):
        for speed, comes_round in load.speeds:
            semi = float(orbits.semi_major_from_speed(ring.gm, ring.radius_m, speed))
            turn = Round(
                liftoff_s=liftoff_s,
                waited_s=waited,
                lead0_rad=lead0,
                speed_m_s=speed,
                period_s=float(orbits.period(ring.gm, semi)),
                other_m=2.0 * semi - ring.radius_m,
                passes=np.arange(carrier.passes_max + 1 if comes_round else 1),
            )
            for each in load.asked:
                poll()
                made, row = _drops(load, each, turn)
                made = replace(made, craft_class=np.full(len(made), int(load.aboard.craft_class[0])))
                after = made.burn_s - made.liftoff_s - way.insertion_after_s
                kept = (after <= carrier.lasts_s + 1e-6) & (load.own_m_s(made, speed) <= carrier.delta_v_m_s + 1e-9)
                kept &= _fits(load, made)
                parts.append(made.take(kept))
                groups.append(count + row[kept])
            count += liftoff_s.size
            if sum(map(len, parts)) > ROWS_TOGETHER:
                found.append(_clear(load, parts, groups))
                parts, groups = [], []
    found.append(_clear(load, parts, groups))
    return join([rows for rows, _ in found]), np.concatenate([group for _, group in found])


def _fits(load: Load, rows: Options) -> NDArray[np.bool_]:
    """Mask of rows in time, that some craft aboard can pay, and not before all are ready."""
    most = load.aboard.allowed_m_s.max(initial=0.0)
    in_time = (rows.finish_s <= load.finish_s + 1e-6) & (rows.liftoff_s >= load.aboard.ready_s - 1e-6)
    return np.asarray(in_time & (rows.delta_v_m_s <= most + 1e-9))


def _clear(load: Load, parts: list[Options], groups: list[I]) -> tuple[Options, I]:
    """The rows that keep what is asked of their path, and their groups."""
    if not parts:
        return empty(), np.zeros(0, dtype=np.int64)
    rows, group = join(parts), np.concatenate(groups)
    clear = load.keeps(rows)
    return rows.take(clear), group[clear]


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
    """Drops on every pass into every slot, and the liftoff (index) of each."""
    way, touch = load.way, replace(each.touch, arrival_speed_m_s=turn.speed_m_s)
    liftoff_s, waited, passes, other_m = turn.liftoff_s, turn.waited_s, turn.passes, turn.other_m
    ring = touch.ring
    slots = np.array(each.slots)
    gain = (way.parking_rate_rad_s or ring.rate_rad_s) - ring.rate_rad_s
    shape = (liftoff_s.size, slots.size, passes.size)
    at_touch = np.stack([turn.lead0_rad[slot] for slot in each.slots], axis=1) - (gain * waited)[:, None]
    turned = np.remainder(passes * (turn.period_s / ring.period_s), 1.0) * 2.0 * math.pi
    lead = frames.wrap(at_touch[:, :, None] + turned).ravel()
    lead[np.abs(lead) < 4.0 * LEVEL_RAD] = 0.0
    flat = np.indices(shape).reshape(3, -1)
    chosen: Phasings = (best_phasing if load.prune else every_phasing)(touch, lead, each.wanted)
    time, slot, number = flat[:, chosen.row]
    arrival = liftoff_s[time] + waited[time] + way.after_s
    drop = arrival + passes[number] * turn.period_s
    other = orbits.other_apsis(ring.gm, ring.radius_m, chosen.speed_m_s)
    n = chosen.row.size
    rides = passes[number] > 0
    within = drop + chosen.wait_s - arrival <= touch.wait_within_s * (1.0 + LIMIT_SLACK)
    low = np.minimum(np.minimum(other, ring.radius_m), np.where(rides, other_m, ring.radius_m))
    made = Options(
        slot=slots[slot],
        pad=np.full(n, way.pad),
        way=np.full(n, load.way_index),
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
        delta_v_m_s=chosen.cost_m_s,
        lowest_m=np.minimum(low, way.insertion.radius_m),
        highest_m=np.maximum(np.maximum(other, ring.radius_m), np.where(rides, other_m, 0.0)),
        bundle=np.zeros(n, dtype=np.int64),
    ).with_table(Drops(speed_m_s=np.full(n, turn.speed_m_s)))
    return made.take(within), time[within]
