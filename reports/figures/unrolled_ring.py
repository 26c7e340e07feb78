"""The unrolled ring: angle from slot 0 across, altitude up, to scale, with each craft's path among the slots.

Slots stand still on the line of the ring; ahead is to the right. A craft below the ring moves to the right, one above
it to the left. Air and floor are bands; where they lie far below every path they stand on a broken axis.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from ...models.arrays import Array
from ...models.readouts import plain
from ...models.ring import TURN_RAD, Ring
from ...optimizer.outcome import Outcome, Plan
from .paths import Path, beside, ring_paths, tracks
from .spares import spares_said, waiting
from .style import FAINT, GROUND, INK, PAPER, QUIET, SHADE, fine, inches, ink, made_for, rim, sheet, stroke, type_points
from .ways import plane_words, slot_names, titled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH, PICTURE, STRIP, GAP = 9.0, 4.3, 0.75, 0.16
"""Inches: of the sheet, of the picture, of the strip with air and floor under a broken axis, and between the two."""

NEAR = 1.6
"""Air and floor stand on the same axis where that makes it no more than this many times as long."""

MARGINS = (0.85, 0.3, 0.62)
"""Left, right and bottom of the picture, inches, with letters of a report."""

LEAST_POINTS = 5.0
"""Names of uneven slots are no smaller than that, though they then overlap where slots are very near."""

LETTER = 0.075
"""Width of a letter of a label, inches."""


Bands = list[tuple[float, float, str, str]]
"""Altitudes from and to, km, color and name of each band, from below."""


def draw_unrolled_ring(outcome: Outcome, plan: Plan, plane: int) -> Figure:
    """Draw every craft's way to its slot on the ring laid out flat."""
    paths = ring_paths(outcome, plan, plane)
    low, high = _span_km(outcome, paths)
    bands = _bands_km(outcome)
    together = high - min(low, bands[0][0]) <= NEAR * (high - low)
    if together and bands[-1][1] > low:
        low = min(low, bands[0][0])
        bands[0] = (low, *bands[0][1:])
    names = slot_names(outcome, plan, plane)
    upright = _upright(outcome.ring, names)
    letters = made_for().letters
    size = _name_size(outcome.ring)
    room = 0.08 + (LETTER * size / 9.0 * max(map(len, names)) if upright else 0.12 * letters)
    title = titled(outcome, plan, "the unrolled ring")
    strip = 0.0 if together else letters * (STRIP + GAP)
    figure, axes = sheet(
        WIDTH, inches(PICTURE) + strip + room, title, _below(outcome, plan, plane, paths), margins=MARGINS
    )
    lower = None if together else _broken(figure, axes, room)
    if together:
        _shrink(figure, axes, 0.0, room)
    cut = _cut_deg(outcome.ring, paths)
    axes.set_xlim(cut, cut + 360.0)
    axes.set_ylim(low, high)
    for one in (axes,) if lower is None else (axes, lower):
        _draw_bands(one, bands)
    _draw_ring(axes, outcome, plan, plane, cut, names, size, upright=upright)
    for path, offset in zip(paths, tracks(paths, 1e3 * (high - low)), strict=True):
        _draw_path(axes, outcome, plan, path, offset, cut)
    _draw_spares(axes, outcome, plane, cut, size)
    _label_axes(axes, lower, outcome.ring, cut, bands)
    return figure


def _altitude_km(outcome: Outcome, path: Path) -> Array:
    return np.asarray(1e-3 * (path.radius_m - outcome.scenario.body.radius_m))


def _span_km(outcome: Outcome, paths: list[Path]) -> tuple[float, float]:
    ring_km = 1e-3 * (outcome.ring.radius_m - outcome.scenario.body.radius_m)
    low = min([ring_km, *(float(_altitude_km(outcome, path).min()) for path in paths)])
    high = max([ring_km, *(float(_altitude_km(outcome, path).max()) for path in paths)])
    room = 0.12 * (high - low) if high - low > 1e-3 * ring_km else 0.02 * ring_km
    return low - room, high + room


def _bands_km(outcome: Outcome) -> Bands:
    """Bands of altitude with their color and name, from below: ground, air, what the clearance adds to it."""
    body, floor_m = outcome.scenario.body, outcome.scenario.floor_m
    top, floor = 1e-3 * body.atmosphere_top_m, 1e-3 * (floor_m - body.radius_m)
    depth = 0.25 * max(top, floor, 1e-3 * 0.02 * body.radius_m)
    found = [(-depth, 0.0, GROUND, "ground")]
    if top > 0.0:
        found.append((0.0, top, SHADE, f"air, to {plain(top, 0)} km"))
    if floor > top:
        found.append((top, floor, "clearance", f"clearance, to {plain(floor, 0)} km"))
    return found


