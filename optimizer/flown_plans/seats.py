"""Who is in place during a plan, and who comes nearest to whom."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from ...models.opportunities import launch_state, tilt
from ..problem.option_key import FlightKey, flight_key
from ..problem.options import Options
from ..problem.problem import Problem
from .flights import Flights, Place, Seat

ALIKE_M = 1.0
"""Distances this close differ by rounding of the flight only."""


def seats_of(problem: Problem, options: Options, named: Sequence[tuple[str, int]], flights: Flights) -> list[Seat]:
    """Who is in place during a plan: those that stay, and each craft of the plan from its last burn on."""
    in_space, index = options.way < 0, options.craft_class
    found = []
    for column, kept in enumerate(problem.kept):
        place = _in_ring(problem, kept.angle_rad, kept.slot)
        found.append(Seat(kept.name, place, -math.inf, None, in_space & flights.beside_kept[index, column]))
    for name, row in named:
        dropped_with = (options.bundle == options.bundle[row]) & (options.passes == options.passes[row])
        found.append(
            Seat(
                name,
                _place(problem, options, row),
                flights.finish(problem, options, row),
                flight_key(problem, options, row),
                in_space & flights.beside[index[row], index] if in_space[row] else dropped_with & (options.bundle >= 0),
            )
        )
    return found


def _in_ring(problem: Problem, angle_rad: float, slot: int) -> Place:
    ring = problem.ring
    return Place(angle_rad, ring.inclination_rad, ring.node(0.0, slot // ring.slots))


def _place(problem: Problem, options: Options, row: int) -> Place:
    """The place of an option's craft once it is there: its slot, or beside it where a tilt is kept."""
    ring, slot = problem.ring, int(options.slot[row])
    angle = float(ring.phase(0.0, slot))
    way = problem.ways[options.way[row]] if options.way[row] >= 0 else None
    liftoff = float(options.liftoff_s[row])
    turned = way is not None and slot // ring.slots != way.plane
    if way is None or turned or way.place is None or way.tilt_at != "kept" or float(tilt(way, liftoff)) == 0.0:
        return _in_ring(problem, angle, slot)
    launched = launch_state(way, liftoff)
    site = float(way.insertion_angle(liftoff)) - way.insertion_angle0_rad
    node = launched.node_rad - ring.node_rate_rad_s * liftoff
    return Place(angle - site + launched.site_rad, launched.inclination_rad, node)


class Nearest(NamedTuple):
    """Least flown distance to anybody in place, to whom, and from when on those count that a craft started with."""

    distance_m: float | None
    name: str | None
    apart_s: tuple[tuple[str, float], ...]


def nearest_of(
    problem: Problem,
    flights: Flights,
    option_key: FlightKey,
    row: int,
    name: str,
    finish_s: float,
    seats: list[Seat],
) -> Nearest:
    """Who comes nearest of those in place before a craft is."""
    names: list[str] = []
    counted: list[tuple[Place, float]] = []
    apart: list[tuple[str, float]] = []
    for seat in seats:
        start = max(flights.courses[option_key].screened_from_s, seat.since_s)
        if seat.name == name or start >= finish_s:
            continue
        if seat.beside[row]:
            start = flights.counts_from(problem, option_key, seat, start, finish_s)
            apart.append((seat.name, start))
        if start < finish_s:
            names.append(seat.name)
            counted.append((seat.place, start))
    if not names:
        return Nearest(None, None, tuple(apart))
    distances = flights.distances(problem, option_key, counted, finish_s)
    least = min(distances)
    # of two that come equally close but for rounding, the first is named
    first = next(name for name, distance in zip(names, distances, strict=True) if distance <= least + ALIKE_M)
    return Nearest(least, first, tuple(apart))
