"""The spacing of a ring with time by the forces it was flown under, without trims and with them."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from ...models.arrays import Array
from ...models.readouts import plain
from ...models.units import DAY_S, YEAR_S
from ...optimizer.outcome import Outcome
from ...optimizer.standing import ForcedHold
from ..hold import is_alone
from ..wording import count, listed
from .style import INK, QUIET, SHADE, inches, ink, label, sheet, type_points

if TYPE_CHECKING:
    from matplotlib.figure import Figure

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
    alone = is_alone(outcome, hold)
    title = f"{outcome.scenario.title}: {'place against the slot' if alone else 'spacing'} with time"
    figure, axes = sheet(8.4, inches(4.0), title, _below(outcome, hold), margins=(0.9, 1.15, 0.6))
    unit, unit_s = ("years", YEAR_S) if _drawn_s(hold) >= YEAR_S else ("days", DAY_S)
    since = (hold.times_s - hold.begin_s) / unit_s
    kept = (hold.kept_times_s - hold.begin_s) / unit_s
    axes.axhspan(-tolerance, tolerance, color=SHADE, linewidth=0, zorder=0)
    axes.axhline(0.0, color=QUIET, linewidth=0.6, zorder=1)
    few = len(hold.names) <= _NAMED
    end = _drawn_s(hold) / unit_s
    named: list[tuple[str, str, float, float]] = []
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
            named.append((name, color, *place))
    for (name, color, *_), (x, y, side) in zip(
        named, names_apart([one[2:] for one in named], end, tolerance), strict=True
    ):
        away = (4 if side == "left" else -12, 0)
        stands: dict[str, Any] = {"ha": side, "va": "center", "annotation_clip": False}
        label(axes, name, (x, y), away, type_points(9), color=color, zorder=5, **stands)
    axes.set_xlim(0.0, max(end, 1e-3))
    axes.set_ylim(-_ROOM * tolerance, _ROOM * tolerance)
    axes.set_xlabel(f"{unit} from the end of the plan")
    axes.set_ylabel("error against the slot, deg" if alone else "error in the spacing, deg")
    axes.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:g}".replace("-", "\N{MINUS SIGN}"))
    return figure


def _drawn_s(hold: ForcedHold) -> float:
    """How long is drawn, s: all that was looked at, or `_TRIMS` trims of the craft that has most."""
    dates = [sorted(one.time_s for one in hold.trims if one.craft == name) for name in hold.names]
    most = max(dates, key=len)
    whole = float(hold.times_s[-1]) - hold.begin_s
    return min(whole, most[_TRIMS] - hold.begin_s) if len(most) > _TRIMS else whole


def names_apart(
    ends: list[tuple[float, float]], width: float, tolerance: float
) -> list[tuple[float, float, Literal["left", "right"]]]:
    """Places for names at the ends of lines, none on another, in the order of the lines; which side of each is there.

    Of several lines that leave the picture near one another the first has its name before it, the others behind the
    last, one above the other.

    Args:
        ends: time in units of the picture and error in deg at which each line ends.
        width: end of the time axis; tolerance: deg.

    Returns:
        For each name its time, its error, and whether it begins ("left") or ends ("right") there.
    """
    high, wide = _APART[0] * tolerance, _APART[1] * width
    found: list[tuple[float, float, Literal["left", "right"]]] = [(x, y, "left") for x, y in ends]
    order = sorted(range(len(ends)), key=lambda i: (ends[i][0] < width - wide, ends[i][1] > 0.0, ends[i][0]))
    leaving = [i for i in order if ends[i][0] < width - wide]
    for group in _groups(leaving, lambda i, j: ends[j][0] - ends[i][0] < wide and ends[i][1] * ends[j][1] > 0.0):
        for place, i in enumerate(reversed(group)):
            x, y = ends[group[-1]]
            found[i] = (x, y - math.copysign(place * high, y), "left")
        if len(group) > 1:
            found[group[0]] = (*ends[group[0]], "right")
    staying = sorted((i for i in order if i not in leaving), key=lambda i: ends[i][1])
    heights = [ends[i][1] for i in staying]
    for _ in range(4 * len(staying)):
        # names that are too near are spread about their middle, until none is
        for group in _groups(list(range(len(staying))), lambda i, j: heights[j] - heights[i] < 0.99 * high):
            middle = math.fsum(heights[i] for i in group) / len(group)
            for place, i in enumerate(group):
                heights[i] = middle + (place - 0.5 * (len(group) - 1)) * high
    for i, y in zip(staying, heights, strict=True):
        found[i] = (ends[i][0], y, "left")
    return found


def _groups(ordered: list[int], near: Callable[[int, int], bool]) -> list[list[int]]:
    """What is next to one another and near, in groups."""
    groups: list[list[int]] = []
    for one in ordered:
        if groups and near(groups[-1][-1], one):
            groups[-1].append(one)
        else:
            groups.append([one])
    return groups


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
        said += f" Thick: with {count(len(hold.trims), 'trim')} of all craft together, by this forecast."
        if _drawn_s(hold) < 0.99 * (float(hold.times_s[-1]) - hold.begin_s):
            said += f" The first {plain(_drawn_s(hold) / DAY_S, 0)} d are drawn."
    else:
        said += " Thick: with drag made up for." if hold.make_up_m_s_year > 0.0 else " No trim is needed."
    return said
