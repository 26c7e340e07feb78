"""How a flown craft stands to its slot over a turn, and how near it comes to others."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .. import frames
from ..arrays import Array
from ..errors import FlightError
from ..ring import Ring
from .flown import Flight

Positions = Callable[[Array], Array]

_GAUSS_POINTS = 48
_LOOKS = 65
LOOKED_AT = 2.0
"""A craft that has not come round once within so many ring turns does not."""
NARROWINGS = 3
"""Rounds in which the place of a near pass is narrowed fourfold, before a parabola through three points ends it."""


@dataclass(frozen=True, kw_only=True)
class Measured:
    """How a flown craft stands to its slot: means over one ring turn.

    Args:
        slot_error_rad: craft's angle projected on the ring plane minus the slot's, mean over the turn, in (-pi, pi].
        period_error_s: time between two passages of the same projected angle, minus the ring's period.
        plane_error_rad: angle between the ring's pole and the mean over the turn of the craft's orbit poles, the mean
            taken in the axes that turn with the ring's node: the wobble that an oblate body forces cancels in it.
        radius_error_m: mean radius minus the ring's.
        eccentricity: (2,) eccentricity vector of the turn along node and 90 deg ahead, from the first harmonic of
            the radius in the projected angle: r = mean (1 - e_x cos u - e_y sin u).
        plane_tilt_rad: (2,) the mean pole's lean from the ring's: components along node and 90 deg ahead.
    """

    slot_error_rad: float
    period_error_s: float
    plane_error_rad: float
    radius_error_m: float
    eccentricity: tuple[float, float]
    plane_tilt_rad: tuple[float, float]

    def misses(self, ring: Ring) -> Array:
        """Slot error, rate error a turn, eccentricity and tilt as one vector, (6,), all rad or ratios."""
        rate = 2.0 * math.pi * self.period_error_s / ring.period_s
        return np.array([self.slot_error_rad, rate, *self.eccentricity, *self.plane_tilt_rad])


def measure(flight: Flight, ring: Ring, plane: int, slot: int, from_s: float | None = None) -> Measured:
    """Measure a flight against a slot over the first whole ring turn after a moment.

    Args:
        flight: must last about 1.25 ring turns past ``from_s`` (see `Itinerary.through_turn`).
        from_s: start of the turn; by default the cut-off of the last burn.

    Raises:
        FlightError: the flight ends before the turn, or before the craft has come round once.
    """
    start = flight.settled_s if from_s is None else from_s
    period = ring.period_s
    fractions, weights = _quadrature()
    until = min(flight.itinerary.end_s, start + LOOKED_AT * period)
    # one look at the flight for both: the points of the mean, and those between which the turn is found to end
    times = np.concatenate([start + period * fractions, np.linspace(start, until, _LOOKS)])
    states = flight.states(times)
    axes = frames.plane_axes(ring.inclination_rad, _ring_node(ring, times, plane))
    angle, rate = angle_and_rate(states, axes)
    around = _time_round(flight, ring, plane, times[weights.size :], angle[weights.size :], rate[weights.size :])
    times, states, angle = times[: weights.size], states[: weights.size], angle[: weights.size]
    gap = angle - ring.phase(times, slot, plane)
    error = frames.wrap(float(weights @ (gap[0] + np.cumsum([0.0, *frames.wrap(np.diff(gap))]))))
    poles = np.cross(states[:, :3], states[:, 3:])
    poles /= np.linalg.norm(poles, axis=1, keepdims=True)
    lean = [float(weights @ np.sum(poles * axis[: weights.size], axis=1)) for axis in axes]
    radius = np.linalg.norm(states[:, :3], axis=1)
    mean, e_x, e_y = _first_harmonic(radius, angle, weights)
    return Measured(
        slot_error_rad=float(error),
        period_error_s=around - period,
        plane_error_rad=math.atan2(math.hypot(lean[0], lean[1]), lean[2]),
        radius_error_m=mean - ring.radius_m,
        eccentricity=(e_x, e_y),
        plane_tilt_rad=(lean[0], lean[1]),
    )


@functools.cache
def _quadrature() -> tuple[Array, Array]:
    """Gauss-Legendre points in (0, 1) and their weights, for means over a turn: exact to rounding for smooth orbits."""
    points, weights = np.polynomial.legendre.leggauss(_GAUSS_POINTS)
    return 0.5 * (points + 1.0), 0.5 * weights


def _ring_node(ring: Ring, times_s: Array, plane: int) -> Array:
    return ring.node(0.0, plane) + ring.node_rate_rad_s * times_s


def _first_harmonic(radius: Array, angle: Array, weights: Array) -> tuple[float, float, float]:
    """Mean radius and eccentricity vector; the second harmonic, which oblateness forces, is fitted and left out."""
    columns = [np.ones_like(angle), np.cos(angle), np.sin(angle), np.cos(2.0 * angle), np.sin(2.0 * angle)]
    root = np.sqrt(weights)
    scale = float(radius[0])
    fit = np.linalg.lstsq(np.stack(columns, axis=1) * root[:, np.newaxis], radius / scale * root, rcond=None)[0]
    return float(fit[0] * scale), float(-fit[1] / fit[0]), float(-fit[2] / fit[0])


def angle_and_rate(states: Array, axes: tuple[Array, Array, Array]) -> tuple[Array, Array]:
    """Angle projected on a plane, and how fast it grows in it, from states (n, 6) and the plane's axes (n, 3)."""
    x, y = (np.einsum("ij,ij->i", states[:, :3], axis) for axis in axes[:2])
    x_rate, y_rate = (np.einsum("ij,ij->i", states[:, 3:], axis) for axis in axes[:2])
    return np.arctan2(y, x), (x * y_rate - y * x_rate) / (x * x + y * y)


