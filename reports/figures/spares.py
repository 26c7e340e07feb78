"""Spares in the pictures that turn with the ring: those that wait in the ring itself; the others are named below."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from ...models.readouts import plain
from ...models.ring import TURN_RAD
from ...models.spares import Spare
from ...optimizer.outcome import Outcome
from ..wording import listed
from .style import INK, PAPER, label, type_points

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_NAME, _MARK = 9.5, 5.0  # points: of the name of a spare, of the mark where it waits


def _in_plane(outcome: Outcome, plane: int) -> list[Spare]:
    return [one for one in outcome.scenario.spares if one.plane == plane]


def waiting(outcome: Outcome, plane: int) -> list[tuple[float, str]]:
    """Each spare of a plane that waits in the ring: how far ahead of slot 0, rad, and its name."""
    ring = outcome.ring
    found = []
    for one in _in_plane(outcome, plane):
        if one.radius_m is not None:
            continue
        if one.after_slot is not None:
            angle = ring.midway(one.after_slot) - float(ring.phase(0.0, 0, 0))
        else:
            assert one.angle_rad is not None
            angle = one.angle_rad - float(ring.phase(0.0, 0, plane))
        found.append((angle % TURN_RAD, f"{one.craft.name} (spare)"))
    return found


def spares_said(outcome: Outcome, plane: int) -> str:
    """What the heading says of spares, after a space: the mark, and who waits off the ring; empty without spares."""
    names = [name.removesuffix(" (spare)") for _, name in waiting(outcome, plane)]
    said = f" Diamonds: spares ({listed(names)})." if names else ""
    off = []
    for one in _in_plane(outcome, plane):
        if one.radius_m is not None:
            height_km = 1e-3 * (one.radius_m - outcome.ring.radius_m)
            side = "above" if height_km > 0.0 else "below"
            off.append(f"{one.craft.name}, a spare {plain(abs(height_km), 0)} km {side} the ring")
    return said + (f" Not drawn: {listed(off)}." if off else "")


def mark_spares(axes: Axes, outcome: Outcome, plane: int) -> None:
    """Mark the spares that wait in the ring in a round picture with slot 0 on top, and name them inside the ring."""
    for ahead, name in waiting(outcome, plane):
        x, y = math.cos(0.5 * math.pi + ahead), math.sin(0.5 * math.pi + ahead)
        axes.plot([x], [y], "D", markersize=_MARK, markerfacecolor=PAPER, markeredgecolor=INK, zorder=6)
        side = "right" if x > 0.3 else "left" if x < -0.3 else "center"
        above = "top" if y > 0.3 else "bottom" if y < -0.3 else "center"
        label(axes, name, (x, y), (-9.0 * x, -9.0 * y), type_points(_NAME), ha=side, va=above, color=INK, zorder=7)
