"""The turning view at single moments: a film strip of small multiples, and an animated picture."""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from ...models.arrays import Array
from ...models.readouts import span
from ...models.ring import Ring
from ...optimizer.craft_plan import CraftPlan
from ...optimizer.outcome import Outcome, Plan
from ..terminal import minute
from .arcs import Arc, craft_arcs
from .round_sheet import draw_body
from .style import FAINT, INK, PAPER, QUIET, bare, fine, inches, ink, letters, made_for, sheet, type_points
from .turning_view import stretch_of
from .ways import drawn_plane, plane_words, titled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PANELS = 6
"""Of a film strip."""

FRAMES, A_SECOND = 90, 15
"""Of an animated picture, and how many a second."""

KEY_MAX = 12
"""More craft than this are not named in a key."""

_REACH = 1.12  # of a panel beyond the ring, in ring radii, at least


@dataclass(frozen=True, kw_only=True)
class _Track:
    """Where a craft is in the frame of the slots, ring radii: moments, s, (n,), and places, (n, 2)."""

    index: int
    time_s: Array
    place: Array

    def at(self, time_s: float) -> Array | None:
        """Its place at a moment; None before it is there."""
        if time_s < self.time_s[0]:
            return None
        return np.array([np.interp(time_s, self.time_s, self.place[:, axis]) for axis in (0, 1)])


@dataclass(frozen=True, kw_only=True)
class _Scene:
    """What all moments have in common."""

    outcome: Outcome
    plan: Plan
    plane: int
    stretch: float
    tracks: tuple[_Track, ...]
    begin_s: float
    end_s: float
    reach: float


def draw_strip(outcome: Outcome, plan: Plan) -> Figure:
    """Draw where every craft is at evenly spaced moments, from the first to the one when all are in their slots."""
    scene = _scene(outcome, plan)
    form = made_for()
    width = form.width or 8.4
    columns = PANELS if width > 10.0 else PANELS // 2
    rows = math.ceil(PANELS / columns)
    cell = (width - 0.3 * form.letters) / columns
    caption, key = 0.42 * form.letters, (0.32 * form.letters if len(scene.tracks) <= KEY_MAX else 0.0)
    panel = min(cell, (form.tallest - 1.6 * form.letters - key) / rows - caption)
    title = titled(outcome, plan, "film strip")
    figure, whole = sheet(width, rows * (panel + caption) + key, title, _below(scene))
    box, tall = whole.get_position(), float(figure.get_figheight())
    whole.remove()
    if key:
        _draw_key(figure, scene, box.y1 - 0.5 * key / tall)
    for number, time_s in enumerate(np.linspace(scene.begin_s, scene.end_s, PANELS).tolist()):
        row, column = divmod(number, columns)
        left = (0.5 * width + (column + 0.5 - 0.5 * columns) * cell - 0.5 * panel) / width
        top = box.y1 - (key + row * (panel + caption)) / tall
        axes = figure.add_axes((left, top - panel / tall, panel / width, panel / tall))
        _draw_moment(axes, scene, time_s)
        figure.text(
            left + 0.5 * panel / width,
            top - (panel + 0.03) / tall,
            _clock(outcome, time_s),
            ha="center",
            va="top",
            fontsize=type_points(8.5),
            linespacing=1.15,
        )
    return figure