def _time_round(flight: Flight, ring: Ring, plane: int, times: Array, angles: Array, rates: Array) -> float:
    """Seconds until the craft passes the same projected angle again, which it does between two of the times given."""
    gained = np.cumsum([0.0, *frames.wrap(np.diff(angles))])
    past = np.flatnonzero(gained >= 2.0 * math.pi)
    start = float(times[0])
    if past.size == 0:
        raise FlightError(
            f"the flight ends at {flight.itinerary.end_s!r} s, before the craft has come round once from {start!r} s"
        )
    before, after = int(past[0]) - 1, int(past[0])
    low, high = float(times[before]), float(times[after])
    # time as a cubic of the angle through both ends and their slopes, then Newton's steps on the flight itself
    width = float(gained[after] - gained[before])
    x = (2.0 * math.pi - float(gained[before])) / width
    moment = (
        low
        + (high - low) * x * x * (3.0 - 2.0 * x)
        + width * x * (1.0 - x) * ((1.0 - x) / float(rates[before]) - x / float(rates[after]))
    )
    for _ in range(12):
        at = np.array([moment])
        axes = frames.plane_axes(ring.inclination_rad, _ring_node(ring, at, plane))
        angle, rate = angle_and_rate(flight.states(at), axes)
        change = math.remainder(float(angle[0] - angles[0]), 2.0 * math.pi) / float(rate[0])
        moment = min(max(moment - change, low), high)
        # its square is what the next step would be
        if abs(change) < 1e-8 * ring.period_s:
            break
    return moment - start


class Approach(NamedTuple):
    """The least distance to another craft, and when."""

    distance_m: float
    time_s: float


def closest(flight: Flight, position: Positions, from_s: float | None = None, to_s: float | None = None) -> Approach:
    """Least distance of a flight to another craft, good to about a meter.

    Args:
        position: where the other is: times (n,) to positions (n, 3), m.
        from_s, to_s: part of the flight that counts; by default all of it.
    """
    first = flight.begin_s if from_s is None else from_s
    last = flight.itinerary.end_s if to_s is None else to_s
    return closest_of_each(flight, lambda times, _: position(times), np.array([first]), last)[0]


def comes_back(flight: Flight, position: Positions, distance_m: float, from_s: float, to_s: float) -> float:
    """First moment at which a flight, once it was so far from another craft, comes nearer again, s; infinite for never.

    Between two samples of the flight it is not looked for; the distance is then no less than ``distance_m``.

    Args:
        position: where the other is: times (n,) to positions (n, 3), m.
        distance_m: how far.
        from_s, to_s: part of the flight that is examined.
    """
    times, own = flight.sampled(from_s, to_s)
    gap = np.linalg.norm(own - position(times), axis=1)
    outside = np.flatnonzero(gap >= distance_m)
    if not outside.size:
        return math.inf
    falling = np.flatnonzero(np.diff(gap[outside[0] :]) < 0.0)
    return float(times[outside[0] + falling[0]]) if falling.size else math.inf


