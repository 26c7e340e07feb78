"""Bold headings and colored warnings for a terminal, put into a text when it is printed.

Texts are made plain. Two things in them stand out on paper already, and on a terminal too: headings, which have a rule
below them, in bold; and warnings, three or more words in capitals, in bold and the terminal's own red. Nothing is said
by color alone.
"""

from __future__ import annotations

import os
import re
from typing import IO, Literal

Choice = Literal["auto", "always", "never"]

CHOICES: tuple[Choice, ...] = ("auto", "always", "never")

BOLD, WARN, PLAIN = "\x1b[1m", "\x1b[1;31m", "\x1b[0m"
"""Select graphic rendition (ECMA-48, 8.3.117): bold, bold and red, and neither."""

_HEADING = re.compile(r"^(?P<indent> *)(?P<title>\S.*)\n(?P=indent)(?P<rule>-{3,})$", re.MULTILINE)
# on one line, and on into the next where it was broken
_WARNING = re.compile(r"(?<![\w-])[A-Z]{2,}(?:,? +[A-Z]+){2,}(?:,?\n *[A-Z]{2,}(?:,? +[A-Z]+)*)*(?![\w-])")


def wanted(choice: Choice, stream: IO[str] | None) -> bool:
    """Whether a text on a stream is to have any of it.

    Args:
        choice: what was asked for; ``auto`` is for a terminal that knows of it, unless NO_COLOR is set to anything
            (https://no-color.org).
    """
    if choice != "auto":
        return choice == "always"
    if os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb" or stream is None:
        return False
    try:
        return stream.isatty()
    except ValueError:  # closed
        return False


def emphasized(text: str) -> str:
    """The same text with its headings in bold and its warnings in color.

    >>> emphasized("What to fly\\n-----------\\n") == f"{BOLD}What to fly{PLAIN}\\n-----------\\n"
    True
    >>> emphasized("NO PLAN KEEPS ALL LIMITS.") == f"{WARN}NO PLAN KEEPS ALL LIMITS{PLAIN}."
    True
    """
    return _HEADING.sub(_bold, _WARNING.sub(_warn, text))


def _bold(found: re.Match[str]) -> str:
    if len(found["title"]) != len(found["rule"]):
        return found[0]
    return f"{found['indent']}{BOLD}{found['title']}{PLAIN}\n{found['indent']}{found['rule']}"


def _warn(found: re.Match[str]) -> str:
    # each line by itself: a pager forgets what was begun on the line before
    return re.sub(r"[^\s][^\n]*", lambda line: f"{WARN}{line[0]}{PLAIN}", found[0])
