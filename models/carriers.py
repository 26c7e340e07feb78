"""Several craft on one carrier: orbits that touch the ring at one point and bring a new slot there on every pass.

If the carrier's period is p / N of the ring's (N slots), the ring turns by p / N of a turn between passes, so the slot
at the touching point steps back by p each time. A drop on every l-th pass meets the slots first - l p k (mod N), which
are all different, and so fill the ring, exactly if l p and N have no common divisor. Two-body, impulsive, in the ring
plane. Each craft makes its own burn into the ring as it is dropped; the carrier pays only for entering its orbit and,
if it must, for leaving it. From below, with the apoapsis on the ring, a carrier saves nothing: what the craft no longer
pays, the carrier did. (Kepler's third law and the residue classes of whole numbers; common practice, no source.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from . import orbits
from .errors import InputError
from .ring import Ring

Array = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class CarrierOrbits:
    """Every carrier orbit that serves the drops wanted, as columns of one shape (n,), the quickest first.

    Args:
        step: p: slots that pass the touching point from one pass to the next; below the slot number of the ring the
            carrier is inside the ring (periapsis below, apoapsis on it), beyond it outside.
        every: l: a drop on every l-th pass.
        below: whether the orbit lies below the ring.
        period_s: the carrier's period.
        other_m: radius of its other apsis, periapsis if ``below``, else apoapsis.
        drop_every_s: time between drops.
        last_drop_s: from the first drop to the last.
        reached: different slots that such drops can serve in all.
        meetings: passes, from the first drop to the last, at which the carrier finds a craft it dropped before.
        craft_delta_v_m_s: each craft's burn into the ring; forward if ``below``, else back.
        entry_delta_v_m_s: the carrier's burn from its arrival into this orbit.
        exit_delta_v_m_s: the carrier's burn at its other apsis to leave the ring alone afterward, 0 if it stays.
    """

    step: Whole
    every: Whole
    below: NDArray[np.bool_]
    period_s: Array
    other_m: Array
    drop_every_s: Array
    last_drop_s: Array
    reached: Whole
    meetings: Whole
    craft_delta_v_m_s: Array
    entry_delta_v_m_s: Array
    exit_delta_v_m_s: Array
    drops: int

    @property
    def carrier_delta_v_m_s(self) -> Array:
        """All that the carrier itself pays."""
        return np.asarray(self.entry_delta_v_m_s + self.exit_delta_v_m_s)

    @property
    def delta_v_m_s(self) -> Array:
        """Carrier and all craft together, a sum of speeds and not of propellant: the carrier is the heavier."""
        return np.asarray(self.carrier_delta_v_m_s + self.drops * self.craft_delta_v_m_s)


def reached(step: ArrayLike, every: ArrayLike, slots: int) -> Whole:
    """How many different slots such drops can serve: N / gcd(l p, N).

    >>> reached([3, 2, 6], 1, 6).tolist()
    [2, 3, 1]
    """
    moved = np.asarray(step, dtype=np.int64) * np.asarray(every, dtype=np.int64)
    return np.asarray(slots // np.gcd(moved, slots), dtype=np.int64)


def slot_at_pass(first_slot: ArrayLike, step: ArrayLike, number: ArrayLike, slots: int) -> Whole:
    """Slot that is at the touching point on a pass, counted from 0 at the pass that finds ``first_slot``.

    >>> slot_at_pass(0, 3, [0, 1, 2, 3], 4).tolist()
    [0, 1, 2, 3]
    """
    moved = np.asarray(step, dtype=np.int64) * np.asarray(number, dtype=np.int64)
    return np.asarray(np.mod(np.asarray(first_slot, dtype=np.int64) - moved, slots), dtype=np.int64)


def carrier_orbits(
    ring: Ring,
    *,
    arrival_speed_m_s: float,
    floor_m: float,
    ceiling_m: float = math.inf,
    drops: int | None = None,
    every_max: int = 1,
    step_max: int | None = None,
    leave_m: float | None = None,
) -> CarrierOrbits:
    """Every carrier orbit within the limits that finds a separate slot for each drop.

    Args:
        ring: one plane of it.
        arrival_speed_m_s: the carrier's speed, level, when it first comes to the ring's radius (the circular speed if
            it starts in the ring).
        floor_m: least radius of a periapsis.
        ceiling_m: greatest radius of an apoapsis.
        drops: craft on board; None: one for each slot.
        every_max: greatest l to look at.
        step_max: greatest p to look at; needed where there is no ceiling.
        leave_m: radius to which the carrier moves the apsis that touches the ring after the last drop; None: it stays
            in its orbit, and keeps passing through the ring.

    Returns:
        The options, sorted by the time of the last drop, then by step. Empty where none fits.

    Raises:
        InputError: a number of drops that the ring has no slots for, or neither a ceiling nor a greatest step.
    """
    slots, radius, gm = ring.slots, ring.radius_m, ring.gm
    count = slots if drops is None else drops
    if not 1 <= count <= slots:
        raise InputError(f"{count} craft on one carrier do not fit a ring of {slots} slots: give 1 to {slots}.")
    if every_max < 1:
        raise InputError(f"a drop on every {every_max}. pass does not exist: give 1 or more.")
    if step_max is None:
        if not math.isfinite(ceiling_m):
            raise InputError("carrier orbits above the ring need a ceiling or a greatest step, or there is no end.")
        longest = float(orbits.period(gm, 0.5 * (radius + max(radius, ceiling_m))))
        step_max = math.floor(slots * longest / ring.period_s * (1.0 + 1e-12))
    grid = np.meshgrid(
        np.arange(1, step_max + 1, dtype=np.int64), np.arange(1, every_max + 1, dtype=np.int64), indexing="ij"
    )
    step, every = grid[0].ravel(), grid[1].ravel()
    period = step / slots * ring.period_s
    other = 2.0 * orbits.semi_major(gm, period) - radius
    below = step < slots
    fits = np.where(below, other >= floor_m, (other <= ceiling_m) & (radius >= floor_m))
    fits &= (step != slots) & (other > 0.0) & (reached(step, every, slots) >= count)
    fitting = np.flatnonzero(fits)
    chosen = fitting[np.lexsort((step[fitting], (every * period)[fitting]))]
    step, every, below = step[chosen], every[chosen], below[chosen]
    period, other = period[chosen], other[chosen]
    semi = 0.5 * (radius + other)
    speed = orbits.speed(gm, radius, semi)
    if leave_m is None:
        leaving = np.zeros(step.shape)
    else:
        leaving = np.abs(orbits.speed(gm, other, 0.5 * (other + leave_m)) - orbits.speed(gm, other, semi))
    return CarrierOrbits(
        step=step,
        every=every,
        below=below,
        period_s=period,
        other_m=other,
        drop_every_s=every * period,
        last_drop_s=(count - 1) * every * period,
        reached=reached(step, every, slots),
        meetings=_meetings(step, every, count, slots),
        craft_delta_v_m_s=np.abs(ring.speed_m_s - speed),
        entry_delta_v_m_s=np.abs(speed - arrival_speed_m_s),
        exit_delta_v_m_s=leaving,
        drops=count,
    )


def _meetings(step: Whole, every: Whole, drops: int, slots: int) -> Whole:
    """Passes between the first drop and the last that find a craft dropped before, shape (n,)."""
    if not step.size:
        return np.zeros(0, dtype=np.int64)
    rows = np.arange(step.size)[:, None]
    dropped = np.arange(drops)
    filled_by = np.full((step.size, slots), np.iinfo(np.int64).max)
    filled_by[rows, slot_at_pass(0, step[:, None], every[:, None] * dropped, slots)] = every[:, None] * dropped
    number = np.arange(1, int(every.max()) * (drops - 1) + 1)
    found = filled_by[rows, slot_at_pass(0, step[:, None], number, slots)] < number
    found &= number <= every[:, None] * (drops - 1)
    return np.asarray(found.sum(axis=1), dtype=np.int64)
