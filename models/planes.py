"""The angle between two orbit planes, where they cross, and what it costs to turn from one to the other.

Impulsive burns on a two-body orbit; every function takes scalars or arrays and broadcasts. Angles in radians, speeds in
m/s. Sources: Vallado, *Fundamentals of Astrodynamics and Applications*, chapter 6 (non-coplanar and combined maneuvers,
Ex. 6-4 to 6-7); Curtis, *Orbital Mechanics for Engineering Students*, chapter 6 (plane change maneuvers).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .errors import InputError

Array = NDArray[np.float64]

# first look at a split: so many steps of the whole angle for two burns, so many for three
TWO_BURN_STEPS = 32
MORE_BURN_STEPS = 12
# halvings of a step: what is left is below the rounding of an angle
HALVINGS = 52
# the pairwise exchanges of a split over three burns gain a digit or more a round
ROUNDS = 40
SETTLED_RAD = 1e-13


@dataclass(frozen=True, kw_only=True)
class Crossing:
    """Where a second plane rises through a first; arrays of the broadcast shape. The other crossing is half a turn on.

    Args:
        tilt_rad: angle between the planes, in [0, pi].
        first_angle_rad: argument of latitude of the crossing in the first orbit, in [0, 2 pi); without meaning where
            the planes coincide.
        second_angle_rad: the same in the second orbit.
    """

    tilt_rad: Array
    first_angle_rad: Array
    second_angle_rad: Array


def tilt(inclination_rad: ArrayLike, other_rad: ArrayLike, node_difference_rad: ArrayLike) -> Array:
    """Angle between two orbit planes, rad, in [0, pi], from inclinations and the difference of their nodes.

    The cosine rule of the spherical triangle (Vallado, Ex. 6-6), written with half angles so that small tilts keep
    their digits.

    >>> round(float(np.degrees(tilt(np.radians(55.0), np.radians(40.0), np.radians(45.0)))), 7)
    35.7370905
    """
    first, second = _floats(inclination_rad), _floats(other_rad)
    half = np.square(np.sin(0.5 * (second - first)))
    half = half + np.sin(first) * np.sin(second) * np.square(np.sin(0.5 * _floats(node_difference_rad)))
    half = np.clip(half, 0.0, 1.0)
    return np.asarray(2.0 * np.arctan2(np.sqrt(half), np.sqrt(1.0 - half)))


def crossing(
    inclination_rad: ArrayLike, node_rad: ArrayLike, other_inclination_rad: ArrayLike, other_node_rad: ArrayLike
) -> Crossing:
    """The relative node of two orbits: where the second rises to the left of the first.

    Both directions follow from the cross product of the two angular momenta; Vallado, Ex. 6-5 and 6-6, has the
    same from spherical triangles.
    """
    first, second = _floats(inclination_rad), _floats(other_inclination_rad)
    difference = _floats(other_node_rad) - _floats(node_rad)
    sin_difference, cos_difference = np.sin(difference), np.cos(difference)
    inner, outer = np.cos(first) * np.sin(second), np.sin(first) * np.cos(second)
    u_first = np.arctan2(np.sin(second) * sin_difference, inner * cos_difference - outer)
    u_second = np.arctan2(np.sin(first) * sin_difference, inner - outer * cos_difference)
    return Crossing(
        tilt_rad=tilt(first, second, difference),
        first_angle_rad=np.asarray(np.remainder(u_first, 2.0 * np.pi)),
        second_angle_rad=np.asarray(np.remainder(u_second, 2.0 * np.pi)),
    )


def turn_delta_v(speed_m_s: ArrayLike, angle_rad: ArrayLike, flight_path_rad: ArrayLike = 0.0) -> Array:
    """Delta-v of turning the plane alone, speed and flight path kept: 2 v cos(fpa) sin(angle / 2), m/s.

    Only the level part of the velocity is turned (Vallado, Ex. 6-4).

    >>> float(turn_delta_v(1000.0, np.pi / 3).round(9))
    1000.0
    """
    return np.asarray(2.0 * _floats(speed_m_s) * np.cos(_floats(flight_path_rad)) * np.sin(0.5 * _floats(angle_rad)))


def combined_delta_v(before_m_s: ArrayLike, after_m_s: ArrayLike, angle_rad: ArrayLike) -> Array:
    """Delta-v of one burn at an apsis that changes the speed and turns the plane at once, m/s.

    The law of cosines (Vallado, Ex. 6-7), written with the half angle so that a small turn of equal speeds keeps its
    digits. Without a turn it is the difference of the speeds.

    >>> combined_delta_v(3.0, 4.0, [0.0, np.pi / 2, np.pi]).round(9).tolist()
    [1.0, 5.0, 7.0]
    """
    before, after = _floats(before_m_s), _floats(after_m_s)
    across = 4.0 * before * after * np.square(np.sin(0.5 * _floats(angle_rad)))
    return np.asarray(np.sqrt(np.square(after - before) + across))


def split(before_m_s: ArrayLike, after_m_s: ArrayLike, angle_rad: ArrayLike) -> Array:
    """The least costly sharing of a plane change among burns at apsides on one line, rad.

    The true minimum of the sum of the burns, found by search: the closed form in textbooks (as in
    Vallado, Ex. 6-7) is near it only for small angles.

    Args:
        before_m_s: speeds just before each burn, shape (..., k) with k at least 2.
        after_m_s: speeds just after each burn, same shape.
        angle_rad: the whole angle, in [0, pi], shape (...).

    Returns:
        Shares, shape (..., k), none negative, their sum the whole angle. A sharing over every k-th of the angle is
        searched first (32 steps for two burns, 12 for more), then polished; a second minimum narrower than such a step
        would be missed. None is known.

    Raises:
        InputError: fewer than two burns, or an angle outside [0, pi].
    """
    before, after = np.broadcast_arrays(_floats(before_m_s), _floats(after_m_s))
    burns = before.shape[-1] if before.ndim else 0
    if burns < 2:
        raise InputError(f"a plane change can be shared among two burns or more, not {burns}.")
    angle = _floats(angle_rad)
    if not np.all((angle >= 0.0) & (angle <= np.pi)):
        raise InputError("the angle of a plane change must lie in 0 to 180 deg.")
    shape = np.broadcast_shapes(before.shape[:-1], angle.shape)
    before = np.broadcast_to(before, (*shape, burns))
    after = np.broadcast_to(after, (*shape, burns))
    angle = np.broadcast_to(angle, shape)
    steps = TWO_BURN_STEPS if burns == 2 else MORE_BURN_STEPS
    shares = _best_on_grid(before, after, angle, steps)
    pairs = [(first, second) for first in range(burns) for second in range(first + 1, burns)]
    for _ in range(1 if burns == 2 else ROUNDS):
        earlier = shares.copy()
        for first, second in pairs:
            _exchange(before, after, shares, first, second, angle / steps)
        if np.all(np.abs(shares - earlier) <= SETTLED_RAD):
            break
    return shares


def _best_on_grid(before: Array, after: Array, angle: Array, steps: int) -> Array:
    burns = before.shape[-1]
    best = np.zeros(before.shape)
    cost = np.full(angle.shape, np.inf)
    # one sharing at a time, so that memory stays that of the options themselves
    for parts in _compositions(steps, burns):
        shares = angle[..., None] * (np.array(parts, dtype=np.float64) / steps)
        trial = np.sum(combined_delta_v(before, after, shares), axis=-1)
        better = trial < cost
        cost = np.where(better, trial, cost)
        best = np.where(better[..., None], shares, best)
    return np.asarray(best)


def _compositions(total: int, parts: int) -> list[tuple[int, ...]]:
    """All ways to write a number as an ordered sum of so many parts, 0 allowed."""
    if parts == 1:
        return [(total,)]
    return [(head, *tail) for head in range(total + 1) for tail in _compositions(total - head, parts - 1)]


def _exchange(before: Array, after: Array, shares: Array, first: int, second: int, step: Array) -> None:
    """Share anew, in place, what two of the burns turn together, within a grid step of what they have."""
    both = shares[..., first] + shares[..., second]
    low = np.maximum(shares[..., first] - step, 0.0)
    high = np.minimum(shares[..., first] + step, both)

    def cost(share: Array) -> Array:
        return np.asarray(
            combined_delta_v(before[..., first], after[..., first], share)
            + combined_delta_v(before[..., second], after[..., second], both - share)
        )

    edges = (low, high)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        rising = (
            _slope(before[..., first], after[..., first], middle)
            - _slope(before[..., second], after[..., second], both - middle)
            > 0.0
        )
        low, high = np.where(rising, low, middle), np.where(rising, middle, high)
    best = shares[..., first]
    for candidate in (0.5 * (low + high), *edges):
        best = np.where(cost(candidate) < cost(best), candidate, best)
    shares[..., first] = best
    shares[..., second] = both - best


def _slope(before: Array, after: Array, angle: Array) -> Array:
    """Derivative of the combined burn with respect to its turn, m/s per rad (from above at 0)."""
    burn = combined_delta_v(before, after, angle)
    product = before * after
    return np.where(burn > 0.0, product * np.sin(angle) / np.where(burn > 0.0, burn, 1.0), np.sqrt(product))


def _floats(values: ArrayLike) -> Array:
    return np.asarray(values, dtype=np.float64)
