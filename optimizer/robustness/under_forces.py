"""A plan corrected for further forces than it was made for, and flown under them.

Every craft flies its burns under the forces chosen (``models/force_choice.py``), craft that stay from their place at
the epoch on; over a window of turns after the last burn of the plan each craft's mean angle is taken against its slot
under these forces (``models/reference.py``). The mean of these errors over all craft is the common shift, by which the
ring as a whole is elsewhere; what is left of each is its error in the spacing.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
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
from ..outcome import Kept, Outcome, Plan
from ..standing import ForcedHold, Standing, UnderForces
from .alone import beside, of_itself
from .corrected_for_forces import END_MARGIN, ForForces, correct_for_forces, rebuilt, settled_s, surface_of
from .frozen import frozen
from .hold_by_forces import LOOK_S, InRing, hold_by_forces
from .staying import Stays, slots_and_staying

MOST_TURNS = 4000.0
"""A plan of more turns of the ring, summed over its craft, is not flown again: it would take minutes and 200 MB."""


NOWHERE: Mapping[str, float] = {}

SAME_S = 1.0
"""Craft that are done so little after the window of another plan has begun are measured in that window."""


@dataclass(frozen=True, kw_only=True)
class Again:
    """What is known of a plan that is what is left of another one, for the same ring under the same forces.

    Args:
        like: what came of the other one.
        off_rad: craft that are to stand beside their slots, by how much.
        as_planned: craft that go on with their burns of the other one, which are corrected already.
    """

    like: UnderForces
    off_rad: Mapping[str, float]
    as_planned: Collection[str]

    def known(self, plan: Plan, kept: Sequence[Kept]) -> tuple[Standing, ...]:
        """Craft whose standing is that of the other one, the common shift not taken off."""
        there = {one.craft for one in kept} | {part.craft for part in plan.craft if part.craft in self.as_planned}
        return tuple(
            replace(one, spacing_rad=one.spacing_rad + self.like.common_shift_rad)
            for one in self.like.craft
            if one.craft in there and one.spacing_rad is not None
        )


def under_forces(
    outcome: Outcome, plan: Plan, *, again: Again | None = None, holds: bool = True
) -> tuple[Plan, UnderForces] | None:
    """Correct a plan for the forces of the scenario and fly it under them.

    Craft that a carrier brings up keep their burns, since where they are dropped would move as well.

    Args:
        again: of what plan this is the rest; then forces and slots are those of that.
        holds: whether to look how long the spacing holds.

    Returns:
        The plan with its burns as corrected, and what became of it; None by the bulge alone, where no craft is in the
        ring, and where nobody asked for a hold and no force matters within the plan.
    """
    scenario, ring = outcome.scenario, outcome.ring
    if scenario.forces is None or not (plan.craft or outcome.kept):
        return None
    chosen = chosen_forces(scenario, plan.finish_s) if again is None else again.like.chosen
    if not (chosen.field.terms or scenario.ring.hold_wanted):
        return None
    nominal = _nominal(scenario) if again is None else again.like.nominal
    at_s = settled_s(plan, scenario, ring, () if again is None else again.as_planned)
    as_it_is = UnderForces(
        chosen=chosen, craft=(), common_shift_rad=0.0, at_s=at_s, span_s=window_s(ring), nominal=nominal
    )
    if at_s * (len(plan.craft) + len(outcome.kept)) > MOST_TURNS * ring.period_s:
        return plan, as_it_is
    known: tuple[Standing, ...] = ()
    moved, staying = plan.craft, outcome.kept
    slots = None if again is None or at_s > again.like.at_s + SAME_S else again.like.slots
    if again is not None and slots is not None:
        at_s, known = again.like.at_s, again.known(plan, outcome.kept)
        names = {one.craft for one in known}
        moved = tuple(part for part in moved if part.craft not in names)
        staying = tuple(one for one in staying if one.craft not in names)
    flown = _flown(outcome, replace(plan, craft=moved), staying, slots, replace(as_it_is, at_s=at_s), again)
    return _with_flights(outcome, plan, flown, known, holds)


class _Flown(NamedTuple):
    """What was flown under the forces, those that move first: corrections, who was asked, and the flights."""

    slots: Ring
    found: tuple[ForForces, ...]
    asked: list[_Asked]
    flights: tuple[Flight | None, ...]
    as_it_is: UnderForces
    nominal: int  # of those asked, at the end: nominal craft beside one that is alone


def _flown(
    outcome: Outcome,
    plan: Plan,
    kept: Sequence[Kept],
    slots: Ring | None,
    as_it_is: UnderForces,
    again: Again | None,
) -> _Flown:
    """Correct and fly the craft of a plan, and those that stay."""
    scenario, ring, field, at_s = outcome.scenario, outcome.ring, as_it_is.chosen.field, as_it_is.at_s
    end_s = at_s + window_s(ring) + END_MARGIN * ring.period_s
    # a craft by itself is held against a nominal one beside it
    alone = beside(outcome, plan) if again is None else ()
    staying: tuple[Stays, ...] = ()
    if slots is None or kept or alone:
        there, staying = slots_and_staying(scenario, ring, (*kept, *alone), field, at_s, end_s, as_it_is.nominal)
        slots = there if slots is None else slots
    found: tuple[ForForces, ...] = ()
    if field.terms and not plan.carriers:
        off, as_planned = (NOWHERE, ()) if again is None else (again.off_rad, again.as_planned)
        found = correct_for_forces(plan, scenario, ring, slots, field, at_s, off, as_planned)
    moving = _moving(scenario, plan, found, end_s)
    flights = fly_each([one.item for one in moving], field, [one.model for one in moving], relative=RELATIVE)
    asked = moving + [
        _Asked(one.kept.craft, (one.kept.plane, one.kept.slot), one.itinerary, Impulsive()) for one in staying
    ]
    return _Flown(slots, found, asked, (*flights, *(one.flight for one in staying)), as_it_is, len(alone))


def _with_flights(
    outcome: Outcome, plan: Plan, flown: _Flown, known: Sequence[Standing], holds: bool
) -> tuple[Plan, UnderForces]:
    """The plan with its burns as corrected, and how all craft stand."""
    scenario, (slots, found, asked, flights, as_it_is, nominal) = outcome.scenario, flown
    chosen, at_s, own = as_it_is.chosen, as_it_is.at_s, len(asked) - nominal
    standing, shift = _standing(asked[:own], flights[:own], slots, at_s, scenario.body.radius_m, known)
    lost = any(one.spacing_rad is None for one in standing)
    made = plan
    if found and not lost:
        made = rebuilt(plan, scenario, slots, found, [f for f in flights if f is not None][: len(found)], at_s)
    if made.broken and not plan.broken:
        return plan, replace(as_it_is, breaks=tuple((one.craft, one.limit) for one in made.broken))
    return made, replace(
        as_it_is,
        craft=standing,
        common_shift_rad=shift,
        span_s=window_s(slots),
        slots=slots,
        hold=None
        if lost or len(asked) < 2 or not holds
        else _held(scenario, chosen, slots, asked, flights, at_s, nominal=bool(nominal)),
        corrected=bool(found or known) and not lost,
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


BY_BULGE = "Planned and flown by the "
"""With this begins what is said of a plan that leaves out forces that matter to it."""


def said_by_bulge(outcome: Outcome, given: Scenario) -> Outcome:
    """An outcome planned by the bulge alone that says so in its warnings where further forces matter to its first plan.

    Args:
        given: the scenario as it was read.
    """
    said = by_bulge_words(given, outcome.plans[0]) if outcome.plans else ""
    if not said:
        return outcome
    scenario = outcome.scenario
    return replace(outcome, scenario=replace(scenario, warnings=(*scenario.warnings, said)))


def by_bulge_words(scenario: Scenario, plan: Plan) -> str:
    """That a plan is by the bulge alone, where plan 1 would be corrected for further forces; else nothing."""
    chosen = chosen_forces(scenario, plan.finish_s)
    if not (plan.craft and chosen.field.terms):
        return ""
    return (
        f"{BY_BULGE}{chosen.flown[0]} alone; the command plan also corrects plan 1 for "
        f"{listed(list(chosen.flown[1:]))}."
    )


def _standing(
    asked: Sequence[_Asked],
    flights: Sequence[Flight | None],
    slots: Ring,
    at_s: float,
    ground_m: float,
    known: Sequence[Standing],
) -> tuple[tuple[Standing, ...], float]:
    """How all craft stand in the window, with the common shift taken off, and that shift, rad."""
    found = []
    for flight, one in zip(flights, asked, strict=True):
        seen = None if flight is None else _mean(flight, slots, one.place, at_s, ground_m)
        error, period_s = (None, None) if seen is None else seen
        found.append(Standing(craft=one.name, spacing_rad=error, period_error_s=period_s))
    found += known
    errors = [one.spacing_rad for one in found if one.spacing_rad is not None]
    # around the first, so that errors near half a turn do not cancel
    shift = float(wrap(errors[0] + float(np.mean(wrap(np.array(errors) - errors[0]))))) if errors else 0.0
    return tuple(
        one if one.spacing_rad is None else replace(one, spacing_rad=float(wrap(one.spacing_rad - shift)))
        for one in found
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


def _nominal(scenario: Scenario) -> Surface:
    """The surface of the nominal craft: none where altitude is maintained, else the mean of the craft's."""
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
    own = {one.part.craft: one.itinerary for one in found}
    asked = []
    for part in plan.craft:
        if part.itinerary is not None:
            item = replace(own.get(part.craft, part.itinerary), end_s=end_s, surface=surface_of(part, scenario))
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
