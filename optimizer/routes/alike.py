"""Which options fly one and the same flight, or flights of one kind: masks by the key of an option."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .options import I, Options

Name = tuple[float, ...]
"""Key of an option (see `itinerary.key`)."""


def kind_of(name: Name) -> Name:
    """The key without the moments of liftoff and of leaving the parking orbit."""
    return (*name[:2], *name[4:])


def same(options: Options, name: Name, *, any_moment: bool = False) -> NDArray[np.bool_]:
    """Mask of the options with that key; with ``any_moment`` also of those that differ in their moments only."""
    out = np.zeros(len(options), dtype=bool)
    out[rows_like(options, name, any_moment=any_moment)] = True
    return out


def rows_like(options: Options, name: Name, *, any_moment: bool = False) -> I:
    """The rows of :func:`same`: of many options only those into the slot are looked at."""
    who, slot, liftoff, wait, passes, k, m, flight, dropped_at, waiting, turned = name
    rows = options.into(int(slot))
    mask = (
        (options.flight[rows] == flight)
        & (options.revolutions[rows] == k)
        & (options.ring_revolutions[rows] == m)
        & (options.passes[rows] == passes)
    )
    mask &= (
        (options.way[rows] == who) if who >= 0 else (options.way[rows] < 0) & (options.craft_class[rows] == -1.0 - who)
    )
    rows = rows[mask]
    if not rows.size:
        return rows
    speed = np.where(options.bundle[rows] >= 0, options.carrier_speed_m_s[rows], -1.0)
    mask = (np.abs(speed - dropped_at) < 1e-5) & (np.abs(np.nan_to_num(options.waiting_m[rows]) - waiting) < 1e-2)
    mask &= np.abs(np.nan_to_num(options.turned_s[rows], nan=-1.0) - turned) < 1e-5
    if not any_moment:
        mask &= np.abs(options.parking_wait_s[rows] - wait) < 1e-5
        if who >= 0:
            mask &= np.abs(options.liftoff_s[rows] - liftoff) < 1e-5
    return rows[mask]
