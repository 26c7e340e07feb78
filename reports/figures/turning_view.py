"""The view that turns with the ring: slots stand still, and each craft's loops close on its slot.

Below the ring a craft runs ahead (counterclockwise), above it falls behind; every revolution is one loop.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ...models.arrays import Array
from ...models.readouts import plain
from ...models.ring import Ring
from ...optimizer.craft_plan import CraftPlan
from ...optimizer.outcome import Outcome, Plan
from .arcs import Arc
from .paths import Path, beside, ring_paths, tracks
from .round_sheet import draw_body, name_slots, round_sheet
from .spares import mark_spares, spares_said
from .style import FAINT, PAPER, fine, ink, label, stroke, type_points
from .ways import drawn_ways, plane_words, slot_names, titled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_STRETCHES = (200.0, 100.0, 50.0, 20.0, 10.0, 5.0, 2.0)
_TO_SCALE = 0.10  # loops that leave the ring by more than this share of its radius are drawn to scale
_DEPTH = 0.36  # how far stretched loops may leave the ring


def draw_turning_view(outcome: Outcome, plan: Plan, plane: int) -> Figure:
    """Draw the loops of every craft in the frame of the slots, slot 0 on top.

    Where the loops are too flat to be seen, heights from the ring are stretched, and the figure says how much.
    """
    ring = outcome.ring
    ways = drawn_ways(outcome, plan, plane)
    stretch = stretch_of(ring, ways)
    turn = 0.5 * math.pi - float(ring.phase(0.0, 0, plane))
    points = _loop_points(ring, ways, stretch, turn)
    radii = _label_radii(ring, points)
    labels = [
        (0.5 * math.pi + float(ring.ahead(slot)), radii[slot], name)
        for slot, name in enumerate(slot_names(outcome, plan, plane))
    ]
    title = titled(outcome, plan, "turning with the ring")
    figure, axes = round_sheet(title, _below(outcome, plan, plane, ways, stretch), points, labels)
    if stretch == 1.0:
        draw_body(axes, outcome)
    angle = np.linspace(0.0, 2.0 * math.pi, 721)
    axes.plot(np.cos(angle), np.sin(angle), color=FAINT, linewidth=0.9, zorder=1)
    paths = [path for path in ring_paths(outcome, plan, plane) if path.phasing or stretch == 1.0]
    tall_m = max([float(np.ptp(np.append(path.radius_m, ring.radius_m))) for path in paths], default=0.0)
    begun: set[str] = set()
    for path, offset in zip(paths, tracks(paths, tall_m), strict=True):
        index = plan.craft.index(path.part)
        _draw_path(axes, ring, path, index, offset, stretch, first=path.part.craft not in begun)
        begun |= {path.part.craft} if path.phasing else set()
    counted: list[tuple[float, float]] = []
    for part, arcs in ways:
        _count_returns(axes, ring, part, arcs, ink(plan.craft.index(part)), stretch, turn, counted)
    name_slots(axes, outcome, plan, plane, at_s=0.0, radii=radii, turn_rad=turn)
    mark_spares(axes, outcome, plane)
    return figure


def _loop_points(ring: Ring, ways: list[tuple[CraftPlan, list[Arc]]], stretch: float, turn: float) -> Array:
    """Every point of every loop as drawn, (n, 2)."""
    paths = [
        _turned(ring, arc.time_s, arc.position_m, stretch, turn)
        for _, arcs in ways
        for arc in arcs
        if arc.stage == "phasing"
    ]
    return np.concatenate([np.zeros((0, 2)), *paths])


def _label_radii(ring: Ring, points: Array) -> list[float]:
    """Where each slot's label may begin so that it clears the loops near it, in ring radii."""
    radius, angle = np.hypot(points[:, 0], points[:, 1]), np.arctan2(points[:, 1], points[:, 0])
    radii = []
    for slot in range(ring.slots):
        away = np.abs(np.angle(np.exp(1j * (angle - 0.5 * math.pi - ring.ahead(slot)))))
        near = radius[away < math.radians(11.0)]
        wish = max(1.0, float(near.max())) if len(near) else 1.0
        # a loop far outside passes behind the label rather than push it off the sheet
        radii.append(wish if wish < 1.5 else 1.0)
    return radii


def stretch_of(ring: Ring, ways: list[tuple[CraftPlan, list[Arc]]]) -> float:
    """How many times too large heights from the ring are drawn, so that flat loops can be seen; 1 for others."""
    off = [
        float(np.abs(arc.radius_m / ring.radius_m - 1.0).max())
        for _, arcs in ways
        for arc in arcs
        if arc.stage == "phasing"
    ]
    if not off or max(off) > _TO_SCALE or max(off) < 1e-9:
        return 1.0
    return next((stretch for stretch in _STRETCHES if stretch * max(off) <= _DEPTH), 1.0)


def _turned(ring: Ring, time_s: Array, position_m: Array, stretch: float, turn_rad: float) -> Array:
    """Positions in the frame of the slots, unit the ring's radius, heights from the ring stretched, (n, 2)."""
    radius = 1.0 + stretch * (np.hypot(position_m[:, 0], position_m[:, 1]) / ring.radius_m - 1.0)
    angle = np.arctan2(position_m[:, 1], position_m[:, 0]) - ring.rate_rad_s * time_s + turn_rad
    return np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=-1)


