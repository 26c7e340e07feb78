"""What time is worth to one craft: least delta-v against allowed time, over the steps of the tangent orbits."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ...models.arrays import Array
from ...models.readouts import plain, span
from ...optimizer.rendezvous.time_price import TimePrice
from .labels import Label, place
from .style import INK, QUIET, SHADE, inches, ink, sheet
from .time_ticks import set_time_ticks

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_TALLEST = 3.2  # the picture ends at so many times the middle cost: the first times would press all others flat
_SAVING = 0.04  # share of the tangent orbit's cost from which a saving is worth a label


def draw_time_price(price: TimePrice, name: str, index: int = 0) -> Figure:
    """Draw the price of time of one craft, in the color of its place in the plan.

    The steps are the tangent phasing orbits: each new one costs less and ends later. Under them runs the best flight of
    any number of burns that was found, thick where it takes more than two; the shade between is what it saves.

    Raises:
        ValueError: no flight at all in the allowed times.
    """
    best, tangent = price.delta_v_m_s, price.tangent_m_s
    flown = np.isfinite(best)
    if not flown.any():
        raise ValueError("a price of time without a flight cannot be drawn")
    figure, axes = sheet(8.4, inches(4.4), f"{name}: what time is worth", _below(price), margins=(0.9, 0.45, 0.78))
    turns = price.allowed_s
    high = min(float(np.max(best[flown])), _TALLEST * float(np.median(best[flown]))) * 1.06
    axes.set_ylim(0.0, high)
    axes.set_xlim(float(turns[0]), float(turns[-1]))
    # steps as they are flown: level until the moment at which the next orbit ends
    times, steps, least = _lines(price)
    begun = np.isfinite(steps)
    top = np.minimum(np.where(begun, steps, high), high)
    under = np.minimum(np.where(np.isfinite(least), least, high), high)
    axes.fill_between(times, under, top, where=begun.tolist(), color=SHADE, linewidth=0, zorder=0)
    axes.plot(times, np.where(begun, steps, 10.0 * high), color=QUIET, linewidth=1.0, zorder=2)
    axes.plot(times, least, color=INK, linewidth=1.1, zorder=3)
    many = np.array([one is not None and len(one.burns) > 2 for one in price.best])
    axes.plot(turns, np.where(many, best, np.nan), color=ink(index), linewidth=2.6, zorder=4)
    place(axes, [*_saving(axes, turns, best, tangent, high), *_labels(price, turns, high, ink(index))])
    axes.set_xlabel(f"allowed time; the ring turns once in {span(price.ring_period_s)}")
    axes.set_ylabel("delta-v, m/s")
    set_time_ticks(axes)
    axes.yaxis.set_major_formatter(lambda value, _: plain(value, 0))
    return figure


def _lines(price: TimePrice) -> tuple[Array, Array, Array]:
    """Times, the steps of the tangent orbits and the best flight, (n,): each step stands where its orbit ends.

    Between the allowed times the best flight is drawn straight, and never dearer than the tangent orbit that has ended.
    """
    turns, best = price.allowed_s, price.delta_v_m_s
    ends = price.step_ends_s[(price.step_ends_s > turns[0]) & (price.step_ends_s < turns[-1])]
    times = np.sort(np.concatenate([turns, np.repeat(ends, 2)]))
    # of the two points at an end the first still has the step before
    second = np.concatenate([[True], times[1:] == times[:-1]]) | ~np.isin(times, ends)
    done = np.where(
        second,
        np.searchsorted(price.step_ends_s, times, side="right"),
        np.searchsorted(price.step_ends_s, times, side="left"),
    )
    steps = np.append(np.inf, price.step_costs_m_s)[done]
    flown = np.isfinite(best)
    least = np.minimum(np.interp(times, turns[flown], best[flown], left=np.inf), steps)
    return times, steps, np.where(np.isfinite(least), least, np.nan)


def _below(price: TimePrice) -> str:
    lead = math.degrees(price.slot_lead_rad)
    where = "ahead" if lead > 0.0 else "behind"
    limits = []
    if price.floor_m > 0.0:
        limits.append(f"never lower than {plain(price.floor_m / 1000.0, 0)} km from the center")
    if math.isfinite(price.ceiling_m):
        limits.append(f"never higher than {plain(price.ceiling_m / 1000.0, 0)} km")
    kept = " and ".join(limits) if limits else "no floor"
    return (
        f"The slot is {plain(abs(lead), 1)} deg {where} on a ring of {plain(price.ring_radius_m / 1000.0, 0)} km "
        f"radius; {kept}. Impulsive burns, two-body gravity. Best flight: thick where it takes three or four "
        "burns, thin where two do; it is the best found, not proved best. Shaded: what it saves."
    )


def _labels(price: TimePrice, turns: Array, high: float, color: str) -> list[Label]:
    """Name each line where the two are farthest apart, in the first nine tenths."""
    best, tangent = price.delta_v_m_s, price.tangent_m_s
    inside = (tangent < 0.97 * high) & np.isfinite(best) & (turns < turns[0] + 0.9 * (turns[-1] - turns[0]))
    if not inside.any():
        return []
    top = int(np.argmax(np.where(inside, tangent - best, -np.inf)))
    # the best flight where it is thick, away from the arrow of what it saves
    bold = np.where(inside & (np.arange(len(turns)) > top + 2), tangent - best, -np.inf)
    spot = int(np.argmax(bold)) if np.isfinite(bold).any() else top
    return [
        Label(at=(turns[top], tangent[top]), text="tangent orbits", color=QUIET, needed=True),
        Label(at=(turns[spot], best[spot]), text="best flight", color=color, needed=True),
    ]


def _saving(axes: Axes, turns: Array, best: Array, tangent: Array, high: float) -> list[Label]:
    """Mark the largest saving against the tangent orbits with an arrow; its label."""
    drawn = np.isfinite(best) & (tangent < high)
    gain = np.where(drawn, tangent - best, 0.0)
    top = int(np.argmax(gain))
    if not drawn.any() or gain[top] < _SAVING * tangent[top]:
        return []
    axes.annotate(
        "",
        (turns[top], best[top]),
        xytext=(turns[top], tangent[top]),
        arrowprops={"arrowstyle": "->", "color": INK, "linewidth": 0.9, "shrinkA": 0.0, "shrinkB": 1.5},
        zorder=5,
    )
    text = f"saves {plain(100.0 * gain[top] / tangent[top], 0)} %"
    return [Label(at=(turns[top], tangent[top] - 0.35 * gain[top]), text=text, needed=True)]
