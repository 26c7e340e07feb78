"""The ring from above, to scale: body, atmosphere, ring, slots at the finish, and every craft's orbits on the way."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from ...models.readouts import plain, span
from ...models.ring import Array
from ...optimizer.outcome import CraftPlan, Outcome, Plan
from .arcs import Arc, craft_arcs, one_turn
from .style import FAINT, GROUND, INK, PAPER, QUIET, SHADE, bare, ink, rim, sheet, stroke

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LETTER = 0.082  # width of a letter of a label, inches
_BESIDE = 0.3  # a label stands beside its slot where the cosine of the slot's angle is more than this
_TALLEST = 0.8  # a picture is no more than 1 / this as tall as wide
_ARROW = 1.07  # how far out the arrow of the motion is, in ring radii
_HARDLY_SEEN = 0.025  # share of the ring's radius by which an orbit must leave the ring to be told from it


def draw_ring_from_above(outcome: Outcome, plan: Plan | None = None, plane: int | None = None) -> Figure:
    """Draw the flight in the plane of the ring, seen from the north of the motion, everything to one scale.

    Args:
        outcome: one with plans.
        plan: which one; rank 1 when absent.
        plane: of the ring; that of the first craft when absent.
    """
    plan = plan or min(outcome.plans, key=lambda plan: plan.rank)
    plane = drawn_plane(plan) if plane is None else plane
    ring = outcome.ring
    ways = drawn_ways(outcome, plan, plane)
    shown = [arc.position_m / ring.radius_m for _, arcs in ways for arc in arcs]
    beside = _motion_angle(outcome, plan, plane)
    arrow = (_ARROW + 0.02) * np.array([[math.cos(beside), math.sin(beside)]])
    points = np.concatenate([np.zeros((1, 2)), arrow, *shown])
    labels = [
        (float(ring.phase(plan.finish_s, slot, plane)), 1.0, name)
        for slot, name in enumerate(slot_names(outcome, plan, plane))
    ]
    title = f"{outcome.scenario.title}: from above"
    figure, axes = round_sheet(title, _below(outcome, plan, plane, ways), points, labels)
    draw_body(axes, outcome)
    _circle(axes, 1.0, INK, 0.9, zorder=2)
    for part, arcs in ways:
        _draw_way(axes, outcome, part, arcs, plan.craft.index(part))
    name_slots(axes, outcome, plan, plane, at_s=plan.finish_s, radii=[1.0] * ring.slots, turn_rad=0.0)
    _motion(axes, outcome, plan, plane)
    _scale_bar(axes, ring.radius_m)
    return figure


def drawn_plane(plan: Plan) -> int:
    """The plane that a flat picture shows where none is asked for: that of the first craft."""
    return plan.craft[0].plane if plan.craft else 0


def drawn_ways(outcome: Outcome, plan: Plan, plane: int) -> list[tuple[CraftPlan, list[Arc]]]:
    """Craft of the plane drawn, with their arcs."""
    return [(part, craft_arcs(outcome, part)) for part in plan.craft if part.plane == plane]


def plane_words(outcome: Outcome, plane: int) -> str:
    """Say which plane is drawn where the ring has several; empty for one."""
    return f", plane {plane} alone" if outcome.ring.planes > 1 else ""


def round_sheet(title: str, below: str, points: Array, labels: list[tuple[float, float, str]]) -> tuple[Figure, Axes]:
    """A sheet whose axes hold a round picture in units of the ring's radius, with room for the labels around it.

    Args:
        title, below: the heading.
        points: what is drawn besides the ring, (n, 2).
        labels: angle, rad, and distance at which a label begins, and its longest line.
    """
    width = 8.0
    inner = width - 0.3
    unit = 0.4 * inner
    for _ in range(12):  # the room that labels take depends on the scale, and the scale on that; settles soon
        left, bottom, right, top = _bounds(points, labels, unit)
        unit = inner / max(right - left, _TALLEST * (top - bottom))
    spare = 0.5 * max(0.0, _TALLEST * (top - bottom) - (right - left))
    figure, axes = sheet(width, (top - bottom) * unit, title, below)
    bare(axes)
    axes.set_xlim(left - spare, right + spare)
    axes.set_ylim(bottom, top)
    return figure, axes


def _bounds(points: Array, labels: list[tuple[float, float, str]], unit: float) -> tuple[float, float, float, float]:
    """Left, bottom, right and top of ring, points and labels, in ring radii of ``unit`` inches."""
    corners = [1.04 * np.minimum(points.min(axis=0, initial=-1.0), -1.0)]
    corners.append(1.04 * np.maximum(points.max(axis=0, initial=1.0), 1.0))
    for angle, radius, text in labels:
        at = radius * np.array([math.cos(angle), math.sin(angle)])
        size = _LETTER * len(text)
        across = 0.25 + size if abs(math.cos(angle)) > _BESIDE else 0.5 * size
        upward = 0.58 if abs(math.sin(angle)) > _BESIDE else 0.3
        half = np.array([across, upward]) / unit
        # a label reaches outward only, except where it is centered on its slot
        corners.append(at + half * np.where(at >= 0.0, 1.0, -1.0))
        corners.append(at + 0.5 * half * np.where(at >= 0.0, -1.0, 1.0) * (np.abs(at) <= _BESIDE * radius))
    stacked = np.array(corners)
    (left, bottom), (right, top) = stacked.min(axis=0), stacked.max(axis=0)
    return float(left), float(bottom), float(right), float(top)


def slot_names(outcome: Outcome, plan: Plan, plane: int) -> list[str]:
    """What stands at each slot of the plane drawn: a craft's name, who stays, or that it is free."""
    names = {kept.slot: f"{kept.craft} (stays)" for kept in outcome.kept if kept.plane == plane}
    names |= {part.slot: part.craft for part in plan.craft if part.plane == plane}
    return [names.get(slot, "free") for slot in range(outcome.ring.slots)]


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


