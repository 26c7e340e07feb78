"""From a scenario to ranked plans: the whole pipeline on one page."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from ..models.scenario import Aim, Scenario
from .catalogue.catalogue import catalogue
from .catalogue.free_form import dearest_price, with_free_form
from .catalogue.from_orbit import in_space
from .catalogue.problem import Problem, kept_errors, problems
from .catalogue.restriction import NO_RESTRICTION, Restriction
from .choice import front as front_walk
from .choice.alternatives import BEST, Alternative, alternatives, relabeled
from .choice.infeasible import diagnose
from .choice.oblate_notes import left_front, notes_on_flight
from .choice.other_fronts import UNITS, other_fronts
from .choice.selection import DELTA_V_TOLERANCE, FINISH_TOLERANCE, Chosen, Order, OutOfTimeError, Selection
from .outcome import AimFront, Front, FrontPoint, Infeasible, Outcome, Plan, Proof
from .robustness.hold import hold
from .robustness.under_forces import under_forces
from .routes.options import join
from .trajectory.assembly import assemble, fly_all

Progress = Callable[[str], None]
Clock = Callable[[], float]


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
        )
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
    plans, order = _fly_and_rank(problem, aim, best, walked.plans, others, progress)
    points = [
        FrontPoint(
            delta_v_m_s=plans[order[i] - 1].delta_v_m_s,
            finish_s=plans[order[i] - 1].finish_s,
            plan=order[i],
            kind=kind if plans[order[i] - 1].by_period_alone else "curve",
        )
        for i, kind in enumerate(walked.kinds)
        if plans[order[i] - 1].on_front
    ]
    if problem.oblate:
        points.sort(key=lambda point: point.finish_s)
    found = Outcome(
        scenario=scenario,
        ring=problem.ring,
        proof=proof_of(selection, best, aim, late),
        kept=kept_errors(problem),
        front=Front(points=tuple(points), resolution_m_s=walked.resolution, note=front_walk.note(walked, selection))
        if points
        else None,
        plans=plans,
        infeasible=None,
        phase_rule=problem.phase_rule,
        notes=(*problem.notes, *notes_on_flight(problem, best, plans, len(walked.plans) - len(points))),
        fronts=more,
        unfinished="; ".join(missing),
        price=dearest_price(problem, plans[0], progress) if price and left_s() > 0.0 else None,
    )
    if scenario.forces is None:
        return found
    if left_s() <= 0.0:
        return replace(found, unfinished="; ".join([*missing, "plan 1 was not flown under further forces"]))
    progress("flying plan 1 under further forces")
    return replace(found, under=under_forces(found, plans[0]))


def proof_of(selection: Selection, best: Chosen, aim: Aim, late: str = "", *, before: int = 0) -> Proof:
    """What was proved about the best plan; nothing where ring phases were left out because time ran out.

    What merely breaks ties may be open. ``before``: how many aims came first; the proof then holds among their best.
    """
    problem = selection.made.problem
    tolerance = FINISH_TOLERANCE if aim == "finish" else DELTA_V_TOLERANCE
    bound, gap = best.solved.bound, best.solved.gap
    proved = best.proved or (not before and best.solved.objective - bound <= 2.0 * tolerance)
    if before:
        bound, gap = (best.solved.values[before], 0.0) if proved else (-math.inf, math.inf)
    return Proof(
        status="optimal" if proved and not late else "bounded",
        aim=aim,
        bound=-math.inf if late else bound,
        unit=UNITS[aim],
        gap=math.inf if late else gap,
        options=selection.made.looked_at,
        free_form=selection.made.free_form,
        phase="" if problem.phase_given else problem.phase_rule,
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
            worth = tuple(round(v, 6) for v in best.solved.values)
            found.append((worth, number, selection, best))
    said = ""
    if late:
        said = (
            f"{late} of {len(choices)} ring phases were not looked at" if len(choices) > 1 else "the search is undone"
        )
    if not found:
        if at_first is None:
            raise RuntimeError("a scenario has at least one ring phase: a fault of ours")
        return at_first, None, said
    _, _, selection, best = min(found, key=lambda item: item[:2])
    return selection, best, said


def _fly_and_rank(
    problem: Problem,
    aim: Aim,
    best: Chosen,
    on_front: tuple[Chosen, ...],
    others: tuple[Alternative, ...],
    progress: Progress,
) -> tuple[tuple[Plan, ...], list[int]]:
    """All plans ranked by the goal, and the rank of each front plan in the order given."""
    chosen: list[tuple[Chosen, bool, str | None]] = [(c, True, None) for c in on_front]
    chosen += [(a.chosen, False, a.kind) for a in others]
    if all(best.options is not c.options for c in on_front):
        chosen.append((best, False, BEST))
    progress(f"flying {len(chosen)} plans")
    flights = fly_all(problem, [join([c.options for c, _, _ in chosen])])
    plans = [replace(assemble(problem, c.options, flights), on_front=front, kind=kind) for c, front, kind in chosen]
    if problem.oblate:
        for i in left_front(plans[: len(on_front)]):
            plans[i] = replace(plans[i], on_front=False, kind="beside the front")
    ranking = sorted(range(len(plans)), key=lambda i: _order(plans[i], aim))
    # the best plan by the goal comes first even where rounding makes another look a hair better
    rank = {plan: number + 1 for number, plan in enumerate(ranking)}
    asked, stay = problem.scenario, kept_errors(problem)
    ranked = tuple(
        replace(plans[i], rank=rank[i], hold=hold(problem.ring, asked, plans[i].craft, stay)) for i in ranking
    )
    return relabeled(ranked), [rank[i] for i in range(len(on_front))]


def _order(plan: Plan, aim: Aim) -> tuple[object, ...]:
    """Ranking: plans within the limits first, then the goal, then the ties of the contract."""
    value = {
        "delta_v": plan.delta_v_m_s,
        "finish": plan.finish_s,
        "worst_delta_v": plan.worst_delta_v_m_s,
        "propellant": plan.propellant_kg or 0.0,
    }
    # where burns take time, a centimeter a second is worth no wait
    places = 2 if any(part.engine is not None for part in plan.craft) and aim != "finish" else 5
    return (
        bool(plan.broken),
        round(value[aim], places),
        round(plan.delta_v_m_s, places),
        round(plan.finish_s, 3),
        round(plan.worst_delta_v_m_s, 5),
        round(plan.propellant_kg or 0.0, 5),
        tuple((c.plane, c.slot) for c in plan.craft),
        not plan.on_front,
    )
