"""What distinguishes one option, and one flight, from another."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .options import Options
from .problem import Problem


@dataclass(frozen=True, kw_only=True, slots=True)
class OptionKey:
    """What distinguishes one option from another, whichever craft of a class of alike craft flies it.

    ``craft_class`` is None for one that lifts off, which craft of any class may fly; ``way`` and ``liftoff_s`` are None
    for a craft in space. ``own`` are the values that its route alone has.
    """

    route: int
    way: int | None
    craft_class: int | None
    slot: int
    liftoff_s: float | None
    parking_wait_s: float
    passes: int
    revolutions: int
    ring_revolutions: int
    own: tuple[float, ...] = ()

    @property
    def kind(self) -> OptionKey:
        """The key without the moments of liftoff and of leaving the parking orbit."""
        return replace(self, liftoff_s=None, parking_wait_s=0.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class FlightKey:
    """The same, and by whose engine: a craft class where its burns take time, None where all burn alike."""

    option: OptionKey
    engine: int | None


def key(options: Options, row: int) -> OptionKey:
    """The key of one option."""
    one = options.one(row)
    lifts_off = one.way >= 0
    return OptionKey(
        route=one.route,
        way=one.way if lifts_off else None,
        craft_class=None if lifts_off else one.craft_class,
        slot=one.slot,
        liftoff_s=round(one.liftoff_s, 6) if lifts_off else None,
        parking_wait_s=round(one.parking_wait_s, 6),
        passes=one.passes,
        revolutions=one.revolutions,
        ring_revolutions=one.ring_revolutions,
        own=one.own,
    )


def flight_key(problem: Problem, options: Options, row: int) -> FlightKey:
    """The key of its flight."""
    index = int(options.craft_class[row])
    return FlightKey(option=key(options, row), engine=None if problem.classes[index].craft.thrust_n is None else index)


def same(options: Options, name: OptionKey, *, any_moment: bool = False) -> NDArray[np.bool_]:
    """Mask of the options with that key; with ``any_moment`` also of those that differ in their moments only."""
    mask = (
        (options.slot == name.slot)
        & (options.route == name.route)
        & (options.revolutions == name.revolutions)
        & (options.ring_revolutions == name.ring_revolutions)
        & (options.passes == name.passes)
    )
    if name.way is None:
        mask &= (options.way < 0) & (options.craft_class == name.craft_class)
    else:
        mask &= options.way == name.way
    if not mask.any():
        return np.asarray(mask)
    if name.own:
        rows = np.flatnonzero(mask)
        mask[rows] = options.tables[name.route].take(options.detail[rows]).alike(name.own)
    if any_moment:
        return np.asarray(mask)
    mask &= np.abs(options.parking_wait_s - name.parking_wait_s) < 1e-5
    return np.asarray(mask if name.liftoff_s is None else mask & (np.abs(options.liftoff_s - name.liftoff_s) < 1e-5))
