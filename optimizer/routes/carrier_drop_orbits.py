"""The orbits that a carrier drops craft from: the one it came by, one that brings slots, or one of these after another.

On arrival at the ring the carrier stays in the orbit it came by, or burns into one that brings slots to the touching
point (``models/carriers.py``). Where its scenario allows a change it may burn once more on one of its passes, into an
orbit nearer to the ring's own: those before have their slots sooner, those after pay less. On that pass craft leave
after the burn.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from ...models import launch, orbits
from ...models.carriers import carrier_orbits
from ...models.planes import turn_delta_v
from ...models.ring import Ring
from ..problem.detail import Detail, Mask
from ..problem.options import F, I, Options
from ..problem.phasing import LIMIT_SLACK, Touch
from ..problem.problem import Problem

STEPS_BEYOND = 2
"""Carrier orbits above the ring are examined up to this many times the ring's period, where no ceiling says less."""

ALIKE_M_S = 1e-8
"""Speeds this close are one."""


@dataclass(frozen=True, kw_only=True)
class Drops(Detail):
    """Speed at the ring of the orbit from which the carrier drops each craft, m/s, and its orbits.

    ``touch_s`` of an option is then the carrier's, ``passes`` are its passes from then on, ``burn_s`` is the drop.
    ``first_m_s`` is the speed in its first orbit, ``then_m_s`` that in its last, into which it burns on pass
    ``changes_on``, 0 where it keeps to one; ``before`` are the passes in the first orbit of those dropped from the
    last. ``place_rad`` is how far ahead of slot 0 of its plane the carrier first touches the ring. ``fold_rad`` and
    ``rest_rad`` are what craft turn their planes by, see `carrier_turns`; 0 where they stay in the carrier's.
    """

    told_by: ClassVar[Mapping[str, int]] = {
        "speed_m_s": 6,
        "first_m_s": 6,
        "then_m_s": 6,
        "changes_on": 6,
        "fold_rad": 9,
    }

    speed_m_s: F
    first_m_s: F
    then_m_s: F
    changes_on: I
    before: I
    place_rad: F
    fold_rad: F
    rest_rad: F

    @property
    def turns(self) -> Mask:
        """Which craft turn into another plane."""
        return np.asarray((self.fold_rad != 0.0) | (self.rest_rad != 0.0))

    def at_touches(self) -> Mask:
        """See `Detail`: a craft that turns touches the ring in the plane of the carrier, not in that of its slot."""
        return ~self.turns

    def burns(self, problem: Problem, options: Options, size_m_s: F, time_s: F) -> tuple[F, F]:
        """Those at the drop are longer where they turn the plane."""
        along = size_m_s[:, 1] + size_m_s[:, 2]
        apart = turn_delta_v(problem.ring.speed_m_s, self.rest_rad)
        longer = (options.delta_v_m_s - apart) / np.where(along > 0.0, along, 1.0)
        size = size_m_s.copy()
        size[:, 1:3] *= np.where(self.turns, longer, 1.0)[:, None]
        return size, time_s

    def arrival_speed_m_s(self) -> F:
        """See `Detail`."""
        return self.speed_m_s

    def rode(self) -> tuple[I, F]:
        """See `Detail`."""
        return self.before, self.first_m_s


@dataclass(frozen=True, kw_only=True)
class Leg:
    """Passes of a carrier in one orbit.

    Args:
        speed_m_s: at the ring.
        passes: their numbers.
        after_s: when, from the arrival on.
        before: passes before in another orbit.
    """

    speed_m_s: float
    passes: I
    after_s: F
    before: int


