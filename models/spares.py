"""Spares that are up: craft that wait in the ring between slots, or on a circle below or above it, for a loss."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .scenario import Craft


@dataclass(frozen=True, kw_only=True)
class Spare:
    """A spare and where it waits; its craft has no orbit.

    Args:
        craft: name, masses, engine, area.
        plane: of the ring, that it lies in at the epoch.
        after_slot: it waits in the ring midway between this slot and the next; None where the angle is given.
        angle_rad: argument of latitude at the epoch, None where the slot is given.
        radius_m: of the circle in which it waits; None in the ring itself.
    """

    craft: Craft
    plane: int = 0
    after_slot: int | None = None
    angle_rad: float | None = None
    radius_m: float | None = None
