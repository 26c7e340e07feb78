"""Answers as data frames in SI units: seconds from the epoch, meters, radians, kilograms, meters per second.

Apsides are radii from the body's center. A value that does not exist (a mass without masses, a launch of a craft in
space) is missing in the frame.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, fields
from typing import TYPE_CHECKING, Any

from ...models.readouts import instant
from ...optimizer.craft_plan import Burn, CraftPlan, Flown
from ...optimizer.outcome import Outcome, Plan
from ...optimizer.period import Periods
from ...optimizer.replan.answer import Replan
from ...optimizer.robustness.budget import SHARES, Budget
from ...optimizer.studies.strategies import Entry
from ...optimizer.studies.sweep import Grid, Row

if TYPE_CHECKING:
    import pandas as pd

PLANS = ("plan", "delta_v_m_s", "worst_delta_v_m_s", "propellant_kg", "finish_s", "within_limits", "on_front", "kind")
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
    rows = [{"plan": plan.rank, **_craft_row(part)} for plan in ranked(outcome) for part in plan.craft]
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
    return _frame([{name: getattr(point, name) for name in FRONT} for point in points], FRONT)


def entries_frame(entries: Sequence[Entry]) -> pd.DataFrame:
    """One row for each strategy or scenario of a comparison."""
    rows = []
    for entry in entries:
        row: dict[str, Any] = {"name": entry.name, "first_service_s": entry.first_service_s}
        if entry.plan is not None:
            row.update(_plan_row(entry.plan))
        row["proof"] = None if entry.proof is None else entry.proof.status
        rows.append(row)
    return _frame(rows, ("name", *(name for name in PLANS if name not in ("plan", "on_front", "kind")), "proof"))


def rows_frame(over: Grid, rows: Iterable[Row]) -> pd.DataFrame:
    """One row for each point of a sweep: the varied keys as written, then what the best plan takes."""
    names = tuple(one.name for one in over.varied)
    measures = ("delta_v_m_s", "worst_delta_v_m_s", "propellant_kg", "finish_s", "first_service_s", "clearance_m")
    order = {point: number for number, point in enumerate(over.points)}
    made = [
        {
            **dict(zip(names, row.values, strict=True)),
            **{name: getattr(row, name) for name in measures},
            "proved": row.proved,
            "refused": row.refused,
        }
        for row in sorted(rows, key=lambda row: order[row.values])
    ]
    return _frame(made, (*names, *measures, "proved", "refused"))


def budget_frame(budget: Budget) -> pd.DataFrame:
    """One row a craft: what it burns by the plan and at each quantile, and what to add to the plan."""
    names = tuple(f"p{round(100 * share)}_m_s" for share in SHARES)
    rows = [
        {
            "craft": one.craft,
            "planned_m_s": one.planned_m_s,
            **{name: quantile.value for name, quantile in zip(names, one.delta_v_m_s, strict=True)},
            "reserve_m_s": one.reserve_m_s,
            "short": one.short,
        }
        for one in budget.craft
    ]
    return _frame(rows, ("craft", "planned_m_s", *names, "reserve_m_s", "short"))


def changes_frame(done: Replan) -> pd.DataFrame:
    """One row for each craft of a new plan against the old one; times from the first epoch."""
    names = ("craft", "slot", "route", "in_slot_s", "old_in_slot_s", "spent_m_s", "rest_m_s", "old_rest_m_s", "same")
    rows = [
        {
            "craft": one.new.craft,
            "slot": one.new.slot,
            "route": one.new.route,
            "in_slot_s": one.in_slot_s,
            "old_in_slot_s": one.old.in_slot_s,
            "spent_m_s": one.spent_m_s,
            "rest_m_s": one.rest_m_s,
            "old_rest_m_s": one.old_rest_m_s,
            "same": one.same,
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
    return {
        "plan": plan.rank,
        "delta_v_m_s": plan.delta_v_m_s,
        "worst_delta_v_m_s": plan.worst_delta_v_m_s,
        "propellant_kg": plan.propellant_kg,
        "finish_s": plan.finish_s,
        "within_limits": not plan.broken,
        "on_front": plan.on_front,
        "kind": plan.kind,
    }


def _craft_row(part: CraftPlan) -> dict[str, Any]:
    flown = {name: getattr(part.flown, name) for name in FLOWN}
    return {**{name: getattr(part, name) for name in CRAFT}, **flown}


def _frame(rows: list[dict[str, Any]], names: Sequence[str]) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame(rows, columns=list(names))
