"""How long the ring keeps its spacing, in words."""

from __future__ import annotations

import math

from ..models.bodies import body_origins
from ..models.missing_forces import DRAG
from ..models.readouts import clock, plain, span
from ..models.surroundings import AREA_M2_KG
from ..optimizer.outcome import Hold, Outcome, Plan
from ..optimizer.robustness.hold import YEAR_S, trim_m_s
from .layout import heading, paragraph
from .result import gravity_of
from .wording import GRAVITY_WORDS, capital, small

LONG_S = 100.0 * YEAR_S
"""Beyond this other bodies and drag have long decided."""


def hold_lines(outcome: Outcome, plan: Plan, width: int) -> list[str]:
    """Lines on how long the ring holds, and how well periods must match; none where no craft is in it."""
    if plan.hold is None:
        return []
    return [*heading("Keeps its spacing", width), *paragraph(hold_text(outcome, plan.hold), width, indent="  ")]


def hold_text(outcome: Outcome, hold: Hold) -> str:
    """The same in sentences: by which forces, as far as the largest force left out allows, and the trim to make."""
    said = [_figure(outcome, hold)]
    known, wanted = hold.period_known_to_s, _long(hold.wanted_s)
    if known is not None and hold.known_s is not None and not hold.refused and hold.known_s < hold.missing_s:
        said.append(f"With periods known to {small(known)} s only, for {_long(hold.known_s)}.")
    said.append(trim_text(outcome, hold))
    said.append(
        f"To hold for {wanted} by these forces alone the craft's periods must match the ring's to "
        f"{small(hold.match_s)} s, which is {small(trim_m_s(outcome.ring, hold.match_s))} m/s along the track."
    )
    if hold.trim_m_s_year is not None:
        said.append(
            f"Without that, trims at the edge of the tolerance take {small(hold.trim_m_s_year)} m/s a year for each "
            "craft, for the uncertainty of the periods alone."
        )
    return " ".join(one for one in said if one)


def _figure(outcome: Outcome, hold: Hold) -> str:
    """How long, and what the figure is worth."""
    tolerance = f"{plain(math.degrees(outcome.scenario.ring.tolerance_rad), 2)} deg"
    forces = GRAVITY_WORDS[gravity_of(outcome)]
    if hold.flown_s <= 0.0:
        return f"{hold.craft} is outside the tolerance of {tolerance} from the beginning."
    if hold.refused:
        return f"No figure for how long it keeps its spacing: {hold.refused}."
    forever = hold.flown_s > LONG_S
    by_forces = "over 100 years" if forever else _long(hold.flown_s)
    first = "" if forever else f": {hold.craft} leaves first"
    if hold.missing_s < hold.flown_s:
        return (
            f"{capital(missing_text(outcome, hold))}, so no longer figure is given. The periods as flown would keep "
            f"it longer by {forces} alone{first}."
        )
    left_out = capital(missing_text(outcome, hold)) if hold.missing else "Other bodies and air are not known here"
    return (
        f"Keeps its spacing for {by_forces} by the periods as flown and {forces} alone, within {tolerance}{first}. "
        f"{left_out}."
    )


def missing_text(outcome: Outcome, hold: Hold) -> str:
    """The largest force left out and what it could do; empty where none is known here."""
    if not hold.missing:
        return ""
    tolerance = f"{plain(math.degrees(outcome.scenario.ring.tolerance_rad), 2)} deg"
    of_air = ""
    if hold.missing == DRAG:
        air = body_origins(outcome.scenario.body.name).air.partition(" (")[0]
        of_air = f" ({air}; {plain(1.0 / AREA_M2_KG, 0)} kg a square meter)"
    return (
        f"{hold.missing}{of_air}, left out, could use up the {tolerance} in {_about(hold.missing_s)} (an estimate, "
        "good to a factor of three)"
    )


def trim_text(outcome: Outcome, hold: Hold) -> str:
    """The burn that keeps the craft that leaves first; empty where none would hold the ring longer."""
    worth = hold.flown_s <= min(LONG_S, max(hold.missing_s, hold.wanted_s))
    if hold.refused or hold.period_error_s == 0.0 or not worth:
        return ""
    size = trim_m_s(outcome.ring, hold.period_error_s)
    way, off = ("back", "longer") if hold.period_error_s > 0.0 else ("forward", "shorter")
    return (
        f"Trim for {hold.craft}: {small(size)} m/s {way} along the track, to match the ring's mean period of "
        f"{clock(outcome.ring.period_s, 3)}; its own is {small(abs(hold.period_error_s))} s {off}."
    )


def _about(seconds: float) -> str:
    """A span of which only the order counts, to one or two digits.

    >>> _about(45.3 * 86_400.0), _about(7_300.0)
    ('about 45 days', 'about 2 hours')
    """
    if seconds > LONG_S:
        return "over 100 years"
    unit, length = ("hours", 3600.0)
    if seconds >= 2.0 * YEAR_S:
        unit, length = ("years", YEAR_S)
    elif seconds >= 2.0 * 86_400.0:
        unit, length = ("days", 86_400.0)
    value = seconds / length
    return f"about {plain(value, 0) if value >= 1.5 else small(value)} {unit}"


def _long(seconds: float) -> str:
    """Years where there are some, else a span."""
    if seconds >= 2.0 * YEAR_S:
        return f"{plain(seconds / YEAR_S, 1)} years"
    return "a year" if abs(seconds - YEAR_S) < 1.0 else span(seconds)
