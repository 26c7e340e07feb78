"""The ring from above, to scale: body, atmosphere, ring, slots at the finish, and every craft's orbits on the way."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from ...optimizer.outcome import CraftPlan, Outcome, Plan
from ..wording import number, span
from .arcs import Arc, craft_arcs, one_turn
from .style import FAINT, GROUND, INK, PAPER, QUIET, SHADE, bare, ink, rim, sheet, stroke

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_HARDLY_SEEN = 0.025  # share of the ring's radius by which an orbit must leave the ring to be told from it


def draw_ring_from_above(outcome: Outcome, plan: Plan | None = None) -> Figure:
    """Draw the flight in the plane of the ring, seen from the north of the motion, everything to one scale.

    Args:
        outcome: one with plans.
        plan: which one; rank 1 when absent.
    """
    plan = plan or min(outcome.plans, key=lambda plan: plan.rank)
    ring = outcome.ring
    ways = [(part, craft_arcs(outcome, part)) for part in plan.craft]
    widest = max([ring.radius_m, *(float(arc.radius_m.max()) for _, arcs in ways for arc in arcs)]) / ring.radius_m
    reach = max(1.30, 1.06 * widest)
    figure, axes = round_sheet(f"{outcome.scenario.title}: from above", _below(outcome, plan, ways), reach)
    draw_body(axes, outcome)
    _circle(axes, 1.0, INK, 0.9, zorder=2)
    for index, (part, arcs) in enumerate(ways):
        _draw_way(axes, outcome, part, arcs, index)
    name_slots(axes, outcome, plan, at_s=plan.finish_s, radii=[1.0] * ring.slots, turn_rad=0.0)
    _motion(axes, outcome, plan)
    _scale_bar(axes, ring.radius_m, reach)
    return figure


def round_sheet(title: str, below: str, reach: float) -> tuple[Figure, Axes]:
    """A sheet whose axes hold a round picture: from -``reach`` to ``reach`` across, a little less upwards."""
    width, upward = 8.0, reach - 0.09
    figure, axes = sheet(width, (width - 0.3) * upward / reach, title, below)
    bare(axes)
    axes.set_xlim(-reach, reach)
    axes.set_ylim(-upward, upward)
    return figure, axes


def draw_body(axes: Axes, outcome: Outcome) -> None:
    """Draw body and atmosphere around the origin of axes whose unit is the ring's radius."""
    from matplotlib.patches import Circle

    body, unit_m = outcome.scenario.body, outcome.ring.radius_m
    if body.atmosphere_top_m > 0.0:
        axes.add_patch(
            Circle((0.0, 0.0), (body.radius_m + body.atmosphere_top_m) / unit_m, facecolor=SHADE, edgecolor="none")
        )
    size = body.radius_m / unit_m
    axes.add_patch(Circle((0.0, 0.0), size, facecolor=GROUND, edgecolor=QUIET, linewidth=0.7, zorder=1))
    if size > 0.12:
        name = body.name.capitalize() if body.name.islower() else body.name
        axes.text(0.0, 0.0, name, ha="center", va="center", color=QUIET, style="italic", zorder=1)
    floor = outcome.scenario.floor_m / unit_m
    if floor > size * 1.002:
        _circle(axes, floor, FAINT, 0.8, zorder=1, style=(0, (1, 2.5)))


def name_slots(axes: Axes, outcome: Outcome, plan: Plan, *, at_s: float, radii: list[float], turn_rad: float) -> None:
    """Mark and name every slot with whoever has it.

    Args:
        at_s: moment at which the slots are shown, s.
        radii: distance from the center at which each slot's label begins, in ring radii.
        turn_rad: added to every angle.
    """
    ring = outcome.ring
    owners = {(part.plane, part.slot): index for index, part in enumerate(plan.craft)}
    kept = {kept.slot: kept.craft for kept in outcome.kept}
    plane = plan.craft[0].plane if plan.craft else 0
    for slot in range(ring.slots):
        angle = float(ring.phase(at_s, slot, plane)) + turn_rad
        x, y = math.cos(angle), math.sin(angle)
        radius = radii[slot]
        index = owners.get((plane, slot))
        if index is not None:
            color, name, face = ink(index), plan.craft[index].craft, ink(index)
        elif slot in kept:
            color, name, face = INK, f"{kept[slot]} (stays)", INK
        else:
            color, name, face = QUIET, "free", PAPER
        axes.plot([x], [y], "o", markersize=7.5, markerfacecolor=face, markeredgecolor=color, zorder=6)
        axes.annotate(
            f"{name}\nslot {slot}",
            (radius * x, radius * y),
            xytext=(13 * x, 13 * y),
            textcoords="offset points",
            ha="left" if x > 0.3 else "right" if x < -0.3 else "center",
            va="bottom" if y > 0.3 else "top" if y < -0.3 else "center",
            color=color,
            linespacing=1.15,
            path_effects=rim(),
            zorder=7,
        )


