"""Which options fly one and the same flight, or flights of one kind: masks by the key of an option."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .options import Options

Name = tuple[float, ...]
"""Key of an option (see `itinerary.key`)."""


def kind_of(name: Name) -> Name:
    """The key without the moments of liftoff and of leaving the parking orbit."""
    return (*name[:2], *name[4:])


def same(options: Options, name: Name, *, any_moment: bool = False) -> NDArray[np.bool_]:
    """Mask of the options with that key; with ``any_moment`` also of those that differ in their moments only."""
    who, slot, liftoff, wait, passes, k, m, flight, dropped_at, waiting, turned = name
    mask = (
        (options.slot == slot)
        & (options.flight == flight)
        & (options.revolutions == k)
        & (options.ring_revolutions == m)
        & (options.passes == passes)
    )
    mask &= (options.way == who) if who >= 0 else (options.way < 0) & (options.craft_class == -1.0 - who)
    if not mask.any():
        return np.asarray(mask)
    speed = np.where(options.bundle >= 0, options.carrier_speed_m_s, -1.0)
    mask &= (np.abs(speed - dropped_at) < 1e-5) & (np.abs(np.nan_to_num(options.waiting_m) - waiting) < 1e-2)
    mask &= np.abs(np.nan_to_num(options.turned_s, nan=-1.0) - turned) < 1e-5
    if any_moment:
        return np.asarray(mask)
    mask &= np.abs(options.parking_wait_s - wait) < 1e-5
    return np.asarray(mask & (np.abs(options.liftoff_s - liftoff) < 1e-5) if who >= 0 else mask)
