"""The flight of a plan as nodes to be interpolated: how densely it has to be sampled, and where it is cut.

A flight is cut at its burns into stretches within which position and velocity are smooth. Each stretch has nodes that
are evenly spread in the integrator's own steps, which are short where the orbit bends; the longest spacing is taken at
which interpolation stays within :data:`AIM_M` of the flight. Times of nodes are whole microseconds, so that a text
holds them exactly; at the ends of a stretch, which fall where they fall, the state is carried along its velocity by
what is missing, less than half a microsecond.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ...models.arrays import Array
from ...models.burns import BurnModel, Impulsive
from ...models.errors import FlightError
from ...models.flight.flown import Flight
from ...models.flight.gravity import Gravity, gravity_around
from ...models.flight.integrate import fly
from ...models.flight.stepping import RELATIVE_TOLERANCE, Arc
from ...models.force_choice import Chosen
from ...models.reference import RELATIVE as FORCED_RELATIVE
from ...optimizer.craft_plan import CarrierPlan, CraftPlan
from ...optimizer.flown_plans.flights import CORRECTED_RELATIVE
from ...optimizer.outcome import Outcome, Plan

WINDOW = 4
"""Nodes that one interpolation looks at."""

DEGREE = 2 * WINDOW - 1
"""Degree of the polynomial through the positions and velocities of that many nodes (Hermite)."""

AIM_M = 0.1
"""How far interpolation may be off the flight: a tenth of what is promised, as readers choose their own nodes."""

STRIDES = (4.0, 3.0, 2.0, 1.5, 1.0, 0.75, 0.5, 0.35, 0.25, 0.15, 0.1)
"""Steps of the integrator from node to node, the longest first."""

LOOKS = (0.2, 0.5, 0.8)
"""Where between two nodes interpolation is examined."""

TICK_S = 1e-6


@dataclass(frozen=True, kw_only=True, eq=False)
class Stretch:
    """A smooth part of a flight.

    Args:
        burn: number of the burn that it is the arc of, counted from 0; None for a coast.
        after: how many burns are over when it begins.
        times_s: (n,) rising, whole microseconds from the epoch.
        states: (n, 6) position, m, and velocity, m/s, in the base frame.
    """

    burn: int | None
    after: int
    times_s: Array
    states: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class Track:
    """The flight of one craft, or of a carrier.

    Args:
        name: of the craft or carrier.
        part: what the craft does by the plan; None for a carrier.
        carrier: what the carrier does; None for a craft.
        flight: as flown for this.
        stretches: its smooth parts, in order of time.
        off_m: the largest distance of the interpolation from the flight that was seen.
        apart_m: how far this flight is at its burns from the one that the plan was made of.
    """

    name: str
    part: CraftPlan | None
    carrier: CarrierPlan | None
    flight: Flight = field(repr=False)
    stretches: tuple[Stretch, ...]
    off_m: float
    apart_m: float


def tracks(
    outcome: Outcome, plan: Plan, progress: Callable[[str], None] = lambda _: None, names: Sequence[str] = ()
) -> tuple[Track, ...]:
    """Fly a plan once more and sample each flight, craft in the order of the plan, then carriers.

    Args:
        names: only these craft or carriers; all of them where empty.

    Raises:
        FlightError: a flight that could be flown before cannot now.
    """
    parts: list[CraftPlan | CarrierPlan] = [*plan.craft, *plan.carriers]
    parts = [one for one in parts if not names or _name(one) in names]
    for one in parts:
        if one.itinerary is None:
            raise FlightError(f"{_name(one)} has no flight to go by")
    progress(f"flights of {len(parts)} craft")
    items = [one.itinerary for one in parts if one.itinerary is not None]
    gravity, relative = pull_of(outcome, plan)
    flights = fly(items, gravity, [_engine(one) for one in parts], relative=relative)
    return tuple(_track(_name(one), one, flight) for one, flight in zip(parts, flights, strict=True))


def pull_of(outcome: Outcome, plan: Plan) -> tuple[Gravity, float]:
    """What a plan was flown under, and how exactly: further forces where its burns were corrected for them."""
    forced = forces_of(outcome, plan)
    if forced is not None:
        return forced.field, FORCED_RELATIVE
    body = outcome.scenario.body
    return gravity_around(body), CORRECTED_RELATIVE if body.j2 != 0.0 else RELATIVE_TOLERANCE


def forces_of(outcome: Outcome, plan: Plan) -> Chosen | None:
    """The further forces that a plan's burns were corrected for; None for the body and its bulge alone."""
    under = outcome.under
    return under.chosen if under is not None and under.corrected and plan.rank == 1 else None


def further_forces(outcome: Outcome, plan: Plan) -> tuple[str, ...]:
    """The names of these forces, the body's own field left out."""
    forced = forces_of(outcome, plan)
    return () if forced is None else forced.flown[1:]


def _name(one: CraftPlan | CarrierPlan) -> str:
    return one.craft if isinstance(one, CraftPlan) else one.carrier


def _engine(one: CraftPlan | CarrierPlan) -> BurnModel:
    return one.engine if isinstance(one, CraftPlan) and one.engine is not None else Impulsive()


