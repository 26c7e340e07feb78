"""Free-form flights for a problem: at which finishes they are looked for, and from where.

They are looked for at whole multiples of the scenario's ``front_step`` from the epoch on, for every craft in space and
every free slot, until phasing orbits are as cheap as they become (or, where none fits, until the limits end it). From
the ground they begin where the launcher lets go, for the soonest liftoffs worth anything by phasing orbits, from
sites that are in the ring's plane at every moment.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from ...models import oblate_coast as coast
from ...models.deadline import ENDED, poll
from ..outcome import CraftPrice, Plan
from ..problem.options import Options
from ..problem.problem import CraftClass, Problem
from ..problem.timed_flight import Coast, TimedFlight
from ..rendezvous.time_price import price_of_time
from ..routes import free_form as timed
from ..routes.registry import places
from ..trajectory.start_state import inserted
from .catalogue import catalogue

FINISHES_MAX = 200
"""Most finishes examined for one craft and slot; a finer step is widened to a whole multiple of itself that fits."""

LIFTOFFS_MAX = 3
"""Liftoffs, the soonest, from which free-form flights of launched craft are looked for, for each way up and slot."""

TOGETHER = 256
"""Finishes of several craft and slots that are examined side by side, the quicker the more; where time runs out all of
them are missing."""

SAME_S = 1.0
"""A burn this close to the arrival at the ring is at it."""

LAUNCHED_MAX = 24
"""Most finishes examined for one liftoff and slot."""

PRICE_FROM, PRICE_TO, PRICE_TIMES = 0.6, (4.6, 24.6), 101
"""Allowed times, in ring periods, for which the price of time of one craft is worked out: the first, the least and the
most that the last may be, and how many."""

SLOPE_M_S = 1e-6
"""A later finish that saves less than this is none."""


def with_free_form(
    problem: Problem,
    phasing: Options,
    progress: Callable[[str], None] = lambda _: None,
) -> Problem:
    """The problem with its free-form flights; as it is where the scenario asks for none.

    Flights that are missing because the search was ended are said to be so in the problem's notes.

    Args:
        phasing: options of the craft in space by phasing orbits, within all limits.
    """
    step = problem.scenario.front_step_s
    if step is None:
        return problem
    pairs = [
        (i, c, s)
        for i, c in enumerate(problem.classes)
        if c.start is not None and c.craft.orbit is not None
        for s in problem.free_slots
        if s // problem.ring.slots == c.craft.orbit.plane
    ]
    launched = _launched(problem) if problem.launches else []
    if not pairs and not launched:
        return problem
    sought: list[timed.Sought] = []
    widest = 1
    for index, group, slot in pairs:
        own = (phasing.craft_class == index) & (phasing.slot == slot)
        wide, finishes = _finishes(problem, group, phasing.take(own), step)
        widest = max(widest, wide)
        sought.append(_sought(problem, slot, _coast(problem, group), index, finishes))
    for rise in launched:
        wide, finishes = _steps(rise.start.time_s, rise.until_s, step, LAUNCHED_MAX)
        widest = max(widest, wide)
        sought.append(_sought(problem, rise.slot, rise.start, 0, finishes))
    flights, missing = _found(sought, progress)
    found = [one for each in flights[: len(pairs)] for one in each]
    for rise, own_flights in zip(launched, flights[len(pairs) :], strict=True):
        way = problem.ways[rise.way]
        # a coast to the ring comes to it at its apoapsis, which no crossing shows
        arrival = math.inf if way.parking else rise.liftoff_s + way.after_s
        for one in own_flights:
            touch = min(one.touch_s, arrival) if one.begin_s >= arrival - SAME_S else one.touch_s
            up = replace(one, way=rise.way, pad=way.pad, liftoff_s=rise.liftoff_s, touch_s=touch)
            found += [replace(up, craft_class=index) for index in rise.classes]
    many = f"{len(found)} were found; each is the best of its finish as far as is known" if found else "none was found"
    said = [f"free-form flights: {many}"]
    if widest > 1:
        said.append(f"free-form finishes: only every {widest}th multiple of front_step was examined for some craft")
    if missing:
        count = "1 pair" if missing == 1 else f"{missing} pairs"
        said.append(f"free-form flights: {count} of craft and slot not examined, as time ran out")
    if launched:
        said.append(f"free-form flights from the ground: for the {LIFTOFFS_MAX} soonest liftoffs into each slot only")
    return replace(problem, timed=tuple(found), timed_missing=missing, notes=(*problem.notes, *said))


def _sought(problem: Problem, slot: int, start: Coast, craft_class: int, finishes_s: Sequence[float]) -> timed.Sought:
    """Flights into a slot within the limits, by each of the latest finishes."""
    ring = problem.ring
    return timed.Sought(
        ring=ring.of_plane(slot // ring.slots),
        start=start,
        slot=slot,
        craft_class=craft_class,
        finishes_s=finishes_s,
        floor_m=min(problem.scenario.floor_m + problem.wobble_m, ring.radius_m),
        ceiling_m=max(problem.scenario.limits.apoapsis_max_m - problem.wobble_m, ring.radius_m),
    )


def _found(
    sought: Sequence[timed.Sought], progress: Callable[[str], None]
) -> tuple[list[tuple[TimedFlight, ...]], int]:
    """Flights for each that is sought, many side by side, and for how many time ran out."""
    found: list[tuple[TimedFlight, ...]] = [()] * len(sought)
    todo = [number for number, one in enumerate(sought) if one.finishes_s]
    while todo:
        size = np.cumsum([len(sought[number].finishes_s) for number in todo])
        now = todo[: max(int(np.searchsorted(size, TOGETHER, side="right")), 1)]
        progress(f"free-form flights: {now[0] + 1} of {len(sought)} pairs of craft and slot")
        try:
            poll()
            flights = timed.find([sought[number] for number in now])
        except ENDED:
            return found, len(todo)
        for number, own in zip(now, flights, strict=True):
            found[number] = own
        todo = todo[len(now) :]
    return found, 0


def _coast(problem: Problem, group: CraftClass) -> Coast:
    """Where the craft of a class are when they may begin to burn."""
    orbit, start = group.craft.orbit, group.start
    if orbit is None or start is None:
        raise ValueError("a craft on the ground has no coast")
    ready = max(group.craft.ready_s, 0.0)
    position, velocity = coast.point_mass_state(problem.ring, orbit, ready, on_ring=start.on_ring)
    return Coast(position=position, velocity=velocity, time_s=ready, on_ring=start.on_ring)


def _finishes(problem: Problem, group: CraftClass, phasing: Options, step_s: float) -> tuple[int, list[float]]:
    """Finishes worth looking at, and by how many steps they are apart."""
    limits, ring = problem.scenario.limits, problem.ring
    ready = max(group.craft.ready_s, 0.0)
    touch = group.start.first_s if group.start is not None and math.isfinite(group.start.first_s) else ready
    if len(phasing):
        cheapest = phasing.delta_v_m_s <= phasing.delta_v_m_s.min() + SLOPE_M_S
        until = float(phasing.finish_s[cheapest].min())
    else:
        until = touch + (limits.revolutions_max + 1) * ring.period_s
    until = min(until, limits.finish_within_s)
    return _steps(ready, until, step_s, FINISHES_MAX)


def _steps(from_s: float, until_s: float, step_s: float, most: int) -> tuple[int, list[float]]:
    """Whole multiples of a step in a span of time, and by how many steps they are apart."""
    first = math.floor(from_s / step_s * (1.0 + 1e-12)) + 1
    last = math.floor(until_s / step_s * (1.0 + 1e-12))
    wide = max(1, math.ceil((last - first + 1) / most))
    return wide, (step_s * np.arange(first, last + 1, wide)).tolist()


class _Rise(NamedTuple):
    """A liftoff by one way for one slot: whom it may take, where it lets go, and until when finishes are of use."""

    way: int
    slot: int
    liftoff_s: float
    classes: tuple[int, ...]
    start: Coast
    until_s: float


def _launched(problem: Problem) -> list[_Rise]:
    """The soonest liftoffs into each slot that are worth anything by phasing orbits."""
    options = catalogue(problem).options
    found = []
    for index, way in enumerate(problem.ways):
        own = options.take((options.way == index) & (options.bundle < 0) & ~np.isin(options.route, places("timed")))
        if way.place is not None or not len(own):
            continue
        for slot in np.unique(own.slot).tolist():
            there = own.take(own.slot == slot)
            cheapest = there.delta_v_m_s <= there.delta_v_m_s.min() + SLOPE_M_S
            until = float(there.finish_s[cheapest].min())
            order = there.liftoff_s[np.argsort(there.finish_s, kind="stable")]
            for liftoff in dict.fromkeys(np.round(order, 6).tolist()):
                at = there.take(np.abs(there.liftoff_s - liftoff) < 1e-5)
                begun = liftoff + way.insertion_after_s
                position, velocity = inserted(problem, way, liftoff, 0.0, begun)
                start = Coast(position=position, velocity=velocity, time_s=begun, on_ring=False)
                found.append(_Rise(index, slot, liftoff, tuple(np.unique(at.craft_class).tolist()), start, until))
                if sum(1 for one in found if (one.way, one.slot) == (index, slot)) == LIFTOFFS_MAX:
                    break
    return found


def dearest_price(problem: Problem, plan: Plan, progress: Callable[[str], None] = lambda _: None) -> CraftPrice | None:
    """What time is worth to the craft in space that costs most; None where no craft in space has to burn."""
    groups = {name: group for group in problem.classes if group.start is not None for name in group.names}
    moved = [part for part in plan.craft if part.craft in groups and part.delta_v_m_s > 0.0]
    if not moved:
        return None
    part = max(moved, key=lambda one: one.delta_v_m_s)
    progress(f"what time is worth to {part.craft}")
    ring, start = problem.ring.of_plane(part.plane), _coast(problem, groups[part.craft])
    # as long as the flight, and a little more
    turns = float(np.clip(math.ceil((part.in_slot_s - start.time_s) / ring.period_s) + 0.6, *PRICE_TO))
    price = price_of_time(
        timed.as_state(start),
        gm=ring.gm,
        ring_radius_m=ring.radius_m,
        slot_lead_rad=timed.lead_at_start(ring, start, part.slot),
        allowed_s=(ring.period_s * np.linspace(PRICE_FROM, turns, PRICE_TIMES)).tolist(),
        floor_m=min(problem.scenario.floor_m, ring.radius_m),
        ceiling_m=max(problem.scenario.limits.apoapsis_max_m, ring.radius_m),
        pole=timed.pole(ring, start.time_s),
    )
    return CraftPrice(craft=part.craft, slot=part.slot, price=price)
