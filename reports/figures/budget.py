"""How much each craft burns with random errors: its distribution beyond the plan, with the quantiles."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ...models.readouts import plain
from ...optimizer.robustness.budget import Budget
from .style import INK, QUIET, ink, label, sheet, type_points

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_BINS = 120
_LANE_IN = 0.75  # height of a lane, inches
_TALL = 0.7  # of a distribution, in lanes


def draw_budget(budget: Budget) -> Figure:
    """Draw the distribution of what each craft burns beyond its plan, m/s, with P50, P90 and P99 marked.

    All lanes share one scale; each distribution is drawn as high as its lane, so that heights compare within a lane
    only.
    """
    craft, lanes = budget.craft, len(budget.craft)
    extra = budget.samples_m_s - np.array([[one.planned_m_s] for one in craft])
    right = 1.25 * max(one.delta_v_m_s[-1].value - one.planned_m_s for one in craft)
    left = min(0.0, float(np.min(extra)))
    below = (
        f"Beyond the plan's own burns: {plain(budget.samples, 0)} flights of each craft with random errors and the "
        "corrections that follow from them. Ticks: what 50, 90 and 99 in 100 flights do not exceed. Heights compare "
        "within a lane only."
    )
    title = f"{budget.outcome.scenario.title}: what errors cost"
    figure, axes = sheet(8.4, 0.35 + _LANE_IN * lanes, title, below, margins=(1.35, 0.45, 0.55))
    right = max(right, left + 1e-3)
    edges = np.linspace(left, right, _BINS + 1)
    for index, one in enumerate(craft):
        base = lanes - 1.0 - index
        found, _ = np.histogram(extra[index], edges)
        height = _TALL * found / max(int(found.max()), 1)
        axes.stairs(base + height, edges, baseline=base, fill=True, color=ink(index), alpha=0.35, linewidth=0)
        axes.stairs(base + height, edges, baseline=base, color=ink(index), linewidth=0.9)
        for quantile, share in zip(one.delta_v_m_s, ("P50", "P90", "P99"), strict=True):
            place = quantile.value - one.planned_m_s
            axes.plot([place, place], [base - 0.06, base + 0.12], color=INK, linewidth=1.1, zorder=4)
            if share == "P99":
                label(axes, f"P99  {plain(place)}", (place, base + 0.12), (3, 3), type_points(9), zorder=5)
    axes.axvline(0.0, color=QUIET, linewidth=0.8, zorder=0)
    axes.set_yticks([lanes - 1.0 - i for i in range(lanes)], [one.craft for one in craft])
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.set_xlim(left, right)
    axes.set_ylim(-0.15, lanes - 1.0 + 1.0)
    axes.set_xlabel("delta-v beyond the plan, m/s")
    return figure
