"""The question that guesses answer, in the ring plane, and what a guess is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ...models.arrays import Array
from ...models.kepler import fly
from ...models.units import TWO_PI as TURN


class Guess(NamedTuple):
    """Burn times (N,) and all burns but the last, (N - 1, 2), along the first two axes, with the name of the family.

    ``cost`` is the sum of the burns of a guess that arrives, infinite where that was not computed; ``keeps`` is
    true where the guess is known to keep the radius limits.
    """

    family: str
    times: Array
    kicks: Array
    cost: float = np.inf
    keeps: bool = False


@dataclass(frozen=True, kw_only=True)
class Question:
    """One start, slot and allowed time, in the ring plane: see :class:`.burn_chain.Cases`."""

    position: Array
    velocity: Array
    slot_angle: float
    allowed: float
    latest_first: float
    floor: float
    ceiling: float

    @property
    def on_ring(self) -> bool:
        """Whether the craft flies the ring already, but for its phase."""
        radius = float(np.hypot(*self.position))
        along = float(self.position[0] * self.velocity[1] - self.position[1] * self.velocity[0])
        outward = float(self.position @ self.velocity)
        return abs(radius - 1.0) < 1e-6 and abs(along - 1.0) < 1e-6 and abs(outward) < 1e-6

    def departures(self) -> Array:
        """Times from which the first burn is tried: at once, and over the first turn of the craft's own orbit."""
        last = min(self.latest_first, self.allowed)
        if self.on_ring:
            return np.zeros(1)
        radius = float(np.hypot(*self.position))
        inverse = 2.0 / radius - float(self.velocity @ self.velocity)
        turn = TURN * inverse**-1.5 if inverse > 1e-3 else self.allowed
        return np.linspace(0.0, min(0.9 * last, turn), 7)[:6] if last > 0.0 else np.zeros(1)


def from_local(question: Question, times: Array, local: Array) -> Array:
    """Burns given outward and along, as vectors, by flying them one after the other."""
    position, velocity = question.position.reshape(2, 1), question.velocity.reshape(2, 1)
    now, kicks = 0.0, []
    for time, (outward, along) in zip(times, local, strict=False):
        arc = fly(position, velocity, np.array([time - now]))
        unit = arc.end / arc.end_radius
        kick = outward * unit + along * np.array([-unit[1], unit[0]])
        kicks.append(kick[:, 0])
        position, velocity, now = arc.end, arc.end_speed + kick, float(time)
    return np.array(kicks)
