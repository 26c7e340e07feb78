"""Several craft on one carrier: orbits that touch the ring at one point and bring a new slot there on every pass.

If the carrier's period is p / N of the ring's (N slots), the ring turns by p / N of a turn between passes, so the slot
at the touching point steps back by p each time. Drops on all passes meet different slots until all are served exactly
if p and N have no common divisor. Nearer to the ring than any of those are orbits of period p / (q N), which bring a
slot there on every q-th pass: from them craft pay less, and take longer. Where slots are not equally spaced, periods
are looked at that bring some slot to the touching point after another, those first that bring most. Two-body,
impulsive, in the ring plane. Each craft makes its own burn into the ring as it is dropped; the carrier pays only for
entering its orbit. From below, with the apoapsis on the ring, a carrier saves nothing: what the craft no longer pays,
the carrier did. (Kepler's third law and the residue classes of whole numbers; common practice, no source.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import orbits
from .arrays import Array
from .errors import InputError
from .ring import TURN_RAD, Ring

PASSES = 12
"""So many passes after the first are looked at for slots that come to the touching point."""

SKIPS_MAX = 3
"""With equally spaced slots near the ring also periods are listed that bring one there on every so many passes only."""

SEVERAL_SLOTS_MAX = 12
"""With no more slots than this also periods are listed that bring a slot there only after several passes."""

KEPT_EACH = 4
"""So many periods are kept for each slot, where slots are not equally spaced: those that bring most slots."""

THERE_RAD = 1e-6
"""A slot this near to the touching point is there."""


@dataclass(frozen=True, kw_only=True)
class CarrierOrbits:
    """Every carrier orbit within the limits, as columns of one shape (n,), the shortest first.

    Args:
        ratio: its period as a share of the ring's, p / N or p / (q N) with equally spaced slots; below 1 the carrier
            is inside the ring (periapsis below, apoapsis on it), beyond it outside.
        entry_delta_v_m_s: the carrier's burn from its arrival into this orbit.
    """

    ratio: Array
    entry_delta_v_m_s: Array


def carrier_orbits(ring: Ring, *, arrival_speed_m_s: float, floor_m: float, ceiling_m: float) -> CarrierOrbits:
    """Every carrier orbit within the limits.

    Args:
        ring: one plane of it.
        arrival_speed_m_s: the carrier's speed, level, when it first comes to the ring's radius (the circular speed if
            it starts in the ring).
        floor_m: least radius of a periapsis.
        ceiling_m: greatest radius of an apoapsis.

    Returns:
        The orbits, by period. Empty where none fits.

    Raises:
        InputError: no ceiling.
    """
    if not math.isfinite(ceiling_m):
        raise InputError("carrier orbits above the ring need a ceiling, or there is no end.")
    longest = float(orbits.period(ring.gm, 0.5 * (ring.radius_m + max(ring.radius_m, ceiling_m))))
    most = longest / ring.period_s * (1.0 + 1e-12)
    ratio = _uneven(ring, most) if ring.pattern_rad else _even(ring.slots, most)
    other = 2.0 * orbits.semi_major(ring.gm, ratio * ring.period_s) - ring.radius_m
    fits = np.where(ratio < 1.0, other >= floor_m, (other <= ceiling_m) & (ring.radius_m >= floor_m))
    fits &= (ratio != 1.0) & (other > 0.0)
    if ring.pattern_rad:
        fits[fits] = _serve_most(ring, ratio[fits])
    speed = orbits.speed(ring.gm, ring.radius_m, 0.5 * (ring.radius_m + other[fits]))
    return CarrierOrbits(ratio=ratio[fits], entry_delta_v_m_s=np.abs(speed - arrival_speed_m_s))


def _even(slots: int, most: float) -> Array:
    """Shares of the ring's period, up to ``most``: p / N, and p / (q N) between the two of those next to the ring."""
    found = [np.arange(1, 1 + math.floor(slots * most), dtype=np.float64) / slots]
    for passes in range(2, SKIPS_MAX + 1):
        parts = np.arange(1 - passes, passes)
        parts = parts[np.gcd(parts, passes) == 1]
        ratio = 1.0 + parts / (passes * slots)
        found.append(ratio[ratio <= most])
    return np.sort(np.concatenate(found))


def _uneven(ring: Ring, most: float) -> Array:
    """Shares of the ring's period, up to ``most``, after which, or so many times which, another slot is there."""
    apart = np.remainder(np.subtract.outer(ring.pattern_rad, ring.pattern_rad), TURN_RAD) / TURN_RAD
    apart = np.unique(np.round(apart[apart > 0.0], 12))
    whole = np.arange(math.ceil(most) * PASSES + 1)
    once = (apart[:, None] + whole[: math.ceil(most) + 1]).ravel()
    found = [once]
    if ring.slots <= SEVERAL_SLOTS_MAX:
        found += [(apart[:, None] + whole[: math.ceil(most) * passes + 1]).ravel() / passes for passes in (2, 3, 4, 5)]
    ratio = np.unique(np.round(np.concatenate(found), 12))
    return np.asarray(ratio[(ratio > 0.0) & (ratio <= most)])


def _serve_most(ring: Ring, ratio: Array) -> NDArray[np.bool_]:
    """Mask of the periods that bring most slots to the touching point, from whichever slot is there at first."""
    if ratio.size <= KEPT_EACH * ring.slots:
        return np.ones(ratio.size, dtype=bool)
    slots, turned = np.asarray(ring.pattern_rad), ratio[:, None] * np.arange(1, PASSES + 1) * TURN_RAD
    served = np.zeros(ratio.size, dtype=np.int64)
    for first in range(ring.slots):
        place = slots[first] - turned
        slot = ring.nearest(place)
        there = np.abs(np.remainder(place - slots[slot] + np.pi, TURN_RAD) - np.pi) < THERE_RAD
        seen = np.zeros((ratio.size, ring.slots), dtype=bool)
        row, column = np.nonzero(there)
        seen[row, slot[row, column]] = True
        seen[:, first] = True
        served = np.maximum(served, seen.sum(axis=1))
    order = np.lexsort((np.abs(ratio - 1.0), -served))
    keep = np.zeros(ratio.size, dtype=bool)
    keep[order[: KEPT_EACH * ring.slots]] = True
    return keep
