"""Ticks of a time axis: whole days, round hours or round minutes, written as times are written in the text."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from .style import made_for

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MINUTE_S, HOUR_S, DAY_S = 60.0, 3600.0, 86400.0

STEPS_S = (
    *(minutes * MINUTE_S for minutes in (1, 2, 5, 10, 15, 30)),
    *(hours * HOUR_S for hours in (1, 2, 3, 6, 12)),
    *(days * DAY_S for days in (1, 2, 5, 10, 20, 50, 100, 200, 500)),
)
"""Distances between ticks that may be chosen, s."""


def time_ticks(low_s: float, high_s: float, room: float, *, across: bool = True) -> list[tuple[float, str]]:
    """Round moments from one end to the other, as many as there is room for, each with its words.

    Args:
        low_s, high_s: ends of the axis, s.
        room: length of the axis in letters.
        across: whether the words stand side by side, not one above the other.

    >>> time_ticks(0.0, 5 * 3600.0, 60.0)
    [(0.0, '0'), (3600.0, '1 h'), (7200.0, '2 h'), (10800.0, '3 h'), (14400.0, '4 h'), (18000.0, '5 h')]
    >>> [words for _, words in time_ticks(80000.0, 200000.0, 40.0)]
    ['1 d', '1 d 12 h', '2 d']
    """
    for step in (*STEPS_S, *(1000.0 * DAY_S * 2**power for power in range(60))):
        first, last = math.ceil(low_s / step - 1e-9), math.floor(high_s / step + 1e-9)
        # no step that would make far more than there is room for
        if last - first + 1 > 0.5 * room:
            continue
        found = [(index * step, time_words(index * step)) for index in range(first, last + 1)]
        each = max((len(words) for _, words in found), default=0) + 3.0 if across else 5.0
        if len(found) * each <= room:
            return found
    return []


def time_words(time_s: float) -> str:
    """A round time as the text writes it: days, hours and minutes, those that are zero left out.

    >>> time_words(0.0), time_words(86400.0), time_words(388800.0), time_words(5400.0), time_words(-3600.0)
    ('0', '1 d', '4 d 12 h', '1 h 30 min', '-1 h')
    """
    minutes = round(abs(time_s) / MINUTE_S)
    parts = [(minutes // 1440, "d"), (minutes // 60 % 24, "h"), (minutes % 60, "min")]
    words = " ".join(f"{value} {unit}" for value, unit in parts if value)
    return f"{'-' if time_s < 0.0 and words else ''}{words or '0'}"


def room_letters(axes: Axes, *, across: bool = True) -> float:
    """How many letters of a tick find room along an axis, or lines half as high as wide up it."""
    figure: Any = axes.get_figure(root=True)
    wide, tall = figure.get_size_inches()
    box = axes.get_position()
    return float((box.width * wide if across else box.height * tall) / (0.078 * made_for().letters))


def set_time_ticks(axes: Axes, *, across: bool = True) -> None:
    """Put round times on the axis that goes across, or up, whose unit is the second; limits must stand."""
    from matplotlib.ticker import NullLocator

    axis, limits = (axes.xaxis, axes.get_xlim()) if across else (axes.yaxis, axes.get_ylim())
    found = time_ticks(*limits, room_letters(axes, across=across), across=across)
    axis.set_ticks([time_s for time_s, _ in found], labels=[words for _, words in found])
    axis.set_minor_locator(NullLocator())
