"""Hundreds of turns of an almost circular orbit over an oblate body, by its map from node to node.

A coast keeps its energy and its momentum about the pole. So where it next comes up through the equator, when, and how
far round, follows from two numbers at the node before: the radius and its rate (the surface of section of Poincaré).
Near one orbit these functions are all but straight: polynomials fitted to flights of a single turn follow them to
rounding, and months are the map applied again and again.
"""

from __future__ import annotations

import itertools
import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .. import frames
from ..arrays import Array
from ..deadline import poll
from ..scenario import Body
from .gravity import Oblate, gravity_around, potential
from .stepping import coast, land

DEGREE = 4
"""Of the polynomials, in each of the two variables."""

REACH = 2e-3
"""They are fitted to orbits whose radius at the node is off by up to this share of it, and whose rate by as much."""

MISS_MAX = 1e-11
"""Farthest that the map may be off, against one turn flown, as a share of the radius and of a turn."""

SINE_MIN = 0.1
"""Orbits nearer to the equator, by the sine of their inclination, cross it too slowly for that reach and are flown."""

TURNS_MIN = 20
"""Fewer turns are flown: the fit takes longer."""

APPROACHES, ON_EQUATOR_S = 6, 1e-9
"""Newton steps onto the equator, each a short flight, until they are this short; three are the rule."""

FEW = 8
"""So few orbits are followed faster with plain numbers than with arrays of them."""

POLLED_TURNS = 64
"""The deadline is asked once in so many turns then."""

LANDING_TURNS = 0.05
"""What is left after the last node is flown, and at least so much of a turn."""


def coast_by_returns(body: Body, start: Array, duration_s: Array, relative: float) -> Array:
    """Where coasts end, as `stepping.coast` gives it: states (6, n) over durations (n,), > 0.

    Orbits of few turns or close to the equator, and those that the map does not follow to `MISS_MAX`, are flown all the
    way.

    Args:
        start: (6, n), m and m/s; orbits that cross the equator.
        duration_s: (n,).
        relative: error allowed in a step of what is flown.

    Raises:
        FlightError: one of them cannot be flown.
    """
    gravity = gravity_around(body)
    if not isinstance(gravity, Oblate):
        raise ValueError("the map from node to node is one over an oblate body")
    out = np.empty_like(start)
    momentum = np.cross(start[:3], start[3:], axis=0)
    sine = np.hypot(momentum[0], momentum[1]) / np.linalg.norm(momentum, axis=0)
    # an open orbit is one of no turn at all
    direct = (duration_s < TURNS_MIN * _period(gravity, start)) | (sine < SINE_MIN)
    (many,) = np.nonzero(~direct)
    if many.size:
        out[:, many], followed = _by_map(body, gravity, start[:, many], duration_s[many], relative)
        direct[many[~followed]] = True
    if direct.any():
        out[:, direct] = coast(gravity, start[:, direct], duration_s[direct], False, relative)[0]
    return out


class _Map(NamedTuple):
    """From node to node for n orbits: radius and its rate there, in units of the reach; angle round and time taken."""

    radius_m: Array  # (n,), in the middle
    unit_m: Array  # (n,)
    unit_m_s: Array  # (n,)
    fitted: Array  # (terms, 4, n)

    def scaled(self, radius_m: Array, rate_m_s: Array) -> tuple[Array, Array]:
        """Radius and rate in its units."""
        return (radius_m - self.radius_m) / self.unit_m, rate_m_s / self.unit_m_s

    def unscaled(self, x: Array, y: Array) -> tuple[Array, Array]:
        """Radius, m, and rate, m/s."""
        return self.radius_m + self.unit_m * x, self.unit_m_s * y

    def after(self, x: Array, y: Array) -> Array:
        """Both at the next node, the angle round in rad and the time taken in s: (4, n)."""
        return np.asarray(np.einsum("nk,kcn->cn", _terms(x, y), self.fitted))


def _terms(x: Array, y: Array) -> Array:
    """Products of Chebyshev polynomials of both, (n, terms); numpy's own takes ten times as long for a few points."""
    return np.asarray((_chebyshev(x)[:, :, np.newaxis] * _chebyshev(y)[:, np.newaxis, :]).reshape(x.size, -1))


def _chebyshev(x: Array) -> Array:
    """Chebyshev polynomials of degree 0 to `DEGREE`, (n, degrees)."""
    found = np.empty((x.size, DEGREE + 1))
    found[:, 0], found[:, 1] = 1.0, x
    double = 2.0 * x
    for degree in range(2, DEGREE + 1):
        found[:, degree] = found[:, degree - 1] * double - found[:, degree - 2]
    return found


