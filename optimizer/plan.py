"""From a scenario to ranked plans: the whole pipeline on one page."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import partial

from ..models import deadline
from ..models.deadline import ENDED, Clock
from ..models.errors import InputError
from ..models.scenario import Aim, Scenario
from .additions import by_risk, with_all
from .catalogue.floors import floor
from .catalogue.free_form import dearest_price
from .choice import front as front_walk
from .choice.alternatives import Alternative, alternatives
from .choice.contenders import differs, value
from .choice.infeasible import diagnose
from .choice.nearest_plans import values_that_serve
from .choice.objectives import Chosen
from .choice.oblate_notes import notes_on_flight
from .choice.other_fronts import UNITS, other_fronts
from .choice.phase_front import PhaseFront, phase_front
from .choice.ring_phase import BROKEN_IN_FLIGHT, CHOSEN, Laid, best_phase, is_decided
from .choice.selection import Selection
from .choice.ties import printed
from .choice.tilt_price import tilt_price
from .listing import Listed, at_one_phase, broken_in_flight, listed, of_phase, rejected, with_phases
from .outcome import AimFront, CraftPrice, Infeasible, Outcome, Plan, Proof
from .problem.problem import Problem, kept_errors
from .problem.ring_phase import problems
from .robustness.weighing import refuse_unweighable
from .where_let_go import chooses, with_ranges

Progress = Callable[[str], None]

FORCES_SHARE = 0.5
"""Of the time to search: what is left for correcting plan 1 for further forces, where a scenario has them."""

PHASE_FRONT_SHARE, ALTERNATIVES_SHARE, FLIGHTS_SHARE = 0.5, 0.5, 0.6
"""Of the time that is left: what the front over all phases of the ring may take, the search for plans of another kind,
and the flights of all plans before only the best one is listed."""

ALTERNATIVES_EFFORT = 150e6
"""What the search for plans of another kind may take of the simplex method (see ``models/deadline.py``)."""

TILT_SHARE = 0.3
"""Of the time that is left: what working out the price of a tilt may take."""

NO_DIFFERENCE = 1e-6
"""In m/s, s or kg: flown costs that differ by less than this do not differ."""


def make_plan(
    scenario: Scenario,
    progress: Progress = lambda _: None,
    *,
    fronts: bool = False,
    price: bool = False,
    brief: bool = False,
    left_s: Clock = lambda: math.inf,
) -> Outcome:
    """Plan a scenario: ranked plans, each flown numerically, the front, and what was proved.

    Args:
        price: whether to work out what time is worth to the dearest craft in space.
        brief: the best plan alone, without front and alternatives; where there is none, without the limit that binds.
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
        if scenario.weigh is not None:
            refuse_unweighable(scenario)
        plan = partial(_planned, progress=progress, fronts=fronts, price=price, brief=brief)
        further = scenario.forces is not None and scenario.ring.hold_wanted and not brief
        with deadline.searching(deadline.share(1.0 - FORCES_SHARE if further else 1.0)):
            if chooses(scenario) and not brief:
                briefly = partial(_planned, progress=lambda _: None, fronts=False, price=False, brief=True)
                found = with_ranges(scenario, plan, briefly, progress)
            else:
                found = plan(scenario)
            if not brief:
                found = by_risk(found, progress)
        return found if brief or not found.plans else with_all(found, progress)


def serves(scenario: Scenario) -> bool:
    """Whether planning a scenario ends in a plan that was flown and keeps all limits: what a remedy promises."""
    try:
        return bool(make_plan(scenario, brief=True).plans)
    except InputError:
        return False


