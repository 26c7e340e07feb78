"""Answers as data frames in SI units: seconds from the epoch, meters, radians, kilograms, meters per second.

Apsides are radii from the body's center. A value that does not exist (a mass without masses, a launch of a craft in
space) is missing in the frame.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, fields
from typing import TYPE_CHECKING, Any

from ...models.readouts import instant
from ...optimizer.craft_plan import Burn, Flown
from ...optimizer.outcome import Outcome, Plan
from ...optimizer.period import Periods
from ...optimizer.replan.answer import Replan
from ...optimizer.robustness.budget import SHARES, Budget
from ...optimizer.studies.strategies import Entry
from ...optimizer.studies.sweep import Grid, Row
from ..values import exact

if TYPE_CHECKING:
    import pandas as pd

COSTS = ("delta_v_m_s", "worst_delta_v_m_s", "propellant_kg", "finish_s")
PLANS = ("plan", *COSTS, "within_limits", "on_front", "kind")
CRAFT = (
    "craft",
    "plane",
    "slot",
    "route",
    "side",
    "revolutions",
    "ring_revolutions",
    "lead_rad",
    "pad",
    "carrier",
    "launch_s",
    "insertion_s",
    "ring_arrival_s",
    "in_slot_s",
    "phasing_period_s",
    "lowest_periapsis_m",
    "must_burn",
    "delta_v_m_s",
    "propellant_kg",
    "propellant_left_kg",
)
FLOWN = tuple(field.name for field in fields(Flown))
BURN = tuple(field.name for field in fields(Burn))
FRONT = ("finish_s", "delta_v_m_s", "plan", "kind")


def plans_frame(outcome: Outcome) -> pd.DataFrame:
    """One row a plan, the best by the goal first."""
    return _frame([_plan_row(plan) for plan in ranked(outcome)], PLANS)


def craft_frame(outcome: Outcome) -> pd.DataFrame:
    """One row for each craft of each plan: its route, its times, and what its flight found."""
    rows = [
        {"plan": plan.rank, **exact(part, *CRAFT), **exact(part.flown, *FLOWN)}
        for plan in ranked(outcome)
        for part in plan.craft
    ]
    return _frame(rows, ("plan", *CRAFT, *FLOWN))


def burns_frame(outcome: Outcome) -> pd.DataFrame:
    """One row a burn; ``at`` repeats its moment as a date where the scenario has an epoch."""
    rows = [
        {
            "plan": plan.rank,
            "craft": part.craft,
            "burn": number,
            "at": instant(outcome.scenario.epoch, burn.time_s, 3),
            **asdict(burn),
        }
        for plan in ranked(outcome)
        for part in plan.craft
        for number, burn in enumerate(part.burns, start=1)
    ]
    return _frame(rows, ("plan", "craft", "burn", "at", *BURN))


def front_frame(outcome: Outcome) -> pd.DataFrame:
    """The price of time, sorted by finish."""
    points = outcome.front.points if outcome.front is not None else ()
    return _frame([exact(point, *FRONT) for point in points], FRONT)


def entries_frame(entries: Sequence[Entry]) -> pd.DataFrame:
    """One row for each strategy or scenario of a comparison."""
    rows = []
    for entry in entries:
        row: dict[str, Any] = {"name": entry.name, "first_service_s": entry.first_service_s}
        if entry.plan is not None:
            row.update(_plan_row(entry.plan))
        row["proof"] = None if entry.proof is None else entry.proof.status
        rows.append(row)
    return _frame(rows, ("name", *COSTS, "within_limits", "proof"))


def rows_frame(over: Grid, rows: Iterable[Row]) -> pd.DataFrame:
    """One row for each point of a sweep: the varied keys as written, then what the best plan takes."""
    names = tuple(one.name for one in over.varied)
    measures = (*COSTS, "first_service_s", "clearance_m")
    order = {point: number for number, point in enumerate(over.points)}
    made = [
        {
            **dict(zip(names, row.values, strict=True)),
            **exact(row, *measures, "proved", "refused"),
        }
        for row in sorted(rows, key=lambda row: order[row.values])
    ]
    return _frame(made, (*names, *measures, "proved", "refused"))


def budget_frame(budget: Budget) -> pd.DataFrame:
    """One row a craft: what it burns by the plan and at each quantile, and what to add to the plan."""
    names = tuple(f"p{round(100 * share)}_m_s" for share in SHARES)
    rows = [
        {
            **exact(one, "craft", "planned_m_s", "reserve_m_s", "short"),
            **{name: quantile.value for name, quantile in zip(names, one.delta_v_m_s, strict=True)},
        }
        for one in budget.craft
    ]
    return _frame(rows, ("craft", "planned_m_s", *names, "reserve_m_s", "short"))


def changes_frame(done: Replan) -> pd.DataFrame:
    """One row for each craft of a new plan against the old one; times from the first epoch."""
    names = ("craft", "slot", "route", "in_slot_s", "old_in_slot_s", "spent_m_s", "rest_m_s", "old_rest_m_s", "same")
    rows = [
        {
            **exact(one.new, "craft", "slot", "route"),
            "old_in_slot_s": one.old.in_slot_s,
            **exact(one, "in_slot_s", "spent_m_s", "rest_m_s", "old_rest_m_s", "same"),
        }
        for one in done.changes
    ]
    return _frame(rows, names)


def options_frame(found: Periods) -> pd.DataFrame:
    """One row for each period that fits."""
    names = [field.name for field in fields(Periods)]
    return _frame(
        [dict(zip(names, row, strict=True)) for row in zip(*(getattr(found, n) for n in names), strict=True)], names
    )


def ranked(outcome: Outcome) -> list[Plan]:
    """The plans of an outcome, rank 1 first."""
    return sorted(outcome.plans, key=lambda plan: plan.rank)


def _plan_row(plan: Plan) -> dict[str, Any]:
    return {"plan": plan.rank, "within_limits": not plan.broken, **exact(plan, *COSTS, "on_front", "kind")}


def _frame(rows: list[dict[str, Any]], names: Sequence[str]) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame(rows, columns=list(names))
