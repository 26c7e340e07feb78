"""When a plan is done where launches slip or are lost and flights differ from the plan: Monte Carlo.

A launch that slips, or that finds its site not free yet, takes the moment from which its craft is soonest in its slot,
of all liftoffs at which the catalogue has a way there that its tank pays; where no tank is given, or it is loaded for
its plan alone, one for no more than its plan (`ROOM_M_S` more, for what the flight corrects). A lost launch is replaced
by a spare that stands ready, a turnaround later, or by a craft built in its place after all planned launches of its
site. Flights that need another revolution, or a phasing at the end, are late by these, as the propellant budget counts
them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...models.arrays import Array
from ...models.errors import InputError
from ...models.risk import Risk
from ...models.scenario import Occupied, Scenario
from ...models.sites import open_at
from ..catalogue.catalogue import catalogue
from ..craft_plan import CraftPlan
from ..outcome import Outcome, Plan
from ..problem.problem import Problem
from ..problem.ring_phase import problems
from .budget import BLOCK, AnyStory, block, numbers_of, stories
from .closed_form import Flights
from .quantiles import Quantile, quantiles

Progress = Callable[[str], None]

ROOM_M_S = 0.5
"""A later launch may cost so much more than planned: its flight corrects it by less than that."""

RARE = 1e-4
"""Slips and chains of losses less likely than this are not followed: such a ring counts as never done."""

SHARES = (0.5, 0.9, 0.99)
"""The quantiles of dates that are stated."""

_STREAM = 1 << 30
"""First key of the random streams of launches; those of flights are numbered from 0."""

LATER_ARRIVALS = 4.0
"""How much longer than planned a craft launched later may be on its way, from a site that leaves the plane."""

_EARLY_S = 1.0
"""Liftoffs as flown differ from the catalogue's by less than this, or by what the flight corrects, which is later."""


@dataclass(frozen=True, kw_only=True)
class Completion:
    """When the craft of a plan are in their slots, s from the epoch.

    Args:
        plan: whose.
        craft: names, in the plan's order.
        in_slot_s: of each, shape (craft, samples); infinite where it is never there.
        done: quantiles `SHARES` of when the last is; infinite values where the ring is never done that often.
        in_time: share of rings done by the latest finish that the scenario allows; None where it sets none.
    """

    plan: Plan
    craft: tuple[str, ...]
    in_slot_s: Array
    done: tuple[Quantile, ...]
    in_time: float | None

    @property
    def done_s(self) -> Array:
        """When the last craft is in its slot, shape (samples,)."""
        return np.asarray(np.max(self.in_slot_s, axis=0))

    @property
    def never(self) -> float:
        """Share of rings that are never done: a lost craft is not replaced, or no launch is left."""
        return float(np.mean(np.isinf(self.done_s)))


@dataclass(frozen=True, kw_only=True)
class Chances:
    """From when a craft is ready to when it lifts off and is in its slot: later liftoffs of one craft into its slot.

    ``liftoff_s`` sorted, (n,); ``best_s`` the soonest finish of this and all later ones, ``best`` its row.
    """

    liftoff_s: Array
    best_s: Array
    best: NDArray[np.intp]

    @classmethod
    def of(cls, liftoff_s: Array, finish_s: Array) -> Chances:
        """From liftoffs in any order, with the finish of each."""
        order = np.argsort(liftoff_s, kind="stable")
        lift, end = liftoff_s[order], finish_s[order]
        best_s = np.minimum.accumulate(end[::-1])[::-1]
        rows = np.arange(end.size)
        own = np.where(end == best_s, rows, end.size)
        return cls(liftoff_s=lift, best_s=best_s, best=np.minimum.accumulate(own[::-1])[::-1])

    def after(self, ready_s: Array) -> tuple[Array, Array]:
        """Liftoff and finish for craft ready at these moments, (samples,); infinite where no liftoff is left."""
        at = np.searchsorted(self.liftoff_s, ready_s - 1e-6)
        there = at < self.liftoff_s.size
        lift, end = np.full(ready_s.shape, math.inf), np.full(ready_s.shape, math.inf)
        lift[there] = self.liftoff_s[self.best[at[there]]]
        end[there] = self.best_s[at[there]]
        return lift, end


def completion(
    outcome: Outcome, plan: Plan, samples: int = 20_000, seed: int = 1, progress: Progress = lambda _: None
) -> Completion:
    """When a plan of an outcome is done, over many rings.

    Args:
        outcome: of planning; its scenario has errors, a risk or both.
        plan: one of its plans, or of the same scenario at another phase of the ring.
        samples: rings.
        seed: of all random numbers; flights draw from the streams of the propellant budget.
        progress: called with the state of the work in words.

    Raises:
        InputError: a craft flies on a carrier or drifts, which is not covered.
    """
    outcome = replace(outcome.at_phase_of(plan), plans=(plan,))
    scenario = outcome.scenario
    late = _late(outcome, samples, seed) if has_errors(scenario) else None
    dates = _Launches(outcome, plan, samples, seed, progress).dates()
    in_slot = np.stack([dates[part.craft] for part in plan.craft])
    if late is not None:
        in_slot = in_slot + late
    done = np.max(in_slot, axis=0)
    limit = scenario.limits.finish_within_s
    return Completion(
        plan=plan,
        craft=tuple(part.craft for part in plan.craft),
        in_slot_s=in_slot,
        done=quantiles(done, SHARES),
        in_time=None if math.isinf(limit) else float(np.mean(done <= limit * (1.0 + 1e-12))),
    )


