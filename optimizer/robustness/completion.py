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
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...models.arrays import Array
from ...models.risk import Risk
from ...models.scenario import Occupied, Scenario
from ...models.sites import open_at
from ..catalogue.catalogue import catalogue
from ..craft_plan import CraftPlan
from ..outcome import Outcome, Plan
from ..problem.problem import Problem
from ..problem.ring_phase import problems
from .known_flights import KnownFlights
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
    """From when a launch is ready to when it lifts off and its craft are in their slots: its later liftoffs.

    ``liftoff_s`` sorted, (n,); ``best_s`` the soonest finish of this and all later ones, ``best`` its row;
    ``in_slot_s`` when each craft is in its slot by each of them, (n, craft).
    """

    liftoff_s: Array
    in_slot_s: Array
    best_s: Array
    best: NDArray[np.intp]

    @classmethod
    def of(cls, liftoff_s: Array, in_slot_s: Array) -> Chances:
        """From liftoffs in any order, (n,), with when each craft is in its slot, (n, craft)."""
        order = np.argsort(liftoff_s, kind="stable")
        lift, ends = liftoff_s[order], in_slot_s[order]
        end = np.max(ends, axis=1)
        best_s = np.minimum.accumulate(end[::-1])[::-1]
        rows = np.arange(end.size)
        own = np.where(end == best_s, rows, end.size)
        return cls(liftoff_s=lift, in_slot_s=ends, best_s=best_s, best=np.minimum.accumulate(own[::-1])[::-1])

    def after(self, ready_s: Array) -> tuple[Array, Array]:
        """For launches ready at these moments, (samples,): liftoff, and when each craft is in its slot, (craft,
        samples); infinite where no liftoff is left."""
        at = np.searchsorted(self.liftoff_s, ready_s - 1e-6)
        there = at < self.liftoff_s.size
        lift = np.full(ready_s.shape, math.inf)
        ends = np.full((self.in_slot_s.shape[1], *ready_s.shape), math.inf)
        rows = self.best[at[there]]
        lift[there] = self.liftoff_s[rows]
        ends[:, there] = self.in_slot_s[rows].T
        return lift, ends


def completion(
    outcome: Outcome,
    plan: Plan,
    samples: int = 20_000,
    seed: int = 1,
    known: KnownFlights | None = None,
    progress: Progress = lambda _: None,
) -> Completion:
    """When a plan of an outcome is done, over many rings.

    Args:
        outcome: of planning; its scenario has errors, a risk or both.
        plan: one of its plans, or of the same scenario at another phase of the ring.
        samples: rings.
        seed: of all random numbers; flights draw from the streams of the propellant budget.
        known: flights that were flown for other plans of the scenario, by the same samples and seed.
        progress: called with the state of the work in words.
    """
    outcome = replace(outcome.at_phase_of(plan), plans=(plan,))
    scenario = outcome.scenario
    flown = (known or KnownFlights(samples, seed)).of_plan(outcome) if has_errors(scenario) else None
    dates = _Launches(outcome, plan, samples, seed, progress).dates()
    in_slot = np.stack([dates[part.craft] for part in plan.craft])
    if flown is not None:
        in_slot = in_slot + np.stack([one.late_s for one in flown])
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


class _Launch(NamedTuple):
    """What lifts off at once: one craft, or all craft on one carrier; by the carrier's name where there is one."""

    name: str
    parts: tuple[CraftPlan, ...]

    @property
    def planned_s(self) -> float:
        return self.parts[0].launch_s or 0.0

    @property
    def in_slot_s(self) -> Array:
        """When each craft is in its slot by the plan, (craft, 1)."""
        return np.array([[part.in_slot_s] for part in self.parts])


