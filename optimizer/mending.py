"""The rest of a plan, mended: a craft that is a little off goes on with the burns it was to make, changed and added to.

Slot and structure of the plan are held. First the burns that are left are corrected as they are; where that costs more
than it was to, the cheapest ways to change them and to add some are looked for by the linearized flight
(``least_burns.py``), also with the last burn a turn or two later, which makes an overshot period a way of its own. All
ways are corrected by their own numerical flight (``refine.py``, the smallest change of the burns), and the best that
keeps the limits is taken. It is the nearest way on, not the best of all: planning anew looks for that.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ..models.burns import BurnModel, FiniteThrust
from ..models.craft import delta_v_allowed
from ..models.errors import FlightError
from ..models.flight import Flight, Impulse, Itinerary, Measured, closest_in_ring, fly, measure
from ..models.flown import TURN_MARGIN, readout
from ..models.frames import plane_axes
from ..models.gravity import Gravity, gravity_around
from ..models.ring import Ring
from ..models.scenario import Aim, Craft, Scenario
from ..models.stepping import turning_points
from .budget_flights import HALF
from .judging import LENGTH_SLACK_M, PLANE_SLACK_RAD
from .least_burns import Asked, Found, least_burns
from .outcome import Burn, CraftPlan, Flown
from .plan_burns import burns_of
from .refine import IMPULSIVE, IN_PLANE, Case, Part, Target, Unknown, correct

Array = NDArray[np.float64]

SOONEST_S = 60.0
"""A burn that is added comes so long after now at the soonest."""

WORTH_M_S = 0.05
"""A correction is made for its own sake, within the tolerance, where it costs no more than this."""

TURNS = (1, 2, 3, 5, 8, 12)
"""Over so many ring turns a slot error is phased out at the end."""

GRID = 8
"""Moments a turn after the last burn at which one more may be made."""

APART = 0.02
"""In ring turns: two burns nearer to each other in time would be one."""

LIKELY, TRIED = 2, 5
"""Ways of one craft that are flown, of the cheapest for each set of targets; up to so many, and the soonest, where none
of them serves."""

LONGEST_TURNS = 80.0
"""A craft that is under way for longer is planned anew: flights of many months take their own correction."""

MET_RAD, AIM_RAD = 2e-5, 1e-5
"""A miss below this is met, a thousandth of a degree; and what the correction aims at."""

ROUNDS_MAX = 5
"""Steps of the correction at most: what is only a little off takes two or three."""

ADDED_M_S = 1e-4
"""An added burn smaller than this is left out."""

Seats = Sequence[tuple[str, int, int, float]]


@dataclass(frozen=True, kw_only=True)
class Astray:
    """A craft that is a little off its plan.

    Args:
        part: what it was to do; times from the epoch.
        craft: its masses as they are now.
        position, velocity: its state, m and m/s.
        seen_s: when it was there.
        now_s: from when on something can be done, not before ``seen_s``.
    """

    part: CraftPlan
    craft: Craft
    position: Array
    velocity: Array
    seen_s: float
    now_s: float


@dataclass(frozen=True, kw_only=True)
class _Draft:
    """One way to mend: burns, which of them were added, and what may be changed to meet what."""

    who: int
    impulses: tuple[Impulse, ...]
    added: frozenset[int]
    unknowns: tuple[Unknown, ...]
    targets: tuple[Target, ...]
    as_it_is: bool = False


_Result = tuple[_Draft, Flight, Measured]


def mend(
    scenario: Scenario,
    ring: Ring,
    astray: Sequence[Astray],
    seats: Seats = (),
    aim: Aim = "delta_v",
) -> tuple[CraftPlan | None, ...]:
    """Mend the rest of what each of several craft was to do; all are flown together.

    Args:
        scenario: with the limits; its times and those of the plans count from one epoch.
        ring: with its slots.
        astray: any number of craft.
        seats: who else is in place: name, plane, slot, and since when.
        aim: by what the best way is taken.

    Returns:
        For each what is left to do, its times from the epoch; None where no way to mend keeps the limits.
    """
    gravity = gravity_around(scenario.body)
    possible = [k for k, one in enumerate(astray) if _may_be_mended(ring, one)]
    found: list[CraftPlan | None] = [None] * len(astray)
    drafts = [draft for k in possible for draft in _as_planned(ring, k, astray[k])]
    results = _corrected(ring, gravity, astray, drafts)
    _take_best(scenario, ring, astray, results, found, seats, aim)
    # whoever is as good as on the plan needs no burn more
    others = [k for k in possible if not _as_good(found[k], astray[k])]
    likely, rest = _changed(scenario, ring, gravity, astray, others)
    served = _take_best(scenario, ring, astray, _corrected(ring, gravity, astray, likely), found, seats, aim)
    rest = [draft for draft in rest if draft.who not in served or aim == "finish"]
    _take_best(scenario, ring, astray, _corrected(ring, gravity, astray, rest), found, seats, aim)
    return tuple(found)


def rest_as_it_is(scenario: Scenario, ring: Ring, one: Astray, seats: Seats = ()) -> CraftPlan:
    """What is left for a craft to do, with the burns as they were planned; limits are not looked at."""
    item = Itinerary.through_turn(one.seen_s, one.position, one.velocity, _left(one), ring)
    [flight] = fly([item], gravity_around(scenario.body), _engine(one))
    return _part(ring, one, flight, measure(flight, ring, one.part.plane, one.part.slot), seats)


def _as_good(part: CraftPlan | None, one: Astray) -> bool:
    return part is not None and part.delta_v_m_s <= math.fsum(b.delta_v_m_s for b in _left(one)) + WORTH_M_S


def _take_best(
    scenario: Scenario,
    ring: Ring,
    astray: Sequence[Astray],
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
        ways = [way for way in results if way[0].who == k and _keeps_limits(scenario, ring, astray[k], *way)]
        for draft, flight, seen in sorted(ways, key=lambda way: _worth(way[1].itinerary.impulses, aim, way[0])):
            there = found[k]
            if there is not None and _worth(there.burns, aim) <= _worth(flight.itinerary.impulses, aim, draft):
                served.add(k)
                break
            part = _part(ring, astray[k], flight, seen, seats)
            if (part.flown.closest_m or math.inf) >= scenario.limits.separation_m - LENGTH_SLACK_M:
                found[k] = part
                served.add(k)
                break
    return served


def _may_be_mended(ring: Ring, one: Astray) -> bool:
    part = one.part
    waits = max(part.in_slot_s, one.now_s) - one.seen_s
    paid = any(burn.by_stage_m_s > 0.0 for burn in part.burns if burn.time_s > one.now_s)
    return part.route != "drift" and waits <= LONGEST_TURNS * ring.period_s and not paid


def _left(one: Astray) -> tuple[Impulse, ...]:
    """The burns that are still to come, in the axes of the plan."""
    item = one.part.itinerary
    burns = () if item is None else item.impulses
    return tuple(burn for burn in burns if burn.time_s > one.now_s or (burn.time_s == one.now_s == 0.0))


def _engine(one: Astray) -> BurnModel:
    craft = one.craft
    if one.part.engine is None or craft.dry_mass_kg is None or craft.propellant_kg is None:
        return IMPULSIVE
    return replace(one.part.engine, mass_kg=craft.dry_mass_kg + craft.propellant_kg)


def _moments_ahead(ring: Ring, gravity: Gravity, astray: Sequence[Astray]) -> list[list[float]]:
    """Moments at which each craft may burn before its next burn.

    As soon as may be, and where it next passes its apsides and the plane that it is to be in.
    """
    if not astray:
        return []
    items = []
    for one in astray:
        left, start = _left(one), one.now_s + SOONEST_S
        shown = readout(np.concatenate([one.position, one.velocity]), ring.gm)
        turn = shown.period_s if math.isfinite(shown.period_s) else ring.period_s
        until = min([start + 1.2 * turn, *(burn.time_s for burn in left[:1])])
        items.append(
            Itinerary(
                start_s=one.seen_s, position=one.position, velocity=one.velocity, end_s=max(until, one.seen_s + 1.0)
            )
        )
    found = []
    for one, flight in zip(astray, fly(items, gravity), strict=True):
        first, end = one.now_s + SOONEST_S, flight.itinerary.end_s
        times = [np.array([first]), *(turning_points(arc)[0][2:] for arc in flight.arcs)]
        if end > first and _tilt(ring, one) > PLANE_SLACK_RAD:
            times.append(_passes(ring, one.part.plane, flight, first, end))
        every = np.unique(np.concatenate(times))
        every = every[(every >= first) & (every < end - SOONEST_S)]
        found.append(every[np.diff(every, prepend=-math.inf) > APART * ring.period_s].tolist())
    return found


def _passes(ring: Ring, plane: int, flight: Flight, from_s: float, to_s: float) -> Array:
    """When a flight passes through a plane of the ring, to a hundredth of a turn."""
    times = np.linspace(from_s, to_s, 200)
    pole = plane_axes(ring.inclination_rad, ring.node(from_s, plane))[2]
    above = flight.states(times)[:, :3] @ pole
    at = np.flatnonzero(np.signbit(above[:-1]) != np.signbit(above[1:]))
    return np.asarray(times[at] + (times[at + 1] - times[at]) * above[at] / (above[at] - above[at + 1]))


_FLAT: tuple[Part, ...] = ("radial", "along")
_WHOLE: tuple[Part, ...] = ("radial", "along", "cross")


def _draft(who: int, impulses: Sequence[Impulse], parts: tuple[Part, ...], added: Sequence[float] = ()) -> _Draft:
    """Burns in order of time, all of them free to change by the least; the last one's moment too unless it is new."""
    burns = tuple(sorted(impulses, key=lambda burn: burn.time_s))
    unknowns = [Unknown(k, part) for k in range(len(burns)) for part in parts]
    if burns[-1].time_s not in added:
        unknowns.append(Unknown(len(burns) - 1, "time"))
    return _Draft(
        who=who,
        impulses=burns,
        added=frozenset(k for k, burn in enumerate(burns) if burn.time_s in added),
        unknowns=tuple(unknowns),
        targets=(*IN_PLANE, "plane") if "cross" in parts else IN_PLANE,
    )


