"""The unrolled ring: angle from slot 0 across, altitude up, to scale, with each craft's path among the slots.

Slots stand still on the line of the ring; ahead is to the right. A craft below the ring moves to the right, one above
it to the left. Air and floor are bands; where they lie far below every path they stand on a broken axis.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from ...models.arrays import Array
from ...models.readouts import plain
from ...models.ring import Ring
from ...optimizer.outcome import CraftPlan, Outcome, Plan
from .arcs import Arc
from .style import FAINT, GROUND, INK, PAPER, QUIET, SHADE, ink, rim, sheet, stroke
from .ways import drawn_plane, drawn_ways, plane_words, slot_names, titled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.transforms import Transform

WIDTH, PICTURE, STRIP, GAP = 9.0, 4.3, 0.75, 0.16
"""Inches: of the sheet, of the picture, of the strip with air and floor under a broken axis, and between the two."""

NEAR = 1.6
"""Air and floor stand on the same axis where that makes it no more than this many times as long."""

ALIKE = 0.004
"""Paths whose apsides differ by less than this share of the picture coincide, and are drawn as parallel tracks."""

APART_POINTS = 2.4
"""Between parallel tracks."""

LETTER = 0.075
"""Width of a letter of a label, inches."""


Bands = list[tuple[float, float, str, str]]
"""Altitudes from and to, km, color and name of each band, from below."""


@dataclass(frozen=True, kw_only=True)
class _Path:
    """A stretch of a craft's way: angle ahead of slot 0, deg, not wrapped, and altitude, km, both (n,)."""

    part: CraftPlan
    arc: Arc
    angle_deg: Array
    altitude_km: Array

    @property
    def phasing(self) -> bool:
        return self.arc.stage == "phasing"


def draw_unrolled_ring(outcome: Outcome, plan: Plan | None = None, plane: int | None = None) -> Figure:
    """Draw every craft's way to its slot on the ring laid out flat.

    Args:
        outcome: one with plans.
        plan: which one; rank 1 when absent.
        plane: of the ring; that of the first craft when absent.
    """
    plan = plan or min(outcome.plans, key=lambda plan: plan.rank)
    plane = drawn_plane(plan) if plane is None else plane
    paths = _paths(outcome, plan, plane)
    low, high = _span_km(outcome, paths)
    bands = _bands_km(outcome)
    together = high - min(low, bands[0][0]) <= NEAR * (high - low)
    if together and bands[-1][1] > low:
        low = min(low, bands[0][0])
        bands[0] = (low, *bands[0][1:])
    names = slot_names(outcome, plan, plane)
    upright = _upright(outcome.ring, names)
    room = 0.08 + (LETTER * max(map(len, names)) if upright else 0.12)
    title = titled(outcome, plan, "the unrolled ring")
    strip = 0.0 if together else STRIP + GAP
    figure, axes = sheet(
        WIDTH, PICTURE + strip + room, title, _below(outcome, plan, plane, paths), margins=(0.85, 0.3, 0.62)
    )
    lower = None if together else _broken(figure, axes, room)
    if together:
        _shrink(figure, axes, 0.0, room)
    cut = _cut_deg(outcome.ring, paths)
    axes.set_xlim(cut, cut + 360.0)
    axes.set_ylim(low, high)
    for one in (axes,) if lower is None else (axes, lower):
        _draw_bands(one, bands)
    _draw_ring(axes, outcome, plan, plane, cut, names, upright=upright)
    tracks = _tracks(paths, high - low)
    for path, track in zip(paths, tracks, strict=True):
        _draw_path(axes, outcome.ring, plan, path, track, cut)
    _label_axes(axes, lower, outcome.ring, cut, bands)
    return figure


def _paths(outcome: Outcome, plan: Plan, plane: int) -> list[_Path]:
    ring, surface = outcome.ring, outcome.scenario.body.radius_m
    found = []
    for part, arcs in drawn_ways(outcome, plan, plane):
        for arc in arcs:
            if arc.stage == "slot":
                continue
            # of a long wait only the last turn: earlier ones would cover everything
            since = arc.time_s[0] if arc.stage == "phasing" else arc.time_s[-1] - min(ring.period_s, _turn_s(ring, arc))
            shown = arc.time_s >= since
            ahead = arc.angle_rad - ring.rate_rad_s * arc.time_s - float(ring.phase(0.0, 0, plane))
            found.append(
                _Path(
                    part=part,
                    arc=arc,
                    angle_deg=np.degrees(ahead[shown]),
                    altitude_km=1e-3 * (arc.radius_m[shown] - surface),
                )
            )
    return found