def _draw_path(axes: Axes, ring: Ring, path: Path, index: int, offset: float, stretch: float, *, first: bool) -> None:
    color, phasing = ink(index), path.phasing
    radius = 1.0 + stretch * (path.radius_m / ring.radius_m - 1.0)
    angle = path.ahead_rad + 0.5 * math.pi
    x, y = beside(axes, radius * np.cos(angle), radius * np.sin(angle), offset)
    axes.plot(
        x,
        y,
        color=color,
        linewidth=fine((1.5 if stretch == 1.0 else 1.0) if phasing else 0.9, ring.slots),
        linestyle=stroke(index) if phasing else (0, (1, 1.8)),
        zorder=4 if phasing else 3,
    )
    if phasing and first:
        axes.plot(
            [x[0]],
            [y[0]],
            "o",
            markersize=fine(5.5, ring.slots),
            markerfacecolor=PAPER,
            markeredgecolor=color,
            zorder=5,
        )
        _point_along(axes, np.column_stack([x, y]), color)
    elif phasing:
        axes.plot([x[0]], [y[0]], "o", markersize=fine(3.6, ring.slots), color=color, zorder=5)


def _point_along(axes: Axes, path: Array, color: str) -> None:
    """An arrowhead a little way along a loop."""
    steps = np.hypot(*np.diff(path, axis=0).T)
    length = np.cumsum(steps)
    at = int(np.searchsorted(length, min(0.10, 0.3 * float(length[-1]))))
    at = min(max(at, 1), len(path) - 2)
    axes.annotate(
        "",
        xy=(float(path[at + 1, 0]), float(path[at + 1, 1])),
        xytext=(float(path[at - 1, 0]), float(path[at - 1, 1])),
        arrowprops={"arrowstyle": "-|>,head_length=0.45,head_width=0.22", "color": color, "linewidth": 0.8},
        zorder=5,
    )


def _count_returns(
    axes: Axes,
    ring: Ring,
    part: CraftPlan,
    arcs: list[Arc],
    color: str,
    stretch: float,
    turn: float,
    counted: list[tuple[float, float]],
) -> None:
    """Number the moments at which the craft comes back to the ring on its way.

    Where another craft's number stands, one of those ``counted``, there is none.
    """
    if part.phasing_period_s is None or part.route == "timed" or not part.burns:
        return
    phasing = [arc for arc in arcs if arc.stage == "phasing"]
    if not phasing:
        return
    # the phasing orbit is the arc that lasts; corrections before or after it do not
    arc = max(phasing, key=lambda arc: float(arc.time_s[-1] - arc.time_s[0]))
    times = np.array([arc.time_s[0] + j * part.phasing_period_s for j in range(1, part.revolutions)])
    times = times[times < arc.time_s[-1]]
    if len(times) == 0:
        return
    position = np.stack([np.interp(times, arc.time_s, arc.position_m[:, axis]) for axis in (0, 1)], axis=-1)
    path = _turned(ring, times, position, stretch, turn)
    # beside a slot the slot's own words stand
    slots = 0.5 * math.pi + ring.ahead(np.arange(ring.slots))
    (left, _), (right, _) = axes.transData.transform([(0.0, 0.0), (1.0, 0.0)])
    clear = type_points(38.0) / 72.0 * axes.figure.dpi / float(right - left)
    # numbers that would stand among the loops are left out, all of a craft
    apart = float(np.hypot(*np.diff(path, axis=0).T).min()) if len(path) > 1 else math.inf
    numbered = part.revolutions <= 6 and ring.slots <= 8 and apart > 0.7 * clear
    for number_, (x, y) in enumerate(path, start=1):
        axes.plot([x], [y], ".", markersize=fine(4.0, ring.slots), color=color, zorder=5)
        near = min(math.hypot(x - math.cos(angle), y - math.sin(angle)) for angle in slots)
        taken = any(math.hypot(x - a, y - b) < 0.5 * clear for a, b in counted)
        if numbered and near > clear and not taken:
            size = math.hypot(x, y)
            side = 1.0 if part.side == "below" else -1.0
            counted.append((x, y))
            away = (side * 7.5 * x / size, side * 7.5 * y / size)
            label(axes, f"{number_}", (x, y), away, type_points(7.5), ha="center", va="center", zorder=6)


def _below(outcome: Outcome, plan: Plan, plane: int, ways: list[tuple[CraftPlan, list[Arc]]], stretch: float) -> str:
    text = f"Plan {plan.rank}{plane_words(outcome, plane)}. Slots stand still; ahead is counterclockwise."
    if any(arc.stage == "phasing" for _, arcs in ways for arc in arcs):
        text += " Open rings: first burns; small dots: returns to the ring and later burns."
    text += spares_said(outcome, plane)
    if stretch > 1.0:
        return f"{text} Heights above and below the ring are drawn {plain(stretch, 0)} times too large."
    return f"{text} To scale; dotted: the way before the first burn."
