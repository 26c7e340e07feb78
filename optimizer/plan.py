"""From a scenario to ranked plans: the whole pipeline on one page."""

from __future__ import annotations

import math
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace

from ..models import deadline
from ..models.deadline import ENDED, Clock
from ..models.scenario import Aim, Scenario
from .catalogue.catalogue import Catalogue, catalogue
from .catalogue.free_form import dearest_price, with_free_form
from .catalogue.from_orbit import in_space
from .catalogue.problem import Problem, kept_errors, problems
from .catalogue.restriction import NO_RESTRICTION, Restriction
from .choice import front as front_walk
from .choice.alternatives import BEST, Alternative, alternatives, relabeled
from .choice.infeasible import diagnose
from .choice.oblate_notes import left_front, notes_on_flight
from .choice.other_fronts import UNITS, other_fronts
from .choice.selection import DELTA_V_TOLERANCE, FINISH_TOLERANCE, Chosen, Order, Selection
from .floors import floor
from .outcome import AimFront, CraftPrice, Front, FrontPoint, Infeasible, Outcome, Plan, Proof
from .robustness.hold import hold
from .routes.options import empty, join
from .trajectory.assembly import assemble, fly_all

Progress = Callable[[str], None]
EARLY_TURNS, OBLATE_FLIGHTS = 200, 5
"""Turns that the best plan flies in all from which it is flown before others are looked for; where burns are corrected
by the flight, each counts for so many."""
EARLY_SHARE, SOONER = 0.4, (8.0, 64.0)
"""Of the time that is left, what its flight may take; how many times sooner the plans finish that are flown instead."""
FREE_FORM_SHARE, ALTERNATIVES_SHARE, FLIGHTS_SHARE = 0.5, 0.5, 0.6
"""Of the time that is left: what the search for free-form flights may take before the choice of a plan, the search for
plans of another kind, and the flights of all plans before only the best one is flown."""


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
        left_s: seconds left for the search, the best plan's flight not counted; it may drop to 0 at any moment. What
            is missing then is said in the outcome, and what was not proved is marked as bounded. A deadline around the
            call (``models/deadline.py``) is kept as well.

    Returns:
        The outcome; where no plan keeps the limits it has no plans and says which limit binds; where the search was
        ended before any plan was flown it has none either, and its proof is ``undecided``.

    Raises:
        InputError: craft that stay contradict one another.
    """
    with deadline.searching(left_s):
        return _planned(scenario, progress, fronts, price)


def _planned(scenario: Scenario, progress: Progress, fronts: bool, price: bool) -> Outcome:
    """See :func:`make_plan`."""
    aim = scenario.minimize
    with deadline.undisturbed():
        choices = problems(scenario)
    selection, best, late = best_phase(choices, aim, progress)
    problem = selection.made.problem
    if best is None:
        if late:
            return _undecided(selection, f"{late}; no plan was found before that, and none was proved impossible")
        infeasible, unfinished = why_not(scenario, progress)
        return replace(_undecided(selection, unfinished), proof=None, infeasible=infeasible)
    missing = [late] if late else []
    found = best
    best, early = _flown_early(selection, aim, best, progress)
    if best is not found:
        missing.append("the plan found best takes longer to fly than there was time for")
    walked = _walk(selection, best, progress)
    if walked.late:
        missing.append(f"of the front only {len(walked.plans)} points were found")
    with deadline.searching(deadline.share(ALTERNATIVES_SHARE)):
        others = alternatives(selection, best, (aim, "finish" if aim == "delta_v" else "delta_v"), progress)
        if deadline.over():
            missing.append("not every plan of another kind was looked for")
    more: tuple[AimFront, ...] = other_fronts(selection, progress) if fronts else ()
    if fronts and deadline.over():
        missing.append("not every other front was walked")
    flown = _flown_in_time(problem, aim, best, walked, others, early, progress)
    if flown is None:
        return _undecided(selection, "a plan was found, but not flown before time or memory ran out")
    (plans, order), walked, left_out = flown
    missing += left_out
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
    return Outcome(
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
        price=_price(problem, plans[0], progress) if price else None,
    )


def _price(problem: Problem, plan: Plan, progress: Progress) -> CraftPrice | None:
    """What time is worth to the dearest craft in space; None where there is none, or no time to work it out."""
    try:
        return dearest_price(problem, plan, progress)
    except ENDED:
        return None


def _undecided(selection: Selection, unfinished: str) -> Outcome:
    """An outcome without plans about which nothing is known."""
    problem = selection.made.problem
    aim = problem.scenario.minimize
    return Outcome(
        scenario=problem.scenario,
        ring=problem.ring,
        proof=Proof(
            status="undecided",
            aim=aim,
            bound=-math.inf,
            unit=UNITS[aim],
            gap=math.inf,
            options=selection.made.looked_at,
            free_form=len(problem.timed),
        ),
        kept=kept_errors(problem),
        front=None,
        plans=(),
        infeasible=None,
        phase_rule=problem.phase_rule,
        notes=problem.notes,
        unfinished=unfinished,
    )


def proof_of(selection: Selection, best: Chosen, aim: Aim, late: str = "", *, before: int = 0) -> Proof:
    """What was proved about the best plan; nothing where ring phases were left out because time ran out.

    What merely breaks ties may be open. ``before``: how many aims came first; the proof then holds among their best.
    """
    problem = selection.made.problem
    tolerance = FINISH_TOLERANCE if aim == "finish" else DELTA_V_TOLERANCE
    bound, gap = best.solved.bound, best.solved.gap
    if not before and not selection.made.whole:
        # not every liftoff was looked at: what is proved must hold for the others, too
        bound = min(bound, floor(selection.made, aim))
        short = max(best.solved.objective - bound, 0.0)
        gap = short / abs(best.solved.objective) if short > 0.0 else 0.0
        proved = short <= 2.0 * tolerance
    else:
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


def why_not(scenario: Scenario, progress: Progress) -> tuple[Infeasible, str]:
    """The limit that binds; where time ran out, what is not known."""
    try:
        return diagnose(scenario, progress), ""
    except ENDED:
        reason = "the limit that binds was not found before the search was broken off"
        return Infeasible(binds=(), together=False, reason=reason), reason


def _walk(selection: Selection, best: Chosen, progress: Progress) -> front_walk.Walked:
    cheapest: Chosen | None = best
    if selection.made.problem.scenario.minimize != "delta_v":
        try:
            cheapest = selection.best(("delta_v", "finish"))
        except ENDED:
            return front_walk.only(None)
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
) -> tuple[Selection, Chosen | None, str]:
    """The ring phase with the best plan; the first one where there is no plan at all.

    Args:
        choices: the phases.
        aim: what makes a plan best.
        progress: told in words what is being done.
        restriction: filter on the options, asked before any pruning.
        first: what comes before the aim.

    Returns:
        The phase, its best plan, and in words what was left out because time ran out.
    """
    found: list[tuple[tuple[float, ...], int, Selection, Chosen]] = []
    at_first: Selection | None = None
    late = 0
    for number, problem in enumerate(choices):
        progress("options" if len(choices) == 1 else f"options, ring phase {number + 1} of {len(choices)}")
        try:
            deadline.poll()
            if problem.scenario.front_step_s is not None:
                with deadline.searching(deadline.share(FREE_FORM_SHARE)):
                    problem = with_free_form(problem, in_space(problem), progress)
            selection = Selection(catalogue(problem, restriction))
            at_first = at_first or selection
            best = selection.best((*first, aim))
        except ENDED:
            late += 1
            continue
        late += best is None and problem.timed_missing > 0
        if best is not None:
            worth = tuple(round(v, 6) for v in best.solved.values)
            found.append((worth, number, selection, best))
    said = ""
    if late:
        said = (
            f"{late} of {len(choices)} ring phases were not looked at"
            if len(choices) > 1
            else "the search did not finish"
        )
    if not found:
        return at_first or Selection(_nothing_listed(choices[0])), None, said
    _, _, selection, best = min(found, key=lambda item: item[:2])
    return selection, best, said


def _nothing_listed(problem: Problem) -> Catalogue:
    """A catalogue that was not made."""
    return Catalogue(problem=problem, options=empty(), moments_s=(), looked_at=0, free_form=0, exact=False)


Ranked = tuple[tuple[Plan, ...], list[int]]
"""Plans ranked by the goal, and the rank of each front plan."""


def _flown_early(selection: Selection, aim: Aim, best: Chosen, progress: Progress) -> tuple[Chosen, Ranked | None]:
    """The best plan flown before anything else is looked for, where that takes long.

    Where it takes longer than there is time for, a plan that finishes much sooner is flown instead and is the answer:
    it is not the best one, and its gap to that one is known.
    """
    problem = selection.made.problem
    turns = int((best.options.revolutions + best.options.passes + 1).sum())
    if turns * (OBLATE_FLIGHTS if problem.oblate else 1) < EARLY_TURNS:
        return best, None
    instead: Chosen | None = best
    for sooner in (1.0, *SOONER):
        with suppress(*ENDED), deadline.flying(), deadline.searching(deadline.share(EARLY_SHARE)):
            if sooner > 1.0:
                progress("a plan that takes less long to fly")
                instead = selection.best((aim,), finish_s=best.finish_s / sooner, ties="none")
            if instead is not None:
                known = instead if sooner == 1.0 else _short_of(instead, best)
                return known, _fly_and_rank(problem, aim, known, _alone(aim, known).plans, (), progress)
    return best, None


def _short_of(chosen: Chosen, best: Chosen) -> Chosen:
    """A choice with what is proved about a better one as its bound."""
    bound, worth = best.solved.bound, chosen.solved.objective
    gap = max(worth - bound, 0.0) / abs(worth) if worth else 0.0
    return replace(chosen, solved=replace(chosen.solved, status="bounded", bound=bound, gap=gap))


def _alone(aim: Aim, best: Chosen) -> front_walk.Walked:
    """The front where only the best plan is flown."""
    return front_walk.only(best if aim == "delta_v" else None)


def _flown_in_time(
    problem: Problem,
    aim: Aim,
    best: Chosen,
    walked: front_walk.Walked,
    others: tuple[Alternative, ...],
    early: Ranked | None,
    progress: Progress,
) -> tuple[Ranked, front_walk.Walked, list[str]] | None:
    """All plans flown and ranked, and the front they are of; where time is short the best one only; else None."""
    several = bool(others) or any(one.options is not best.options for one in walked.plans)
    if not several and early is not None:
        return early, walked, []
    if several:
        with suppress(*ENDED), deadline.flying(), deadline.searching(deadline.share(FLIGHTS_SHARE)):
            return _fly_and_rank(problem, aim, best, walked.plans, others, progress), walked, []
    with suppress(*ENDED), deadline.flying():
        front = _alone(aim, best) if several else walked
        ranked = early or _fly_and_rank(problem, aim, best, front.plans, (), progress)
        return ranked, front, ["of the plans found only the best was flown"] if several else []
    return None


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
        chosen.append((best, False, BEST if best.proved else "best that was flown"))
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