def _turn_s(ring: Ring, arc: Arc) -> float:
    return float(ring.period_s * (0.5 * (arc.periapsis_m + arc.apoapsis_m) / ring.radius_m) ** 1.5)


def _span_km(outcome: Outcome, paths: list[_Path]) -> tuple[float, float]:
    ring_km = 1e-3 * (outcome.ring.radius_m - outcome.scenario.body.radius_m)
    low = min([ring_km, *(float(path.altitude_km.min()) for path in paths)])
    high = max([ring_km, *(float(path.altitude_km.max()) for path in paths)])
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
    return max(map(len, names)) * LETTER > 0.92 * (WIDTH - 1.15) / ring.slots


def _shrink(figure: Figure, axes: Axes, below: float, above: float) -> None:
    """Take so many inches off an axes at its foot and at its head."""
    box, tall = axes.get_position(), figure.get_size_inches()[1]
    axes.set_position((box.x0, box.y0 + below / tall, box.width, box.height - (below + above) / tall))


def _broken(figure: Figure, axes: Axes, room: float) -> Axes:
    """Part a strip for air and floor from the foot of the picture, and mark the break."""
    box, tall = axes.get_position(), figure.get_size_inches()[1]
    _shrink(figure, axes, STRIP + GAP, room)
    lower = figure.add_axes((box.x0, box.y0, box.width, STRIP / tall), sharex=axes)
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


def _cut_deg(ring: Ring, paths: list[_Path]) -> float:
    """Where the ring is cut open: midway between two slots, where the fewest paths pass."""
    spacing = 360.0 / ring.slots
    best, fewest = -0.5 * spacing, math.inf
    for slot in range(ring.slots):
        cut = (slot - 0.5) * spacing
        passed = sum(int(np.abs(np.diff(np.floor((path.angle_deg - cut) / 360.0))).sum()) for path in paths)
        if passed < fewest:
            best, fewest = cut, passed
    return best if best <= 180.0 else best - 360.0


def _into(angle_deg: Array, cut: float) -> Array:
    return np.asarray(cut + np.mod(angle_deg - cut, 360.0))


def _draw_ring(
    axes: Axes, outcome: Outcome, plan: Plan, plane: int, cut: float, names: list[str], *, upright: bool
) -> None:
    ring = outcome.ring
    ring_km = 1e-3 * (ring.radius_m - outcome.scenario.body.radius_m)
    axes.axhline(ring_km, color=FAINT, linewidth=0.9, zorder=1)
    owners = {(part.plane, part.slot): index for index, part in enumerate(plan.craft)}
    kept = {one.slot for one in outcome.kept if one.plane == plane}
    for slot, name in enumerate(names):
        x = float(_into(np.array([slot * 360.0 / ring.slots]), cut)[0])
        index = owners.get((plane, slot))
        color = ink(index) if index is not None else INK if slot in kept else QUIET
        face = PAPER if index is None and slot not in kept else color
        size = 7.5 if ring.slots <= 24 else 4.5
        axes.plot([x], [ring_km], "o", markersize=size, markerfacecolor=face, markeredgecolor=color, zorder=6)
        axes.annotate(
            name,
            (x, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 5),
            textcoords="offset points",
            ha="center",
            va="bottom",
            rotation=90 if upright else 0,
            fontsize=9 if ring.slots <= 24 else 7,
            color=color,
            annotation_clip=False,
        )


def _tracks(paths: list[_Path], tall_km: float) -> list[int]:
    """Which parallel track each path takes: 0, or the first that no path like it takes where both run."""
    tracks: list[int] = []
    for number, path in enumerate(paths):
        beside = {
            track
            for other, track in zip(paths[:number], tracks, strict=True)
            if path.phasing
            and other.phasing
            and other.part.craft != path.part.craft
            and _coincide(path, other, tall_km)
        }
        tracks.append(next(track for track in range(len(paths) + 1) if track not in beside))
    return tracks


