"""Forces beyond the pull of the body itself: terms of one sum, each a function of time and state, batched over arcs.

A term is one file in this folder and enters in one place, `Field.terms`. It takes the times of the arcs that are
stepped together, (n,), seconds from the epoch, their positions and velocities, (3, n), m and m/s, in the base frame,
and their surfaces; it returns accelerations, (3, n), m/s^2.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from ..surroundings import Surface
from .gravity import Number, Oblate, PointMass

Array = NDArray[np.float64]


class Surfaces(NamedTuple):
    """What air and light meet of each arc's craft, (n,) each, m^2/kg (see `surroundings.Surface`)."""

    drag_m2_kg: Array
    light_m2_kg: Array

    @staticmethod
    def of(found: Sequence[Surface]) -> Surfaces:
        """From one surface for each arc."""
        return Surfaces(np.array([one.drag_m2_kg for one in found]), np.array([one.light_m2_kg for one in found]))

    def some(self, chosen: NDArray[np.intp]) -> Surfaces:
        """Those of some of the arcs."""
        return Surfaces(self.drag_m2_kg[chosen], self.light_m2_kg[chosen])


class Term(Protocol):
    """A force beyond the pull of the body itself."""

    @property
    def name(self) -> str:
        """As it is printed: "Sun", "drag"."""

    def acceleration(self, time_s: Array, position: Array, velocity: Array, surfaces: Surfaces) -> Array:
        """Acceleration, m/s^2, (3, n)."""


@dataclass(frozen=True, kw_only=True)
class Field:
    """The pull of the body itself, which paces the integration, and the terms that come on top of it.

    Args:
        near: point mass, with the bulge where it has one.
        terms: everything else.
    """

    near: PointMass | Oblate
    terms: tuple[Term, ...] = ()

    @property
    def gm(self) -> float:
        """Gravitational parameter of the body, m^3/s^2."""
        return self.near.gm

    def acceleration(self, position: Array) -> Array:
        """Of the body's own pull alone, m/s^2; both of shape (3, n)."""
        return self.near.acceleration(position)

    def pull(self, x: Number, y: Number, z: Number, square: Number, cube: Number) -> tuple[Number, Number, Number]:
        """The same by components, where square and cube of the radius are known."""
        return self.near.pull(x, y, z, square, cube)


@dataclass(frozen=True, kw_only=True)
class Extra:
    """The terms for arcs stepped together, which know their time since they began.

    Args:
        terms: at least one.
        begin_s: (n,) when each arc began, from the epoch.
        surfaces: of each arc's craft.
    """

    terms: tuple[Term, ...]
    begin_s: Array
    surfaces: Surfaces

    def of(self, chosen: NDArray[np.intp]) -> Extra:
        """The same for some of the arcs."""
        return Extra(terms=self.terms, begin_s=self.begin_s[chosen], surfaces=self.surfaces.some(chosen))

    def later(self, elapsed_s: Array) -> Extra:
        """The same for arcs that go on from so long after their beginning, (n,)."""
        return Extra(terms=self.terms, begin_s=self.begin_s + elapsed_s, surfaces=self.surfaces)

    def acceleration(self, elapsed_s: Array, position: Array, velocity: Array) -> Array:
        """Sum of all terms, (3, n), a time (n,) after the arcs began."""
        time_s = self.begin_s + elapsed_s
        found = self.terms[0].acceleration(time_s, position, velocity, self.surfaces)
        for term in self.terms[1:]:
            found = found + term.acceleration(time_s, position, velocity, self.surfaces)
        return found
