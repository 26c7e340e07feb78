"""The price of time: delta-v against finish, drawn as what it is, steps between plans that can be flown."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ...models.readouts import plain, span
from ...optimizer.outcome import Front, Outcome, Plan
from ..price_of_time import telling_points
from ..wording import listed
from .style import INK, PAPER, QUIET, SHADE, rim, sheet

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_DAY_S = 86400.0
_TALL = 6.0  # dearest against cheapest from which the axis is logarithmic
NAMED = 12  # more labels than this crowd the steps


def draw_front(outcome: Outcome) -> Figure:
    """Draw the front of an outcome.

    A step is horizontal from one plan to the next later one: in between nothing cheaper is to be had. Slopes and
    curves run from plan to plan. The shaded side cannot be reached. Plans of another kind are hollow.

    Args:
        outcome: one with plans and a front.

    Raises:
        ValueError: there is no front to draw.
    """
    from matplotlib.ticker import LogLocator, MaxNLocator, NullLocator

    front = outcome.front
    if front is None or not front.points:
        raise ValueError("an outcome without a front cannot be drawn")
    first = min(outcome.plans, key=lambda plan: plan.rank)
    ranks = {point.plan for point in front.points}
    others = [plan for plan in outcome.plans if plan.rank not in ranks and plan.rank != first.rank]
    picture = 4.1 if len(front.points) + len(others) > 1 else 2.3
    title = f"{outcome.scenario.title}: the price of time"
    figure, axes = sheet(8.4, picture, title, _below(front), margins=(0.9, 0.25, 0.62))
    unit_s, unit = time_unit([plan.finish_s for plan in [first, *others, *_front_plans(outcome)]])
    x = [point.finish_s / unit_s for point in front.points]
    y = [point.delta_v_m_s for point in front.points]
    xs = x + [plan.finish_s / unit_s for plan in [first, *others]]
    ys = y + [plan.delta_v_m_s for plan in [first, *others]]
    # room on the right for the label of a chosen plan that stands at the late end
    left, right = padded(xs, 0.10, 0.30 if first.finish_s >= unit_s * max(xs) else 0.16)
    # one far dearer plan would press all others flat on a plain scale
    tall = min(ys) > 0.0 and max(ys) > _TALL * min(ys)
    if tall:
        axes.set_yscale("log")
        low, high = min(ys) / (max(ys) / min(ys)) ** 0.12, max(ys) * (max(ys) / min(ys)) ** 0.08
    else:
        low, high = padded(ys, 0.14, 0.16)
    axes.set_xlim(max(0.0, left), right)
    axes.set_ylim(low if tall else max(0.0, low), high)
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
    axes.set_ylabel("delta-v of all craft, m/s" + (", logarithmic" if tall else ""))
    axes.xaxis.set_major_locator(MaxNLocator(8))
    axes.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)) if tall else MaxNLocator(7))
    axes.yaxis.set_minor_locator(NullLocator())
    axes.yaxis.set_major_formatter(lambda value, _: plain(value, 0 if high - low > 7 else 1))
    return figure


def _front_plans(outcome: Outcome) -> list[Plan]:
    assert outcome.front is not None
    ranks = {point.plan for point in outcome.front.points}
    return [plan for plan in outcome.plans if plan.rank in ranks]


def time_unit(finishes_s: list[float]) -> tuple[float, str]:
    """Days for fronts that spread over days, or for single plans that are far off; hours otherwise."""
    wide = max(finishes_s) - min(finishes_s)
    days = wide > 3.0 * _DAY_S or (wide < 60.0 and max(finishes_s) > 5.0 * _DAY_S)
    return (_DAY_S, "days") if days else (3600.0, "hours")


def padded(values: list[float], below: float, above: float) -> tuple[float, float]:
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
        if index + 1 == len(front.points):
            break
        following = front.points[index + 1]
        if point.kind == "step":
            x.append(following.finish_s / unit_s)
            y.append(point.delta_v_m_s)
        else:
            # many points, so that a straight slope stays true on a logarithmic axis too
            for share in (j / 16.0 for j in range(1, 16)):
                x.append((point.finish_s + share * (following.finish_s - point.finish_s)) / unit_s)
                y.append(point.delta_v_m_s + share * (following.delta_v_m_s - point.delta_v_m_s))
    return x, y


def _limit_line(axes: Axes, outcome: Outcome, unit_s: float) -> None:
    limit = outcome.scenario.limits.finish_within_s / unit_s
    left, right = axes.get_xlim()
    if math.isfinite(limit) and left < limit < right:
        axes.axvline(limit, color=QUIET, linewidth=1.0, linestyle=(0, (5, 3)), zorder=1)
        axes.text(limit, 0.98, "finish limit ", transform=axes.get_xaxis_transform(), ha="right", va="top", color=QUIET)


def _name_plans(axes: Axes, outcome: Outcome, first: Plan, others: list[Plan], unit_s: float) -> None:
    """Name the chosen plan, those of another kind, and as many of the front as there is room for."""
    assert outcome.front is not None
    broken = {plan.rank for plan in outcome.plans if plan.broken}
    places = {plan.rank: (plan.finish_s / unit_s, plan.delta_v_m_s) for plan in outcome.plans}

    def words(rank: int, text: str) -> str:
        return f"{text}\nbreaks a limit" if rank in broken else text

    x, y = places[first.rank]
    axes.plot([x], [y], "o", markersize=11, markerfacecolor=PAPER, markeredgecolor=INK, zorder=3)
    axes.plot([x], [y], "o", markersize=4.5, color=INK, zorder=4)
    chosen = f"plan {first.rank}\n{plain(y)} m/s\n{span(first.finish_s)}"
    beside: list[list[Plan]] = []
    same: list[int] = []
    for plan in others:
        # plans that stand on the same spot share a mark and a label
        group = next((group for group in beside if _meet(axes, places[plan.rank], places[group[0].rank])), None)
        if _meet(axes, places[plan.rank], (x, y)):
            same.append(plan.rank)
        elif group is not None:
            group.append(plan)
        else:
            beside.append([plan])
    chosen += f"\nalso {listed([str(rank) for rank in same])}" if same else ""
    labels = [_Label(at=(x, y), text=words(first.rank, chosen), color=INK, weight="bold", spots=_SPOTS, needed=True)]
    for group in beside:
        at = places[group[0].rank]
        axes.plot(*at, "o", markersize=6, markerfacecolor=PAPER, markeredgecolor=QUIET, zorder=4)
        named = "\n".join(
            words(plan.rank, f"{plan.rank}: {plan.kind}" if plan.kind else f"{plan.rank}") for plan in group
        )
        labels.append(_Label(at=at, text=named, color=QUIET, spots=_SPOTS, needed=True))
    # the points that tell most come first; where labels would meet, later ones give way
    ranked = [
        point.plan
        for most in range(3, NAMED + 1)
        for point in telling_points(outcome.front.points, most, first.rank)
        if point.plan != first.rank
    ]
    labels += [
        _Label(at=places[rank], text=words(rank, f"{rank}"), color=INK, spots=_SPOTS[:1])
        for rank in dict.fromkeys(ranked)
    ]
    _place(axes, labels)


def _meet(axes: Axes, one: tuple[float, float], other: tuple[float, float]) -> bool:
    """Whether two marks cover each other on the paper."""
    (x, y), (u, v) = axes.transData.transform([one, other])
    return math.hypot(x - u, y - v) < 0.09 * axes.get_figure(root=True).dpi  # type: ignore[union-attr]


# where a label may stand, points from its plan: right above, left above, right below, left below
_SPOTS = ((8, 5, "left", "bottom"), (-8, 5, "right", "bottom"), (8, -6, "left", "top"), (-8, -6, "right", "top"))


@dataclass(frozen=True, kw_only=True)
class _Label:
    at: tuple[float, float]
    text: str
    color: str
    spots: tuple[tuple[int, int, str, str], ...]
    weight: str = "normal"
    needed: bool = False


def place_labels(axes: Axes, labels: list[tuple[tuple[float, float], str, str]]) -> None:
    """Set a label at each place, all of them, each (place, text, color), clear of one another where there is room."""
    _place(axes, [_Label(at=at, text=text, color=color, spots=_SPOTS, needed=True) for at, text, color in labels])


def _place(axes: Axes, labels: list[_Label]) -> None:
    """Set labels where they cover neither each other nor the edge; one that is not needed is left out."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    figure = axes.get_figure(root=True)
    assert figure is not None
    renderer = FigureCanvasAgg(figure).get_renderer()  # type: ignore[no-untyped-call]
    frame = axes.get_window_extent(renderer)
    taken = [text.get_window_extent(renderer) for text in axes.texts]
    for label in labels:
        for index, (across, up, side, foot) in enumerate(label.spots):
            text = axes.annotate(
                label.text,
                label.at,
                xytext=(across, up),
                textcoords="offset points",
                ha=side,
                va=foot,
                color=label.color,
                weight=label.weight,
                path_effects=rim(),
                zorder=6,
            )
            box = text.get_window_extent(renderer)
            inside = frame.x0 <= box.x0 and box.x1 <= frame.x1 + 12 and frame.y0 <= box.y0 and box.y1 <= frame.y1
            free = inside and not any(box.overlaps(other) for other in taken)
            last = index == len(label.spots) - 1
            if free or (last and label.needed):
                taken.append(box)
                break
            text.remove()


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
