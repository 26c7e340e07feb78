"""From a scenario to ranked plans: the whole pipeline on one page."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from ..models.scenario import Aim, Scenario
from . import front as price
from .alternatives import Alternative, alternatives
from .assembly import assemble, fly_all
from .catalogue import catalogue
from .infeasible import diagnose
from .oblate_notes import left_front, notes_on_flight
from .options import join
from .outcome import Front, FrontPoint, Outcome, Plan, Proof
from .problem import Problem, kept_errors, problems
from .selection import Chosen, Selection

Progress = Callable[[str], None]

UNITS = {"delta_v": "m/s", "finish": "s", "worst_delta_v": "m/s", "propellant": "kg"}


def make_plan(scenario: Scenario, progress: Progress = lambda _: None) -> Outcome:
    """Plan a scenario: ranked plans, each flown numerically, the front, and what was proved.

    Args:
        scenario: validated input.
        progress: told in words what is being done.

    Returns:
        The outcome; where no plan keeps the limits it has no plans and says which limit binds.

    Raises:
        InputError: craft that stay contradict one another.
    """
    aim = scenario.minimize
    selection, best = _best_phase(problems(scenario), aim, progress)
    problem = selection.made.problem
    if best is None:
        return Outcome(
            scenario=scenario,
            ring=problem.ring,
            proof=None,
            kept=kept_errors(problem),
            front=None,
            plans=(),
            infeasible=diagnose(scenario, progress),
            phase_rule=problem.phase_rule,
            notes=problem.notes,
        )
    cheapest = best if aim == "delta_v" else selection.best(("delta_v", "finish"))
    if cheapest is None:
        raise RuntimeError("a plan by one aim, but none by another: a fault of ours")
    walked = price.walk(selection, cheapest, progress)
    others = alternatives(selection, best, (aim, "finish" if aim == "delta_v" else "delta_v"), progress)
    plans, order = _fly_and_rank(problem, aim, best, walked.plans, others, progress)
    points = [
        FrontPoint(
            delta_v_m_s=plans[order[i] - 1].delta_v_m_s,
            finish_s=plans[order[i] - 1].finish_s,
            plan=order[i],
            kind=kind,
        )
        for i, kind in enumerate(walked.kinds)
        if plans[order[i] - 1].on_front
    ]
    if problem.oblate:
        points.sort(key=lambda point: point.finish_s)
    return Outcome(
        scenario=scenario,
        ring=problem.ring,
        proof=Proof(
            status="optimal" if best.solved.status == "optimal" else "bounded",
            aim=aim,
            bound=best.solved.bound,
            unit=UNITS[aim],
            gap=best.solved.gap,
            options=selection.made.looked_at,
        ),
        kept=kept_errors(problem),
        front=Front(points=tuple(points), resolution_m_s=walked.resolution_m_s, note=price.note(walked, selection)),
        plans=plans,
        infeasible=None,
        phase_rule=problem.phase_rule,
        notes=(*problem.notes, *notes_on_flight(problem, best, plans, len(walked.plans) - len(points))),
    )


def _best_phase(choices: tuple[Problem, ...], aim: Aim, progress: Progress) -> tuple[Selection, Chosen | None]:
    """The ring phase with the best plan; the first one where there is no plan at all."""
    found: list[tuple[tuple[float, ...], int, Selection, Chosen]] = []
    first: Selection | None = None
    for number, problem in enumerate(choices):
        progress("options" if len(choices) == 1 else f"options, ring phase {number + 1} of {len(choices)}")
        selection = Selection(catalogue(problem))
        first = first or selection
        best = selection.best((aim,))
        if best is not None:
            worth = tuple(round(v, 6) for v in best.solved.values)
            found.append((worth, number, selection, best))
    if not found:
        if first is None:
            raise RuntimeError("a scenario has at least one ring phase: a fault of ours")
        return first, None
    _, _, selection, best = min(found, key=lambda item: item[:2])
    return selection, best


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
        chosen.append((best, False, "best by the goal"))
    progress(f"flying {len(chosen)} plans")
    flights = fly_all(problem, [join([c.options for c, _, _ in chosen])])
    plans = [replace(assemble(problem, c.options, flights), on_front=front, kind=kind) for c, front, kind in chosen]
    if problem.oblate:
        for i in left_front(plans[: len(on_front)]):
            plans[i] = replace(plans[i], on_front=False, kind="beside the front")
    ranking = sorted(range(len(plans)), key=lambda i: _order(plans[i], aim))
    # the best plan by the goal comes first even where rounding makes another look a hair better
    rank = {plan: number + 1 for number, plan in enumerate(ranking)}
    ranked = tuple(replace(plans[i], rank=rank[i]) for i in ranking)
    return ranked, [rank[i] for i in range(len(on_front))]


def _order(plan: Plan, aim: Aim) -> tuple[object, ...]:
    """Ranking: plans within the limits first, then the goal, then the ties of the contract."""
    value = {
        "delta_v": plan.delta_v_m_s,
        "finish": plan.finish_s,
        "worst_delta_v": plan.worst_delta_v_m_s,
        "propellant": plan.propellant_kg or 0.0,
    }
    return (
        bool(plan.broken),
        round(value[aim], 5),
        round(plan.delta_v_m_s, 5),
        round(plan.finish_s, 3),
        round(plan.worst_delta_v_m_s, 5),
        round(plan.propellant_kg or 0.0, 5),
        tuple(c.slot for c in plan.craft),
        not plan.on_front,
    )
