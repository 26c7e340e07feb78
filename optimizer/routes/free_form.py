"""Free-form flights: a few burns in any direction at any moment, for craft in space and for those just launched.

Such a flight costs no more than any phasing orbit that is as quick (``rendezvous/optimum.py``), and follows no period:
it is flown by attitude and clock. Two-body; over an oblate body it is a first guess like every other option.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from ...models import frames
from ...models.apsis_sensitivity import lowest
from ...models.kepler import fly
from ...models.ring import Ring
from ..problem.options import ROUTES, F, Options, empty
from ..problem.timed_flight import Coast, TimedFlight, moments, states

if TYPE_CHECKING:
    from ..rendezvous.optimum import FreeformSolution, State


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
        times = moments(ring, begin, end)
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
    times = moments(ring, start.time_s, solution.finish_s)

    def above(at_s: F) -> F:
        return np.asarray(np.linalg.norm(states(start, solution, ring.gm, at_s)[0], axis=1) - ring.radius_m)

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
