"""One plan of an outcome picked by its rank, to be taken further in place of the best one."""

from __future__ import annotations

from dataclasses import replace

from ..models.errors import InputError
from .outcome import Outcome, Plan


def plan_of_rank(outcome: Outcome, rank: int | None = None) -> Plan:
    """The plan of a rank, the best one without; of an outcome with plans. Raises InputError where there is none."""
    if rank is None:
        return min(outcome.plans, key=lambda plan: plan.rank)
    found = next((plan for plan in outcome.plans if plan.rank == rank), None)
    if found is None:
        raise InputError(f"--plan {rank}: there are plans 1 to {len(outcome.plans)}.", where="command line")
    return found


def with_plan(outcome: Outcome, rank: int) -> Outcome:
    """The same outcome with that plan alone, the ring at its phase; proof and front, about all plans, are left out.

    Raises:
        InputError: there is no plan of that rank.
    """
    plan = plan_of_rank(outcome, rank)
    return replace(outcome.at_phase_of(plan), plans=(plan,), proof=None, front=None)