def _upright(ring: Ring, names: list[str]) -> bool:
    """Whether the names of the slots must stand on end to find room."""
    return max(map(len, names)) * LETTER * made_for().letters > 0.92 * _across_inches() * ring.nearest_rad / TURN_RAD


def _across_inches() -> float:
    form = made_for()
    return (form.width or WIDTH) - sum(MARGINS[:2]) * form.letters


def _name_size(ring: Ring) -> float:
    """Size of the names of slots, points: smaller where they stand closer than letters are high."""
    least = LEAST_POINTS if ring.pattern_rad else 0.0
    return min(type_points(9), max(0.75 * 72.0 * _across_inches() * ring.nearest_rad / TURN_RAD, least))


def _shrink(figure: Figure, axes: Axes, below: float, above: float) -> None:
    """Take so many inches off an axes at its foot and at its head."""
    box, tall = axes.get_position(), figure.get_size_inches()[1]
    axes.set_position((box.x0, box.y0 + below / tall, box.width, box.height - (below + above) / tall))


def _broken(figure: Figure, axes: Axes, room: float) -> Axes:
    """Part a strip for air and floor from the foot of the picture, and mark the break."""
    box, tall = axes.get_position(), figure.get_size_inches()[1]
    strip, gap = (made_for().letters * size for size in (STRIP, GAP))
    _shrink(figure, axes, strip + gap, room)
    lower = figure.add_axes((box.x0, box.y0, box.width, strip / tall), sharex=axes)
    axes.spines["bottom"].set_visible(False)
    axes.tick_params(bottom=False, labelbottom=False)
    for one, edge in ((axes, 0.0), (lower, 1.0)):
        one.plot(
            [0.0],
            [edge],
            transform=one.transAxes,
            marker=[(-1.0, -0.6), (1.0, 0.6)],
            markersize=9,
            color=INK,
            markeredgewidth=0.9,
            linestyle="none",
            clip_on=False,
        )
    return lower


def _draw_bands(axes: Axes, bands: Bands) -> None:
    for low, high, color, _ in bands:
        if color == "clearance":
            axes.axhspan(low, high, facecolor="none", edgecolor=FAINT, hatch="////", linewidth=0.0, zorder=0)
        else:
            axes.axhspan(low, high, facecolor=color, edgecolor="none", zorder=0)


def _cut_deg(ring: Ring, paths: list[Path]) -> float:
    """Where the ring is cut open: midway between two slots, where the fewest paths pass."""
    places = np.degrees(ring.ahead(np.arange(ring.slots)))
    cuts = 0.5 * (places + np.append(places[-1] - 360.0, places[:-1]))
    best, fewest = float(cuts[0]), math.inf
    for cut in cuts.tolist():
        passed = sum(int(np.abs(np.diff(np.floor((np.degrees(path.ahead_rad) - cut) / 360.0))).sum()) for path in paths)
        if passed < fewest:
            best, fewest = cut, passed
    return best if best <= 180.0 else best - 360.0


def _into(angle_deg: Array, cut: float) -> Array:
    return np.asarray(cut + np.mod(angle_deg - cut, 360.0))


def _draw_ring(
    axes: Axes, outcome: Outcome, plan: Plan, plane: int, cut: float, names: list[str], size: float, *, upright: bool
) -> None:
    ring = outcome.ring
    ring_km = 1e-3 * (ring.radius_m - outcome.scenario.body.radius_m)
    axes.axhline(ring_km, color=FAINT, linewidth=0.9, zorder=1)
    owners = {(part.plane, part.slot): index for index, part in enumerate(plan.craft)}
    kept = {one.slot for one in outcome.kept if one.plane == plane}
    for slot, name in enumerate(names):
        x = float(_into(np.degrees(ring.ahead(np.array([slot]))), cut)[0])
        index = owners.get((plane, slot))
        color = ink(index) if index is not None else INK if slot in kept else QUIET
        face = PAPER if index is None and slot not in kept else color
        dot = min(7.5, 0.7 * size)
        axes.plot([x], [ring_km], "o", markersize=dot, markerfacecolor=face, markeredgecolor=color, zorder=6)
        axes.annotate(
            name,
            (x, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 5),
            textcoords="offset points",
            ha="center",
            va="bottom",
            rotation=90 if upright else 0,
            fontsize=size,
            annotation_clip=False,
        )


