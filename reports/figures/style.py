"""Ink on paper: the look that all figures share, and how they are saved.

Lines are labeled where they run, not in a legend. The inks are those of Okabe and Ito ("Color Universal Design", 2008),
which readers who confuse hues can still keep apart; beyond them the stroke changes too. Few of them reach the contrast
that small letters need, so that words are in ink and only marks and lines are colored.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..files import write_bytes
from ..safe_text import spelled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PAPER = "#f7f2e6"
SHADE = "#ebe3d0"
GROUND = "#d9cfb8"
FAINT = "#b9b09c"
QUIET = "#625d4e"
INK = "#262420"

INKS = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#e69f00", "#56b4e9", "#8a8a8a")
"""Okabe and Ito (2008), black taken as a gray, since ink is black; their yellow is left out: it is lost on paper."""

_STROKES: tuple[Any, ...] = ("solid", (0, (6, 2)), (0, (2, 1.5)))

FAMILIES = ("DejaVu Serif", "DejaVu Sans")
"""Fonts that come with Matplotlib; a letter that the first lacks is taken from the second."""

HALO = 3.0  # paper-colored rim of a label, points


@dataclass(frozen=True, kw_only=True)
class Format:
    """What a figure is made for: size of its letters against those of a report, and of the sheet, inches.

    ``width`` None: as wide as the figure likes best. ``picture``: heights against those of a report.
    """

    letters: float = 1.0
    width: float | None = None
    tallest: float = math.inf
    picture: float = 1.0


REPORT = Format()
FORMATS = {
    # a column of a journal, 86 mm, letters of 7 points, no taller than a page
    "column": Format(letters=0.74, width=86.0 / 25.4, tallest=230.0 / 25.4, picture=0.56),
    # a slide of 16 to 9, 13.33 inches wide, with an edge around
    "slide": Format(letters=1.45, width=12.3, tallest=6.9, picture=1.2),
}
_FORMAT: ContextVar[Format] = ContextVar("format", default=REPORT)


def made_for() -> Format:
    """The format that figures are being made for."""
    return _FORMAT.get()


def type_points(size: float) -> float:
    """A size of letters, points, in the current format."""
    return size * made_for().letters


def inches(height: float) -> float:
    """A height of a picture, inches, in the current format."""
    return height * made_for().picture


_SETTINGS: Any = {
    "figure.facecolor": PAPER,
    "savefig.facecolor": PAPER,
    "axes.facecolor": PAPER,
    "axes.edgecolor": INK,
    "axes.linewidth": 0.8,
    "axes.labelcolor": INK,
    "axes.labelsize": 10,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "font.family": list(FAMILIES),
    "font.size": 9.5,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": 9,
    "ytick.labelsize": 9,
    "xtick.direction": "out",
    "ytick.direction": "out",
    "lines.solid_capstyle": "round",
    "svg.hashsalt": "ringwright",
    "svg.fonttype": "path",
    "text.parse_math": False,
}


def font_file(family: str, weight: str = "") -> Path:
    """The file of one of :data:`FAMILIES`; ``weight`` empty or ``Bold``."""
    from matplotlib import get_data_path

    return Path(get_data_path(), "fonts", "ttf", f"{family.replace(' ', '')}{'-' if weight else ''}{weight}.ttf")


@cache
def letters(family: str = "") -> frozenset[int]:
    """Code points that a font has, or, without a name, the fonts of the figures together."""
    if not family:
        return frozenset().union(*map(letters, FAMILIES))
    from matplotlib.ft2font import FT2Font

    place = font_file(family)
    return frozenset(FT2Font(str(place)).get_charmap()) if place.is_file() else frozenset(range(128))


@contextmanager
def paper(form: Format = REPORT) -> Iterator[None]:
    """Draw and save in the house look; every figure is made and written inside this."""
    from matplotlib import rc_context

    # from the library's own defaults, so that a user's settings cannot change the figures
    with rc_context():
        from matplotlib import rcdefaults

        rcdefaults()
        sized = {key: form.letters * value for key, value in _SETTINGS.items() if key.endswith("size")}
        with rc_context(_SETTINGS | sized):
            token = _FORMAT.set(form)
            try:
                yield
            finally:
                _FORMAT.reset(token)


def ink(index: int) -> str:
    """Color of the craft with this place in the plan."""
    return INKS[index % len(INKS)]


def stroke(index: int) -> Any:
    """Line style of the craft with this place in the plan: changes when the colors begin again."""
    return _STROKES[index // len(INKS) % len(_STROKES)]


def fine(width: float, slots: int) -> float:
    """Width of a line, points: finer where a ring of many slots brings many lines together."""
    return width * min(1.0, 24.0 / slots)


def rim() -> list[Any]:
    """A paper-colored rim that keeps a label readable on top of lines."""
    from matplotlib import patheffects

    return [patheffects.withStroke(linewidth=HALO, foreground=PAPER)]


def sheet(
    width: float, picture: float, title: str, below: str, *, margins: tuple[float, float, float] = (0.15, 0.15, 0.1)
) -> tuple[Figure, Axes]:
    """Make a figure with its title at the top left, under it what it shows, and under that the picture.

    Args:
        width: of the sheet, inches, where the current format leaves it open.
        picture: height of the picture, inches; the sheet grows with the heading, as far as the format lets it.
        title: set large, cut into lines where it is too long.
        margins: left, right, bottom of the picture, inches, with letters of a report.

    Returns:
        The figure, and axes that fill the picture.
    """
    import textwrap

    from matplotlib.figure import Figure

    form = made_for()
    size, width = form.letters, form.width or width
    large = textwrap.wrap(title, int(8.7 * width / size))
    small = textwrap.wrap(below, int(13.4 * width / size))
    head = size * (0.40 + 0.23 * len(large) + 0.17 * len(small))
    left, right, bottom = (size * margin for margin in margins)
    picture = min(picture, form.tallest - head - bottom)
    height = head + picture + bottom
    figure = Figure(figsize=(width, height))
    edge = 0.25 * size / width
    figure.text(
        edge,
        1.0 - 0.18 * size / height,
        "\n".join(large),
        fontsize=type_points(13),
        weight="bold",
        va="top",
        linespacing=1.15,
    )
    figure.text(
        edge,
        1.0 - size * (0.27 + 0.23 * len(large)) / height,
        "\n".join(small),
        fontsize=type_points(8.5),
        color=QUIET,
        va="top",
        linespacing=1.3,
    )
    axes = figure.add_axes((left / width, bottom / height, (width - left - right) / width, picture / height))
    return figure, axes


def panels(
    width: float, count: int, picture: float, gap: float, title: str, below: str, margins: tuple[float, float, float]
) -> tuple[Figure, list[Axes]]:
    """Make a sheet as :func:`sheet` does, with pictures one above the other, a gap of so many inches between them."""
    figure, whole = sheet(width, count * (picture + gap) - gap, title, below, margins=margins)
    box, tall = whole.get_position(), float(figure.get_figheight())
    whole.remove()
    tops = [box.y1 - row * (picture + gap) / tall for row in range(count)]
    return figure, [figure.add_axes((box.x0, top - picture / tall, box.width, picture / tall)) for top in tops]


def label(axes: Axes, text: str, at: tuple[float, float], off: tuple[float, float], size: float, **more: Any) -> None:
    """Write beside a place, data, so many points off it, in letters of a size, points, with a paper-colored rim."""
    axes.annotate(text, at, xytext=off, textcoords="offset points", fontsize=size, path_effects=rim(), **more)


def content(figure: Figure, kind: str) -> bytes:
    """A figure as a file's content, the same bytes every time."""
    from matplotlib.text import Text

    for text in figure.findobj(Text):
        text.set_text(spelled(text.get_text(), letters()))
    facts = {"svg": {"Date": None, "Creator": None}, "png": {"Software": None}, "pdf": {"CreationDate": None}}
    stream = io.BytesIO()
    figure.savefig(stream, format=kind, dpi=150, metadata=facts[kind])
    return stream.getvalue()


def save(figure: Figure, directory: str | Path, name: str) -> list[Path]:
    """Write a figure as SVG and PNG."""
    return [write_bytes(Path(directory) / f"{name}.{kind}", content(figure, kind)) for kind in ("svg", "png")]


def bare(axes: Axes) -> None:
    """Take frame, ticks and labels off an axes that is a picture rather than a graph."""
    axes.set_axis_off()
    axes.set_aspect("equal")
