"""Free-form flights: a few burns in any direction at any moment, for craft in space and for those just launched.

Such a flight costs no more than any phasing orbit that is as quick (``rendezvous/optimum.py``), and follows no period:
it is flown by attitude and clock. Two-body; over an oblate body it is a first guess like every other option.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...models import frames
from ...models.apsis_sensitivity import lowest
from ...models.kepler import fly, propagate
from ...models.ring import Ring
from .options import ROUTES, F, Options, empty

if TYPE_CHECKING:
    from ..rendezvous.optimum import FreeformSolution, State

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

    @property
    def begin_s(self) -> float:
        """Time of the first burn."""
        return self.solution.burns[0].time_s

    def passes(
        self, ring: Ring, angle_rad: F, separation_m: float, together: NDArray[np.bool_] | None = None
    ) -> tuple[NDArray[np.bool_], F]:
        """Whether craft on the ring, at angles (n,) at time 0, come too close, and until when; nan where they do not.

        Between moments a hundredth of a radian or two of ring motion apart, the relative motion is taken as straight.
        Those that it starts ``together`` with, (n,), count once they were outside the separation.
        """
        times = _moments(ring, self.start.time_s, self.solution.finish_s)
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


def _moments(ring: Ring, from_s: float, to_s: float) -> F:
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


def find(
    ring: Ring,
    start: Coast,
    slot: int,
    finishes_s: Sequence[float],
    *,
    craft_class: int,
    floor_m: float,
    ceiling_m: float,
) -> tuple[TimedFlight, ...]:
    """The time-limited optimum into a slot for each latest finish; those that end sooner and cost the same only once.

    Args:
        ring: where the slot is; it stands still meanwhile but for its turning.
        start: where the craft is.
        slot: in the ring.
        finishes_s: latest finishes, ascending, all after the start.
        craft_class: whose flight it is.
        floor_m, ceiling_m: radii that every arc after the first burn keeps to.
    """
    # loaded only where such flights are asked for, which is rare
    from ..rendezvous.optimum import least_delta_v_over_times

    solutions = least_delta_v_over_times(
        as_state(start),
        gm=ring.gm,
        ring_radius_m=ring.radius_m,
        slot_lead_rad=lead_at_start(ring, start, slot),
        allowed_s=[finish - start.time_s for finish in finishes_s],
        floor_m=floor_m,
        ceiling_m=ceiling_m,
        pole=pole(ring, start.time_s),
    )
    found, seen = [], set()
    for solution in solutions:
        if solution is None or not solution.burns:
            continue
        what = (round(solution.finish_s, 3), round(solution.delta_v_m_s, 6))
        if what in seen:
            continue
        seen.add(what)
        begin, end = solution.burns[0].time_s, solution.finish_s
        first = _coast_low(ring, start, begin)
        dips = [low for low in (solution.lowest_periapsis_m, first.radius_m if first.passed else None) if low]
        times = _moments(ring, begin, end)
        angle = _angles(ring, states(start, solution, ring.gm, times)[0], times)
        flown = float(np.sum(frames.wrap(np.diff(angle))))
        found.append(
            TimedFlight(
                craft_class=craft_class,
                slot=slot,
                start=start,
                solution=solution,
                gained_rad=flown - ring.rate_rad_s * (end - begin),
                lead_rad=float(frames.wrap(float(ring.phase(begin, slot)) - angle[0])),
                touch_s=_first_touch(ring, start, solution),
                lowest_m=min(solution.lowest_m, first.radius_m),
                periapsis_m=min(dips, default=None),
            )
        )
    return tuple(found)


def as_state(start: Coast) -> State:
    """The start as the time-limited optimum takes it."""
    from ..rendezvous.optimum import State

    return State(
        position_m=tuple(start.position.tolist()), velocity_m_s=tuple(start.velocity.tolist()), time_s=start.time_s
    )


def lead_at_start(ring: Ring, start: Coast, slot: int) -> float:
    """How far a slot is ahead of the craft at the start, rad, in (-pi, pi]."""
    return float(frames.wrap(ring.phase(start.time_s, slot) - _angles(ring, start.position, start.time_s)))


def pole(ring: Ring, time_s: float) -> list[float]:
    """Direction about which the ring turns."""
    direction: list[float] = frames.plane_axes(ring.inclination_rad, ring.node(time_s))[2].tolist()
    return direction


class _Low(NamedTuple):
    radius_m: float
    passed: bool


def _coast_low(ring: Ring, start: Coast, until_s: float) -> _Low:
    """Lowest radius of the coast before the first burn, and whether it is a periapsis that is passed."""
    unit, radius = ring.speed_m_s, ring.radius_m
    arc = fly(
        start.position[:, np.newaxis] / radius,
        start.velocity[:, np.newaxis] / unit,
        np.array([(until_s - start.time_s) * unit / radius]),
    )
    low = lowest(arc)
    return _Low(float(low.radius[0]) * radius, bool(low.passed[0]) and not start.on_ring)


def _first_touch(ring: Ring, start: Coast, solution: FreeformSolution) -> float:
    """When a flight first comes to the ring's radius: at the start, on a crossing, or at last in its slot."""
    if start.on_ring:
        return start.time_s
    times = _moments(ring, start.time_s, solution.finish_s)

    def above(moments: F) -> F:
        return np.asarray(np.linalg.norm(states(start, solution, ring.gm, moments)[0], axis=1) - ring.radius_m)

    height = above(times[:-1])
    crossed = np.flatnonzero(np.signbit(height[:-1]) != np.signbit(height[1:]))
    if not crossed.size:
        return solution.finish_s
    low, high = float(times[crossed[0]]), float(times[crossed[0] + 1])
    for _ in range(50):
        middle = 0.5 * (low + high)
        same = np.signbit(above(np.array([middle]))[0]) == np.signbit(height[crossed[0]])
        low, high = (middle, high) if same else (low, middle)
    return high


