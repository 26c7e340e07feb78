"""The ring spread evenly again over the craft that are up: each may move, and where the slots stand is chosen.

After a loss, or where the number of slots changes, the question is a scenario by itself: the craft on the ring at the
angles where they are, a free ring phase, and the new number of slots. `choice/ring_phase.py` then finds which phase
costs least and who goes where.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

from ...models.errors import InputError
from ...models.reading.slot_pattern import uneven
from ...models.ring import Ring
from ...models.scenario import Craft, Orbit, RingSpec, Scenario
from ..outcome import Outcome, Plan
from ..problem.in_space import standing
from ..problem.problem import KeptCraft
from ..problem.ring_phase import problems


@dataclass(frozen=True, kw_only=True)
class Place:
    """A craft that is up, and where: its orbit, with the plane of the ring that this lies in.

    ``ready_s`` is when it may burn for the first time.
    """

    craft: Craft
    orbit: Orbit
    ready_s: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Standing:
    """The craft that are up at the epoch of a scenario, its ring, and how long that is after the epoch of the first.

    ``short`` are the planes in which one that was up is lost.
    """

    scenario: Scenario
    ring: Ring
    places: tuple[Place, ...]
    short: tuple[int, ...] = ()
    after_s: float = 0.0


def respaced(
    scenario: Scenario,
    ring: Ring,
    places: Sequence[Place],
    slots: int,
    pattern_rad: tuple[float, ...] = (),
    fixed: Sequence[str] = (),
) -> Scenario:
    """The scenario in which craft that are up share the slots of a ring evenly: all may move, the phase is free.

    Those that are ``fixed`` stay where they are, and the ring is laid through them.

    Args:
        scenario: with the body, the limits and the goal; its launches are left out.
        ring: the ring; of several planes each by itself, the places in the plane 0 of ``ring``.
        places: the craft and where they are.
        slots: of the ring then.
        pattern_rad: where they are ahead of slot 0, in place of equally spaced ones.
    """
    spec: RingSpec = replace(
        scenario.ring,
        slots=slots,
        pattern_rad=uneven(pattern_rad),
        leave_free=(),
        slot0_rad=None,
        occupied=(),
        planes=ring.planes,
        phasing=ring.phasing,
        spread_rad=ring.spread_rad,
        node_rad=ring.node_rad,
    )
    craft = tuple(
        replace(moving(one), ready_s=0.0, stay=True) if one.craft.name in fixed else moving(one) for one in places
    )
    return replace(scenario, ring=spec, craft=craft, pads=(), carriers=())


def moving(place: Place) -> Craft:
    """A craft that is up, as one that may move from where it is."""
    return replace(
        place.craft,
        orbit=place.orbit,
        ready_s=place.ready_s,
        stay=False,
        may_move=False,
        load="full",
        pads=(),
        carrier=None,
    )


def on_the_ring(ring: Ring, angle_rad: float, at_s: float, plane: int = 0) -> Orbit:
    """The ring's own circle, with the argument of latitude at which a craft is at a time."""
    return Orbit(periapsis_m=ring.radius_m, apoapsis_m=ring.radius_m, angle_rad=angle_rad, at_s=at_s, plane=plane)


def loosened(scenario: Scenario, at_s: float = 0.0) -> tuple[Place, ...]:
    """The craft that stay, as craft that may move from where they are at a time; the scenario says where slots are."""
    problem = problems(scenario)[0]
    moved = _staying(scenario, problem.ring, problem.kept, at_s)
    return tuple(replace(one, orbit=replace(one.orbit, at_s=at_s), ready_s=at_s) for one in moved)


