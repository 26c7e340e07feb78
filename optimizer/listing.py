"""The plans that are listed: flown, within their limits, ranked, with their front; where none is, the nearest ones."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal, TypeVar

from ..models.deadline import OutOfTimeError
from ..models.scenario import Aim, Scenario
from .choice import front as front_walk
from .choice.alternatives import Alternative, relabeled
from .choice.contenders import contenders, order
from .choice.cuts import overstepped
from .choice.objectives import Chosen
from .choice.phase_front import PhaseFront, PhasePoint, slides
from .choice.selection import Selection
from .choice.ties import printed
from .limits.registry import gives_by_itself, may_be
from .outcome import AimFront, Bind, Front, FrontPoint, Infeasible, Plan
from .problem.problem import Problem, kept_errors
from .robustness.hold import hold

AnyFront = TypeVar("AnyFront", Front, AimFront)

PHASES_NOTE = "over all phases of the ring, each plan at the phase that is best for its finish"
"""What is said of a front whose plans have each its phase."""

ONE_PHASE_NOTE = "all for the phase of the ring that was chosen for plan 1; at another phase a plan may be better"
"""What is said of a front at a phase that was chosen for its best plan."""

REJECTED_MAX = 3
"""Most plans that are shown where none keeps its limits."""


@dataclass(frozen=True, kw_only=True)
class Listed:
    """Plans within their limits, rank 1 first, and their front.

    ``flown`` are all choices that were flown, with what they came to; ``others_from`` what all others come to at
    least as flown, -inf where that is not known.
    """

    plans: tuple[Plan, ...]
    front: Front | None
    flown: tuple[tuple[Chosen, Plan], ...]
    others_from: float


def listed(
    selection: Selection,
    best: Chosen,
    walked: front_walk.Walked,
    others: tuple[Alternative, ...],
    aim: Aim,
    progress: Callable[[str], None],
) -> Listed:
    """All plans, flown in one batch and ranked by the goal; those that break a limit are left out.

    Args:
        best: proved best by the goal.
        walked: the front's points.
        others: plans of another kind.
    """
    walked = _with_best(walked, best)
    named: list[tuple[Chosen, str | None]] = [(chosen, None) for chosen in walked.plans]
    if all(best is not chosen for chosen in walked.plans):
        named.append((best, None))
    named += [(other.chosen, other.kind) for other in others]
    progress(f"flying {len(named)} plans")
    flyer = selection.flyer
    flyer.fly([chosen.options for chosen, _ in named])
    for chosen, _ in named:
        flyer.plan(chosen.options)
    more, others_from = contenders(selection, aim, progress)
    named += [(chosen, None) for chosen in more]
    kinds = {flyer.names(c.options): kind for c, kind in reversed(named) if kind is not None}
    flown = {
        (name := flyer.names(c.options)): (c, replace(flyer.plan(c.options), kind=kinds.get(name)))
        for c, _ in named[::-1]
    }
    pairs = [pair for pair in flown.values() if not pair[1].broken]
    pairs.sort(key=lambda pair: order(pair[1], aim, best=pair[0] is best))
    on_front = {id(pairs[i][0]) for i in front_of(pairs, walked)}
    # what was flown only to see what it comes to is listed where it is better
    looked_at = {id(best), *(id(chosen) for chosen in more)} - on_front
    pairs = [pair for i, pair in enumerate(pairs) if i == 0 or id(pair[0]) not in looked_at]
    problem = selection.made.problem
    scenario, stay = problem.scenario, kept_errors(problem)
    plans = tuple(
        replace(
            plan,
            rank=number + 1,
            on_front=id(chosen) in on_front,
            kind=_kind(plan, id(chosen) in on_front, number == 0),
            hold=hold(problem.ring, scenario, plan.craft, stay),
        )
        for number, (chosen, plan) in enumerate(pairs)
    )
    plans = relabeled(plans) if plans else plans
    ranked = [(chosen, plan) for (chosen, _), plan in zip(pairs, plans, strict=True)]
    return Listed(
        plans=plans,
        front=_front(selection, walked, ranked),
        flown=tuple(pair for pair in flown.values() if not pair[1].broken),
        others_from=others_from,
    )


def with_phases(found: Listed, selection: Selection, front: PhaseFront, aim: Aim) -> Listed:
    """The plans of one ring phase with those of a front over all phases, ranked by the goal; each with its phase.

    Args:
        found: plans of the phase that was chosen, rank 1 of which is the best.
        front: plans of other phases.
    """
    own = selection.made.problem.ring.slot0_rad
    known: list[tuple[Plan, PhasePoint | None]] = [(replace(plan, slot0_rad=own), None) for plan in found.plans]
    stay = kept_errors(selection.made.problem)
    for point in front.points:
        problem = point.selection.made.problem
        plan = point.selection.flyer.plan(point.chosen.options)
        if not plan.broken:
            held = hold(problem.ring, problem.scenario, plan.craft, stay)
            known.append((replace(plan, hold=held, slot0_rad=problem.ring.slot0_rad), point))
    known[1:] = sorted(known[1:], key=lambda pair: order(pair[0], aim))
    if len(known) > 1 and order(known[1][0], aim)[:2] < order(known[0][0], aim)[:2]:
        known = sorted(known, key=lambda pair: order(pair[0], aim))
    edge = _edge([plan for plan, _ in known], range(len(known)))
    kept = [i for i, (plan, point) in enumerate(known) if i == 0 or i in edge or (point is None and plan.kind)]
    rank = {i: number + 1 for number, i in enumerate(kept)}
    plans = tuple(
        replace(known[i][0], rank=rank[i], on_front=i in edge, kind=_kind_beside(known[i][0], i in edge, rank[i] == 1))
        for i in kept
    )
    points = []
    for number, i in enumerate(edge):
        one, other = known[i][1], known[edge[number + 1]][1] if number + 1 < len(edge) else None
        sliding = one is not None and other is not None and slides(one, other)
        plan = known[i][0]
        kind: Literal["slope", "step"] = "slope" if sliding else "step"
        points.append(FrontPoint(delta_v_m_s=plan.delta_v_m_s, finish_s=plan.finish_s, plan=rank[i], kind=kind))
    resolution = _resolution([known[i] for i in edge])
    made = Front(points=tuple(points), resolution_m_s=resolution, note=PHASES_NOTE)
    return replace(found, plans=plans, front=made if points else None)


def of_phase(found: Listed, problem: Problem) -> Listed:
    """The plans with the phase that was chosen; their front is said to be for this phase alone."""
    phase = problem.ring.slot0_rad
    plans = tuple(replace(plan, slot0_rad=phase) for plan in found.plans)
    return replace(found, plans=plans, front=None if found.front is None else at_one_phase(found.front))


def at_one_phase(front: AnyFront) -> AnyFront:
    """A front that is said to be for the phase of the best plan alone."""
    return replace(front, note="; ".join([one for one in (front.note, ONE_PHASE_NOTE) if one]))


def _kind_beside(plan: Plan, on_front: bool, first: bool) -> str | None:
    """The label of a plan of another kind, which one of the front needs none of."""
    return None if first or on_front else plan.kind


def _edge(plans: Sequence[Plan], counted: Sequence[int]) -> list[int]:
    """Which of the plans that count make the front as printed, sooner first: each later one prints as cheaper."""

    def name(i: int) -> tuple[float, float]:
        return printed("finish", plans[i].finish_s), printed("delta_v", plans[i].delta_v_m_s)

    found: list[int] = []
    for i in sorted(counted, key=lambda i: (*name(i), i)):
        if not found or name(i)[1] < name(found[-1])[1]:
            found.append(i)
    return found


def _resolution(edge: Sequence[tuple[Plan, PhasePoint | None]]) -> float:
    """By how much a plan between two points of a front may be better than the earlier one, m/s."""
    worst = 0.0
    for (early, _), (late, point) in pairwise(edge):
        # what no plan gets below that is in place by the later finish; where nothing is known of it, by any finish
        least = 0.0 if point is None else point.least_m_s
        if printed("finish", late.finish_s) - printed("finish", early.finish_s) > 1.0:
            worst = max(worst, early.delta_v_m_s - least)
    return worst


def _kind(plan: Plan, on_front: bool, first: bool) -> str | None:
    """How a plan differs from rank 1."""
    if first:
        return None
    return "off the front" if plan.kind is None and not on_front else plan.kind


def _with_best(walked: front_walk.Walked, best: Chosen) -> front_walk.Walked:
    """The front with the best plan in the place of the point that prints like it."""

    def name(chosen: Chosen) -> tuple[float, float]:
        return printed("delta_v", chosen.delta_v_m_s), printed("finish", chosen.finish_s)

    plans = tuple(best if name(chosen) == name(best) else chosen for chosen in walked.plans)
    return replace(walked, plans=plans)


def front_of(pairs: Sequence[tuple[Chosen, Plan]], walked: front_walk.Walked) -> list[int]:
    """Indices of the plans that make the front as printed, sooner ones first: each later one prints as cheaper.

    Args:
        pairs: choices and plans, ranked.
        walked: the front's points; where the walk was broken off only these count.
    """
    counted: Sequence[int] = range(len(pairs))
    if not walked.complete:
        counted = [i for i in counted if any(pairs[i][0] is one for one in walked.plans)]
    return _edge([plan for _, plan in pairs], counted)


def _front(selection: Selection, walked: front_walk.Walked, ranked: Sequence[tuple[Chosen, Plan]]) -> Front | None:
    """The front's points, each with how it runs to the next: as walked, else by a step."""
    place = {id(one): i for i, one in enumerate(walked.plans)}
    listed = sorted((plan.finish_s, plan.rank, id(chosen), plan) for chosen, plan in ranked if plan.on_front)
    if not listed or not walked.plans:
        return None
    at = [place.get(name, -2) for _, _, name, _ in listed] + [-2]
    points = []
    for number, (_, _, _, plan) in enumerate(listed):
        kind = walked.kinds[at[number]] if at[number] >= 0 and at[number + 1] == at[number] + 1 else "step"
        points.append(
            FrontPoint(
                delta_v_m_s=plan.delta_v_m_s,
                finish_s=plan.finish_s,
                plan=plan.rank,
                kind=kind if plan.by_period_alone else "curve",
            )
        )
    note = front_walk.note(walked, selection, listed=len(points))
    return Front(points=tuple(points), resolution_m_s=walked.resolution, note=note)