def _planned(scenario: Scenario, progress: Progress, *, fronts: bool, price: bool, brief: bool) -> Outcome:
    """See :func:`make_plan`."""
    aim = scenario.minimize
    with deadline.undisturbed():
        choices = problems(scenario)
    laid = best_phase(choices, aim, progress)
    selection, best, late = laid.selection, laid.best, laid.late
    problem = selection.made.problem
    if best is None:
        return _no_plan(selection, late, progress, brief=brief)
    missing = [late] if late else []
    others: tuple[Alternative, ...] = ()
    more: tuple[AimFront, ...] = ()
    price_of_tilt = "" if brief else _price_of_tilt(selection, best)
    walked, points, left_out = _front(laid, best, progress, brief=brief)
    missing += left_out
    if not brief:
        ends = deadline.share(ALTERNATIVES_SHARE), deadline.effort(ALTERNATIVES_EFFORT)
        with deadline.searching(ends[0]), deadline.searching(ends[1]):
            others = alternatives(selection, best, (aim, "finish" if aim == "delta_v" else "delta_v"), progress)
            if deadline.over():
                missing.append("not every plan of another kind was sought")
        more = other_fronts(selection, progress) if fronts else ()
        more = more if laid.phases is None else tuple(at_one_phase(front) for front in more)
        if fronts and deadline.over():
            missing.append("not every other front was computed")
    found, left_out = _listed_in_time(selection, best, walked, others, aim, progress)
    missing += left_out
    if not found.plans:
        return _no_plan(selection, "; ".join(missing), progress, brief=brief)
    if points is not None:
        found = with_phases(found, selection, points, aim)
    elif laid.phases is not None:
        found = of_phase(found, problem)
    left = sum(plan.kind == "off the front" for plan in found.plans)
    return Outcome(
        scenario=scenario,
        ring=problem.ring,
        proof=proof_of(laid, best, aim, late, flown=found.flown, others_from=found.others_from),
        kept=kept_errors(problem),
        front=found.front,
        plans=found.plans,
        infeasible=None,
        phase_rule=problem.phase_rule if laid.phases is None or problem.phase_given else CHOSEN,
        notes=(
            *problem.notes,
            *_left_out(selection),
            *([price_of_tilt] if price_of_tilt else []),
            *notes_on_flight(problem, best, found.plans, left),
        ),
        fronts=more,
        unfinished="; ".join(missing),
        price=_price(problem, found.plans[0], progress) if price else None,
    ).at_phase_of(found.plans[0])


def _front(
    laid: Laid, best: Chosen, progress: Progress, *, brief: bool
) -> tuple[front_walk.Walked, PhaseFront | None, list[str]]:
    """The front at the phase of the best plan, or over all phases where they are bounded; and what is missing of it."""
    problem = laid.selection.made.problem
    if brief:
        return front_walk.only(best if problem.scenario.minimize == "delta_v" else None), None, []
    if laid.bounds is not None and not problem.launches:
        with deadline.searching(deadline.share(PHASE_FRONT_SHARE)):
            points = phase_front(laid, progress)
        late = f"of the front over all phases only {len(points.points)} points were found"
        return front_walk.alone(best), points, [late] if points.late else []
    walked = _walk(laid.selection, best, progress)
    found = "1 point was" if len(walked.plans) == 1 else f"{len(walked.plans)} points were"
    late = f"of the front only {found} found" if walked.plans else "no front was found"
    return walked, None, [late] if walked.late else []


def _listed_in_time(
    selection: Selection,
    best: Chosen,
    walked: front_walk.Walked,
    others: tuple[Alternative, ...],
    aim: Aim,
    progress: Progress,
) -> tuple[Listed, list[str]]:
    """All plans flown and ranked; where time is short the best one only, which was flown when it was chosen."""
    with suppress(*ENDED), deadline.flying(), deadline.searching(deadline.share(FLIGHTS_SHARE)):
        return listed(selection, best, walked, others, aim, progress), []
    alone = front_walk.only(best if aim == "delta_v" else None)
    with deadline.searching(lambda: 0.0):
        return listed(selection, best, alone, (), aim, progress), ["of the plans found only the best was flown"]


def _price(problem: Problem, plan: Plan, progress: Progress) -> CraftPrice | None:
    """What time is worth to the dearest craft in space; None where there is none, or no time to work it out."""
    try:
        return dearest_price(problem, plan, progress)
    except ENDED:
        return None


def _price_of_tilt(selection: Selection, best: Chosen) -> str:
    """What a tilt left on purpose would save, in words; nothing where it saves nothing, or no time is left for it."""
    with suppress(*ENDED), deadline.searching(deadline.share(TILT_SHARE)):
        return tilt_price(selection, best, selection.flyer.plan(best.options))
    return ""


def _no_plan(selection: Selection, late: str, progress: Progress, *, brief: bool) -> Outcome:
    """The answer where no plan keeps all limits: what binds, and the plans that come nearest, if any was flown."""
    problem = selection.made.problem
    scenario = problem.scenario
    proof: Proof | None = None
    infeasible: Infeasible | None = None
    near: tuple[Plan, ...] = ()
    unfinished = late
    if selection.cuts.rejected and not brief:
        with suppress(*ENDED), deadline.flying():
            near = rejected(selection, scenario.minimize)
    if near and (not late or late == BROKEN_IN_FLIGHT):
        infeasible, unfinished = broken_in_flight(scenario, near, all_flown=not late), ""
        if late:
            progress("no plan; trying the limits that the nearest plans break")
            with suppress(*ENDED):
                binds = values_that_serve(scenario, near, serves)
                infeasible = replace(infeasible, binds=binds, together=len(binds) > 1)
    elif late:
        proof = _undecided(selection)
        unfinished = f"{late}; no plan was found before that, and none was proved impossible"
    elif selection.flyer.flights.failed:
        infeasible = Infeasible(binds=(), together=False, reason=_unflyable(selection))
    elif not brief:
        infeasible, unfinished = why_not(scenario, progress)
    return Outcome(
        scenario=scenario,
        ring=problem.ring,
        proof=proof,
        kept=kept_errors(problem),
        front=None,
        plans=(),
        infeasible=infeasible,
        # a rule laid it for want of a plan to choose it with
        phase_rule="" if is_decided((problem,)) else problem.phase_rule,
        notes=problem.notes,
        unfinished=unfinished,
        rejected=near,
    )