def _launches(plan: Plan, pad: str) -> list[_Launch]:
    """The launches of a site in the order of their liftoffs."""
    found: dict[str, list[CraftPlan]] = {}
    for part in plan.craft:
        if part.pad == pad and part.launch_s is not None:
            found.setdefault(part.carrier or part.craft, []).append(part)
    every = [_Launch(name, tuple(parts)) for name, parts in found.items()]
    return sorted(every, key=lambda one: (one.planned_s, one.name))


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
        space = [part for part in self._plan.craft if part.launch_s is None]
        found = {part.craft: np.full(self._samples, part.in_slot_s) for part in space}
        for pad in self._outcome.scenario.pads:
            for launch, ends in self._from_site(_launches(self._plan, pad.name), pad.turnaround_s):
                found.update({part.craft: row for part, row in zip(launch.parts, ends, strict=True)})
        return found

    def _from_site(self, launches: list[_Launch], turnaround_s: float) -> list[tuple[_Launch, Array]]:
        risk, found = self._risk, []
        free = np.full(self._samples, -math.inf)
        lost = []
        for launch in launches:
            slip = self._slip()
            on_time = (slip == 0.0) & (free <= launch.planned_s + _EARLY_S)
            lift, ends = self._next(launch, np.where(on_time, math.inf, np.maximum(launch.planned_s + slip, free)))
            lift, ends = np.where(on_time, launch.planned_s, lift), np.where(on_time, launch.in_slot_s, ends)
            free = np.maximum(free, lift + turnaround_s)
            gone = self._lost()
            # a spare goes up at once, and may be lost, too
            for _ in range(risk.spares):
                again = gone & (self._spares > 0)
                if not again.any():
                    break
                self._spares = self._spares - again
                new, then = self._next(launch, np.where(again, free, math.inf))
                lift, ends = np.where(again, new, lift), np.where(again, then, ends)
                free = np.where(again, np.maximum(free, new + turnaround_s), free)
                gone = np.where(again, self._lost(), gone)
            found.append((launch, np.where(gone, math.inf, ends)))
            lost.append(np.where(gone, lift, math.inf))
        return self._built(found, lost, free, turnaround_s)

    def _built(
        self, found: list[tuple[_Launch, Array]], lost: list[Array], free: Array, turnaround_s: float
    ) -> list[tuple[_Launch, Array]]:
        """With launches built in place of lost ones, after all that was planned, as often as it takes."""
        risk, then = self._risk, []
        tries = 0 if math.isinf(risk.replaced_after_s) else _tries(risk.loss_share)
        for (launch, ends), at in zip(found, lost, strict=True):
            missing, begun, all_ends = np.isfinite(at), at, ends
            for _ in range(tries):
                if not missing.any():
                    break
                ready = np.where(missing, np.maximum(begun + risk.replaced_after_s, free), math.inf)
                lift, new = self._next(launch, ready)
                free = np.where(missing, np.maximum(free, lift + turnaround_s), free)
                begun = np.where(missing, lift, begun)
                again = missing & self._lost() & np.isfinite(lift)
                all_ends = np.where(missing & ~again, new, all_ends)
                missing = again
            then.append((launch, all_ends))
        return then

    def _slip(self) -> Array:
        slips = self._random.random(self._samples) < self._risk.slip_share
        sizes = self._random.standard_exponential(self._samples) * self._risk.slip_mean_s
        return np.where(slips, sizes, 0.0)

    def _lost(self) -> NDArray[np.bool_]:
        return np.asarray(self._random.random(self._samples) < self._risk.loss_share)

    def _next(self, launch: _Launch, ready_s: Array) -> tuple[Array, Array]:
        """The next such launch with its craft in their slots; infinite where ``ready_s`` is."""
        if not np.isfinite(ready_s).any():
            return np.full(self._samples, math.inf), np.full((len(launch.parts), self._samples), math.inf)
        if launch.name not in self._chances:
            self._progress(f"later launches of {launch.name}")
            self._chances[launch.name] = chances(self._outcome, self._plan, launch.parts, self._horizon_s())
        return self._chances[launch.name].after(ready_s)

    def _horizon_s(self) -> float:
        """Until when later launches are looked for: slips and losses beyond it are rarer than `RARE`."""
        risk, pads = self._risk, self._outcome.scenario.pads
        launches = [launch for pad in pads for launch in _launches(self._plan, pad.name)]
        last = max(launch.planned_s for launch in launches)
        turnaround = max(pad.turnaround_s for pad in pads)
        waits = sum(risk.longest_slip_s(RARE) / (number + 1.0) for number in range(len(launches)))
        more = 0.0
        if math.isfinite(risk.replaced_after_s):
            more = _tries(risk.loss_share) * risk.replaced_after_s
        return last + waits + more + (len(launches) + risk.spares) * turnaround


def _tries(loss_share: float) -> int:
    """Launches after which it is rarer than `RARE` that all were lost."""
    return max(math.ceil(math.log(RARE) / math.log(loss_share)), 1) if loss_share > 0.0 else 0


