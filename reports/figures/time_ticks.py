"""Ticks of a time axis: whole days, round hours or round minutes, written as times are written in the text."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.axis import Axis

MINUTE_S, HOUR_S, DAY_S = 60.0, 3600.0, 86400.0

STEPS_S = (
    *(minutes * MINUTE_S for minutes in (1, 2, 5, 10, 15, 30)),
    *(hours * HOUR_S for hours in (1, 2, 3, 6, 12)),
    *(days * DAY_S for days in (1, 2, 5, 10, 20, 50, 100, 200, 500)),
)
"""Distances between ticks that may be chosen, s."""


def time_ticks(low_s: float, high_s: float, most: int) -> list[tuple[float, str]]:
    """Round moments from one end to the other, no more than ``most``, each with its words.

    >>> time_ticks(0.0, 5 * 3600.0, 6)
    [(0.0, '0'), (3600.0, '1 h'), (7200.0, '2 h'), (10800.0, '3 h'), (14400.0, '4 h'), (18000.0, '5 h')]
    >>> [words for _, words in time_ticks(80000.0, 200000.0, 4)]
    ['1 d', '1 d 12 h', '2 d']
    """
    step = next((step for step in STEPS_S if (high_s - low_s) / step <= most - 1), 1000.0 * DAY_S)
    while (high_s - low_s) / step > most:
        step *= 2.0
    first, last = math.ceil(low_s / step - 1e-9), math.floor(high_s / step + 1e-9)
    return [(index * step, time_words(index * step)) for index in range(first, last + 1)]


def time_words(time_s: float) -> str:
    """A round time as the text writes it: days, hours and minutes, those that are zero left out.

    >>> time_words(0.0), time_words(86400.0), time_words(388800.0), time_words(5400.0), time_words(-3600.0)
    ('0', '1 d', '4 d 12 h', '1 h 30 min', '-1 h')
    """
    minutes = round(abs(time_s) / MINUTE_S)
    parts = [(minutes // 1440, "d"), (minutes // 60 % 24, "h"), (minutes % 60, "min")]
    words = " ".join(f"{value} {unit}" for value, unit in parts if value)
    return f"{'-' if time_s < 0.0 and words else ''}{words or '0'}"


def set_time_ticks(axis: Axis, low_s: float, high_s: float, most: int) -> None:
    """Put round times on an axis whose unit is the second."""
    from matplotlib.ticker import NullLocator

    found = time_ticks(low_s, high_s, most)
    axis.set_ticks([time_s for time_s, _ in found], labels=[words for _, words in found])
    axis.set_minor_locator(NullLocator())