def _by_map(
    body: Body, gravity: Oblate, start: Array, duration_s: Array, relative: float
) -> tuple[Array, NDArray[np.bool_]]:
    """States at the ends, and which the map has followed closely enough."""
    node, time = _next_node(gravity, start, relative)
    invariants = _invariants(body, node)
    returns = _fit(body, gravity, node, invariants, relative)
    radius, rate, angle = _section(node)
    x, y = returns.scaled(radius, rate)
    followed = _miss(gravity, returns, node, relative) <= MISS_MAX
    rest = LANDING_TURNS * _period(gravity, node)
    begun = x, y, angle, time
    walk = _one_by_one if followed.size <= FEW else _all_at_once
    followed, x, y, angle, time = walk(returns, followed, begun, duration_s - rest)
    out = np.full_like(start, np.nan)
    if followed.any():
        radius, rate = returns.unscaled(x, y)
        last = _at_node(body, invariants, radius, rate, angle)[:, followed]
        out[:, followed] = coast(gravity, last, (duration_s - time)[followed], False, relative)[0]
    return out, followed


_Walk = tuple[NDArray[np.bool_], Array, Array, Array, Array]
"""Which orbits the map has followed, and radius and rate in its units, angle and time at their last nodes."""


def _all_at_once(
    returns: _Map, followed: NDArray[np.bool_], begun: tuple[Array, Array, Array, Array], until_s: Array
) -> _Walk:
    """From node to node up to the last one before a time, with arrays of orbits."""
    x, y, angle, time = begun
    while True:
        poll()
        followed = followed & (np.maximum(np.abs(x), np.abs(y)) <= 1.0)
        # what has left the fit goes no farther
        x, y = np.clip(x, -1.0, 1.0), np.clip(y, -1.0, 1.0)
        ahead = returns.after(x, y)
        on = followed & (time + ahead[3] < until_s)
        if not on.any():
            return followed, x, y, angle, time
        x, y = np.where(on, ahead[0], x), np.where(on, ahead[1], y)
        angle, time = np.where(on, angle + ahead[2], angle), np.where(on, time + ahead[3], time)


def _one_by_one(
    returns: _Map, followed: NDArray[np.bool_], begun: tuple[Array, Array, Array, Array], until_s: Array
) -> _Walk:
    """The same with plain numbers, orbit by orbit."""
    ends, inside = [], followed.copy()
    for index in np.flatnonzero(followed).tolist():
        x, y, angle, time = (float(one[index]) for one in begun)
        fitted, until = np.ascontiguousarray(returns.fitted[:, :, index]), float(until_s[index])
        for turn in itertools.count():
            if turn % POLLED_TURNS == 0:
                poll()
            if max(abs(x), abs(y)) > 1.0:
                inside[index] = False
                break
            ys = _polynomials(y)
            terms = np.array([one * other for one in _polynomials(x) for other in ys])
            # summed as for arrays of orbits, so that both end alike to the last digit
            ahead = np.einsum("k,kc->c", terms, fitted).tolist()
            if time + ahead[3] >= until:
                break
            x, y, angle, time = ahead[0], ahead[1], angle + ahead[2], time + ahead[3]
        ends.append((index, x, y, angle, time))
    out = np.array(begun)
    for index, *end in ends:
        out[:, index] = end
    return inside, out[0], out[1], out[2], out[3]


def _polynomials(x: float) -> list[float]:
    """Chebyshev polynomials of degree 0 to `DEGREE` of one number."""
    found = [1.0, x]
    for _ in range(2, DEGREE + 1):
        found.append(2.0 * x * found[-1] - found[-2])
    return found


