"""The price of time: delta-v against finish, drawn as what it is, steps between plans that can be flown."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ...models.readouts import plain, span
from ...optimizer.outcome import Front, Outcome, Plan
from ..price_of_time import marked_points
from ..wording import capital, listed
from .labels import Label, place
from .style import INK, PAPER, QUIET, SHADE, inches, rim, sheet
from .time_ticks import room_letters, set_time_ticks, time_ticks

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_TALL = 6.0  # dearest against cheapest from which the axis is logarithmic
NAMED = 12  # more labels than this crowd the steps
_OUTLYING = 1.5  # of the front's length: plans later than that stand behind a break of the axis
_MANY = 3  # plans of one kind from which the heading names the kind, not each label


@dataclass(frozen=True, kw_only=True)
class _Across:
    """The time axis, s, with all that lies beyond ``cut`` pressed into a strip, where there is any."""

    left: float
    cut: float
    right: float
    beyond: tuple[float, float] | None = None

    @property
    def strip(self) -> tuple[float, float]:
        """Where the strip begins and ends on the axis."""
        return self.cut + 0.10 * (self.right - self.left), self.right

    def place(self, time_s: float) -> float:
        """Where a moment lies on the axis."""
        if self.beyond is None or time_s <= self.cut:
            return time_s
        first, last = self.beyond
        begin, end = self.strip
        share = 0.15 + 0.75 * (time_s - first) / (last - first) if last > first else 0.45
        return begin + share * (end - begin)


def draw_front(outcome: Outcome) -> Figure:
    """Draw the front of an outcome.

    A step is horizontal from one plan to the next later one: in between no plan is cheaper. Slopes and curves run from
    plan to plan. The shaded side cannot be reached. Plans of another kind are hollow, those that break a limit crossed
    out; plans that end far later than the front stand behind a break of the axis.

    Raises:
        ValueError: there is no front to draw.
    """
    front = outcome.front
    if front is None or not front.points:
        raise ValueError("an outcome without a front cannot be drawn")
    first = min(outcome.plans, key=lambda plan: plan.rank)
    ranks = {point.plan for point in front.points}
    others = [plan for plan in outcome.plans if plan.rank not in ranks and plan.rank != first.rank]
    title = f"{outcome.scenario.title}: the price of time"
    figure, axes = sheet(8.4, inches(4.1), title, _below(outcome, front, others), margins=(0.9, 0.25, 0.62))
    across = _across(outcome, first, others)
    ys = [point.delta_v_m_s for point in front.points] + [plan.delta_v_m_s for plan in [first, *others]]
    # room above for the label of the chosen plan where that is among the dearest
    room = 0.34 if first.delta_v_m_s > max(ys) / 1.1 else 0.18
    by_ratio = 0.34 if first.delta_v_m_s > max(ys) / 1.5 else 0.12
    axes.set_xlim(across.left, across.right)
    set_costs(axes, "delta-v of all craft, m/s", ys, (0.14, room), (0.12, by_ratio))
    _draw_steps(axes, front, across)
    _limit_line(axes, outcome, across)
    _name_plans(axes, outcome, first, others, across)
    axes.set_xlabel("last craft in its slot, after the epoch")
    _set_times(axes, across)
    return figure


def _across(outcome: Outcome, first: Plan, others: list[Plan]) -> _Across:
    """Lay out the time axis: room on the right for the chosen plan's label, a break before plans that end far later."""
    assert outcome.front is not None
    on_front = [point.finish_s for point in outcome.front.points] + [first.finish_s]
    size = max(max(on_front) - min(on_front), 0.1 * max(on_front))
    far = [plan.finish_s for plan in others if plan.finish_s > max(on_front) + _OUTLYING * size]
    near = on_front + [plan.finish_s for plan in others if plan.finish_s not in far]
    left, right = padded(near, 0.06, 0.34 if first.finish_s >= max(near) else 0.16)
    left = max(0.0, left)
    if not far:
        return _Across(left=left, cut=right, right=right)
    return _Across(left=left, cut=right, right=right + 0.5 * (right - left), beyond=(min(far), max(far)))