@dataclass(frozen=True, kw_only=True)
class DropOrbits:
    """The orbits of one carrier flight: speeds at the ring in the first and the last, and on which pass it changes.

    ``comes_round``: whether the first comes back to the ring. ``changes_on`` is 0 where there is but one.
    """

    first_m_s: float
    comes_round: bool = True
    then_m_s: float
    changes_on: int = 0

    def burns_m_s(self, arrival_m_s: float) -> tuple[float, float]:
        """The burns of the carrier on arrival, and on the pass on which it changes."""
        return abs(self.first_m_s - arrival_m_s), abs(self.then_m_s - self.first_m_s)

    def apsides_m(self, ring: Ring) -> tuple[float, float]:
        """Least and greatest of its apsides off the ring."""
        own = [float(orbits.other_apsis(ring.gm, ring.radius_m, one)) for one in (self.first_m_s, self.then_m_s)]
        return min(own), max(own)

    def legs(self, ring: Ring, passes_max: int) -> tuple[Leg, ...]:
        """Its passes on which craft may leave, orbit by orbit."""
        every_s = turn_s(ring, self.first_m_s)
        if not self.changes_on:
            return (_leg(self.first_m_s, 0, passes_max + 1 if self.comes_round else 1, 0.0, every_s),)
        begun_s, left = self.changes_on * every_s, passes_max + 1 - self.changes_on
        return (
            _leg(self.first_m_s, 0, self.changes_on, 0.0, every_s),
            _leg(self.then_m_s, self.changes_on, left, begun_s, turn_s(ring, self.then_m_s)),
        )


def _leg(speed_m_s: float, before: int, count: int, begun_s: float, every_s: float) -> Leg:
    """So many passes, one after another, the first after so many and so long."""
    after_s: F = begun_s + every_s * np.arange(count, dtype=np.float64)
    return Leg(speed_m_s=speed_m_s, passes=before + np.arange(count), after_s=after_s, before=before)


def turn_s(ring: Ring, speed_m_s: float) -> float:
    """Period of an orbit with that speed at the ring, s: the share of the ring's own that it has with two bodies."""
    semi = float(orbits.semi_major_from_speed(ring.gm, ring.radius_m, speed_m_s))
    return float((semi / ring.radius_m) ** 1.5 * ring.period_s)


def drop_orbits(touch: Touch, way: launch.Ascent, able_m_s: float, passes_max: int, changes: bool) -> list[DropOrbits]:
    """All of them as far as ``able_m_s`` goes, from the insertion on.

    The orbit it arrived by comes first: it costs nothing. Then those that bring slot after slot, the cheapest first,
    and last the pairs of these, where it may change.
    """
    left_m_s = able_m_s - way.entry_delta_v_m_s + 1e-9
    if left_m_s < 0.0:
        return []
    single = list(_single(touch, way, left_m_s))
    if not changes:
        return single
    circular = touch.ring.speed_m_s
    pairs = [
        (one.first_m_s, other.first_m_s)
        for one in single
        for other in single
        if one.comes_round and other.comes_round and _nearer(other.first_m_s, one.first_m_s, circular)
    ]
    found = [
        DropOrbits(first_m_s=first, then_m_s=then, changes_on=number)
        for first, then in pairs
        for number in range(1, passes_max + 1)
    ]
    return single + [one for one in found if sum(one.burns_m_s(way.arrival_speed_m_s)) <= left_m_s]


def _nearer(one_m_s: float, other_m_s: float, circular_m_s: float) -> bool:
    return abs(one_m_s - circular_m_s) < abs(other_m_s - circular_m_s) - 1e-6


def _single(touch: Touch, way: launch.Ascent, left_m_s: float) -> Iterator[DropOrbits]:
    ring, arrival = touch.ring, way.arrival_speed_m_s
    other = float(orbits.other_apsis(ring.gm, ring.radius_m, arrival))
    safe = touch.floor_m <= other * (1.0 + LIMIT_SLACK) and other <= touch.ceiling_m * (1.0 + LIMIT_SLACK)
    level = abs(arrival - ring.speed_m_s) < ALIKE_M_S
    yield DropOrbits(first_m_s=arrival, then_m_s=arrival, comes_round=safe and not level)
    ceiling = min(touch.ceiling_m, 2.0 * ring.radius_m * STEPS_BEYOND ** (2.0 / 3.0) - ring.radius_m)
    drops = carrier_orbits(replace(ring, planes=1), arrival_speed_m_s=arrival, floor_m=touch.floor_m, ceiling_m=ceiling)
    kept = drops.entry_delta_v_m_s <= left_m_s
    order = np.argsort(drops.entry_delta_v_m_s[kept], kind="stable")
    for ratio in drops.ratio[kept][order].tolist():
        speed = float(touch.speed(np.array(ratio)))
        if abs(speed - arrival) > 1e-6 and math.isfinite(speed):
            yield DropOrbits(first_m_s=speed, then_m_s=speed)