def motion(outcome: Outcome, plan: Plan, progress: Callable[[str], None] | None = None) -> bytes:
    """The turning view as an animated picture (GIF): time runs from the first moment until all are in their slots.

    Returns:
        The content of the file; to be made within ``style.paper``.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from PIL import Image

    scene = _scene(outcome, plan)
    side = inches(5.6) if made_for().width is None else min(made_for().width or 5.6, made_for().tallest - 2.0)
    key = 0.32 * made_for().letters if len(scene.tracks) <= KEY_MAX else 0.0
    figure, axes = sheet(side + 0.4, side + key, titled(outcome, plan, "turning with the ring"), _below(scene))
    place, tall = axes.get_position(), float(figure.get_figheight())
    if key:
        _draw_key(figure, scene, place.y1 - 0.5 * key / tall)
        axes.set_position((place.x0, place.y0, place.width, place.height - key / tall))
    move = _draw_moment(axes, scene, scene.begin_s)
    words = figure.text(0.97, 0.02, "", ha="right", va="bottom", linespacing=1.2)
    canvas = FigureCanvasAgg(figure)
    frames = []
    times = np.linspace(scene.begin_s, scene.end_s, FRAMES).tolist()
    for number, time_s in enumerate(times):
        move(time_s)
        words.set_text(_clock(outcome, time_s))
        canvas.draw()  # type: ignore[no-untyped-call]
        picture = Image.fromarray(np.asarray(canvas.buffer_rgba())[..., :3].copy())  # type: ignore[no-untyped-call]
        frames.append(picture.quantize(colors=64, dither=Image.Dither.NONE))
        if progress is not None and number % 10 == 0:
            progress(f"picture {number + 1} of {FRAMES}")
    content = io.BytesIO()
    # the last moment stays a while
    durations = [round(1000 / A_SECOND)] * (FRAMES - 1) + [2000]
    frames[0].save(content, format="GIF", save_all=True, append_images=frames[1:], duration=durations, loop=0)
    return content.getvalue()


def _scene(outcome: Outcome, plan: Plan) -> _Scene:
    ring, plane = outcome.ring, drawn_plane(plan)
    parts = [part for part in plan.craft if part.plane == plane]
    end_s = max(part.in_slot_s for part in parts)
    arcs = [(part, craft_arcs(outcome, part, until_s=end_s)) for part in parts]
    stretch = stretch_of(ring, arcs)
    tracks = tuple(_track(ring, plan, part, own, stretch, plane) for part, own in arcs)
    begin_s = min(float(track.time_s[0]) for track in tracks)
    reach = max(_REACH, *(1.06 * float(np.abs(track.place).max()) for track in tracks))
    return _Scene(
        outcome=outcome,
        plan=plan,
        plane=plane,
        stretch=stretch,
        tracks=tracks,
        begin_s=begin_s,
        end_s=end_s,
        reach=reach,
    )


def _track(ring: Ring, plan: Plan, part: CraftPlan, arcs: list[Arc], stretch: float, plane: int) -> _Track:
    index = plan.craft.index(part)
    if not arcs:
        # in its slot from the start to the end
        time_s, ahead, radius = np.array([part.in_slot_s]), np.array([float(ring.ahead(part.slot))]), np.array([1.0])
    else:
        time_s = np.concatenate([arc.time_s for arc in arcs])
        # each arc starts where the one before it ends
        ahead = np.concatenate([arc.angle_rad for arc in arcs]) - ring.rate_rad_s * time_s
        ahead = ahead - float(ring.phase(0.0, 0, plane))
        radius = np.concatenate([arc.radius_m for arc in arcs]) / ring.radius_m
    drawn = 1.0 + stretch * (radius - 1.0)
    angle = ahead + 0.5 * math.pi
    return _Track(index=index, time_s=time_s, place=np.stack([drawn * np.cos(angle), drawn * np.sin(angle)], axis=-1))


def _draw_moment(axes: Axes, scene: _Scene, time_s: float) -> Callable[[float], None]:
    """Draw one moment. Return a function that moves the picture to another."""
    bare(axes)
    axes.set_xlim(-scene.reach, scene.reach)
    axes.set_ylim(-scene.reach, scene.reach)
    if scene.stretch == 1.0:
        draw_body(axes, scene.outcome, named=False)
    ring = scene.outcome.ring
    circle = np.linspace(0.0, 2.0 * math.pi, 361)
    axes.plot(np.cos(circle), np.sin(circle), color=FAINT, linewidth=0.8, zorder=1)
    size = fine(5.0, ring.slots)
    slots = 0.5 * math.pi + ring.ahead(np.arange(ring.slots))
    axes.plot(
        np.cos(slots), np.sin(slots), "o", markersize=size, markerfacecolor=PAPER, markeredgecolor=QUIET, zorder=3
    )
    staying = np.array([one.slot for one in scene.outcome.kept if one.plane == scene.plane], dtype=np.int64)
    kept = 0.5 * math.pi + ring.ahead(staying)
    axes.plot(np.cos(kept), np.sin(kept), "o", markersize=size, color=INK, zorder=4)
    drawn: list[tuple[_Track, Any, Any]] = []
    for track in scene.tracks:
        (trail,) = axes.plot([], [], color=ink(track.index), linewidth=fine(1.0, ring.slots), zorder=4)
        (dot,) = axes.plot([], [], "o", markersize=size + 0.5, color=ink(track.index), zorder=6)
        drawn.append((track, trail, dot))

    def move(now_s: float) -> None:
        for track, trail, dot in drawn:
            here = track.at(now_s)
            if here is None:
                trail.set_data([], [])
                dot.set_data([], [])
                continue
            past = np.vstack([track.place[track.time_s <= now_s], here])
            trail.set_data(past[:, 0], past[:, 1])
            dot.set_data(here[:1], here[1:])

    move(time_s)
    return move


def _draw_key(figure: Figure, scene: _Scene, height: float) -> None:
    """Name the craft by their colors in one line."""
    from ..safe_text import spelled
    from .labels import SWATCH

    names = [spelled(scene.plan.craft[track.index].craft, letters()) for track in scene.tracks]
    width, size = float(figure.get_figwidth()), made_for().letters
    whole = sum(0.085 * len(name) + 0.38 for name in names) * size
    # smaller where the names would leave the sheet
    size *= min(1.0, (width - 0.3 * size) / whole)
    at = 0.25 * made_for().letters
    for track, name in zip(scene.tracks, names, strict=True):
        figure.text(at / width, height, SWATCH.strip(), color=ink(track.index), va="center", fontsize=9.0 * size)
        figure.text((at + 0.16 * size) / width, height, name, va="center", fontsize=9.0 * size)
        at += (0.085 * len(name) + 0.38) * size


def _clock(outcome: Outcome, time_s: float) -> str:
    after = f"after {span(time_s)}" if time_s >= 0.5 else "at the epoch"
    return f"{after}\n{minute(outcome, time_s)}" if outcome.scenario.epoch is not None else after


def _below(scene: _Scene) -> str:
    text = (
        f"Plan {scene.plan.rank}{plane_words(scene.outcome, scene.plane)}. Slots stand still, slot 0 on top; ahead is"
    )
    text += " counterclockwise. Open rings: slots; dots: craft, with the way that each has come."
    if scene.outcome.scenario.epoch is not None:
        text += " Dates are UTC."
    if scene.stretch > 1.0:
        text += f" Heights from the ring are drawn {scene.stretch:.0f} times too large."
    return text
