"""How long orbits last that nobody burns in any more: the ring, phasing orbits, carriers and stages left behind.

Each orbit of plan 1 is taken at one moment (the ring as a circle of its mean radius, the others as they are right after
the burn or the drop), without what swings about it within a turn over a bulge (``models/flight/mean_of_state.py``), and
followed by averaged equations (``models/flight/lifetime.py``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal, NamedTuple

import numpy as np

from ...models.arrays import Array
from ...models.flight.averaged import MeanOrbits
from ...models.flight.flown import Itinerary
from ...models.flight.forces import Surfaces, Term
from ...models.flight.gravity import gravity_around
from ...models.flight.integrate import fly_each
from ...models.flight.lifetime import circles, deciding, lasting
from ...models.flight.lifted import semi_major_of_circle
from ...models.flight.mean_of_state import mean_orbits
from ...models.flight.sky import sky
from ...models.frames import from_local
from ...models.keys import number_by_default
from ...models.scenario import Body, Scenario
from ...models.surroundings import Surface
from ..craft_plan import CraftPlan
from ..outcome import Outcome, Plan
from ..standing import LeftAlone

MOST_ORBITS = 24
"""Most orbits that are followed: those with the lowest periapsis come first."""

ALIKE_M = 1000.0
"""Orbits whose apsides are alike to this are followed once."""


class _Orbit(NamedTuple):
    """What is left in an orbit, whose it is, its mean orbit, and radii of the apsides at the moment it is left."""

    what: Literal["ring", "phasing", "carrier", "stage"]
    who: str
    surface: Surface
    orbit: MeanOrbits
    low_m: float
    high_m: float


def left_alone(outcome: Outcome, plan: Plan) -> tuple[LeftAlone, ...]:
    """How long the orbits of a plan last without another burn, in the order of `LeftAlone.what`.

    Empty where nothing is known here that could bring one down.
    """
    scenario = outcome.scenario
    terms = pulling(scenario)
    if not terms:
        return ()
    groups: dict[tuple[object, ...], list[_Orbit]] = {}
    for one in _orbits(outcome, plan):
        ends = (round(one.low_m / ALIKE_M), round(one.high_m / ALIKE_M))
        groups.setdefault((one.what, one.surface, *ends), []).append(one)
    kept = sorted(groups.values(), key=lambda group: float(group[0].orbit.periapsis_m[0]))[:MOST_ORBITS]
    kept.sort(key=lambda group: ("ring", "phasing", "carrier", "stage").index(group[0].what))
    orbits = MeanOrbits.together([group[0].orbit for group in kept])
    surfaces = Surfaces.of([group[0].surface for group in kept])
    found = lasting(scenario.body, terms, orbits, surfaces, plan.finish_s)
    made = (
        LeftAlone(
            what=group[0].what,
            who=tuple(one.who for one in group),
            periapsis_m=group[0].low_m,
            apoapsis_m=group[0].high_m,
            lasts_s=lasts.seconds,
            looked_s=lasts.looked_s,
            eccentricity=lasts.eccentricity,
            forces=deciding(scenario.body, terms, group[0].orbit),
        )
        for group, lasts in zip(kept, found, strict=True)
    )
    return tuple(_as_held(outcome, one) for one in made)


def _as_held(outcome: Outcome, one: LeftAlone) -> LeftAlone:
    """The same with the time after which the first craft of the ring comes down as its hold has it, by more forces."""
    under = outcome.under
    if under is None or under.hold is None or one.what != "ring" or under.hold.lost not in one.who:
        return one
    lasts_s, grown = under.hold.looked_s, under.hold.eccentricity
    return replace(one, lasts_s=lasts_s, looked_s=lasts_s, eccentricity=grown, forces=under.chosen.flown)


def pulling(scenario: Scenario) -> tuple[Term, ...]:
    """What can bring an orbit down: all that is known around the body, but for what ``[forces]`` turns off."""
    own = {one.name for one in scenario.pulls}
    return tuple(
        term
        for key, term in sky(scenario).terms.items()
        if key != "sunlight" and ("pulls" if key in own else key) not in scenario.turned_off
    )


def _orbits(outcome: Outcome, plan: Plan) -> list[_Orbit]:
    scenario, here_m = outcome.scenario, outcome.ring.radius_m
    surfaces = {craft.name: craft.surface for craft in scenario.craft}
    bare, body = _bare(), scenario.body
    names = [*(part.craft for part in plan.craft), *(one.craft for one in outcome.kept)]
    found = [
        _Orbit("ring", name, surfaces.get(name, bare), _in_ring(outcome, plan, name), here_m, here_m) for name in names
    ]
    for part in plan.craft:
        if part.phasing_burn is not None and part.side != "level":
            found += _of_state("phasing", part.craft, surfaces[part.craft], _after(part, part.phasing_burn), body)
        if part.launch_s is not None and part.carrier is None and part.insertion_state is not None:
            paid = [index for index, burn in enumerate(part.burns) if burn.by_stage_m_s > 0.0]
            state = _after(part, paid[-1]) if paid else np.array(part.insertion_state)
            found += _of_state("stage", part.craft, bare, state, body)
    for carrier in plan.carriers:
        last_s = carrier.drops[-1].time_s
        left = _flown(scenario, carrier.itinerary, last_s)
        if left is not None:
            found += _of_state("carrier", carrier.carrier, bare, left, body)
        begun = np.concatenate([carrier.itinerary.position, carrier.itinerary.velocity])
        found += _of_state("stage", carrier.carrier, bare, begun, body)
    return found


def _in_ring(outcome: Outcome, plan: Plan, name: str) -> MeanOrbits:
    """The orbit of a craft in the ring: as flown under further forces, else a circle."""
    ring, hold = outcome.ring, outcome.under.hold if outcome.under is not None else None
    if hold is not None and name in hold.names:
        return hold.start.some(np.array([one == name for one in hold.names]))
    node = np.array([ring.node(plan.finish_s)])
    size = semi_major_of_circle(outcome.scenario.body, ring.radius_m, ring.inclination_rad)
    return circles(np.array([size]), np.array([ring.inclination_rad]), node)


def _bare() -> Surface:
    """Of what the scenario says nothing about: a square meter for each 100 kg."""
    drag, light = (number_by_default("craft", name) for name in ("drag_coefficient", "reflectivity"))
    return Surface.of(None, None, drag, light)


def _after(part: CraftPlan, index: int) -> Array:
    """State right after a burn taken as an impulse."""
    state, burn = np.array(part.before_burns[index]), part.burns[index]
    own = np.array([burn.radial_m_s, burn.along_m_s, burn.cross_m_s])
    state[3:] += from_local(state[:3], state[3:], own)
    return state


def _of_state(
    what: Literal["phasing", "carrier", "stage"], who: str, surface: Surface, state: Array, body: Body
) -> list[_Orbit]:
    """What is left in the orbit of a state; none where it does not come back."""
    radius, speed = float(np.linalg.norm(state[:3])), float(np.linalg.norm(state[3:]))
    if speed * speed * radius >= 2.0 * body.gm:
        return []
    seen = MeanOrbits.of([state[np.newaxis]], np.ones(1), body.gm)
    low_m = float(seen.periapsis_m[0])
    high_m = 2.0 * float(seen.semi_major_m[0]) - low_m
    return [_Orbit(what, who, surface, mean_orbits(body, state[np.newaxis]), low_m, high_m)]


def _flown(scenario: Scenario, item: Itinerary, time_s: float) -> Array | None:
    flight = fly_each([item], gravity_around(scenario.body))[0]
    return None if flight is None else np.asarray(flight.states(np.array([time_s]))[0])


def lasts(found: Sequence[LeftAlone], what: str, who: str) -> LeftAlone | None:
    """How long one of them lasts; None where it was not followed."""
    return next((one for one in found if one.what == what and who in one.who), None)