def has_errors(scenario: Scenario) -> bool:
    """Whether a scenario says by how much flights differ from the plan."""
    own = [*(craft.errors for craft in scenario.craft), *(pad.errors for pad in scenario.pads)]
    return scenario.errors is not None or any(one is not None for one in own)


def _late(outcome: Outcome, samples: int, seed: int) -> Array:
    """How much later each craft is in its slot than its plan says, for its flights with errors, (craft, samples)."""
    found = []
    for index, (story, part) in enumerate(zip(stories(outcome), outcome.plans[0].craft, strict=True)):
        rows = [_block_late(story, part, seed, index, number) for number in range(math.ceil(samples / BLOCK))]
        found.append(np.concatenate(rows)[:samples])
    return np.stack(found)


def _block_late(story: AnyStory, part: CraftPlan, seed: int, craft: int, number: int) -> Array:
    if not numbers_of(story):
        return np.zeros(BLOCK)
    flights: Flights = block(story, seed, craft, number)
    once = part.phasing_period_s or story.ring.period_s
    return np.asarray(flights.went_on * once + flights.phased_out * story.trim_turns * story.ring.period_s)


class _Launches:
    """All launches of a plan, site by site in the order of their liftoffs, for many rings at once."""

    def __init__(self, outcome: Outcome, plan: Plan, samples: int, seed: int, progress: Progress) -> None:
        self._outcome, self._plan, self._samples, self._progress = outcome, plan, samples, progress
        self._risk = outcome.scenario.risk or Risk()
        stream = np.random.SeedSequence(seed, spawn_key=(_STREAM,))
        self._random = np.random.default_rng(stream)
        self._spares = np.full(samples, self._risk.spares)
        self._chances: dict[str, Chances] = {}

    def dates(self) -> dict[str, Array]:
        """When each craft is in its slot, by the launches alone."""
        scenario, found = self._outcome.scenario, {}
        for part in self._plan.craft:
            if part.launch_s is None:
                found[part.craft] = np.full(self._samples, part.in_slot_s)
            elif part.carrier is not None:
                raise InputError(
                    f"craft {part.craft!r} goes up on carrier {part.carrier!r}, whose slips move all of its craft at "
                    "once, and dates are not weighed for that: take [[carrier]] out, so that each is launched alone.",
                    where=scenario.source.where("carrier"),
                )
        for pad in scenario.pads:
            launched = [part for part in self._plan.craft if part.pad == pad.name and part.launch_s is not None]
            launched.sort(key=lambda part: (part.launch_s or 0.0, part.craft))
            found.update(self._from_site(launched, pad.turnaround_s))
        return found

    def _from_site(self, launched: list[CraftPlan], turnaround_s: float) -> dict[str, Array]:
        risk, found = self._risk, {}
        free = np.full(self._samples, -math.inf)
        lost: list[tuple[CraftPlan, Array]] = []
        for part in launched:
            planned = part.launch_s or 0.0
            slip = self._slip()
            on_time = (slip == 0.0) & (free <= planned + _EARLY_S)
            lift, end = self._next(part, np.where(on_time, math.inf, np.maximum(planned + slip, free)))
            lift, end = np.where(on_time, planned, lift), np.where(on_time, part.in_slot_s, end)
            free = np.maximum(free, lift + turnaround_s)
            gone = self._lost()
            if risk.spares:
                # a spare goes up at once, and may be lost, too
                for _ in range(risk.spares):
                    again = gone & (self._spares > 0)
                    if not again.any():
                        break
                    self._spares = self._spares - again
                    new, then = self._next(part, np.where(again, free, math.inf))
                    lift, end = np.where(again, new, lift), np.where(again, then, end)
                    free = np.where(again, np.maximum(free, new + turnaround_s), free)
                    gone = np.where(again, self._lost(), gone)
            found[part.craft] = np.where(gone, math.inf, end)
            lost.append((part, np.where(gone, lift, math.inf)))
        return found | self._built(lost, found, free, turnaround_s)

    def _built(
        self, lost: list[tuple[CraftPlan, Array]], found: dict[str, Array], free: Array, turnaround_s: float
    ) -> dict[str, Array]:
        """Craft built in place of lost ones, launched after all that was planned, as often as it takes."""
        risk, then = self._risk, dict(found)
        if math.isinf(risk.replaced_after_s) or risk.loss_share <= 0.0:
            return then
        for part, at in lost:
            missing, begun = np.isfinite(at), at
            for _ in range(_tries(risk.loss_share)):
                if not missing.any():
                    break
                ready = np.where(missing, np.maximum(begun + risk.replaced_after_s, free), math.inf)
                lift, end = self._next(part, ready)
                free = np.where(missing, np.maximum(free, lift + turnaround_s), free)
                begun = np.where(missing, lift, begun)
                again = missing & self._lost() & np.isfinite(lift)
                arrived = missing & ~again
                then[part.craft] = np.where(arrived, end, then[part.craft])
                missing = again
        return then

    def _slip(self) -> Array:
        slips = self._random.random(self._samples) < self._risk.slip_share
        sizes = self._random.standard_exponential(self._samples) * self._risk.slip_mean_s
        return np.where(slips, sizes, 0.0)

    def _lost(self) -> NDArray[np.bool_]:
        return np.asarray(self._random.random(self._samples) < self._risk.loss_share)

    def _next(self, part: CraftPlan, ready_s: Array) -> tuple[Array, Array]:
        """The next launch of a craft into its slot; infinite where ``ready_s`` is."""
        if not np.isfinite(ready_s).any():
            return np.full(self._samples, math.inf), np.full(self._samples, math.inf)
        if part.craft not in self._chances:
            self._progress(f"later launches of {part.craft}")
            self._chances[part.craft] = chances(self._outcome, self._plan, part, self._horizon_s())
        return self._chances[part.craft].after(ready_s)

    def _horizon_s(self) -> float:
        """Until when later launches are looked for: slips and losses beyond it are rarer than `RARE`."""
        risk, launches = self._risk, [part for part in self._plan.craft if part.launch_s is not None]
        last = max(part.launch_s or 0.0 for part in launches)
        turnaround = max(pad.turnaround_s for pad in self._outcome.scenario.pads)
        waits = sum(risk.longest_slip_s(RARE) / (number + 1.0) for number in range(len(launches)))
        more = 0.0
        if math.isfinite(risk.replaced_after_s) and risk.loss_share > 0.0:
            more = _tries(risk.loss_share) * risk.replaced_after_s
        return last + waits + more + (len(launches) + risk.spares) * turnaround


