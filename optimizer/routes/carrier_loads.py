"""What craft may do that a carrier drops, and what the carrier may: every pass, every slot.

In which orbits the carrier comes round is in `carrier_drop_orbits.py`. A craft dropped on some pass
makes its own burns from then on: one, if its slot is there, or two around k revolutions of a phasing orbit. What it
pays counts from the carrier's speed; what the carrier pays is the carrier's.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ...models import frames, launch, orbits
from ...models.arrays import Rows
from ...models.deadline import poll
from ...models.memory import need
from ...models.scenario import UpperStage
from ...models.upper_stage import paid_by_stage
from ..problem.options import F, I, Options, join
from ..problem.phasing import LEVEL_RAD, LIMIT_SLACK, Phasings, Touch, Wanted, best_phasing, every_phasing
from ..problem.problem import Aboard
from .carrier_bundles import CHOICE_BYTES, LastPasses, bundles, of_use, unbeaten_that_keep
from .carrier_drop_orbits import DropOrbits, Drops, Leg, drop_orbits, turn_s
from .carrier_turns import BEYOND, Turns, crossing_rad, turns

BLOCK_LIFTOFFS = 64
"""Most liftoffs worked on together."""

BLOCK_CHOICES = 1 << 22
"""Most choices (liftoff, wait, carrier orbit, pass, slot, turns) worked on together, unless one liftoff has more."""

Keeps = Callable[[Options], NDArray[np.bool_]]


@dataclass(frozen=True, kw_only=True)
class Asked:
    """Slots to look at together, all of one plane, and how a craft may phase into them, from the carrier's plane."""

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
        oblate: whether planes are aimed by the flight.
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
    oblate: bool = False
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
    def others(self) -> list[int]:
        """The planes of slots asked about that it does not fly in."""
        return sorted({each.slots[0] // self.touch.ring.slots for each in self.asked} - {self.way.plane})

    @cached_property
    def drop_orbits(self) -> list[DropOrbits]:
        """See `drop_orbits`, as far as carrier and upper stage can pay together."""
        carrier = self.aboard.carrier
        able_m_s = carrier.delta_v_m_s + (0.0 if self.stage is None else self.stage.delta_v_m_s)
        return drop_orbits(self.touch, self.way, able_m_s, carrier.passes_max, carrier.changes_max > 0)

    def own_m_s(self, waited_s: F, by: DropOrbits) -> F:
        """What the carrier itself pays to get into its drop orbits after each wait in the parking orbit."""
        way, stage = self.way, self.stage
        sizes = np.array([way.entry_delta_v_m_s, *by.burns_m_s(way.arrival_speed_m_s)])
        if stage is None:
            return np.full(waited_s.size, sizes.sum())
        arrived = waited_s + way.after_s - way.insertion_after_s
        after = np.stack([waited_s, arrived, arrived + by.changes_on * turn_s(self.touch.ring, by.first_m_s)], axis=-1)
        return np.asarray(sizes.sum() - paid_by_stage(stage, np.broadcast_to(sizes, after.shape), after).sum(axis=-1))


@dataclass(frozen=True, kw_only=True)
class Arrivals:
    """Arrivals of a carrier at the ring.

    Args:
        liftoff_s, waited_s: of each, with its wait in the parking orbit, (n,).
        arrived_s, touch_rad: when it touches the ring, and its argument of latitude there, (n,).
    """

    liftoff_s: F
    waited_s: F
    arrived_s: F
    touch_rad: F


@dataclass(frozen=True, kw_only=True)
class Visits(Rows):
    """Passes on which a carrier may drop craft from orbits of one speed at the ring, as columns, (n,).

    Args:
        speed_m_s: that speed.
        arrival: number of the arrival.
        by: number of the orbits that the carrier takes, in ``load.drop_orbits``.
        passes, after_s, before: see `Leg`.
    """

    speed_m_s: float
    arrival: I
    by: I
    passes: I
    after_s: F
    before: I


def options(load: Load, liftoff_s: F) -> Options:
    """Bundles for each liftoff: one row for each craft on board, each in a separate slot; ``liftoff_s`` (n,)."""
    parts: list[Options] = []
    each, ways = _choices(load), len(load.drop_orbits)
    block = min(max(BLOCK_CHOICES // max(each * ways, 1), 1), BLOCK_LIFTOFFS)
    for first in range(0, liftoff_s.size if ways else 0, block):
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
    waits = 1 if load.way.parking_rate_rad_s is None else 1 + slots + 2 * len(load.others)
    return max(waits * slots * (load.aboard.carrier.passes_max + 1) * (load.touch.ring_revolutions_max + 1), 1)


def _rows(load: Load, liftoff_s: F) -> list[tuple[Options, I]]:
    """Options of one craft dropped by the carrier within the limits that are of use, with the group (liftoff, wait,
    carrier orbit) of each: among all of them, and among those that are dropped at their slots."""
    found: list[list[tuple[Options, I]]] = [[], []]
    way, ring = load.way, load.touch.ring
    waits = _waits(load, liftoff_s)
    waited = np.concatenate(waits)
    lifted = np.tile(liftoff_s, len(waits))
    arrivals = Arrivals(
        liftoff_s=lifted,
        waited_s=waited,
        arrived_s=lifted + waited + way.after_s,
        touch_rad=way.angle(lifted) + (way.parking_rate_rad_s or ring.rate_rad_s) * waited,
    )
    able = lifted >= load.aboard.ready_s - 1e-6
    for visits in _visits(load, waited, able):
        parts, groups = [], []
        for each in load.asked:
            poll()
            # within the carrier's plane there is nothing to turn
            for beyond in BEYOND if each.slots[0] // ring.slots != way.plane else (0.0,):
                made, group = _drops(load, each, arrivals, visits, beyond)
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


def _visits(load: Load, waited_s: F, able: NDArray[np.bool_]) -> Iterator[Visits]:
    """The passes on which it may drop, by the speed of its orbit there, for arrivals after each wait."""
    legs: dict[float, list[tuple[int, Leg, I]]] = {}
    for number, by in enumerate(load.drop_orbits):
        (arrival,) = np.nonzero(able & (load.own_m_s(waited_s, by) <= load.aboard.carrier.delta_v_m_s + 1e-9))
        for leg in by.legs(load.touch.ring, load.aboard.carrier.passes_max):
            legs.setdefault(leg.speed_m_s, []).append((number, leg, arrival))
    for speed, several in legs.items():
        counts = [arrival.size * leg.passes.size for _, leg, arrival in several]
        yield Visits(
            speed_m_s=speed,
            arrival=np.concatenate([np.repeat(arrival, leg.passes.size) for _, leg, arrival in several]),
            by=np.repeat([number for number, _, _ in several], counts),
            passes=np.concatenate([np.tile(leg.passes, arrival.size) for _, leg, arrival in several]),
            after_s=np.concatenate([np.tile(leg.after_s, arrival.size) for _, leg, arrival in several]),
            before=np.repeat([leg.before for _, leg, _ in several], counts),
        )


def _of_use(load: Load, rows: Options, group: I) -> I:
    """The rows of use among those that keep what is asked of their path; of each pass, where drops are apart."""
    if load.apart_s > 0.0:
        group = group * (load.aboard.carrier.passes_max + 1) + rows.passes
    return unbeaten_that_keep(
        len(rows),
        lambda own: of_use(rows.slot[own], rows.delta_v_m_s[own], group[own]),
        lambda own: load.keeps(rows.take(own)),
    )


def _waits(load: Load, liftoff_s: F) -> list[F]:
    """Waits in the parking orbit that are worth a look: none, until a slot is there on arrival, or planes cross."""
    way, ring, turn = load.way, load.touch.ring, 2.0 * math.pi
    none = np.zeros(liftoff_s.size)
    if way.parking_rate_rad_s is None:
        return [none]
    gain = way.parking_rate_rad_s - ring.rate_rad_s
    own = [slot for slot in load.slots.tolist() if slot // ring.slots == way.plane]
    waits = [
        np.maximum(np.remainder(np.sign(gain) * lead + LEVEL_RAD, turn) - LEVEL_RAD, 0.0) / abs(gain)
        for lead in (launch.lead_on_arrival(ring, way, liftoff_s, np.array(slot)) for slot in own)
    ]
    for other in load.others:
        ahead = crossing_rad(ring, way.plane, other) - way.angle(liftoff_s)
        waits += [np.remainder(ahead + half, turn) / way.parking_rate_rad_s for half in (0.0, math.pi)]
    return [none, *waits]


def _drops(load: Load, each: Asked, arrivals: Arrivals, visits: Visits, beyond: float) -> tuple[Options, I]:
    """Drops on every pass into every slot that are in time and that some craft aboard can pay, and their groups.

    ``beyond``: see `turns`.
    """
    way, ring, slots, arrived = load.way, each.touch.ring, np.array(each.slots), arrivals.arrived_s
    other, able_m_s = int(slots[0]) // ring.slots, load.aboard.allowed_m_s.max(initial=0.0) + 1e-9
    turn = turns(ring, way.plane, other, arrivals.touch_rad, visits.speed_m_s, beyond, oblate=load.oblate)
    open_ = _open(load, each, arrivals, visits)
    visits = visits.take(np.flatnonzero(open_ & (turn.least_m_s[visits.arrival] <= able_m_s)))
    dropped = arrived[visits.arrival] + visits.after_s
    visit, slot = np.divmod(np.arange(dropped.size * slots.size), slots.size)
    at_touch = ring.phase(arrived[:, None], slots) - turn.place_rad[:, None]
    turned = np.remainder(visits.after_s / ring.period_s, 1.0) * 2.0 * math.pi
    lead = frames.wrap(at_touch[visits.arrival[visit], slot] + turned[visit])
    lead[np.abs(lead) < 4.0 * LEVEL_RAD] = 0.0
    left_s = load.finish_s + 1e-6 - dropped.min(initial=math.inf)
    touch = replace(
        each.touch, arrival_speed_m_s=visits.speed_m_s, wait_within_s=min(each.touch.wait_within_s, max(left_s, 0.0))
    )
    chosen: Phasings = (best_phasing if load.prune else every_phasing)(touch, lead, each.wanted)
    visit, slot = visit[chosen.row], slot[chosen.row]
    drop, arrival = dropped[visit], visits.arrival[visit]
    turn = turn.take(arrival)
    spent = turn.delta_v_m_s(ring, visits.speed_m_s, chosen)
    after_s = turn.ahead_rad / ring.rate_rad_s
    finish = drop + chosen.wait_s + after_s
    within = finish - arrived[arrival] <= each.touch.wait_within_s * (1.0 + LIMIT_SLACK)
    within &= (finish <= load.finish_s + 1e-6) & (spent <= able_m_s)
    # who turns over an oblate body phases, so that the flight can aim at the slot
    within &= (chosen.revolutions > 0) | (other == way.plane) | (not load.oblate)
    own, apsis = visits.take(visit), orbits.other_apsis(ring.gm, ring.radius_m, chosen.speed_m_s)
    lowest, highest = np.array([by.apsides_m(ring) for by in load.drop_orbits]).T[:, own.by]
    rides = own.passes > 0
    low = np.minimum(np.minimum(apsis, ring.radius_m), np.where(rides, lowest, ring.radius_m))
    made = Options(
        craft_class=np.full(visit.size, int(load.aboard.craft_class[0])),
        slot=slots[slot],
        pad=np.full(visit.size, way.pad),
        way=np.full(visit.size, load.way_index),
        liftoff_s=arrivals.liftoff_s[arrival],
        parking_wait_s=arrivals.waited_s[arrival],
        passes=own.passes,
        revolutions=chosen.revolutions,
        ring_revolutions=chosen.ring_revolutions,
        touch_s=arrived[arrival],
        burn_s=drop,
        finish_s=finish,
        turn_after_s=after_s,
        lead_rad=lead[chosen.row],
        speed_m_s=chosen.speed_m_s,
        delta_v_m_s=spent,
        lowest_m=np.minimum(low, way.insertion.radius_m),
        highest_m=np.maximum(np.maximum(apsis, ring.radius_m), np.where(rides, highest, 0.0)),
        bundle=np.zeros(visit.size, dtype=np.int64),
    ).with_table(_table(load, own, arrivals, turn))
    group = arrival * len(load.drop_orbits) + own.by
    return made.take(within), group[within]


def _open(load: Load, each: Asked, arrivals: Arrivals, visits: Visits) -> NDArray[np.bool_]:
    """Mask of the passes that come before the latest finish, and while the carrier lasts."""
    lasts_s = arrivals.liftoff_s + load.way.insertion_after_s + load.aboard.carrier.lasts_s
    latest = np.minimum(load.finish_s, lasts_s)[visits.arrival] + 1e-6
    within: NDArray[np.bool_] = visits.after_s <= each.touch.wait_within_s * (1.0 + LIMIT_SLACK)
    return within & (arrivals.arrived_s[visits.arrival] + visits.after_s <= latest)


def _table(load: Load, visits: Visits, arrivals: Arrivals, turn: Turns) -> Drops:
    by, ring = load.drop_orbits, load.touch.ring
    first = load.way.plane * ring.slots
    return Drops(
        speed_m_s=np.full(visits.by.size, visits.speed_m_s),
        first_m_s=np.array([one.first_m_s for one in by])[visits.by],
        then_m_s=np.array([one.then_m_s for one in by])[visits.by],
        changes_on=np.array([one.changes_on for one in by])[visits.by],
        before=visits.before,
        place_rad=(arrivals.touch_rad - ring.phase(arrivals.arrived_s, first))[visits.arrival],
        fold_rad=turn.fold_rad,
        rest_rad=turn.rest_rad,
    )
