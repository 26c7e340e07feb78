"""Several craft on one carrier: orbits that touch the ring at one point and bring a new slot there on every pass.

If the carrier's period is p / N of the ring's (N slots), the ring turns by p / N of a turn between passes, so the slot
at the touching point steps back by p each time. Drops on all passes meet different slots until all are served exactly
if p and N have no common divisor. Two-body, impulsive, in the ring plane. Each craft makes its own burn into the ring
as it is dropped; the carrier pays only for entering its orbit. From below, with the apoapsis on the ring, a carrier
saves nothing: what the craft no longer pays, the carrier did. (Kepler's third law and the residue classes of whole
numbers; common practice, no source.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import orbits
from .arrays import Array
from .errors import InputError
from .ring import Ring


@dataclass(frozen=True, kw_only=True)
class CarrierOrbits:
    """Every carrier orbit within the limits, as columns of one shape (n,), the shortest first.

    Args:
        step: p: slots that pass the touching point from one pass to the next; below the slot number of the ring the
            carrier is inside the ring (periapsis below, apoapsis on it), beyond it outside.
        entry_delta_v_m_s: the carrier's burn from its arrival into this orbit.
    """

    step: NDArray[np.int64]
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
        The orbits, by step. Empty where none fits.

    Raises:
        InputError: no ceiling.
    """
    if not math.isfinite(ceiling_m):
        raise InputError("carrier orbits above the ring need a ceiling, or there is no end.")
    longest = float(orbits.period(ring.gm, 0.5 * (ring.radius_m + max(ring.radius_m, ceiling_m))))
    step = np.arange(1, 1 + math.floor(ring.slots * longest / ring.period_s * (1.0 + 1e-12)), dtype=np.int64)
    other = 2.0 * orbits.semi_major(ring.gm, step / ring.slots * ring.period_s) - ring.radius_m
    fits = np.where(step < ring.slots, other >= floor_m, (other <= ceiling_m) & (ring.radius_m >= floor_m))
    fits &= (step != ring.slots) & (other > 0.0)
    speed = orbits.speed(ring.gm, ring.radius_m, 0.5 * (ring.radius_m + other[fits]))
    return CarrierOrbits(step=step[fits], entry_delta_v_m_s=np.abs(speed - arrival_speed_m_s))
