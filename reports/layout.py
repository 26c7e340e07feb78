"""Text set to a width: paragraphs, and columns that wrap where they must.

No line that leaves here is longer than the width asked for, whatever the words in it.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

GAP = 2
_LEAST = 16  # a wrapping column narrower than this reads worse than a list

_NO_BREAK = "\N{NO-BREAK SPACE}"
_QUANTITY = re.compile(
    r"""
    \d{4}-\d\d-\d\d[ ]\d\d:\d\d:\d\d(?:\.\d+)?(?:[ ]UTC)?            # an instant
    | \d+[ ]d[ ]\d+:\d\d:\d\d(?:\.\d+)?                             # days and a clock
    | \d+[ ](?:d|h|min)(?:[ ]\d+[ ](?:h|min|s))+\b                    # a span of time
    | (?:\d{1,3}(?:[ ]\d{3})+|\d+)(?:\.\d+)?[ ]                       # a number with its unit
      (?:%|km|mm/s|m/s|deg|kg|kN|N|s|min|h|d|days?|years?|options|craft|revolutions?|turns?|pass|passes|UTC)(?![\w/])
    | \d{1,3}(?:[ ]\d{3})+(?:\.\d+)?(?!\d)                            # thousands set apart
    """,
    re.VERBOSE,
)
"""What must not break over two lines."""


@dataclass(frozen=True, kw_only=True)
class Column:
    """A column of text: its heading, whether figures line up on the right, whether its text may wrap."""

    title: str
    right: bool = False
    wraps: bool = False


@dataclass(frozen=True, kw_only=True)
class Cells:
    """A column with its texts, under a heading of one line or several."""

    heads: tuple[str, ...]
    cells: Sequence[str]
    right: bool = False
    wraps: bool = False


def figures(*heads: str, cells: Sequence[str]) -> Cells:
    """A column of figures under heading lines; empty ones are left out."""
    return Cells(heads=tuple(head for head in heads if head), right=True, cells=cells)


def words(head: str, cells: Sequence[str], *, wraps: bool = False) -> Cells:
    """A column of words."""
    return Cells(heads=(head,), cells=cells, wraps=wraps)


def paragraph(text: str, width: int, *, indent: str = "", hang: str | None = None) -> list[str]:
    """Fill a paragraph.

    Args:
        indent: put before the first line.
        hang: put before the following lines; as ``indent`` when absent.
    """
    following = indent if hang is None else hang
    whole = _whole(text, width - max(len(indent), len(following)))
    lines = textwrap.wrap(whole, width, initial_indent=indent, subsequent_indent=following, break_on_hyphens=False)
    return [line.replace(_NO_BREAK, " ") for line in lines]


def note(text: str, width: int) -> list[str]:
    """Fill a paragraph of a section, indented below its heading."""
    return paragraph(text, width, indent="  ")


def _whole(text: str, room: int) -> str:
    """The text with its quantities held together by no-break spaces, as far as they fit into the room.

    >>> _whole("in 1 252.1 km", 20).split(" ")
    ['in', '1\\xa0252.1\\xa0km']
    """

    def joined(found: re.Match[str]) -> str:
        return found.group().replace(" ", _NO_BREAK) if len(found.group()) <= room else found.group()

    return _QUANTITY.sub(joined, text)


def ended_early(unfinished: str, width: int) -> list[str]:
    """What ended a search before it was done, after an empty line; nothing where nothing did."""
    said = f"The search ended early: {unfinished}. --time-limit SECONDS allows more."
    return ["", *paragraph(said, width)] if unfinished else []


def closed(lines: Sequence[str], caution: str, width: int) -> str:
    """Lines as a text that ends in a caution and a newline."""
    return "\n".join([*lines, "", *paragraph(caution, width)]) + "\n"


def shell_lines(command: str, width: int, *, indent: str = "") -> list[str]:
    """Break a command at its spaces so that it can still be pasted into a shell, a backslash at each break.

    >>> print("\\n".join(shell_lines("tool --first 1 --second 2", 18)))
    tool --first 1 \\
      --second 2
    """
    # an option stays with its value
    paired = re.sub(r"(?<=\s)(--\S+) (?!--)", "\\1\N{NO-BREAK SPACE}", command)
    lines = textwrap.wrap(
        paired,
        width - 2,
        initial_indent=indent,
        subsequent_indent=f"{indent}  ",
        break_long_words=False,
        break_on_hyphens=False,
    )
    lines = [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines]
    return [f"{line} \\" for line in lines[:-1]] + lines[-1:]


def heading(text: str, width: int) -> list[str]:
    """A section's heading, underlined, with an empty line before it."""
    lines = paragraph(text, width)
    return ["", *lines, "-" * max(len(line) for line in lines)]


