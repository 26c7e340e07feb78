"""The angle between two orbit planes, where they cross, and what it costs to turn from one to the other.

Impulsive burns on a two-body orbit; every function takes scalars or arrays and broadcasts. Angles in radians, speeds in
m/s. Sources: Vallado, *Fundamentals of Astrodynamics and Applications*, chapter 6 (non-coplanar and combined maneuvers,
Ex. 6-4 to 6-7); Curtis, *Orbital Mechanics for Engineering Students*, chapter 6 (plane change maneuvers).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .arrays import Array
from .errors import InputError

# looks along a branch of stationary sharings on which their sum need not be monotone
LOOKS = 16
# Newton steps inside a bracket, halvings where they would leave it; a few reach the rounding
REFINEMENTS = 80
SETTLED_RAD = 1e-15
# options searched at once, so that a block stays in the cache
BLOCK = 8192


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

    The true minimum of the sum of the burns; the closed form in textbooks (as in Vallado, Ex. 6-7) is near it only for
    small angles. At a minimum every burn has the same slope, burn size by angle. In the triangle of the speeds before
    and after and the burn between them that slope is the altitude h upon the burn, so a burn with speeds a and b turns
    by |asin(h/a) - asin(h/b)|, or, beyond the angle at which the triangle has a right angle, by pi less their sum; at
    most one burn of a minimum can be of that second kind. So every minimum lies on one of k + 1 curves in h.

    Args:
        before_m_s: speeds just before each burn, shape (..., k) with k at least 2, none negative.
        after_m_s: speeds just after each burn, same shape.
        angle_rad: the whole angle, in [0, pi], shape (...).

    Returns:
        Shares, shape (..., k), none negative, their sum the whole angle.

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
    before = np.broadcast_to(before, (*shape, burns)).reshape(-1, burns).T
    after = np.broadcast_to(after, (*shape, burns)).reshape(-1, burns).T
    angle = np.broadcast_to(angle, shape).ravel()
    shares = np.zeros(before.shape)
    turned = np.flatnonzero(angle)
    for start in range(0, turned.size, BLOCK):
        rows = turned[start : start + BLOCK]
        shares[:, rows] = _split_block(before[:, rows], after[:, rows], angle[rows])
    return shares.T.reshape(*shape, burns)


def _split_block(before: Array, after: Array, angle: Array) -> Array:
    """Shares of shape (k, n) for speeds of shape (k, n) and angles of shape (n,)."""
    burns = before.shape[0]
    slow, fast = np.minimum(before, after), np.maximum(before, after)
    steepest = slow.min(axis=0)
    shares = np.zeros(before.shape)
    least = np.full(angle.shape, np.inf)

    def offer(rows: NDArray[np.int64], trial: Array) -> None:
        cost = np.sum(combined_delta_v(before[:, rows], after[:, rows], trial), axis=0)
        better = cost < least[rows]
        least[rows[better]] = cost[better]
        shares[:, rows[better]] = trial[:, better]

    everyone = np.arange(angle.size)
    for burn in range(burns):
        alone = np.zeros(before.shape)
        alone[burn] = angle
        offer(everyone, alone)
    moving = np.flatnonzero((steepest > 0.0) & (angle > 0.0))
    slow, fast = slow[:, moving] / steepest[moving], fast[:, moving] / steepest[moving]
    for wide in range(-1, burns):
        picked, low, high = _brackets(slow, fast, angle[moving], wide)
        found = _solve(slow[:, picked], fast[:, picked], angle[moving][picked], wide, low, high)
        for first in _once_each(picked):
            offer(moving[picked[first]], found[:, first])
    return shares


def _brackets(slow: Array, fast: Array, angle: Array, wide: int) -> tuple[NDArray[np.int64], Array, Array]:
    """Options, and spans of the curve parameter, in which the shares come to pass through the whole angle.

    Without a wide burn the sum rises all along; with one, only where it falls can a minimum lie.
    """
    if wide < 0:
        reaches = np.sum(_turns(slow, fast, np.full(angle.shape, 0.5 * np.pi), wide)[0], axis=0) >= angle
        rows = np.flatnonzero(reaches)
        return rows, np.zeros(rows.shape), np.full(rows.shape, 0.5 * np.pi)
    # the wide burn alone turns beyond its right angle, which the whole angle must allow
    able = np.flatnonzero(fast[wide] * np.cos(angle) <= slow[wide])
    looks = np.linspace(0.0, 0.5 * np.pi, LOOKS + 1)
    slow, fast = slow[:, able], fast[:, able]
    excess = np.stack(
        [np.sum(_turns(slow, fast, np.full(able.shape, look), wide)[0], axis=0) - angle[able] for look in looks]
    )
    rows, spans = np.nonzero(((excess[:-1] >= 0.0) & (excess[1:] < 0.0)).T)
    return able[rows], looks[spans], looks[spans + 1]


def _once_each(rows: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Positions in a sorted list of options, grouped so that no group names an option twice."""
    if not rows.size:
        return []
    beginning = np.r_[True, rows[1:] != rows[:-1]]
    rank = np.arange(rows.size) - np.maximum.accumulate(np.where(beginning, np.arange(rows.size), 0))
    return [np.flatnonzero(rank == number) for number in range(int(rank.max()) + 1)]


