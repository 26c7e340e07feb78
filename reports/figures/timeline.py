"""The timeline: one lane a craft, from liftoff or first touch of the ring to its slot, on an absolute time axis.

Where nothing happens for long, the axis is cut, and every cut says how much time it leaves out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Literal

from ...models.readouts import instant, plain, span
from ...optimizer.craft_plan import CraftPlan
from ...optimizer.outcome import Outcome, Plan
from ..safe_text import spelled
from ..terminal import minute
from ..wording import count, gained_rad, waits_at_home
from .style import FAINT, INK, PAPER, QUIET, ink, letters, made_for, rim, sheet, type_points
from .time_ticks import time_words
from .ways import titled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_CUT_WORTH = 0.22  # share of the whole time that an idle stretch must have to be cut out
_WIDTH = 10.0  # of the sheet, inches
_EDGE = 1.012  # where lanes end, share of the time shown
_CUT_WIDTH = 0.035  # width of a cut, share of what is shown
_RIGHT = 1.45  # right margin, where the moment in the slot stands, inches
_LANES, _CLOSE = 24, 0.45  # from how many lanes, or from what height of one, inches, each has one line only
_STEPS_S = tuple(
    float(step)
    for step in (60, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400, 172800, 432000, 864000, 1728000)
)


@dataclass(frozen=True, kw_only=True)
class Lane:
    """What a craft does when: moments in seconds, the orbit it is on between them."""

    part: CraftPlan
    start_s: float
    burns_s: tuple[float, ...]
    passes_s: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class _Look:
    """How lanes are lettered: width of a letter, s of shown time; size, points; one line a lane only."""

    letter: float
    size: float
    close: bool


@dataclass(frozen=True, kw_only=True)
class Axis:
    """Time with idle stretches cut out: shown intervals, s, and where each begins on the paper, s of shown time."""

    shown: tuple[tuple[float, float], ...]
    offsets: tuple[float, ...]
    length: float

    def place(self, time_s: float) -> float:
        """Where a moment lies on the paper; inside a cut, within the cut."""
        for index, ((begin, end), offset) in enumerate(zip(self.shown, self.offsets, strict=True)):
            if time_s <= end or index == len(self.shown) - 1:
                if time_s < begin:
                    # in the cut before this interval: its middle, whatever the moment
                    return offset if index == 0 else offset - 0.5 * (offset - self._end(index - 1))
                return offset + min(time_s, end) - begin
        return self.length

    def _end(self, index: int) -> float:
        begin, end = self.shown[index]
        return self.offsets[index] + end - begin


def draw_timeline(outcome: Outcome, plan: Plan) -> Figure:
    """Draw when each craft lifts off, reaches the ring, goes round and is in its slot."""
    lanes = sorted((_lane(part) for part in plan.craft), key=lambda lane: (lane.start_s, lane.part.slot))
    order = {part.craft: index for index, part in enumerate(plan.craft)}
    axis = time_axis([(lane.start_s, lane.part.in_slot_s) for lane in lanes])
    names = max((len(spelled(lane.part.craft, letters())) for lane in lanes), default=4)
    names = max(names, 14) if outcome.ring.planes > 1 else names
    form = made_for()
    pitch = _pitch(len(lanes))
    close = pitch < _CLOSE * form.letters
    # where the axis is cut, a line above the lanes says how much is left out
    above = 0.75 + (0.55 if len(axis.shown) > 1 else 0.0) * (0.56 * form.letters / pitch if close else 1.0)
    picture = pitch * (max(1, len(lanes)) + above - 0.35) + 0.1
    left = min(2.2, 0.45 + 0.085 * max(names + (9 if close else 0), 7))
    title = titled(outcome, plan, "timeline")
    figure, axes = sheet(_WIDTH, picture, title, _below(outcome, plan, axis), margins=(left, _RIGHT, 0.60))
    axes.set_xlim(-0.012 * axis.length, axis.length * _EDGE)
    letter = 0.072 * axis.length / ((form.width or _WIDTH) / form.letters - left - _RIGHT)
    look = _Look(letter=letter, size=min(8.5 * form.letters, 0.78 * 72.0 * pitch), close=close)
    axes.set_ylim(len(lanes) - 0.35, -above)
    axes.spines["left"].set_visible(False)
    axes.set_yticks([])
    for row, lane in enumerate(lanes):
        _draw_lane(axes, axis, lane, row, ink(order[lane.part.craft]), look, outcome)
    _draw_axis(axes, axis, outcome, letter)
    return figure


def _pitch(lanes: int) -> float:
    """Height of a lane, inches: less where many lanes would not fit the sheet."""
    form = made_for()
    wish = 0.56 if lanes <= _LANES else 0.24
    return min(wish * form.letters, (form.tallest - 2.2 * form.letters) / (lanes + 1.0))


def time_axis(active: list[tuple[float, float]]) -> Axis:
    """Lay out a time axis that shows the active stretches and cuts long idle ones.

    Args:
        active: (begin, end) of each craft's activity, s.
    """
    begin, end = min(first for first, _ in active), max(last for _, last in active)
    whole = max(end - begin, 1.0)
    merged: list[list[float]] = []
    for first, last in sorted(active):
        if merged and first - merged[-1][1] <= _CUT_WORTH * whole:
            merged[-1][1] = max(merged[-1][1], last)
        else:
            merged.append([first, last])
    busy = sum(last - first for first, last in merged) or whole
    pad = 0.03 * busy if len(merged) > 1 else 0.0
    shown = tuple((first - (pad if index else 0.0), last + pad) for index, (first, last) in enumerate(merged))
    gap = _CUT_WIDTH * sum(last - first for first, last in shown)
    offsets: list[float] = []
    at = 0.0
    for first, last in shown:
        offsets.append(at)
        at += last - first + gap
    return Axis(shown=shown, offsets=tuple(offsets), length=max(at - gap, 1.0))


def _lane(part: CraftPlan) -> Lane:
    first = part.ring_arrival_s if part.launch_s is None else part.launch_s
    burns = tuple(burn.time_s for burn in part.burns)
    if part.route == "transfer" and burns:
        first = burns[0] - part.parking_wait_s
    passes: tuple[float, ...] = ()
    if part.phasing_period_s is not None and part.side != "level" and part.route != "timed" and len(burns) > 1:
        passes = tuple(burns[part.last_at_ring] - j * part.phasing_period_s for j in range(part.revolutions - 1, 0, -1))
    return Lane(part=part, start_s=min([first, *burns[:1]]), burns_s=burns, passes_s=passes)


def _draw_lane(axes: Axes, axis: Axis, lane: Lane, row: int, color: str, look: _Look, outcome: Outcome) -> None:
    part, planes = lane.part, outcome.ring.planes
    dated = outcome.scenario.epoch is not None
    done = minute(outcome, part.in_slot_s) if dated else span(part.in_slot_s)
    place = f"slot {part.slot}" if planes == 1 else f"plane {part.plane}, slot {part.slot}"
    beside: dict[str, Any] = {
        "xycoords": ("axes fraction", "data"),
        "textcoords": "offset points",
        "va": "center",
        "linespacing": 1.2,
    }
    axes.annotate(
        f"{part.craft}, {place}" if look.close else f"{part.craft}\n{place}",
        (0.0, row),
        xytext=(-10, 0),
        ha="right",
        fontsize=min(type_points(9.5), 1.12 * look.size),
        **beside,
    )
    axes.axhline(row, color=FAINT, linewidth=0.5, zorder=0)
    start, end = axis.place(lane.start_s), axis.place(part.in_slot_s)
    if not lane.burns_s:
        axes.plot([start], [row], "o", markersize=7, color=color, zorder=5)
        _say(axes, axis, start, row, ["in place from the start"], look)
        return
    burns = [axis.place(time_s) for time_s in lane.burns_s]
    axes.plot([start, burns[0]], [row, row], color=color, linewidth=1.1, linestyle=(0, (1, 1.8)), zorder=2)
    _draw_way(axes, axis, lane, burns, row, color)
    axes.plot(burns, [row] * len(burns), "|", color=INK, markersize=13, markeredgewidth=1.3, zorder=4)
    if part.launch_s is not None:
        axes.plot([start], [row], "s", markersize=5, color=color, zorder=5)
    axes.plot([end], [row], "o", markersize=7, color=color, zorder=5)
    axes.plot([end, axis.length * _EDGE], [row, row], color=color, linewidth=1.6, alpha=0.85, zorder=1)
    # gains and falls back where the revolutions are that do it
    phases = part.side != "level" and part.phasing_period_s is not None and part.route != "timed"
    _say(axes, axis, _begun(axis, lane, burns) if phases else start, row, _doing(part), look)
    axes.annotate(
        done if look.close else f"in slot\n{done}", (1.0, row), xytext=(8, 0), ha="left", fontsize=look.size, **beside
    )


def _draw_way(axes: Axes, axis: Axis, lane: Lane, burns: list[float], row: int, color: str) -> None:
    """Draw the way from the first burn to the slot: revolutions as blocks, full and hollow so that they are counted."""
    part, last = lane.part, burns[lane.part.last_at_ring]
    begun = _begun(axis, lane, burns)

    def line(begin: float, end: float) -> None:
        axes.plot([begin, end], [row, row], color=color, linewidth=1.6, zorder=2)

    line(burns[0], begun)
    if part.side == "level":
        return line(burns[0], burns[-1])
    if part.last_at_ring < -1:
        line(last, burns[-1])
    for index, (begin, stop) in enumerate(pairwise([begun, *map(axis.place, lane.passes_s), last])):
        full = color if index % 2 == 0 else PAPER
        axes.barh(row, stop - begin, left=begin, height=0.26, color=full, edgecolor=color, linewidth=0.9, zorder=3)


def _begun(axis: Axis, lane: Lane, burns: list[float]) -> float:
    """Where the revolutions begin on the paper: a transfer from another circle or a parking orbit is none of them."""
    part = lane.part
    if part.phasing_period_s is None or not part.revolutions or part.route == "timed":
        return burns[0]
    begun = axis.place(lane.burns_s[part.last_at_ring] - part.revolutions * part.phasing_period_s)
    return min(max(begun, burns[0]), burns[part.last_at_ring])


def _say(axes: Axes, axis: Axis, start: float, row: int, words: list[str], look: _Look) -> None:
    """Write the first of some words that fits above a lane; none where lanes are close."""
    fitting = [text for text in words if look.letter * len(text) < axis.length]
    if look.close or not fitting:
        return
    text = fitting[0]
    late = start + look.letter * len(text) > axis.length
    axes.annotate(
        text,
        (axis.length if late else start, row),
        xytext=(0, 9),
        textcoords="offset points",
        ha="right" if late else "left",
        va="bottom",
        fontsize=look.size,
        # in front of the lines of a cut, which would run through the words
        bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.8},
        zorder=6,
    )


def _doing(part: CraftPlan) -> list[str]:
    """What a craft does, in words, the longest first."""
    if part.route == "timed":
        return [f"free-form, {len(part.burns)} burns"]
    if part.side == "level" or part.phasing_period_s is None:
        waits = part.parking_wait_s > 0.0
        home = "own orbit" if part.pad is None else "parking orbit"
        parks = part.pad is not None and part.route != "drift"
        where = home if parks or waits_at_home(part) or part.route == "transfer" else "waiting orbit"
        where += ", its node drifting," if part.route == "drift" else ""
        long = f"{where} for {span(part.parking_wait_s)}, arrives in place"
        return [*([long, where.rstrip(",")] if waits else []), "arrives in place"]
    degrees = math.degrees(gained_rad(part))
    verb = "gains" if degrees >= 0 else "falls back"
    gain = f"{verb} {plain(abs(degrees))} deg"
    return [f"{gain} in {count(part.revolutions, 'revolution')}", gain]


def _draw_axis(axes: Axes, axis: Axis, outcome: Outcome, letter: float) -> None:
    epoch = outcome.scenario.epoch
    # room for a date, ten letters, and a gap
    room_s = max(axis.length / 9.0, 12.5 * letter)
    step_s = next((step for step in _STEPS_S if step >= room_s), math.ceil(room_s / 1728000.0) * 1728000.0)
    offset_s = 0.0 if epoch is None else epoch.hour * 3600.0 + epoch.minute * 60.0 + epoch.second
    places: list[float] = []
    labels: list[str] = []
    day = None
    for begin, end in axis.shown:
        first = math.ceil((begin + offset_s) / step_s - 1e-9) * step_s - offset_s
        ticks = [first + j * step_s for j in range(max(0, math.floor((end - first) / step_s + 1e-9) + 1))]
        for time_s in ticks or [begin]:
            place = axis.place(time_s)
            date, time = _label(outcome, time_s)
            words = f"{time}\n{date}".lstrip("\n") if date != day else time
            words = date if step_s >= 86400.0 and date and time == "00:00" else words
            wide = max(map(len, [*words.split("\n"), *(labels[-1].split("\n") if labels else [])]))
            if places and place - places[-1] < letter * (1.1 * wide + 1.0):
                continue
            places.append(place)
            labels.append(words)
            day = date
    axes.set_xticks(places, labels)
    axes.tick_params(axis="x", length=4)
    figure = axes.get_figure(root=True)
    assert figure is not None
    foot = 1.0 - 0.32 * made_for().letters / (axes.get_position().height * figure.get_size_inches()[1])
    sides = _sides(axis, letter)
    for index in range(len(axis.shown) - 1):
        stop = axis.offsets[index] + axis.shown[index][1] - axis.shown[index][0]
        middle = 0.5 * (stop + axis.offsets[index + 1])
        half = 0.5 * (axis.offsets[index + 1] - stop)
        axes.axvspan(middle - half, middle + half, color=PAPER, zorder=2.5)
        for side in (-half, half):
            axes.plot(
                [middle + side] * 2,
                [0.0, foot],
                color=QUIET,
                linewidth=0.8,
                linestyle=(0, (3, 2)),
                transform=axes.get_xaxis_transform(),
                zorder=3,
            )
        left_out = axis.shown[index + 1][0] - axis.shown[index][1]
        axes.text(
            middle,
            1.0,
            f"{span(left_out)}\nleft out",
            ha=sides[index],
            va="top",
            fontsize=type_points(7.5),
            color=QUIET,
            linespacing=1.15,
            path_effects=rim(),
            transform=axes.get_xaxis_transform(),
            zorder=4,
        )


def _sides(axis: Axis, letter: float) -> list[Literal["left", "center", "right"]]:
    """On which side of its cut the words of each stand, so that those of two cuts close together stand apart."""
    middles = [
        0.5 * (axis.offsets[i] + axis.shown[i][1] - axis.shown[i][0] + axis.offsets[i + 1])
        for i in range(len(axis.shown) - 1)
    ]
    sides: list[Literal["left", "center", "right"]] = ["center"] * len(middles)
    for index, (one, other) in enumerate(pairwise(middles)):
        if other - one < 16.0 * letter:
            sides[index] = "right" if sides[index] == "center" else sides[index]
            sides[index + 1] = "left"
    return sides


def _label(outcome: Outcome, time_s: float) -> tuple[str, str]:
    epoch = outcome.scenario.epoch
    if epoch is not None:
        date, time = instant(epoch, time_s).split(" ")[:2]
        return date, time[:5]
    return "", time_words(time_s)


def _below(outcome: Outcome, plan: Plan, axis: Axis) -> str:
    text = (
        f"Plan {plan.rank}. Dotted: the way to the first burn; blocks: revolutions; strokes: burns; then in the slot."
    )
    if any(part.launch_s is not None for part in plan.craft):
        text += " Squares: liftoffs."
    if len(axis.shown) > 1:
        text += " The axis is cut where nothing happens."
    epoch = outcome.scenario.epoch
    zone = "" if epoch is None else instant(epoch, 0.0).rpartition(" ")[2]
    return text + (f" Times are {zone}." if zone else " Times count from the epoch.")