def closest_in_ring(
    flight: Flight,
    ring: Ring,
    seats: Sequence[tuple[int, int]],
    from_s: float | None = None,
    to_s: float | None = None,
) -> tuple[Approach, ...]:
    """Least distance of a flight to the craft in each of some slots, which move evenly on the ring's circle.

    Args:
        seats: (plane, slot) of each.
        from_s, to_s: part of the flight that counts; by default all of it.

    Over an oblate body real craft wobble about these places (about 1 km in a low Earth orbit).
    """
    if not seats:
        return ()
    origin = float(ring.phase(0.0, 0))
    ahead = np.array([float(ring.phase(0.0, slot, plane)) - origin for plane, slot in seats])
    node = np.array([ring.node(0.0, plane) for plane, _ in seats])

    def position(times: Array, which: NDArray[np.intp]) -> Array:
        return frames.on_circle(
            ring.radius_m,
            ring.phase(times, 0) + ahead[which],
            ring.inclination_rad,
            node[which] + ring.node_rate_rad_s * times,
        )

    first = flight.begin_s if from_s is None else from_s
    last = flight.itinerary.end_s if to_s is None else to_s
    return closest_of_each(flight, position, np.full(len(seats), first), last)


def closest_of_each(
    flight: Flight,
    position: Callable[[Array, NDArray[np.intp]], Array],
    from_s: Array,
    to_s: float,
) -> tuple[Approach, ...]:
    """Least distance of a flight to each of several others, each from its own moment on, good to about a meter.

    Args:
        position: where they are: times (n,) and whom, as an index (n,), to positions (n, 3), m.
        from_s: since when each counts, at most ``to_s``, shape (others,).
        to_s: until when all of them do.
    """
    others = from_s.size
    times, own = flight.sampled(float(from_s.min()), to_s)
    added = np.setdiff1d(from_s, times)
    if added.size:
        place = np.searchsorted(times, added)
        times, own = np.insert(times, place, added), np.insert(own, place, flight.states(added)[:, :3], axis=0)
    every = np.tile(times, others)
    which = np.repeat(np.arange(others), times.size)
    gap = np.linalg.norm((np.tile(own, (others, 1)) - position(every, which)).reshape(others, times.size, 3), axis=2)
    fall = np.abs(np.diff(gap, axis=1))
    gap[times[np.newaxis, :] < from_s[:, np.newaxis]] = np.inf
    best = np.argmin(gap, axis=1)
    distance, moment = gap[np.arange(others), best], times[best]
    if times.size == 1:
        return tuple(Approach(float(d), float(t)) for d, t in zip(distance, moment, strict=True))
    padded = np.pad(gap, ((0, 0), (1, 1)), constant_values=np.inf)
    valley = (gap <= padded[:, :-2]) & (gap <= padded[:, 2:])
    # between samples the distance can fall by no more than the steepest change seen nearby, taken twice to be safe
    steepest = 2.0 * np.maximum(np.pad(fall, ((0, 0), (1, 0))), np.pad(fall, ((0, 0), (0, 1))))
    owner, place = np.nonzero(valley & np.isfinite(gap) & (gap - steepest <= distance[:, np.newaxis]))
    low, high = np.maximum(times[np.maximum(place - 1, 0)], from_s[owner]), times[np.minimum(place + 1, times.size - 1)]
    fractions = np.linspace(0.0, 1.0, 9)
    for _ in range(NARROWINGS):
        grid = low[:, np.newaxis] + (high - low)[:, np.newaxis] * fractions
        found = _gaps(flight, position, grid, owner)
        at = np.clip(np.argmin(found, axis=1), 1, fractions.size - 2)
        rows = np.arange(len(at))
        low, high = grid[rows, at - 1], grid[rows, at + 1]
    # the square of a distance is a parabola near its least
    left, middle, right = (np.square(found[rows, at + k]) for k in (-1, 0, 1))
    bend = left - 2.0 * middle + right
    shift = np.clip(0.5 * (left - right) / np.where(bend > 0.0, bend, np.inf), -1.0, 1.0)
    tip = grid[rows, at] + shift * (grid[rows, at + 1] - grid[rows, at])
    ends = np.stack([low, tip, high], axis=1)
    found = _gaps(flight, position, ends, owner)
    for k in np.argsort(-found.min(axis=1)):
        value = float(found[k].min())
        if value < distance[owner[k]]:
            distance[owner[k]], moment[owner[k]] = value, ends[k, np.argmin(found[k])]
    return tuple(Approach(float(d), float(t)) for d, t in zip(distance, moment, strict=True))


def _gaps(
    flight: Flight, position: Callable[[Array, NDArray[np.intp]], Array], times_s: Array, owner: NDArray[np.intp]
) -> Array:
    """Distances at times of (n, m), row k to the other with index ``owner[k]``."""
    flat = times_s.ravel()
    apart = flight.states(flat)[:, :3] - position(flat, np.repeat(owner, times_s.shape[1]))
    return np.asarray(np.linalg.norm(apart, axis=1).reshape(times_s.shape))