def _draw_way(axes: Axes, outcome: Outcome, part: CraftPlan, arcs: list[Arc], index: int) -> None:
    unit_m = outcome.ring.radius_m
    color = ink(index)
    named = False
    for arc in arcs:
        if arc.stage == "slot":
            continue
        shown = one_turn(arc, from_end=arc.stage != "phasing") / unit_m
        leading = arc.stage != "phasing"
        axes.plot(
            shown[:, 0],
            shown[:, 1],
            color=color,
            linewidth=0.9 if leading else 1.7,
            linestyle=(0, (1, 1.8)) if leading else stroke(index),
            zorder=3 if leading else 4,
        )
        end = arc.position_m[-1] / unit_m
        axes.plot([end[0]], [end[1]], "o", markersize=3.6, color=color, zorder=5)
        if arc.stage == "phasing" and not named:
            named = _name_orbit(axes, part, shown, color)
    if arcs and arcs[0].stage == "ascent":
        begin = arcs[0].position_m[0] / unit_m
        axes.plot([begin[0]], [begin[1]], "s", markersize=3.6, color=color, zorder=5)


def _name_orbit(axes: Axes, part: CraftPlan, shown: np.ndarray, color: str) -> bool:
    distance = np.hypot(shown[:, 0], shown[:, 1])
    far = int(np.argmax(np.abs(distance - 1.0)))
    if abs(distance[far] - 1.0) < _HARDLY_SEEN * 2:
        return False
    x, y = shown[far]
    outside = distance[far] > 1.0
    toward = 1.0 if outside else -1.0
    axes.annotate(
        part.craft,
        (x, y),
        xytext=(toward * 9 * x / distance[far], toward * 9 * y / distance[far]),
        textcoords="offset points",
        ha="center",
        va="center",
        color=color,
        fontsize=8.5,
        style="italic",
        path_effects=rim(),
        zorder=7,
    )
    return True


def _circle(axes: Axes, radius: float, color: str, width: float, *, zorder: float, style: Any = "solid") -> None:
    angle = np.linspace(0.0, 2.0 * math.pi, 721)
    axes.plot(
        radius * np.cos(angle),
        radius * np.sin(angle),
        color=color,
        linewidth=width,
        linestyle=style,
        zorder=zorder,
    )


def _motion(axes: Axes, outcome: Outcome, plan: Plan) -> None:
    """A small arrow for the sense of motion, outside the ring and midway between two slots, as far up as there is."""
    from matplotlib.patches import FancyArrowPatch

    ring = outcome.ring
    plane = plan.craft[0].plane if plan.craft else 0
    middles = [float(ring.phase(plan.finish_s, slot, plane)) + 0.5 * ring.spacing_rad for slot in range(ring.slots)]
    middle = max(middles, key=lambda angle: math.cos(angle - math.radians(60.0)))
    radius, half = 1.07, math.radians(5.0)
    axes.add_patch(
        FancyArrowPatch(
            (radius * math.cos(middle - half), radius * math.sin(middle - half)),
            (radius * math.cos(middle + half), radius * math.sin(middle + half)),
            connectionstyle="arc3,rad=0.06",
            arrowstyle="-|>,head_length=4,head_width=2",
            color=QUIET,
            linewidth=0.9,
            shrinkA=0.0,
            shrinkB=0.0,
            zorder=3,
        )
    )


def _scale_bar(axes: Axes, unit_m: float, reach: float) -> None:
    wish_km = 0.35 * unit_m * reach * 1e-3
    step = 10.0 ** math.floor(math.log10(wish_km))
    length_km = max(step * factor for factor in (1.0, 2.0, 5.0) if step * factor <= wish_km)
    size = length_km * 1e3 / unit_m
    x, y = -0.96 * reach, -0.97 * (reach - 0.09)
    axes.plot([x, x + size], [y, y], color=INK, linewidth=1.2, solid_capstyle="butt")
    for end in (x, x + size):
        axes.plot([end, end], [y - 0.012 * reach, y + 0.012 * reach], color=INK, linewidth=1.2)
    axes.text(x + 0.5 * size, y + 0.02 * reach, f"{number(length_km, 0)} km", ha="center", va="bottom", fontsize=8.5)


def _below(outcome: Outcome, plan: Plan, ways: list[tuple[CraftPlan, list[Arc]]]) -> str:
    radius_m = outcome.ring.radius_m
    text = (
        f"Plan {plan.rank}, to scale; slots as they stand after {span(plan.finish_s)}, when the last craft is in "
        f"place. Dotted: the way before the first burn at the ring; dots: burns."
    )
    off = [float(np.abs(arc.radius_m - radius_m).max()) for _, arcs in ways for arc in arcs if arc.stage == "phasing"]
    if off and max(off) < _HARDLY_SEEN * radius_m:
        text += (
            f" The phasing orbits leave the ring by {number(max(off) * 1e-3, 0)} km at most, hardly more than its "
            f"line: the view that turns with the ring shows them."
        )
    return text