def _coincide(one: _Path, other: _Path, tall_km: float) -> bool:
    limit_m = 1e3 * ALIKE * tall_km
    alike = abs(one.arc.periapsis_m - other.arc.periapsis_m) < limit_m
    alike = alike and abs(one.arc.apoapsis_m - other.arc.apoapsis_m) < limit_m
    (a, b), (c, d) = ((float(p.angle_deg.min()), float(p.angle_deg.max())) for p in (one, other))
    shift = 360.0 * round((0.5 * (a + b) - 0.5 * (c + d)) / 360.0)
    return alike and a < d + shift and c + shift < b


def _draw_path(axes: Axes, ring: Ring, plan: Plan, path: _Path, track: int, cut: float) -> None:
    index = plan.craft.index(path.part)
    color = ink(index)
    where: Transform = axes.transData
    if track:
        from matplotlib.transforms import ScaledTranslation

        figure: Any = axes.figure
        where = where + ScaledTranslation(0.0, -APART_POINTS * track / 72.0, figure.dpi_scale_trans)
    x, y = _into(path.angle_deg, cut), path.altitude_km.copy()
    # a line that leaves at one edge comes in at the other
    y[1:][np.abs(np.diff(x)) > 180.0] = np.nan
    axes.plot(
        x,
        y,
        color=color,
        transform=where,
        linewidth=1.3 if path.phasing else 0.9,
        linestyle=stroke(index) if path.phasing else (0, (1, 1.8)),
        zorder=4 if path.phasing else 3,
    )
    begins = {"markerfacecolor": PAPER, "markeredgecolor": color} if path.phasing else {"color": color}
    axes.plot([x[0]], [path.altitude_km[0]], "o" if path.phasing else "s", markersize=5.0, zorder=5, **begins)  # type: ignore[arg-type]
    if path.phasing and path.part.phasing_period_s is not None and path.part.route != "timed":
        begin_s = path.arc.time_s[0]
        times = begin_s + path.part.phasing_period_s * np.arange(1, path.part.revolutions)
        times = times[times < path.arc.time_s[-1]]
        at = _into(np.interp(times, path.arc.time_s, path.angle_deg), cut)
        axes.plot(at, np.interp(times, path.arc.time_s, path.altitude_km), ".", markersize=4.0, color=color, zorder=5)


def _label_axes(axes: Axes, lower: Axes | None, ring: Ring, cut: float, bands: Bands) -> None:
    from matplotlib.ticker import FuncFormatter, MaxNLocator

    foot = axes if lower is None else lower
    step = 360.0 / ring.slots * max(1, math.ceil(ring.slots / 12))
    first = math.ceil(cut / step - 1e-9) * step
    foot.set_xticks(np.arange(first, cut + 360.0 + 1e-6, step))
    foot.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x % 360.0:.4g}"))
    foot.set_xlabel("ahead of slot 0, deg")
    axes.set_ylabel("altitude, km")
    axes.yaxis.set_major_locator(MaxNLocator(6))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda y, _: plain(y, 0 if abs(y) >= 100 or y == int(y) else 1)))
    if lower is not None:
        lower.set_ylim(bands[0][0], 1.25 * bands[-1][1] if bands[-1][1] > 0.0 else -bands[0][0])
        lower.set_yticks([])
    low, high = foot.get_ylim()
    for bottom, top, _, name in bands:
        inches = (min(top, high) - max(bottom, low)) / (high - low) * (PICTURE if lower is None else STRIP)
        if inches > 0.1:
            foot.annotate(
                name,
                (0.995, 0.5 * (max(bottom, low) + min(top, high))),
                xycoords=("axes fraction", "data"),
                ha="right",
                va="center",
                fontsize=7.5,
                color=QUIET,
                path_effects=rim(),
            )


def _below(outcome: Outcome, plan: Plan, plane: int, paths: list[_Path]) -> str:
    text = f"Plan {plan.rank}{plane_words(outcome, plane)}, to scale in altitude. "
    text += "Slots stand still; ahead is to the right."
    if any(path.phasing for path in paths):
        text += " Open rings: where a craft begins to phase; small dots: its returns to the ring."
    if any(not path.phasing for path in paths):
        text += " Dotted: the way before the first burn."
    return text
