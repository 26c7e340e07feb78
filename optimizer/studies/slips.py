"""What a slip of each launch costs, and the loss of each craft: on the pad, or dead in its slot.

Every answer is a new plan, best by the scenario's goal over the catalogue (flown for its liftoff only): all that
is still to be launched may take other slots and moments, except that a slip changes nothing for what has gone up
before. After a loss the ring is either spread evenly over those that are left, craft that stay among them, or its gap
waits for a spare.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from ...models.deadline import OutOfTimeError
from ...models.scenario import Aim, Craft, Occupied, RingSpec, Scenario
from ..choice.ring_phase import BROKEN_IN_FLIGHT, best_phase
from ..craft_plan import CraftPlan
from ..outcome import Outcome, Plan
from ..problem.ring_phase import problems
from .respace import Place, loosened, moving, on_the_ring, respaced

Progress = Callable[[str], None]

EARLY_S = 1.0
"""Launches at most this much before a slipped one have gone up when it slips."""


@dataclass(frozen=True, kw_only=True)
class Price:
    """What a plan comes to: total delta-v of all that is planned, latest finish; and the liftoff asked about, if any.

    ``delta_v_m_s`` counts craft only. Times from the scenario's epoch; the liftoff is that of the flight.
    """

    delta_v_m_s: float
    finish_s: float
    liftoff_s: float | None = None


@dataclass(frozen=True, kw_only=True)
class Slip:
    """One launch, late by so much: the best plan then, None where no plan keeps the limits."""

    late_s: float
    price: Price | None


@dataclass(frozen=True, kw_only=True)
class Loss:
    """A craft lost, on the pad or in its slot.

    Args:
        in_orbit: dead in its slot after all craft are in place; else on the pad.
        gap: the rest of the plan with its slot left empty; in orbit nothing is left to do.
        spread: the ring re-spaced for those that are left, from the beginning (on the pad) or from the last arrival
            (in orbit), craft that stay moved, too; None where no plan keeps the limits, or for another reason.
        spare: another craft like it, launched no sooner than ``spare_after_s`` after it was, whatever the latest
            finish; None where no plan keeps the other limits.
        why_not_spread: in words, where there is a reason other than the limits.
    """

    in_orbit: bool
    gap: Price | None
    spread: Price | None
    spare: Price | None
    why_not_spread: str = ""


@dataclass(frozen=True, kw_only=True)
class Launch:
    """What slips and losses do to one craft, or to one carrier with all of its craft."""

    name: str
    craft: tuple[str, ...]
    planned_s: float | None
    slips: tuple[Slip, ...]
    losses: tuple[Loss, ...]


@dataclass(frozen=True, kw_only=True)
class Slips:
    """The answer for a scenario: the plan it is about, and each launch in turn.

    Args:
        flown: the plan as it is printed elsewhere, corrected by its flight.
        planned: what the others are set against: the same plan by the catalogue, where it is the best one.
    """

    scenario: Scenario
    flown: Price
    planned: Price
    launches: tuple[Launch, ...]
    spare_after_s: float
    rank: int = 1


def make_slips(
    outcome: Outcome,
    late_s: tuple[float, ...],
    spare_after_s: float,
    only: frozenset[str] = frozenset(),
    progress: Progress = lambda _: None,
) -> Slips:
    """Slips and losses for the first plan of an outcome.

    Args:
        outcome: of planning; it must have a plan.
        late_s: slips to look at.
        spare_after_s: how long after the liftoff of a lost craft its spare can be launched; for one that dies in orbit,
            how long after the last arrival.
        only: craft or carriers to look at; all where it is empty.
    """
    plan, scenario = outcome.plans[0], outcome.scenario
    fixed = replace(scenario, ring=replace(scenario.ring, slot0_rad=outcome.ring.slot0_rad))
    flown = Price(delta_v_m_s=plan.delta_v_m_s, finish_s=plan.finish_s)
    # another plan than the best one is taken as it was flown
    planned = _best(fixed, progress, ()) if plan.rank == 1 else flown
    if planned is None:
        raise RuntimeError("a plan with the ring's phase free, but none with the phase it took: a fault of ours")
    groups: dict[str, list[CraftPlan]] = {}
    for part in sorted(plan.craft, key=lambda p: (math.inf if p.launch_s is None else p.launch_s, p.craft)):
        groups.setdefault(part.carrier or part.craft, []).append(part)
    launches = []
    for name, parts in groups.items():
        names = tuple(part.craft for part in parts)
        if only and name not in only and not only & set(names):
            continue
        launches.append(
            Launch(
                name=name,
                craft=names,
                planned_s=parts[0].launch_s,
                slips=tuple(_slip(fixed, plan, names, late, progress) for late in late_s)
                if parts[0].launch_s is not None
                else (),
                losses=tuple(
                    loss for part in parts for loss in _losses(outcome, fixed, plan, part, spare_after_s, progress)
                ),
            )
        )
    return Slips(
        scenario=scenario,
        flown=flown,
        planned=planned,
        launches=tuple(launches),
        spare_after_s=spare_after_s,
        rank=plan.rank,
    )


def _best(scenario: Scenario, progress: Progress, asked: tuple[str, ...]) -> Price | None:
    """The best plan by the catalogue, with the first liftoff of some craft; None where no plan keeps the limits.

    Raises:
        OutOfTimeError: the search ended before it found one.
    """
    if not any(not craft.stay for craft in scenario.craft):
        return Price(delta_v_m_s=0.0, finish_s=0.0)
    laid = best_phase(problems(scenario), scenario.minimize, progress)
    selection, best = laid.selection, laid.best
    if best is None and laid.late and laid.late != BROKEN_IN_FLIGHT:
        raise OutOfTimeError(laid.late)  # nothing found so far does not mean that there is nothing
    if best is None:
        return None
    options = best.options
    liftoffs = []
    for index, group in enumerate(selection.made.problem.classes):
        if set(group.names) & set(asked):
            liftoffs += selection.liftoffs.flown(options.take(options.craft_class == index)).tolist()
    return Price(
        delta_v_m_s=math.fsum(options.delta_v_m_s.tolist()),
        finish_s=float(options.finish_s.max()),
        liftoff_s=min(liftoffs, default=None),
    )


def _slip(scenario: Scenario, plan: Plan, names: tuple[str, ...], late_s: float, progress: Progress) -> Slip:
    """The best plan where one launch is so much later, and whatever went up before it keeps its slot."""
    progress(f"{names[0]} late by {late_s / 3600.0:g} h")
    first = min(part.launch_s for part in plan.craft if part.craft in names and part.launch_s is not None)
    earlier = [
        part
        for part in plan.craft
        if part.launch_s is not None and part.launch_s < first - EARLY_S and part.craft not in names
    ]
    spent = math.fsum(part.delta_v_m_s for part in earlier)
    finish = max((part.in_slot_s for part in earlier), default=0.0)
    gone = {part.craft for part in earlier}
    # a pad is free again a turnaround after its last launch
    pads = tuple(
        replace(
            pad,
            ready_s=max(
                [pad.ready_s]
                + [part.launch_s + pad.turnaround_s for part in earlier if part.pad == pad.name and part.launch_s]
            ),
        )
        for pad in scenario.pads
    )
    craft = tuple(
        replace(one, ready_s=max(one.ready_s, first + late_s)) if one.name in names else one
        for one in scenario.craft
        if one.name not in gone
    )
    carriers = tuple(c for c in scenario.carriers if not set(c.craft) & gone)
    left = replace(scenario, craft=craft, pads=pads, carriers=carriers, ring=_holding(scenario, earlier))
    found = _best(left, progress, names)
    if found is None:
        return Slip(late_s=late_s, price=None)
    price = Price(
        delta_v_m_s=found.delta_v_m_s + spent, finish_s=max(found.finish_s, finish), liftoff_s=found.liftoff_s
    )
    return Slip(late_s=late_s, price=price)


def _holding(scenario: Scenario, parts: list[CraftPlan]) -> RingSpec:
    """The ring with some craft of the plan in their slots for good."""
    held = tuple(Occupied(name=part.craft, slot=part.slot, plane=part.plane) for part in parts)
    return replace(scenario.ring, occupied=(*scenario.ring.occupied, *held))


def _losses(
    outcome: Outcome, scenario: Scenario, plan: Plan, part: CraftPlan, spare_after_s: float, progress: Progress
) -> list[Loss]:
    losses = []
    if part.launch_s is not None:
        progress(f"{part.craft} lost on the pad")
        losses.append(_on_pad(scenario, part, spare_after_s, progress))
    progress(f"{part.craft} lost in orbit")
    losses.append(_in_orbit(outcome, scenario, plan, part, spare_after_s, progress))
    return losses


def _without(scenario: Scenario, name: str) -> Scenario:
    carriers = tuple(replace(c, craft=tuple(n for n in c.craft if n != name)) for c in scenario.carriers)
    return replace(
        scenario,
        craft=tuple(one for one in scenario.craft if one.name != name),
        carriers=tuple(c for c in carriers if c.craft),
    )


def _fewer_slots(scenario: Scenario) -> tuple[Scenario | None, str]:
    """The ring with one slot less, its phase free; why not, where that cannot be."""
    ring = scenario.ring
    if ring.planes > 1:
        return None, "a pattern of several planes is not re-spaced for one craft less"
    if ring.longitude_rad is not None:
        return None, "slots that stay over the ground are where they are"
    if ring.slots < 2:
        return None, "no craft is left"
    fewer = replace(ring, slots=ring.slots - 1, pattern_rad=(), leave_free=(), slot0_rad=None, occupied=())
    return replace(scenario, ring=fewer, craft=_all_moving(scenario), minimize=_aim(scenario)), ""


def _all_moving(scenario: Scenario) -> tuple[Craft, ...]:
    """The craft of a scenario, and those that are in its ring, those that stay as craft that may move."""
    stays = tuple(moving(place) for place in loosened(scenario))
    return (*stays, *(one for one in scenario.craft if not one.stay))


def _aim(scenario: Scenario) -> Aim:
    """The goal; delta-v in place of propellant where craft that stay have no masses."""
    bare = scenario.ring.occupied or any(one.stay and one.dry_mass_kg is None for one in scenario.craft)
    return "delta_v" if bare and scenario.minimize == "propellant" else scenario.minimize


def _on_pad(scenario: Scenario, part: CraftPlan, spare_after_s: float, progress: Progress) -> Loss:
    rest = _without(scenario, part.craft)
    fewer, why = _fewer_slots(rest)
    ready = (part.launch_s or 0.0) + spare_after_s
    spare = tuple(
        replace(one, ready_s=max(one.ready_s, ready), carrier=None) if one.name == part.craft else one
        for one in scenario.craft
    )
    unhurried = replace(scenario.limits, finish_within_s=math.inf)
    return Loss(
        in_orbit=False,
        gap=_best(rest, progress, ()),
        spread=None if fewer is None else _best(fewer, progress, ()),
        spare=_best(replace(rest, craft=spare, limits=unhurried), progress, (part.craft,)),
        why_not_spread=why,
    )


def _in_orbit(
    outcome: Outcome, scenario: Scenario, plan: Plan, part: CraftPlan, spare_after_s: float, progress: Progress
) -> Loss:
    """After the last arrival: all other craft in their slots, with what propellant the plan leaves."""
    ring, now = outcome.ring, plan.finish_s
    parts = {p.craft: p for p in plan.craft}
    there = list(loosened(scenario, now))
    for one in scenario.craft:
        if one.name == part.craft or one.stay:
            continue
        at = parts[one.name]
        place = on_the_ring(ring, float(ring.phase(now, at.slot, at.plane)), now, at.plane)
        tank = one.propellant_kg if at.propellant_left_kg is None else at.propellant_left_kg
        there.append(Place(craft=replace(one, propellant_kg=tank), orbit=place, ready_s=now))
    limits = replace(scenario.limits, finish_within_s=math.inf)
    fewer, why = _fewer_slots(_without(scenario, part.craft))
    if fewer is not None:
        fewer = replace(respaced(scenario, ring, there, fewer.ring.slots), limits=limits, minimize="delta_v")
    others = [p for p in plan.craft if p.craft != part.craft]
    lost = next(one for one in scenario.craft if one.name == part.craft)
    spare, price = replace(lost, ready_s=now + spare_after_s, orbit=None, carrier=None), None
    if scenario.pads and part.launch_s is not None:
        waits = replace(scenario, craft=(spare,), carriers=(), ring=_holding(scenario, others), limits=limits)
        price = _best(waits, progress, (part.craft,))
    return Loss(
        in_orbit=True,
        gap=Price(delta_v_m_s=0.0, finish_s=now),
        spread=None if fewer is None else _best(fewer, progress, ()),
        spare=price,
        why_not_spread=why,
    )