def _as_planned(ring: Ring, who: int, one: Astray) -> list[_Draft]:
    """The burns that are left, corrected; and the slot let be, with only the ring's period and shape met.

    Where planes matter, each of these with the plane let be and with the plane met.
    """
    left, ways = _left(one), []
    turns = _tilt(ring, one) > PLANE_SLACK_RAD or any(burn.cross_m_s for burn in left) or ring.node_rate_rad_s != 0.0
    for parts in (_FLAT, _WHOLE) if turns else (_FLAT,):
        if left:
            whole = _draft(who, left, parts)
            last = tuple(Unknown(len(left) - 1, part) for part in parts)
            targets = tuple(target for target in whole.targets if target != "slot")
            ways += [whole, replace(whole, unknowns=last, targets=targets, as_it_is=True)]
    return ways


def _changed(
    scenario: Scenario, ring: Ring, gravity: Gravity, astray: Sequence[Astray], whom: Sequence[int]
) -> tuple[list[_Draft], list[_Draft]]:
    """The cheapest ways to change burns and to add some, by the linear law: the likely ones, and some more.

    Also with the last burn a turn or two later, which makes a way of its own of a period that was overshot.
    """
    asked: list[Asked] = []
    owners: list[int] = []
    for k, ahead in zip(whom, _moments_ahead(ring, gravity, [astray[k] for k in whom]), strict=True):
        one, left, turn = astray[k], _left(astray[k]), ring.period_s
        latest = min(scenario.limits.finish_within_s, one.part.ring_arrival_s + scenario.limits.wait_within_s)
        turns = [*(j / GRID for j in range(1, GRID + 1)), *TURNS]
        turns = [t for t in dict.fromkeys(turns) if t <= max(scenario.limits.revolutions_max, 1)]
        for later in (0.0, turn, 2.0 * turn) if left and one.part.revolutions else (0.0,):
            burns = (*left[:-1], left[-1]._replace(time_s=left[-1].time_s + later)) if left else ()
            begin = burns[-1].time_s if burns else (ahead or [one.now_s + SOONEST_S])[0]
            if begin > latest:
                continue
            times = [*ahead, *(time for t in turns if (time := begin + t * turn) <= latest)]
            near = max(APART * turn, one.craft.between_burns_s)
            times = [time for time in times if all(abs(time - burn.time_s) > near for burn in burns)]
            asked.append(
                Asked(
                    start_s=one.seen_s,
                    position=one.position,
                    velocity=one.velocity,
                    burns=burns,
                    times=tuple(times or [begin]),
                    plane=one.part.plane,
                    slot=one.part.slot,
                )
            )
            owners.append(k)
    likely: list[_Draft] = []
    rest: list[_Draft] = []
    spec = scenario.ring
    tilt = spec.tilt_tolerance_rad + PLANE_SLACK_RAD
    ways = least_burns(ring, gravity, asked, swing_rad=spec.tolerance_rad, tilt_rad=tilt)
    for k in whom:
        own = [way for owner, found in zip(owners, ways, strict=True) if owner == k for way in found]
        first: list[Found] = []
        more: list[Found] = []
        soonest = sorted(own, key=lambda way: _worth(way.burns, "finish"))
        for names in dict.fromkeys(way.targets for way in own):
            alike = [way for way in soonest if way.targets == names]
            # the same burns are found for many ends
            unlike = {(len(way.burns), _worth(way.burns, "delta_v")): way for way in reversed(alike)}
            cheapest = sorted(unlike.values(), key=lambda way: _worth(way.burns, "delta_v"))
            first += cheapest[:LIKELY]
            more += [*cheapest[LIKELY:TRIED], *alike[:1]]
        planned = {burn.time_s for burn in _left(astray[k])}
        for way in dict.fromkeys([*first, *more]):
            parts = _WHOLE if "plane" in way.targets else _FLAT
            added = [burn.time_s for burn in way.burns if burn.time_s not in planned]
            draft = replace(_draft(k, way.burns, parts, added), targets=way.targets)
            (likely if way in first else rest).append(draft)
    return likely, rest


