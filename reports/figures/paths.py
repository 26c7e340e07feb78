"""Each craft's path past the slots, and parallel tracks for paths that coincide."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from ...models.arrays import Array
from ...models.ring import Ring
from ...optimizer.craft_plan import CraftPlan
from ...optimizer.outcome import Outcome, Plan
from .arcs import Arc
from .ways import drawn_ways

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ALIKE = 0.004
"""Paths whose apsides differ by less than this share of the picture's altitudes coincide."""

APART_POINTS = 2.2
"""Between parallel tracks."""


@dataclass(frozen=True, kw_only=True)
class Path:
    """A stretch of a craft's way, as far as it is drawn: moments, s, and angle ahead of slot 0, rad, not wrapped, and
    distance from the center, m, all (n,)."""

    part: CraftPlan
    arc: Arc
    time_s: Array
    ahead_rad: Array
    radius_m: Array

    @property
    def phasing(self) -> bool:
        """Between the first burn and the last."""
        return self.arc.stage == "phasing"


def ring_paths(outcome: Outcome, plan: Plan, plane: int) -> list[Path]:
    """The paths of a plan's craft in one plane, up to their slots; of a long wait only the last turn."""
    ring = outcome.ring
    found = []
    for part, arcs in drawn_ways(outcome, plan, plane):
        for arc in arcs:
            if arc.stage == "slot":
                continue
            # earlier turns of a wait would cover everything
            since = arc.time_s[0] if arc.stage == "phasing" else arc.time_s[-1] - min(ring.period_s, _turn_s(ring, arc))
            shown = arc.time_s >= since
            ahead = arc.angle_rad - ring.rate_rad_s * arc.time_s - float(ring.phase(0.0, 0, plane))
            found.append(
                Path(
                    part=part,
                    arc=arc,
                    time_s=arc.time_s[shown],
                    ahead_rad=ahead[shown],
                    radius_m=arc.radius_m[shown],
                )
            )
    return found


def _turn_s(ring: Ring, arc: Arc) -> float:
    return float(ring.period_s * (0.5 * (arc.periapsis_m + arc.apoapsis_m) / ring.radius_m) ** 1.5)


def tracks(paths: list[Path], tall_m: float) -> list[float]:
    """How far from its true place each path is drawn, points: apart from those that it coincides with.

    Args:
        tall_m: altitudes that the picture spans.
    """
    taken: list[int] = []
    for number, path in enumerate(paths):
        beside = {
            track
            for other, track in zip(paths[:number], taken, strict=True)
            if path.phasing
            and other.phasing
            and other.part.craft != path.part.craft
            and _coincide(path, other, ALIKE * tall_m)
        }
        taken.append(next(track for track in range(len(paths) + 1) if track not in beside))
    # 0, then to either side in turn
    return [APART_POINTS * ((track + 1) // 2) * (1 if track % 2 else -1) for track in taken]


def _coincide(one: Path, other: Path, limit_m: float) -> bool:
    alike = abs(one.arc.periapsis_m - other.arc.periapsis_m) < limit_m
    alike = alike and abs(one.arc.apoapsis_m - other.arc.apoapsis_m) < limit_m
    (a, b), (c, d) = ((float(p.ahead_rad.min()), float(p.ahead_rad.max())) for p in (one, other))
    turn = 2.0 * np.pi
    shift = turn * round((0.5 * (a + b) - 0.5 * (c + d)) / turn)
    return alike and a < d + shift and c + shift < b


def beside(axes: Axes, x: Array, y: Array, offset: float) -> tuple[Array, Array]:
    """A line moved to its left on the paper by so many points; the limits of the axes must stand.

    Args:
        x, y: of the line, data, (n,); a gap is NaN.
    """
    if offset == 0.0 or len(x) < 3:
        return x, y
    figure: Any = axes.get_figure(root=True)
    places = axes.transData.transform(np.column_stack([x, y]))
    along = np.gradient(places, axis=0)
    size = np.hypot(along[:, 0], along[:, 1])
    normal = np.column_stack([-along[:, 1], along[:, 0]]) / np.where(size > 0.0, size, 1.0)[:, None]
    moved = axes.transData.inverted().transform(places + offset * figure.dpi / 72.0 * normal)
    return moved[:, 0], moved[:, 1]