def columns(heads: Sequence[Column], rows: Sequence[Sequence[str]], width: int, *, indent: str = "  ") -> list[str]:
    """Set rows in columns; as a list of named values where they do not fit side by side.

    Args:
        heads: one per cell of a row.
        rows: cells, already text.
        indent: put before every line.

    >>> heads = [Column(title="craft"), Column(title="m/s", right=True)]
    >>> print("\\n".join(columns(heads, [["Birch", "12.0"], ["Fir", "101.5"]], 40, indent="")))
    craft    m/s
    Birch   12.0
    Fir    101.5
    """
    set_out = _side_by_side(heads, rows, width, indent)
    return _stacked(heads, rows, width, indent) if set_out is None else set_out


def _side_by_side(heads: Sequence[Column], rows: Sequence[Sequence[str]], width: int, indent: str) -> list[str] | None:
    """Rows in columns; None where they do not fit."""
    room = width - len(indent) - GAP * (len(heads) - 1)
    natural = [max(len(head.title), *(len(row[i]) for row in rows), 0) for i, head in enumerate(heads)]
    wrapping = [i for i, head in enumerate(heads) if head.wraps]
    if sum(natural) > room:
        # headings give way first: they may break between their words
        natural = [
            size if head.wraps else max(_longest_word(head.title), *(len(row[i]) for row in rows), 0)
            for i, (head, size) in enumerate(zip(heads, natural, strict=True))
        ]
    fixed = sum(size for i, size in enumerate(natural) if i not in wrapping)
    sizes = list(natural)
    if sum(natural) > room and wrapping:
        spare = room - fixed
        if spare // len(wrapping) < _LEAST:
            return None
        least = {i: max(_longest_word(row[i]) for row in ([head.title for head in heads], *rows)) for i in wrapping}
        left = sorted(wrapping, key=lambda i: natural[i])
        while left:
            i = left.pop(0)
            # words stay whole where the other columns leave the room
            others = sum(min(least[k], spare // (len(left) + 1)) for k in left)
            sizes[i] = min(natural[i], max(spare // (len(left) + 1), min(least[i], spare - others)))
            spare -= sizes[i]
    elif sum(natural) > room:
        return None
    lines: list[str] = []
    titles = [head.title for head in heads]
    for row in (titles, *rows):
        cells = [
            (paragraph(cell, max(size, 1)) or [""]) if head.wraps or row is titles else [cell]
            for head, size, cell in zip(heads, sizes, row, strict=True)
        ]
        lines += [
            _line([cell[k] if k < len(cell) else "" for cell in cells], heads, sizes, indent)
            for k in range(max(len(cell) for cell in cells))
        ]
    return lines


def table(filled: Sequence[Cells | None], width: int) -> list[str]:
    """Set columns of one length side by side, their headings from the top; None is a column that there is not.

    >>> filled = [figures("revo-", "lutions", cells=["3"]), words("orbit", ["lower, gains 90 deg"])]
    >>> print("\\n".join(table(filled, 29)))
      revolutions 3
          orbit lower, gains
          90 deg
    """
    shown = [one for one in filled if one is not None]
    deep = max(len(one.heads) for one in shown)
    under = [[one.heads[line] if line < len(one.heads) else "" for one in shown] for line in range(1, deep)]
    heads = [Column(title=one.heads[0], right=one.right, wraps=one.wraps) for one in shown]
    rows = [list(row) for row in zip(*(one.cells for one in shown), strict=True)]
    set_out = _side_by_side(heads, [*under, *rows], width, "  ")
    if set_out is not None:
        return set_out
    # as a list each value has the whole of its heading before it
    named = [Column(title=" ".join(one.heads).replace("- ", "")) for one in shown]
    return _stacked(named, rows, width, "  ")


def _longest_word(cell: str) -> int:
    return max((len(word) for word in _whole(cell, len(cell)).split(" ")), default=0)


def _line(cells: Sequence[str], heads: Sequence[Column], sizes: Sequence[int], indent: str) -> str:
    set_cells = [
        cell.rjust(size) if head.right else cell.ljust(size)
        for cell, head, size in zip(cells, heads, sizes, strict=True)
    ]
    return (indent + (" " * GAP).join(set_cells)).rstrip()


def _stacked(heads: Sequence[Column], rows: Sequence[Sequence[str]], width: int, indent: str) -> list[str]:
    lines = []
    for row in rows:
        first, *rest = [f"{head.title} {cell}" for head, cell in zip(heads, row, strict=True) if cell]
        lines += paragraph(first, width, indent=indent, hang=indent + "    ")
        lines += paragraph("; ".join(rest), width, indent=indent + "    ")
    return lines