def _tilt(ring: Ring, one: Astray) -> float:
    """Tilt of the orbit seen against the plane that the craft is to be in, rad."""
    spin = np.cross(one.position, one.velocity)
    pole = plane_axes(ring.inclination_rad, ring.node(one.seen_s, one.part.plane))[2]
    return math.atan2(float(np.linalg.norm(np.cross(spin, pole))), float(spin @ pole))


def _corrected(ring: Ring, gravity: Gravity, astray: Sequence[Astray], drafts: Sequence[_Draft]) -> list[_Result]:
    """Each draft corrected, flown and measured; those that cannot be flown are left out."""
    cases = []
    for draft in drafts:
        one = astray[draft.who]
        item = Itinerary.through_turn(one.seen_s, one.position, one.velocity, draft.impulses, ring)
        cases.append(
            Case(
                itinerary=item,
                ring=ring,
                slot=one.part.slot,
                plane=one.part.plane,
                burns=_engine(one),
                unknowns=draft.unknowns,
                targets=draft.targets,
            )
        )
    items, kept = [], []
    for draft, result in zip(drafts, _correct_each(cases, gravity), strict=True):
        if result is None:
            continue
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
    models = [_engine(astray[draft.who]) for draft in kept]
    found = []
    for draft, flight in zip(kept, fly(items, gravity, models, relative=1e-12), strict=True):
        part = astray[draft.who].part
        try:
            found.append((draft, flight, measure(flight, ring, part.plane, part.slot)))
        except FlightError:
            continue
    return found


