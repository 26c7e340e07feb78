"""Schedules that are plain assignments: each column one craft in one slot, with no pad and no row that ties columns.

`scipy.optimize.linear_sum_assignment` finds the plan (Crouse 2016, after Jonker and Volgenant 1987); the prices that
prove it are shortest distances between slots, where the way from a taken slot to another costs what its craft would pay
more there (Bellman 1958; Ahuja, Magnanti and Orlin 1993, section 12.4).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .columns import Bool, F, I
from .presolve import Packed

CRAFT_MAX = 400
"""Above this the square table of shortest distances costs more than column generation."""


@dataclass(frozen=True, kw_only=True)
class Assigned:
    """The cheapest plan: its ``columns``, and prices of classes (C,) and slots (S,), the latter never above zero."""

    columns: I
    class_price: F
    slot_price: F


def is_assignment(packed: Packed) -> bool:
    """Whether nothing but the slots ties columns together."""
    return (
        packed.width is None
        and not packed.group_start.size
        and not packed.side_limit.size
        and int(packed.count.sum()) <= CRAFT_MAX
        and bool(np.all(packed.moment >= packed.moments))
    )


def assign(packed: Packed, barred: Bool | None) -> Assigned | None:
    """The cheapest plan of an assignment without the columns that are barred; None where there is none."""
    from scipy.optimize import linear_sum_assignment

    classes, slots = packed.count.size, packed.slots
    cost = packed.cost if barred is None else np.where(barred, np.inf, packed.cost)
    table = np.full(classes * slots, np.inf)
    np.minimum.at(table, packed.key, cost)
    at = np.flatnonzero((cost == table[packed.key]) & np.isfinite(cost))[::-1]
    winner = np.full(classes * slots, -1)
    winner[packed.key[at]] = at
    by_class = table.reshape(classes, slots)
    craft = np.repeat(np.arange(classes), packed.count)
    if craft.size > slots:
        return None
    each = by_class[craft]
    try:
        row, slot = linear_sum_assignment(each)
    except ValueError:  # scipy's word for a table without a finite assignment
        return None
    dearer = each - each[row, slot][:, np.newaxis]
    price = np.zeros(slots)
    for _ in range(craft.size):
        lower = np.minimum(price, (price[slot][:, np.newaxis] + dearer).min(axis=0, initial=np.inf))
        if np.array_equal(lower, price):
            break
        price = lower
    least = (by_class - price).min(axis=1)
    return Assigned(
        columns=winner[craft[row] * slots + slot],
        class_price=np.where(np.isfinite(least), least, 0.0),
        slot_price=price,
    )