def _tries(loss_share: float) -> int:
    """Launches after which it is rarer than `RARE` that all were lost."""
    return max(math.ceil(math.log(RARE) / math.log(loss_share)), 1) if loss_share > 0.0 else 0


def chances(outcome: Outcome, plan: Plan, part: CraftPlan, until_s: float) -> Chances:
    """Every later liftoff of a launched craft into its slot, the other craft of the plan in theirs.

    Args:
        outcome: with the scenario and the ring at the plan's phase.
        plan: the plan.
        part: the craft.
        until_s: last liftoff looked at, s.
    """
    scenario, begun = outcome.scenario, part.launch_s or 0.0
    craft = next(one for one in scenario.craft if one.name == part.craft)
    others = tuple(
        Occupied(name=one.craft, slot=one.slot, plane=one.plane) for one in plan.craft if one.craft != part.craft
    )
    site = next(pad for pad in scenario.pads if pad.name == part.pad)
    alone = replace(
        scenario,
        craft=(replace(craft, ready_s=begun, pads=(site.name,), carrier=None),),
        carriers=(),
        ring=replace(scenario.ring, slot0_rad=outcome.ring.slot0_rad, occupied=(*scenario.ring.occupied, *others)),
        limits=replace(scenario.limits, finish_within_s=until_s + LATER_ARRIVALS * (part.in_slot_s - begun)),
    )
    [problem] = problems(alone)
    turn = _turn_s(problem, scenario.pads.index(site))
    if turn is not None:
        # one turn of the ring over the site, without blackouts; everything comes round with it
        always = replace(site, ready_s=0.0, until_s=math.inf, blackouts_s=())
        pads = tuple(always if pad is site else pad for pad in scenario.pads)
        problem = replace(problem, scenario=replace(alone, pads=pads))
    full = craft.dry_mass_kg is not None and craft.load == "full"
    if not full:
        problem = _paying(problem, part.delta_v_m_s + ROOM_M_S)
    options = catalogue(problem).options
    options = options.take(options.slot == part.slot + part.plane * problem.ring.slots)
    lift, end = options.liftoff_s, options.finish_s
    if turn is not None:
        again = np.arange(math.ceil(max(until_s - begun, 0.0) / turn) + 1) * turn
        lift, end = ((one[:, np.newaxis] + again).ravel() for one in (lift, end))
    kept = open_at(site, lift) & (lift <= until_s)
    return Chances.of(lift[kept], end[kept])


def _turn_s(problem: Problem, pad: int) -> float | None:
    """After how long everything is as it was, seen from a site in the ring plane, s; None for one that leaves it."""
    ways = [way for way in problem.ways if way.pad == pad]
    if not ways or any(way.place is not None for way in ways):
        return None
    return 2.0 * math.pi / abs(problem.ring.rate_rad_s - ways[0].site_rate_rad_s)


def _paying(problem: Problem, most_m_s: float) -> Problem:
    """The problem with what its craft may burn cut down to what the plan gives it."""
    less = tuple(replace(c, delta_v_allowed_m_s=min(c.delta_v_allowed_m_s, most_m_s)) for c in problem.classes)
    return replace(problem, classes=less)
