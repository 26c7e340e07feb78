"""The outcome as tables: one row a plan, a craft, a burn, a point of the front.

The numbers are those of ``result.py`` under the same names, so a table and the result can be joined on ``plan``.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..models.printable import printable
from ..models.readouts import instant
from ..optimizer.outcome import Outcome
from .files import write_text
from .result import result
from .result_schema import always
from .safe_text import csv_cell
from .wording import why_text

if TYPE_CHECKING:
    import pandas as pd

# Known without any row, so that an empty table still has its columns.
_PLAN, _BURN = always("plan"), always("burn")
PLANS = ("plan", *_PLAN[1:5], "finish_at", "within_limits", "broken", *_PLAN[6:], "differs")
CRAFT = ("plan", *always("craft"), *always("flown"))
BURNS = ("plan", "craft", "burn", "time_s", "at", *_BURN[1:])
FRONT = ("finish_s", "delta_v_m_s", "plan", "kind", "finish_against_plan_1_s", "delta_v_against_plan_1_m_s")


def tables(outcome: Outcome) -> dict[str, pd.DataFrame]:
    """Lay the outcome out as tables.

    Returns:
        DataFrames by name: ``plans``, ``craft``, ``burns``, ``front``; units in the column names, times in seconds
        from the epoch, altitudes in km, angles in degrees. ``finish_at`` and ``at`` repeat a time as a date where the
        scenario has an epoch. Without a plan the tables have columns and no rows.
    """
    import pandas as pd

    values = result(outcome)
    craft = [{"plan": plan["rank"], **part, **part["flown"]} for plan in values["plans"] for part in plan["craft"]]
    return {
        "plans": pd.DataFrame(_plan_rows(outcome, values), columns=list(PLANS)),
        "craft": pd.DataFrame(craft, columns=list(CRAFT)),
        "burns": pd.DataFrame(_burn_rows(outcome, values), columns=list(BURNS)),
        "front": pd.DataFrame(_front_rows(values), columns=list(FRONT)),
    }


def write_tables(outcome: Outcome, directory: str | Path) -> list[Path]:
    """Write every table as CSV (RFC 4180, with a header; an empty field where there is no value).

    Returns:
        The paths ``plans.csv``, ``craft.csv``, ``burns.csv``, ``front.csv``.
    """
    return [write_text(Path(directory) / f"{name}.csv", frame_csv(table)) for name, table in tables(outcome).items()]


def frame_csv(table: pd.DataFrame) -> str:
    """A table as CSV; no text in it is taken for a formula by a spreadsheet."""
    texts = {
        str(name): [csv_cell(printable(one)) if isinstance(one, str) else one for one in column]
        for name, column in table.items()
        if column.dtype.kind not in "biuf"
    }
    shown = table.assign(**texts) if len(table) else table
    return str(shown.to_csv(index=False, lineterminator="\n"))


def _plan_rows(outcome: Outcome, values: dict[str, Any]) -> list[dict[str, Any]]:
    plans = sorted(outcome.plans, key=lambda plan: plan.rank)
    return [
        {
            **row,
            "plan": row["rank"],
            "finish_at": instant(outcome.scenario.epoch, plan.finish_s),
            "broken": "; ".join(f"{broken['craft']}: {broken['limit']}" for broken in row["broken"]),
            "differs": why_text(plan, plans[0], most=len(plan.craft)),
        }
        for plan, row in zip(plans, values["plans"], strict=True)
    ]


def _burn_rows(outcome: Outcome, values: dict[str, Any]) -> list[dict[str, Any]]:
    return [
        {
            "plan": plan["rank"],
            "craft": part["craft"],
            "burn": index,
            "at": instant(outcome.scenario.epoch, burn["time_s"], 3),
            **burn,
        }
        for plan in values["plans"]
        for part in plan["craft"]
        for index, burn in enumerate(part["burns"], start=1)
    ]


def _front_rows(values: dict[str, Any]) -> list[dict[str, Any]]:
    if not values["front"]:
        return []
    first = values["plans"][0]
    return [
        {
            **point,
            "finish_against_plan_1_s": round(point["finish_s"] - first["finish_s"], 6),
            "delta_v_against_plan_1_m_s": round(point["delta_v_m_s"] - first["delta_v_m_s"], 6),
        }
        for point in values["front"]
    ]