def _angles(ring: Ring, position: F, time_s: F | float) -> F:
    node = ring.node_rad + ring.node_rate_rad_s * np.asarray(time_s)
    return frames.latitude_argument(position, ring.inclination_rad, node)


def options(ring: Ring, flights: Sequence[TimedFlight]) -> Options:
    """Columns for free-form flights, ``flight`` being their place in the sequence.

    The slot's whole turns m and the craft's k are those nearest to what both fly between first and last burn.
    """
    if not flights:
        return empty()
    n = len(flights)

    def each(value: Callable[[TimedFlight], float]) -> F:
        return np.array([value(flight) for flight in flights], dtype=np.float64)

    begin, finish = each(lambda f: f.begin_s), each(lambda f: f.solution.finish_s)
    lead = each(lambda f: f.lead_rad)
    beyond = np.rint((each(lambda f: f.gained_rad) - lead) / (2.0 * np.pi)).astype(np.int64)
    turns = np.rint((finish - begin) / ring.period_s).astype(np.int64)
    ring_turns = np.maximum(np.maximum(turns, 1), 1 - beyond)
    radius = ring.radius_m
    return Options(
        craft_class=np.array([f.craft_class for f in flights]),
        slot=np.array([f.slot for f in flights]),
        route=np.full(n, ROUTES.index("timed")),
        pad=np.array([f.pad for f in flights]),
        way=np.array([f.way for f in flights]),
        flight=np.arange(n),
        liftoff_s=each(lambda f: f.liftoff_s),
        parking_wait_s=np.zeros(n),
        passes=np.zeros(n, dtype=np.int64),
        revolutions=ring_turns + beyond,
        ring_revolutions=ring_turns,
        touch_s=each(lambda f: f.touch_s),
        burn_s=begin,
        finish_s=finish,
        turn_after_s=np.zeros(n),
        lead_rad=lead,
        speed_m_s=np.full(n, ring.speed_m_s),
        delta_v_m_s=each(lambda f: f.solution.delta_v_m_s),
        lowest_m=np.minimum(each(lambda f: f.lowest_m), radius),
        highest_m=np.maximum(each(lambda f: f.solution.highest_apoapsis_m or radius), radius),
    )
