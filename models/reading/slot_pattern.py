"""Slots that are not equally spaced: `ring.slots_deg`, checked and read."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from ..readouts import brief
from .document import Table

APART_RAD = math.radians(0.001)
"""Slots nearer to one another than this are one place: a hundredth of the usual tolerance and less."""

EVEN_RAD = math.radians(1e-7)
"""Angles this close to equally spaced ones are those, as far as a file rounds them."""


def pattern_of(table: Table) -> tuple[int, tuple[float, ...]] | None:
    """How many slots a file lists, and how far each is ahead of slot 0, rad; None where it lists none.

    The angles are left out where they are equally spaced.

    Raises:
        InputError: they are no pattern of slots.
    """
    entry = table.entries.get("pattern")
    if entry is None or not isinstance(entry.value, tuple):
        return None
    listed = tuple(float(one) for one in entry.value)
    wrong = fault(listed)
    if wrong:
        raise table.refused("pattern", f"{wrong}")
    return len(listed), uneven(listed)


def fault(listed: Sequence[float]) -> str:
    """What is wrong with a list of angles ahead of slot 0, rad, and what would be accepted; empty for nothing.

    >>> fault((0.0, 1.0)), fault((1.0, 2.0))
    ('', 'should begin with slot 0 itself: 0, then how far each slot is ahead of it.')
    """
    if listed[0] != 0.0:
        return "should begin with slot 0 itself: 0, then how far each slot is ahead of it."
    least = f"{brief(math.degrees(APART_RAD))} deg"
    for slot, (before, one) in enumerate(pairwise(listed), start=1):
        if not one - before >= APART_RAD:
            return (
                f"should rise: put slot {slot} at {brief(math.degrees(one))} deg ahead of slot {slot - 1} at "
                f"{brief(math.degrees(before))} deg by {least} or more."
            )
    if not listed[-1] <= 2.0 * math.pi - APART_RAD:
        return f"comes round to slot 0: the last slot should be {least} or more short of a whole turn."
    return ""


def uneven(listed: Sequence[float]) -> tuple[float, ...]:
    """The angles as they are, or nothing where they are equally spaced.

    >>> uneven((0.0, math.pi)), uneven((0.0, 1.0))
    ((), (0.0, 1.0))
    """
    even = (2.0 * math.pi * slot / len(listed) for slot in range(len(listed)))
    return () if all(abs(one - at) <= EVEN_RAD for one, at in zip(listed, even, strict=True)) else tuple(listed)
