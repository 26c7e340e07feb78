"""The best plan under each strategy, and of whole scenarios, side by side.

A strategy is a filter on the options, asked before any pruning, since what the best plan beats is left out of the
catalogue itself. Each best plan is flown; fronts are numbers, proved over the catalogue.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from ...models import deadline
from ...models.deadline import Clock
from ...models.scenario import Scenario
from ..choice.contenders import contenders, order
from ..choice.first_service import first_service_s
from ..choice.front import Walked, walk
from ..choice.objectives import Chosen, Order
from ..choice.other_fronts import UNITS, as_front, other_fronts
from ..choice.ring_phase import best_phase
from ..choice.selection import Selection
from ..outcome import AimFront, Infeasible, Margin, Plan, Proof
from ..plan import proof_of, why_not
from ..problem.problem import kept_errors
from ..problem.restriction import NO_RESTRICTION, Restriction
from ..problem.ring_phase import problems
from ..robustness.keeping import keeping_of
from ..robustness.under_forces import by_bulge_words

About = Literal["all", "side", "revolutions", "route", "liftoff", "scenario"]
Progress = Callable[[str], None]

FEW = (2, 4)
"""What counts as few revolutions; fewer is one, more is many."""


@dataclass(frozen=True, kw_only=True)
class Strategy:
    """A way to restrict every craft alike. ``at_once``: the last liftoff is as early as the pads allow."""

    name: str
    about: About
    restriction: Restriction = NO_RESTRICTION
    at_once: bool = False


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One line of a comparison: the best plan under a strategy, or of a scenario.

    Args:
        name, about: what is compared, and which choice it restricts.
        scenario: what was planned.
        plan: best by the scenario's goal, flown; None where there is none.
        proof: what was proved about it.
        first_service_s: None where the scenario does not ask for it or it never comes.
        clearance_m: lowest periapsis flown through above the top of the atmosphere; None where none is.
        tightest: the limit with the smallest room relative to its size, None where no limit applies.
        fronts: ``delta_v`` and, where they were asked for, the others.
        infeasible: why there is no plan, where that was asked.
        unfinished: what is missing because the search ended early.
        notes: what a reader must know.
    """

    name: str
    about: About
    scenario: Scenario
    plan: Plan | None = None
    proof: Proof | None = None
    first_service_s: float | None = None
    clearance_m: float | None = None
    tightest: Margin | None = None
    fronts: tuple[AimFront, ...] = ()
    infeasible: Infeasible | None = None
    unfinished: str = ""
    notes: tuple[str, ...] = ()

    @property
    def undecided(self) -> bool:
        """Whether the search was ended before a plan was flown or proved impossible."""
        return self.plan is None and self.infeasible is None and bool(self.unfinished)


def strategies(scenario: Scenario) -> tuple[Strategy, ...]:
    """The strategies that mean something for a scenario, the unrestricted one first.

    Below and above are said of the phasing orbit, few of its revolutions; a craft that needs no phasing keeps any of
    these rules. Routes are compared where pads offer several or there are carriers, liftoffs
    where something is launched.
    """
    most = scenario.limits.revolutions_max
    found = [
        Strategy(name="free choice", about="all"),
        Strategy(name="below only", about="side", restriction=Restriction(sides=frozenset({-1, 0}))),
        Strategy(name="above only", about="side", restriction=Restriction(sides=frozenset({0, 1}))),
    ]
    low, high = FEW
    for name, first, last in (
        ("one revolution", 1, 1),
        (f"{low} to {high} revolutions", low, high),
        (f"{high + 1} or more revolutions", high + 1, most),
    ):
        if first <= most:
            wanted = frozenset({0, *range(first, min(last, most) + 1)})
            found.append(Strategy(name=name, about="revolutions", restriction=Restriction(revolutions=wanted)))
    if any(craft.orbit is None for craft in scenario.craft):
        kinds = {insertion.circular for pad in scenario.pads for insertion in pad.insertions}
        if len(kinds) > 1:
            direct, park = (
                Restriction(routes=frozenset({"direct", "shift"})),
                Restriction(routes=frozenset({"park", "shift"})),
            )
            found.append(Strategy(name="direct", about="route", restriction=direct))
            found.append(Strategy(name="by parking orbit", about="route", restriction=park))
        if scenario.carriers:
            by = Restriction(routes=frozenset({"carrier", "shift", "timed"}))
            alone = Restriction(routes=frozenset({"direct", "park", "shift", "timed"}))
            found.append(Strategy(name="by carrier", about="route", restriction=by))
            found.append(Strategy(name="a launch each", about="route", restriction=alone))
        found.append(Strategy(name="lift off at once", about="liftoff", at_once=True))
    if scenario.front_step_s is not None:
        by_period = Restriction(routes=frozenset({"direct", "park", "shift"}))
        found.append(Strategy(name="by period alone", about="route", restriction=by_period))
    return tuple(found)


def compare_strategies(
    scenario: Scenario, progress: Progress = lambda _: None, *, left_s: Clock = lambda: math.inf
) -> tuple[Entry, ...]:
    """The best plan under each strategy, with its front of total delta-v against finish.

    Args:
        left_s: seconds left for the search, of which each strategy gets its share, flights included.

    Raises:
        InputError: craft that stay contradict one another.
    """
    found = []
    todo = strategies(scenario)
    with deadline.searching(left_s):
        for number, strategy in enumerate(todo):
            with deadline.ending(deadline.share(1.0 / (len(todo) - number))):
                found.append(judge(scenario, strategy, lambda what, s=strategy: progress(f"{s.name}: {what}")))  # type: ignore[misc]
    return tuple(found)