def _fit(body: Body, gravity: Oblate, node: Array, invariants: Array, relative: float) -> _Map:
    """The maps about orbits at their nodes (6, n), from flights of one turn each."""
    n, radius = node.shape[1], np.linalg.norm(node[:3], axis=0)
    unit = REACH * radius
    unit_m_s = unit * 2.0 * math.pi / _period(gravity, node)
    points = np.cos(math.pi * (np.arange(DEGREE + 1) + 0.5) / (DEGREE + 1))
    x, y = (part.ravel()[:, np.newaxis] for part in np.meshgrid(points, points, indexing="ij"))
    sampled = _at_node(
        body,
        np.tile(invariants, x.size),
        (radius + unit * x).ravel(),
        (unit_m_s * y).ravel(),
        np.zeros(x.size * n),
    )
    landed, lasts = _next_node(gravity, sampled, relative)
    seen = np.stack([*_section(landed), lasts]).reshape(4, x.size, n)
    seen[0], seen[1] = (seen[0] - radius) / unit, seen[1] / unit_m_s
    # none of them goes round by half a turn more than another
    seen[2] = seen[2, :1] + frames.wrap(seen[2] - seen[2, :1])
    values = seen.transpose(1, 0, 2).reshape(x.size, -1)
    fitted = np.linalg.solve(_terms(x.ravel(), y.ravel()), values).reshape(x.size, 4, n)
    return _Map(radius, unit, unit_m_s, np.asarray(fitted, dtype=np.float64))


def _miss(gravity: Oblate, returns: _Map, node: Array, relative: float) -> Array:
    """How far the map is off for one turn of the orbits themselves: the greatest share of a radius or a turn, (n,)."""
    landed, lasts = _next_node(gravity, node, relative)
    (radius, rate, angle), (begun_m, begun_m_s, begun_rad) = _section(landed), _section(node)
    by_map = returns.after(*returns.scaled(begun_m, begun_m_s))
    x, y = returns.scaled(radius, rate)
    off = [
        REACH * (by_map[0] - x),
        REACH * (by_map[1] - y),
        frames.wrap(begun_rad + by_map[2] - angle) / (2.0 * math.pi),
        (by_map[3] - lasts) / lasts,
    ]
    return np.asarray(np.max(np.abs(off), axis=0))


def _next_node(gravity: Oblate, state: Array, relative: float) -> tuple[Array, Array]:
    """Where orbits next come up through the equator, (6, n), and in how many seconds, (n,); not where they begin."""
    period = _period(gravity, state)
    lasts = _turns_to_go(state, period) * period
    there = coast(gravity, state, lasts, False, relative)[0]
    for _ in range(APPROACHES):
        more = -there[2] / there[5]
        there = land(gravity, there, more)
        lasts = lasts + more
        if np.max(np.abs(more)) < ON_EQUATOR_S:
            break
    return there, lasts


def _turns_to_go(state: Array, period_s: Array) -> Array:
    """About which part of a turn it is to the next ascending node; from there on a whole one."""
    since = np.arctan2(state[2] * 2.0 * math.pi / period_s, state[5]) / (2.0 * math.pi)
    to_go = np.remainder(-since, 1.0)
    return np.asarray(np.where(to_go < LANDING_TURNS, to_go + 1.0, to_go))


def _period(gravity: Oblate, state: Array) -> Array:
    """Period by two bodies, s; infinite where the orbit is open."""
    inverse = 2.0 / np.linalg.norm(state[:3], axis=0) - np.sum(state[3:] ** 2, axis=0) / gravity.gm
    with np.errstate(divide="ignore"):
        return np.asarray(2.0 * math.pi / np.sqrt(gravity.gm * np.maximum(inverse, 0.0) ** 3))


def _invariants(body: Body, node: Array) -> Array:
    """Energy, m^2/s^2, and momentum about the pole, m^2/s: (2, n)."""
    energy = 0.5 * np.sum(node[3:] ** 2, axis=0) + potential(body, node[:3])
    return np.stack([energy, node[0] * node[4] - node[1] * node[3]])


def _section(node: Array) -> tuple[Array, Array, Array]:
    """Radius, m, its rate, m/s, and the angle round the pole, rad, of orbits at their nodes."""
    radius = np.hypot(node[0], node[1])
    return radius, (node[0] * node[3] + node[1] * node[4]) / radius, np.arctan2(node[1], node[0])


def _at_node(body: Body, invariants: Array, radius_m: Array, rate_m_s: Array, angle_rad: Array) -> Array:
    """States at ascending nodes, (6, n), of given energy and momentum about the pole."""
    energy, momentum = invariants
    level = np.zeros(radius_m.size)
    position = np.stack([radius_m * np.cos(angle_rad), radius_m * np.sin(angle_rad), level])
    round_it = momentum / radius_m
    upward = np.sqrt(2.0 * (energy - potential(body, position)) - rate_m_s**2 - round_it**2)
    cosine, sine = np.cos(angle_rad), np.sin(angle_rad)
    speed = np.stack([rate_m_s * cosine - round_it * sine, rate_m_s * sine + round_it * cosine, upward])
    return np.concatenate([position, speed])