def standing_now(scenario: Scenario, lost: Sequence[str] = (), *, slots_stay: bool = False) -> Standing:
    """The craft that are up at the epoch, without those that are lost.

    Args:
        slots_stay: the slots stay where they are, so that a ring over the ground will do, too.

    Raises:
        InputError: a craft is still to be launched, or a lost one is not known.
    """
    _known(scenario, lost, slots_stay)
    problem = problems(scenario)[0]
    places = _staying(scenario, problem.ring, problem.kept, 0.0)
    for one in scenario.craft:
        if one.stay or (one.orbit is None and one.name in lost):
            continue
        if one.orbit is None:
            raise InputError(
                f"craft {one.name!r} is still to be launched: --after-plan spreads the ring as it is when plan 1 is "
                f"done, and --lost {one.name} leaves it out.",
                where=scenario.source.file,
            )
        places.append(Place(craft=one, orbit=one.orbit, ready_s=one.ready_s))
    left = _in_order(scenario, places, lost)
    return Standing(scenario=scenario, ring=problem.ring, places=left, short=_short(places, lost))


def standing_after(outcome: Outcome, plan: Plan, lost: Sequence[str] = (), *, slots_stay: bool = False) -> Standing:
    """The same when a plan is done: each craft in its slot, with the propellant that the plan leaves; times from then.

    Raises:
        InputError: a lost craft is not known.
    """
    scenario, ring, now = outcome.scenario, outcome.ring_of(plan), plan.finish_s
    _known(scenario, lost, slots_stay)
    fixed = replace(scenario, ring=replace(scenario.ring, slot0_rad=ring.slot0_rad))
    places = _staying(scenario, ring, problems(fixed)[0].kept, now)
    parts = {part.craft: part for part in plan.craft}
    for one in scenario.craft:
        if one.stay:
            continue
        part = parts[one.name]
        tank = one.propellant_kg if part.propellant_left_kg is None else part.propellant_left_kg
        there = on_the_ring(ring, float(ring.phase(now, part.slot, part.plane)), 0.0, part.plane)
        places.append(Place(craft=replace(one, propellant_kg=tank), orbit=there))
    there_then = _later(fixed, ring, now)
    ring = replace(ring, slot0_rad=ring.slot0_rad + ring.rate_rad_s * now, node_rad=there_then.ring.node_rad)
    left = _in_order(scenario, places, lost)
    return Standing(scenario=there_then, ring=ring, places=left, short=_short(places, lost), after_s=now)


def planes_asked(now: Standing, plane: int | None) -> tuple[int, ...]:
    """The planes that are spread: the one that is named, the only one, or all in which a craft is lost.

    Raises:
        InputError: there is no such plane, or it is not clear which one is meant.
    """
    planes = now.ring.planes
    if plane is not None and plane >= planes:
        raise InputError(f"--plane {plane}: the ring has planes 0 to {planes - 1}.", where="command line")
    if plane is not None or planes == 1:
        return (plane or 0,)
    if now.short:
        return now.short
    raise InputError(
        f"the ring has {planes} planes, each is spread by itself, and no craft is lost: name one, as in --plane 0.",
        where="command line",
    )


def spread_plane(
    now: Standing,
    plane: int,
    slots: int | None,
    pattern_rad: tuple[float, ...] | None = None,
    fixed: Sequence[str] = (),
) -> Scenario:
    """The scenario in which the craft of one plane are spread evenly in it.

    Where the slots then stand against those of other planes is free, and craft in other planes are left out.

    Args:
        slots: of the plane; None for as many as craft are up in it.
        pattern_rad: where they are ahead of slot 0, in place of ``slots`` that are equally spaced.
        fixed: craft that stay where they are, in whatever plane.

    Raises:
        InputError: no craft is left, or there are more of them than slots; a craft that is to stay is not on the ring.
    """
    ring, inside = now.ring, f" in plane {plane}" if now.ring.planes > 1 else ""
    alone, places = of_plane(ring, now.places, plane)
    if not places:
        raise InputError(
            f"no craft is left that is up{inside}: with at least one of them the ring can be spread.",
            where=now.scenario.source.file,
        )
    slots = slots if pattern_rad is None else len(pattern_rad)
    if slots is not None and slots < len(places):
        raise InputError(
            f"{slots} slots are too few for the {len(places)} craft that are up{inside}: {len(places)} or more would "
            "be accepted.",
            where="--slots" if pattern_rad is None else "--slots-deg",
        )
    _able_to_stay(now, fixed)
    made = respaced(now.scenario, alone, places, len(places) if slots is None else slots, pattern_rad or (), fixed)
    return replace(made, title=f"{made.title or 'Ring'}, plane {plane}") if inside else made