def _draw_spares(axes: Axes, outcome: Outcome, plane: int, cut: float, size: float) -> None:
    ring_km = 1e-3 * (outcome.ring.radius_m - outcome.scenario.body.radius_m)
    for ahead, name in waiting(outcome, plane):
        x = float(_into(np.array([math.degrees(ahead)]), cut)[0])
        axes.plot([x], [ring_km], "D", markersize=5, markerfacecolor=PAPER, markeredgecolor=INK, zorder=6)
        axes.annotate(
            name, (x, ring_km), xytext=(0, -8), textcoords="offset points", ha="center", va="top", fontsize=size
        ).set_path_effects(rim())


def _draw_path(axes: Axes, outcome: Outcome, plan: Plan, path: Path, offset: float, cut: float) -> None:
    index = plan.craft.index(path.part)
    color = ink(index)
    angle_deg, altitude_km = np.degrees(path.ahead_rad), _altitude_km(outcome, path)
    x, y = _into(angle_deg, cut), altitude_km.copy()
    # a line that leaves at one edge comes in at the other
    y[1:][np.abs(np.diff(x)) > 180.0] = np.nan
    x, y = beside(axes, x, y, offset)
    axes.plot(
        x,
        y,
        color=color,
        linewidth=fine(1.3 if path.phasing else 0.9, outcome.ring.slots),
        linestyle=stroke(index) if path.phasing else (0, (1, 1.8)),
        zorder=4 if path.phasing else 3,
    )
    begins: dict[str, Any] = {"markerfacecolor": PAPER, "markeredgecolor": color} if path.phasing else {"color": color}
    axes.plot(
        [x[0]], [y[0]], "o" if path.phasing else "s", markersize=fine(5.0, outcome.ring.slots), zorder=5, **begins
    )
    if path.phasing and path.part.phasing_period_s is not None and path.part.route != "timed":
        times = path.time_s[0] + path.part.phasing_period_s * np.arange(1, path.part.revolutions)
        times = times[times < path.time_s[-1]]
        at = _into(np.interp(times, path.time_s, angle_deg), cut)
        axes.plot(
            at,
            np.interp(times, path.time_s, altitude_km),
            ".",
            markersize=fine(4.0, outcome.ring.slots),
            color=color,
            zorder=5,
        )


def _label_axes(axes: Axes, lower: Axes | None, ring: Ring, cut: float, bands: Bands) -> None:
    from matplotlib.ticker import FuncFormatter, MaxNLocator

    foot = axes if lower is None else lower
    spacing = 360.0 / ring.slots
    # a round part of the spacing; round angles where slots are many
    step = spacing / math.ceil(spacing / 60.0)
    if ring.pattern_rad or step < 30.0 or 360.0 / step > _across_inches() / (0.45 * made_for().letters):
        step = 30.0 if _across_inches() > 6.0 * made_for().letters else 60.0
    first = math.ceil(cut / step - 1e-9) * step
    foot.set_xticks(np.arange(first, cut + 360.0 + 1e-6, step))
    foot.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x % 360.0:.4g}"))
    foot.set_xlabel("ahead of slot 0, deg")
    axes.set_ylabel("altitude, km")
    axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda y, _: plain(y, 0 if abs(y) >= 100 or y == int(y) else 1)))
    if lower is not None:
        lower.set_ylim(bands[0][0], 1.25 * bands[-1][1] if bands[-1][1] > 0.0 else -bands[0][0])
        lower.set_yticks([])
    low, high = foot.get_ylim()
    letters = made_for().letters
    foot_inches = float(foot.get_position().height * axes.figure.get_figheight())  # type: ignore[union-attr]
    for bottom, top, _, name in bands:
        tall = (min(top, high) - max(bottom, low)) / (high - low) * foot_inches
        if tall > 0.12 * letters:
            foot.annotate(
                name,
                (0.995, 0.5 * (max(bottom, low) + min(top, high))),
                xycoords=("axes fraction", "data"),
                ha="right",
                va="center",
                fontsize=type_points(7.5),
                color=QUIET,
                path_effects=rim(),
            )


def _below(outcome: Outcome, plan: Plan, plane: int, paths: list[Path]) -> str:
    text = f"Plan {plan.rank}{plane_words(outcome, plane)}, to scale in altitude. "
    text += "Slots stand still; ahead is to the right."
    if any(path.phasing for path in paths):
        text += " Open rings: burns on the way; small dots: returns to the ring."
    if any(not path.phasing for path in paths):
        text += " Dotted: the way before the first burn."
    text += spares_said(outcome, plane)
    if outcome.scenario.body.j2 and any(path.phasing for path in paths):
        text += " Orbits as around a round body; the bulge moves altitudes by some kilometers (see the sheets)."
    return text
