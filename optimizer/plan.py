"""From a scenario to ranked plans: the whole pipeline on one page."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from ..models.scenario import Aim, Scenario
from .catalogue.catalogue import catalogue
from .catalogue.free_form import dearest_price, with_free_form
from .catalogue.from_orbit import in_space
from .catalogue.problem import Problem, kept_errors, problems
from .catalogue.restriction import NO_RESTRICTION, Restriction
from .choice import front as front_walk
from .choice.alternatives import Alternative, alternatives
from .choice.infeasible import diagnose
from .choice.oblate_notes import notes_on_flight
from .choice.other_fronts import UNITS, other_fronts
from .choice.selection import Chosen, Order, OutOfTimeError, Selection, worth
from .contenders import differs, value
from .listing import broken_in_flight, listed, rejected
from .outcome import AimFront, Infeasible, Outcome, Plan, Proof
from .ties import printed

Progress = Callable[[str], None]
Clock = Callable[[], float]

BROKEN_IN_FLIGHT = "every plan that was flown breaks a limit"
"""What is said where the search for one that does not is given up."""

NO_DIFFERENCE = 1e-6
"""In m/s, s or kg: flown costs that differ by less than this do not differ."""


def make_plan(
    scenario: Scenario,
    progress: Progress = lambda _: None,
    *,
    fronts: bool = False,
    price: bool = False,
    left_s: Clock = lambda: math.inf,
) -> Outcome:
    """Plan a scenario: ranked plans, each flown numerically, the front, and what was proved.

    Args:
        scenario: validated input.
        progress: told in words what is being done.
        fronts: whether to walk the other fronts too.
        price: whether to work out what time is worth to the dearest craft in space.
        left_s: seconds left for the search; it may drop to 0 at any moment. What is missing then is said in the
            outcome, and what was not proved is marked as bounded.

    Returns:
        The outcome; where no plan keeps the limits it has no plans and says which limit binds.

    Raises:
        InputError: craft that stay contradict one another.
    """
    aim = scenario.minimize
    selection, best, late = best_phase(problems(scenario), aim, progress, left_s=left_s)
    problem = selection.made.problem
    if best is None:
        return _no_plan(selection, late, progress, left_s)
    missing = [late] if late else []
    walked = _walk(selection, best, progress)
    if walked.late:
        missing.append(f"of the front only {len(walked.plans)} points were found")
    others: tuple[Alternative, ...] = ()
    if left_s() > 0.0:
        others = alternatives(selection, best, (aim, "finish" if aim == "delta_v" else "delta_v"), progress)
    else:
        missing.append("plans of another kind were not looked for")
    more: tuple[AimFront, ...] = ()
    if fronts and left_s() > 0.0:
        more = other_fronts(selection, progress)
    elif fronts:
        missing.append("the other fronts were not walked")
    found = listed(selection, best, walked, others, aim, progress)
    if not found.plans:
        return _no_plan(selection, "; ".join(missing), progress, left_s)
    left = sum(plan.kind == "beside the front" for plan in found.plans)
    return Outcome(
        scenario=scenario,
        ring=problem.ring,
        proof=proof_of(selection, best, aim, late, flown=found.flown, all_flown=found.all_flown),
        kept=kept_errors(problem),
        front=found.front,
        plans=found.plans,
        infeasible=None,
        phase_rule=problem.phase_rule,
        notes=(*problem.notes, *notes_on_flight(problem, best, found.plans, left)),
        fronts=more,
        unfinished="; ".join(missing),
        price=dearest_price(problem, found.plans[0], progress) if price and left_s() > 0.0 else None,
    )


def _no_plan(selection: Selection, late: str, progress: Progress, left_s: Clock) -> Outcome:
    """The answer where no plan keeps all limits: what binds, and the plans that come nearest, if any was flown."""
    problem = selection.made.problem
    scenario = problem.scenario
    near = rejected(selection, scenario.minimize) if selection.cuts.rejected else ()
    infeasible: Infeasible | None
    if near and (not late or late == BROKEN_IN_FLIGHT):
        infeasible, unfinished = broken_in_flight(near, all_flown=not late), ""
    else:
        infeasible, unfinished = _why_not(scenario, late, progress, left_s)
    return Outcome(
        scenario=scenario,
        ring=problem.ring,
        proof=None,
        kept=kept_errors(problem),
        front=None,
        plans=(),
        infeasible=infeasible,
        phase_rule=problem.phase_rule,
        notes=problem.notes,
        unfinished=unfinished,
        rejected=near,
    )


def proof_of(
    selection: Selection,
    best: Chosen,
    aim: Aim,
    late: str = "",
    *,
    before: int = 0,
    flown: Sequence[tuple[Chosen, Plan]] = (),
    all_flown: bool = False,
) -> Proof:
    """What was proved about the best plan; nothing where ring phases were left out because time ran out.

    Args:
        selection: what it was chosen from.
        best: the best plan by the catalogue. What merely breaks ties may be open.
        aim: what makes it best.
        late: what was left out, in words.
        before: how many aims came first; the proof then holds among their best.
        flown: choices and what they came to, which may be less than the catalogue says.
        all_flown: whether every plan is among them that this difference could make best: nothing is then below the
            least of them. Else the difference is taken off the catalogue's bound.
    """
    bound, gap = best.solved.bound, best.solved.gap
    proved = best.proved or (not before and printed(aim, best.solved.objective) == printed(aim, bound))
    if before:
        bound, gap = (best.solved.values[before], 0.0) if proved else (-math.inf, math.inf)
    if late:
        bound, gap = -math.inf, math.inf
    less = [differs(selection, chosen, plan, aim) for chosen, plan in flown]
    most = max((abs(by) for by in less), default=0.0)
    return Proof(
        status="optimal" if proved and not late else "bounded",
        aim=aim,
        bound=min([bound if all_flown else bound - max([0.0, *less]), *(value(plan, aim) for _, plan in flown)]),
        catalogue_bound=bound,
        flown_differs_by=most if most > NO_DIFFERENCE else 0.0,
        all_flown=all_flown,
        unit=UNITS[aim],
        gap=gap,
        options=selection.made.looked_at,
        free_form=len(selection.made.problem.timed),
    )


def _why_not(scenario: Scenario, late: str, progress: Progress, left_s: Clock) -> tuple[Infeasible | None, str]:
    """The limit that binds; where time ran out, what is not known."""
    if late:
        return None, "no plan was found before that, and none was proved impossible"

    def watched(what: str) -> None:
        if left_s() <= 0.0:
            raise OutOfTimeError
        progress(what)

    try:
        return diagnose(scenario, watched), ""
    except OutOfTimeError:
        reason = "the limit that binds was not found before the search was broken off"
        return Infeasible(binds=(), together=False, reason=reason), reason


def _walk(selection: Selection, best: Chosen, progress: Progress) -> front_walk.Walked:
    cheapest: Chosen | None = best
    if selection.made.problem.scenario.minimize != "delta_v":
        try:
            cheapest = selection.best(("delta_v", "finish"))
        except OutOfTimeError:
            return front_walk.NOTHING
        if cheapest is None:
            raise RuntimeError("a plan by one aim, but none by another: a fault of ours")
    return front_walk.walk(selection, cheapest, progress)


def best_phase(
    choices: tuple[Problem, ...],
    aim: Aim,
    progress: Progress,
    restriction: Restriction = NO_RESTRICTION,
    *,
    first: tuple[Order, ...] = (),
    left_s: Clock = lambda: math.inf,
) -> tuple[Selection, Chosen | None, str]:
    """The ring phase with the best plan; the first one where there is no plan at all.

    Args:
        choices: the phases.
        aim: what makes a plan best.
        progress: told in words what is being done.
        restriction: filter on the options, asked before any pruning.
        first: what comes before the aim.
        left_s: seconds left.

    Returns:
        The phase, its best plan, and in words what was left out because time ran out.
    """
    found: list[tuple[tuple[float, ...], int, Selection, Chosen]] = []
    at_first: Selection | None = None
    late = 0
    for number, problem in enumerate(choices):
        if found and left_s() <= 0.0:
            late += 1
            continue
        progress("options" if len(choices) == 1 else f"options, ring phase {number + 1} of {len(choices)}")
        if problem.scenario.front_step_s is not None:
            problem = with_free_form(problem, in_space(problem), progress, left_s)
        selection = Selection(catalogue(problem, restriction), left_s)
        at_first = at_first or selection
        try:
            best = selection.best((*first, aim))
        except OutOfTimeError:
            late += 1
            continue
        if best is not None:
            first_values = tuple(round(v, 6) for v in best.solved.values[: len(first)])
            found.append(((*first_values, *worth(selection.made, best, (aim,))), number, selection, best))
    said = ""
    if late:
        said = (
            f"{late} of {len(choices)} ring phases were not looked at" if len(choices) > 1 else "the search is undone"
        )
    if not found and at_first is not None and at_first.cuts.spent:
        said = BROKEN_IN_FLIGHT
    if not found:
        if at_first is None:
            raise RuntimeError("a scenario has at least one ring phase: a fault of ours")
        return at_first, None, said
    _, _, selection, best = min(found, key=lambda item: item[:2])
    return selection, best, said
