"""By when the ring is done: the share of rings against time, for some plans and for spares that stand ready."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ...models.arrays import Array
from ...models.readouts import plain
from ...optimizer.robustness.weighing import RiskStudy, WeighedPlan
from ..wording import count
from .style import INK, QUIET, ink, panels, stroke, type_points
from .time_ticks import set_time_ticks

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_PICTURE, _BETWEEN = 3.0, 0.8  # inches
_PLANS = 4  # lines that a reader can tell apart
_SEEN = 0.97  # share of rings up to which the axis reaches, where that many are ever done
_ROOM = 1.18  # of the axis beyond that

Line = tuple[str, Array, float]
"""Words, dates of many rings, s, and the date as planned."""


def draw_completion(study: RiskStudy) -> Figure:
    """Draw the share of rings that are done by a date: of up to four plans, and of plan 1 with spares.

    Dots mark when each plan is done if all goes as planned.
    """
    shown = [("", _of_plans(study.plans))]
    if study.spares:
        names = [(count(n, "spare") if n else "no spare", done) for n, done in study.spares]
        spares = [(name, done.done_s, done.plan.finish_s) for name, done in names]
        shown.append((f"plan {study.plans[0].plan.rank} with spares", spares))
    below = (
        f"Share of {plain(study.samples, 0)} rings in which the last craft is in its slot by then; launches slip and "
        "are lost, and flights differ from the plan, as the scenario says. Dots: done as planned."
    )
    title = f"{study.outcome.scenario.title}: by when the ring is done"
    figure, pictures = panels(8.4, len(shown), _PICTURE, _BETWEEN, title, below, margins=(0.8, 0.3, 0.62))
    for axes, (what, lines) in zip(pictures, shown, strict=True):
        _draw(axes, lines, what)
    return figure


def _of_plans(plans: Sequence[WeighedPlan]) -> list[Line]:
    """Plan 1, the cheapest, the soonest as planned, and the soonest in 90 of 100 rings."""
    asked = [
        plans[0],
        min(plans, key=lambda one: one.plan.delta_v_m_s),
        min(plans, key=lambda one: one.plan.finish_s),
        min(plans, key=lambda one: one.finish_p90.value),
    ]
    chosen = list({one.plan.rank: one for one in asked}.values())[:_PLANS]
    return [(f"plan {one.plan.rank}", one.completion.done_s, one.plan.finish_s) for one in chosen]


def _draw(axes: Axes, lines: Sequence[Line], what: str) -> None:
    ends = [float(np.quantile(done, _SEEN, method="inverted_cdf")) for _, done, _ in lines]
    sure = [end for end in ends if math.isfinite(end)]
    last = [float(np.max(done[np.isfinite(done)], initial=planned)) for _, done, planned in lines]
    begin = min(planned for _, _, planned in lines)
    end = max(sure or last)
    end = begin + _ROOM * max(end - begin, 3600.0)
    axes.set_xlim(max(begin - 0.06 * (end - begin), 0.0), end)
    axes.set_ylim(0.0, 1.04)
    for index, (words, done, planned) in enumerate(lines):
        dates = np.sort(done[np.isfinite(done)])
        share = np.arange(1, dates.size + 1) / done.size
        color = ink(index)
        x = np.concatenate([[axes.get_xlim()[0]], dates, [max(end, float(dates[-1]) if dates.size else end)]])
        y = np.concatenate([[0.0], share, [share[-1] if share.size else 0.0]])
        # lines that lie on one another are wide below and fine above
        width = 4.0 / (1.0 + index)
        axes.step(x, y, where="post", color=color, linestyle=stroke(index), linewidth=width, label=words, zorder=3)
        axes.plot([planned], [float(np.mean(done <= planned + 60.0))], "o", color=color, markersize=4.5, zorder=4)
    for level in (0.5, 0.9):
        axes.axhline(level, color=QUIET, linewidth=0.6, zorder=1)
    axes.legend(loc="lower right", frameon=False, fontsize=type_points(9), bbox_to_anchor=(1.0, 0.04))
    axes.set_yticks([0.0, 0.25, 0.5, 0.75, 0.9, 1.0], ["0", "25 %", "50 %", "75 %", "90 %", "100 %"])
    axes.set_ylabel("rings done")
    axes.set_xlabel(f"{what + ': ' if what else ''}last craft in its slot, after the epoch", color=INK)
    set_time_ticks(axes)
    axes.tick_params(colors=QUIET, labelcolor=INK)