def _draw_steps(axes: Axes, front: Front, across: _Across) -> None:
    low, high = axes.get_ylim()
    path_x, path_y = _outline(front)
    edge_x, edge_y = [path_x[0], *path_x, across.right], [high, *path_y, path_y[-1]]
    axes.fill_between([across.left, *edge_x], [high, *edge_y], low, color=SHADE, linewidth=0, zorder=0)
    axes.plot(edge_x, edge_y, color=INK, linewidth=1.4, zorder=2, solid_joinstyle="miter", solid_capstyle="butt")
    x, y = [point.finish_s for point in front.points], [point.delta_v_m_s for point in front.points]
    axes.plot(x, y, "o", color=INK, markersize=4.5, zorder=4)


def _set_times(axes: Axes, across: _Across) -> None:
    """Round times on the axis; behind a break the whole hour or day of each plan there, and the break itself."""
    if across.beyond is None:
        set_time_ticks(axes)
        return
    begin, _ = across.strip
    share = (across.cut - across.left) / (across.right - across.left)
    found = time_ticks(across.left, across.cut, share * room_letters(axes))
    first, last = across.beyond
    # the moments behind the break, as far as their words find room beside one another
    moments = [
        (across.place(time_s), f"{plain(time_s / 86400.0, 0)} d" if time_s > 864000.0 else span(time_s))
        for time_s in ([first, last] if last > 1.2 * first else [first])
    ]
    between = (moments[-1][0] - moments[0][0]) / (across.right - across.left) * room_letters(axes)
    if len(moments) > 1 and between < 0.5 * len(moments[0][1] + moments[1][1]) + 2.0:
        moments = moments[1:]
    found += moments
    axes.set_xticks([time_s for time_s, _ in found], labels=[words for _, words in found])
    middle = (0.5 * (across.cut + begin) - across.left) / (across.right - across.left)
    axes.plot(
        [middle - 0.006, middle + 0.006],
        [0.0, 0.0],
        transform=axes.transAxes,
        marker=[(-0.5, -1.0), (0.5, 1.0)],
        markersize=10,
        color=PAPER,
        markeredgecolor=INK,
        markeredgewidth=0.9,
        linewidth=3.0,
        clip_on=False,
        zorder=8,
    )


def set_costs(
    axes: Axes, name: str, values: list[float], evenly: tuple[float, float], by_ratio: tuple[float, float]
) -> None:
    """Limits, ticks and name of an upward axis of costs; logarithmic where one would press all others flat.

    Args:
        evenly: room below and above the values, as shares of their span.
        by_ratio: the same on a logarithmic axis, as powers of the largest over the smallest.
    """
    from matplotlib.ticker import LogLocator, MaxNLocator, NullLocator

    tall = min(values) > 0.0 and max(values) > _TALL * min(values)
    if tall:
        axes.set_yscale("log")
        reach = max(values) / min(values)
        low, high = min(values) / reach ** by_ratio[0], max(values) * reach ** by_ratio[1]
    else:
        low, high = padded(values, *evenly)
    low = low if tall else max(0.0, low)
    axes.set_ylim(low, high)
    axes.set_ylabel(name + (", logarithmic" if tall else ""), color=INK)
    axes.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)) if tall else MaxNLocator(6, steps=[1, 2, 5, 10]))
    axes.yaxis.set_minor_locator(NullLocator())
    axes.yaxis.set_major_formatter(lambda value, _: plain(value, 0 if high - low > 7 else 1))


def padded(values: list[float], below: float, above: float) -> tuple[float, float]:
    """The span of values with these shares of it left free below and above."""
    size = max(values) - min(values)
    if size <= 1e-3 * max(abs(max(values)), 1e-9):
        size = 0.25 * max(abs(max(values)), 1.0)
        below, above = 1.0, 1.0
    return min(values) - below * size, max(values) + above * size


def _outline(front: Front) -> tuple[list[float], list[float]]:
    x: list[float] = []
    y: list[float] = []
    for index, point in enumerate(front.points):
        x.append(point.finish_s)
        y.append(point.delta_v_m_s)
        if index + 1 == len(front.points):
            break
        following = front.points[index + 1]
        if point.kind == "step":
            x.append(following.finish_s)
            y.append(point.delta_v_m_s)
        else:
            # many points, so that a straight slope stays true on a logarithmic axis too
            for share in (j / 16.0 for j in range(1, 16)):
                x.append(point.finish_s + share * (following.finish_s - point.finish_s))
                y.append(point.delta_v_m_s + share * (following.delta_v_m_s - point.delta_v_m_s))
    return x, y