def _left_out(selection: Selection) -> tuple[str, ...]:
    """That options were left out because they cannot be flown; nothing where none was."""
    many = len(selection.flyer.flights.failed)
    said = f"{many} options could not be flown numerically and were left out."
    return (said if many > 1 else "1 option could not be flown numerically and was left out.",) if many else ()


def _unflyable(selection: Selection) -> str:
    """Why options within the limits make no plan: what was tried cannot be flown."""
    many = len(selection.flyer.flights.failed)
    tried = f"{many} options within the limits were" if many > 1 else "1 option within the limits was"
    return (
        f"{tried} tried that the numerical flight cannot follow: it does not come round the ring, falls into the body "
        "or reads an open orbit"
    )


def _undecided(selection: Selection) -> Proof:
    """That nothing is known."""
    aim = selection.made.problem.scenario.minimize
    return Proof(
        status="undecided",
        aim=aim,
        bound=-math.inf,
        unit=UNITS[aim],
        gap=math.inf,
        options=selection.made.looked_at,
        free_form=selection.made.free_form,
        all_flown=False,
    )


def proof_of(
    laid: Laid,
    best: Chosen,
    aim: Aim,
    late: str = "",
    *,
    before: int = 0,
    flown: Sequence[tuple[Chosen, Plan]] = (),
    others_from: float = -math.inf,
) -> Proof:
    """What was proved about the best plan; nothing where ring phases were left out because time ran out.

    Args:
        best: the best plan by the catalogue. What merely breaks ties may be open.
        before: how many aims came first; the proof then holds among their best.
        flown: choices and what they came to, which may be less than the catalogue says.
        others_from: what all others come to at least as flown; -inf where that is not known, and the difference is
            taken off the catalogue's bound.
    """
    selection, phases = laid.selection, laid.phases
    problem = selection.made.problem
    bound, gap = best.solved.bound, best.solved.gap
    if not before and not selection.made.whole:
        # not every liftoff was examined: what is proved must hold for the others, too
        bound = min(bound, floor(selection.made, aim))
        gap = _gap(best.solved.objective, bound)
        proved = printed(aim, best.solved.objective) == printed(aim, bound)
    else:
        proved = best.proved or (not before and printed(aim, best.solved.objective) == printed(aim, bound))
    if before:
        bound, gap = (best.solved.values[before], 0.0) if proved else (-math.inf, math.inf)
    if late:
        bound, gap = -math.inf, math.inf
    elif phases is not None and math.isfinite(phases.bound):
        # other phases of the ring count, too
        bound = min(bound, phases.bound)
        gap = _gap(best.solved.objective, bound)
        proved = proved and phases.proved
    less = [differs(selection, chosen, plan, aim) for chosen, plan in flown]
    most = max((abs(by) for by in less), default=0.0)
    found = min(bound, others_from) if others_from > -math.inf else bound - max([0.0, *less])
    return Proof(
        status="optimal" if proved and not late else "bounded",
        aim=aim,
        bound=min([found, *(value(plan, aim) for _, plan in flown)]),
        catalogue_bound=bound,
        flown_differs_by=most if most > NO_DIFFERENCE else 0.0,
        all_flown=others_from > -math.inf,
        unit=UNITS[aim],
        gap=gap,
        options=selection.made.looked_at,
        free_form=selection.made.free_form,
        phase="" if problem.phase_given or phases is not None else problem.phase_rule,
        phases=phases,
    )


def _gap(found: float, bound: float) -> float:
    """What a bound lacks, as a share of what was found."""
    short = max(found - bound, 0.0)
    return short / abs(found) if short > 0.0 else 0.0


def why_not(scenario: Scenario, progress: Progress) -> tuple[Infeasible, str]:
    """The limit that binds; where time ran out, what is not known."""
    try:
        return diagnose(scenario, serves, progress), ""
    except ENDED:
        reason = "the limit that binds was not found before the search ended"
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
