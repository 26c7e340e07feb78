"""Names and titles in files of other formats: what a format would take for its own marks is written as plain text."""

from __future__ import annotations

import re
import unicodedata

_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


def csv_cell(text: str) -> str:
    """A text as a cell that a spreadsheet shows and does not compute: an apostrophe before what begins a formula.

    Common practice (OWASP, "CSV Injection"). Numbers stay numbers.

    >>> csv_cell("=1+1"), csv_cell("-2000"), csv_cell("Birch"), csv_cell("-x")
    ("'=1+1", '-2000', 'Birch', "'-x")
    """
    if _NUMBER.fullmatch(text):
        return text
    return f"'{text}" if text.lstrip("'").startswith(_FORMULA) else text


def csv_text(cell: str) -> str:
    """The text of a cell that :func:`csv_cell` made.

    >>> [csv_text(csv_cell(text)) for text in ("=1", "''=1", "-5", "it's", "'tis")]
    ['=1', "''=1", '-5', "it's", "'tis"]
    """
    return cell[1:] if cell.startswith("'") and cell.lstrip("'").startswith(_FORMULA) else cell


def markdown(text: str) -> str:
    """One line of text for Markdown (CommonMark 0.31, section 2.4): its marks are escaped.

    An underscore within a word marks nothing and stays.

    >>> print(markdown("*Fir* <b> [x](y) limits.finish_within_d"))
    \\*Fir\\* \\<b\\> \\[x\\](y) limits.finish_within_d
    """
    text = re.sub(r"[\\`*\[\]<>|~&]|(?<!\w)_|_(?!\w)", lambda mark: "\\" + mark.group(), text)
    return re.sub(r"^(\s*(?:\d+(?=[.)])|(?=[-+#=])))", r"\1\\", text)


def file_stem(number: int, name: str) -> str:
    """A name as part of a file name: its letters and digits as far as ASCII has them, at most 60; the number keeps two
    apart.

    >>> file_stem(1, "Größe / 2"), file_stem(2, "水源"), file_stem(3, "../x")
    ('1-grosse-2', '2', '3-x')
    """
    found = re.sub(r"[^A-Za-z0-9]+", "-", _ascii(name)).strip("-").lower()[:60].rstrip("-")
    return f"{number}-{found}" if found else str(number)


def _ascii(text: str) -> str:
    apart = unicodedata.normalize("NFKD", text.replace("ß", "ss"))
    return "".join(one for one in apart if not unicodedata.combining(one))


def spelled(text: str, letters: frozenset[int]) -> str:
    """A text as far as a font has its letters; those that it lacks by their numbers in Unicode.

    Letters of scripts that run from right to left are spelled too, since they are set from left to right here.

    Args:
        letters: code points that the font has.

    >>> spelled("Spoon 水源", frozenset(range(128)))
    'Spoon (U+6C34 U+6E90)'
    """
    composed = unicodedata.normalize("NFC", text)
    parts = re.split(r"(\s+)", composed)
    return "".join(_spelled_word(part, letters) for part in parts)


def _spelled_word(word: str, letters: frozenset[int]) -> str:
    if all(_set(one, letters) for one in word):
        return word
    found, lacking = "", list[str]()
    for one in word:
        if _set(one, letters):
            found += f"({' '.join(lacking)}){one}" if lacking else one
            lacking = []
        else:
            lacking.append(f"U+{ord(one):04X}")
    return found + (f"({' '.join(lacking)})" if lacking else "")


def _set(one: str, letters: frozenset[int]) -> bool:
    if one.isascii():
        return True
    turns = unicodedata.bidirectional(one) in ("R", "AL", "AN") or unicodedata.combining(one)
    return ord(one) in letters and not turns
