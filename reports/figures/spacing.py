"""The spacing of a ring with time by the forces it was flown under, without trims and with them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ...models.arrays import Array
from ...models.readouts import plain
from ...optimizer.outcome import Outcome
from ...optimizer.standing import ForcedHold
from ..wording import listed
from .style import INK, QUIET, SHADE, inches, ink, rim, sheet, type_points

if TYPE_CHECKING:
    from matplotlib.figure import Figure

DAY_S = 86_400.0
YEAR_S = 365.25 * DAY_S
_ROOM = 1.5  # height of the picture over the tolerance: what has left is of no more interest
_LABELED = 1.38  # names stand below the edge
_TRIMS = 12  # of the craft with most trims no more are drawn, so that each can be seen
_APART = 0.17, 0.1  # names nearer than this, in tolerances and in widths of the picture, are moved apart
_NAMED = 6  # of more craft than this only the one that leaves first is named


def draw_spacing(outcome: Outcome, hold: ForcedHold) -> Figure:
    """Draw each craft's error in the spacing against time: thin without another burn, thick with the trims.

    The shade is the tolerance. Lines end where a craft comes down, and those with trims where orbits are no circles.
    """
    assert outcome.under is not None
    tolerance = math.degrees(outcome.scenario.ring.tolerance_rad)
    title = f"{outcome.scenario.title}: spacing with time"
    figure, axes = sheet(8.4, inches(4.0), title, _below(outcome, hold), margins=(0.9, 1.15, 0.6))
    unit, unit_s = ("years", YEAR_S) if _drawn_s(hold) >= YEAR_S else ("days", DAY_S)
    since = (hold.times_s - hold.begin_s) / unit_s
    kept = (hold.kept_times_s - hold.begin_s) / unit_s
    axes.axhspan(-tolerance, tolerance, color=SHADE, linewidth=0, zorder=0)
    axes.axhline(0.0, color=QUIET, linewidth=0.6, zorder=1)
    few = len(hold.names) <= _NAMED
    end = _drawn_s(hold) / unit_s
    named: list[tuple[float, float]] = []
    for k, name in enumerate(hold.names):
        shown = few or name == hold.craft
        color = ink(k) if few else (INK if shown else QUIET)
        bare, left = np.degrees(hold.spacing_rad[:, k]), np.degrees(hold.kept_rad[:, k])
        axes.plot(since, bare, color=color, linewidth=0.8, zorder=3 if shown else 2)
        if few and kept.size > 1:
            axes.plot(kept, left, color=color, linewidth=2.2, alpha=0.55, solid_capstyle="round", zorder=2)
        if shown:
            last = _last_shown(bare[since <= max(end, float(since[0]))], _ROOM * tolerance)
            place = float(since[last]), float(np.clip(bare[last], -_LABELED * tolerance, _LABELED * tolerance))
            named.append(_apart(place, named, end, tolerance))
            axes.annotate(
                name,
                named[-1],
                xytext=(4, 0),
                textcoords="offset points",
                fontsize=type_points(9),
                color=color,
                va="center",
                path_effects=rim(),
                annotation_clip=False,
                zorder=5,
            )
    axes.set_xlim(0.0, max(end, 1e-3))
    axes.set_ylim(-_ROOM * tolerance, _ROOM * tolerance)
    axes.set_xlabel(f"{unit} from the end of the plan")
    axes.set_ylabel("error in the spacing, deg")
    axes.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:g}".replace("-", "\N{MINUS SIGN}"))
    return figure


def _drawn_s(hold: ForcedHold) -> float:
    """How long is drawn, s: all that was looked at, or `_TRIMS` trims of the craft that has most."""
    dates = [sorted(one.time_s for one in hold.trims if one.craft == name) for name in hold.names]
    most = max(dates, key=len)
    whole = float(hold.times_s[-1]) - hold.begin_s
    return min(whole, most[_TRIMS] - hold.begin_s) if len(most) > _TRIMS else whole


def _apart(
    place: tuple[float, float], others: list[tuple[float, float]], width: float, tolerance: float
) -> tuple[float, float]:
    """A place for a name that is on none of the others, toward the middle."""
    x, y = place
    high, wide = _APART[0] * tolerance, _APART[1] * width
    step = -math.copysign(high, y)
    while any(abs(x - a) < wide and abs(y - b) < 0.99 * high for a, b in others):
        y += step
    return x, y


def _last_shown(bare: Array, room: float) -> int:
    """Where a line leaves the picture, or ends."""
    out = np.flatnonzero(np.abs(bare) > room)
    return int(out[0]) if out.size else bare.size - 1


def _below(outcome: Outcome, hold: ForcedHold) -> str:
    assert outcome.under is not None
    tolerance = plain(math.degrees(outcome.scenario.ring.tolerance_rad), 2)
    said = (
        f"By {listed(list(outcome.under.chosen.flown))}; mean orbits by averaged equations. "
        f"Thin: without another burn. Shaded: the tolerance of {tolerance} deg."
    )
    if hold.trims:
        count = len(hold.trims)
        said += f" Thick: with {count} trim{'s' if count > 1 else ''} of all craft together, by this forecast."
        if _drawn_s(hold) < 0.99 * (float(hold.times_s[-1]) - hold.begin_s):
            said += f" The first {plain(_drawn_s(hold) / DAY_S, 0)} d are drawn."
    else:
        said += " Thick: with drag made up for." if hold.make_up_m_s_year > 0.0 else " No trim is needed."
    return said
