"""What no flight of any kind can beat, beside what plan 1 takes: in words and as values of the result."""

from __future__ import annotations

import math
from typing import Any

from ..models.readouts import plain, span
from ..optimizer.outcome import Outcome, Plan
from .values import finite, named, number

LEAST_SAID = 0.1
"""Bounds below this, m/s, are not worth a word."""


def least_possible_text(outcome: Outcome, plan: Plan) -> str:
    """A sentence on each craft of plan 1 and one on the ring; empty for another plan, or where nothing is proved."""
    least = outcome.least_possible
    if least is None or plan is not outcome.plans[0]:
        return ""
    taken = {part.craft: part.delta_v_m_s for part in plan.craft}
    bounds = [
        f"{one.craft} {_downward(one.least_m_s)} m/s (plan 1: {plain(taken[one.craft])})"
        for one in least.craft
        if one.least_m_s >= LEAST_SAID
    ]
    if not bounds:
        return ""
    text = (
        f"In point-mass gravity no flight of any kind that is in its slot by {span(least.by_s)}, when plan 1 is done, "
        f"takes less than (proved): {', '.join(bounds)}."
    )
    if least.total_m_s is not None and len(plan.craft) > 1:
        text += (
            f" All craft together, into any open slots of the ring where it stands: {_downward(least.total_m_s)} m/s "
            f"(plan 1: {plain(plan.delta_v_m_s)})."
        )
    return text


def _downward(value_m_s: float) -> str:
    """A lower bound as printed is no higher than it is."""
    return plain(math.floor(value_m_s * 10.0 + 1e-9) / 10.0)


def least_possible_of(outcome: Outcome) -> dict[str, Any]:
    """``least_possible`` of the result; nothing where nothing is proved."""
    least = outcome.least_possible
    if least is None:
        return {}
    taken = {part.craft: part.delta_v_m_s for part in outcome.plans[0].craft}
    return {
        "least_possible": {
            "by_s": finite(least.by_s, 6),
            "craft": [
                {**named(one, "craft", "slot", "least_m_s"), "delta_v_m_s": number(taken[one.craft])}
                for one in least.craft
            ],
            "total_m_s": finite(least.total_m_s, 6),
        }
    }
