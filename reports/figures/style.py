"""Ink on paper: the look that all figures share, and how they are saved.

Lines are labeled where they run, not in a legend. The inks differ in lightness as well as in hue, so that they stay
apart in gray print and for readers who confuse hues; beyond them the stroke changes too.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
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
QUIET = "#75705f"
INK = "#262420"

_INKS = ("#1d3f72", "#b4531c", "#2f8068", "#7a2e5d", "#927312", "#3f83a8", "#4d4a43", "#b3617d")
_STROKES: tuple[Any, ...] = ("solid", (0, (6, 2)), (0, (2, 1.5)))

FAMILIES = ("DejaVu Serif", "DejaVu Sans")
"""Fonts that come with Matplotlib; a letter that the first lacks is taken from the second."""

HALO = 3.0  # paper-colored rim of a label, points

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
def paper() -> Iterator[None]:
    """Draw and save in the house look; every figure is made and written inside this."""
    from matplotlib import rc_context

    # from the library's own defaults, so that a user's settings cannot change the figures
    with rc_context():
        from matplotlib import rcdefaults

        rcdefaults()
        with rc_context(_SETTINGS):
            yield


def ink(index: int) -> str:
    """Color of the craft with this place in the plan."""
    return _INKS[index % len(_INKS)]


def stroke(index: int) -> Any:
    """Line style of the craft with this place in the plan: changes when the colors begin again."""
    return _STROKES[index // len(_INKS) % len(_STROKES)]


def rim() -> list[Any]:
    """A paper-colored rim that keeps a label readable on top of lines."""
    from matplotlib import patheffects

    return [patheffects.withStroke(linewidth=HALO, foreground=PAPER)]


def sheet(
    width: float, picture: float, title: str, below: str, *, margins: tuple[float, float, float] = (0.15, 0.15, 0.1)
) -> tuple[Figure, Axes]:
    """Make a figure with its title at the top left, under it what it shows, and under that the picture.

    Args:
        width: of the sheet, inches.
        picture: height of the picture, inches; the sheet grows with the heading.
        title: set large, cut into lines where it is too long.
        below: a sentence or two, set smaller.
        margins: left, right, bottom of the picture, inches.

    Returns:
        The figure, and axes that fill the picture.
    """
    import textwrap

    from matplotlib.figure import Figure

    large = textwrap.wrap(title, int(8.7 * width))
    small = textwrap.wrap(below, int(13.4 * width))
    head = 0.40 + 0.23 * len(large) + 0.17 * len(small)
    left, right, bottom = margins
    height = head + picture + bottom
    figure = Figure(figsize=(width, height))
    edge = 0.25 / width
    figure.text(edge, 1.0 - 0.18 / height, "\n".join(large), fontsize=13, weight="bold", va="top", linespacing=1.15)
    figure.text(
        edge,
        1.0 - (0.27 + 0.23 * len(large)) / height,
        "\n".join(small),
        fontsize=8.5,
        color=QUIET,
        va="top",
        linespacing=1.3,
    )
    axes = figure.add_axes((left / width, bottom / height, (width - left - right) / width, picture / height))
    return figure, axes


def save(figure: Figure, directory: str | Path, name: str) -> list[Path]:
    """Write a figure as SVG and PNG, the same bytes every time.

    Args:
        figure: made inside :func:`paper`.
        directory: where the files go; must exist.
        name: file name without its ending.
    """
    from matplotlib.text import Text

    for text in figure.findobj(Text):
        text.set_text(spelled(text.get_text(), letters()))
    paths = []
    for kind, facts in (("svg", {"Date": None, "Creator": None}), ("png", {"Software": None})):
        stream = io.BytesIO()
        figure.savefig(stream, format=kind, dpi=150, metadata=facts)
        paths.append(write_bytes(Path(directory) / f"{name}.{kind}", stream.getvalue()))
    return paths


def bare(axes: Axes) -> None:
    """Take frame, ticks and labels off an axes that is a picture rather than a graph."""
    axes.set_axis_off()
    axes.set_aspect("equal")
