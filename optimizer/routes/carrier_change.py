"""A carrier's burn from one drop orbit into another, made on one of its passes, and what it flies from there.

It is a craft then that phases in the new orbit until some pass and enters the ring: over an oblate body the burn is
corrected by that flight, up to the pass that brings the last slot of a round, and the last burn is left out. Where no
pass brings a slot, it is to be at the place on the ring where the catalogue has it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from ...models.flight.integrate import Flight, Impulse, Itinerary, fly_each
from ...models.frames import wrap
from ...models.ring import Ring
from ..problem.options import F
from ..problem.problem import Problem
from ..trajectory.course import Carried, CarrierKey
from ..trajectory.differential_correction import Case, Unknown, correct_each
from .carrier_drop_orbits import turn_s

AFTER_TURNS = 1.05
"""Turns of its orbit for which a carrier is flown after the last pass that matters."""

THERE = 1e-4
"""A slot this near to the touching point as planned, in slots, is there; a carrier that comes elsewhere brings none."""


@dataclass(frozen=True, kw_only=True)
class _Change:
    """A change of orbit: what is flown from there to a pass, the time between passes, and where it is to come by then.

    That is ``slot`` of ``ring``: the ring itself where the pass brings a slot, else one that has a slot there.
    """

    itinerary: Itinerary
    every_s: float
    ring: Ring
    slot: int


def change_orbits(
    problem: Problem,
    carried: dict[CarrierKey, Carried],
    place_rad: Mapping[CarrierKey, float],
    last: Mapping[CarrierKey, int],
) -> dict[CarrierKey, Carried]:
    """The same flights, flown on in their last orbits where they change it; those that cannot be are left out.

    Args:
        place_rad: how far ahead of slot 0 of its plane the touching point of each is on its first pass.
        last: the last pass that matters.
    """
    changes = {
        name: _change(problem, by, place_rad[name], last[name]) for name, by in carried.items() if name.changes_on
    }
    if not changes:
        return carried
    if problem.oblate:
        changes = _corrected(problem, changes)
    items = {}
    for name, what in changes.items():
        by = carried[name]
        end = by.pass_s(name.changes_on) + (last[name] - name.changes_on + AFTER_TURNS) * what.every_s
        impulses = (*by.flight.itinerary.impulses, what.itinerary.impulses[0])
        items[name] = replace(by.flight.itinerary, impulses=impulses, end_s=end)
    flights: dict[CarrierKey, Flight | None] = dict(
        zip(items, fly_each(list(items.values()), problem.gravity), strict=True)
    )
    found = {}
    for name, by in carried.items():
        if not name.changes_on:
            found[name] = by
        elif (flight := flights.get(name)) is not None and all(math.isfinite(x.period_s) for x in flight.readouts()):
            found[name] = replace(by, flight=flight, then_every_s=changes[name].every_s)
    return found


def _change(problem: Problem, by: Carried, place_rad: float, last: int) -> _Change:
    ring, name = problem.ring, by.name
    begun = by.pass_s(name.changes_on)
    every = turn_s(ring, name.then_m_s)
    place = place_rad - ring.rate_rad_s * name.changes_on * turn_s(ring, name.speed_m_s)
    left = max(last - name.changes_on, ring.slots)
    passes = last_there(ring, place, ring.rate_rad_s * every, left) or max(min(left, ring.slots - 1), 1)
    state = by.flight.states(begun)[0]
    radial, along = level_parts(state)
    there = place - ring.rate_rad_s * every * passes
    slot = int(ring.nearest(there))
    off = float(wrap(there - ring.ahead(slot)))
    impulses = [
        Impulse(begun, -radial, name.then_m_s - along),
        Impulse(begun + passes * every, 0.0, ring.speed_m_s - name.then_m_s),
    ]
    return _Change(
        itinerary=Itinerary.through_turn(begun, state[:3], state[3:], impulses, ring),
        every_s=every,
        ring=replace(ring, slot0_rad=ring.slot0_rad + off),
        slot=slot,
    )


def _corrected(problem: Problem, changes: dict[CarrierKey, _Change]) -> dict[CarrierKey, _Change]:
    """The same with burns corrected by the flight; those that cannot be flown are left out."""
    cases = [
        Case(
            itinerary=what.itinerary,
            ring=what.ring,
            plane=problem.ways[name.way].plane,
            slot=what.slot,
            unknowns=(Unknown(0, "along"), Unknown(-1, "radial"), Unknown(-1, "along")),
            targets=("slot", "period", "eccentricity"),
            spin_rad_s=problem.scenario.body.spin_rad_s,
        )
        for name, what in changes.items()
    ]
    found = dict(changes)
    for name, result in zip(changes, correct_each(cases, problem.gravity), strict=True):
        if result is None:
            del found[name]
        else:
            found[name] = replace(changes[name], itinerary=result.itinerary)
    return found


def last_there(ring: Ring, first_rad: float, turned_rad: float, most: int) -> int:
    """The last pass of a round, up to so many, on which a slot is at the touching point; 0 where none ever is.

    Args:
        first_rad: how far the touching point is ahead of slot 0 on the first pass.
        turned_rad: what the ring turns by from pass to pass.
    """
    if ring.pattern_rad:
        most = min(most, ring.slots - 1)
    place: F = first_rad - turned_rad * np.arange(1, most + 1, dtype=np.float64)
    near = np.abs(wrap(place - ring.ahead(ring.nearest(place)))) < ring.spacing_rad * THERE
    there = np.flatnonzero(near)[: ring.slots - 1]
    return int(there[-1]) + 1 if there.size else 0


def level_parts(state: np.ndarray) -> tuple[float, float]:
    """Parts of a velocity: outward, and level towards the motion, m/s."""
    position, velocity = state[:3], state[3:]
    up = position / np.linalg.norm(position)
    radial = float(velocity @ up)
    return radial, math.sqrt(max(float(velocity @ velocity) - radial * radial, 0.0))
