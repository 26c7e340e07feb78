"""Exhaustive search over slot orders on a grid of liftoffs: what the planner must never be worse than.

For a site in the ring plane and craft without mutual distances to keep. For each craft and slot every (insertion, pass,
k, m) is laid over the whole grid; sets of craft and of slots are then filled in every order, with prefix minima over
liftoffs a turnaround apart. Nothing is pruned. The formulas are those of ``enumeration.py``, written over the grid.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .enumeration import delta_v_available, from_space, orbit_period, speed_at
from .kepler_flight import anomaly_on_the_way_up, time_to_apoapsis
from .small_reader import Case, Craft, Insertion, Pad

F = NDArray[np.float64]
GRID_S = 10.0
PARKING_WAITS = 12
"""Waits in a parking orbit, besides the exact ones, tried before a Hohmann transfer that is followed by phasing."""


@dataclass(frozen=True)
class Columns:
    """Delta-v (m/s, infinite where a limit is broken) and finish (s) of every choice; shapes (choices, liftoffs)."""

    delta_v: F
    finish: F


def liftoff_grid(case: Case, window_s: float, step_s: float = GRID_S) -> F:
    """Liftoffs from the pad's ready time on."""
    return case.pads[0].ready + np.arange(0.0, window_s + 0.5 * step_s, step_s)


def _fold(angle: F) -> F:
    return math.pi - np.mod(math.pi - angle, 2.0 * math.pi)


def _phased(
    case: Case, craft: Craft, arrival: F, first: F, lead: F, speed: float, spent: float
) -> tuple[list[F], list[F]]:
    """Costs and finishes of every (k, m) from touches of the ring with a lead, shapes as the liftoffs."""
    costs, finishes = [], []
    for k in range(1, case.revolutions_max + 1):
        for m in range(0, 3 * k + 3):
            wait = (2.0 * math.pi * m - lead) / case.rate
            turn = np.where(wait > 0.0, wait, case.period) / k
            semi = np.cbrt(case.gm * (turn / (2.0 * math.pi)) ** 2)
            other = 2.0 * semi - case.radius
            fine = (wait > 0.0) & (other >= case.floor) & (other <= case.ceiling)
            finish = arrival + wait
            fine &= (finish <= case.finish_within) & (finish - first <= case.wait_within)
            if not fine.any():
                continue
            phasing = np.sqrt(case.gm * (2.0 / case.radius - 1.0 / semi), where=fine, out=np.zeros_like(semi))
            cost = spent + np.abs(phasing - speed) + np.abs(case.speed - phasing)
            fine &= cost <= delta_v_available(craft)
            costs.append(np.where(fine, cost, np.inf))
            finishes.append(np.where(fine, finish, np.inf))
    return costs, finishes


def _direct(
    case: Case, craft: Craft, pad: Pad, way: Insertion, slot_at_0: float, liftoff: F
) -> tuple[list[F], list[F]]:
    anomaly = anomaly_on_the_way_up(way.periapsis, way.apoapsis, way.radius)
    coast = time_to_apoapsis(case.gm, way.periapsis, way.apoapsis, anomaly)
    site = np.array([case.site_angle(pad, float(t)) for t in liftoff])
    angle = site + pad.downrange + math.pi - anomaly
    first = liftoff + pad.ascent + coast
    turn = orbit_period(case.gm, way.periapsis, way.apoapsis)
    speed = speed_at(case.gm, case.radius, way.periapsis, way.apoapsis)
    costs: list[F] = []
    finishes: list[F] = []
    for j in range(1 if way.periapsis < case.floor else case.revolutions_max + 1):
        arrival = first + j * turn
        lead = _fold(slot_at_0 + case.rate * arrival - angle)
        more = _phased(case, craft, arrival, first, lead, speed, 0.0)
        costs += more[0]
        finishes += more[1]
    return costs, finishes


def _parked(
    case: Case, craft: Craft, pad: Pad, way: Insertion, slot_at_0: float, liftoff: F
) -> tuple[list[F], list[F]]:
    if way.radius < case.floor:
        return [], []
    site = np.array([case.site_angle(pad, float(t)) for t in liftoff])
    inserted = liftoff + pad.ascent
    angle = site + pad.downrange
    gain = math.sqrt(case.gm / way.radius**3) - case.rate
    half = 0.5 * orbit_period(case.gm, way.radius, case.radius)
    away = speed_at(case.gm, way.radius, way.radius, case.radius) - math.sqrt(case.gm / way.radius)
    speed = speed_at(case.gm, case.radius, way.radius, case.radius)
    wanted = math.pi - case.rate * half
    wait = np.mod(slot_at_0 + case.rate * inserted - angle - wanted, 2.0 * math.pi) / gain
    finish = inserted + wait + half
    cost = np.full(liftoff.size, away + case.speed - speed)
    fine = (finish <= case.finish_within) & (cost <= delta_v_available(craft))
    costs = [np.where(fine, cost, np.inf)]
    finishes = [np.where(fine, finish, np.inf)]
    for part in range(PARKING_WAITS):
        waited = wait * (part / PARKING_WAITS)
        arrival = inserted + waited + half
        there = angle + (gain + case.rate) * waited + math.pi
        lead = _fold(slot_at_0 + case.rate * arrival - there)
        more = _phased(case, craft, arrival, arrival, lead, speed, away)
        costs += more[0]
        finishes += more[1]
    return costs, finishes


