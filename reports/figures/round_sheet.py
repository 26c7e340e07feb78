"""A sheet for a round picture, with room for the labels around it, and what stands on it: body, air, slots."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from ...models.arrays import Array
from ...models.ring import TURN_RAD
from ...optimizer.outcome import Outcome, Plan
from .style import FAINT, GROUND, INK, PAPER, QUIET, SHADE, bare, ink, label, made_for, sheet, type_points
from .ways import slot_names

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LETTER = 0.082  # width of a letter of a label, inches

ALONG = 0.72  # height of a name along the radius, in arcs between two slots

ROUND_MAX = 14
"""Slots as near as more than so many equally spaced ones have their names along the radius."""

LEAST_POINTS = 2.0
"""Names are no smaller than that, though they then overlap where slots are very near."""


_BESIDE = 0.3  # a label stands beside its slot where the cosine of the slot's angle is more than this


_TALLEST = 0.8  # a picture is no more than 1 / this as tall as wide


def round_sheet(title: str, below: str, points: Array, labels: list[tuple[float, float, str]]) -> tuple[Figure, Axes]:
    """A sheet whose axes hold a round picture in units of the ring's radius, with room for the labels around it.

    Args:
        points: what is drawn besides the ring, (n, 2).
        labels: angle, rad, and distance at which a label begins, and its longest line.
    """
    form = made_for()
    width = form.width or 8.0
    inner = width - 0.3 * form.letters
    unit = 0.4 * inner
    room = form.tallest - 1.6 * form.letters
    for _ in range(20):  # the room that labels take depends on the scale, and the scale on that; settles soon
        left, bottom, right, top = _bounds(points, labels, unit)
        unit = min(inner / max(right - left, _TALLEST * (top - bottom)), room / (top - bottom))
    spare = 0.5 * (inner / unit - (right - left))
    figure, axes = sheet(width, (top - bottom) * unit, title, below)
    bare(axes)
    axes.set_xlim(left - spare, right + spare)
    axes.set_ylim(bottom, top)
    return figure, axes


def crowded(apart_rad: float) -> bool:
    """Whether names stand along the radius, since slots are too near to one another for names beside the ring."""
    return apart_rad < TURN_RAD / (ROUND_MAX + 0.5)


def _apart_rad(labels: list[tuple[float, float, str]]) -> float:
    """The least angle between two neighboring labels."""
    angles = [angle for angle, _, _ in labels]
    return float(np.diff([*angles, angles[0] + TURN_RAD]).min()) if angles else TURN_RAD


def _bounds(points: Array, labels: list[tuple[float, float, str]], unit: float) -> tuple[float, float, float, float]:
    """Left, bottom, right and top of ring, points and labels, in ring radii of ``unit`` inches."""
    corners = [1.04 * np.minimum(points.min(axis=0, initial=-1.0), -1.0)]
    corners.append(1.04 * np.maximum(points.max(axis=0, initial=1.0), 1.0))
    for angle, radius, text in labels:
        at = radius * np.array([math.cos(angle), math.sin(angle)])
        letters = made_for().letters
        size = _LETTER * letters * len(text)
        if crowded(_apart_rad(labels)):
            # set along the radius, no higher than the arc between two slots
            size *= min(1.0, ALONG * _apart_rad(labels) * unit * 72.0 / type_points(9.5))
            across, upward = (0.2 + (0.2 + size) * abs(part) for part in (math.cos(angle), math.sin(angle)))
        else:
            across = 0.25 + size if abs(math.cos(angle)) > _BESIDE else 0.5 * size
            upward = letters * (0.58 if abs(math.sin(angle)) > _BESIDE else 0.3)
        half = np.array([across, upward]) / unit
        # a label reaches outward only, except where it is centered on its slot
        corners.append(at + half * np.where(at >= 0.0, 1.0, -1.0))
        corners.append(at + 0.5 * half * np.where(at >= 0.0, -1.0, 1.0) * (np.abs(at) <= _BESIDE * radius))
    stacked = np.array(corners)
    (left, bottom), (right, top) = stacked.min(axis=0), stacked.max(axis=0)
    return float(left), float(bottom), float(right), float(top)


def draw_body(axes: Axes, outcome: Outcome, *, named: bool = True) -> None:
    """Draw body and atmosphere around the origin of axes whose unit is the ring's radius."""
    from matplotlib.patches import Circle

    body, unit_m = outcome.scenario.body, outcome.ring.radius_m
    if body.atmosphere_top_m > 0.0:
        axes.add_patch(
            Circle((0.0, 0.0), (body.radius_m + body.atmosphere_top_m) / unit_m, facecolor=SHADE, edgecolor="none")
        )
    size = body.radius_m / unit_m
    axes.add_patch(Circle((0.0, 0.0), size, facecolor=GROUND, edgecolor=QUIET, linewidth=0.7, zorder=1))
    if named and size > 0.12:
        name = body.name.capitalize() if body.name.islower() else body.name
        axes.text(0.0, 0.0, name, ha="center", va="center", color=QUIET, style="italic", zorder=1)
    floor = outcome.scenario.floor_m / unit_m
    if floor > size * 1.002:
        _circle(axes, floor, FAINT, 0.8, zorder=1, style=(0, (1, 2.5)))


def name_slots(
    axes: Axes, outcome: Outcome, plan: Plan, plane: int, *, at_s: float, radii: list[float], turn_rad: float
) -> None:
    """Mark every slot of a plane, with the name of the craft in it.

    Args:
        at_s: moment at which the slots are shown, s.
        radii: distance from the center at which each slot's label begins, in ring radii.
        turn_rad: added to every angle.
    """
    ring = outcome.ring
    owners = {(part.plane, part.slot): index for index, part in enumerate(plan.craft)}
    kept = {kept.slot for kept in outcome.kept if kept.plane == plane}
    names = slot_names(outcome, plan, plane)
    along = crowded(ring.nearest_rad)
    size = _name_size(axes, ring.nearest_rad) if along else type_points(9.5)
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
        dot = min(7.5, 0.7 * size)
        axes.plot([x], [y], "o", markersize=dot, markerfacecolor=face, markeredgecolor=color, zorder=6)
        away = dot + 4.0
        words, quiet = names[slot] if along else f"{names[slot]}\nslot {slot}", QUIET if face == PAPER else INK
        looks = {"color": quiet, "linespacing": 1.15, "zorder": 7, **_stand(x, y, along=along)}
        label(axes, words, (radius * x, radius * y), (away * x, away * y), size, **looks)


def _stand(x: float, y: float, *, along: bool) -> dict[str, Any]:
    """How a label stands at the place (x, y) of the unit circle: beside it, or along its radius."""
    if along:
        angle = math.degrees(math.atan2(y, x))
        flipped = abs(angle) > 90.0
        return {
            "rotation": angle + 180.0 if flipped else angle,
            "rotation_mode": "anchor",
            "ha": "right" if flipped else "left",
            "va": "center_baseline",
        }
    return {
        "ha": "left" if x > _BESIDE else "right" if x < -_BESIDE else "center",
        "va": "bottom" if y > _BESIDE else "top" if y < -_BESIDE else "center",
    }


def _name_size(axes: Axes, apart_rad: float) -> float:
    """Size of names along the radius, points: no higher than the arc between two slots leaves room for."""
    figure: Any = axes.get_figure(root=True)
    (left, _), (right, _) = axes.transData.transform([(0.0, 0.0), (1.0, 0.0)])
    arc = apart_rad * (right - left) * 72.0 / figure.dpi
    return max(min(type_points(9.5), ALONG * float(arc)), LEAST_POINTS)


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
