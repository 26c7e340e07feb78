"""Free-form flights: a few burns in any direction at any moment, for craft in space and for those just launched.

Such a flight costs no more than any phasing orbit that is as quick (``rendezvous/optimum.py``), and follows no period:
it is flown by attitude and clock. Two-body; over an oblate body it is a first guess like every other option.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...models import frames
from ...models.apsis_sensitivity import lowest
from ...models.flight.integrate import Impulse, Itinerary
from ...models.kepler import fly
from ...models.ring import Ring
from ..craft_plan import FreeForm
from ..limits.screening import passes_kept, within_limits
from ..problem.detail import Detail, Mask
from ..problem.options import F, I, Options, empty
from ..problem.problem import Problem
from ..problem.restriction import route_wanted
from ..problem.timed_flight import Coast, TimedFlight, moments, states
from ..trajectory.course import Course
from ..trajectory.differential_correction import IN_PLANE, Part, Unknown
from ..trajectory.start_state import state_in_space
from .route import Question, Route

if TYPE_CHECKING:
    from ..rendezvous.optimum import FreeformSolution, State

NARROWINGS, NARROWED = 8, 64
"""Rounds in which a crossing of the ring's radius is looked for ever closer, each so many times: to rounding."""


@dataclass(frozen=True, kw_only=True)
class Timed(Detail):
    """The flight of each option, and its place among those of the problem."""

    by_touches: ClassVar[bool] = False

    number: I
    flight: NDArray[np.object_]

    def of(self, row: int) -> TimedFlight:
        """One flight."""
        flight: TimedFlight = self.flight[row]
        return flight

    def burns(self, problem: Problem, options: Options, size_m_s: F, time_s: F) -> tuple[F, F]:
        """The burns of each flight."""
        size, time = np.zeros_like(size_m_s), np.full_like(time_s, np.nan)
        for row in range(len(self)):
            for k, burn in enumerate(self.of(row).solution.burns[: len(size[row])]):
                size[row, k] = math.hypot(burn.radial_m_s, burn.along_m_s, burn.cross_m_s)
                time[row, k] = burn.time_s
        return size, time

    def passes(self, row: int, ring: Ring, angle_rad: F, separation_m: float, together: Mask) -> tuple[Mask, F]:
        """See `Detail`."""
        return self.of(row).passes(ring, angle_rad, separation_m, together)


@dataclass(frozen=True, kw_only=True)
class Sought:
    """Flights that are looked for.

    Args:
        ring: where the slot is; it stands still meanwhile but for its turning.
        start: where the craft is.
        slot: in the ring.
        craft_class: whose flights they are.
        finishes_s: latest finishes, ascending, all after the start.
        floor_m, ceiling_m: radii that every arc after the first burn keeps to.
    """

    ring: Ring
    start: Coast
    slot: int
    craft_class: int
    finishes_s: Sequence[float]
    floor_m: float
    ceiling_m: float

    @property
    def lead_rad(self) -> float:
        """How far the slot is ahead at the start, in (-pi, pi]."""
        return lead_at_start(self.ring, self.start, self.slot)


def find(sought: Sequence[Sought]) -> tuple[tuple[TimedFlight, ...], ...]:
    """The time-limited optimum for each latest finish of each that is sought, all side by side."""
    # loaded only where such flights are asked for, which is rare
    from ..rendezvous.optimum import Asked, ToSlot, least_delta_v_of_each

    asked = []
    for one in sought:
        to = ToSlot(
            gm=one.ring.gm,
            ring_radius_m=one.ring.radius_m,
            slot_lead_rad=one.lead_rad,
            floor_m=one.floor_m,
            ceiling_m=one.ceiling_m,
            pole=pole(one.ring, one.start.time_s),
        )
        allowed_s = [finish - one.start.time_s for finish in one.finishes_s]
        asked.append(Asked(start=as_state(one.start), allowed_s=allowed_s, to=to))
    return tuple(_distinct(one, found) for one, found in zip(sought, least_delta_v_of_each(asked), strict=True))


def _distinct(sought: Sought, solutions: Sequence[FreeformSolution | None]) -> tuple[TimedFlight, ...]:
    """Flights from their solutions; those that end sooner and cost the same only once."""
    found, seen = [], set()
    for solution in solutions:
        if solution is None or not solution.burns:
            continue
        what = (round(solution.finish_s, 3), round(solution.delta_v_m_s, 6))
        if what not in seen:
            seen.add(what)
            found.append(_flight(sought, solution))
    return tuple(found)


def _flight(sought: Sought, solution: FreeformSolution) -> TimedFlight:
    """A flight with what its columns say of it."""
    ring, start = sought.ring, sought.start
    begin, end = solution.burns[0].time_s, solution.finish_s
    first = _coast_low(ring, start, begin)
    dips = [low for low in (solution.lowest_periapsis_m, first.radius_m if first.passed else None) if low]
    times = moments(ring, begin, end)
    angle = _angles(ring, states(start, solution, ring.gm, times)[0], times)
    flown = float(np.sum(frames.wrap(np.diff(angle))))
    return TimedFlight(
        craft_class=sought.craft_class,
        slot=sought.slot,
        start=start,
        solution=solution,
        gained_rad=flown - ring.rate_rad_s * (end - begin),
        lead_rad=float(frames.wrap(float(ring.phase(begin, sought.slot)) - angle[0])),
        touch_s=_first_touch(ring, start, solution),
        lowest_m=min(solution.lowest_m, first.radius_m),
        periapsis_m=min(dips, default=None),
    )


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
    begun = np.signbit(height[crossed[0]])
    for _ in range(NARROWINGS):
        closer = np.linspace(low, high, NARROWED + 1)
        # the ends are known to lie on either side
        inside = np.signbit(above(closer[1:-1])) == begun
        at = int(np.argmin(np.append(inside, False)))
        low, high = float(closer[at]), float(closer[at + 1])
    return high


