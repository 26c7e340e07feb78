"""A figure that shows itself in a notebook."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from ..figures.style import content, paper
from ..files import write_bytes

if TYPE_CHECKING:
    from matplotlib.figure import Figure

KINDS = ("svg", "png", "pdf")


class Picture:
    """A figure in the house look, drawn once. In a notebook it shows itself; ``save`` writes it to a file."""

    def __init__(self, name: str, draw: Callable[[], Figure]) -> None:
        self.name = name
        with paper():
            self.figure = draw()

    def content(self, kind: str = "svg") -> bytes:
        """The file's content: the same bytes every time.

        Raises:
            ValueError: another kind.
        """
        if kind not in KINDS:
            raise ValueError(f"{kind!r} is no kind of picture: {', '.join(KINDS)}")
        with paper():
            return content(self.figure, kind)

    def save(self, path: str | Path) -> Path:
        """Write the picture; the file's ending says the kind. Raises ValueError for another ending."""
        place = Path(path)
        return write_bytes(place, self.content(place.suffix.lstrip(".").lower()))

    def _repr_svg_(self) -> str:
        return self.content("svg").decode("utf-8")

    def __repr__(self) -> str:
        return f"<Ringwright picture {self.name}>"
