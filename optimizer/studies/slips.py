"""What a slip of each launch costs, and the loss of each craft: on the pad, or dead in its slot.

Every answer is a new plan, best by the scenario's goal over the catalogue (flown for its liftoff only): all that is
still to be launched may take other slots and moments, except that a slip changes nothing for what has gone up before.
After a loss the ring is either spread evenly over those that are left, craft that stay among them, or its gap waits
for a spare. Of several planes the one that it was to be in, or is dead in, is spread by itself. Each question gets
its part of the time that is left; one that no answer was found for in it is marked as not reached.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from ...models.ring import Ring
from ...models.scenario import Aim, Craft, Occupied, Pad, RingSpec, Scenario
from ..craft_plan import CraftPlan
from ..outcome import Outcome, Plan
from .call_up import call_scenario
from .questions import NONE_LEFT, UNREACHED, Found, Price, Questions
from .respace import Place, loosened, moving, of_plane, on_the_ring, respaced, standing_after

Progress = Callable[[str], None]

ON_PAD_AND_IN_ORBIT = 5
"""Questions about the loss of a craft: gap, spread and spare on the pad, spread and spare in orbit."""

EARLY_S = 1.0
"""Launches at most this much before a slipped one have gone up when it slips."""


@dataclass(frozen=True, kw_only=True)
class Slip:
    """One launch, late by so much: the best plan then, None where no plan keeps the limits.

    Without ``reached`` the search was ended before that was known.
    """

    late_s: float
    price: Price | None
    reached: bool = True


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
        caller, called: in orbit, which spare of those that are up would be called, and what that comes to, by the goal;
            None where no plan keeps the limits, or none is up in its plane.
        why_not_spread, why_no_spare: in words, where there is a reason other than the limits.
        unreached: which of ``gap``, ``spread``, ``spare`` and ``called`` are None because the search was ended before.
    """

    in_orbit: bool
    gap: Price | None
    spread: Price | None
    spare: Price | None
    called: Price | None = None
    caller: str = ""
    why_not_spread: str = ""
    why_no_spare: str = ""
    unreached: frozenset[str] = frozenset()


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
        planned: what the others are set against: the same plan by the catalogue, where it is the best one; as flown
            where it is another, or without ``planned_reached``.
        planning: what the search for the plan itself did not reach, in words.
        asked, reached, searched: questions, those with an answer, and those of them whose search came to its end.
    """

    scenario: Scenario
    flown: Price
    planned: Price
    launches: tuple[Launch, ...]
    spare_after_s: float
    rank: int = 1
    planned_reached: bool = True
    planning: str = ""
    asked: int = 0
    reached: int = 0
    searched: int = 0

    @property
    def unfinished(self) -> str:
        """What was not reached because the search was ended, in words; empty where everything asked for is there."""
        said = [f"planning: {self.planning}"] if self.planning else []
        if self.reached < self.asked:
            said.append(f"{self.asked - self.reached} of {self.asked} questions were not reached")
        if self.searched < self.reached:
            count = self.reached - self.searched
            plans = "1 plan is" if count == 1 else f"{count} plans are"
            said.append(f"{plans} the best found by then, where a better one may exist")
        if not self.planned_reached:
            said.append("differences are from the plan as flown, whose figure by the catalogue was not reached")
        return "; ".join(said)


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
    groups = _launches(plan, only)
    ask = Questions(_count(groups, len(late_s), len(scenario.spares)), progress)
    # another plan than the best one is taken as it was flown
    planned = ask(fixed) if plan.rank == 1 else Found(flown)
    if planned.reached and planned.price is None:
        raise RuntimeError("a plan with the ring's phase free, but none with the phase it took: a fault of ours")
    launches = []
    for name, parts in groups.items():
        names = tuple(part.craft for part in parts)
        slipped = late_s if parts[0].launch_s is not None else ()
        slips = tuple(_slip(fixed, plan, names, late, ask) for late in slipped)
        lost = [loss for part in parts for loss in _losses(outcome, fixed, plan, part, spare_after_s, ask)]
        launches.append(Launch(name=name, craft=names, planned_s=parts[0].launch_s, slips=slips, losses=tuple(lost)))
    return Slips(
        scenario=scenario,
        flown=flown,
        planned=planned.price or flown,
        launches=tuple(launches),
        spare_after_s=spare_after_s,
        rank=plan.rank,
        planned_reached=planned.reached,
        planning=outcome.unfinished,
        asked=ask.asked,
        reached=ask.reached,
        searched=ask.searched,
    )


def _launches(plan: Plan, only: frozenset[str]) -> dict[str, list[CraftPlan]]:
    """What lifts off at once, in the order of liftoffs, by the name of the carrier or the craft."""
    groups: dict[str, list[CraftPlan]] = {}
    for part in sorted(plan.craft, key=lambda p: (math.inf if p.launch_s is None else p.launch_s, p.craft)):
        groups.setdefault(part.carrier or part.craft, []).append(part)
    return {name: parts for name, parts in groups.items() if not only or only & {name, *(part.craft for part in parts)}}


def _count(groups: dict[str, list[CraftPlan]], slips: int, spares: int) -> int:
    """How many questions there are at most."""
    launched = sum(parts[0].launch_s is not None for parts in groups.values())
    return 1 + slips * launched + (ON_PAD_AND_IN_ORBIT + spares) * sum(map(len, groups.values()))


def _slip(scenario: Scenario, plan: Plan, names: tuple[str, ...], late_s: float, ask: Questions) -> Slip:
    """The best plan where one launch is so much later, and whatever went up before it keeps its slot."""
    ask.progress(f"{names[0]} late by {late_s / 3600.0:g} h")
    first = min(part.launch_s for part in plan.craft if part.craft in names and part.launch_s is not None)
    earlier = [
        part
        for part in plan.craft
        if part.launch_s is not None and part.launch_s < first - EARLY_S and part.craft not in names
    ]
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
    found, reached = ask(left, names)
    if found is None:
        return Slip(late_s=late_s, price=None, reached=reached)
    return Slip(late_s=late_s, price=_with(found, earlier))


def _with(price: Price, parts: Sequence[CraftPlan]) -> Price:
    """What a plan comes to with some craft that fly as they were planned."""
    spent = math.fsum(part.delta_v_m_s for part in parts)
    finish = max((part.in_slot_s for part in parts), default=0.0)
    return replace(price, delta_v_m_s=price.delta_v_m_s + spent, finish_s=max(price.finish_s, finish))


def _holding(scenario: Scenario, parts: list[CraftPlan]) -> RingSpec:
    """The ring with some craft of the plan in their slots for good."""
    held = tuple(Occupied(name=part.craft, slot=part.slot, plane=part.plane) for part in parts)
    return replace(scenario.ring, occupied=(*scenario.ring.occupied, *held))


def _losses(
    outcome: Outcome, scenario: Scenario, plan: Plan, part: CraftPlan, spare_after_s: float, ask: Questions
) -> list[Loss]:
    losses = []
    if part.launch_s is not None:
        ask.progress(f"{part.craft} lost on the pad")
        losses.append(_on_pad(outcome, scenario, plan, part, spare_after_s, ask))
    ask.progress(f"{part.craft} lost in orbit")
    losses.append(_in_orbit(outcome, scenario, plan, part, spare_after_s, ask))
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
    if ring.longitude_rad is not None:
        return None, "slots that stay over the ground are where they are"
    if ring.slots < 2:
        return None, "no craft is left"
    fewer = replace(ring, slots=ring.slots - 1, pattern_rad=(), leave_free=(), slot0_rad=None, occupied=())
    return replace(scenario, ring=fewer, craft=_all_moving(scenario), minimize=_aim(scenario)), ""


def _plane_on_pad(scenario: Scenario, ring: Ring, plan: Plan, lost: CraftPlan) -> tuple[Scenario | None, str]:
    """The plane of a craft lost on the pad as a ring of one slot less; all that go to other planes fly as planned."""
    beside = [part for part in plan.craft if part.plane != lost.plane]
    names = {part.craft for part in plan.craft} - {part.craft for part in beside}
    own = [one for one in scenario.craft if one.name in names - {lost.craft}]
    if ring.slots < 2:
        return None, "no craft is left in its plane"
    if scenario.carriers or any(one.orbit is not None and one.orbit.plane != lost.plane for one in own):
        return None, "craft of its plane come on carriers or from another plane, so the plane is no ring by itself"
    alone, stays = of_plane(ring, loosened(scenario), lost.plane)
    moved = [
        one if one.orbit is None else replace(one, orbit=replace(one.orbit, plane=0)) for one in own if not one.stay
    ]
    made = respaced(scenario, alone, stays, ring.slots - 1)
    pads = tuple(_kept_free(pad, beside) for pad in scenario.pads)
    return replace(made, craft=(*made.craft, *moved), pads=pads, minimize=_aim(scenario)), ""


def _kept_free(pad: Pad, parts: Sequence[CraftPlan]) -> Pad:
    """A site with the time that some launches of a plan take there closed to others."""
    wait = pad.turnaround_s
    taken = tuple(
        (part.launch_s - wait, part.launch_s + wait)
        for part in parts
        if part.pad == pad.name and part.launch_s is not None
    )
    return replace(pad, blackouts_s=(*pad.blackouts_s, *taken))


def _all_moving(scenario: Scenario) -> tuple[Craft, ...]:
    """The craft of a scenario, and those that are in its ring, those that stay as craft that may move."""
    stays = tuple(moving(place) for place in loosened(scenario))
    return (*stays, *(one for one in scenario.craft if not one.stay))


def _aim(scenario: Scenario) -> Aim:
    """The goal; delta-v in place of propellant where craft that stay have no masses."""
    bare = scenario.ring.occupied or any(one.stay and one.dry_mass_kg is None for one in scenario.craft)
    return "delta_v" if bare and scenario.minimize == "propellant" else scenario.minimize


def _loss(
    *,
    in_orbit: bool,
    gap: Found,
    spread: Found,
    spare: Found,
    called: Found = NONE_LEFT,
    caller: str = "",
    why: str,
    alone: str = "",
) -> Loss:
    each = (("gap", gap), ("spread", spread), ("spare", spare), ("called", called))
    unreached = [name for name, one in each if not one.reached]
    return Loss(
        in_orbit=in_orbit,
        gap=gap.price,
        spread=spread.price,
        spare=spare.price,
        called=called.price,
        caller=caller,
        why_not_spread=why,
        why_no_spare=alone,
        unreached=frozenset(unreached),
    )


def _on_pad(
    outcome: Outcome, scenario: Scenario, plan: Plan, part: CraftPlan, spare_after_s: float, ask: Questions
) -> Loss:
    rest, planes = _without(scenario, part.craft), scenario.ring.planes > 1
    fewer, why = _plane_on_pad(scenario, outcome.ring, plan, part) if planes else _fewer_slots(rest)
    spread = NONE_LEFT if fewer is None else ask(fewer)
    if planes and spread.price is not None:
        beside = [one for one in plan.craft if one.plane != part.plane]
        spread = Found(_with(spread.price, beside))
    ready = (part.launch_s or 0.0) + spare_after_s
    spare = tuple(
        replace(one, ready_s=max(one.ready_s, ready), carrier=None) if one.name == part.craft else one
        for one in scenario.craft
    )
    unhurried = replace(scenario.limits, finish_within_s=math.inf)
    return _loss(
        in_orbit=False,
        gap=ask(rest),
        spread=spread,
        spare=ask(replace(rest, craft=spare, limits=unhurried), (part.craft,)),
        why=why,
    )


def _in_orbit(
    outcome: Outcome, scenario: Scenario, plan: Plan, part: CraftPlan, spare_after_s: float, ask: Questions
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
        alone, inside = of_plane(ring, there, part.plane)
        fewer = replace(respaced(scenario, alone, inside, fewer.ring.slots), limits=limits, minimize="delta_v")
    others = [p for p in plan.craft if p.craft != part.craft]
    lost = next(one for one in scenario.craft if one.name == part.craft)
    spare, waiting = replace(lost, ready_s=now + spare_after_s, orbit=None, carrier=None), NONE_LEFT
    launched = bool(scenario.pads) and part.launch_s is not None
    if launched:
        waits = replace(scenario, craft=(spare,), carriers=(), ring=_holding(scenario, others), limits=limits)
        waiting = ask(waits, (part.craft,))
    caller, called = _called(outcome, plan, part, ask)
    return _loss(
        in_orbit=True,
        gap=Found(Price(delta_v_m_s=0.0, finish_s=now)),
        spread=NONE_LEFT if fewer is None else ask(fewer),
        spare=waiting,
        called=called,
        caller=caller,
        why=why,
        alone="" if launched else "the craft is not launched in this scenario, and neither is a spare",
    )


def _called(outcome: Outcome, plan: Plan, part: CraftPlan, ask: Questions) -> tuple[str, Found]:
    """Which spare that is up would be called into the slot, by the goal, and what that comes to, from the epoch on."""
    spares = [one for one in outcome.scenario.spares if one.plane == part.plane]
    if not spares:
        return "", NONE_LEFT
    now, soon = standing_after(outcome, plan, slots_stay=True), outcome.scenario.minimize == "finish"
    found = {one.craft.name: ask(call_scenario(now, part.craft, one)) for one in spares}
    prices = [(name, price) for name, (price, _) in found.items() if price is not None]
    if not prices:
        return "", NONE_LEFT if all(one.reached for one in found.values()) else UNREACHED
    name, price = min(prices, key=lambda pair: pair[1].finish_s if soon else pair[1].delta_v_m_s)
    return name, Found(replace(price, finish_s=price.finish_s + plan.finish_s))
