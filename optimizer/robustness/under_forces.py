"""A plan corrected for further forces than it was made for, and flown under them.

Every craft flies its burns under the forces chosen (``models/force_choice.py``), craft that stay from their place at
the epoch on; over a window of turns after the last burn of the plan each craft's mean angle is taken against its slot
under these forces (``models/reference.py``). The mean of these errors over all craft is the common shift, by which the
ring as a whole is elsewhere; what is left of each is its error in the spacing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from ...models.burns import BurnModel, Impulsive
from ...models.errors import FlightError
from ...models.flight.flown import Flight, Itinerary
from ...models.flight.integrate import fly_each
from ...models.flight.smooth_mean import measure_smoothly, window_s
from ...models.force_choice import Chosen, chosen_forces
from ...models.frames import wrap
from ...models.readouts import listed
from ...models.reference import RELATIVE
from ...models.ring import Ring
from ...models.scenario import Scenario
from ...models.surroundings import Surface
from ..outcome import Outcome, Plan
from ..standing import ForcedHold, Standing, UnderForces
from .alone import beside, of_itself
from .corrected_for_forces import END_MARGIN, ForForces, correct_for_forces, rebuilt, settled_s
from .frozen import frozen
from .hold_by_forces import LOOK_S, InRing, hold_by_forces
from .staying import slots_and_staying

MOST_TURNS = 4000.0
"""A plan of more turns of the ring, summed over its craft, is not flown again: it would take minutes and 200 MB."""


def under_forces(outcome: Outcome, plan: Plan) -> tuple[Plan, UnderForces] | None:
    """Correct a plan for the forces of the scenario and fly it under them.

    Craft that a carrier brings up keep their burns, since where they are dropped would move as well.

    Returns:
        The plan with its burns as corrected, and what became of it; None by the bulge alone, where no craft is in the
        ring, and where nobody asked for a hold and no force matters within the plan.
    """
    scenario, ring = outcome.scenario, outcome.ring
    if scenario.forces is None or not (plan.craft or outcome.kept):
        return None
    chosen = chosen_forces(scenario, plan.finish_s)
    if not (chosen.field.terms or scenario.ring.hold_wanted):
        return None
    at_s = settled_s(plan, scenario, ring)
    as_it_is = UnderForces(chosen=chosen, craft=(), common_shift_rad=0.0, at_s=at_s, span_s=window_s(ring))
    if at_s * (len(plan.craft) + len(outcome.kept)) > MOST_TURNS * ring.period_s:
        return plan, as_it_is
    end_s = at_s + window_s(ring) + END_MARGIN * ring.period_s
    kept = (*outcome.kept, *beside(outcome, plan))
    slots, staying = slots_and_staying(scenario, ring, kept, chosen.field, at_s, end_s, _sinking(scenario))
    nominal, staying = staying[len(outcome.kept) :], staying[: len(outcome.kept)]
    found: tuple[ForForces, ...] = ()
    if chosen.field.terms and not plan.carriers:
        found = correct_for_forces(plan, scenario, ring, slots, chosen.field, at_s)
    moving = _moving(scenario, plan, found, end_s)
    flights = fly_each([one.item for one in moving], chosen.field, [one.model for one in moving], relative=RELATIVE)
    asked = moving + [
        _Asked(one.kept.craft, (one.kept.plane, one.kept.slot), one.itinerary, Impulsive())
        for one in (*staying, *nominal)
    ]
    flights = (*flights, *(one.flight for one in (*staying, *nominal)))
    own = len(asked) - len(nominal)
    standing, shift = _standing(asked[:own], flights[:own], slots, at_s, scenario.body.radius_m)
    lost = any(one.spacing_rad is None for one in standing)
    made = plan
    if found and not lost:
        made = rebuilt(plan, scenario, slots, found, [f for f in flights if f is not None][: len(found)], at_s)
    if made.broken and not plan.broken:
        return plan, replace(as_it_is, breaks=tuple((one.craft, one.limit) for one in made.broken))
    return made, UnderForces(
        chosen=chosen,
        craft=standing,
        common_shift_rad=shift,
        at_s=at_s,
        span_s=window_s(slots),
        slots=slots,
        hold=None if lost else _held(scenario, chosen, slots, asked, flights, at_s, nominal=bool(nominal)),
        corrected=bool(found) and not lost,
        missed=tuple(one.part.craft for one in found if not one.met),
        added_m_s=made.delta_v_m_s - plan.delta_v_m_s,
        frozen=frozen(scenario.body, slots) if chosen.degree > 2 else None,
    )


def as_made(outcome: Outcome) -> Outcome:
    """An outcome with plan 1 as it was before it was corrected for further forces, for what flies by the bulge alone.

    Where that makes a difference its warnings say so.
    """
    made, given = outcome.made, outcome.scenario
    if made is None:
        return outcome
    plans = tuple(made if plan.rank == made.rank else plan for plan in outcome.plans)
    front = None if outcome.front is None else outcome.front.with_flown(made)
    return said_by_bulge(
        replace(outcome, scenario=replace(given, forces=None), plans=plans, front=front, under=None, made=None), given
    )


def said_by_bulge(outcome: Outcome, given: Scenario, more: str = "") -> Outcome:
    """An outcome planned by the bulge alone that says so in its warnings where further forces matter to its first plan.

    Args:
        given: the scenario as it was read.
        more: a sentence on where these forces count all the same.
    """
    said = by_bulge_words(given, outcome.plans[0]) if outcome.plans else ""
    if not said:
        return outcome
    scenario = outcome.scenario
    return replace(outcome, scenario=replace(scenario, warnings=(*scenario.warnings, f"{said} {more}".strip())))


def by_bulge_words(scenario: Scenario, plan: Plan) -> str:
    """That a plan is by the bulge alone, where plan 1 would be corrected for further forces; else nothing."""
    chosen = chosen_forces(scenario, plan.finish_s)
    if not (plan.craft and chosen.field.terms):
        return ""
    return (
        f"Planned and flown by the {chosen.flown[0]} alone; the command plan also corrects plan 1 for "
        f"{listed(list(chosen.flown[1:]))}."
    )


def _standing(
    asked: Sequence[_Asked], flights: Sequence[Flight | None], slots: Ring, at_s: float, ground_m: float
) -> tuple[tuple[Standing, ...], float]:
    """How all craft stand in the window, with the common shift taken off, and that shift, rad."""
    found = [
        None if flight is None else _mean(flight, slots, one.place, at_s, ground_m)
        for flight, one in zip(flights, asked, strict=True)
    ]
    errors = [error for error, _ in (one for one in found if one is not None)]
    # around the first, so that errors near half a turn do not cancel
    shift = float(wrap(errors[0] + float(np.mean(wrap(np.array(errors) - errors[0]))))) if errors else 0.0
    return tuple(
        Standing(craft=one.name, spacing_rad=None, period_error_s=None)
        if seen is None
        else Standing(craft=one.name, spacing_rad=float(wrap(seen[0] - shift)), period_error_s=seen[1])
        for one, seen in zip(asked, found, strict=True)
    ), shift


def _held(
    scenario: Scenario,
    chosen: Chosen,
    slots: Ring,
    asked: Sequence[_Asked],
    flights: Sequence[Flight | None],
    at_s: float,
    *,
    nominal: bool,
) -> ForcedHold | None:
    spec = scenario.ring
    craft = [
        InRing(name=one.name, place=one.place, flight=flight, surface=one.item.surface)
        for one, flight in zip(asked, flights, strict=True)
        if flight is not None
    ]
    try:
        found = hold_by_forces(
            slots,
            scenario.body,
            chosen.field,
            craft,
            at_s,
            tolerance_rad=spec.tolerance_rad,
            look_s=max(LOOK_S, spec.hold_for_s) if spec.hold_wanted else spec.hold_for_s,
            maintained=spec.with_drag == "maintained",
            floor_m=scenario.floor_m,
            ground=None if spec.longitude_rad is None else scenario.body.prime_meridian_rad,
            nominal=nominal,
        )
    except FlightError:
        return None
    return of_itself(found) if nominal else found


def _sinking(scenario: Scenario) -> Surface:
    """The surface of the reference: none where altitude is maintained, else the mean of the craft's."""
    if scenario.ring.with_drag == "maintained":
        return Surface()
    found = [craft.surface for craft in scenario.craft]
    return Surface(
        drag_m2_kg=math.fsum(one.drag_m2_kg for one in found) / len(found),
        light_m2_kg=math.fsum(one.light_m2_kg for one in found) / len(found),
    )


class _Asked(NamedTuple):
    """A craft to be flown: its name, place (plane, slot), itinerary and burn model."""

    name: str
    place: tuple[int, int]
    item: Itinerary
    model: BurnModel


def _moving(scenario: Scenario, plan: Plan, found: Sequence[ForForces], end_s: float) -> list[_Asked]:
    """Those that move, as corrected where they are."""
    surfaces = {craft.name: craft.surface for craft in scenario.craft}
    own = {one.part.craft: one.itinerary for one in found}
    asked = []
    for part in plan.craft:
        if part.itinerary is not None:
            item = replace(own.get(part.craft, part.itinerary), end_s=end_s, surface=surfaces[part.craft])
            asked.append(_Asked(part.craft, (part.plane, part.slot), item, part.engine or Impulsive()))
    return asked


def _mean(
    flight: Flight, ring: Ring, place: tuple[int, int], at_s: float, ground_m: float
) -> tuple[float, float] | None:
    """Slot error and period error over the span; None where the craft has come down or does not come round."""
    if min(leg.lowest_m for leg in flight.legs()) < ground_m:
        return None
    try:
        seen = measure_smoothly(flight, ring, *place, at_s)
    except FlightError:
        return None
    return seen.slot_error_rad, seen.period_error_s
