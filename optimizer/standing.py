"""How craft stand after a second flight under further forces (see ``robustness/under_forces.py``): values only."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..models.force_choice import Chosen


@dataclass(frozen=True, kw_only=True)
class Standing:
    """One craft after the flight: against its slot with the common shift taken off, and its period against the ring's.

    Both None for a craft that came down, or that did not come round in a turn's time.
    """

    craft: str
    spacing_rad: float | None
    period_error_s: float | None


@dataclass(frozen=True, kw_only=True)
class UnderForces:
    """What came of the second flight.

    Args:
        chosen: the forces flown and those left out.
        craft: those that move, then those that stay; empty where the plan is too long to be flown again.
        common_shift_rad: by which all craft are elsewhere; 0 where none came through.
        at_s, span_s: beginning and length of the turn over which the means were taken.
    """

    chosen: Chosen
    craft: tuple[Standing, ...]
    common_shift_rad: float
    at_s: float
    span_s: float

    @property
    def worst_rad(self) -> float:
        """Largest error in the spacing; infinite where a craft did not come through."""
        sizes = [math.inf if one.spacing_rad is None else abs(one.spacing_rad) for one in self.craft]
        return max(sizes, default=0.0)
