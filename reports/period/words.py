"""Words and tables that the texts of ``period`` share: headings of several lines, burns, altitudes."""

from __future__ import annotations

import math
from collections.abc import Sequence

from ...models.readouts import brief, clock, plain, span
from ...optimizer.period import Periods
from ..layout import GAP, Cells
from .question import Asked

WORTH_M_S = 0.05
"""A cost below the last digit printed is no cost to a reader."""


def underlined(text: str) -> list[str]:
    """A heading over a table."""
    return [text, "-" * len(text)]


def reached_title(got_s: float) -> str:
    """Heads what a period read at cut-off, s, makes of the slot."""
    return f"With {clock(got_s)} at cut-off"


def fits(filled: Sequence[Cells], width: int) -> bool:
    """Whether the columns stand side by side in a width."""
    sizes = [max(len(text) for text in (*column.heads, *column.cells)) for column in filled]
    return sum(sizes) + GAP * len(filled) <= width


def signed_burn(value_m_s: float) -> str:
    """Say a burn along the track: forward or back.

    >>> signed_burn(711.34), signed_burn(-0.26), signed_burn(0.0)
    ('711.3 forward', '0.3 back', '0')
    """
    if abs(value_m_s) < WORTH_M_S:
        return "0"
    return f"{plain(abs(value_m_s))} {'forward' if value_m_s > 0.0 else 'back'}"


def after(rows: Periods, row: int) -> str:
    """How long after the touch a row is in its slot."""
    return span(float(rows.wait_s[row])) if rows.revolutions[row] > 0 else "at once"


def altitude_km(asked: Asked, radius_m: float) -> str:
    """An altitude from a radius, in km, as a figure of a table."""
    return plain((radius_m - asked.body.radius_m) / 1e3)


def tolerance(asked: Asked) -> str:
    """The slot error that still counts as in place."""
    return f"{brief(math.degrees(asked.tolerance_rad))} deg"
