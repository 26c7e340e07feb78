"""The rest of a plan, mended: a craft that is a little off goes on with the burns it was to make, changed and added to.

Slot and structure of the plan are held. First the burns that are left are corrected as they are; where that costs more
than it was to, the cheapest ways to change them and to add some are looked for (``repair_candidates.py``), also with
the last burn a turn or two later, which makes an overshot period another way. All ways are corrected by their own
numerical flight (``trajectory/differential_correction.py``, the smallest change of the burns), and the best that keeps
the limits is taken. It is the nearest way on, not the best of all: replanning looks for that.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from itertools import pairwise

import numpy as np

from ...models.craft import delta_v_allowed
from ...models.deadline import ENDED
from ...models.errors import FlightError
from ...models.flight.flown import TURN_MARGIN
from ...models.flight.gravity import Gravity, gravity_around
from ...models.flight.integrate import Flight, Itinerary, Measured, fly_each, measure
from ...models.ring import Ring
from ...models.scenario import Aim, Scenario
from ..craft_plan import CraftPlan
from ..limits import (
    apoapsis_max,
    clearance,
    finish_within,
    propellant,
    registry,
    revolutions_max,
    separation,
    slot_tolerance,
    tilt_tolerance,
    wait_within,
)
from ..limits.limit import PlanParts
from ..robustness.closed_form import HALF
from ..trajectory.differential_correction import Case, correct_each
from .off_plan import OffPlan, Seats, burns_left, engine_now, part_of, revolutions_of
from .repair_candidates import WORTH_M_S, WayOn, as_planned, changed, worth

LONGEST_TURNS = 80.0
"""A craft that is under way for longer is replanned: flights of many months take their own correction."""

MET_RAD, AIM_RAD = 2e-5, 1e-5
"""A miss below this is met, a thousandth of a degree; and what the correction aims at."""

ROUNDS_MAX = 5
"""Steps of the correction at most: what is only a little off takes two or three."""

ADDED_M_S = 1e-4
"""An added burn smaller than this is left out."""

SEEN_WIDER = (
    clearance.LIMIT,
    finish_within.LIMIT,
    wait_within.LIMIT,
    revolutions_max.LIMIT,
    apoapsis_max.LIMIT,
    separation.LIMIT,
    slot_tolerance.LIMIT,
    tilt_tolerance.LIMIT,
    propellant.LIMIT,
)
"""Limits for which it counts what the craft has done already, or how well it was to keep them by its plan."""

_Result = tuple[WayOn, Flight, Measured]


def mend(
    scenario: Scenario,
    ring: Ring,
    strayed: Sequence[OffPlan],
    seats: Seats = (),
    aim: Aim = "delta_v",
) -> tuple[CraftPlan | None, ...]:
    """Mend the rest of what each of several craft was to do; all are flown together.

    Args:
        scenario: with the limits; its times and those of the plans count from one epoch.
        seats: who else is in place: name, plane, slot, and since when.
        aim: by what the best way is taken.

    Returns:
        For each what is left to do, its times from the epoch; None where no way to mend keeps the limits, or none was
        found before the search was ended.

    Raises:
        OutOfTimeError: it was ended before the burns as planned were corrected.
    """
    gravity = gravity_around(scenario.body)
    possible = [k for k, one in enumerate(strayed) if _may_be_mended(ring, one)]
    found: list[CraftPlan | None] = [None] * len(strayed)
    drafts = [draft for k in possible for draft in as_planned(ring, k, strayed[k])]
    results = _corrected(ring, gravity, strayed, drafts)
    _take_best(scenario, ring, strayed, results, found, seats, aim)
    # a craft that is practically on the plan needs no further burn
    others = [k for k in possible if not _as_good(found[k], strayed[k])]
    with suppress(*ENDED):
        likely, rest = changed(scenario, ring, gravity, strayed, others)
        served = _take_best(scenario, ring, strayed, _corrected(ring, gravity, strayed, likely), found, seats, aim)
        rest = [draft for draft in rest if draft.who not in served or aim == "finish"]
        _take_best(scenario, ring, strayed, _corrected(ring, gravity, strayed, rest), found, seats, aim)
    return tuple(found)


def _as_good(part: CraftPlan | None, one: OffPlan) -> bool:
    return part is not None and part.delta_v_m_s <= math.fsum(b.delta_v_m_s for b in burns_left(one)) + WORTH_M_S


def _take_best(
    scenario: Scenario,
    ring: Ring,
    strayed: Sequence[OffPlan],
    results: Sequence[_Result],
    found: list[CraftPlan | None],
    seats: Seats,
    aim: Aim,
) -> set[int]:
    """Put for each craft the best of some ways that keep the limits in its place, where it beats what is there.

    Returns who has a way now.
    """
    served: set[int] = set()
    for k in sorted({draft.who for draft, _, _ in results}):
        ways = [way for way in results if way[0].who == k and _keeps_limits(scenario, ring, strayed[k], *way)]
        for draft, flight, seen in sorted(ways, key=lambda way: worth(way[1].itinerary.impulses, aim, way[0])):
            there = found[k]
            if there is not None and worth(there.burns, aim) <= worth(flight.itinerary.impulses, aim, draft):
                served.add(k)
                break
            part = part_of(ring, strayed[k], flight, seen, seats, scenario.limits.separation_m)
            if _keeps_further_limits(scenario, part):
                found[k] = part
                served.add(k)
                break
    return served


def _keeps_further_limits(scenario: Scenario, part: CraftPlan) -> bool:
    """Whether a part keeps the separation and all limits but those of which `_keeps_limits` takes a wider view."""
    if not separation.LIMIT.kept(scenario, part.flown.closest_m or math.inf):
        return False
    parts = PlanParts(scenario=scenario, craft=(part,))
    further = [limit for limit in registry.LIMITS if limit not in SEEN_WIDER]
    return not any(limit.broken(limit.margins(parts)) for limit in further)


def _may_be_mended(ring: Ring, one: OffPlan) -> bool:
    part = one.part
    waits = max(part.in_slot_s, one.now_s) - one.seen_s
    paid = any(burn.by_stage_m_s > 0.0 for burn in part.burns if burn.time_s > one.now_s)
    return part.route != "drift" and waits <= LONGEST_TURNS * ring.period_s and not paid


def _corrected(ring: Ring, gravity: Gravity, strayed: Sequence[OffPlan], drafts: Sequence[WayOn]) -> list[_Result]:
    """Each draft corrected, flown and measured; those that cannot be flown are left out."""
    cases = []
    for draft in drafts:
        one = strayed[draft.who]
        item = Itinerary.through_turn(one.seen_s, one.position, one.velocity, draft.impulses, ring)
        cases.append(
            Case(
                itinerary=item,
                ring=ring,
                slot=one.part.slot,
                plane=one.part.plane,
                burns=engine_now(one),
                unknowns=draft.unknowns,
                targets=draft.targets,
                shape=one.shape,
            )
        )
    items, kept = [], []
    corrected = correct_each(cases, gravity, tolerance_rad=AIM_RAD, rounds_max=ROUNDS_MAX)
    for draft, met in zip(drafts, corrected, strict=True):
        if met is None:
            continue
        result = met.itinerary
        burns = [
            burn
            for k, burn in enumerate(result.impulses)
            if k not in draft.added or burn.delta_v_m_s > ADDED_M_S or k == len(result.impulses) - 1 == 0
        ]
        while len(burns) > 1 and burns[-1].delta_v_m_s <= ADDED_M_S and burns[-1] not in draft.impulses:
            burns.pop()
        end = burns[-1].time_s + TURN_MARGIN * ring.period_s
        items.append(replace(result, impulses=tuple(burns), end_s=max(end, result.end_s)))
        kept.append(draft)
    models = [engine_now(strayed[draft.who]) for draft in kept]
    found = []
    for draft, flight in zip(kept, fly_each(items, gravity, models, relative=1e-12), strict=True):
        if flight is None:
            continue
        part = strayed[draft.who].part
        try:
            found.append((draft, flight, measure(flight, ring, part.plane, part.slot)))
        except FlightError:
            continue
    return found


def _keeps_limits(scenario: Scenario, ring: Ring, one: OffPlan, draft: WayOn, flight: Flight, seen: Measured) -> bool:
    """Whether a way ends in the slot, with the ring, and keeps what the scenario asks of one craft."""
    limits, craft, impulses = scenario.limits, one.craft, flight.itinerary.impulses
    tolerance = scenario.ring.tolerance_rad
    allowed = MET_RAD + (HALF * tolerance if draft.as_it_is else 0.0)
    if abs(seen.slot_error_rad) > min(allowed, tolerance):
        return False
    if abs(2.0 * math.pi * seen.period_error_s / ring.period_s) > MET_RAD:
        return False
    # what is left eccentric swings to either side by twice that: no more than the tolerance, or than was planned
    swing = 2.0 * math.hypot(*(value - wanted for value, wanted in zip(seen.eccentricity, one.shape, strict=True)))
    if abs(seen.slot_error_rad) + swing > max(tolerance, 2.0 * one.part.flown.eccentricity + MET_RAD):
        return False
    if not _in_plane(scenario, seen):
        return False
    sizes = [burn.delta_v_m_s for burn in impulses]
    if math.fsum(sizes) > delta_v_allowed(craft) + 1e-6:
        return False
    if any(0.0 < size < craft.burn_least_m_s for size in sizes):
        return False
    gaps = [b - a for a, b in pairwise(impulse.time_s for impulse in impulses)]
    if any(gap < craft.between_burns_s for gap in gaps):
        return False
    before = sum(burn.time_s <= one.now_s for burn in one.part.burns) if one.now_s > 0.0 else 0
    if craft.burns_max is not None and before + len(sizes) > craft.burns_max:
        return False
    finish = impulses[-1].time_s if impulses else one.now_s
    # a craft that was to be in its slot by now counts from now, as replanning would
    if one.part.in_slot_s > one.now_s:
        revolutions, most = revolutions_of(ring, one, finish), max(limits.revolutions_max, one.part.revolutions)
    else:
        revolutions, most = round((finish - one.now_s) / ring.period_s), limits.revolutions_max
    if revolutions > most:
        return False
    waited_s = finish - one.part.ring_arrival_s
    if not finish_within.LIMIT.kept(scenario, finish) or not wait_within.LIMIT.kept(scenario, waited_s):
        return False
    legs = flight.legs()
    # on the way up from its launch a craft is lower than the floor for a while
    climbing = np.linalg.norm(one.position) < scenario.floor_m and float(one.position @ one.velocity) > 0.0
    lowest = [leg.periapsis_m for leg in legs if leg.periapsis_m is not None]
    lowest += [leg.lowest_m for leg in (legs[1:] if climbing else legs)]
    above_m = min(lowest, default=math.inf) - clearance.top_m(scenario)
    highest_m = max(leg.highest_m for leg in legs) - scenario.body.radius_m
    return clearance.LIMIT.kept(scenario, above_m) and apoapsis_max.LIMIT.kept(scenario, highest_m)


def _in_plane(scenario: Scenario, seen: Measured) -> bool:
    return tilt_tolerance.LIMIT.kept(scenario, seen.plane_error_rad)
