"""Spares called up: the ring of one plane with where its spares wait and whom they replace, and cost against time."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from ...optimizer.studies.call_up import CallUps, Loss, SpareSeen, Way
from .labels import Label, place
from .style import GROUND, INK, PAPER, QUIET, bare, fine, ink, label, sheet, type_points
from .time_ticks import set_time_ticks

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_WIDTH, _HEIGHT = 10.4, 4.3  # inches
_RING, _GAP = 0.43, 0.095  # shares of the sheet's width: the ring, and from there to the graph
_CIRCLE = 0.2  # so far from the ring, in its radii, a circle off it is drawn
_BODY = 0.3  # radius of the body as drawn, in the ring's
_EDGE = 1.42  # half of the picture's width, in the ring's radii
_OFF = 11.0  # points from a place to its name
_BEND = 0.16  # bend of an arrow, of its length
_NAMED = 12  # losses of which each has its name in the graph
_ROOM = 0.12  # of an axis beyond the outermost point

Point = tuple[float, float]


def draw_spares(found: CallUps, plane: int) -> Figure:
    """Draw who is called for which loss of a plane, and what each way costs against the time it takes."""
    losses = [loss for loss in found.losses if loss.plane == plane and loss.ways]
    spares = [seen for seen in found.spares if seen.spare.plane == plane]
    which = f", plane {plane}" if found.ring.planes > 1 else ""
    below = (
        "Left: slots stand still, ahead is counterclockwise, spares where they wait at the call; arrows into a slot: "
        "the spare that is called for it, by the cheapest way (full) and by the soonest (broken); not to scale. Right: "
        f"{'every plan that none beats' if _whole(losses) else 'the cheapest and the soonest way'} of each spare; "
        "filled: the best for that loss."
    )
    title = f"{found.scenario.title}: spares called up{which}"
    figure, whole = sheet(_WIDTH, _HEIGHT, title, below, margins=(0.15, 0.3, 0.6))
    box = whole.get_position()
    whole.remove()
    foot = box.y0 * 0.35
    left = figure.add_axes((box.x0, foot, _RING * box.width, box.y1 - foot))
    begin = box.x0 + (_RING + _GAP) * box.width
    _draw_ring(left, found, losses, spares)
    _draw_costs(figure.add_axes((begin, box.y0, box.x1 - begin, box.height)), losses, spares)
    return figure


def planes_with_calls(found: CallUps) -> list[int]:
    """The planes in which a spare can be called for some loss."""
    return sorted({loss.plane for loss in found.losses if any(way.least is not None for way in loss.ways)})


def _whole(losses: list[Loss]) -> bool:
    return len(losses) == 1 and any(len(way.front) > 1 for way in losses[0].ways)


def _at(ahead_rad: float, radius: float) -> Point:
    angle = ahead_rad + 0.5 * math.pi
    return radius * math.cos(angle), radius * math.sin(angle)


def _circle_of(found: CallUps, seen: SpareSeen) -> float:
    """The radius at which the circle of a spare is drawn."""
    radius = seen.spare.radius_m
    if radius is None or seen.waiting is None:
        return 1.0
    return 1.0 + math.copysign(_CIRCLE, radius - found.ring.radius_m)


def _draw_ring(axes: Axes, found: CallUps, losses: list[Loss], spares: list[SpareSeen]) -> None:
    bare(axes)
    axes.set_xlim(-_EDGE, _EDGE)
    axes.set_ylim(-_EDGE, _EDGE)
    turn = np.linspace(0.0, 2.0 * math.pi, 181)
    axes.fill(_BODY * np.cos(turn), _BODY * np.sin(turn), color=GROUND, zorder=1)
    axes.plot(np.cos(turn), np.sin(turn), color=INK, linewidth=1.0, zorder=2)
    slots = found.ring.slots
    for slot in range(slots):
        x, y = _at(float(found.ring.ahead(slot)), 1.0)
        axes.plot([x], [y], "o", markersize=fine(4.5, slots), color=PAPER, markeredgecolor=INK, zorder=4)
    places = {}
    for number, seen in enumerate(spares):
        radius, color = _circle_of(found, seen), ink(number)
        if radius != 1.0:
            axes.plot(radius * np.cos(turn), radius * np.sin(turn), color=QUIET, linewidth=0.6, linestyle=(0, (4, 3)))
        places[seen.spare.craft.name] = _at(seen.ahead_rad, radius), color
    for loss in losses:
        _draw_calls(axes, found, loss, places)
    for loss in losses:
        _name(axes, loss.craft, float(found.ring.ahead(loss.slot)), 1.0)
    for seen in spares:
        name, radius = seen.spare.craft.name, _circle_of(found, seen)
        (x, y), color = places[name]
        axes.plot([x], [y], "D", markersize=7.5, color=color, markeredgecolor=PAPER, zorder=6)
        # within the ring arrows lead off to all sides, least of all to where it comes from
        _name(axes, name, seen.ahead_rad, radius, "bold", turned_rad=0.0 if radius >= 1.0 else -0.5 * math.pi)


def _name(
    axes: Axes, text: str, ahead_rad: float, radius: float, weight: str = "normal", turned_rad: float = 0.0
) -> None:
    """Words beside a place, away from the middle or turned from there."""
    (x, y), away = _at(ahead_rad, radius), _at(ahead_rad + turned_rad, _OFF)
    across = "center" if abs(away[0]) < 0.35 * _OFF else "left" if away[0] > 0.0 else "right"
    label(axes, text, (x, y), away, type_points(9), ha=across, va="center", weight=weight, zorder=7)


def _draw_calls(axes: Axes, found: CallUps, loss: Loss, places: dict[str, tuple[Point, str]]) -> None:
    """Arrows into the slot of a lost craft from the spares that are called."""
    cheapest, soonest = (loss.best("delta_v"), "solid", _BEND), (loss.best("finish"), (0, (5, 3)), -_BEND)
    for best, line, bend in (cheapest, soonest):
        if best is None:
            continue
        begin, color = places[best.spare]
        arrow: dict[str, Any] = {
            "arrowstyle": "-|>,head_length=0.5,head_width=0.22",
            "connectionstyle": f"arc3,rad={bend}",
            "color": color,
            "linewidth": 1.4,
            "linestyle": line,
            "shrinkA": 5.0,
            "shrinkB": 4.0,
        }
        axes.annotate("", _at(float(found.ring.ahead(loss.slot)), 1.0), begin, arrowprops=arrow, zorder=3)


def _draw_costs(axes: Axes, losses: list[Loss], spares: list[SpareSeen]) -> None:
    """Each way from its soonest plan to its cheapest: m/s against the time from the call to the slot."""
    order = {seen.spare.craft.name: number for number, seen in enumerate(spares)}
    few = len(losses) <= _NAMED
    ends = [(loss, points[-1]) for loss in losses for way in loss.ways if few and (points := _plans(way))]
    reached: list[Point] = []
    drawn: set[str] = set()
    for loss in losses:
        for way in loss.ways:
            points = _plans(way)
            if not points:
                continue
            reached += points
            color, words = ink(order[way.spare]), way.spare if way.spare not in drawn else None
            drawn.add(way.spare)
            x, y = zip(*points, strict=True)
            # of a whole front what is best by then; else a line that holds the two ways together
            steps: Any = "steps-post" if len(way.front) > 1 else "default"
            width = 1.6 if len(way.front) > 1 else 0.9
            axes.plot(
                x,
                y,
                color=color,
                linewidth=width,
                drawstyle=steps,
                label=words,
                zorder=3,
            )
            for best, at in ((loss.best("finish"), points[0]), (loss.best("delta_v"), points[-1])):
                face = color if best is way else PAPER
                axes.plot(*at, "o", markersize=5.5, markerfacecolor=face, markeredgecolor=color, zorder=4)
    times, speeds = [at[0] for at in reached], [at[1] for at in reached]
    axes.set_xlim(0.0, (1.0 + _ROOM) * max(times))
    axes.set_ylim(0.0, (1.0 + _ROOM) * max(*speeds, 1.0))
    axes.set_ylabel("delta-v of the spare, m/s")
    axes.set_xlabel("from the call to the slot", color=INK)
    set_time_ticks(axes)
    axes.tick_params(colors=QUIET, labelcolor=INK)
    axes.legend(loc="upper right", frameon=False, fontsize=type_points(9), title="spare", title_fontsize=type_points(9))
    if len(losses) > 1:
        place(axes, [Label(at=at, text=loss.craft) for loss, at in ends])


def _plans(way: Way) -> list[Point]:
    """What a way takes, s, and costs, m/s, from the soonest plan to the cheapest."""
    plans = [plan for plan in (*way.front, way.soonest, way.least) if plan is not None]
    return sorted({(plan.finish_s, plan.delta_v_m_s) for plan in plans})