def launched(case: Case, craft: Craft, slot: int, slot0: float, liftoff: F) -> Columns:
    """Every choice of one craft for one slot over the grid of liftoffs (those before it is ready excluded)."""
    pad = case.pads[0]
    slot_at_0 = slot0 + case.slot_at(slot)
    costs: list[F] = []
    finishes: list[F] = []
    for way in pad.insertions:
        choose = _parked if abs(way.apoapsis - way.periapsis) <= 1.0 else _direct
        more = choose(case, craft, pad, way, slot_at_0, liftoff)
        costs += more[0]
        finishes += more[1]
    if not costs:
        costs, finishes = [np.full(liftoff.size, np.inf)], [np.full(liftoff.size, np.inf)]
    late = (liftoff >= craft.ready) & (liftoff <= pad.until)
    for start, end in pad.blackouts:
        late &= (liftoff <= start) | (liftoff >= end)
    return Columns(np.where(late, np.array(costs), np.inf), np.where(late, np.array(finishes), np.inf))


@dataclass(frozen=True)
class Search:
    """Everything the search needs, laid out once.

    Args:
        ground: columns of each craft on the ground and slot, ``ground[i][slot]``.
        space: (delta-v, finish) of every option of each craft in space and slot.
        free: slots that nobody keeps.
        lag: turnaround in steps of the grid, rounded up.
    """

    ground: tuple[tuple[Columns, ...], ...]
    space: tuple[tuple[tuple[tuple[float, float], ...], ...], ...]
    free: tuple[int, ...]
    slots: int
    lag: int


def lay_out(case: Case, slot0: float, taken: set[int], window_s: float, step_s: float = GRID_S) -> Search:
    """Lay out a scenario; ``taken`` are the slots of craft that stay."""
    movers = [craft for craft in case.craft if not craft.stay]
    ground = [craft for craft in movers if craft.orbit is None]
    liftoff = liftoff_grid(case, window_s, step_s) if ground else np.zeros(0)
    synodic_waits = tuple(float(w) for w in np.linspace(0.0, 6.0 * case.period, 121))
    return Search(
        ground=tuple(
            tuple(launched(case, craft, slot, slot0, liftoff) for slot in range(case.slots)) for craft in ground
        ),
        space=tuple(
            tuple(
                tuple((o.delta_v, o.finish) for o in from_space(case, craft, slot, slot0, waits=synodic_waits))
                for slot in range(case.slots)
            )
            for craft in movers
            if craft.orbit is not None
        ),
        free=tuple(slot for slot in range(case.slots) if slot not in taken),
        slots=case.slots,
        lag=math.ceil(case.pads[0].turnaround / step_s - 1e-9) if case.pads else 0,
    )


def _orders(search: Search, single: list[list[F]], together: str) -> dict[frozenset[int], float]:
    """Least total (or least greatest) value of all launched craft, for each set of slots that they fill."""
    join = np.add if together == "sum" else np.maximum
    count = len(single)
    best: dict[tuple[frozenset[int], frozenset[int]], F] = {}
    if not count:
        return {frozenset(): 0.0}
    for size in range(1, count + 1):
        for crew in itertools.combinations(range(count), size):
            for slots in itertools.combinations(search.free, size):
                least: F | None = None
                for last, slot in itertools.product(crew, slots):
                    value = single[last][slot]
                    if size > 1:
                        before = best[frozenset(crew) - {last}, frozenset(slots) - {slot}]
                        earlier = np.full(before.size, np.inf)
                        if search.lag < before.size:
                            earlier[search.lag :] = before[: before.size - search.lag]
                        value = join(earlier, value)
                    least = value if least is None else np.minimum(least, value)
                assert least is not None
                best[frozenset(crew), frozenset(slots)] = np.minimum.accumulate(least)
    everyone = frozenset(range(count))
    return {
        slots: float(values[-1]) if values.size else math.inf
        for (crew_set, slots), values in best.items()
        if crew_set == everyone
    }


def _with_space(
    search: Search, launched_best: dict[frozenset[int], float], single: list[list[float]], together: str
) -> float:
    least = math.inf
    for filled, value in launched_best.items():
        left = [slot for slot in search.free if slot not in filled]
        for chosen in itertools.permutations(left, len(single)):
            parts = [single[i][slot] for i, slot in enumerate(chosen)]
            total = value + sum(parts) if together == "sum" else max([value, *parts])
            least = min(least, total)
    return least


def least_delta_v(search: Search, finish_within_s: float = math.inf) -> float:
    """Least total delta-v with which everybody is in a slot by then, m/s; infinite where nothing does it."""
    single = [
        [np.min(np.where(c.finish <= finish_within_s, c.delta_v, np.inf), axis=0) for c in row] for row in search.ground
    ]
    space = [
        [min((dv for dv, end in options if end <= finish_within_s), default=math.inf) for options in row]
        for row in search.space
    ]
    return _with_space(search, _orders(search, single, "sum"), space, "sum")


def earliest_finish(search: Search) -> float:
    """Earliest time by which everybody can be in a slot, s; infinite where nothing does it."""
    single = [[np.min(c.finish, axis=0) for c in row] for row in search.ground]
    space = [[min((end for _, end in options), default=math.inf) for options in row] for row in search.space]
    return _with_space(search, _orders(search, single, "greatest"), space, "greatest")
