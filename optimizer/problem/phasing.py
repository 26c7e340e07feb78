"""Phasing from a touch of the ring: every whole number of returns, below and above, as columns.

A craft touches the ring tangentially with speed v_a; its slot leads it by L. On a phasing orbit of period
T_p = w / k it meets the slot there after w = (2 pi m - L) / n (Vallado, section 6.6). The two ring burns cost
|v_p - v_a| + |v_c - v_p|: nothing more than |v_c - v_a| while v_p lies between v_a and v_c.

For one row (craft, slot, moment) the wait depends on m alone, so the best k for each m and a running minimum over m
give the options that no other beats in both delta-v and time.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...models.arrays import Mask, Rows
from ...models.deadline import poll
from ...models.ring import Ring

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741 - the integer twin of F

CELLS = 50_000
"""So many pairs of winding and lead are looked at together: what a cache of the processor holds."""

LEVEL_RAD = 1e-9
"""A slot closer than this needs no phasing: a few centimeters, far below what anything can fly."""

LIMIT_SLACK = 1e-9
"""Relative slack with which a limit counts as kept, so that a value found by solving for the limit itself passes."""

ALIKE_M_S = 1e-9
"""Choices this close in cost differ by rounding only."""

BLOCK = 1 << 13
"""Rows examined together: their columns stay in the cache."""

RING_REVOLUTIONS_MAX = 13
"""Most whole turns of the slot that are examined where neither revolutions nor a ceiling ask for more."""


@dataclass(frozen=True, kw_only=True)
class Touch:
    """How a craft touches the ring, and the limits on what it may do from there.

    Args:
        ring: for radius, rate and circular speed.
        arrival_speed_m_s: v_a, tangential.
        floor_m, ceiling_m: radii that the phasing orbit's other apsis must keep to.
        revolutions_max: most phasing revolutions.
        wait_within_s: longest time from the touch to the slot.
    """

    ring: Ring
    arrival_speed_m_s: float
    floor_m: float
    ceiling_m: float
    revolutions_max: int
    wait_within_s: float = math.inf

    @property
    def ratio_low(self) -> float:
        """Least T_p / T that keeps the periapsis above the floor."""
        return float((0.5 * (1.0 + min(self.floor_m, self.ring.radius_m) / self.ring.radius_m)) ** 1.5)

    @property
    def ratio_high(self) -> float:
        """Greatest T_p / T that keeps the apoapsis under the ceiling."""
        if math.isinf(self.ceiling_m):
            return math.inf
        return float((0.5 * (1.0 + max(self.ceiling_m, self.ring.radius_m) / self.ring.radius_m)) ** 1.5)

    @property
    def ring_revolutions_max(self) -> int:
        """Most whole turns of the slot worth listing."""
        return max(RING_REVOLUTIONS_MAX, self.revolutions_max + 1)

    def speed(self, ratio: F) -> F:
        """Speed v_p at the ring of the orbit with T_p = ratio * T, m/s (vis-viva with Kepler's third law)."""
        root = np.cbrt(ratio)
        return np.asarray(self.ring.speed_m_s * np.sqrt(2.0 - 1.0 / (root * root)))

    def ratio(self, speed_m_s: float) -> float:
        """The T_p / T of an orbit with that speed at the ring; infinite at and beyond escape."""
        inverse = 2.0 - (speed_m_s / self.ring.speed_m_s) ** 2
        return inverse**-1.5 if inverse > 0.0 else math.inf

    def cost(self, speed_m_s: F) -> F:
        """Both ring burns, m/s."""
        circular = self.ring.speed_m_s
        return np.asarray(np.abs(speed_m_s - self.arrival_speed_m_s) + np.abs(circular - speed_m_s))

    @property
    def level_cost(self) -> float:
        """The one burn of a craft that arrives in place, m/s."""
        return abs(self.ring.speed_m_s - self.arrival_speed_m_s)

    def windings(self) -> tuple[tuple[int, int], ...]:
        """Every (k, m) that can fit for some lead in (-pi, pi], by k and then by m."""
        return tuple(zip(*(column.tolist() for column in self._winding_columns()), strict=True))

    def _winding_columns(self) -> tuple[I, I]:
        """The same as columns k and m."""
        low, high = self.ratio_low * (1.0 - LIMIT_SLACK), self.ratio_high * (1.0 + LIMIT_SLACK)
        k = np.arange(1, self.revolutions_max + 1)[:, np.newaxis]
        m = np.arange(self.ring_revolutions_max + 1)
        row, column = np.nonzero((m + 0.5 >= low * k) & (m - 0.5 <= high * k))
        return row + 1, column

    def windings_count(self) -> int:
        """How many there are."""
        k = np.arange(1, self.revolutions_max + 1)
        first = np.maximum(np.ceil(self.ratio_low * (1.0 - LIMIT_SLACK) * k - 0.5), 0.0)
        last = np.minimum(np.floor(self.ratio_high * (1.0 + LIMIT_SLACK) * k + 0.5), self.ring_revolutions_max)
        return int(np.maximum(last - first + 1.0, 0.0).sum())


@dataclass(frozen=True, kw_only=True)
class Phasings(Rows):
    """Columns of phasing choices: ``row`` points into the leads that were given; level ones have k = m = 0."""

    row: I
    revolutions: I
    ring_revolutions: I
    wait_s: F
    speed_m_s: F
    cost_m_s: F


Wanted = Callable[[int, int], bool]


@dataclass(frozen=True, kw_only=True)
class Among:
    """A filter on (k, m) that asks for k alone: among ``revolutions``, any where None; ``level``: whether (0, 0) is."""

    revolutions: frozenset[int] | None = None
    level: bool = True

    def __call__(self, k: int, m: int) -> bool:
        """Whether k revolutions while the slot makes m are wanted."""
        if (k, m) == (0, 0) and not self.level:
            return False
        return self.revolutions is None or k in self.revolutions

    def mask(self, k: I, m: I) -> Mask:
        """The same for columns of both."""
        asked = np.ones(k.size, dtype=bool) if self.revolutions is None else np.isin(k, list(self.revolutions))
        return asked & (self.level | (k > 0) | (m > 0))

    def up_to(self, most: int) -> I:
        """The numbers of revolutions that are wanted, from 1 to the most, ascending."""
        every = np.arange(1, most + 1)
        return every if self.revolutions is None else np.intersect1d(every, list(self.revolutions))


def _fits(touch: Touch, ratio: F, wait: F) -> Mask:
    low, high = touch.ratio_low * (1.0 - LIMIT_SLACK), touch.ratio_high * (1.0 + LIMIT_SLACK)
    # the ring itself is no phasing orbit: a slot that stays put there is `level`
    return np.asarray(
        (ratio >= low)
        & (ratio <= high)
        & (wait > 0.0)
        & (wait <= touch.wait_within_s * (1.0 + LIMIT_SLACK))
        & (np.abs(ratio - 1.0) > 1e-12)
    )


def every_phasing(touch: Touch, lead: F, wanted: Wanted | None = None) -> Phasings:
    """Every choice within the limits for each lead (rad, in (-pi, pi]), dominated ones too.

    ``wanted(k, m)`` may leave windings out; level is asked as (0, 0). Rows are in no particular order.
    """
    parts: list[_Part] = []
    turn = lead / (2.0 * np.pi)
    every_k, every_m = touch._winding_columns()
    if isinstance(wanted, Among):
        asked = wanted.mask(every_k, every_m)
        every_k, every_m = every_k[asked], every_m[asked]
    elif wanted is not None:
        asked = np.array([wanted(*one) for one in zip(every_k.tolist(), every_m.tolist(), strict=True)], dtype=bool)
        every_k, every_m = every_k[asked], every_m[asked]
    step = max(CELLS // max(lead.size, 1), 1)
    for first in range(0, every_k.size, step):
        k, m = every_k[first : first + step], every_m[first : first + step]
        ratio = (m[:, np.newaxis] - turn) / k[:, np.newaxis]
        winding, hit = np.nonzero(_fits(touch, ratio, ratio * k[:, np.newaxis] * touch.ring.period_s))
        parts.append((hit, k[winding], m[winding], ratio[winding, hit]))
    if wanted is None or wanted(0, 0):
        parts.append(_level(lead))
    return _columns(touch, parts)


def best_phasing(touch: Touch, lead: F, wanted: Wanted | None = None) -> Phasings:
    """For each lead the choices that none beats in both delta-v and time.

    Of equally cheap ones the fewest revolutions are kept, which stay closest to the ring.
    """
    turn = lead / (2.0 * np.pi)
    best = np.full(lead.size, np.inf)
    parts: list[_Part] = []
    if wanted is None or wanted(0, 0):
        parts.append(_level(lead))
        best[parts[0][0]] = touch.level_cost
    for m, ks_of_m in _revolutions_by_turns(touch, wanted).items():
        poll()
        for first in range(0, lead.size, BLOCK):
            block = slice(first, first + BLOCK)
            cheapest, chosen = _cheapest(touch, m - turn[block], ks_of_m)
            hit = np.flatnonzero(cheapest < best[block] - ALIKE_M_S)
            chosen = chosen[hit]
            best[block][hit] = cheapest[hit]
            parts.append((hit + first, chosen, np.full(hit.size, m), (m - turn[block][hit]) / chosen))
    return _columns(touch, parts)


def _revolutions_by_turns(touch: Touch, wanted: Wanted | None) -> dict[int, I]:
    """The whole turns m of the slot in order, each with the k that are wanted, ascending."""
    by_m: dict[int, I] = {}
    if wanted is None or isinstance(wanted, Among):
        every = (wanted or Among()).up_to(touch.revolutions_max)
        low, high = touch.ratio_low * (1.0 - LIMIT_SLACK), touch.ratio_high * (1.0 + LIMIT_SLACK)
        for m in range(touch.ring_revolutions_max + 1):
            if (m - 0.5) * touch.ring.period_s > touch.wait_within_s * (1.0 + LIMIT_SLACK):
                break
            most = min(every[-1], math.floor((m + 0.5) / low)) if every.size else 0
            if max(math.ceil((m - 0.5) / high), 1) <= most:
                by_m[m] = every
        return by_m
    listed: dict[int, list[int]] = {}
    for k, m in sorted(touch.windings(), key=lambda winding: winding[::-1]):
        if wanted(k, m):
            listed.setdefault(m, []).append(k)
    return {m: np.array(ks) for m, ks in listed.items()}


def _cheapest(touch: Touch, turns: F, revolutions: I) -> tuple[F, I]:
    """The cheapest of some k, ascending, for waits of so many ring periods, and its cost; infinite where none fits.

    Both burns together cost the same while the phasing period lies between the arrival's and the ring's, and ever more
    the farther it lies outside. Along k the period falls, so of all k two need a look: the first at or under the upper
    end of that stretch (or under the ceiling, where that is lower), and the one before it; and where the first lies on
    the stretch, none is cheaper and that one is enough.
    """
    arrival = touch.ratio(touch.arrival_speed_m_s)
    top = min(max(arrival, 1.0), touch.ratio_high)
    # a hair beyond the end by rounding is at it: fewest revolutions of what costs the same
    place = np.minimum(np.searchsorted(revolutions, turns / top - 1e-12), revolutions.size - 1)
    first = revolutions[place].astype(np.float64)
    ratio = turns / first
    on_stretch = _fits(touch, ratio, turns * touch.ring.period_s)
    on_stretch &= (ratio >= min(arrival, 1.0)) & (ratio <= top * (1.0 + 1e-13))
    cheapest, chosen = np.where(on_stretch, touch.level_cost, np.inf), first.astype(np.int64)
    others = np.flatnonzero(~on_stretch)
    if others.size:
        last = place[others]
        near = (np.maximum(last - 1, 0), last, np.minimum(last + 1, revolutions.size - 1))
        trials = [revolutions[at].astype(np.float64) for at in near]
        cheapest[others], chosen[others] = _cheapest_of(touch, turns[others], trials)
    return cheapest, chosen


def _cheapest_of(touch: Touch, turns: F, trials: list[F]) -> tuple[F, I]:
    """The cheapest of some numbers of revolutions for each wait, and its cost; the first of those that cost alike."""
    wait = turns * touch.ring.period_s
    cheapest = np.full(turns.size, np.inf)
    chosen = np.ones(turns.size)
    for k in trials:
        ratio = turns / k
        fits = _fits(touch, ratio, wait)
        cost = touch.cost(touch.speed(np.where(fits, ratio, 1.0)))
        better = fits & (cost < cheapest - ALIKE_M_S)
        np.copyto(cheapest, cost, where=better)
        np.copyto(chosen, k, where=better)
    return cheapest, chosen.astype(np.int64)


_Part = tuple[I, I, I, F]
"""Choices before their columns are worked out: row, k, m and the phasing period as a share of the ring's."""


def _level(lead: F) -> _Part:
    """Of the leads those that need no phasing."""
    (hit,) = np.nonzero(np.abs(lead) <= LEVEL_RAD)
    none = np.zeros(hit.size, dtype=np.int64)
    return hit, none, none, np.ones(hit.size)


def _columns(touch: Touch, parts: list[_Part]) -> Phasings:
    columns = zip(*(parts or [_level(np.full(0, np.inf))]), strict=True)
    row, k, m, ratio = (np.concatenate(column) for column in columns)
    speed = touch.speed(ratio)
    return Phasings(
        row=row,
        revolutions=k,
        ring_revolutions=m,
        wait_s=ratio * k * touch.ring.period_s,
        speed_m_s=np.where(k == 0, touch.ring.speed_m_s, speed),
        cost_m_s=np.where(k == 0, touch.level_cost, touch.cost(speed)),
    )
