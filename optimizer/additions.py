"""What is said of plans once they are there: risk, what no flight can beat, further forces, keeping, lifetimes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from ..models import deadline
from ..models.deadline import ENDED
from ..models.errors import FlightError
from ..models.scenario import Scenario
from .least_possible import least_possible
from .outcome import Outcome
from .robustness.keeping import keeping_of
from .robustness.left_alone import left_alone
from .robustness.under_forces import said_by_bulge, under_forces
from .robustness.weighing import ranked

Progress = Callable[[str], None]


def with_all(found: Outcome, progress: Progress) -> Outcome:
    """An outcome that has plans with all that its scenario asks for beyond them; what time cut off is said in it."""
    scenario = found.scenario
    if scenario.forces is not None:
        found = under_further_forces(found, progress)
    if (scenario.forces is not None and scenario.ring.hold_wanted) or scenario.disposal_within_s is not None:
        found = _left_alone(found, progress)
    with deadline.undisturbed():
        kept = keeping_of(scenario, found.ring, found.plans, found.kept)
        found = replace(found, least_possible=least_possible(found))
    return replace(found, plans=tuple(replace(one, keeping=own) for one, own in zip(found.plans, kept, strict=True)))


def by_risk(found: Outcome, progress: Progress) -> Outcome:
    """The outcome with its plans ranked by their risk, where the goal weighs them by it."""
    try:
        with deadline.flying():
            return ranked(found, progress)
    except ENDED:
        return _without(found, "plans were not weighed by their risk")


def under_further_forces(found: Outcome, progress: Progress, *, holds: bool = True) -> Outcome:
    """The outcome with plan 1 corrected for the scenario's further forces and flown under them.

    Args:
        holds: whether to look how long its spacing holds.
    """
    progress("correcting plan 1 for further forces")
    try:
        with deadline.flying():
            made = under_forces(found.at_phase_of(found.plans[0]), found.plans[0], holds=holds)
    except ENDED:
        return _without(found, "plan 1 was not flown under further forces")
    except FlightError:
        return _without(found, "under further forces a craft of plan 1 cannot be followed: it comes down or leaves")
    if made is None:
        return found
    plan, under = made
    front = None if found.front is None else found.front.with_flown(plan)
    notes = found.notes
    if abs(under.added_m_s) >= 0.05:
        notes = (*notes, f"corrected for further forces, too, plan 1 costs {plan.delta_v_m_s:.1f} m/s")
    return replace(found, plans=(plan, *found.plans[1:]), front=front, under=under, notes=notes, made=found.plans[0])


def corrected_or_said(found: Outcome, given: Scenario, progress: Progress, *, holds: bool = False) -> Outcome:
    """An outcome planned by the bulge alone with plan 1 corrected, as the command plan does.

    Another plan than that stays as it is, and the warnings say so where further forces matter.

    Args:
        given: the scenario as it was read.
        holds: whether to look how long its spacing holds.
    """
    if given.forces is None:
        return found
    if found.plans[0].rank != 1:
        return said_by_bulge(found, given)
    return under_further_forces(replace(found, scenario=given), progress, holds=holds)


def _left_alone(found: Outcome, progress: Progress) -> Outcome:
    """The outcome with how long the orbits of plan 1 last without another burn."""
    progress("how long orbits last that are left alone")
    plan = found.plans[0]
    try:
        with deadline.flying():
            return replace(found, left_alone=left_alone(found.at_phase_of(plan), plan))
    except ENDED:
        return _without(found, "how long orbits last was not worked out")


def _without(found: Outcome, what: str) -> Outcome:
    """The outcome with what time cut off added to what is missing."""
    return replace(found, unfinished="; ".join([*([found.unfinished] if found.unfinished else []), what]))
