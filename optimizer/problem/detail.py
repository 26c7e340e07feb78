"""The columns that one route alone has, and what follows from them for code that handles options of any route."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from numpy.typing import NDArray

from ...models.arrays import Rows

if TYPE_CHECKING:
    from ...models.ring import Ring
    from .options import Options
    from .problem import Problem

F = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class Detail(Rows):
    """Columns of one route, all of length n. A route that needs any derives from this.

    ``impulsive``: its burns are flown as impulses whatever the engine. ``by_touches``: between burns it touches the
    ring once in each revolution and is elsewhere away from it; where not, ``passes`` answers who is met. ``at_pass``: a
    launch lifts off at its pass, and no flight moves that. Rows differ by the columns ``told_by``, each to so many
    places; by the first one to six where it is empty.
    """

    impulsive: ClassVar[bool] = False
    by_touches: ClassVar[bool] = True
    at_pass: ClassVar[bool] = False
    told_by: ClassVar[Mapping[str, int]] = {}

    @property
    def _told(self) -> list[tuple[F, int]]:
        by = self.told_by or {fields(self)[0].name: 6}
        return [(getattr(self, name), places) for name, places in by.items()]

    def values(self, row: int) -> tuple[float, ...]:
        """What distinguishes one row from others, rounded to what counts."""
        return tuple(round(float(column[row]), places) for column, places in self._told)

    def alike(self, values: tuple[float, ...]) -> Mask:
        """The rows with those values, but for rounding; (n,)."""
        near = [
            np.abs(column - value) < 10.0 ** (1 - places)
            for (column, places), value in zip(self._told, values, strict=True)
        ]
        return np.asarray(np.all(near, axis=0))

    def at_touches(self) -> Mask:
        """Which are near craft of their plane at touches of the ring alone, (n,): all, or none, of most routes."""
        return np.full(len(self), self.by_touches)

    def arrival_speed_m_s(self) -> F | None:
        """Speed on the orbit from which each first burns at the ring, (n,); None where it is the craft's own."""
        return None

    def rode(self) -> tuple[NDArray[np.int64], F] | None:
        """Passes in another orbit before that, and the speed at the ring there, (n,); None where there is none."""
        return None

    def burns(self, problem: Problem, options: Options, size_m_s: F, time_s: F) -> tuple[F, F]:
        """Sizes and times of the burns, (n, burns), from those of plain phasing; nan where there is none."""
        return size_m_s, time_s

    def passes(self, row: int, ring: Ring, angle_rad: F, separation_m: float, together: Mask) -> tuple[Mask, F]:
        """Whether craft on the ring, at angles (m,) at time 0, come too close, and until when; nan where they do not.

        ``together`` marks those that it starts together with: they count once they were outside the separation.
        """
        raise NotImplementedError
