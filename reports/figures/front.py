"""The price of time: delta-v against finish, drawn as what it is, steps between plans that can be flown."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from ...optimizer.outcome import Front, Outcome, Plan
from ..terminal import telling_points
from ..wording import number, span
from .style import INK, PAPER, QUIET, SHADE, rim, sheet

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

NAMED = 9  # more labels than this crowd the steps


def draw_front(outcome: Outcome) -> Figure:
    """Draw the front of an outcome.

    A step is horizontal from one plan to the next later one: in between nothing cheaper is to be had. Slopes and
    curves run from plan to plan. The shaded side cannot be reached. Plans of another kind are hollow.

    Args:
        outcome: one with plans and a front.

    Raises:
        ValueError: there is no front to draw.
    """
    from matplotlib.ticker import MaxNLocator

    front = outcome.front
    if front is None or not front.points:
        raise ValueError("an outcome without a front cannot be drawn")
    first = min(outcome.plans, key=lambda plan: plan.rank)
    others = [plan for plan in outcome.plans if plan.kind and not plan.on_front]
    picture = 4.1 if len(front.points) + len(others) > 1 else 2.3
    title = f"{outcome.scenario.title}: the price of time"
    figure, axes = sheet(8.4, picture, title, _below(front), margins=(0.9, 0.25, 0.62))
    unit_s, unit = _time_unit(max(plan.finish_s for plan in [first, *others, *_front_plans(outcome)]))
    x = [point.finish_s / unit_s for point in front.points]
    y = [point.delta_v_m_s for point in front.points]
    xs = x + [plan.finish_s / unit_s for plan in others]
    ys = y + [plan.delta_v_m_s for plan in others]
    # room on the right for the label of a chosen plan that stands at the late end
    left, right = _padded(xs, 0.10, 0.30 if first.finish_s >= unit_s * max(xs) else 0.16)
    low, high = _padded(ys, 0.14, 0.16)
    axes.set_xlim(max(0.0, left), right)
    axes.set_ylim(max(0.0, low), high)
    path_x, path_y = _outline(front, unit_s)
    edge_x = [path_x[0], *path_x, right]
    edge_y = [high, *path_y, path_y[-1]]
    axes.fill_between(
        [axes.get_xlim()[0], *edge_x], [high, *edge_y], axes.get_ylim()[0], color=SHADE, linewidth=0, zorder=0
    )
    axes.plot(edge_x, edge_y, color=INK, linewidth=1.4, zorder=2, solid_joinstyle="miter", solid_capstyle="butt")
    axes.plot(x, y, "o", color=INK, markersize=4.5, zorder=4)
    _limit_line(axes, outcome, unit_s)
    _name_plans(axes, outcome, first, others, unit_s)
    axes.set_xlabel(f"last craft in its slot, {unit} after the epoch")
    axes.set_ylabel("delta-v of all craft, m/s")
    axes.xaxis.set_major_locator(MaxNLocator(8))
    axes.yaxis.set_major_locator(MaxNLocator(7))
    axes.yaxis.set_major_formatter(lambda value, _: number(value, 0 if high - low > 7 else 1))
    return figure


def _front_plans(outcome: Outcome) -> list[Plan]:
    assert outcome.front is not None
    ranks = {point.plan for point in outcome.front.points}
    return [plan for plan in outcome.plans if plan.rank in ranks]


def _time_unit(longest_s: float) -> tuple[float, str]:
    return (86400.0, "days") if longest_s > 3 * 86400.0 else (3600.0, "hours")


def _padded(values: list[float], below: float, above: float) -> tuple[float, float]:
    size = max(values) - min(values)
    if size <= 1e-3 * max(abs(max(values)), 1e-9):
        size = 0.25 * max(abs(max(values)), 1.0)
        below, above = 1.0, 1.0
    return min(values) - below * size, max(values) + above * size


def _outline(front: Front, unit_s: float) -> tuple[list[float], list[float]]:
    x: list[float] = []
    y: list[float] = []
    for index, point in enumerate(front.points):
        x.append(point.finish_s / unit_s)
        y.append(point.delta_v_m_s)
        if point.kind == "step" and index + 1 < len(front.points):
            x.append(front.points[index + 1].finish_s / unit_s)
            y.append(point.delta_v_m_s)
    return x, y


def _limit_line(axes: Axes, outcome: Outcome, unit_s: float) -> None:
    limit = outcome.scenario.limits.finish_within_s / unit_s
    left, right = axes.get_xlim()
    if math.isfinite(limit) and left < limit < right:
        axes.axvline(limit, color=QUIET, linewidth=1.0, linestyle=(0, (5, 3)), zorder=1)
        axes.text(limit, 0.98, "finish limit ", transform=axes.get_xaxis_transform(), ha="right", va="top", color=QUIET)


def _name_plans(axes: Axes, outcome: Outcome, first: Plan, others: list[Plan], unit_s: float) -> None:
    assert outcome.front is not None
    points = telling_points(outcome.front.points, NAMED, first.rank)
    broken = {plan.rank for plan in outcome.plans if plan.broken}
    width = axes.get_xlim()[1] - axes.get_xlim()[0]
    height = axes.get_ylim()[1] - axes.get_ylim()[0]
    taken: list[tuple[float, float]] = []
    # the chosen plan first: where labels would meet, the others give way
    for point in sorted(points, key=lambda point: point.plan != first.rank):
        chosen = point.plan == first.rank
        x, y = point.finish_s / unit_s, point.delta_v_m_s
        across, up = x / width, y / height
        if any(abs(across - other) < 0.03 and -0.12 < other_up - up < 0.05 for other, other_up in taken[1:]):
            continue
        if taken and -0.03 < across - taken[0][0] < 0.2 and abs(up - taken[0][1]) < 0.19:
            continue
        taken.append((across, up))
        if chosen:
            axes.plot([x], [y], "o", markersize=11, markerfacecolor=PAPER, markeredgecolor=INK, zorder=3)
            text = f"plan {first.rank}\n{number(y)} m/s\n{span(first.finish_s)}"
        else:
            text = f"{point.plan}"
        text += "\nbreaks a limit" if point.plan in broken else ""
        axes.annotate(
            text,
            (x, y),
            xytext=(9, 6) if chosen else (7, 4),
            textcoords="offset points",
            weight="bold" if chosen else "normal",
            va="bottom",
            path_effects=rim(),
            zorder=6,
        )
    for plan in others:
        x, y = plan.finish_s / unit_s, plan.delta_v_m_s
        axes.plot([x], [y], "o", markersize=6, markerfacecolor=PAPER, markeredgecolor=QUIET, zorder=4)
        right = x > axes.get_xlim()[1] - 0.3 * width
        axes.annotate(
            f"{plan.rank}: {plan.kind}",
            (x, y),
            xytext=(-8 if right else 8, 4),
            textcoords="offset points",
            ha="right" if right else "left",
            va="bottom",
            color=QUIET,
            path_effects=rim(),
            zorder=5,
        )


def _below(front: Front) -> str:
    count = len(front.points)
    if count == 1:
        told = front.note or "one plan is both the cheapest and the soonest"
        told = told[:1].upper() + told[1:]
        return f"{told.rstrip('.')}. Nothing is to be had on the shaded side."
    text = f"{count} plans, each flown; nothing is to be had on the shaded side."
    if front.resolution_m_s > 0.0:
        text += f" Between plans known to {front.resolution_m_s:.2g} m/s."
    kinds = {point.kind for point in front.points[:-1]}
    text += " Where the line slopes, any finish in between can be had." if kinds - {"step"} else ""
    return text
