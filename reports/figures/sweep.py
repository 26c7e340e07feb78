"""A sweep drawn: cost and finish of the plans over one varied quantity, a line for each value of another."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ...models.readouts import plain
from ...optimizer.studies.sweep import Grid
from ..sweep import AIMED, KEPT_WORDS, TextRow, is_kept
from ..wording import AIM_WORDS, count
from .front import padded
from .labels import Label, place
from .style import INK, QUIET, ink, panels, stroke
from .time_ticks import set_time_ticks

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_PICTURE, _SMALLER, _BETWEEN = 2.9, 2.2, 0.75  # inches
_UP = {
    "delta_v_m_s": "delta-v of all craft, m/s",
    "worst_delta_v_m_s": "delta-v of the costliest craft, m/s",
    "propellant_kg": "propellant of all craft, kg",
    "keeping_m_s_year": "keeping all craft, m/s a year",
    "with_keeping_m_s": "both: plan and keeping, m/s",
    "finish_s": "last craft in its slot after",
}

LOGARITHMIC = 30.0
"""Largest over smallest from which on keeping is drawn on a logarithmic scale: drag falls tenfold in 100 to 200 km."""


def draw_sweep(title: str, aim: str, over: Grid, rows: Sequence[TextRow]) -> Figure:
    """Draw the aim, what keeping takes, if known, and the finish; crosses at the foot are points without a plan.

    Args:
        over: the grid; of two quantities the one with more values runs across.
    """
    across, other = _axes_of(over)
    column = AIMED[aim][0]
    column = "delta_v_m_s" if column == "finish_s" else column
    missing = sum(not row.fields["delta_v_m_s"] for row in rows)
    below = f"{count(len(rows), 'point')}; each is the plan with {AIM_WORDS[aim]}, flown."
    below += " Points are joined to guide the eye."
    below += f" Crosses at the foot: no plan ({missing})." if missing else ""
    shown = [column, "finish_s"]
    if is_kept(rows):
        shown[1:1] = ["keeping_m_s_year", "with_keeping_m_s"]
        below += f" {KEPT_WORDS}"
    picture, margins = _PICTURE if len(shown) == 2 else _SMALLER, (1.35, 0.25, 0.62)
    figure, pictures = panels(8.4, len(shown), picture, _BETWEEN, f"{title}: swept", below, margins=margins)
    for axes, name in zip(pictures, shown, strict=True):
        _draw(axes, name, over, across, other, rows)
    return figure


def _axes_of(over: Grid) -> tuple[int, int | None]:
    """Which quantity runs across, and which one parts the lines."""
    if len(over.varied) == 1:
        return 0, None
    sizes = [len(vary.values) if _numbers(vary.values) else 0 for vary in over.varied]
    across = 0 if sizes[0] >= sizes[1] else 1
    return across, 1 - across


def _numbers(values: Sequence[str]) -> list[float] | None:
    try:
        return [float(value) for value in values]
    except ValueError:
        return None


def _draw(axes: Axes, name: str, over: Grid, across: int, other: int | None, rows: Sequence[TextRow]) -> None:
    from matplotlib.ticker import MaxNLocator

    values = over.varied[across].values
    numbers = _numbers(values)
    at = dict(zip(values, numbers or [float(i) for i in range(len(values))], strict=True))
    found = [value for row in rows if (value := row.number(name)) is not None]
    left, right = padded(list(at.values()), 0.04, 0.14 if other is not None else 0.05)
    low, high = padded(found, 0.12, 0.12)
    axes.set_xlim(left, right)
    some = [value for value in found if value > 0.0]
    steep = name == "keeping_m_s_year" and len(some) > 1 and max(some) > LOGARITHMIC * min(some)
    if steep:
        axes.set_yscale("log", nonpositive="mask")
        axes.set_ylim(min(some) / 2.0, 2.0 * max(some))
    else:
        axes.set_ylim(max(0.0, low), high)
    labels = []
    for index, which in enumerate(over.varied[other].values if other is not None else ("",)):
        own = [row for row in rows if other is None or row.values[other] == which]
        places = [(at[row.values[across]], row.number(name)) for row in own]
        x = [a for a, b in places if b is not None]
        y = [b for _, b in places if b is not None]
        color = INK if other is None else ink(index)
        axes.plot(x, y, color=color, linestyle=stroke(index), linewidth=1.1, marker="o", markersize=4, zorder=3)
        none = [a for a, b in places if b is None]
        foot = axes.get_ylim()[0]
        axes.plot(none, [foot] * len(none), "x", color=color, markersize=6, clip_on=False, zorder=5)
        if other is not None and x:
            text = f"{over.varied[other].short} {which}"
            labels.append(Label(at=(x[-1], y[-1]), text=text, color=color, needed=True))
    place(axes, labels)
    axes.set_xlabel(over.varied[across].keys[0])
    axes.set_ylabel(_UP[name])
    if numbers is None:
        axes.set_xticks(list(at.values()), list(values))
    else:
        axes.xaxis.set_major_locator(MaxNLocator(8, integer=all(n == int(n) for n in numbers)))
    if name == "finish_s":
        set_time_ticks(axes, across=False)
    elif steep:
        axes.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
    else:
        axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
        axes.yaxis.set_major_formatter(
            lambda value, _: plain(value, 0 if axes.get_ylim()[1] - axes.get_ylim()[0] > 7 else 1)
        )
    axes.tick_params(colors=QUIET, labelcolor=INK)