def _angles(ring: Ring, position: F, time_s: F | float) -> F:
    node = ring.node_rad + ring.node_rate_rad_s * np.asarray(time_s)
    return frames.latitude_argument(position, ring.inclination_rad, node)


def timed_options(ring: Ring, flights: Sequence[TimedFlight]) -> Options:
    """Options of free-form flights.

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
    options = Options(
        craft_class=np.array([f.craft_class for f in flights]),
        slot=np.array([f.slot for f in flights]),
        pad=np.array([f.pad for f in flights]),
        way=np.array([f.way for f in flights]),
        liftoff_s=each(lambda f: f.liftoff_s),
        revolutions=ring_turns + beyond,
        ring_revolutions=ring_turns,
        touch_s=each(lambda f: f.touch_s),
        burn_s=begin,
        finish_s=finish,
        lead_rad=lead,
        speed_m_s=np.full(n, ring.speed_m_s),
        delta_v_m_s=each(lambda f: f.solution.delta_v_m_s),
        lowest_m=np.minimum(each(lambda f: f.lowest_m), radius),
        highest_m=np.maximum(each(lambda f: f.solution.highest_apoapsis_m or radius), radius),
    )
    table = np.empty(n, dtype=np.object_)
    table[:] = flights
    return options.with_table(Timed(number=np.arange(n), flight=table))


def columns(question: Question) -> Options:
    """Free-form flights within the limits; those from the ground where the way up is wanted that they begin with."""
    problem, restriction = question.problem, question.restriction
    options = timed_options(problem.ring, problem.timed)
    options = within_limits(problem, options, problem.scenario.limits.finish_within_s)
    strict = np.array([restriction.applies(slot) for slot in options.slot.tolist()], dtype=bool)
    allowed = np.ones(len(options), dtype=bool)
    if restriction.routes is not None and ROUTE.name not in restriction.routes:
        allowed[:] = False
    up = [route_wanted(restriction, "park" if way.parking else "direct", i) for i, way in enumerate(problem.ways)]
    allowed &= (options.way < 0) | np.array([*up, True])[options.way]
    if restriction.sides is not None:
        allowed &= np.isin(options.side, sorted(restriction.sides))
    if restriction.revolutions is not None:
        allowed &= np.isin(options.revolutions, sorted(restriction.revolutions))
    options = options.take(allowed | ~strict)
    return options.take(~passes_kept(problem, options))


def course(problem: Problem, options: Options, row: int, finite: bool = False) -> Course:
    """The burns of the flight as they were found; all of them are what a correction may change, by the least."""
    table = options.tables[int(options.route[row])]
    if not isinstance(table, Timed):
        raise ValueError("not a free-form flight")
    flight = table.of(int(options.detail[row]))
    ring, start, group = problem.ring, flight.start, problem.classes[flight.craft_class]
    orbit = group.craft.orbit
    if flight.way >= 0:
        way = problem.ways[flight.way]
        position, velocity = start.position, start.velocity
        dives = not way.parking and way.periapsis_m < problem.scenario.floor_m * (1.0 - 1e-9)
    elif orbit is not None:
        position, velocity = state_in_space(problem, orbit, start.on_ring, start.time_s)
        dives = min(orbit.periapsis_m, ring.radius_m) < problem.scenario.floor_m * (1.0 - 1e-9)
    else:
        raise ValueError("a free-form flight begins in space, or where a craft from the ground is let go")
    found, lowest_m = flight.solution, flight.periapsis_m
    impulses = tuple(Impulse(burn.time_s, burn.radial_m_s, burn.along_m_s, burn.cross_m_s) for burn in found.burns)
    drifts = ring.node_rate_rad_s != 0.0
    parts: tuple[Part, ...] = ("radial", "along", "cross") if drifts else ("radial", "along")
    unknowns = [Unknown(k, part) for k in range(len(impulses)) for part in parts]
    if len(impulses) == 1:
        unknowns.append(Unknown(0, "time"))
    return Course(
        itinerary=Itinerary.through_turn(start.time_s, position, velocity, impulses, ring),
        insertion_s=start.time_s if flight.way >= 0 else None,
        screened_from_s=start.time_s,
        periapsis_m=None if lowest_m is None else min(lowest_m, ring.radius_m),
        must_burn=not start.on_ring and dives,
        unknowns=tuple(unknowns) if problem.oblate or finite else (),
        targets=(*IN_PLANE, "plane") if drifts else IN_PLANE,
        plane=flight.slot // ring.slots,
        phases=False,
        evidence=FreeForm(
            primer_excess=found.primer_excess, linear_estimate_m_s=found.linear_estimate_m_s, family=found.family
        ),
    )


ROUTE = Route(
    name="timed",
    words=("fly", "free-form"),
    begins="space",
    columns=columns,
    course=course,
    may_serve=lambda problem: problem.scenario.front_step_s is not None,
    arrives_by_way=False,
)
