"""Labels beside points of a graph, set where they cover neither one another nor the lines nor the edge."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from ...models.arrays import Array
from .style import INK, QUIET, rim, type_points

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SWATCH = "\N{BLACK SQUARE} "
"""What stands before a label whose color is that of a line: the label itself is in ink."""

_DIRECTIONS = ((1, 1), (-1, 1), (1, -1), (-1, -1), (1, 0), (-1, 0), (0, 1), (0, -1))
_NEAR, _FAR = (8.0, 14.0), (24.0, 36.0, 52.0, 72.0, 96.0)
_LED = 20.0  # points from which a line leads from the label to its point
_MARK = 5  # points of a line as which the mark of a plan counts


@dataclass(frozen=True, kw_only=True)
class Label:
    """Words at a point, in data; ``color`` that of a line marks the words with a square of it.

    A label that is not ``needed`` is left out where there is no room right beside its point.
    """

    at: tuple[float, float]
    text: str
    color: str = INK
    weight: str = "normal"
    needed: bool = False


def place(axes: Axes, labels: Iterable[Label], clear: float = 0.0) -> None:
    """Set labels, those that come first with the first choice; limits and lines of the axes must be there already.

    Lines are kept so many points clear of the words.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.transforms import Bbox

    figure: Any = axes.get_figure(root=True)
    renderer = FigureCanvasAgg(figure).get_renderer()  # type: ignore[no-untyped-call]
    frame = axes.get_window_extent(renderer)
    pixel = figure.dpi / 72.0
    lines = _line_points(axes)
    taken = [text.get_window_extent(renderer) for text in axes.texts if text.get_text()]
    for label in labels:
        lines_of_text = label.text.split("\n")
        inked = label.color in {INK, QUIET}
        words = label.text if inked else "\n".join([SWATCH + lines_of_text[0], *lines_of_text[1:]])
        text = axes.annotate(
            words,
            label.at,
            textcoords="offset points",
            xytext=(0, 0),
            ha="left",
            va="bottom",
            color=label.color if inked else INK,
            weight=label.weight,
            path_effects=rim(),
            zorder=6,
        )
        size = text.get_window_extent(renderer)
        x, y = axes.transData.transform(label.at)
        best: tuple[float, float, float, Any] | None = None
        for away in (*_NEAR, *_FAR) if label.needed else _NEAR[:1]:
            for rank, (across, up) in enumerate(_DIRECTIONS):
                left = x + across * (away + clear) * pixel - (0.5 - 0.5 * across) * size.width
                foot = y + up * (away - 3.0) * pixel - (0.5 - 0.5 * up) * size.height
                box = Bbox.from_bounds(left, foot, size.width, size.height)
                inside = frame.x0 + 4 <= left and box.x1 <= frame.x1 + 12 and frame.y0 <= foot and box.y1 <= frame.y1
                lead = _between(box, x, y) if _distance(box, x, y) > _LED * pixel else lines[:0]
                if not inside or any(box.overlaps(other) or _inside(lead, other) for other in taken):
                    continue
                covered = _inside(lines, box.padded(clear * pixel))
                cost = 15.0 * covered + away + 0.5 * rank
                if (label.needed or not covered) and (best is None or cost < best[0]):
                    best = (cost, left, foot, box)
        if best is None:
            text.remove()
            continue
        _, left, foot, box = best
        text.set_position(((left - x) / pixel, (foot - y) / pixel))
        taken.append(box)
        if not inked:
            _swatch(axes, label, (left - x) / pixel, (box.y1 - y) / pixel)
        if _distance(box, x, y) > _LED * pixel:
            _lead(axes, label.at, box)
            lines = np.concatenate([lines, _between(box, x, y)])


def _distance(box: Any, x: float, y: float) -> float:
    return float(np.hypot(max(box.x0 - x, 0.0, x - box.x1), max(box.y0 - y, 0.0, y - box.y1)))


def _between(box: Any, x: float, y: float) -> Array:
    """Points along the line from a label to its point, in pixels, (n, 2)."""
    near = np.array([min(max(x, box.x0), box.x1), min(max(y, box.y0), box.y1)])
    share = np.linspace(0.0, 1.0, 24)[1:, np.newaxis]
    found: Array = near + share * (np.array([x, y]) - near)
    return found


def _lead(axes: Axes, at: tuple[float, float], box: Any) -> None:
    """A thin line from a label that stands apart to its point."""
    x, y = axes.transData.transform(at)
    near = (min(max(x, box.x0), box.x1), min(max(y, box.y0), box.y1))
    (u, v) = axes.transData.inverted().transform(near)
    axes.plot([at[0], u], [at[1], v], color=QUIET, linewidth=0.6, zorder=3)


def _swatch(axes: Axes, label: Label, left: float, top: float) -> None:
    axes.annotate(
        SWATCH.strip(),
        label.at,
        textcoords="offset points",
        xytext=(left, top),
        ha="left",
        va="top",
        color=label.color,
        zorder=7,
        fontsize=type_points(9.5),
    ).set_gid("swatch")


def _line_points(axes: Axes) -> Array:
    """Points along every line of the axes, in pixels, close enough that none passes a label unseen, (n, 2)."""
    found = [np.zeros((0, 2))]
    for line in axes.lines:
        if line.get_transform() == axes.transAxes:
            continue  # the mark of a break
        path = line.get_transform().transform(np.column_stack([np.asarray(v, dtype=float) for v in line.get_data()]))
        path = path[np.isfinite(path).all(axis=1)]
        if line.get_linestyle() in {"None", " ", ""} or len(path) < 2:
            found += [path] * _MARK
            continue
        steps = np.hypot(*np.diff(path, axis=0).T)
        along = np.concatenate([[0.0], np.cumsum(steps)])
        count = int(min(max(2.0, along[-1] / 4.0), 20_000))
        at = np.linspace(0.0, along[-1], count)
        found.append(np.column_stack([np.interp(at, along, path[:, axis]) for axis in (0, 1)]))
    return np.concatenate(found)


def _inside(points_: Array, box: Any) -> int:
    within = (points_[:, 0] > box.x0) & (points_[:, 0] < box.x1) & (points_[:, 1] > box.y0) & (points_[:, 1] < box.y1)
    return int(within.sum())
