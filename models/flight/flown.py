"""What is flown and what came of it: impulses, itineraries, flights and the orbits that they read.

Values only; ``integrate.py`` makes the flights. Times are seconds from the scenario's epoch, states Cartesian in the
base frame (z along the body's pole).
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Array
from ..burns import BurnModel
from ..errors import FlightError
from ..ring import Ring
from ..surroundings import NO_SURFACE, Surface
from .gravity import Gravity
from .stepping import Arc, turning_points

TURN_MARGIN = 1.25
"""Ring turns to fly after the last burn, so that a slow craft still comes round once."""

EDGE_S = 0.01
"""A turn of the radius this near to an end of a leg is that end: where a leg begins or ends at an apsis, rounding alone
says on which side of it the turn lies."""


class Impulse(NamedTuple):
    """A burn as an impulse, in the local axes of the state just before it (see `frames.local_axes`)."""

    time_s: float
    radial_m_s: float
    along_m_s: float
    cross_m_s: float = 0.0

    @property
    def delta_v_m_s(self) -> float:
        """Size of the impulse."""
        return math.sqrt(self.radial_m_s**2 + self.along_m_s**2 + self.cross_m_s**2)


@dataclass(frozen=True, kw_only=True, eq=False)
class Itinerary:
    """A start and what is burned: everything that determines a flight.

    Args:
        start_s: time of the start.
        position, velocity: state then, m and m/s, three components each.
        impulses: burns in order of time, none before ``start_s`` or after ``end_s``.
        end_s: end of the flight.
        surface: what air and light meet of the craft, where they are flown.
    """

    start_s: float
    position: Array
    velocity: Array
    impulses: tuple[Impulse, ...] = ()
    end_s: float
    surface: Surface = NO_SURFACE

    @staticmethod
    def through_turn(
        start_s: float,
        position: ArrayLike,
        velocity: ArrayLike,
        impulses: Sequence[Impulse],
        ring: Ring,
        after_s: float = 0.0,
    ) -> Itinerary:
        """Itinerary that ends `TURN_MARGIN` ring turns after its last burn, as `measure` needs it.

        Args:
            after_s: extra time, such as half the length of a long last burn.
        """
        last = impulses[-1].time_s if impulses else start_s
        return Itinerary(
            start_s=start_s,
            position=np.asarray(position, dtype=np.float64),
            velocity=np.asarray(velocity, dtype=np.float64),
            impulses=tuple(impulses),
            end_s=last + after_s + TURN_MARGIN * ring.period_s,
        )


@dataclass(frozen=True, kw_only=True)
class Readout:
    """The osculating orbit of a state: what an instrument would show. Infinite where the orbit is open."""

    period_s: float
    periapsis_m: float
    apoapsis_m: float


@dataclass(frozen=True, kw_only=True)
class Leg:
    """From the start or a burn (a long burn's arc included) to the next burn or the end.

    ``lowest_m`` and ``highest_m`` are the extreme radii, ends included, good to less than a meter.
    ``periapsis_m`` is the lowest radius at which the craft turned from falling to climbing between the ends, None where
    it never did; a leg that begins or ends at its periapsis does not turn there.
    """

    start_s: float
    end_s: float
    lowest_m: float
    lowest_s: float
    highest_m: float
    periapsis_m: float | None


@dataclass(frozen=True, kw_only=True, eq=False)
class Flight:
    """One flown itinerary.

    Args:
        itinerary, gravity, burns: what was flown.
        arcs: the continuous arcs, in order of time; only those after the last burn unless ``whole``.
        ignition_s, cutoff_s: (b,) of each burn; alike for an impulse.
        before, after: (b, 6) states at ignition and at cut-off.
        mass_after_kg: (b,) mass at each cut-off; None for impulsive burns.
        end_state: (6,) at ``itinerary.end_s``.
    """

    itinerary: Itinerary
    gravity: Gravity
    burns: BurnModel
    ignition_s: Array
    cutoff_s: Array
    before: Array
    after: Array
    mass_after_kg: Array | None
    end_state: Array
    arcs: tuple[Arc, ...] = field(repr=False)
    whole: bool = True

    @property
    def begin_s(self) -> float:
        """First moment that `states` answers for."""
        return self.arcs[0].start_s if self.arcs else self.itinerary.start_s

    @property
    def settled_s(self) -> float:
        """Cut-off of the last burn; the start where there is none."""
        return float(self.cutoff_s[-1]) if self.cutoff_s.size else self.itinerary.start_s

    def states(self, times_s: ArrayLike) -> Array:
        """States at any times of the flight, in any order.

        Args:
            times_s: shape (n,), within the flight. At an impulse the state after it is returned.

        Returns:
            Shape (n, 6): position, m, and velocity, m/s.

        Raises:
            FlightError: a time outside the flight.
        """
        times = np.atleast_1d(np.asarray(times_s, dtype=np.float64))
        end = self.itinerary.end_s
        slack = 1e-9 * (1.0 + abs(end))
        if times.size and (times.min() < self.begin_s - slack or times.max() > end + slack):
            raise FlightError(
                f"states asked for {times.min()!r} to {times.max()!r} s, flown {self.begin_s!r} to {end!r} s"
            )
        out = np.empty((times.size, 6))
        if not self.arcs:
            out[:] = self.end_state
            return out
        starts = np.array([piece.start_s for piece in self.arcs])
        which = np.clip(np.searchsorted(starts, times, side="right") - 1, 0, len(starts) - 1)
        for index in np.unique(which):
            mask = which == index
            out[mask] = self.arcs[index].states(times[mask] - starts[index])
        # an impulse at the very end leaves no arc behind it
        if self.cutoff_s.size and self.cutoff_s[-1] >= end:
            out[times >= end] = self.end_state
        return out

    def readouts(self) -> tuple[Readout, ...]:
        """Osculating orbit at each cut-off."""
        return tuple(readout(state, self.gravity.gm) for state in self.after)

    def sampled(self, from_s: float, to_s: float) -> tuple[Array, Array]:
        """Moments dense enough to see every near pass between two times, and the positions then.

        As many to a step as its arc says, and the two times themselves; worked out once for the whole flight.

        Returns:
            Times, rising, shape (n,), and positions, m, (n, 3).
        """
        times, positions = self._samples
        inside = slice(*np.searchsorted(times, [np.nextafter(from_s, np.inf), to_s]).tolist())
        ends = np.unique([from_s, to_s])
        edges = self.states(ends)[:, :3]
        if ends.size == 1:
            return ends, edges
        return (
            np.concatenate([ends[:1], times[inside], ends[1:]]),
            np.concatenate([edges[:1], positions[inside], edges[1:]]),
        )

    @functools.cached_property
    def _samples(self) -> tuple[Array, Array]:
        parts, at = [np.zeros(0)], [np.zeros((0, 3))]
        for arc in self.arcs:
            spread = np.arange(arc.looks) / arc.looks
            inner = arc.knots[:-1, np.newaxis] + np.diff(arc.knots)[:, np.newaxis] * spread
            moments = arc.start_s + inner.ravel()
            moments = moments[moments < arc.end_s]
            parts.append(moments)
            at.append(arc.states(moments - arc.start_s)[:, :3])
        return np.concatenate(parts), np.concatenate(at)

    def legs(self) -> tuple[Leg, ...]:
        """Extremes of the radius on each leg, one more leg than burns.

        Raises:
            FlightError: the flight was not kept whole.
        """
        if not self.whole:
            raise FlightError("legs asked of a flight of which only the end was kept")
        item = self.itinerary
        opened = [min(item.start_s, self.begin_s), *self.ignition_s.tolist()]
        closed = [*self.ignition_s.tolist(), item.end_s]
        first = [np.asarray(item.position), *self.after[:, :3]]
        found: list[Leg] = []
        for leg, (start, end) in enumerate(zip(opened, closed, strict=True)):
            times, radii, dips = (
                np.concatenate(parts)
                for parts in zip(
                    # a leg that takes no time still has the one radius
                    ([start], [float(np.linalg.norm(first[leg]))], [False]),
                    *(turning_points(arc) for arc in self.arcs if arc.leg == leg),
                    strict=True,
                )
            )
            low = int(np.argmin(radii))
            dips &= (times > start + EDGE_S) & (times < end - EDGE_S)
            found.append(
                Leg(
                    start_s=start,
                    end_s=end,
                    lowest_m=float(radii[low]),
                    lowest_s=float(times[low]),
                    highest_m=float(radii.max()),
                    periapsis_m=float(radii[dips].min()) if dips.any() else None,
                )
            )
        return tuple(found)


def readout(state: ArrayLike, gm: float) -> Readout:
    """Osculating period and apsides of a state, from its energy and eccentricity vector.

    Args:
        state: (6,) position, m, and velocity, m/s.
        gm: gravitational parameter, m^3/s^2.

    >>> shown = readout([7.0e6, 0.0, 0.0, 0.0, 8000.0, 0.0], 3.986004418e14)
    >>> round(shown.period_s, 3), round(shown.periapsis_m), round(shown.apoapsis_m)
    (7108.07, 7000000, 8980504)
    """
    y = np.asarray(state, dtype=np.float64)
    r, v = y[:3], y[3:]
    distance = float(np.linalg.norm(r))
    speed2 = float(v @ v)
    shape = float(np.linalg.norm((speed2 / gm - 1.0 / distance) * r - (r @ v) / gm * v))
    inverse = 2.0 / distance - speed2 / gm
    momentum = np.cross(r, v)
    parameter = float(momentum @ momentum) / gm
    if inverse <= 0.0:
        return Readout(period_s=math.inf, periapsis_m=parameter / (1.0 + shape), apoapsis_m=math.inf)
    return Readout(
        period_s=2.0 * math.pi / math.sqrt(gm * inverse**3),
        periapsis_m=parameter / (1.0 + shape),
        apoapsis_m=(1.0 + shape) / inverse,
    )
