"""A free-form flight: a few burns in any direction at any moment, and whom it passes."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from ...models import frames
from ...models.arrays import Mask
from ...models.kepler import propagate
from ...models.ring import Ring
from ..problem.options import F

if TYPE_CHECKING:
    from ..rendezvous.optimum import FreeformSolution

SAMPLES_PER_TURN = 400
"""Moments in a ring period at which a flight is examined: for the angle flown, and for who is passed."""


@dataclass(frozen=True, kw_only=True)
class Coast:
    """Where a craft in space is when it may begin to burn, at ``time_s``: its state (3,), m and m/s.

    ``on_ring``: whether it is on the ring already.
    """

    position: F
    velocity: F
    time_s: float
    on_ring: bool


@dataclass(frozen=True, kw_only=True)
class TimedFlight:
    """One free-form flight of a class of craft into a slot.

    Args:
        craft_class, slot: whose, and where to.
        start: the coast that it begins with.
        solution: burns and evidence; at least one burn.
        gained_rad: angle flown from the first burn to the last, less the slot's.
        lead_rad: how far the slot is ahead at the first burn, in (-pi, pi].
        touch_s: when the flight first reaches the ring's radius.
        lowest_m, periapsis_m: lowest radius from the start on, and the lowest periapsis passed; None where none is.
        way, pad, liftoff_s: how a craft from the ground got to the start; -1, -1 and nan for one in space.
    """

    craft_class: int
    slot: int
    start: Coast
    solution: FreeformSolution
    gained_rad: float
    lead_rad: float
    touch_s: float
    lowest_m: float
    periapsis_m: float | None
    way: int = -1
    pad: int = -1
    liftoff_s: float = math.nan
    _passes: dict[tuple[object, ...], tuple[Mask, F]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    @property
    def begin_s(self) -> float:
        """Time of the first burn."""
        return self.solution.burns[0].time_s

    def passes(self, ring: Ring, angle_rad: F, separation_m: float, together: Mask | None = None) -> tuple[Mask, F]:
        """Whether craft on the ring, at angles (n,) at time 0, come too close, and until when; nan where they do not.

        Between moments a hundredth of a radian or two of ring motion apart, the relative motion is taken as straight.
        Those that it starts ``together`` with, (n,), count once they were outside the separation. An answer
        is kept, as every catalogue asks for it.
        """
        key = (ring, angle_rad.tobytes(), separation_m, None if together is None else together.tobytes())
        if key not in self._passes:
            self._passes[key] = self._passed(ring, angle_rad, separation_m, together)
        return self._passes[key]

    def _passed(self, ring: Ring, angle_rad: F, separation_m: float, together: Mask | None) -> tuple[Mask, F]:
        times = moments(ring, self.start.time_s, self.solution.finish_s)
        hit, until = np.zeros(angle_rad.size, dtype=bool), np.full(angle_rad.size, np.nan)
        if times.size < 2 or not angle_rad.size:
            return hit, until
        place, speed = states(self.start, self.solution, ring.gm, times)
        angle = angle_rad[:, np.newaxis] + ring.rate_rad_s * times
        node = ring.node_rad + ring.node_rate_rad_s * times
        there = frames.on_circle(ring.radius_m, angle, ring.inclination_rad, node)
        ahead = frames.on_circle(ring.radius_m, angle + 0.5 * math.pi, ring.inclination_rad, node)
        apart, closing = place - there, speed - ahead * ring.rate_rad_s
        half = 0.5 * float(times[1] - times[0])
        square = np.maximum(np.sum(closing * closing, axis=2), 1e-12)
        moment = np.clip(-np.sum(apart * closing, axis=2) / square, -half, half)
        near = np.linalg.norm(apart + closing * moment[..., np.newaxis], axis=2) < separation_m
        if together is not None and together.any():
            outside = np.logical_or.accumulate(np.linalg.norm(apart, axis=2) >= separation_m, axis=1)
            near &= outside | ~together[:, np.newaxis]
        hit = near.any(axis=1)
        last = near.shape[1] - 1 - np.argmax(near[:, ::-1], axis=1)
        return hit, np.where(hit, times[last] + half, np.nan)


def moments(ring: Ring, from_s: float, to_s: float) -> F:
    count = math.ceil(max(to_s - from_s, 0.0) / ring.period_s * SAMPLES_PER_TURN) + 1
    return np.linspace(from_s, to_s, count)


def states(start: Coast, solution: FreeformSolution, gm: float, times_s: F) -> tuple[F, F]:
    """Positions and velocities (n, 3) on a flight, by Kepler's equation; at a burn those after it."""
    position, velocity, since = start.position, start.velocity, start.time_s
    place, speed = np.empty((times_s.size, 3)), np.empty((times_s.size, 3))
    begun = np.zeros(times_s.size, dtype=bool)
    for burn in (*solution.burns, None):
        own = ~begun & (times_s < (math.inf if burn is None else burn.time_s))
        place[own], speed[own] = propagate(position, velocity, times_s[own] - since, gm)
        begun |= own
        if burn is not None:
            position, velocity = propagate(position, velocity, burn.time_s - since, gm)
            velocity, since = velocity + np.array(burn.vector_m_s), burn.time_s
    return place, speed