def _solve(slow: Array, fast: Array, angle: Array, wide: int, low: Array, high: Array) -> Array:
    """Shares of shape (k, n) whose sum is the angle, between two values of the curve parameter."""
    sense = 1.0 if wide < 0 else -1.0
    low, high = low.copy(), high.copy()
    at = 0.5 * (low + high)
    open_rows = np.arange(angle.size)
    for _ in range(REFINEMENTS):
        if not open_rows.size:
            break
        now = at[open_rows]
        turns, slopes = _turns(slow[:, open_rows], fast[:, open_rows], now, wide)
        excess = sense * (np.sum(turns, axis=0) - angle[open_rows])
        slope = sense * np.sum(slopes, axis=0)
        low[open_rows] = np.where(excess > 0.0, low[open_rows], now)
        high[open_rows] = np.where(excess > 0.0, now, high[open_rows])
        newton = now - excess / np.where(slope > 0.0, slope, 1.0)
        inside = (slope > 0.0) & (newton >= low[open_rows]) & (newton <= high[open_rows])
        moved = np.where(inside, newton, 0.5 * (low[open_rows] + high[open_rows]))
        at[open_rows] = moved
        open_rows = open_rows[np.abs(moved - now) > SETTLED_RAD]
    turns, _ = _turns(slow, fast, at, wide)
    # the last rounding goes to the burn that turns most, so that the sum is exact
    largest = np.argmax(turns, axis=0), np.arange(angle.size)
    turns[largest] += angle - np.sum(turns, axis=0)
    return turns


def _turns(slow: Array, fast: Array, parameter: Array, wide: int) -> tuple[Array, Array]:
    """Turn of each burn at a common slope, and its derivative, shape (k, n).

    Speeds are in units of the slowest of an option; the slope is sin(parameter) in those units. asin(sin(p) / v) is
    taken by its tangent, which keeps its digits where the triangle has nearly a right angle.
    """
    sine, cosine = np.sin(parameter), np.cos(parameter)
    turns, slopes = [], []
    for speed in (slow, fast):
        root = np.sqrt((speed - 1.0) * (speed + 1.0) + cosine * cosine)
        turns.append(np.arctan2(sine, root))
        slopes.append(cosine / root)
    turn, slope = turns[0] - turns[1], slopes[0] - slopes[1]
    if wide >= 0:
        turn[wide] = np.pi - turns[0][wide] - turns[1][wide]
        slope[wide] = -slopes[0][wide] - slopes[1][wide]
    return turn, slope


def _floats(values: ArrayLike) -> Array:
    return np.asarray(values, dtype=np.float64)
