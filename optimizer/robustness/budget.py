"""The propellant budget: how much a plan takes when things differ a little from the plan.

Monte Carlo over the errors that the scenario states, with the corrections of ``closed_form.py``. Blocks of a fixed
size draw from separate streams, so that the same seed gives the same flights whatever the number of samples.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from ...models import deadline
from ...models.arrays import Array
from ...models.craft import delta_v_allowed
from ...models.deadline import OutOfTimeError
from ...models.errors import InputError
from ...models.scenario import INJECTION_ERRORS, Craft, Errors, Scenario
from ..outcome import Outcome, Plan
from ..standing import CraftKeeping, Keeping
from .disposal import CraftDisposal, disposals
from .flights_with_errors import BLOCK, AnyStory, block, nothing_said, stories
from .keeping import kept_load_kg, load_kg
from .linear import LinearStory
from .quantiles import Quantile, quantiles

Progress = Callable[[str], None]

SAMPLING_SHARE = 0.6
"""Of the time that is left: what flights may take before what drives the budget is worked out."""

SHARES = (0.5, 0.9, 0.99)
"""The quantiles that are stated."""

RANKING_SAMPLES = 20_000
"""Samples behind the ranking of the sources of error, at most."""

MOST_VALUES = 200_000_000
"""Craft times samples that are kept, 8 bytes each."""

SOURCES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("injection: periapsis", ("periapsis_m",)),
    ("injection: apoapsis", ("apoapsis_m",)),
    ("injection: inclination", ("inclination_rad",)),
    ("injection: node", ("node_rad",)),
    ("injection: moment", ("insertion_time_s",)),
    ("burns: size, fixed", ("burn_m_s",)),
    ("burns: size, in proportion", ("burn_share",)),
    ("burns: direction, fixed", ("across_m_s",)),
    ("burns: direction, in proportion", ("pointing_rad",)),
    ("burns: moment", ("burn_time_s",)),
    ("reading of periods", ("period_reading_s",)),
)
"""The sources of error in words, with the fields of `Errors` behind each."""


@dataclass(frozen=True, kw_only=True)
class CraftBudget:
    """What one craft takes.

    Args:
        craft: its name.
        planned_m_s: by the plan.
        delta_v_m_s: quantiles `SHARES` of what it burns, corrections included.
        reserve_m_s: what to add to the plan for the last of them, at its upper bound where that is known.
        available_m_s: what its tank gives, the reserve of the scenario included; infinite without masses.
        short: share of flights that need more than that.
        load_kg: propellant for the plan alone, and at each quantile; None without masses.
        went_on, phased_out, too_low: shares of flights that take another revolution, that end with a phasing for a
            slot error, and whose phasing orbit dips below the floor before it is trimmed.
        slot_error_rad: at 0.99, either way, before it is phased out.
        by_law: whether errors were propagated with a linear model of its flight, not by closed forms.
        too_late: whether the limits leave no turn to phase a slot error out: those flights end late, or pay more.
    """

    craft: str
    planned_m_s: float
    delta_v_m_s: tuple[Quantile, ...]
    reserve_m_s: float
    available_m_s: float
    short: float
    load_kg: tuple[float, ...] | None
    went_on: float
    phased_out: float
    too_low: float
    slot_error_rad: float
    too_late: bool
    by_law: bool


@dataclass(frozen=True, kw_only=True)
class Driver:
    """What one source of error asks for, m/s over all craft, of the 0.99 quantile less the plan.

    ``alone`` with no other error; ``left_out`` how much less without it.
    """

    source: str
    alone_m_s: float
    left_out_m_s: float


@dataclass(frozen=True, kw_only=True)
class Budget:
    """The whole answer.

    ``total_m_s`` are quantiles of the sum over the craft. ``one_load_kg`` is the propellant that is enough for every
    craft of a flown ring at each of `SHARES`, ``one_load_planned_kg`` for the plan alone; None unless all craft have
    masses. ``as_zero`` names the sources that were taken as exact, ``drivers`` the others, the largest first.
    ``samples_m_s`` are what was burned, shape (craft, samples). Where time ran out ``samples`` are fewer than
    ``asked``, and ``drivers`` fewer than the ``sources`` that are given. ``keeping`` is what keeping the ring takes on
    top of all that, None without further forces. ``disposal`` is what each craft burns in the end, where the scenario
    asks, ``disposal_kg`` the propellant for that besides the load for the last of `SHARES`; None without masses.
    """

    outcome: Outcome
    plan: Plan
    samples: int
    asked: int
    seed: int
    craft: tuple[CraftBudget, ...]
    total_m_s: tuple[Quantile, ...]
    one_load_kg: tuple[Quantile, ...] | None
    one_load_planned_kg: float | None
    drivers: tuple[Driver, ...]
    sources: int
    ranking_samples: int
    as_zero: tuple[str, ...]
    samples_m_s: Array
    keeping: Keeping | None = None
    disposal: tuple[CraftDisposal, ...] = ()
    disposal_kg: tuple[float | None, ...] = ()

    def kept_kg(self, one: CraftBudget, *, reserve: bool = True) -> float | None:
        """Propellant of a craft for its largest quantile and for keeping, kg; None without masses or further forces."""
        own = self._keeping_of(one)
        if own is None or self.keeping is None:
            return None
        craft = _named(self.outcome.scenario, one.craft)
        return kept_load_kg(craft, one.delta_v_m_s[-1].value, self.keeping, own, reserve=reserve)

    def kept_m_s(self, one: CraftBudget) -> float | None:
        """What keeping a craft takes, m/s; None where that is not known."""
        own = self._keeping_of(one)
        return None if own is None or self.keeping is None else self.keeping.all_of_m_s(own)

    def _keeping_of(self, one: CraftBudget) -> CraftKeeping | None:
        kept = () if self.keeping is None else self.keeping.craft
        return next((own for own in kept if own.craft == one.craft), None)

    @property
    def unfinished(self) -> str:
        """What time did not suffice for, in words; empty where everything asked for is there."""
        said = [f"planning: {self.outcome.unfinished}"] if self.outcome.unfinished else []
        if self.samples < self.asked:
            said.append(f"only {self.samples:,} of {self.asked:,} flights of each craft were run".replace(",", " "))
        if len(self.drivers) < self.sources:
            said.append(f"what drives the budget is known of {len(self.drivers)} of {self.sources} sources of error")
        if self.outcome.scenario.disposal_within_s is not None and not self.disposal:
            said.append("what the disposal takes was not worked out")
        return "; ".join(said)


def make_budget(
    outcome: Outcome,
    samples: int = 100_000,
    seed: int = 1,
    progress: Progress = lambda _: None,
    *,
    keeping: Keeping | None = None,
) -> Budget:
    """The propellant budget of the best plan of an outcome: by closed forms, or by linear models where none is known.

    Args:
        outcome: of planning; it must have a plan.
        samples: flights of each craft; fewer where the time that is left does not suffice.
        seed: of all random numbers.
        progress: called with the state of the work in words.
        keeping: what keeping the ring takes, which is loaded on top (``keeping.keeping_with_trims``).

    Raises:
        InputError: the scenario states no error; too many samples; errors by which a craft falls.
        OutOfTimeError: no time was left for a first block of flights of each craft.
    """
    scenario, plan = outcome.scenario, outcome.plans[0]
    with deadline.flying():
        listed = stories(outcome)
    given = [one for one in SOURCES if any(getattr(s.errors, name) for s in listed for name in one[1])]
    if not given:
        raise nothing_said(scenario)
    _refuse_too_many(samples, len(listed))
    used = np.empty((len(listed), samples))
    with deadline.flying():
        with deadline.searching(deadline.share(SAMPLING_SHARE)):
            flights = _gather(listed, seed, used, progress)
        used = used[:, : (done := flights[0].flown if flights else samples)]
        progress("what drives the budget")
        ranked = min(done, RANKING_SAMPLES)
        drivers = _drivers(listed, given, ranked, seed)
        disposal: tuple[CraftDisposal, ...] = ()
        with suppress(OutOfTimeError):
            disposal = disposals(outcome)
    craft = [_craft_budget(scenario, *one) for one in zip(listed, used, flights, strict=True)]
    loads = _one_load(scenario, listed, used)
    return Budget(
        outcome=outcome,
        plan=plan,
        samples=done,
        asked=samples,
        seed=seed,
        craft=tuple(craft),
        total_m_s=quantiles(np.sum(used, axis=0), SHARES),
        one_load_kg=None if loads is None else quantiles(loads, SHARES),
        one_load_planned_kg=None if loads is None else _planned_load(scenario, listed),
        drivers=drivers,
        sources=len(given),
        ranking_samples=ranked,
        as_zero=_as_zero(listed, given),
        samples_m_s=used,
        keeping=keeping,
        disposal=disposal,
        disposal_kg=tuple(_in_the_end(scenario, one, craft) for one in disposal),
    )


def _refuse_too_many(samples: int, craft: int) -> None:
    if samples * craft > MOST_VALUES:
        raise InputError(
            f"{samples} samples of {craft} craft are more than this version keeps in memory: "
            f"at most {MOST_VALUES // craft} samples would be accepted.",
            where="command line",
        )


def _in_the_end(scenario: Scenario, one: CraftDisposal, craft: Sequence[CraftBudget]) -> float | None:
    """Propellant for a disposal besides what is loaded for 99 of 100 flights; None without masses."""
    p99 = next(budget.delta_v_m_s[-1].value for budget in craft if budget.craft == one.craft)
    both, alone = (load_kg(_named(scenario, one.craft), p99 + more) for more in (one.delta_v_m_s, 0.0))
    return None if both is None or alone is None else float(both - alone)


class _Counts(NamedTuple):
    """Flights of one craft: how many were flown, went on, were phased out, dipped too low; slot errors of some, either
    way."""

    flown: int
    went_on: int
    phased_out: int
    too_low: int
    slot_errors: Array


def _gather(listed: Sequence[AnyStory], seed: int, out: Array, progress: Progress) -> list[_Counts]:
    """Fly all craft block by block: what is burned goes into ``out``, (craft, samples).

    Where time runs out, with the blocks that all craft have flown.

    Raises:
        OutOfTimeError: before the first of them.
    """
    samples = out.shape[1]
    counts = np.zeros((len(listed), 3), dtype=np.int64)
    slot_errors: list[list[Array]] = [[] for _ in listed]
    done = 0
    for number, first in enumerate(range(0, samples, BLOCK)):
        if done and (deadline.over() or deadline.stopped()):
            break
        size = min(BLOCK, samples - first)
        for craft, story in enumerate(listed):
            if not done:
                deadline.poll()
            flights = block(story, seed, craft, number)
            out[craft, first : first + size] = flights.delta_v_m_s[:size]
            which = np.stack([flights.went_on, flights.phased_out, flights.too_low])
            counts[craft] += np.count_nonzero(which[:, :size], axis=1)
            if first < RANKING_SAMPLES:
                slot_errors[craft].append(np.abs(flights.slot_error_rad[:size]))
        done = first + size
        progress(f"{done:,} of {samples:,} flights of each craft".replace(",", " "))
    rows = zip(counts.tolist(), slot_errors, strict=True)
    return [_Counts(done, on, phased, low, np.concatenate(off)) for (on, phased, low), off in rows]


def _named(scenario: Scenario, name: str) -> Craft:
    return next(craft for craft in scenario.craft if craft.name == name)


def _craft_budget(scenario: Scenario, story: AnyStory, used: Array, counts: _Counts) -> CraftBudget:
    craft = _named(scenario, story.craft)
    found = quantiles(used, SHARES)
    top = found[-1].high if math.isfinite(found[-1].high) else found[-1].value
    available = delta_v_allowed(craft) + craft.reserve_m_s
    load = load_kg(craft, np.array([story.planned_m_s, *(q.value for q in found)]))
    return CraftBudget(
        craft=story.craft,
        planned_m_s=story.planned_m_s,
        delta_v_m_s=found,
        reserve_m_s=max(top - story.planned_m_s, 0.0),
        available_m_s=available,
        short=float(np.count_nonzero(used > available)) / used.size,
        load_kg=None if load is None else tuple(load.tolist()),
        went_on=counts.went_on / used.size,
        phased_out=counts.phased_out / used.size,
        too_low=counts.too_low / used.size,
        slot_error_rad=quantiles(counts.slot_errors, (0.99,))[0].value,
        too_late=story.too_late,
        by_law=isinstance(story, LinearStory),
    )


def _one_load(scenario: Scenario, listed: Sequence[AnyStory], used: Array) -> Array | None:
    """For each flown ring, the propellant of the craft that needs most, kg; None unless all have masses."""
    most: Array | None = None
    for story, row in zip(listed, used, strict=True):
        load = load_kg(_named(scenario, story.craft), row)
        if load is None:
            return None
        most = load if most is None else np.maximum(most, load)
    return most


def _planned_load(scenario: Scenario, listed: Sequence[AnyStory]) -> float:
    """Propellant that is enough for every craft by the plan alone, kg."""
    return max(float(load_kg(_named(scenario, one.craft), one.planned_m_s) or 0.0) for one in listed)


def _reserve(listed: Sequence[AnyStory], samples: int, seed: int) -> float:
    """The 0.99 quantile less the plan, summed over the craft, m/s."""
    total = 0.0
    for index, story in enumerate(listed):
        deadline.poll()
        used = np.concatenate(
            [block(story, seed, index, number).delta_v_m_s for number in range(math.ceil(samples / BLOCK))]
        )
        total += quantiles(used[:samples], (SHARES[-1],))[0].value - story.planned_m_s
    return total


def _drivers(
    listed: Sequence[AnyStory], given: Sequence[tuple[str, tuple[str, ...]]], samples: int, seed: int
) -> tuple[Driver, ...]:
    """What each source asks for, the largest first; those that time is left for."""
    found: list[Driver] = []
    with suppress(OutOfTimeError):
        base = 0.0 if deadline.stopped() else _reserve(listed, samples, seed)
        while len(found) < len(given) and not deadline.stopped():
            found.append(_driver(listed, given[len(found)], base, samples, seed))
    return tuple(sorted(found, key=lambda d: -d.alone_m_s))


def _driver(
    listed: Sequence[AnyStory], source: tuple[str, tuple[str, ...]], base_m_s: float, samples: int, seed: int
) -> Driver:
    words, names = source
    alone = [s.with_errors(replace(Errors(), **{n: getattr(s.errors, n) for n in names})) for s in listed]
    without = [s.with_errors(replace(s.errors, **dict.fromkeys(names, 0.0))) for s in listed]
    return Driver(
        source=words,
        alone_m_s=_reserve(alone, samples, seed),
        left_out_m_s=base_m_s - _reserve(without, samples, seed),
    )


def _as_zero(listed: Sequence[AnyStory], given: Sequence[tuple[str, tuple[str, ...]]]) -> tuple[str, ...]:
    """Sources taken as exact; those of the launcher only where something is launched."""
    launched = any(s.launched for s in listed)
    return tuple(
        words
        for words, names in SOURCES
        if (words, names) not in given and (launched or not set(names) & set(INJECTION_ERRORS))
    )
