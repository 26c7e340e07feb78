"""Listed plans weighed by their risk: what to load so that it is enough, and when the ring is done in spite of slips.

Weighing is over the plans that were listed, one by one: it proves nothing about others.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace

from ...models.burns import propellant_needed
from ...models.deadline import ENDED, poll
from ...models.errors import InputError
from ...models.risk import Risk, Weigh
from ...models.scenario import Scenario
from ..choice.alternatives import relabeled
from ..outcome import Front, Outcome, Plan, PlanRisk
from .completion import Completion, completion, has_errors
from .flights_with_errors import refuse_without_errors
from .known_flights import KnownFlights
from .quantiles import Quantile

Progress = Callable[[str], None]

SAMPLES = 20_000
"""Rings flown for each plan."""

MOST_SPARES = 2
"""Spares up to which their worth is looked up."""


@dataclass(frozen=True, kw_only=True)
class WeighedPlan:
    """One plan with its risk.

    Args:
        plan: as listed.
        load_m_s: sum over the craft of the delta-v that 99 in 100 of its flights do not exceed; None where the
            scenario gives no errors.
        load_kg: the propellant for these, the reserve of the scenario on top; None without errors or without masses.
        completion: when it is done.
    """

    plan: Plan
    load_m_s: float | None
    load_kg: float | None
    completion: Completion

    @property
    def finish_p90(self) -> Quantile:
        """When 90 in 100 rings are done."""
        return self.completion.done[1]

    @property
    def risk(self) -> PlanRisk:
        """The same in numbers."""
        done = self.completion.done
        return PlanRisk(
            rank=self.plan.rank,
            load_m_s=self.load_m_s,
            load_kg=self.load_kg,
            finish_p50_s=done[0].value,
            finish_p90_s=done[1].value,
            in_time=self.completion.in_time,
            never=self.completion.never,
        )

    def weight(self, by: Weigh) -> float:
        """What it is weighed by: kg (m/s without masses), or s."""
        if by == "finish_p90":
            return self.finish_p90.value
        return (self.load_m_s or 0.0) if self.load_kg is None else self.load_kg


def refuse_unweighable(scenario: Scenario) -> None:
    """Raise InputError where there is nothing to weigh plans by."""
    risk = scenario.risk or Risk()
    if scenario.weigh == "load_p99":
        refuse_without_errors(scenario)
    elif not (risk.slips or risk.loss_share > 0.0) and not has_errors(scenario):
        raise InputError(
            "there is nothing to weigh plans by: add [risk] with slip_share and slip_mean_d, or with loss_share, or "
            "[errors].",
            where=scenario.source.where("goal.minimize"),
        )


def weighed(
    outcome: Outcome, samples: int = SAMPLES, seed: int = 1, progress: Progress = lambda _: None
) -> tuple[WeighedPlan, ...]:
    """Each plan of an outcome with its risk, in the order in which they are listed.

    Args:
        outcome: of planning; it must have plans.
        samples: rings flown for each plan.
        seed: of all random numbers, the same for every plan.
        progress: called with the state of the work in words.

    Raises:
        InputError: there is nothing to weigh by.
        OutOfTimeError: the search has ended.
    """
    refuse_unweighable(outcome.scenario)
    return tuple(_each(outcome, samples, seed, KnownFlights(samples, seed), progress))


def _each(outcome: Outcome, samples: int, seed: int, known: KnownFlights, progress: Progress) -> Iterator[WeighedPlan]:
    for plan in outcome.plans:
        poll()
        progress(f"weighing plan {plan.rank} of {len(outcome.plans)}")
        alone = replace(outcome.at_phase_of(plan), plans=(plan,))
        speed, mass = _load(alone, known) if has_errors(outcome.scenario) else (None, None)
        done = completion(alone, plan, samples, seed, known)
        yield WeighedPlan(plan=plan, load_m_s=speed, load_kg=mass, completion=done)


def _load(outcome: Outcome, known: KnownFlights) -> tuple[float, float | None]:
    """What is to be loaded by the only plan, in all."""
    speeds: list[float] = []
    masses: list[float] | None = []
    craft = {one.name: one for one in outcome.scenario.craft}
    for part, flown in zip(outcome.plans[0].craft, known.of_plan(outcome), strict=True):
        speeds.append(flown.most_m_s)
        one = craft[part.craft]
        if one.dry_mass_kg is None or one.isp_s is None:
            masses = None
        elif masses is not None:
            needed = propellant_needed(one.dry_mass_kg, flown.most_m_s + one.reserve_m_s, one.isp_s)
            masses.append(float(needed))
    return math.fsum(speeds), None if masses is None else math.fsum(masses)


def ranked(outcome: Outcome, progress: Progress = lambda _: None) -> Outcome:
    """The outcome with its plans ranked by what the goal weighs, ties by delta-v.

    What was proved of the plan that was first stays a note. The front's points keep their plans under the new ranks.

    Raises:
        InputError: there is nothing to weigh by.
        OutOfTimeError: the search has ended.
    """
    by = outcome.scenario.weigh
    if by is None or not outcome.plans:
        return outcome
    found = weighed(outcome, progress=progress)
    order = sorted(
        found, key=lambda one: (_as_printed(one.weight(by), by), round(one.plan.delta_v_m_s, 1), one.plan.rank)
    )
    new = {one.plan.rank: rank for rank, one in enumerate(order, start=1)}
    plans = tuple(replace(one.plan, rank=new[one.plan.rank]) for one in order)
    plans = relabeled((replace(plans[0], kind=None), *plans[1:]))
    changed = replace(
        outcome,
        plans=plans,
        front=None if outcome.front is None else _renumbered(outcome.front, new),
        proof=None,
        notes=(*outcome.notes, _said(outcome, new, by)),
        weighed=tuple(replace(one.risk, rank=new[one.plan.rank]) for one in order),
    )
    return changed.at_phase_of(plans[0])


def _as_printed(value: float, by: Weigh) -> float:
    """Weights that print alike are alike: 0.1 kg or m/s, a minute."""
    if math.isinf(value):
        return value
    return round(value, 1) if by == "load_p99" else round(value / 60.0)


def _renumbered(front: Front, new: dict[int, int]) -> Front:
    return replace(front, points=tuple(replace(point, plan=new[point.plan]) for point in front.points))


def _said(outcome: Outcome, new: dict[int, int], by: Weigh) -> str:
    what = "the load for 99 in 100 flights" if by == "load_p99" else "the date by which 90 in 100 rings are done"
    text = f"the {len(new)} plans listed were weighed one by one by {what}; a plan that is not listed may be better"
    if outcome.proof is not None and outcome.proof.status == "optimal":
        aim = {"delta_v": "delta-v", "finish": "finish"}[outcome.proof.aim]
        text += f". Plan {new[outcome.plans[0].rank]} has the least {aim} as planned, proved over the catalogue"
    return text


@dataclass(frozen=True, kw_only=True)
class RiskStudy:
    """The answer of a study of risk.

    Args:
        outcome: as planned, its plans ranked by the goal.
        plans: each with its risk, in that order; fewer than the outcome has where the search was ended.
        spares: the first plan with so many craft that stand ready, from none upward; empty where none is lost, fewer
            where the search was ended.
        spares_asked: for how many numbers of spares that was to be found out.
        samples, seed: rings flown for each, and of all random numbers.
    """

    outcome: Outcome
    plans: tuple[WeighedPlan, ...]
    spares: tuple[tuple[int, Completion], ...]
    spares_asked: int
    samples: int
    seed: int

    @property
    def unfinished(self) -> str:
        """What was not reached because the search was ended, in words; empty where everything asked for is there."""
        said = [f"planning: {self.outcome.unfinished}"] if self.outcome.unfinished else []
        if (missing := len(self.outcome.plans) - len(self.plans)) > 0:
            said.append(f"{missing} of {len(self.outcome.plans)} plans were not weighed")
        if len(self.spares) < self.spares_asked:
            said.append("what spares are worth was not reached" if not self.spares else "more spares were not reached")
        return "; ".join(said)


def study(outcome: Outcome, samples: int = SAMPLES, seed: int = 1, progress: Progress = lambda _: None) -> RiskStudy:
    """Every plan of an outcome with its risk, and what spares are worth to the first; as far as time suffices.

    Args:
        outcome: of planning; it must have plans.
        samples: rings flown for each plan.
        seed: of all random numbers.
        progress: called with the state of the work in words.

    Raises:
        InputError: there is nothing to weigh by.
    """
    refuse_unweighable(outcome.scenario)
    risk = outcome.scenario.risk or Risk()
    launched = any(part.launch_s is not None for part in outcome.plans[0].craft)
    counts = range(max(MOST_SPARES, risk.spares) + 1) if risk.loss_share > 0.0 and launched else range(0)
    plans, found, known = [], [], KnownFlights(samples, seed)
    with suppress(*ENDED):
        for one in _each(outcome, samples, seed, known, progress):
            plans.append(one)  # noqa: PERF402
        for count in counts:
            poll()
            progress(f"with {count} spares")
            scenario = replace(outcome.scenario, risk=replace(risk, spares=count))
            found.append((count, completion(replace(outcome, scenario=scenario), plans[0].plan, samples, seed, known)))
    return RiskStudy(
        outcome=outcome,
        plans=tuple(plans),
        spares=tuple(found),
        spares_asked=len(counts),
        samples=samples,
        seed=seed,
    )
