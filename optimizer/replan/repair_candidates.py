"""Ways on for a craft that is off its plan: the burns that are left, and the cheapest changes of them and additions.

The cheapest are those that the linearized flight knows (``sparse_burns.py``); all of them are first guesses, which
their own numerical flight corrects (``repair.py``).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...models.arrays import Array
from ...models.flight.flown import readout
from ...models.flight.gravity import Gravity
from ...models.flight.integrate import Flight, Impulse, Itinerary, fly
from ...models.flight.stepping import turning_points
from ...models.frames import plane_axes
from ...models.ring import Ring
from ...models.scenario import Aim, Scenario
from ..craft_plan import Burn
from ..limits.tilt_tolerance import PLANE_SLACK_RAD
from ..trajectory.differential_correction import IN_PLANE, Part, Target, Unknown
from .off_plan import OffPlan, burns_left, tilt_of
from .sparse_burns import Asked, Found, least_burns

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

_FLAT: tuple[Part, ...] = ("radial", "along")
_WHOLE: tuple[Part, ...] = ("radial", "along", "cross")


@dataclass(frozen=True, kw_only=True)
class WayOn:
    """One way to mend: burns, which of them were added, and what may be changed to meet what."""

    who: int
    impulses: tuple[Impulse, ...]
    added: frozenset[int]
    unknowns: tuple[Unknown, ...]
    targets: tuple[Target, ...]
    as_it_is: bool = False


def as_planned(ring: Ring, who: int, one: OffPlan) -> list[WayOn]:
    """The burns that are left, corrected; and the same for the ring's period and shape only, without the slot.

    Where planes matter, each of these with the plane left as it is and with the plane met.
    """
    left, ways = burns_left(one), []
    turns = tilt_of(ring, one) > PLANE_SLACK_RAD or any(burn.cross_m_s for burn in left) or ring.node_rate_rad_s != 0.0
    for parts in (_FLAT, _WHOLE) if turns else (_FLAT,):
        if left:
            whole = _draft(who, left, parts)
            last = tuple(Unknown(len(left) - 1, part) for part in parts)
            targets = tuple(target for target in whole.targets if target != "slot")
            ways += [whole, replace(whole, unknowns=last, targets=targets, as_it_is=True)]
    return ways


def changed(
    scenario: Scenario, ring: Ring, gravity: Gravity, strayed: Sequence[OffPlan], whom: Sequence[int]
) -> tuple[list[WayOn], list[WayOn]]:
    """The cheapest ways to change burns and to add some, by the linear model: the likely ones, and some more.

    Also with the last burn a turn or two later, which turns an overshot period into another way.
    """
    asked: list[Asked] = []
    owners: list[int] = []
    for k, ahead in zip(whom, _moments_ahead(ring, gravity, [strayed[k] for k in whom]), strict=True):
        one, left, turn = strayed[k], burns_left(strayed[k]), ring.period_s
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
                    shape=one.shape,
                )
            )
            owners.append(k)
    likely: list[WayOn] = []
    rest: list[WayOn] = []
    spec = scenario.ring
    tilt = spec.tilt_tolerance_rad + PLANE_SLACK_RAD
    ways = least_burns(ring, gravity, asked, swing_rad=spec.tolerance_rad, tilt_rad=tilt)
    for k in whom:
        own = [way for owner, found in zip(owners, ways, strict=True) if owner == k for way in found]
        first: list[Found] = []
        more: list[Found] = []
        soonest = sorted(own, key=lambda way: worth(way.burns, "finish"))
        for names in dict.fromkeys(way.targets for way in own):
            alike = [way for way in soonest if way.targets == names]
            # the same burns are found for many ends
            unlike = {(len(way.burns), worth(way.burns, "delta_v")): way for way in reversed(alike)}
            cheapest = sorted(unlike.values(), key=lambda way: worth(way.burns, "delta_v"))
            first += cheapest[:LIKELY]
            more += [*cheapest[LIKELY:TRIED], *alike[:1]]
        planned = {burn.time_s for burn in burns_left(strayed[k])}
        for way in dict.fromkeys([*first, *more]):
            parts = _WHOLE if "plane" in way.targets else _FLAT
            added = [burn.time_s for burn in way.burns if burn.time_s not in planned]
            draft = replace(_draft(k, way.burns, parts, added), targets=way.targets)
            (likely if way in first else rest).append(draft)
    return likely, rest


def worth(burns: Sequence[Impulse] | Sequence[Burn], aim: Aim, draft: WayOn | None = None) -> tuple[float, float]:
    """What a way comes to by the aim, the least is best; one that lets the slot be is held to cost a little more."""
    cost = math.fsum(burn.delta_v_m_s for burn in burns)
    cost += WORTH_M_S if draft is not None and draft.as_it_is else 0.0
    cost, finish = round(cost, 3), round(burns[-1].time_s, 1) if burns else 0.0
    return (finish, cost) if aim == "finish" else (cost, finish)


def _moments_ahead(ring: Ring, gravity: Gravity, strayed: Sequence[OffPlan]) -> list[list[float]]:
    """Moments at which each craft may burn before its next burn.

    As soon as may be, and where it next passes its apsides and the plane that it is to be in.
    """
    if not strayed:
        return []
    items = []
    for one in strayed:
        left, start = burns_left(one), one.now_s + SOONEST_S
        shown = readout(np.concatenate([one.position, one.velocity]), ring.gm)
        turn = shown.period_s if math.isfinite(shown.period_s) else ring.period_s
        until = min([start + 1.2 * turn, *(burn.time_s for burn in left[:1])])
        items.append(
            Itinerary(
                start_s=one.seen_s, position=one.position, velocity=one.velocity, end_s=max(until, one.seen_s + 1.0)
            )
        )
    found = []
    for one, flight in zip(strayed, fly(items, gravity), strict=True):
        first, end = one.now_s + SOONEST_S, flight.itinerary.end_s
        times = [np.array([first]), *(turning_points(arc)[0][2:] for arc in flight.arcs)]
        if end > first and tilt_of(ring, one) > PLANE_SLACK_RAD:
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


def _draft(who: int, impulses: Sequence[Impulse], parts: tuple[Part, ...], added: Sequence[float] = ()) -> WayOn:
    """Burns in order of time, all of them free to change by the least; the last one's moment too unless it is new."""
    burns = tuple(sorted(impulses, key=lambda burn: burn.time_s))
    unknowns = [Unknown(k, part) for k in range(len(burns)) for part in parts]
    if burns[-1].time_s not in added:
        unknowns.append(Unknown(len(burns) - 1, "time"))
    return WayOn(
        who=who,
        impulses=burns,
        added=frozenset(k for k, burn in enumerate(burns) if burn.time_s in added),
        unknowns=tuple(unknowns),
        targets=(*IN_PLANE, "plane") if "cross" in parts else IN_PLANE,
    )