def name_slots(
    axes: Axes, outcome: Outcome, plan: Plan, plane: int, *, at_s: float, radii: list[float], turn_rad: float
) -> None:
    """Mark and name every slot of a plane with whoever has it.

    Args:
        at_s: moment at which the slots are shown, s.
        radii: distance from the center at which each slot's label begins, in ring radii.
        turn_rad: added to every angle.
    """
    ring = outcome.ring
    owners = {(part.plane, part.slot): index for index, part in enumerate(plan.craft)}
    kept = {kept.slot for kept in outcome.kept if kept.plane == plane}
    names = slot_names(outcome, plan, plane)
    for slot in range(ring.slots):
        angle = float(ring.phase(at_s, slot, plane)) + turn_rad
        x, y = math.cos(angle), math.sin(angle)
        radius = radii[slot]
        index = owners.get((plane, slot))
        if index is not None:
            color = face = ink(index)
        elif slot in kept:
            color = face = INK
        else:
            color, face = QUIET, PAPER
        axes.plot([x], [y], "o", markersize=7.5, markerfacecolor=face, markeredgecolor=color, zorder=6)
        axes.annotate(
            f"{names[slot]}\nslot {slot}",
            (radius * x, radius * y),
            xytext=(13 * x, 13 * y),
            textcoords="offset points",
            ha="left" if x > _BESIDE else "right" if x < -_BESIDE else "center",
            va="bottom" if y > _BESIDE else "top" if y < -_BESIDE else "center",
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
        if arc.stage == "phasing" and part.side != "level" and not named:
            named = _name_orbit(axes, part, shown, color, outcome.scenario.body.radius_m / unit_m)
    if arcs and arcs[0].stage == "ascent":
        begin = arcs[0].position_m[0] / unit_m
        axes.plot([begin[0]], [begin[1]], "s", markersize=3.6, color=color, zorder=5)


def _name_orbit(axes: Axes, part: CraftPlan, shown: Array, color: str, body: float) -> bool:
    distance = np.hypot(shown[:, 0], shown[:, 1])
    far = int(np.argmax(np.abs(distance - 1.0)))
    if abs(distance[far] - 1.0) < _HARDLY_SEEN * 2:
        return False
    x, y = shown[far]
    outside = distance[far] > 1.0 or distance[far] < body + 0.25
    toward = (1.0 if outside else -1.0) / distance[far]
    across, up = toward * float(x), toward * float(y)
    axes.annotate(
        part.craft,
        (x, y),
        xytext=(6 * across, 6 * up),
        textcoords="offset points",
        ha="left" if across > 0.3 else "right" if across < -0.3 else "center",
        va="bottom" if up > 0.3 else "top" if up < -0.3 else "center",
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


def _motion_angle(outcome: Outcome, plan: Plan, plane: int) -> float:
    ring = outcome.ring
    middles = [float(ring.phase(plan.finish_s, slot, plane)) + 0.5 * ring.spacing_rad for slot in range(ring.slots)]
    return max(middles, key=lambda angle: math.cos(angle - math.radians(60.0)))


def _motion(axes: Axes, outcome: Outcome, plan: Plan, plane: int) -> None:
    """A small arrow for the sense of motion, outside the ring and midway between two slots, as far up as there is."""
    from matplotlib.patches import FancyArrowPatch

    middle = _motion_angle(outcome, plan, plane)
    radius, half = _ARROW, math.radians(5.0)
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


def _scale_bar(axes: Axes, unit_m: float) -> None:
    (left, right), (bottom, _) = axes.get_xlim(), axes.get_ylim()
    reach = 0.5 * (right - left)
    wish_km = 0.35 * unit_m * reach * 1e-3
    step = 10.0 ** math.floor(math.log10(wish_km))
    length_km = max(step * factor for factor in (1.0, 2.0, 5.0) if step * factor <= wish_km)
    size = length_km * 1e3 / unit_m
    x, y = left + 0.04 * reach, bottom + 0.03 * reach
    axes.plot([x, x + size], [y, y], color=INK, linewidth=1.2, solid_capstyle="butt")
    for end in (x, x + size):
        axes.plot([end, end], [y - 0.012 * reach, y + 0.012 * reach], color=INK, linewidth=1.2)
    axes.text(x + 0.5 * size, y + 0.02 * reach, f"{plain(length_km, 0)} km", ha="center", va="bottom", fontsize=8.5)


def _below(outcome: Outcome, plan: Plan, plane: int, ways: list[tuple[CraftPlan, list[Arc]]]) -> str:
    radius_m = outcome.ring.radius_m
    text = (
        f"Plan {plan.rank}{plane_words(outcome, plane)}, to scale; slots as they stand after {span(plan.finish_s)}, "
        f"when the last craft is in place. Dotted: the way before the first burn; dots: burns."
    )
    off = [float(np.abs(arc.radius_m - radius_m).max()) for _, arcs in ways for arc in arcs if arc.stage == "phasing"]
    if off and max(off) < _HARDLY_SEEN * radius_m:
        text += (
            f" The phasing orbits leave the ring by {plain(max(off) * 1e-3, 0)} km at most, hardly more than its "
            f"line: the view that turns with the ring shows them."
        )
    return text