def compare_scenarios(
    named: Sequence[tuple[str, Scenario]], progress: Progress = lambda _: None, *, left_s: Clock = lambda: math.inf
) -> tuple[Entry, ...]:
    """Whole scenarios: the best plan of each by its own goal, with every front.

    Args:
        named: what each is called, and the scenario.
    """
    found = []
    with deadline.searching(left_s):
        for number, (name, scenario) in enumerate(named):
            with deadline.ending(deadline.share(1.0 / (len(named) - number))):
                entry = judge(
                    scenario,
                    Strategy(name=name, about="scenario"),
                    lambda what, n=name: progress(f"{n}: {what}"),  # type: ignore[misc]
                    every_front=True,
                    why=True,
                )
                found.append(entry)
    return tuple(found)


def judge(
    scenario: Scenario,
    strategy: Strategy,
    progress: Progress = lambda _: None,
    *,
    every_front: bool = False,
    any_front: bool = True,
    why: bool = False,
) -> Entry:
    """The best plan under one strategy, flown, and its fronts.

    Args:
        every_front: whether the fronts other than total delta-v against finish are walked too.
        why: whether to look for the limit that binds where there is no plan.
    """
    aim = scenario.minimize
    first: tuple[Order, ...] = ("last_liftoff",) if strategy.at_once else ()
    empty = Entry(name=strategy.name, about=strategy.about, scenario=scenario)
    with deadline.undisturbed():
        choices = problems(scenario)
    laid = best_phase(choices, aim, progress, strategy.restriction, first=first)
    selection, best, late = laid.selection, laid.best, laid.late
    if best is None:
        return replace(empty, infeasible=why_not(scenario, progress)[0] if why and not late else None, unfinished=late)
    problem = selection.made.problem
    flown = [(best, selection.flyer.plan(best.options))]
    walked = _walked(selection, strategy, best, progress) if any_front else None
    if walked is not None and strategy.restriction == NO_RESTRICTION:
        # as a plan of the scenario is chosen: what flights cost more than the catalogue says is seen on the front, too
        selection.flyer.fly([one.options for one in walked.plans])
        flown += [(one, selection.flyer.plan(one.options)) for one in walked.plans]
    # a strategy that fixes liftoffs has an aim that comes first, and keeps to what is best by the catalogue
    more, others_from = ((), -math.inf) if strategy.at_once else contenders(selection, aim, progress)
    flown += [(one, selection.flyer.plan(one.options)) for one in more]
    chosen, plan = min(flown, key=lambda pair: order(pair[1], aim, best=pair[0] is best))
    missing = [late] if late else []
    fronts = () if walked is None else _fronts(selection, walked, every_front, progress)
    if any(not front.points for front in fronts):
        missing.append("not every front was computed")
    neighbors = scenario.first_service
    service = math.inf if neighbors is None else first_service_s(problem, chosen.options, neighbors)
    top = scenario.body.radius_m + scenario.body.atmosphere_top_m
    lowest = min((c.lowest_periapsis_m for c in plan.craft if c.lowest_periapsis_m is not None), default=None)
    said = by_bulge_words(scenario, plan)
    with deadline.undisturbed():
        [keeping] = keeping_of(scenario, problem.ring, [plan], kept_errors(problem))
    return replace(
        empty,
        plan=replace(plan, keeping=keeping),
        proof=proof_of(laid, best, aim, late, before=len(first), flown=flown, others_from=others_from),
        first_service_s=service if math.isfinite(service) else None,
        clearance_m=None if lowest is None else lowest - top,
        tightest=tightest(plan),
        fronts=fronts,
        unfinished="; ".join(missing),
        notes=(*problem.notes, *selection.made.notes, *([said] if said else [])),
    )


def _walked(selection: Selection, strategy: Strategy, best: Chosen, progress: Progress) -> Walked | None:
    """The front of total delta-v against finish; None where the walk would move liftoffs, which the strategy fixes."""
    if strategy.at_once:
        return None
    return walk(selection, best if selection.made.problem.scenario.minimize == "delta_v" else None, progress)


def _fronts(selection: Selection, walked: Walked, every: bool, progress: Progress) -> tuple[AimFront, ...]:
    main = as_front("delta_v", selection, walked, UNITS["delta_v"])
    return (main, *(other_fronts(selection, progress) if every else ()))


def room_share(margin: Margin) -> float:
    """Room that a plan leaves under a limit, relative to the larger of value and limit; negative where it is broken.

    >>> room_share(Margin(limit="limits.finish_within", value=80.0, allowed=100.0, sense="at most", craft="Teal"))
    0.2
    """
    room = margin.value - margin.allowed if margin.sense == "at least" else margin.allowed - margin.value
    return room / max(abs(margin.allowed), abs(margin.value), 1e-12)


def tightest(plan: Plan) -> Margin | None:
    """The limit with the least relative room."""
    counted = [margin for margin in plan.margins if math.isfinite(margin.allowed)]
    return min(counted, key=room_share, default=None)
