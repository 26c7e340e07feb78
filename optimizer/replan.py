"""The best plan from here: for all that is not done yet, against the plan that was being flown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from ..models.observed import Observed
from ..models.scenario import Aim, Scenario
from .onward import Onward, onward
from .outcome import CraftPlan, Outcome, Plan
from .plan import best_phase, make_plan
from .problem import problems

Progress = Callable[[str], None]

LATE_S = 60.0
"""A burn or a liftoff that is missed: the craft may do nothing before so long after it."""

SAME_S, SAME_M_S = 1.0, 0.01
"""Within this in time and in delta-v the way into a slot is the same."""

DECISIONS_MAX = 6
"""Decisions, the soonest first, for which the price of missing them is worked out: each takes a search of its own."""


@dataclass(frozen=True, kw_only=True)
class CraftChange:
    """One craft that is moved on: its part of the old plan, and of the new one, whose times count from ``new_from_s``.

    ``spent_m_s`` until now; ``rest_m_s`` and ``old_rest_m_s`` from now on, the latter of the plan as it was.
    """

    craft: str
    old: CraftPlan
    new: CraftPlan
    new_from_s: float
    spent_m_s: float
    rest_m_s: float
    old_rest_m_s: float

    @property
    def in_slot_s(self) -> float:
        """When it is in its slot, from the first epoch."""
        return self.new_from_s + self.new.in_slot_s

    @property
    def same(self) -> bool:
        """Whether it goes on as it was planned."""
        return (
            (self.old.plane, self.old.slot) == (self.new.plane, self.new.slot)
            and abs(self.in_slot_s - self.old.in_slot_s) <= SAME_S
            and abs(self.rest_m_s - self.old_rest_m_s) <= SAME_M_S
        )


@dataclass(frozen=True, kw_only=True)
class Decision:
    """What must be done next for a craft, and what it costs to miss that.

    ``at_s`` from the first epoch. ``launch``: a liftoff, else a burn. ``extra_m_s`` and ``later_s`` are what the whole
    plan costs more and ends later, by the catalogue, if nothing is done before `LATE_S` after it; None where it was not
    worked out, or (``lost``) where no plan is left then.
    """

    craft: str
    at_s: float
    launch: bool
    extra_m_s: float | None = None
    later_s: float | None = None
    lost: bool = False


@dataclass(frozen=True, kw_only=True)
class Replan:
    """The whole answer.

    ``outcome`` is the plan of what is left, its times from now; None where nothing is left, or where nothing was seen
    that is otherwise than planned: the rest of the best plan is then the best plan of the rest. ``total_m_s``
    counts what was spent, ``finish_s`` counts from the first epoch, both with the craft that are done.
    """

    before: Outcome
    old_plan: Plan
    observed: Observed
    onward: Onward
    outcome: Outcome | None
    changes: tuple[CraftChange, ...]
    decisions: tuple[Decision, ...]
    total_m_s: float
    finish_s: float

    @property
    def fits(self) -> bool:
        """Whether there is a plan, and one within the limits."""
        return self.outcome is None or bool(self.outcome.plans and not self.outcome.plans[0].broken)


def replan(before: Outcome, observed: Observed, progress: Progress = lambda _: None) -> Replan:
    """Plan what is left of the best plan of an outcome, from what was seen.

    Args:
        before: of planning the scenario; it must have a plan.
        observed: what was seen, and when.
        progress: told in words what is being done.

    Raises:
        InputError: what was seen contradicts the scenario.
    """
    old = before.plans[0]
    left = onward(before, old, observed)
    if left.as_planned or left.scenario is None:
        return _rest_of(before, observed, left, None, progress)
    others = onward(before, old, observed, freeze=True)
    found = []
    if others.frozen and others.scenario is not None:
        progress("with the others as planned")
        found.append(_rest_of(before, observed, others, make_plan(others.scenario, progress), progress))
    # craft on orbits that do not touch the ring are not planned anew for the sake of others
    if not found or not found[0].fits or not left.stepped:
        found.append(_rest_of(before, observed, left, make_plan(left.scenario, progress), progress))
    aim = before.scenario.minimize
    return min(found, key=lambda one: (not one.fits, *_worth(one, aim)))


def _worth(done: Replan, aim: Aim) -> tuple[float, float]:
    """What a new plan comes to by the goal, then by the other of delta-v and finish."""
    total, finish = round(done.total_m_s, 3), round(done.finish_s, 1)
    return (finish, total) if aim == "finish" else (total, finish)


def _rest_of(before: Outcome, observed: Observed, left: Onward, outcome: Outcome | None, progress: Progress) -> Replan:
    old, now = before.plans[0], observed.now_s
    spent = {one.craft: one.delta_v_m_s for one in left.spent}
    kept = {part.craft for part in old.craft} - set(left.done) - set(left.lost) if left.as_planned else set(left.frozen)
    changes = [_change(part, old, 0.0, now, spent) for part in old.craft if part.craft in kept]
    if outcome is not None and outcome.plans:
        changes += [_change(part, old, now, now, spent) for part in outcome.plans[0].craft]
    order = [part.craft for part in old.craft]
    changes.sort(key=lambda change: order.index(change.craft))
    total = sum(spent.values()) + sum(change.rest_m_s for change in changes)
    finish = max([_done_s(old, left), *(change.in_slot_s for change in changes)])
    return Replan(
        before=before,
        old_plan=old,
        observed=observed,
        onward=left,
        outcome=outcome,
        changes=tuple(changes),
        decisions=_decisions(left, tuple(changes), now, progress),
        total_m_s=total,
        finish_s=finish,
    )


def late(scenario: Scenario, craft: str, ready_s: float) -> Scenario:
    """The scenario with one craft that can do nothing before a time."""
    return replace(
        scenario,
        craft=tuple(
            replace(one, ready_s=max(one.ready_s, ready_s)) if one.name == craft else one for one in scenario.craft
        ),
    )


def _done_s(old: Plan, left: Onward) -> float:
    return max((part.in_slot_s for part in old.craft if part.craft in left.done), default=0.0)


def _change(part: CraftPlan, old: Plan, start_s: float, now_s: float, spent: dict[str, float]) -> CraftChange:
    was = next(one for one in old.craft if one.craft == part.craft)
    old_rest = _rest(was, now_s)
    return CraftChange(
        craft=part.craft,
        old=was,
        new=part,
        new_from_s=start_s,
        spent_m_s=spent[part.craft],
        rest_m_s=_rest(part, now_s - start_s),
        old_rest_m_s=old_rest,
    )


def _rest(part: CraftPlan, after_s: float) -> float:
    """What is burned after a moment; a burn at time 0 of a plan is still to be made."""
    return sum(burn.own_m_s for burn in part.burns if burn.time_s > after_s or after_s == 0.0)


def _decisions(
    left: Onward, changes: tuple[CraftChange, ...], now_s: float, progress: Progress
) -> tuple[Decision, ...]:
    found = []
    for change in changes:
        part, start = change.new, change.new_from_s
        burns = [burn.time_s + start for burn in part.burns if burn.time_s + start > now_s or start == now_s]
        if part.launch_s is not None and part.launch_s + start > now_s:
            found.append(Decision(craft=change.craft, at_s=start + part.launch_s, launch=True))
        elif burns:
            found.append(Decision(craft=change.craft, at_s=burns[0], launch=False))
    found.sort(key=lambda one: (one.at_s, one.craft))
    scenario = left.scenario
    if not found or scenario is None or scenario.front_step_s is not None:
        return tuple(found)
    kept = _cheapest(scenario, progress)
    if kept is None:
        return tuple(found)
    planned = {craft.name for craft in scenario.craft}
    return tuple(
        _missed(scenario, kept, one, now_s, progress) if number < DECISIONS_MAX and one.craft in planned else one
        for number, one in enumerate(found)
    )


def _missed(scenario: Scenario, kept: tuple[float, float], one: Decision, now_s: float, progress: Progress) -> Decision:
    progress(f"what it costs if {one.craft} misses its moment")
    other = _cheapest(late(scenario, one.craft, one.at_s - now_s + LATE_S), progress)
    if other is None:
        return replace(one, lost=True)
    return replace(one, extra_m_s=other[0] - kept[0], later_s=other[1] - kept[1])


def _cheapest(scenario: Scenario, progress: Progress) -> tuple[float, float] | None:
    """Delta-v and finish of the best plan by the catalogue, not flown; None where there is none."""
    _, best, _ = best_phase(problems(scenario), scenario.minimize, progress)
    if best is None:
        return None
    return float(best.options.delta_v_m_s.sum()), float(best.options.finish_s.max())
