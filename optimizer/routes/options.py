"""The catalogue's columns: one row an option, one array a quantity.

A row serves one craft class in one slot. The rows of craft that a carrier drops belong together: they are one bundle,
which the schedule takes whole or not at all, as one column with several pairs.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ..craft_plan import Route
from ..schedule.columns import Columns, dominated

F = NDArray[np.float64]
I = NDArray[np.int64]  # noqa: E741 - the integer twin of F

ROUTES: tuple[Route, ...] = ("direct", "park", "shift", "carrier", "drift", "timed")


@dataclass(frozen=True, kw_only=True)
class Options:
    """Options as columns, all of length n. Times s from the epoch, speeds m/s, radii m, angles rad.

    Args:
        craft_class: index of the class of alike craft.
        slot: slot in the ring.
        route: index into ``ROUTES``.
        pad, way: index of the pad and of the way up from it, -1 for a craft in space.
        flight: index of the free-form flight, -1 for every other route.
        liftoff_s: nan for a craft in space.
        parking_wait_s: from insertion to leaving the parking orbit.
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
        carrier_speed_m_s: speed at the ring of the orbit from which a carrier drops the craft; nan without a carrier.
            ``touch_s`` is the carrier's, ``passes`` are its passes from then on, ``burn_s`` is the drop.
        waiting_m: radius of the orbit in which a craft waits for its node to drift; nan for every other route. It waits
            for ``parking_wait_s``, until ``burn_s``.
        turned_s: when a craft on the ring turns into another plane, before all else; nan where it does not.
    """

    craft_class: I
    slot: I
    route: I
    pad: I
    way: I
    flight: I
    liftoff_s: F
    parking_wait_s: F
    passes: I
    revolutions: I
    ring_revolutions: I
    touch_s: F
    burn_s: F
    finish_s: F
    lead_rad: F
    speed_m_s: F
    turn_after_s: F
    delta_v_m_s: F
    lowest_m: F
    highest_m: F
    bundle: I = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    carrier_speed_m_s: F = field(default_factory=lambda: np.zeros(0))
    waiting_m: F = field(default_factory=lambda: np.zeros(0))
    turned_s: F = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        if self.bundle.size != self.slot.size:
            object.__setattr__(self, "bundle", np.full(self.slot.size, -1, dtype=np.int64))
            object.__setattr__(self, "carrier_speed_m_s", np.full(self.slot.size, np.nan))
        for name in ("waiting_m", "turned_s"):
            if getattr(self, name).size != self.slot.size:
                object.__setattr__(self, name, np.full(self.slot.size, np.nan))

    def __len__(self) -> int:
        return int(self.slot.size)

    @property
    def phasing_s(self) -> F:
        """Time spent phasing at the ring, s: from the burn at ``burn_s`` to the last one there."""
        return np.asarray(self.finish_s - self.turn_after_s - self.burn_s)

    def take(self, which: NDArray[np.bool_] | I) -> Options:
        """The rows picked by a mask or by indices."""
        return Options(**{field.name: getattr(self, field.name)[which] for field in fields(self)})

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


def empty() -> Options:
    """No options at all."""
    whole = {
        "craft_class",
        "slot",
        "route",
        "pad",
        "way",
        "flight",
        "passes",
        "revolutions",
        "ring_revolutions",
        "bundle",
    }
    return Options(
        **{f.name: np.zeros(0, dtype=np.int64 if f.name in whole else np.float64) for f in fields(Options)}  # type: ignore[arg-type]
    )


def join(parts: list[Options]) -> Options:
    """All rows of several, in order; bundles are renumbered, so that those of different parts stay apart."""
    if not parts:
        return empty()
    joined = {f.name: np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(Options)}
    used = 0
    numbers = []
    for part in parts:
        numbers.append(np.where(part.bundle >= 0, part.bundle + used, -1))
        used += int(part.bundle.max(initial=-1)) + 1
    return Options(**{**joined, "bundle": np.concatenate(numbers)})


def summed(options: Options, value: F) -> F:
    """A quantity of the rows, summed over each column of the schedule."""
    return np.add.reduceat(value, options.first_row) if options.bundled else value


def worst(options: Options, value: F) -> F:
    """A quantity of the rows, the greatest in each column of the schedule."""
    return np.maximum.reduceat(value, options.first_row) if options.bundled else value


def columns(options: Options, cost: F | None = None) -> Columns:
    """The options as the schedule sees them, a bundle as one column; ``cost`` of each row is delta-v unless given."""
    first = options.first_row
    return Columns(
        cost=summed(options, options.delta_v_m_s if cost is None else cost),
        finish_s=worst(options, options.finish_s),
        pad=options.pad[first] if options.bundled else options.pad,
        liftoff_s=options.liftoff_s[first] if options.bundled else options.liftoff_s,
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