def _track(name: str, one: CraftPlan | CarrierPlan, flight: Flight) -> Track:
    found, worst = [], 0.0
    lasting = flight.cutoff_s > flight.ignition_s
    for arc in flight.arcs:
        # the arc of a burn belongs to the leg that follows it
        burn = arc.leg - 1
        burning = burn >= 0 and bool(lasting[burn]) and arc.start_s == float(flight.ignition_s[burn])
        stretch = _stretch(arc, burn if burning else None, burn if burning else arc.leg)
        if stretch is not None:
            found.append(stretch[0])
            worst = max(worst, stretch[1])
    craft = one if isinstance(one, CraftPlan) else None
    planned = np.array(craft.before_burns if craft is not None else ()).reshape(-1, 6)
    # a craft that a carrier drops comes with the carrier's burns too
    own = flight.before[-len(planned) :] if len(planned) else planned
    apart = np.linalg.norm(own[:, :3] - planned[: len(own), :3], axis=1) if len(own) == len(planned) else np.zeros(0)
    return Track(
        name=name,
        part=craft,
        carrier=one if isinstance(one, CarrierPlan) else None,
        flight=flight,
        stretches=tuple(found),
        off_m=worst,
        apart_m=float(apart.max(initial=0.0)),
    )


def _stretch(arc: Arc, burn: int | None, after: int) -> tuple[Stretch, float] | None:
    """The nodes of one arc, and how far interpolation is off at most; None for an arc too short to hold any."""
    length = arc.end_s - arc.start_s
    if length < 10.0 * WINDOW * TICK_S:
        return None
    best, least = None, math.inf
    for stride in STRIDES:
        times, states = _nodes(arc, _spread(arc.knots, length, stride))
        off = _off_m(arc, times, states)
        if best is None or off < least:
            best, least = Stretch(burn=burn, after=after, times_s=times, states=states), off
        if off <= AIM_M:
            break
    return None if best is None else (best, least)


def _spread(knots: Array, length_s: float, stride: float) -> Array:
    """Times from the start of an arc, evenly spread in its steps, so that none is far shorter than its neighbors.

    Args:
        knots: ends of the steps; the last may lie past the end of the arc.
        stride: steps from node to node, at most.
    """
    counts = np.arange(knots.size, dtype=np.float64)
    whole = float(np.interp(length_s, knots, counts))
    spread = np.interp(np.linspace(0.0, whole, max(int(np.ceil(whole / stride)) + 1, WINDOW)), counts, knots)
    spread[-1] = length_s
    return spread


def _nodes(arc: Arc, locals_s: Array) -> tuple[Array, Array]:
    """Times, whole microseconds from the epoch, and states."""
    exact = arc.start_s + locals_s
    times = np.unique(np.round(exact / TICK_S)) * TICK_S
    inside = np.clip(times - arc.start_s, 0.0, arc.end_s - arc.start_s)
    states = arc.states(inside)
    missing = times - arc.start_s - inside
    states[:, :3] += states[:, 3:] * missing[:, np.newaxis]
    return times, states


def _off_m(arc: Arc, times: Array, states: Array) -> float:
    """Largest distance between interpolation and flight, examined between every two nodes."""
    start = np.arange(times.size - 1)
    moments = (times[:-1, np.newaxis] + np.diff(times)[:, np.newaxis] * np.array(LOOKS)).ravel()
    own = np.repeat(start, len(LOOKS))
    flown = arc.states(np.clip(moments - arc.start_s, 0.0, arc.end_s - arc.start_s))[:, :3]
    return float(np.linalg.norm(hermite(times, states, own, moments) - flown, axis=1).max(initial=0.0))


def hermite(times_s: Array, states: Array, interval: NDArray[np.intp], at_s: Array) -> Array:
    """Positions between nodes by the polynomial through positions and velocities of the four nodes nearest.

    Args:
        times_s: (n,) nodes, four at least.
        states: (n, 6) position and velocity there.
        interval: (m,) number of the interval of each moment.
        at_s: (m,) moments.

    Returns:
        (m, 3). Hermite's formula by Lagrange polynomials (Abramowitz and Stegun 1964, 25.2.2 and 25.2.8).
    """
    first = np.clip(interval - (WINDOW // 2 - 1), 0, times_s.size - WINDOW)
    rows = first[:, np.newaxis] + np.arange(WINDOW)
    middle = times_s[rows].mean(axis=1, keepdims=True)
    half = 0.5 * np.ptp(times_s[rows], axis=1, keepdims=True)
    x, at = (times_s[rows] - middle) / half, (at_s[:, np.newaxis] - middle) / half
    out = np.zeros((at_s.size, 3))
    for j in range(WINDOW):
        others = [k for k in range(WINDOW) if k != j]
        gaps = x[:, [j]] - x[:, others]
        basis = np.prod((at - x[:, others]) / gaps, axis=1)
        slope = np.sum(1.0 / gaps, axis=1)
        ahead = at[:, 0] - x[:, j]
        square = basis * basis
        out += (square * (1.0 - 2.0 * slope * ahead))[:, np.newaxis] * states[rows[:, j], :3]
        out += (square * ahead * half[:, 0])[:, np.newaxis] * states[rows[:, j], 3:]
    return out
