"""No label of a figure covers another or leaves the sheet: boxes of all text are measured as they are drawn."""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from numpy.typing import NDArray

from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.optimizer.outcome import Outcome
from ringwright.reports.figures import drawings
from ringwright.reports.figures.moments import draw_strip
from ringwright.reports.figures.style import FORMATS, REPORT, Format, paper
from ringwright.scenarios import bundled, text
from ringwright.tests.reports import sample

from ...planned import outcome_of

QUICK = (
    ("atoll-on-the-equator", "report"),
    ("three-planes", "column"),
    ("thick-air", "slide"),
)
ALL_FORMATS = {"report": REPORT, **FORMATS}
TOUCH = 1.5
"""Pixels, at 100 an inch, by which boxes may meet: letters do not fill theirs."""


def planned(name: str) -> Outcome:
    return outcome_of(parse_scenario(text(name)), price=bool(os.environ.get("RINGWRIGHT_SOAK")))


@lru_cache(maxsize=4)
def many(craft: int) -> Outcome:
    """A ring with so many slots, and the flights of the sample in turn in all of them: to be drawn, not to be flown."""
    base = sample.dozen()
    plan = base.plans[0]
    ring = replace(base.ring, slots=craft)
    parts = []
    for slot in range(craft):
        part = plan.craft[slot % len(plan.craft)]
        parts.append(replace(part, craft=f"Spoon {slot + 1}", slot=slot))
    return replace(base, ring=ring, plans=(replace(plan, craft=tuple(parts)),), kept=(), front=None)


def corners(one: Text, renderer: Any) -> NDArray[np.float64]:
    """The four corners of a text as it stands on the sheet, turned as it is, pixels, (4, 2)."""
    angle = one.get_rotation()
    if angle % 90.0 == 0.0:
        box = one.get_window_extent(renderer)
        return np.array([[box.x0, box.y0], [box.x1, box.y0], [box.x1, box.y1], [box.x0, box.y1]])
    drawn = one.get_window_extent(renderer)
    center = np.array([0.5 * (drawn.x0 + drawn.x1), 0.5 * (drawn.y0 + drawn.y1)])
    one.set_rotation(0.0)
    level = one.get_window_extent(renderer)
    one.set_rotation(angle)
    half = 0.5 * np.array([level.width, level.height])
    cos, sin = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    signs = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    turned: NDArray[np.float64] = center + (signs * half) @ np.array([[cos, sin], [-sin, cos]])
    return turned


def overlap(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    """How deep two convex outlines lie in one another, pixels; not above 0 where they are apart.

    Two convex outlines are apart if and only if a line along some edge parts them (Gottschalk, Lin and Manocha 1996).
    """
    least = math.inf
    for shape in (one, other):
        for index in range(2):
            axis = shape[index + 1] - shape[index]
            axis = axis / max(float(np.hypot(*axis)), 1e-12)
            a, b = one @ axis, other @ axis
            least = min(least, float(min(a.max(), b.max()) - max(a.min(), b.min())))
    return least


def faults(figure: Figure) -> list[str]:
    """Labels that cover one another or leave the sheet."""
    renderer = FigureCanvasAgg(figure).get_renderer()  # type: ignore[no-untyped-call]
    figure.draw(renderer)
    shown = [
        one
        for one in figure.findobj(Text)
        if isinstance(one, Text) and one.get_text().strip() and one.get_visible() and one.get_gid() != "swatch"
    ]
    hidden = _not_drawn(figure)
    shown = [one for one in shown if id(one) not in hidden]
    assert shown
    boxes = [(one.get_text(), corners(one, renderer)) for one in shown]
    wide, tall = figure.get_size_inches() * figure.dpi
    found = [
        f"{words!r} leaves the sheet"
        for words, box in boxes
        if box[:, 0].min() < -1 or box[:, 1].min() < -1 or box[:, 0].max() > wide + 1 or box[:, 1].max() > tall + 1
    ]
    for (words, box), (others, other) in combinations(boxes, 2):
        if overlap(box, other) > TOUCH:
            found.append(f"{words!r} on {others!r}")
    return found


def wrong_in(outcome: Outcome, form: Format) -> dict[str, list[str]]:
    """Faults of every figure of an outcome, by name."""
    with paper(form):
        draws: dict[str, Callable[[], Figure]] = {
            **drawings(outcome),
            "strip": lambda: draw_strip(outcome, outcome.plans[0]),
        }
        return {which: wrong for which, draw in draws.items() if (wrong := faults(draw()))}


def _not_drawn(figure: Figure) -> set[int]:
    """Labels of ticks that lie outside the limits, or whose axes are hidden: they exist and are not drawn."""
    found: set[int] = set()
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            for tick in (*axis.majorTicks, *axis.minorTicks):
                if not (axes.axison and low <= tick.get_loc() <= high):
                    found |= {id(tick.label1), id(tick.label2)}
    return found


CASES = [
    pytest.param(name, form, id=f"{name}-{which}", marks=() if (name, which) in QUICK else pytest.mark.soak)
    for name in sorted(bundled())
    for which, form in ALL_FORMATS.items()
]


@pytest.mark.parametrize(("name", "form"), CASES)
def test_no_label_covers_another_or_leaves_the_sheet(name: str, form: Format) -> None:
    assert wrong_in(planned(name), form) == {}


@pytest.mark.parametrize("form", ALL_FORMATS.values(), ids=ALL_FORMATS)
@pytest.mark.parametrize("craft", [3, pytest.param(66, marks=pytest.mark.soak)])
def test_so_do_three_and_sixty_six_craft(craft: int, form: Format) -> None:
    assert wrong_in(many(craft), form) == {}


def test_a_label_on_a_label_is_found() -> None:
    with paper():
        figure = Figure(figsize=(3.0, 2.0))
        figure.text(0.5, 0.5, "one place")
        figure.text(0.52, 0.52, "the same place", rotation=30.0)
        figure.text(0.9, 0.1, "beyond the edge")
    assert len(faults(figure)) == 2
