"""Which spare to call when a craft is lost, what that costs and how long it takes: for each slot, with each spare.

A call is a scenario by itself: the spare where it waits, all other craft in their slots, one slot open. Its plan of
least delta-v and the one that is done soonest are made and flown as any plan is.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...models import deadline
from ...models.deadline import ENDED
from ...models.errors import InputError
from ...models.flight.drag import Air
from ...models.frames import wrap
from ...models.keeping import drag_m_s2
from ...models.ring import Ring
from ...models.scenario import Aim, Craft, Occupied, Orbit, Scenario, on_ring
from ...models.spares import Spare
from ...models.synodic import Waiting, waiting
from ...models.units import YEAR_S
from ..outcome import Plan
from ..plan import make_plan
from .respace import Place, Standing

Progress = Callable[[str], None]

AIMS: tuple[Aim, Aim] = ("delta_v", "finish")
"""The two ends of a front."""

QUESTION_SHARE = 0.75
"""Of the time that is left, what one way may take where its even part is less: they are quick, and much alike."""


@dataclass(frozen=True, kw_only=True)
class Way:
    """One spare into one slot: its plan of least delta-v and the one that is done soonest, as flown.

    ``least`` and ``soonest`` are None where no plan keeps the limits, or, without ``reached``, where the search was
    ended before that was known. ``front`` are the plans of its whole front, where that was asked for.
    """

    spare: str
    least: Plan | None
    soonest: Plan | None
    reached: bool = True
    front: tuple[Plan, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Loss:
    """A craft that may be lost, with its slot and plane, and the way of each spare of that plane into its slot."""

    craft: str
    slot: int
    plane: int
    ways: tuple[Way, ...]

    def best(self, aim: Aim) -> Way | None:
        """The way whose plan is best: done soonest for the aim finish, of least delta-v for any other."""
        if aim == "finish":
            soon = [way for way in self.ways if way.soonest is not None]
            return min(soon, key=lambda way: way.soonest.finish_s if way.soonest else math.inf, default=None)
        cheap = [way for way in self.ways if way.least is not None]
        return min(cheap, key=lambda way: way.least.delta_v_m_s if way.least else math.inf, default=None)


@dataclass(frozen=True, kw_only=True)
class SpareSeen:
    """A spare as it waits.

    Args:
        spare: as the scenario gives it.
        waiting: how its circle moves against the ring; None in the ring itself.
        node_off_rad: how far its node is ahead of its plane's at the moment of the call, by secular rates.
        hold_m_s_year: what making up for drag takes there; None where no drag is flown.
    """

    spare: Spare
    waiting: Waiting | None
    node_off_rad: float
    hold_m_s_year: float | None


@dataclass(frozen=True, kw_only=True)
class CallUps:
    """The answer: each craft that may be lost, each spare, and how long the moment is after the scenario's epoch.

    ``asked`` and ``reached`` count ways.
    """

    scenario: Scenario
    ring: Ring
    losses: tuple[Loss, ...]
    spares: tuple[SpareSeen, ...]
    after_s: float = 0.0

    @property
    def asked(self) -> int:
        """Ways that were asked for."""
        return sum(len(loss.ways) for loss in self.losses)

    @property
    def reached(self) -> int:
        """Those with an answer."""
        return sum(way.reached for loss in self.losses for way in loss.ways)


def call_ups(now: Standing, only: Sequence[str] = (), progress: Progress = lambda _: None) -> CallUps:
    """Every craft that is up may be lost now: the ways of the spares of its plane into its slot.

    Args:
        now: the craft that are up, and the ring.
        only: the losses that are asked about, by name; all where it is empty.

    Raises:
        InputError: there is no spare, or a craft that is up is not in a slot.
    """
    scenario = now.scenario
    if not scenario.spares:
        raise InputError(
            "no spare is up: add [[spare]] with a name and after_slot, or angle_deg and altitude_km.",
            where=scenario.source.file,
        )
    names = [place.craft.name for place in now.places]
    for name in only:
        if name not in names:
            raise InputError(
                f"--lost {name!r} is no craft that is up: give one of {', '.join(names)}.", where="command line"
            )
    seated = [(place, _slot_of(now, place)) for place in now.places]
    seated.sort(key=lambda pair: (pair[0].orbit.plane, pair[1]))
    asked = [(place, slot) for place, slot in seated if not only or place.craft.name in only]
    left = sum(_serves(spare, place) for place, _ in asked for spare in scenario.spares)
    losses = []
    for place, slot in asked:
        ways = []
        for spare in scenario.spares:
            if not _serves(spare, place):
                continue
            progress(f"{spare.craft.name} for {place.craft.name}")
            with deadline.ending(deadline.share(max(1.0 / left, QUESTION_SHARE))):
                asked_of = call_scenario(now, place.craft.name, spare)
                ways.append(_way(asked_of, spare.craft.name, whole=len(asked) == 1))
            left -= 1
        losses.append(Loss(craft=place.craft.name, slot=slot, plane=place.orbit.plane, ways=tuple(ways)))
    return CallUps(
        scenario=scenario,
        ring=now.ring,
        losses=tuple(losses),
        spares=tuple(_seen(now, spare) for spare in scenario.spares),
        after_s=now.after_s,
    )


def call_scenario(now: Standing, lost: str, spare: Spare) -> Scenario:
    """The scenario of a call: the spare, the slot of the lost craft, and the others of its plane in theirs."""
    scenario, plane = now.scenario, spare.plane
    ring = now.ring.of_plane(plane) if now.ring.planes > 1 else now.ring
    seated = {place.craft.name: (place, _slot_of(now, place)) for place in now.places if place.orbit.plane == plane}
    open_slot = seated[lost][1]
    there = tuple(
        Occupied(name=name, slot=slot, angle_rad=_angle_now(ring, place.orbit))
        for name, (place, slot) in seated.items()
        if name != lost
    )
    held = {one.slot for one in there}
    spec = replace(
        scenario.ring,
        slots=ring.slots,
        leave_free=tuple(slot for slot in range(ring.slots) if slot not in held and slot != open_slot),
        slot0_rad=ring.slot0_rad,
        occupied=there,
        planes=1,
        phasing=0,
        spread_rad=ring.spread_rad,
        node_rad=ring.node_rad,
    )
    return replace(
        scenario,
        ring=spec,
        craft=(replace(spare.craft, orbit=waits_on(spare, ring, now.after_s)),),
        pads=(),
        carriers=(),
        spares=(),
        forces=None,
        first_service=None,
        weigh=None,
    )


def waits_on(spare: Spare, ring: Ring, after_s: float = 0.0) -> Orbit:
    """The orbit of a spare in its plane, which is a ring by itself, at time 0, ``after_s`` after the epoch."""
    radius = ring.radius_m if spare.radius_m is None else spare.radius_m
    if spare.angle_rad is None:
        return Orbit(periapsis_m=radius, apoapsis_m=radius, angle_rad=ring.midway(spare.after_slot or 0))
    return Orbit(periapsis_m=radius, apoapsis_m=radius, angle_rad=spare.angle_rad, at_s=-after_s)


def spare_of(now: Standing, name: str) -> Spare:
    """The spare of that name. Raises KeyError where there is none."""
    found = {one.craft.name: one for one in now.scenario.spares}
    return found[name]


def _serves(spare: Spare, place: Place) -> bool:
    return spare.plane == place.orbit.plane


def _way(scenario: Scenario, spare: str, whole: bool) -> Way:
    """Both ends of the front of one call, or the whole of it; None where the limits leave no plan."""
    plans: list[Plan | None] = []
    front: tuple[Plan, ...] = ()
    try:
        for aim in AIMS:
            deadline.poll()
            made = make_plan(replace(scenario, minimize=aim), brief=True)
            if made.undecided:
                return Way(spare=spare, least=None, soonest=None, reached=False)
            plans.append(made.plans[0] if made.plans else None)
        if whole and plans[0] is not None:
            made = make_plan(replace(scenario, minimize="delta_v"))
            front = tuple(plan for plan in made.plans if plan.on_front)
    except ENDED:
        if len(plans) < len(AIMS):
            return Way(spare=spare, least=None, soonest=None, reached=False)
    return Way(spare=spare, least=plans[0], soonest=plans[1], front=front)


def _angle_now(ring: Ring, orbit: Orbit) -> float:
    """Argument of latitude at time 0 of a craft on the ring."""
    return orbit.angle_rad - ring.rate_rad_s * orbit.at_s


def _slot_of(now: Standing, place: Place) -> int:
    """The slot that a craft is in, counted in its plane.

    Raises:
        InputError: it is in none.
    """
    ring, scenario = now.ring.of_plane(place.orbit.plane) if now.ring.planes > 1 else now.ring, now.scenario
    ahead = _angle_now(ring, place.orbit) - ring.slot0_rad
    slot = int(ring.nearest(ahead))
    stays = place.craft.stay or place.craft.name in {one.name for one in scenario.ring.occupied}
    off = abs(float(wrap(ahead - float(ring.ahead(slot)))))
    circles = place.orbit.circular and on_ring(place.orbit.apoapsis_m, ring.radius_m)
    if not circles or (off > scenario.ring.tolerance_rad and not stays):
        raise InputError(
            f"craft {place.craft.name!r} is not in its slot yet: --after-plan counts from the end of plan 1.",
            where=scenario.source.file,
        )
    return slot


def _seen(now: Standing, spare: Spare) -> SpareSeen:
    scenario, ring = now.scenario, now.ring
    circle = None if spare.radius_m is None else waiting(scenario.body, ring, spare.radius_m)
    return SpareSeen(
        spare=spare,
        waiting=circle,
        node_off_rad=0.0 if circle is None else circle.node_gain_rad_s * now.after_s,
        hold_m_s_year=_drag_m_s_year(scenario, ring, spare.radius_m or ring.radius_m, spare.craft),
    )


def _drag_m_s_year(scenario: Scenario, ring: Ring, radius_m: float, craft: Craft) -> float | None:
    """What making up for drag takes on a circle, m/s a year; None where no drag is flown."""
    forces = scenario.forces
    air = None if forces is None or forces.drag is False else Air.of(scenario.body, scenario.air_factor)
    if air is None:
        return None
    drag = drag_m_s2(air, replace(ring, radius_m=radius_m), np.array([craft.surface.drag_m2_kg]))
    return float(drag[0]) * YEAR_S