def chances(outcome: Outcome, plan: Plan, parts: Sequence[CraftPlan], until_s: float) -> Chances:
    """Every later liftoff of a craft into its slot, or of a carrier's craft into theirs, the others in their slots.

    Args:
        outcome: with the scenario and the ring at the plan's phase.
        plan: the plan.
        parts: the craft, all that lift off at once.
        until_s: last liftoff looked at, s.
    """
    scenario, begun, names = outcome.scenario, parts[0].launch_s or 0.0, [part.craft for part in parts]
    others = tuple(
        Occupied(name=one.craft, slot=one.slot, plane=one.plane) for one in plan.craft if one.craft not in names
    )
    site = next(pad for pad in scenario.pads if pad.name == parts[0].pad)
    carrier = parts[0].carrier
    alone = replace(
        scenario,
        craft=tuple(
            replace(one, ready_s=begun, pads=(site.name,), carrier=carrier)
            for one in scenario.craft
            if one.name in names
        ),
        carriers=tuple(replace(one, pads=(site.name,)) for one in scenario.carriers if one.name == carrier),
        ring=replace(scenario.ring, slot0_rad=outcome.ring.slot0_rad, occupied=(*scenario.ring.occupied, *others)),
        limits=replace(
            scenario.limits,
            finish_within_s=until_s + LATER_ARRIVALS * (max(part.in_slot_s for part in parts) - begun),
        ),
    )
    [problem] = problems(alone)
    turn = _turn_s(problem, scenario.pads.index(site))
    if turn is not None:
        # one turn of the ring over the site, without blackouts; everything comes round with it
        always = replace(site, ready_s=0.0, until_s=math.inf, blackouts_s=())
        pads = tuple(always if pad is site else pad for pad in scenario.pads)
        problem = replace(problem, scenario=replace(alone, pads=pads))
    lift, ends = _later(_paying(problem, parts), parts)
    if turn is not None:
        again = np.arange(math.ceil(max(until_s - begun, 0.0) / turn) + 1, dtype=np.float64) * turn
        open_until_s = -math.inf if site.blackouts_s else min(until_s, site.until_s)
        lift, ends = _turn_after_turn(Chances.of(lift, ends), again, open_until_s)
    kept = open_at(site, lift) & (lift <= until_s)
    return Chances.of(lift[kept], ends[kept])


def _turn_after_turn(one: Chances, again: Array, open_until_s: float) -> tuple[Array, Array]:
    """The liftoffs of a turn of the ring over a site in each turn that begins so much later, and when craft are there.

    In turns that end while nothing closes the site, those that a later liftoff beats never serve and are left out.
    """
    whole = again + np.max(one.liftoff_s, initial=-math.inf) <= open_until_s
    unbeaten = one.best == np.arange(one.best.size)
    found = [
        (np.add.outer(turns, one.liftoff_s[rows]).ravel(), np.add.outer(turns, one.in_slot_s[rows]))
        for turns, rows in ((again[whole], unbeaten), (again[~whole], np.ones_like(unbeaten)))
    ]
    lift = np.concatenate([each for each, _ in found])
    return lift, np.concatenate([ends.reshape(-1, one.in_slot_s.shape[1]) for _, ends in found])


def _later(problem: Problem, parts: Sequence[CraftPlan]) -> tuple[Array, Array]:
    """Liftoffs, (n,), by which all craft come into their slots, and when each of them does, (n, craft)."""
    options = catalogue(problem).options
    slots = [part.slot + part.plane * problem.ring.slots for part in parts]
    if parts[0].carrier is None:
        options = options.take((options.slot == slots[0]) & (options.bundle < 0))
        return options.liftoff_s, options.finish_s[:, np.newaxis]
    options = options.take(options.bundle >= 0)
    # of each load the rows stand side by side, one a craft; alike craft may change places
    rows = options.first_row[:, np.newaxis] + np.arange(len(parts))
    order = np.argsort(options.slot[rows], axis=1)
    there = np.take_along_axis(options.slot[rows], order, axis=1)
    wanted = np.argsort(slots)
    same = np.all(there == np.array(slots)[wanted], axis=1)
    ends = np.empty((int(np.count_nonzero(same)), len(parts)))
    ends[:, wanted] = np.take_along_axis(options.finish_s[rows], order, axis=1)[same]
    return options.liftoff_s[options.first_row][same], ends


def _turn_s(problem: Problem, pad: int) -> float | None:
    """After how long everything is as it was, seen from a site in the ring plane, s; None for one that leaves it."""
    ways = [way for way in problem.ways if way.pad == pad]
    if not ways or any(way.place is not None for way in ways):
        return None
    return 2.0 * math.pi / abs(problem.ring.rate_rad_s - ways[0].site_rate_rad_s)


def _paying(problem: Problem, parts: Sequence[CraftPlan]) -> Problem:
    """The problem with what craft without a full tank may burn cut down to what the plan gives them."""
    planned = {part.craft: part.delta_v_m_s + ROOM_M_S for part in parts}
    classes = []
    for group in problem.classes:
        full = group.craft.dry_mass_kg is not None and group.craft.load == "full"
        most = group.delta_v_allowed_m_s
        if not full:
            most = min(most, max(planned[name] for name in group.names))
        classes.append(replace(group, delta_v_allowed_m_s=most))
    return replace(problem, classes=tuple(classes))
