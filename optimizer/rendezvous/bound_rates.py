"""How fast a function of the orbit changes with an impulse, whatever its direction: the inequality behind the bound.

Units: ring radius 1, circular speed 1, GM 1. A coplanar orbit is described by

- ``g`` = a^(-1/2) - 1, by how much the circular speed at its semi-major axis exceeds the ring's;
- ``x`` = e cos f, ``y`` = e sin f, from eccentricity e and true anomaly f at the moment;
- ``l`` = (longitude / allowed time), where longitude is the mean longitude carried on to the end of the allowed time T,
  less the slot's at that time;
- ``s`` = what share of T is left, between 0 and 1, and ``k`` = 1 / T.

g, e and l do not change on a coast. An impulse (R outward, S along the transverse direction) changes them by Gauss's
equations (Battin, An Introduction to the Mathematics and Methods of Astrodynamics, AIAA 1999, section 10.2, from
memory; the tests differentiate Kepler's orbits numerically instead of believing it). With w = 1 + x, q = sqrt(1 - e^2),
b = 1 / (1 + q), c = 1 + g:

    dg          = -(y R + w S) / q
    d(e^2)      = 2 q / c (y R + (2 x + 2 x^2 + y^2) / w S)
    d(mean lon) = q / c (-(b x + 2 q / w) R + b (1 + 1 / w) y S)
    dl          = k d(mean lon) + 3 s c^2 dg

A function F(g, l, e^2) whose change per unit of impulse is nowhere more than one bounds the cost of every flight, with
impulses or with continuous thrust, from below by F(start) - F(end).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from ...models.arrays import Array

MONOMIALS = (
    (1, 0, 0),
    (0, 1, 0),
    (2, 0, 0),
    (1, 1, 0),
    (0, 2, 0),
    (0, 0, 1),
    (3, 0, 0),
    (2, 1, 0),
    (1, 2, 0),
    (0, 3, 0),
    (1, 0, 1),
    (0, 1, 1),
)
"""Powers of g, l and e^2 in F: all of degree three at most, e^2 counted as degree two."""

Quantity = Any
"""An array of floats or an :class:`.enclosure.Enclosure`: the formulas are the same."""


Pair = tuple[Quantity, Quantity]
"""Per unit of an impulse outward, and along the transverse direction."""


def root(value: Quantity) -> Quantity:
    return np.sqrt(value) if isinstance(value, np.ndarray) else value.root()


def inverse(value: Quantity) -> Quantity:
    return 1.0 / value if isinstance(value, np.ndarray) else value.reciprocal()


def square(value: Quantity) -> Quantity:
    return value * value if isinstance(value, np.ndarray) else value.square()


def element_rates(g: Quantity, x: Quantity, y: Quantity) -> tuple[Pair, Pair, Pair]:
    """Changes of g, mean longitude and e^2 per unit of impulse, each (outward, transverse)."""
    c, w = g + 1.0, x + 1.0
    x2, y2 = square(x), square(y)
    q = root(1.0 - (x2 + y2))
    q_inv, w_inv, c_inv = inverse(q), inverse(w), inverse(c)
    b = inverse(q + 1.0)
    q_c = q * c_inv
    speed = (-(y * q_inv), -(w * q_inv))
    longitude = (-(q_c * (b * x + 2.0 * (q * w_inv))), q_c * (b * (w_inv + 1.0) * y))
    e_squared = (2.0 * (q_c * y), 2.0 * (q_c * ((2.0 * x + 2.0 * x2 + y2) * w_inv)))
    return speed, longitude, e_squared


def powers(value: Quantity, highest: int) -> list[Quantity]:
    """Powers from the first to the highest."""
    found = [value]
    while len(found) < highest:
        found.append(square(value) if len(found) == 1 else found[-1] * value)
    return found


def _sum(terms: Sequence[tuple[float, list[Quantity]]]) -> tuple[float, Quantity]:
    """A sum of coefficients times products: its constant part, and the rest or None."""
    constant, total = 0.0, None
    for coefficient, factors in terms:
        if coefficient == 0.0:
            continue
        if not factors:
            constant += coefficient
            continue
        product = factors[0]
        for factor in factors[1:]:
            product = product * factor
        total = coefficient * product if total is None else total + coefficient * product
    return constant, total


def partial(
    coefficients: Sequence[float],
    variable: int,
    g: list[Quantity],
    l: list[Quantity],  # noqa: E741
    e2: Quantity,
) -> Quantity:
    """Derivative of F by its variable 0 (g), 1 (l) or 2 (e^2); a float where it is constant.

    Args:
        g, l: the powers of g and l from the first.
    """
    terms: list[tuple[float, list[Quantity]]] = []
    for coefficient, exponents in zip(coefficients, MONOMIALS, strict=True):
        if exponents[variable]:
            left = list(exponents)
            left[variable] -= 1
            factors = [values[power - 1] for values, power in ((g, left[0]), (l, left[1]), ([e2], left[2])) if power]
            terms.append((coefficient * exponents[variable], factors))
    constant, total = _sum(terms)
    return constant if total is None else total + constant


def largest_squares(coefficients: Sequence[float], k_most: float, state: Sequence[Quantity]) -> list[Quantity]:
    """Squares of the change of F per unit of impulse, for s in {0, 1} and k in {0, ``k_most``}.

    The change is affine in (s k-free part, k), so its length is convex in them: over all s and k between, the largest
    is at one of these four.

    Args:
        state: g, x, y, l.
    """
    g, x, y, l = state  # noqa: E741
    speed, longitude, e_squared = element_rates(g, x, y)
    g_powers, l_powers, e2 = powers(g, 2), powers(l, 2), square(x) + square(y)
    by_g, by_l, by_e2 = (partial(coefficients, variable, g_powers, l_powers, e2) for variable in range(3))
    turn = 3.0 * square(g + 1.0) * by_l
    found = []
    early = [by_g * speed[axis] + by_e2 * e_squared[axis] for axis in (0, 1)]
    for s in (0.0, 1.0):
        for k in (0.0, k_most):
            parts = []
            for axis in (0, 1):
                part = early[axis]
                part = part + turn * speed[axis] if s else part
                parts.append(part + (k * by_l) * longitude[axis] if k else part)
            found.append(square(parts[0]) + square(parts[1]))
    return found


def values(coefficients: Sequence[float], g: Quantity, l: Quantity, e2: Quantity) -> Quantity:  # noqa: E741
    """F itself, without its constant."""
    total: Array | float = 0.0
    for coefficient, (i, j, m) in zip(coefficients, MONOMIALS, strict=True):
        total = total + coefficient * g**i * l**j * e2**m
    return total