def _correct_each(cases: Sequence[Case], gravity: Gravity) -> list[Itinerary | None]:
    """Correct cases together, or one by one where one of them cannot be flown at all."""
    if not cases:
        return []
    try:
        return [r.itinerary for r in correct(cases, gravity, tolerance_rad=AIM_RAD, rounds_max=ROUNDS_MAX)]
    except FlightError:
        if len(cases) == 1:
            return [None]
        middle = len(cases) // 2
        return _correct_each(cases[:middle], gravity) + _correct_each(cases[middle:], gravity)


def _keeps_limits(scenario: Scenario, ring: Ring, one: Astray, draft: _Draft, flight: Flight, seen: Measured) -> bool:
    """Whether a way ends in the slot, with the ring, and keeps what the scenario asks of one craft."""
    limits, craft, impulses = scenario.limits, one.craft, flight.itinerary.impulses
    tolerance = scenario.ring.tolerance_rad
    allowed = MET_RAD + (HALF * tolerance if draft.as_it_is else 0.0)
    if abs(seen.slot_error_rad) > min(allowed, tolerance):
        return False
    if abs(2.0 * math.pi * seen.period_error_s / ring.period_s) > MET_RAD:
        return False
    # what is left eccentric swings to either side by twice that: no more than the tolerance, or than was planned
    swing = 2.0 * math.hypot(*seen.eccentricity)
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
    # a craft that was to be in its slot by now begins to count anew, as planning anew would
    if one.part.in_slot_s > one.now_s:
        revolutions, most = _revolutions(ring, one, finish), max(limits.revolutions_max, one.part.revolutions)
    else:
        revolutions, most = round((finish - one.now_s) / ring.period_s), limits.revolutions_max
    if revolutions > most:
        return False
    if finish > limits.finish_within_s + 1e-3 or finish - one.part.ring_arrival_s > limits.wait_within_s + 1e-3:
        return False
    legs = flight.legs()
    # on the way up from its launch a craft is lower than the floor for a while
    climbing = np.linalg.norm(one.position) < scenario.floor_m and float(one.position @ one.velocity) > 0.0
    lowest = [leg.periapsis_m for leg in legs if leg.periapsis_m is not None]
    if not climbing:
        lowest += [leg.lowest_m for leg in legs]
    return (
        min(lowest, default=math.inf) >= scenario.floor_m - LENGTH_SLACK_M
        and max(leg.highest_m for leg in legs) <= limits.apoapsis_max_m + LENGTH_SLACK_M
    )


