"""What distinguishes one option, and one flight, from another."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .options import I, Options
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
    out = np.zeros(len(options), dtype=bool)
    out[rows_like(options, name, any_moment=any_moment)] = True
    return out


def rows_like(options: Options, name: OptionKey, *, any_moment: bool = False) -> I:
    """The rows of :func:`same`: of many options only those into the slot are examined."""
    rows: I = options.into(name.slot)
    mask = (
        (options.route[rows] == name.route)
        & (options.revolutions[rows] == name.revolutions)
        & (options.ring_revolutions[rows] == name.ring_revolutions)
        & (options.passes[rows] == name.passes)
    )
    if name.way is None:
        mask &= (options.way[rows] < 0) & (options.craft_class[rows] == name.craft_class)
    else:
        mask &= options.way[rows] == name.way
    rows = rows[mask]
    if not rows.size:
        return rows
    if name.own:
        rows = rows[options.tables[name.route].take(options.detail[rows]).alike(name.own)]
    if any_moment:
        return rows
    near = np.abs(options.parking_wait_s[rows] - name.parking_wait_s) < 1e-5
    if name.liftoff_s is not None:
        near &= np.abs(options.liftoff_s[rows] - name.liftoff_s) < 1e-5
    return rows[near]
