"""Ranges of functions over boxes that no rounding can leave: first-order Taylor models with remainder, in columns.

Over a box with half-widths rho about its center a quantity is enclosed as ``middle + sum_i slope_i t_i + r`` with every
t_i in [-1, 1] and \\|r\\| <= ``rest``. Sums and products of the linear parts are exact but for what goes into the rest,
so that the excess falls with the square of the width (affine arithmetic: Moore, Kearfott, Cloud, Introduction to
Interval Analysis, SIAM 2009, chapter 9, from memory).

Rounding: with unit roundoff u = 2^-53 no operation here makes more than 40 roundings in a row, each of a quantity whose
size is at most the product (or sum) of the sizes of the operands, so 40 u < 5e-15 of it bounds what rounding can do to
middle, slopes and rest together. The rest is widened by ``SLACK`` = 1e-13 of that size, twenty times as much.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...models.arrays import Array

SLACK = 1e-13
"""Share of the size of the operands by which every result is widened."""


@dataclass(frozen=True, slots=True)
class Enclosure:
    """A quantity over N boxes: ``middle`` (N,), ``slopes`` (d, N) over each box's half-widths, ``rest`` (N,)."""

    middle: Array
    slopes: Array
    rest: Array

    # NumPy must leave ``array * enclosure`` to the methods here
    __array_ufunc__ = None

    def _swing(self) -> Array:
        """How far the quantity may lie from the middle, (N,)."""
        swing: Array = np.abs(self.slopes).sum(axis=0) + self.rest
        return swing * (1.0 + SLACK)

    def _size(self) -> Array:
        size: Array = np.abs(self.middle) + self._swing()
        return size

    def lowest(self) -> Array:
        """A lower bound of the quantity, (N,)."""
        return self.middle - self._swing() - SLACK * np.abs(self.middle)

    def highest(self) -> Array:
        """An upper bound of the quantity, (N,)."""
        return self.middle + self._swing() + SLACK * np.abs(self.middle)

    def __add__(self, other: Enclosure | float) -> Enclosure:
        if not isinstance(other, Enclosure):
            middle = self.middle + other
            return Enclosure(middle, self.slopes, self.rest + SLACK * (np.abs(middle) + self.rest))
        size = self._size() + other._size()
        return Enclosure(self.middle + other.middle, self.slopes + other.slopes, self.rest + other.rest + SLACK * size)

    __radd__ = __add__

    def __neg__(self) -> Enclosure:
        return Enclosure(-self.middle, -self.slopes, self.rest)

    def __sub__(self, other: Enclosure | float) -> Enclosure:
        return self + (-other)

    def __rsub__(self, other: float) -> Enclosure:
        return -self + other

    def __mul__(self, other: Enclosure | float) -> Enclosure:
        if not isinstance(other, Enclosure):
            size = self._size() * abs(other)
            return Enclosure(self.middle * other, self.slopes * other, self.rest * abs(other) + SLACK * size)
        swing, others = self._swing(), other._swing()
        rest = (
            np.abs(self.middle) * other.rest
            + np.abs(other.middle) * self.rest
            + swing * others
            + SLACK * (np.abs(self.middle) + swing) * (np.abs(other.middle) + others)
        )
        return Enclosure(self.middle * other.middle, self.middle * other.slopes + other.middle * self.slopes, rest)

    __rmul__ = __mul__

    def square(self) -> Enclosure:
        """The square: of the linear part's own square, in [0, s^2], half goes into the middle."""
        swing = np.abs(self.slopes).sum(axis=0) * (1.0 + SLACK)
        half = 0.5 * swing * swing
        rest = half + (2.0 * (np.abs(self.middle) + swing) + self.rest) * self.rest
        size = (np.abs(self.middle) + swing + self.rest) ** 2
        return Enclosure(self.middle * self.middle + half, 2.0 * self.middle * self.slopes, rest + SLACK * size)

    def reciprocal(self) -> Enclosure:
        """One over the quantity, which must be positive over every box.

        1/u = 1/m - (u - m)/m^2 + (u - m)^2/(u m^2), and the last part lies between 0 and swing^2/(lowest m^2).

        Raises:
            ZeroDivisionError: where the enclosure does not exclude zero.
        """
        low = self.lowest()
        if not bool((low > 0.0).all()):
            raise ZeroDivisionError("a reciprocal over a box that may hold zero")
        inverse = 1.0 / self.middle
        swing = self._swing()
        half = 0.5 * swing * swing * inverse * inverse / low
        rest = half + self.rest * inverse * inverse + SLACK * (1.0 / low)
        return Enclosure(inverse + half, -self.slopes * (inverse * inverse), rest * (1.0 + SLACK))

    def root(self) -> Enclosure:
        """The square root of the quantity, which must be positive over every box.

        sqrt(u) = sqrt(m) + (u - m)/(2 sqrt(m)) - (u - m)^2/(2 sqrt(m) (sqrt(u) + sqrt(m))^2).

        Raises:
            ZeroDivisionError: where the enclosure does not exclude zero.
        """
        low = self.lowest()
        if not bool((low > 0.0).all()):
            raise ZeroDivisionError("a square root over a box that may hold zero")
        root = np.sqrt(self.middle)
        swing = self._swing()
        half = 0.25 * swing * swing / (root * (np.sqrt(low) + root) ** 2)
        rest = half + 0.5 * self.rest / root + SLACK * (root + swing / root)
        return Enclosure(root - half, self.slopes * (0.5 / root), rest * (1.0 + SLACK))


def coordinates(centers: Array, half_widths: Array) -> list[Enclosure]:
    """The coordinates of N boxes as enclosures.

    Args:
        centers, half_widths: (d, N).
    """
    found = []
    for row in range(len(centers)):
        slopes = np.zeros_like(centers)
        slopes[row] = half_widths[row]
        found.append(Enclosure(centers[row], slopes, np.zeros_like(centers[row])))
    return found
