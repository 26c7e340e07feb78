"""The spacing of a ring over years by the forces it was flown under, without trims and with them."""

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

YEAR_S = 365.25 * 86_400.0
_ROOM = 1.5  # height of the picture over the tolerance: what has left is of no more interest
_LABELED = 1.38  # names stand below the edge
_NAMED = 6  # of more craft than this only the one that leaves first is named


def draw_spacing(outcome: Outcome, hold: ForcedHold) -> Figure:
    """Draw each craft's error in the spacing against years: thin without another burn, thick with the trims.

    The shade is the tolerance. Lines end where a craft comes down, and those with trims where orbits are no circles.
    """
    assert outcome.under is not None
    tolerance = math.degrees(outcome.scenario.ring.tolerance_rad)
    title = f"{outcome.scenario.title}: spacing over the years"
    figure, axes = sheet(8.4, inches(4.0), title, _below(outcome, hold), margins=(0.9, 1.15, 0.6))
    years = (hold.times_s - hold.begin_s) / YEAR_S
    kept = (hold.kept_times_s - hold.begin_s) / YEAR_S
    axes.axhspan(-tolerance, tolerance, color=SHADE, linewidth=0, zorder=0)
    axes.axhline(0.0, color=QUIET, linewidth=0.6, zorder=1)
    few = len(hold.names) <= _NAMED
    for k, name in enumerate(hold.names):
        shown = few or name == hold.craft
        color = ink(k) if few else (INK if shown else QUIET)
        bare, left = np.degrees(hold.spacing_rad[:, k]), np.degrees(hold.kept_rad[:, k])
        axes.plot(years, bare, color=color, linewidth=0.8, zorder=3 if shown else 2)
        if few and kept.size > 1:
            axes.plot(kept, left, color=color, linewidth=2.2, alpha=0.55, solid_capstyle="round", zorder=2)
        if shown:
            last = _last_shown(bare, _ROOM * tolerance)
            axes.annotate(
                name,
                (float(years[last]), float(np.clip(bare[last], -_LABELED * tolerance, _LABELED * tolerance))),
                xytext=(4, 0),
                textcoords="offset points",
                fontsize=type_points(9),
                color=color,
                va="center",
                path_effects=rim(),
                annotation_clip=False,
                zorder=5,
            )
    axes.set_xlim(0.0, float(max(years[-1], 1e-3)))
    axes.set_ylim(-_ROOM * tolerance, _ROOM * tolerance)
    axes.set_xlabel("years from the end of the plan")
    axes.set_ylabel("error in the spacing, deg")
    axes.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:g}".replace("-", "\N{MINUS SIGN}"))
    return figure


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
    else:
        said += " Thick: with drag made up for." if hold.make_up_m_s_year > 0.0 else " No trim is needed."
    return said
