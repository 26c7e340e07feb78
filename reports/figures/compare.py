"""All fronts of a comparison on one sheet: a picture for each pair of aims, a line for each strategy or scenario."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from ...optimizer.outcome import AimFront, FrontName
from ...optimizer.studies.strategies import Entry
from ..wording import count, listed
from .front import padded, set_costs
from .labels import Label, place
from .style import FAINT, HALO, INK, QUIET, ink, panels, stroke
from .time_ticks import set_time_ticks

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_UP: dict[FrontName, str] = {
    "delta_v": "delta-v of all craft, m/s",
    "worst_delta_v": "delta-v of the craft that needs most, m/s",
    "propellant": "propellant of all craft, kg",
    "first_service": "delta-v of all craft, m/s",
}
"""What a picture of a front shows upward; pictures stand in this order."""

_PICTURE, _BETWEEN = 3.3, 0.75  # inches


def draw_fronts(entries: Sequence[Entry]) -> Figure:
    """Draw every front that the entries have.

    Lines are labeled where they begin, at their fastest plan; entries with the same front share a line and a label.

    Raises:
        ValueError: there is no front to draw.
    """
    shown = [name for name in _UP if any(_front(entry, name) for entry in entries)]
    if not shown:
        raise ValueError("entries without fronts cannot be drawn")
    scenarios = entries[0].about == "scenario"
    points = sum(len(front.points) for entry in entries for front in entry.fronts)
    title = "Scenarios side by side" if scenarios else f"{entries[0].scenario.title}: strategies side by side"
    below = (
        f"{count(points, 'point')}, each proved over the catalogue of options of its line; only the best plan of each "
        "line was flown (ringed). Below and left of a line no plan of its kind exists."
    )
    figure, pictures = panels(8.6, len(shown), _PICTURE, _BETWEEN, title, below, margins=(0.9, 0.25, 0.62))
    for axes, name in zip(pictures, shown, strict=True):
        _draw(axes, name, entries)
    return figure


def _front(entry: Entry, name: FrontName) -> AimFront | None:
    return next((front for front in entry.fronts if front.name == name and front.points), None)


def _places(front: AimFront) -> list[tuple[float, float]]:
    """(time s, aim) of each point."""
    found = []
    for point in front.points:
        time_s = point.first_service_s if front.name == "first_service" else point.finish_s
        value = {
            "delta_v": point.delta_v_m_s,
            "worst_delta_v": point.worst_delta_v_m_s,
            "propellant": point.propellant_kg,
            "first_service": point.delta_v_m_s,
        }[front.name]
        if time_s is not None and value is not None:
            found.append((time_s, value))
    return found


def _draw(axes: Axes, name: FrontName, entries: Sequence[Entry]) -> None:
    lines: dict[tuple[tuple[float, float], ...], list[int]] = {}
    for index, entry in enumerate(entries):
        front = _front(entry, name)
        if front is not None and (own := _places(front)):
            key = tuple((round(t, 1), round(v, 3)) for t, v in own)
            lines.setdefault(key, []).append(index)
    times = [t for places in lines for t, _ in places]
    values = [v for places in lines for _, v in places]
    left, right = padded(times, 0.06, 0.14)
    axes.set_xlim(max(0.0, left), right)
    set_costs(axes, _UP[name], values, (0.12, 0.14), (0.10, 0.10))
    labels = [_draw_line(axes, name, entries, owners) for owners in lines.values()]
    labels.sort(key=lambda label: -label.at[1])
    place(axes, labels, clear=HALO)
    across = "first service" if name == "first_service" else "last craft in its slot"
    axes.set_xlabel(f"{across}, after the epoch", color=INK)
    set_time_ticks(axes)
    axes.tick_params(colors=QUIET, labelcolor=INK)


def _draw_line(axes: Axes, name: FrontName, entries: Sequence[Entry], owners: list[int]) -> Label:
    """Draw the front that some entries share, from the upper edge of the picture on; its label."""
    first = entries[owners[0]]
    front = _front(first, name)
    assert front is not None
    x, y = _outline(front)
    free = first.about == "all"
    color = QUIET if free else ink(owners[0])
    if not free:
        axes.plot([x[0], x[0]], [axes.get_ylim()[1], y[0]], color=color, linewidth=0.6, zorder=2)
    axes.plot(
        [*x, axes.get_xlim()[1]],
        [*y, y[-1]],
        color=FAINT if free else color,
        linestyle=stroke(owners[0]),
        # what every other line can only meet lies under them all
        linewidth=7.0 if free else 1.5,
        solid_joinstyle="miter",
        zorder=1 if free else 3 + 0.01 * owners[0],
    )
    if len(x) == 1:
        axes.plot([x[0]], [y[0]], "o", color=color, markersize=4.5, zorder=4)
    if name == "delta_v" and first.plan is not None:
        ring: dict[str, Any] = {"markersize": 8, "markerfacecolor": "none", "markeredgecolor": color}
        axes.plot([first.plan.finish_s], [first.plan.delta_v_m_s], "o", zorder=5, **ring)
    # the fastest corner is where lines of different kind are furthest apart; the free one ends below all others, and is
    # named along its end, where least meets it
    at = (0.5 * (x[-1] + axes.get_xlim()[1]), y[-1]) if free else (x[0], y[0])
    return Label(at=at, text=listed([entries[i].name for i in owners]), color=color, needed=True)


def _outline(front: AimFront) -> tuple[list[float], list[float]]:
    """The line through the points: level to the next later one where it is a step, straight to it elsewhere."""
    places = _places(front)
    x, y = [places[0][0]], [places[0][1]]
    for point, (time_s, value) in zip(front.points, places[1:], strict=False):
        if point.kind == "step":
            x.append(time_s)
            y.append(y[-1])
        x.append(time_s)
        y.append(value)
    return x, y