def _in_plane(scenario: Scenario, seen: Measured) -> bool:
    return seen.plane_error_rad <= scenario.ring.tilt_tolerance_rad + PLANE_SLACK_RAD


def _revolutions(ring: Ring, one: Astray, finish_s: float) -> int:
    """Phasing revolutions of a craft that is in its slot at another time than planned."""
    return max(one.part.revolutions + round((finish_s - one.part.in_slot_s) / ring.period_s), 0)


def _worth(burns: Sequence[Impulse] | Sequence[Burn], aim: Aim, draft: _Draft | None = None) -> tuple[float, float]:
    """What a way comes to by the aim, the least is best; one that lets the slot be is held to cost a little more."""
    cost = math.fsum(burn.delta_v_m_s for burn in burns)
    cost += WORTH_M_S if draft is not None and draft.as_it_is else 0.0
    cost, finish = round(cost, 3), round(burns[-1].time_s, 1) if burns else 0.0
    return (finish, cost) if aim == "finish" else (cost, finish)


def _part(ring: Ring, one: Astray, flight: Flight, seen: Measured, seats: Seats) -> CraftPlan:
    """What is left for a craft to do, as a part of a plan."""
    part, craft = one.part, replace(one.craft, load="full")
    burns = burns_of(craft, [flight])
    legs = flight.legs()
    impulses = flight.itinerary.impulses
    finish = impulses[-1].time_s if impulses else one.now_s
    loaded = craft.propellant_kg if craft.dry_mass_kg is not None else None
    left = burns[-1].propellant_after_kg if burns else loaded
    dips = [leg.periapsis_m for leg in legs[:-1] if leg.periapsis_m is not None]
    behind = 0 if one.now_s == 0.0 else sum(burn.time_s <= one.now_s for burn in part.burns)
    first = None if part.phasing_burn is None or part.phasing_burn < behind else part.phasing_burn - behind
    return replace(
        part,
        launch_s=None,
        pad=None,
        insertion=None,
        insertion_speed_m_s=None,
        insertion_s=None,
        heading=None,
        carrier=None,
        parking_wait_s=0.0,
        passes=0,
        revolutions=_revolutions(ring, one, finish),
        ring_revolutions=part.ring_revolutions + _revolutions(ring, one, finish) - part.revolutions,
        in_slot_s=finish,
        lowest_periapsis_m=min(dips, default=None),
        must_burn=part.must_burn and behind == 0,
        delta_v_m_s=math.fsum(burn.own_m_s for burn in burns),
        propellant_kg=None if left is None or loaded is None else loaded - left,
        propellant_left_kg=left,
        burns=burns,
        flown=Flown.of(seen, legs, _nearest(ring, part, flight, one.now_s, finish, seats)),
        phasing_burn=first,
        period_to_hit_s=burns[first].period_after_s if first is not None and first < len(burns) else None,
        before_burns=tuple(tuple(float(x) for x in state) for state in flight.before),
        turned_s=None if part.turned_s is None or part.turned_s <= one.now_s else part.turned_s,
        last_at_ring=-1,
        itinerary=flight.itinerary,
        engine=flight.burns if isinstance(flight.burns, FiniteThrust) else None,
    )


def _nearest(
    ring: Ring,
    part: CraftPlan,
    flight: Flight,
    now_s: float,
    finish_s: float,
    seats: Seats,
) -> tuple[float | None, str | None]:
    """Least distance to anybody who is in place before the craft is, and to whom."""
    start = max(now_s, flight.begin_s, part.screened_from_s)
    found = []
    for name, plane, slot, since_s in seats:
        begin = max(start, since_s)
        if name != part.craft and begin < finish_s:
            [near] = closest_in_ring(flight, ring, [(plane, slot)], begin, finish_s)
            found.append((near.distance_m, name))
    return min(found, default=(None, None))
