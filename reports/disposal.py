"""What craft burn in the end, as a part of the budget: lines and fields."""

from __future__ import annotations

import math
from typing import Any

from ..models.readouts import plain
from ..optimizer.robustness.budget import Budget
from ..optimizer.robustness.disposal import CraftDisposal
from .layout import figures, heading, note, table, words
from .left_alone import air_text
from .values import exact
from .wording import listed, rough_span


def disposal_lines(budget: Budget, width: int) -> list[str]:
    """Lines of the budget; none where the scenario does not ask."""
    scenario = budget.outcome.scenario
    if scenario.disposal_within_s is None or not budget.disposal:
        return []
    columns = [
        words("craft", [one.craft for one in budget.disposal]),
        words("in the end", [_way(budget, one) for one in budget.disposal], wraps=True),
        figures("m/s", cells=[plain(one.delta_v_m_s) for one in budget.disposal]),
    ]
    if any(kg is not None for kg in budget.disposal_kg):
        columns.append(figures("kg more", cells=["" if kg is None else plain(kg, 2) for kg in budget.disposal_kg]))
    lines = [*heading("Disposal", width), *table(columns, width)]
    lines += note(_assumed(budget), width)
    by_name = {craft.craft: craft for craft in budget.craft}
    for one in budget.disposal:
        craft = by_name[one.craft]
        needed = craft.delta_v_m_s[-1].value + one.delta_v_m_s
        if needed > craft.available_m_s:
            lines += note(
                f"{one.craft} DOES NOT HOLD ENOUGH: P99 and disposal come to {plain(needed)} m/s of its "
                f"{plain(craft.available_m_s)} m/s.",
                width,
            )
    return lines


def _way(budget: Budget, one: CraftDisposal) -> str:
    radius_m, within_s = budget.outcome.scenario.body.radius_m, _within_s(budget)
    to_km = plain((one.to_m - radius_m) * 1e-3, 0)
    if one.way == "none":
        return f"nothing: comes down after about {rough_span(one.lasts_s)}"
    if one.way == "decay":
        return f"periapsis lowered to {to_km} km: down after about {rough_span(one.lasts_s)}"
    if one.way == "raise":
        return f"raised to a circle at {to_km} km"
    if budget.outcome.scenario.body.air and "drag" in budget.outcome.scenario.turned_off:
        return "periapsis on the ground: drag is turned off"
    if budget.outcome.scenario.body.air:
        return f"periapsis on the ground: no other burn was found that brings it down within {rough_span(within_s)}"
    top_m = budget.outcome.scenario.body.atmosphere_top_m
    return f"periapsis on the ground: {'there is no air' if top_m == 0.0 else 'no density of its air is known'}"


def _within_s(budget: Budget) -> float:
    asked = budget.outcome.scenario.disposal_within_s
    return math.inf if asked is None else asked


def _assumed(budget: Budget) -> str:
    ways = {one.way for one in budget.disposal}
    said = [f"Besides the figures above, which are without it; to be down within {rough_span(_within_s(budget))}."]
    if ways & {"none", "decay"}:
        forces = list(dict.fromkeys(name for one in budget.disposal for name in one.forces))
        said.append(f"Estimates, by {listed(forces)}.")
        if "drag" in forces:
            said.append(air_text(budget.outcome))
    if "drag" in budget.outcome.scenario.turned_off and budget.outcome.scenario.body.air:
        said.append("Without drag, which the table forces turns off, though there is air.")
    if "raise" in ways:
        said = [
            "Besides the figures above, which are without it. A synchronous ring is left upward: by 235 km + 1000 km "
            "for each m^2/kg of reflectivity times area over mass at least, eccentricity up to 0.005 (ISO 24113, IADC)."
        ]
    said.append("One burn, or two to rise, impulsive, two-body, without errors. The rule is for the operator.")
    return " ".join(said)


def disposal_of(budget: Budget) -> dict[str, Any]:
    """``disposal`` of the JSON; nothing where the scenario does not ask."""
    if not budget.disposal:
        return {}
    radius_m = budget.outcome.scenario.body.radius_m
    return {
        "disposal": {
            "within_s": _within_s(budget),
            "craft": [
                {
                    **exact(one, "craft", "way", "delta_v_m_s"),
                    "to_km": (one.to_m - radius_m) * 1e-3,
                    "lasts_s": one.lasts_s if math.isfinite(one.lasts_s) else None,
                    "forces": list(one.forces),
                    "propellant_kg": kg,
                }
                for one, kg in zip(budget.disposal, budget.disposal_kg, strict=True)
            ],
        }
    }
