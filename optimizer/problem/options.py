"""The catalogue's columns: one row an option, one array a quantity.

A row serves one craft class in one slot. The rows of craft that a carrier drops belong together: they are one bundle,
which the schedule takes whole or not at all, as one column with several pairs.

What only one route knows about its options stands in a table of that route (`detail.py`), to which rows point.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...models.arrays import joined
from ..schedule.columns import Columns, dominated
from .detail import Detail

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741 - the integer twin of F

UNNAMED = -1
"""The route of options that their route has made and the registry has not marked yet."""

_ZERO: Any = 0
_NONE: Any = -1
_NO_TIME: Any = 0.0
_NEVER: Any = math.nan
"""What a column holds in all rows where a route does not give it."""

NO_TABLES: Mapping[int, Detail] = MappingProxyType({})


@dataclass(frozen=True, kw_only=True)
class Option:
    """One option: a row of :class:`Options`, with the values of its route's table as its key has them (``own``)."""

    craft_class: int
    slot: int
    route: int
    pad: int
    way: int
    liftoff_s: float
    parking_wait_s: float
    passes: int
    revolutions: int
    ring_revolutions: int
    touch_s: float
    burn_s: float
    finish_s: float
    lead_rad: float
    speed_m_s: float
    turn_after_s: float
    delta_v_m_s: float
    lowest_m: float
    highest_m: float
    bundle: int
    own: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Options:
    """Options as columns, all of length n. Times s from the epoch, speeds m/s, radii m, angles rad.

    Args:
        craft_class: index of the class of alike craft.
        slot: slot in the ring.
        pad, way: index of the pad and of the way up from it, -1 for a craft in space.
        liftoff_s: nan for a craft in space.
        parking_wait_s: from insertion to leaving the parking orbit; in the waiting orbit of a drift.
        passes: touches of the ring let by before the first burn.
        revolutions, ring_revolutions: k and m; both 0 where no phasing is needed.
        touch_s: first touch of the ring radius.
        burn_s: the touch at which the phasing (or the last) burn comes.
        finish_s: last burn, craft in its slot.
        lead_rad: the slot's lead at ``burn_s``, in (-pi, pi].
        speed_m_s: speed at the ring after the burn at ``burn_s``.
        turn_after_s: from the last burn at the ring to one at the relative node that turns the plane into the ring's; 0
            where there is none.
        delta_v_m_s: all burns that the craft pays.
        lowest_m, highest_m: lowest and highest radius on every arc after insertion.
        bundle: rows of one carrier share a number and stand side by side; -1 for a craft that goes by itself.
        route: place in the registry of routes; `UNNAMED` until an option leaves its route.
        detail: row in the table of the route, where it has one; else -1.
        operator: in the schedule, the place after those of the pads of whoever moves the craft, where arrivals are to
            be apart; else -1.
        tables: by route, the columns that it alone has.
    """

    craft_class: I = _ZERO
    slot: I
    pad: I = _NONE
    way: I = _NONE
    liftoff_s: F = _NEVER
    parking_wait_s: F = _NO_TIME
    passes: I = _ZERO
    revolutions: I
    ring_revolutions: I
    touch_s: F
    burn_s: F
    finish_s: F
    lead_rad: F
    speed_m_s: F
    turn_after_s: F = _NO_TIME
    delta_v_m_s: F
    lowest_m: F
    highest_m: F
    bundle: I = _NONE
    route: I = _NONE
    detail: I = _NONE
    operator: I = _NONE
    tables: Mapping[int, Detail] = field(default_factory=lambda: NO_TABLES)

    def __post_init__(self) -> None:
        held = vars(self)
        given = [name for name, value in held.items() if isinstance(value, int | float)]
        held.update({name: np.full(self.slot.size, held[name]) for name in given})

    def __len__(self) -> int:
        return int(self.slot.size)

    @property
    def phasing_s(self) -> F:
        """Time spent phasing at the ring, s: from the burn at ``burn_s`` to the last one there."""
        return np.asarray(self.finish_s - self.turn_after_s - self.burn_s)

    def take(self, which: NDArray[np.bool_] | I) -> Options:
        """The rows picked by a mask or by indices."""
        held = vars(self)
        return Options(**{name: held[name][which] for name in COLUMNS}, tables=self.tables)

    def one(self, row: int) -> Option:
        """One row."""
        table = self.tables.get(int(self.route[row]))
        own = () if table is None else table.values(int(self.detail[row]))
        return Option(
            **{name: getattr(self, name)[row].item() for name in COLUMNS if name not in {"detail", "operator"}}, own=own
        )

    def with_table(self, table: Detail) -> Options:
        """The same with the columns that their route alone has, row by row; before they leave it."""
        return replace(self, detail=np.arange(len(self)), tables={UNNAMED: table})

    def of_route(self, route: int) -> Options:
        """The same, all of one route, as they leave it."""
        tables = {route: self.tables[UNNAMED]} if UNNAMED in self.tables else NO_TABLES
        return replace(self, route=np.full(len(self), route), tables=tables)

    def detailed(self) -> Iterator[tuple[I, Detail]]:
        """For each route with a separate table: the rows of the options, and its table row by row for these."""
        for route, table in self.tables.items():
            rows = np.flatnonzero(self.route == route)
            if rows.size:
                yield rows, table.take(self.detail[rows])

    @cached_property
    def first_row(self) -> I:
        """First row of each column of the schedule: of every bundle, and every row outside of one."""
        new = np.ones(len(self), dtype=bool)
        new[1:] = (self.bundle[1:] < 0) | (self.bundle[1:] != self.bundle[:-1])
        return np.flatnonzero(new)

    @cached_property
    def column(self) -> I:
        """The column of the schedule that each row belongs to."""
        counts = np.diff(self.first_row, append=len(self))
        return np.repeat(np.arange(self.first_row.size), counts)

    @cached_property
    def _by_slot(self) -> tuple[I, I]:
        order = np.argsort(self.slot, kind="stable")
        return order, self.slot[order]

    def into(self, slot: int) -> I:
        """The rows into a slot, in order."""
        order, slots = self._by_slot
        first, last = np.searchsorted(slots, [slot, slot + 1])
        return order[first:last]

    def whole(self, rows: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """A mask of rows with bundles cut out of it that it holds in part only."""
        if not self.bundled:
            return rows
        return np.asarray(np.logical_and.reduceat(rows, self.first_row)[self.column]) if len(self) else rows

    @cached_property
    def bundled(self) -> bool:
        """Whether there is any bundle."""
        return bool(np.any(self.bundle >= 0))

    @property
    def side(self) -> I:
        """-1 below, 0 level, 1 above, by the phasing period against the ring's."""
        turn = self.lead_rad / (2.0 * np.pi)
        ratio = np.where(self.revolutions > 0, (self.ring_revolutions - turn) / np.maximum(self.revolutions, 1), 1.0)
        return np.asarray(np.sign(ratio - 1.0), dtype=np.int64)


COLUMNS = tuple(field.name for field in fields(Options) if field.name != "tables")
WHOLE = {name for name in COLUMNS if Options.__dataclass_fields__[name].type == "I"}


def empty() -> Options:
    """No options at all."""
    none: dict[str, Any] = {name: np.zeros(0, dtype=np.int64 if name in WHOLE else np.float64) for name in COLUMNS}
    return Options(**none)


def join(parts: list[Options]) -> Options:
    """All rows of several, in order; bundles are renumbered, so that those of different parts stay apart."""
    if not parts:
        return empty()
    whole: dict[str, Any] = {name: np.concatenate([getattr(part, name) for part in parts]) for name in COLUMNS}
    used = 0
    numbers = []
    for part in parts:
        numbers.append(np.where(part.bundle >= 0, part.bundle + used, -1))
        used += int(part.bundle.max(initial=-1)) + 1
    whole["bundle"] = np.concatenate(numbers)
    tables = {}
    for route in dict.fromkeys(route for part in parts for route in part.tables):
        own = [part.tables[route].take(part.detail[part.route == route]) for part in parts if route in part.tables]
        tables[route] = joined(own)
        whole["detail"][whole["route"] == route] = np.arange(len(tables[route]))
    return Options(**whole, tables=tables)


def summed(options: Options, value: F) -> F:
    """A quantity of the rows, summed over each column of the schedule."""
    return np.add.reduceat(value, options.first_row) if options.bundled else value


def worst(options: Options, value: F) -> F:
    """A quantity of the rows, the greatest in each column of the schedule."""
    return np.maximum.reduceat(value, options.first_row) if options.bundled else value


def columns(options: Options, cost: F | None = None) -> Columns:
    """The options as the schedule sees them, a bundle as one column; ``cost`` of each row is delta-v unless given.

    An arrival that has to be apart from others stands in the place of a liftoff.
    """
    first = options.first_row
    return Columns(
        cost=summed(options, options.delta_v_m_s if cost is None else cost),
        finish_s=worst(options, options.finish_s),
        pad=np.where(options.operator >= 0, options.operator, options.pad)[first],
        liftoff_s=np.where(options.operator >= 0, options.finish_s, options.liftoff_s)[first],
        pair_column=options.column,
        pair_class=options.craft_class,
        pair_slot=options.slot,
    )


def undominated(options: Options) -> NDArray[np.bool_]:
    """Mask of the options that no other of the same class, slot and liftoff beats in delta-v and time at once.

    Exact for every aim that grows with both. Costs and times that differ by rounding only count as alike. Bundles are
    left as they are: their route leaves out those that others beat.
    """
    if not len(options):
        return np.zeros(0, dtype=bool)
    rounded = replace(columns(options, np.round(options.delta_v_m_s, 8)))
    rounded = replace(rounded, finish_s=np.round(rounded.finish_s, 5))
    return np.asarray(~dominated(rounded)[options.column])