def of_plane(ring: Ring, places: Sequence[Place], plane: int) -> tuple[Ring, list[Place]]:
    """One plane of a ring as a ring by itself, and the craft in it."""
    inside = [replace(one, orbit=replace(one.orbit, plane=0)) for one in places if one.orbit.plane == plane]
    return ring.of_plane(plane) if ring.planes > 1 else ring, inside


def _able_to_stay(now: Standing, fixed: Sequence[str]) -> None:
    """Refuse to keep a craft in its place that is not up, or not on the ring."""
    up = {one.craft.name: replace(one.craft, orbit=one.orbit) for one in now.places}
    for name in fixed:
        if name not in up:
            raise InputError(
                f"--fixed {name!r} is no craft that is up: give one of {', '.join(up)}.", where="command line"
            )
        if not standing(now.ring, up[name], now.scenario.body).on_ring:
            raise InputError(
                f"--fixed {name!r}: its orbit is not the ring, so it is in no slot there; without this it may move.",
                where="command line",
            )


def _staying(scenario: Scenario, ring: Ring, kept: Sequence[KeptCraft], now_s: float) -> list[Place]:
    """Craft that stay in the ring, as craft that may move: those of ``ring.occupied`` have a name and no masses."""
    own = {one.name: one for one in scenario.craft}
    return [
        Place(
            craft=own.get(one.name, Craft(name=one.name)),
            orbit=on_the_ring(ring, one.angle_rad + ring.rate_rad_s * now_s, 0.0, one.slot // ring.slots),
        )
        for one in kept
    ]


def _later(scenario: Scenario, ring: Ring, by_s: float) -> Scenario:
    """The scenario with its epoch moved on; limits count from then."""
    body = scenario.body
    return replace(
        scenario,
        body=replace(body, prime_meridian_rad=body.prime_meridian_rad + body.spin_rad_s * by_s),
        ring=replace(scenario.ring, node_rad=ring.node_rad + ring.node_rate_rad_s * by_s),
        epoch=None if scenario.epoch is None else scenario.epoch + timedelta(seconds=by_s),
        pulls=tuple(one.later(by_s) for one in scenario.pulls),
    )


def _in_order(scenario: Scenario, places: Sequence[Place], lost: Sequence[str]) -> tuple[Place, ...]:
    """Without those that are lost, in the order of the scenario, angles within a turn."""
    names = [*(one.name for one in scenario.ring.occupied), *(one.name for one in scenario.craft)]
    left = sorted((one for one in places if one.craft.name not in lost), key=lambda one: names.index(one.craft.name))
    turn = 2.0 * math.pi
    return tuple(replace(one, orbit=replace(one.orbit, angle_rad=one.orbit.angle_rad % turn)) for one in left)


def _short(places: Sequence[Place], lost: Sequence[str]) -> tuple[int, ...]:
    """The planes in which craft are lost."""
    return tuple(sorted({one.orbit.plane for one in places if one.craft.name in lost}))


def _known(scenario: Scenario, lost: Sequence[str], slots_stay: bool) -> None:
    """Refuse a ring whose slots are bound to the ground, where they are chosen, and names that the scenario has not."""
    if scenario.ring.longitude_rad is not None and not slots_stay:
        raise InputError(
            "the ring stays over the ground, slot 0 over ring.longitude, so where it stands cannot be chosen: with "
            "ring.radius in place of the longitude it would be accepted.",
            where=scenario.source.where("ring.longitude"),
        )
    names = [*(one.name for one in scenario.ring.occupied), *(one.name for one in scenario.craft)]
    for name in lost:
        if name not in names:
            raise InputError(
                f"--lost {name!r} is no craft of the scenario: give one of {', '.join(names)}.", where="command line"
            )
