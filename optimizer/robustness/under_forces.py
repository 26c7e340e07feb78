"""A plan flown a second time, as it is printed, under further forces than it was made for.

Every craft flies its burns under the forces chosen (``models/force_choice.py``), craft that stay from their place at
the epoch on; over the first whole turn of the ring after the last burn of the plan each craft's mean angle is taken
against its slot. The mean of these errors over all craft is the common shift, by which the ring as a whole is
elsewhere; what is left of each is its error in the spacing. Nothing is corrected for these forces.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ...models.burns import BurnModel, Impulsive
from ...models.errors import FlightError
from ...models.flight.flown import TURN_MARGIN, Flight, Itinerary
from ...models.flight.integrate import fly
from ...models.flight.slot_error import measure
from ...models.force_choice import Chosen, chosen_forces
from ...models.frames import in_plane_state, wrap
from ...models.oblateness import ring_state
from ...models.ring import Ring
from ...models.scenario import Scenario
from ..outcome import Kept, Outcome, Plan
from ..standing import Standing, UnderForces

RELATIVE = 1e-10
"""Error allowed in a step: under a ten-thousandth of a degree after a hundred turns (measured over Earth and Mars)."""

MOST_TURNS = 4000.0
"""A plan of more turns of the ring, summed over its craft, is not flown again: it would take minutes and 200 MB."""


def under_forces(outcome: Outcome, plan: Plan) -> UnderForces | None:
    """Fly a plan again under the forces of the scenario; None without ``[forces]``, and for an empty ring."""
    scenario, ring = outcome.scenario, outcome.ring
    if scenario.forces is None or not (plan.craft or outcome.kept):
        return None
    chosen = chosen_forces(scenario)
    at_s = max([plan.finish_s, *(part.in_slot_s for part in plan.craft)])
    # a long last burn ends after the moment of its impulse
    at_s += max((0.5 * (part.burns[-1].duration_s or 0.0) for part in plan.craft if part.burns), default=0.0)
    if at_s * (len(plan.craft) + len(outcome.kept)) > MOST_TURNS * ring.period_s:
        return UnderForces(chosen=chosen, craft=(), common_shift_rad=0.0, at_s=at_s, span_s=ring.period_s)
    end_s = at_s + TURN_MARGIN * ring.period_s
    surfaces = {craft.name: craft.surface for craft in scenario.craft}
    names, places, items, models = [], [], [], []
    for part in plan.craft:
        if part.itinerary is not None:
            names.append(part.craft)
            places.append((part.plane, part.slot))
            items.append(replace(part.itinerary, end_s=end_s, surface=surfaces[part.craft]))
            models.append(part.engine or Impulsive())
    for one in outcome.kept:
        names.append(one.craft)
        places.append((one.plane, one.slot))
        item = _staying(scenario, ring, one, end_s)
        items.append(replace(item, surface=surfaces.get(one.craft, item.surface)))
        models.append(Impulsive())
    found = [
        None if flight is None else _mean(flight, ring, place, at_s, scenario.body.radius_m)
        for flight, place in zip(_flights(items, chosen, models), places, strict=True)
    ]
    errors = [error for error, _ in (one for one in found if one is not None)]
    # around the first, so that errors near half a turn do not cancel
    shift = float(wrap(errors[0] + float(np.mean(wrap(np.array(errors) - errors[0]))))) if errors else 0.0
    craft = [
        Standing(craft=name, spacing_rad=None, period_error_s=None)
        if one is None
        else Standing(craft=name, spacing_rad=float(wrap(one[0] - shift)), period_error_s=one[1])
        for name, one in zip(names, found, strict=True)
    ]
    return UnderForces(chosen=chosen, craft=tuple(craft), common_shift_rad=shift, at_s=at_s, span_s=ring.period_s)


def _flights(items: Sequence[Itinerary], chosen: Chosen, models: Sequence[BurnModel]) -> list[Flight | None]:
    """All at once; one by one where a flight does not come through, so that the others do."""
    try:
        return list(fly(items, chosen.field, models, relative=RELATIVE))
    except FlightError:
        pass
    found: list[Flight | None] = []
    for item, model in zip(items, models, strict=True):
        try:
            found.extend(fly([item], chosen.field, [model], relative=RELATIVE))
        except FlightError:
            found.append(None)
    return found


def _mean(
    flight: Flight, ring: Ring, place: tuple[int, int], at_s: float, ground_m: float
) -> tuple[float, float] | None:
    """Slot error and period error over the turn; None where the craft has come down or does not come round."""
    if min(leg.lowest_m for leg in flight.legs()) < ground_m:
        return None
    try:
        seen = measure(flight, ring, *place, from_s=at_s)
    except FlightError:
        return None
    return seen.slot_error_rad, seen.period_error_s


def _staying(scenario: Scenario, ring: Ring, kept: Kept, end_s: float) -> Itinerary:
    """A craft that stays, from its place at the epoch on."""
    body = scenario.body
    angle = float(ring.phase(0.0, kept.slot, kept.plane)) + kept.error_rad
    node = ring.node(0.0, kept.plane)
    if body.j2 != 0.0:
        position, velocity = ring_state(body, ring.radius_m, angle, ring.inclination_rad, node)
    else:
        position, velocity = in_plane_state(ring.radius_m, angle, 0.0, ring.speed_m_s, ring.inclination_rad, node)
    return Itinerary(start_s=0.0, position=position, velocity=velocity, end_s=end_s)