def _limit_line(axes: Axes, outcome: Outcome, across: _Across) -> None:
    limit = outcome.scenario.limits.finish_within_s
    if math.isfinite(limit) and across.left < limit < across.cut:
        axes.axvline(limit, color=QUIET, linewidth=1.0, linestyle=(0, (5, 3)), zorder=1)
        axes.text(
            limit,
            0.99,
            "finish limit ",
            transform=axes.get_xaxis_transform(),
            ha="right",
            va="top",
            color=QUIET,
            path_effects=rim(),
        )


def _name_plans(axes: Axes, outcome: Outcome, first: Plan, others: list[Plan], across: _Across) -> None:
    """Name the chosen plan, those of another kind, and as many of the front as there is room for."""
    assert outcome.front is not None
    broken = {plan.rank for plan in outcome.plans if plan.broken}
    places = {plan.rank: (across.place(plan.finish_s), plan.delta_v_m_s) for plan in outcome.plans}
    many = _named_above(others)

    def words(plan: Plan) -> str:
        text = f"{plan.rank}: {plan.kind}" if plan.kind and plan.kind not in many else f"{plan.rank}"
        return f"{text}\nbreaks a limit" if plan.rank in broken else text

    x, y = places[first.rank]
    axes.plot([x], [y], "o", markersize=11, markerfacecolor=PAPER, markeredgecolor=INK, zorder=3)
    axes.plot([x], [y], "o", markersize=4.5, color=INK, zorder=4)
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
    chosen = f"plan {first.rank}\n{plain(y)} m/s\n{span(first.finish_s)}"
    chosen += f"\nalso {listed([str(rank) for rank in same])}" if same else ""
    chosen += "\nbreaks a limit" if first.rank in broken else ""
    labels = [Label(at=(x, y), text=chosen, weight="bold", needed=True)]
    for group in beside:
        at = places[group[0].rank]
        axes.plot(*at, "o", markersize=6, markerfacecolor=PAPER, markeredgecolor=QUIET, zorder=4)
        if text := "\n".join(words(plan) for plan in group if plan.kind not in many or plan.broken):
            labels.append(Label(at=at, text=text, color=QUIET, needed=True))
    crossed = [places[rank] for rank in sorted(broken)]
    axes.plot([a for a, _ in crossed], [b for _, b in crossed], "x", color=INK, markersize=11, zorder=5)
    # the points that say most come first; where labels would meet, later ones give way
    by_rank = {plan.rank: plan for plan in outcome.plans}
    ranked = [
        point.plan
        for most in range(3, NAMED + 1)
        for point in marked_points(outcome.front.points, most, first.rank)
        if point.plan != first.rank
    ]
    labels += [
        Label(at=places[rank], text=words(by_rank[rank]), needed=rank in broken) for rank in dict.fromkeys(ranked)
    ]
    place(axes, labels)


def _named_above(others: list[Plan]) -> set[str]:
    """Kinds of which there are so many that the heading names them."""
    kinds = [plan.kind for plan in others if plan.kind]
    return {kind for kind in kinds if kinds.count(kind) > _MANY}


def _meet(axes: Axes, one: tuple[float, float], other: tuple[float, float]) -> bool:
    """Whether two marks cover each other on the paper."""
    (x, y), (u, v) = axes.transData.transform([one, other])
    return math.hypot(x - u, y - v) < 0.09 * axes.get_figure(root=True).dpi  # type: ignore[union-attr]


def _below(outcome: Outcome, front: Front, others: list[Plan]) -> str:
    count = len(front.points)
    # what is proved is proved over the catalogue: other moments and free-form flights may reach below
    none = "the catalogue has no plan"
    if count == 1:
        reason = front.note or "one plan is both the cheapest and the soonest"
        return f"{capital(reason.rstrip('.'))}. {capital(none)} in the shaded region."
    text = f"{count} plans, each flown; {none} in the shaded region."
    if front.resolution_m_s > 0.0:
        text += f" Between plans known to {front.resolution_m_s:.2g} m/s."
    kinds = {point.kind for point in front.points[:-1]}
    text += " Where the line slopes, a plan exists for any finish in between." if kinds - {"step"} else ""
    for kind in sorted(_named_above(others)):
        text += f" Hollow: {sum(plan.kind == kind for plan in others)} plans {kind}."
    if any(plan.broken for plan in outcome.plans):
        text += " Crossed out: plans that BREAK A LIMIT."
    return text
