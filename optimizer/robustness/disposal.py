"""What craft of a ring burn in the end to be down, or out of the way, within a time asked for.

The cheapest of: nothing, where the ring's orbit comes down by itself in time; a burn that lowers the periapsis so far
that the air brings the craft down in time; a burn that puts the periapsis on the ground; around the Earth, on a
synchronous ring, the raise of ``models/disposal.py``, which is what is done there. How low the periapsis has to be is
found by drag alone, and then followed under all forces that count (``models/flight/lifetime.py``); where these keep it
up for too long, it is lowered further.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ...models.arrays import Array
from ...models.disposal import is_kept_free, lowering_m_s, raise_m, raising_m_s
from ...models.flight.averaged import MeanOrbits
from ...models.flight.drag import Air
from ...models.flight.forces import Surfaces, Term
from ...models.flight.lifetime import Lasting, circles, deciding, lasting
from ...models.flight.lifted import semi_major_of_circle
from ...models.flight.mean_of_state import mean_orbits
from ...models.oblateness import ring_state
from ...models.ring import Ring
from ...models.scenario import Scenario
from ...models.surroundings import Surface
from ..outcome import Outcome
from ..standing import LeftAlone
from .left_alone import pulling

HALVED = 10
"""Halvings between the ring and the air: a thousandth of what lies between them."""

LOWER = 4
"""How often the periapsis is lowered further, each time halfway to the air, where other bodies keep it up."""

LOOKED = 1.02
"""How much longer than the time asked for an orbit is followed."""

Way = Literal["none", "decay", "ground", "raise"]


@dataclass(frozen=True, kw_only=True)
class CraftDisposal:
    """What one craft burns in the end.

    Args:
        way: nothing, to decay, to the ground, or raised.
        delta_v_m_s: of all its burns.
        to_m: radius of the periapsis that it puts, or of the circle that it is raised to; the ring's for nothing.
        lasts_s: until it is down by the forces named, 0 for the ground; infinite where it is raised.
        forces: what that is by.
    """

    craft: str
    way: Way
    delta_v_m_s: float
    to_m: float
    lasts_s: float
    forces: tuple[str, ...] = ()


def disposals(outcome: Outcome) -> tuple[CraftDisposal, ...]:
    """What each craft that is moved burns in the end; empty where the scenario does not ask."""
    scenario = outcome.scenario
    if scenario.disposal_within_s is None:
        return ()
    made: dict[Surface, CraftDisposal] = {}
    moved = {part.craft for part in outcome.plans[0].craft}
    found = []
    for craft in scenario.craft:
        if craft.name in moved:
            own = made.get(craft.surface)
            if own is None:
                alone = next((one for one in outcome.left_alone if one.what == "ring" and craft.name in one.who), None)
                own = _disposal(scenario, outcome, craft.surface, scenario.disposal_within_s, alone)
            made[craft.surface] = own
            found.append(replace(own, craft=craft.name))
    return tuple(found)


def _disposal(
    scenario: Scenario, outcome: Outcome, surface: Surface, within_s: float, alone: LeftAlone | None
) -> CraftDisposal:
    ring, body = outcome.ring, scenario.body
    gm, here_m, from_s = ring.gm, ring.radius_m, outcome.plans[0].finish_s
    if is_kept_free(body, here_m, ring.inclination_rad):
        to_m = here_m + raise_m(surface.light_m2_kg)
        spent = raising_m_s(gm, here_m, to_m)
        return CraftDisposal(craft="", way="raise", delta_v_m_s=spent, to_m=to_m, lasts_s=math.inf)
    search = _Search(scenario=scenario, ring=ring, surface=surface, within_s=within_s, from_s=from_s)
    terms = pulling(scenario)
    if alone is not None and alone.lasts_s <= within_s:
        found = search.made("none", here_m, alone.lasts_s, terms)
        return replace(found, forces=alone.forces)
    low = search.by_drag(terms)
    floor_m = body.radius_m + body.atmosphere_top_m
    for _ in range(LOWER if low is not None else 0):
        assert low is not None
        down = search.lasting(terms, np.array([low]))[0]
        if down.seconds <= within_s:
            return search.made("decay", low, down.seconds, terms)
        low = 0.5 * (low + floor_m)
    return search.made("ground", body.radius_m, 0.0, ())


@dataclass(frozen=True, kw_only=True)
class _Search:
    """From the ring down, for one surface."""

    scenario: Scenario
    ring: Ring
    surface: Surface
    within_s: float
    from_s: float

    def by_drag(self, terms: Sequence[Term]) -> float | None:
        """The highest periapsis from which drag alone brings a craft down in time; None without air."""
        air = tuple(one for one in terms if isinstance(one, Air))
        if not air:
            return None
        body = self.scenario.body
        low, high = body.radius_m + body.atmosphere_top_m, self.ring.radius_m
        if low >= high:
            return None
        for _ in range(HALVED):
            middle = 0.5 * (low + high)
            served = self.lasting(air, np.array([middle]))[0].seconds <= self.within_s
            low, high = (middle, high) if served else (low, middle)
        return low

    def lasting(self, terms: Sequence[Term], periapsis_m: Array, *, circle: bool = False) -> tuple[Lasting, ...]:
        """How long orbits last from the ring down to such periapses, or the ring itself."""
        orbits = self.orbits(periapsis_m, circle=circle)
        surfaces = Surfaces.of([self.surface] * periapsis_m.size)
        return lasting(self.scenario.body, terms, orbits, surfaces, self.from_s, LOOKED * self.within_s)

    def orbits(self, periapsis_m: Array, *, circle: bool = False) -> MeanOrbits:
        """These orbits, after a burn half a turn before the node."""
        ring, body, many = self.ring, self.scenario.body, periapsis_m.size
        tilt, node = ring.inclination_rad, ring.node(self.from_s)
        if circle:
            size = semi_major_of_circle(body, ring.radius_m, tilt)
            return circles(np.full(many, size), np.full(many, tilt), np.full(many, node))
        position, velocity = ring_state(body, ring.radius_m, math.pi, tilt, node)
        slower = np.array([lowering_m_s(ring.gm, ring.radius_m, float(to_m)) for to_m in periapsis_m])
        kept = 1.0 - slower / np.linalg.norm(velocity)
        return mean_orbits(body, np.hstack([np.tile(position, (many, 1)), kept[:, np.newaxis] * velocity]))

    def made(self, way: Way, to_m: float, lasts_s: float, terms: Sequence[Term]) -> CraftDisposal:
        """The answer."""
        there = np.array([to_m])
        forces = deciding(self.scenario.body, terms, self.orbits(there, circle=way == "none")) if terms else ()
        return CraftDisposal(
            craft="",
            way=way,
            delta_v_m_s=0.0 if way == "none" else lowering_m_s(self.ring.gm, self.ring.radius_m, to_m),
            to_m=to_m,
            lasts_s=lasts_s,
            forces=forces,
        )
