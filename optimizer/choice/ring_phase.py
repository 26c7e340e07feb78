"""The phase of the ring as a decision: which phases are worth planning, and what none gets below.

Where the scenario leaves the phase free and no craft stays, the least of the aim over all phases is bounded
(`phase_bounds.py`); plans are made and flown at the phases that the bound names, until one comes to it as printed. What
the bound does not cover (launches beyond what each pays at least, other planes, free-form flights, carriers) is looked
at at some phases only, and the answer says so.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace

import numpy as np

from ...models import deadline
from ...models.deadline import ENDED
from ...models.scenario import Aim
from ..catalogue.catalogue import Catalogue, catalogue
from ..catalogue.free_form import with_free_form
from ..catalogue.phase_choices import covers
from ..outcome import PhaseProof
from ..problem.options import empty
from ..problem.problem import Problem
from ..problem.restriction import NO_RESTRICTION, Restriction
from ..routes import rephase
from ..routes.route import Question
from .cuts import WORK_MAX_TURNS
from .objectives import Chosen, Order, total, worth
from .phase_bounds import Least, PhaseBounds
from .selection import Selection
from .ties import printed, prints_until

Progress = Callable[[str], None]

FREE_FORM_SHARE, PHASES_SHARE = 0.5, 0.5
"""Of the time that is left: what the search for free-form flights may take before the choice of a plan, and what the
phases after the first may."""

BROKEN_IN_FLIGHT = "every plan that was flown breaks a limit"
"""What is said where the search for one that does not is given up."""

CHOSEN = "the phase of the ring is chosen with the plan"
"""What decides where the ring stands."""

ANY_PLAN_M_S = 1e9
"""A tolerance with which the first plan that is found is good enough."""

TOLERANCE: dict[Aim, float] = {"delta_v": 0.02, "worst_delta_v": 0.02, "propellant": 0.02, "finish": 10.0}
"""How closely the least over all phases is known, m/s, kg, s: well inside what is printed."""

PRINTED: dict[Aim, float] = {"delta_v": 0.1, "worst_delta_v": 0.1, "propellant": 0.1, "finish": 60.0}
"""What a plan may come to more than the bound and still be proved over all phases: one printed digit."""

TRIES_MAX, RULES_MAX = 8, 8
"""Most phases that are planned where the bound covers every choice; and most of those that rules name elsewhere."""

GRID, HALVINGS = 12, 4
"""With launches so many phases evenly over a slot spacing are planned, then so often two half as far from the best."""

UNEVEN_GRID = 36
"""So many over a whole turn, or what part of it puts slots where slots were, where they are not equally spaced."""

ASIDE_RAD = (1e-4, -1e-4, 1e-3, -1e-3)
"""So far beside the best phase others are tried, where a plan there breaks a limit or meets another craft."""


@dataclass(frozen=True, kw_only=True)
class Laid:
    """A ring phase with its best plan, or none.

    Args:
        selection: what the plan was chosen from, at its phase.
        best: None where no phase that was examined has a plan.
        late: what was left out because time ran out, in words.
        phases: what is known about other phases; None where the scenario gives the phase, or craft that stay do.
        bounds: the bounds that this is by; None where nothing is bounded.
        examined: what plans were chosen from at the phases that were looked at, with what was flown there; only where
            something is bounded.
    """

    selection: Selection
    best: Chosen | None
    late: str
    phases: PhaseProof | None = None
    bounds: PhaseBounds | None = field(default=None, repr=False)
    examined: tuple[Selection, ...] = field(default=(), repr=False)


@dataclass(frozen=True, kw_only=True)
class _Examined:
    rank: tuple[float, ...]
    value: float
    selection: Selection
    best: Chosen
    flown: bool


class _Search:
    """Plans at one phase after another."""

    def __init__(
        self, aim: Aim, progress: Progress, restriction: Restriction, first: tuple[Order, ...], count: int
    ) -> None:
        self.aim, self.progress, self.restriction, self.first, self.count = aim, progress, restriction, first, count
        self.found: list[_Examined] = []
        self.selections: list[Selection] = []
        self.late = self.tried = 0

    def examine(self, problem: Problem, *, flown: bool = True) -> None:
        """Plan at the phase of a problem; by the catalogue alone where it is not to be flown yet."""
        self.tried += 1
        self.progress("options" if self.count == 1 else f"options, ring phase {self.tried}")
        try:
            deadline.poll()
            if problem.scenario.front_step_s is not None:
                with deadline.searching(deadline.share(FREE_FORM_SHARE)):
                    problem = with_free_form(problem, rephase.columns(Question(problem=problem)), self.progress)
            selection = Selection(catalogue(problem, self.restriction))
            self.selections.append(selection)
            best = selection.best((*self.first, self.aim), flown=flown)
        except ENDED:
            self.late += 1
            return
        self.late += best is None and problem.timed_missing > 0
        if best is not None:
            self.found.append(self._as_examined(selection, best, flown=flown))

    def _as_examined(self, selection: Selection, best: Chosen, *, flown: bool) -> _Examined:
        first = tuple(round(v, 6) for v in best.solved.values[: len(self.first)])
        rank = (*first, *worth(selection.made, best, (self.aim,)))
        value = total(selection.made, best.options, self.aim)
        return _Examined(rank=rank, value=value, selection=selection, best=best, flown=flown)

    def settle(self, bound: float) -> None:
        """Fly the best, and the next one where that breaks a limit, until the best of all keeps its limits.

        For all phases after the first no more is flown than for two; once a plan that was flown comes to the bound,
        others can be better only by the next aims: for these no more than for one.
        """
        spare_turns = 2.0 * WORK_MAX_TURNS
        while self.best is not None and not self.best.flown:
            one = self.best
            self.found.remove(one)
            if spare_turns <= 0.0:
                self.late += 1
                continue
            before = one.selection.flyer.work_turns
            try:
                best = one.selection.best((*self.first, self.aim))
            except ENDED:
                self.late += 1
                best = None
            if best is not None:
                self.found.append(self._as_examined(one.selection, best, flown=True))
            spare_turns -= one.selection.flyer.work_turns - before
            if self.within(bound):
                spare_turns = min(spare_turns, WORK_MAX_TURNS)

    def within(self, bound: float) -> bool:
        """Whether the best that was flown comes to the bound, as far as is printed."""
        least = min((one.value for one in self.found if one.flown), default=math.inf)
        return least <= bound + PRINTED[self.aim] or printed(self.aim, least) == printed(self.aim, bound)

    @property
    def best(self) -> _Examined | None:
        """The best so far; the earliest of those that rank alike."""
        return min(self.found, key=lambda one: one.rank, default=None)


def best_phase(
    choices: tuple[Problem, ...],
    aim: Aim,
    progress: Progress,
    restriction: Restriction = NO_RESTRICTION,
    *,
    first: tuple[Order, ...] = (),
) -> Laid:
    """The ring phase with the best plan; the first one where there is no plan at all.

    Args:
        restriction: filter on the options, asked before any pruning.
        first: what comes before the aim.
    """
    if not is_decided(choices):
        search = _Search(aim, progress, restriction, first, len(choices))
        for problem in choices:
            search.examine(problem)
        return _laid(search, choices, None, None)
    problem = choices[0]
    covered = not first and covers(problem, restriction)
    bounds, least = _bounded(problem, aim, progress, restriction if covered else NO_RESTRICTION)
    bound = least[0].bound if least and covered else -math.inf
    phases = [at(problem, one.phase_rad) for one in least if math.isfinite(one.value)][-1:]
    if covered and not problem.launches:
        # where no phase has a plan the first one shows why
        phases = [*phases, *_further(problem, least[-1])] if phases else [*choices[: 1 if least else None]]
    elif problem.launches < sum(group.count for group in problem.classes):
        phases = [*phases, *choices[:RULES_MAX]]
    else:
        # no craft is up yet: the first arrival lays the ring as well as anything else
        phases = [*choices[:RULES_MAX], *phases]
    search = _Search(aim, progress, restriction, first, len(phases))
    search.examine(phases[0])
    with suppress(*ENDED), deadline.searching(deadline.share(PHASES_SHARE)):
        for other in phases[1:]:
            if search.within(bound):
                break
            deadline.poll()
            search.examine(other, flown=False)
        alone = problem.launches and not problem.aboard and problem.scenario.front_step_s is None
        if alone and not search.within(bound):
            _around(search, problem, bound)
    search.settle(bound)
    return _laid(search, choices, bound, bounds if covered else None)


def _around(search: _Search, problem: Problem, bound: float) -> None:
    """Plan at phases evenly until slots are where slots were, then ever closer around the best."""
    count = GRID if problem.ring.repeat_rad <= problem.ring.spacing_rad else UNEVEN_GRID
    step = problem.ring.repeat_rad / count
    for i in range(1, count):
        if search.within(bound):
            return
        deadline.poll()
        search.examine(at(problem, problem.ring.slot0_rad + i * step), flown=False)
    for _ in range(HALVINGS):
        step *= 0.5
        if search.best is None:
            return
        middle = search.best.selection.made.problem.ring.slot0_rad
        for phase in (middle - step, middle + step):
            deadline.poll()
            search.examine(at(problem, phase), flown=False)


def is_decided(choices: tuple[Problem, ...]) -> bool:
    """Whether the phase is for the planner to choose: free, with no craft that stays and some to move."""
    problem = choices[0]
    return not problem.phase_given and not problem.kept and bool(problem.classes)


def some_phase_serves(choices: tuple[Problem, ...]) -> bool | None:
    """Whether the craft have a plan at any phase of the ring, by bounds over all of them; None where these do not hold.

    Nobody's distance to anybody is looked at.
    """
    problem = choices[0]
    if not is_decided(choices) or problem.launches or not covers(problem, NO_RESTRICTION):
        return None
    return math.isfinite(PhaseBounds(problem).least("delta_v", ANY_PLAN_M_S).value)


def at(problem: Problem, phase_rad: float) -> Problem:
    """The problem at another phase of its ring; no craft stays in it."""
    phase = float(np.remainder(phase_rad, problem.ring.repeat_rad))
    return replace(problem, ring=replace(problem.ring, slot0_rad=phase), phase_rule=CHOSEN, timed=(), timed_missing=0)


def _bounded(
    problem: Problem, aim: Aim, progress: Progress, restriction: Restriction
) -> tuple[PhaseBounds | None, tuple[Least, ...]]:
    """Bounds over all phases, and the least of the aim; of those that print alike also the least total."""
    progress("phases of the ring")
    try:
        with deadline.searching(deadline.share(PHASES_SHARE)):
            bounds = PhaseBounds(problem, restriction)
            least = bounds.least(aim, TOLERANCE[aim])
            if not math.isfinite(least.value) or aim in ("delta_v", "propellant"):
                return bounds, (least,)
            until = prints_until(aim, least.value)
            if aim == "finish":
                return bounds, (least, bounds.least("delta_v", TOLERANCE["delta_v"], finish_s=until))
            return bounds, (least, bounds.least("delta_v", TOLERANCE["delta_v"], most_m_s=until))
    except ENDED:
        return None, ()


def _further(problem: Problem, least: Least) -> list[Problem]:
    """Phases to try where the best one does not hold what it promises: beside it, and the next best."""
    phases = [least.phase_rad + by for by in ASIDE_RAD] + [phase for phase, _ in least.tried[1:]]
    return [at(problem, phase) for phase in phases[: TRIES_MAX - 1]]


def _laid(search: _Search, choices: tuple[Problem, ...], bound: float | None, bounds: PhaseBounds | None) -> Laid:
    best = search.best
    said = ""
    if search.late:
        said = (
            f"{search.late} of {search.tried} ring phases were not examined"
            if search.tried > 1
            else "the search did not finish"
        )
    if best is None:
        first = search.selections[0] if search.selections else None
        if first is not None and first.cuts.spent:
            said = BROKEN_IN_FLIGHT
        return Laid(selection=first or Selection(_nothing_listed(choices[0])), best=None, late=said)
    phases = None
    if bound is not None:
        proved = search.within(bound) and best.best.proved
        phases = PhaseProof(proved=proved, bound=bound, tried=len(search.found))
        said = "" if best.best.proved else said
    examined = () if bounds is None else tuple(search.selections)
    return Laid(selection=best.selection, best=best.best, late=said, phases=phases, bounds=bounds, examined=examined)


def _nothing_listed(problem: Problem) -> Catalogue:
    """A catalogue that was not made."""
    return Catalogue(problem=problem, options=empty(), moments_s=(), looked_at=0, free_form=0, exact=False)
