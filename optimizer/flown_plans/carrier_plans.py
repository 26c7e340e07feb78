"""What a plan says of its carriers: burns, orbit, drops, and what is left to decide about each."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from ...models import frames
from ...models.flight.flown import readout
from ...models.scenario import Craft
from ..craft_plan import CarrierPlan, Drop, NextOrbit
from ..problem.options import Options
from ..problem.problem import Problem
from ..routes.carrier_drop_orbits import Drops
from ..routes.carrier_flight import carrier_key
from ..trajectory.course import Carried, CarrierKey
from .burn_list import burns_of

ROUNDS_AHEAD = 10
"""Passes after the last drop are examined for so many rounds of the ring's slots."""


def carrier_plans(
    problem: Problem,
    options: Options,
    named: Sequence[tuple[str, int]],
    carried: Mapping[CarrierKey, Carried],
) -> tuple[CarrierPlan, ...]:
    """The carriers of one plan, in the order of liftoff.

    Args:
        named: craft and row of each.
    """
    loads: dict[int, list[tuple[str, int]]] = {}
    for name, row in named:
        if options.bundle[row] >= 0:
            loads.setdefault(int(options.bundle[row]), []).append((name, row))
    found = [_plan(problem, options, load, carried) for load in loads.values()]
    return tuple(sorted(found, key=lambda c: (c.launch_s, c.carrier)))


def _plan(
    problem: Problem, options: Options, load: list[tuple[str, int]], carried: Mapping[CarrierKey, Carried]
) -> CarrierPlan:
    _, row = load[0]
    way = problem.ways[options.way[row]]
    by = carried[carrier_key(options, row)]
    group = problem.classes[options.craft_class[row]]
    carrier = next(c for c in problem.scenario.carriers if c.name == group.craft.carrier)
    drops = sorted(
        (Drop(craft=name, number=int(options.passes[r]), time_s=by.pass_s(int(options.passes[r]))) for name, r in load),
        key=lambda drop: (drop.time_s, drop.craft),
    )
    burns = burns_of(Craft(name=carrier.name), [by.flight], 0.0, problem.scenario.pads[way.pad].upper_stage)
    last = drops[-1].time_s
    first = drops[0] if not by.name.changes_on or drops[0].number < by.name.changes_on else None
    shown = readout(by.flight.states(first.time_s if first else by.first_pass_s)[0], problem.ring.gm)
    meets_s, meets = _meets(problem, options, load, by)
    legs = [leg for leg in by.flight.legs() if leg.start_s < last]
    lowest = min((leg.lowest_m for leg in legs if leg.lowest_s <= last), default=problem.ring.radius_m)
    return CarrierPlan(
        carrier=carrier.name,
        pad=problem.scenario.pads[way.pad].name,
        insertion=way.insertion.name,
        launch_s=float(options.liftoff_s[row]) + (by.moved_s if way.place is not None else 0.0),
        insertion_s=by.flight.itinerary.start_s,
        parking_wait_s=0.0 if by.parks else float(options.parking_wait_s[row]),
        first_pass_s=by.first_pass_s,
        pass_every_s=by.pass_every_s,
        period_s=shown.period_s,
        periapsis_m=shown.periapsis_m,
        apoapsis_m=shown.apoapsis_m,
        lowest_m=lowest,
        delta_v_m_s=math.fsum(burn.own_m_s for burn in burns),
        allowed_m_s=carrier.delta_v_m_s,
        burns=burns,
        drops=tuple(drops),
        periapsis_safe=not by.must_burn,
        meets_s=meets_s,
        meets=meets,
        parks_in=way.plane if by.parks else None,
        itinerary=by.flight.itinerary,
        then=_next_orbit(problem, by, drops[-1].number),
    )


def _place_rad(options: Options, row: int) -> float:
    """How far ahead of slot 0 of its plane the carrier of an option first touches the ring."""
    table = options.tables[int(options.route[row])]
    return float(table.place_rad[options.detail[row]]) if isinstance(table, Drops) else 0.0


def _next_orbit(problem: Problem, by: Carried, last: int) -> NextOrbit | None:
    """The orbit that a carrier changes into before its last drop; None where it keeps to one."""
    number = by.name.changes_on
    if not number or last < number:
        return None
    shown = readout(by.flight.states(by.pass_s(number))[0], problem.ring.gm)
    return NextOrbit(
        number=number,
        pass_every_s=by.then_every_s,
        period_s=shown.period_s,
        periapsis_m=shown.periapsis_m,
        apoapsis_m=shown.apoapsis_m,
    )


def _meets(
    problem: Problem, options: Options, load: list[tuple[str, int]], by: Carried
) -> tuple[float | None, str | None]:
    """The first pass after the last drop that finds a craft in place at the touching point, and whom."""
    ring = problem.ring
    _, row = load[0]
    last = max(int(options.passes[r]) for _, r in load)
    if by.pass_every_s <= 0.0:
        return None, None
    plane = problem.ways[int(options.way[row])].plane
    here = float(ring.phase(by.first_pass_s, 0, plane)) + _place_rad(options, row)
    there = {int(options.slot[r]): name for name, r in load}
    for other in range(len(options)):
        there.setdefault(int(options.slot[other]), "another craft of this plan")
    there.update({k.slot: k.name for k in problem.kept})
    slots = np.array([s for s in there if s // ring.slots == plane])
    numbers = last + 1 + np.arange(ROUNDS_AHEAD * ring.slots)
    times = np.array([by.pass_s(number) for number in numbers.tolist()])
    apart = np.abs(frames.wrap(ring.phase(times[:, None], slots[None, :]) - here)) * ring.radius_m
    near = apart <= max(problem.scenario.limits.separation_m, 1.0)
    hit = np.flatnonzero(near.any(axis=1))
    if not hit.size:
        return None, None
    return float(times[hit[0]]), there[int(slots[int(np.argmax(near[hit[0]]))])]
