"""Which line of a TOML text each key stands on. The standard parser does not report it; messages need it.

The text is one that the standard parser has accepted, so nothing here checks it again.
"""

from __future__ import annotations

import re
from bisect import bisect_left

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}\n#]*")
# quoted text, the triple forms first; up to two more quotes may stand before the closing three
_TEXT = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}|' + r"'''.*?'{3,5}|" + r'"(?:[^"\\\n]|\\.)*"|' + r"'[^'\n]*'",
    re.DOTALL,
)


def key_lines(text: str) -> dict[str, int]:
    """Map every key and table to the line it starts on, counted from 1.

    Args:
        text: valid TOML, with line feeds or carriage return and line feed.

    Returns:
        Dotted path (``craft[0].orbit.periapsis_km``, list items counted from 0) to line.

    >>> key_lines('''[ring]
    ... slots = 4
    ... [[craft]]
    ... name = "Teal"
    ... orbit = { altitude_km = 900, angle_deg = 0 }
    ... ''')["craft[0].orbit.angle_deg"]
    5
    """
    return _Scanner(text).scan()


class _Scanner:
    """Walks a text once, noting the line of each key."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.breaks = [match.start() for match in re.finditer("\n", text)]
        self.lines: dict[str, int] = {}
        self.items: dict[str, int] = {}

    def scan(self) -> dict[str, int]:
        table = ""
        while self.skip(_BLANK) < len(self.text):
            if self.text.startswith("[", self.at):
                table = self.header()
            else:
                self.pair(table)
        return self.lines

    def skip(self, pattern: re.Pattern[str]) -> int:
        match = pattern.match(self.text, self.at)
        self.at = match.end() if match else self.at
        return self.at

    def take(self, pattern: re.Pattern[str]) -> str:
        start = self.at
        return self.text[start : self.skip(pattern)]

    def note(self, path: str, at: int) -> None:
        self.lines.setdefault(path, bisect_left(self.breaks, at) + 1)

    def header(self) -> str:
        start = self.at
        listed = self.text.startswith("[[", start)
        self.at += 2 if listed else 1
        names = self.names()
        self.at += 2 if listed else 1
        path = ""
        for i, name in enumerate(names):
            path = f"{path}.{name}" if path else name
            if listed and i == len(names) - 1:
                self.items[path] = self.items.get(path, -1) + 1
            if path in self.items:
                path = f"{path}[{self.items[path]}]"
        self.note(path, start)
        return path

    def names(self) -> list[str]:
        found = []
        while True:
            self.skip(_SPACE)
            quoted = self.text[self.at] in "\"'"
            name = self.take(_TEXT if quoted else _BARE)
            found.append(name[1:-1] if quoted else name)
            self.skip(_SPACE)
            if not self.text.startswith(".", self.at):
                return found
            self.at += 1

    def pair(self, table: str) -> None:
        start = self.at
        path = table
        for name in self.names():
            path = f"{path}.{name}" if path else name
            self.note(path, start)
        self.at += 1
        self.skip(_SPACE)
        self.value(path)

    def value(self, path: str) -> None:
        sign = self.text[self.at]
        if sign in "\"'":
            self.skip(_TEXT)
        elif sign == "[":
            self.list(path)
        elif sign == "{":
            self.inline(path)
        else:
            self.skip(_SCALAR)

    def list(self, path: str) -> None:
        self.at += 1
        index = 0
        while True:
            self.skip(_BLANK)
            if self.text[self.at] == "]":
                self.at += 1
                return
            self.note(f"{path}[{index}]", self.at)
            self.value(f"{path}[{index}]")
            index += 1
            self.skip(_BLANK)
            if self.text[self.at] == ",":
                self.at += 1

    def inline(self, path: str) -> None:
        self.at += 1
        while True:
            self.skip(_BLANK)
            if self.text[self.at] == "}":
                self.at += 1
                return
            self.pair(path)
            self.skip(_BLANK)
            if self.text[self.at] == ",":
                self.at += 1