def rejected(selection: Selection, aim: Aim) -> tuple[Plan, ...]:
    """The plans that come nearest to keeping their limits, where none does: the least overstepped first; not ranked."""
    try:
        nearest = selection.nearest((aim,))
    except OutOfTimeError:
        nearest = None
    plans = list(selection.cuts.rejected)
    if nearest is not None:
        selection.flyer.fly([nearest.options])
        # what cannot be flown is no plan, however near by the catalogue
        if not any(selection.flyer.fails(nearest.options, row) for row in range(len(nearest.options))):
            plans.append(selection.flyer.plan(nearest.options))
    distinct = {tuple((part.craft, part.burns) for part in plan.craft): plan for plan in plans if plan.broken}
    ranked = sorted(distinct.values(), key=lambda plan: (sum(overstepped(b) for b in plan.broken), order(plan, aim)))
    problem = selection.made.problem
    scenario, stay = problem.scenario, kept_errors(problem)
    return tuple(
        replace(plan, rank=number + 1, hold=hold(problem.ring, scenario, plan.craft, stay))
        for number, plan in enumerate(ranked[:REJECTED_MAX])
    )


def broken_in_flight(scenario: Scenario, plans: Sequence[Plan], *, all_flown: bool) -> Infeasible:
    """Why plans that the catalogue offers do not count: what the nearest breaks, and the values at which it would not.

    Args:
        plans: rejected ones, the nearest first.
        all_flown: whether no other was left.
    """
    nearest = plans[0].broken
    if not all_flown:
        reason = "every plan flown breaks one in its flight; not all plans that the options allow were flown"
        return Infeasible(binds=(), together=False, reason=reason)
    reason = "every plan that the options allow breaks one in its flight"
    if not all(gives_by_itself(one.limit) and may_be(scenario, one.limit, one.value) for one in nearest):
        return Infeasible(binds=(), together=False, reason=reason)
    binds = tuple(Bind(limit=one.limit, value=one.allowed, serves=one.value) for one in nearest)
    return Infeasible(binds=binds, together=len(binds) > 1, reason=reason)
