"""How long the ring keeps its spacing, in words."""

from __future__ import annotations

import math

from ..models.readouts import plain, span
from ..optimizer.outcome import Hold, Outcome, Plan
from ..optimizer.robustness.hold import YEAR_S, trim_m_s
from .layout import heading, paragraph
from .wording import small

LONG_S = 100.0 * YEAR_S
"""Beyond this other bodies and drag have long decided."""


def hold_lines(outcome: Outcome, plan: Plan, width: int) -> list[str]:
    """Lines on how long the ring holds, and how well periods must match; none where nobody is in it."""
    if plan.hold is None:
        return []
    return [*heading("Keeps its spacing", width), *paragraph(hold_text(outcome, plan.hold), width, indent="  ")]


def hold_text(outcome: Outcome, hold: Hold) -> str:
    """The same in sentences."""
    tolerance = f"{plain(math.degrees(outcome.scenario.ring.tolerance_rad), 2)} deg"
    if hold.flown_s <= 0.0:
        said = f"{hold.craft} is outside the tolerance of {tolerance} from the beginning."
    elif hold.flown_s > LONG_S:
        said = f"Keeps its spacing for over 100 years by the periods as flown, within {tolerance}."
    else:
        said = f"Keeps its spacing for {_long(hold.flown_s)} by the periods as flown, within {tolerance}: "
        said += f"{hold.craft} leaves first."
    known, wanted = hold.period_known_to_s, _long(hold.wanted_s)
    if known is not None and hold.known_s is not None:
        said += f" With periods known to {small(known)} s only, for {_long(hold.known_s)}."
    said += (
        f" To hold for {wanted} the craft's periods must match the ring's to {small(hold.match_s)} s, which is "
        f"{small(trim_m_s(outcome.ring, hold.match_s))} m/s along the track."
    )
    if hold.trim_m_s_year is not None:
        said += (
            f" Short of that, trims at the edge of the tolerance take {small(hold.trim_m_s_year)} m/s a year and craft."
        )
    return said + " Drag and other bodies are left out."


def _long(seconds: float) -> str:
    """Years where there are some, else a span."""
    if seconds >= 2.0 * YEAR_S:
        return f"{plain(seconds / YEAR_S, 1)} years"
    return "a year" if abs(seconds - YEAR_S) < 1.0 else span(seconds)
