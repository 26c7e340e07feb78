"""The primer vector along a flight: would a burn added or moved anywhere pay?

On a flight of least total delta-v the primer vector has length one and the direction of the burn at each burn, and
nowhere exceeds one (Lawden 1963, *Optimal Trajectories for Space Navigation*, chapters 3 and 5; Lion and Handelsman
1968, AIAA Journal 6:127-132). It is the negative derivative of the cost of the rest of the flight with respect to
velocity: a small extra burn b at time t changes the total by |b| - p(t).b. So an excess over one is the share of an
extra burn that would be saved at best, to first order.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from .apsis_sensitivity import Held
from .arrays import Array
from .kepler import Arc, fly, pull_back


class Primer(NamedTuple):
    """Samples of the primer vector on one arc: times from the arc's beginning (S,), vectors (d, S)."""

    time: Array
    vector: Array

    @property
    def length(self) -> Array:
        """Its length, (S,)."""
        return np.asarray(np.sqrt((self.vector**2).sum(axis=0)))


class Limit(NamedTuple):
    """A radius limit that binds on an arc: its multiplier, signed, and the apsis that it is on."""

    weight: float
    apsis: Callable[[Arc], Held]


def along_arc(arc: Arc, on_position: Array, on_velocity: Array, samples: int, held: Sequence[Limit] = ()) -> Primer:
    """Sample the primer vector on one arc.

    Args:
        arc: a single flown arc, its vectors (d, 1), GM = 1.
        on_position, on_velocity: derivatives of the cost of all that follows with respect to the state at the end of
            the arc, (d,).
        samples: number of evenly spaced times, both ends included.
        held: radius limits that bind on this arc; a burn before the last passage of the apsis moves the apsis, too,
            and its price is part of the primer there.
    """
    size = len(arc.start)
    time = np.linspace(0.0, float(arc.time[0]), samples)

    def spread(vector: Array) -> Array:
        return np.repeat(vector.reshape(size, 1), samples, axis=1)

    there = fly(spread(arc.start), spread(arc.start_speed), time)
    rest = fly(there.end, there.end_speed, time[-1] - time)
    _, slope = pull_back(rest, spread(on_position), spread(on_velocity))
    for limit in held:
        ahead = limit.apsis(rest)
        slope = slope + limit.weight * np.where(ahead.passed, ahead.by_start_speed, 0.0)
    return Primer(time, -slope)
