"""Orbit messages as they stand in a file: CCSDS OPM and OEM in keyword-value notation (502.0-B-3, also B-1 and B-2).

What a state needs is read; spacecraft parameters, covariances and what users defined are passed over, planned maneuvers
are counted. Every fault is an InputError that names file, line, value and remedy.
"""

from __future__ import annotations

import math
import re
import stat
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Literal, NamedTuple

from ..errors import InputError
from ..printable import printable, shortened
from ..readouts import brief

LARGEST_BYTES = 100_000_000
"""An ephemeris of a million lines; anything above this was not meant."""

LONGEST_LINE = 1000
"""The standard has 254 characters at most."""

STATE_KEYS = ("X", "Y", "Z", "X_DOT", "Y_DOT", "Z_DOT")
NEEDED = {
    "OPM": ("OBJECT_NAME", "CENTER_NAME", "REF_FRAME", "TIME_SYSTEM", "EPOCH", *STATE_KEYS),
    "OEM": ("OBJECT_NAME", "CENTER_NAME", "REF_FRAME", "TIME_SYSTEM", "START_TIME", "STOP_TIME"),
}
UNITS = {"MASS": "kg"} | {key: "km/s" if key.endswith("DOT") else "km" for key in STATE_KEYS}

_ASSIGNMENT = re.compile(r"([A-Z][A-Z0-9_]*)\s*=\s*(.*)")
_FIRST = re.compile(r"CCSDS_([A-Z]+)_VERS\s*=\s*(\d+\.\d+)")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_WITH_UNIT = re.compile(r"(.*\S)\s+\[([^\]]*)\]")
_TIME = re.compile(r"(\d{4})-(?:(\d\d)-(\d\d)|(\d{3}))T(\d\d):(\d\d):(\d\d(?:\.\d+)?)Z?")


class Clock(NamedTuple):
    """A moment as a clock shows it: the minute, and seconds after it, which are 60 and more in a leap second."""

    minute: datetime
    seconds: float


class Value(NamedTuple):
    """What a keyword is set to, its unit if one is shown, and its line."""

    text: str
    unit: str
    line: int


@dataclass(frozen=True, kw_only=True)
class Segment:
    """One block of metadata with what belongs to it.

    Args:
        line: where it begins.
        values: by keyword.
        rows: of an ephemeris: the line, its moment, and position and velocity, km and km/s.
    """

    line: int
    values: Mapping[str, Value]
    rows: tuple[tuple[int, Clock, tuple[float, ...]], ...] = ()


@dataclass(frozen=True, kw_only=True)
class Message:
    """A message as read. ``maneuvers`` counts the maneuver blocks of an OPM."""

    file: str
    kind: Literal["OPM", "OEM"]
    segments: tuple[Segment, ...]
    maneuvers: int = 0

    def error(self, problem: str, line: int = 0) -> InputError:
        """An error that points at a line of the file."""
        return InputError(problem, where=f"{self.file}, line {line}" if line else self.file)


def read_message(path: Path, kind: Literal["OPM", "OEM"]) -> Message:
    """Read a message of a kind from a file.

    Raises:
        InputError: the file cannot be read, or holds no such message.
    """
    file = str(path)
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise InputError(f"{file} is no file with text: name an {kind}.", where=file)
        size = path.stat().st_size
        if size > LARGEST_BYTES:
            raise InputError(f"the file has {brief(size / 1e6, 3)} MB: at most 100 MB are read.", where=file)
        data = path.read_bytes()
    except FileNotFoundError:
        raise InputError(
            f"there is no such file: a path counts from the folder of the scenario; name an {kind}.", where=file
        ) from None
    except (OSError, ValueError) as fault:
        reason = getattr(fault, "strerror", None) or str(fault)
        raise InputError(f"the file cannot be read ({reason}): check the path.", where=file) from None
    # the standard has ASCII; what is beyond it can stand in names and comments alone, which are not examined
    return parse_message(data.decode("utf-8-sig", errors="replace"), kind, file)


def parse_message(text: str, kind: Literal["OPM", "OEM"], file: str = "message") -> Message:
    """Read a message from its text; in all else as :func:`read_message`."""
    return _Reader(file, kind).read(text)


def clock_of(text: str) -> Clock:
    """A moment in one of the two forms of the standard (7.5.10).

    Raises:
        ValueError: any other form, or a date or time that there is not.

    >>> clock_of("2031-121T06:00:00.25Z")
    Clock(minute=datetime.datetime(2031, 5, 1, 6, 0), seconds=0.25)
    """
    found = _TIME.fullmatch(text)
    if found is None:
        raise ValueError("should be 2031-05-01T06:00:00.000 or 2031-121T06:00:00.000")
    year, month, day, of_year, hour, minute, seconds = found.groups()
    if of_year is None:
        date = datetime(int(year), int(month), int(day))
    else:
        date = datetime(int(year), 1, 1) + timedelta(days=int(of_year) - 1)
        if date.year != int(year):
            raise ValueError(f"is day {of_year} of a year that has no such day")
    if int(hour) > 23 or int(minute) > 59 or float(seconds) >= 61.0:
        raise ValueError("is no time of day")
    return Clock(date + timedelta(hours=int(hour), minutes=int(minute)), float(seconds))


@dataclass(kw_only=True)
class _Open:
    """A segment that is being read."""

    line: int
    values: dict[str, Value] = field(default_factory=dict)
    rows: list[tuple[int, Clock, tuple[float, ...]]] = field(default_factory=list)


class _Reader:
    def __init__(self, file: str, kind: Literal["OPM", "OEM"]) -> None:
        self.file, self.kind = file, kind
        self.found: list[_Open] = []
        self.inside: Literal["header", "meta", "data", "covariance"] = "header"
        self.maneuvers = 0
        self.line = 0

    def read(self, text: str) -> Message:
        lines = re.split(r"\r\n|\n\r|\r|\n", text)
        self._first(lines)
        for number, raw in enumerate(lines, start=1):
            if number <= self.line:
                continue
            self.line = number
            line = raw.strip()
            if len(line) > LONGEST_LINE:
                raise self._error(f"the line has {len(line)} characters, where a message has 254 at most.")
            if line and line != "COMMENT" and not line.startswith("COMMENT "):
                self._take(line)
        if self.inside in ("meta", "covariance"):
            stop = {"meta": "META_STOP", "covariance": "COVARIANCE_STOP"}[self.inside]
            raise self._error(f"the file ends before {stop}: it is cut off, take it from its source again.")
        segments = tuple(self._closed(one) for one in self.found)
        if not segments:
            raise self._error(f"the {self.kind} ends after its header: it has no state; take it from its source again.")
        return Message(file=self.file, kind=self.kind, segments=segments, maneuvers=self.maneuvers)

    def _first(self, lines: list[str]) -> None:
        """Find the line that says what the file is."""
        for number, raw in enumerate(lines, start=1):
            line = raw.strip()
            if not line:
                continue
            self.line = number
            found = _FIRST.fullmatch(line[:LONGEST_LINE])
            if line.startswith("<"):
                raise self._error(f"this is XML: an {self.kind} as text, in keyword-value notation, would be accepted.")
            if found is None:
                raise self._error(
                    f"{self._quoted(line)} is not the first line of an {self.kind}, which should be "
                    f"CCSDS_{self.kind}_VERS = 3.0 (or 2.0, or 1.0)."
                )
            kind, version = found.groups()
            if kind != self.kind:
                other = {"OPM": "opm", "OEM": "oem"}.get(kind)
                hint = f"name it under {other}." if other else "an OPM or an OEM would be accepted."
                raise self._error(f"this is an {kind}, where an {self.kind} is wanted: {hint}")
            if version not in ("1.0", "2.0", "3.0"):
                raise self._error(f"version {version} is not known here: 3.0, 2.0 or 1.0 would be accepted.")
            if self.kind == "OPM":
                self.found.append(_Open(line=number))
            return
        raise InputError(f"the file is empty, where an {self.kind} should be: name another.", where=self.file)

    def _take(self, line: str) -> None:
        if self.kind == "OEM" and line in ("META_START", "META_STOP", "COVARIANCE_START", "COVARIANCE_STOP"):
            self._delimiter(line)
        elif self.inside == "covariance":
            pass
        elif self.inside == "data" and line[0].isdigit():
            self.found[-1].rows.append(self._row(line))
        else:
            self._assignment(line)

    def _delimiter(self, line: str) -> None:
        before = {
            "META_START": ("header", "data"),
            "META_STOP": ("meta",),
            "COVARIANCE_START": ("data",),
            "COVARIANCE_STOP": ("covariance",),
        }[line]
        if self.inside not in before:
            raise self._error(f"{line} is out of place here: take the file from its source again.")
        if line == "META_START":
            self.found.append(_Open(line=self.line))
            self.inside = "meta"
        else:
            self.inside = "covariance" if line == "COVARIANCE_START" else "data"

    def _assignment(self, line: str) -> None:
        found = _ASSIGNMENT.fullmatch(line)
        if found is None or (self.kind == "OEM" and self.inside == "data"):
            what = "KEYWORD = value" if self.inside != "data" else "a moment with six numbers"
            raise self._error(f"{self._quoted(line)} should be {what}.")
        key, text = found.groups()
        with_unit = _WITH_UNIT.fullmatch(text)
        plain, unit = with_unit.groups() if with_unit else (text, "")
        value = Value(plain, unit, self.line)
        if key == "MAN_EPOCH_IGNITION":
            self.maneuvers += 1
        if not self.found or key.startswith(("MAN_", "USER_DEFINED_")):
            return
        values = self.found[-1].values
        if key in values:
            raise self._error(f"{key} is there a second time, first in line {values[key].line}: keep one.")
        values[key] = value

    def _row(self, line: str) -> tuple[int, Clock, tuple[float, ...]]:
        words = line.split()
        if len(words) not in (7, 10):
            raise self._error(
                f"{self._quoted(line)} has {len(words)} items: a moment with six numbers would be accepted, or with "
                "nine, accelerations included."
            )
        moment = self._clock(words[0], "the moment")
        return self.line, moment, tuple(self._number(word, "a number of the state") for word in words[1:7])

    def _closed(self, one: _Open) -> Segment:
        for key in NEEDED[self.kind]:
            if key not in one.values or not one.values[key].text:
                raise InputError(
                    f"there is no {key}, which every {self.kind} has: take the file from its source again.",
                    where=f"{self.file}, line {one.line}",
                )
        if self.kind == "OEM" and not one.rows:
            raise InputError("it has no line of ephemeris: take another.", where=f"{self.file}, line {one.line}")
        return Segment(line=one.line, values=one.values, rows=tuple(one.rows))

    def _clock(self, text: str, what: str) -> Clock:
        try:
            return clock_of(text)
        except ValueError as fault:
            raise self._error(f"{what}, {self._quoted(text)}, {fault}.") from None

    def _number(self, text: str, what: str) -> float:
        if _NUMBER.fullmatch(text) is None or not math.isfinite(float(text)):
            raise self._error(f"{what}, {self._quoted(text)}, should be a number such as -6655.9942.")
        return float(text)

    def _quoted(self, text: str) -> str:
        return f'"{shortened(printable(text), 60)}"'

    def _error(self, problem: str) -> InputError:
        return InputError(problem, where=f"{self.file}, line {self.line}" if self.line else self.file)


def number_of(message: Message, segment: Segment, key: str) -> float:
    """The number that a keyword is set to, in the unit of the standard. Raises InputError for anything else."""
    value = segment.values[key]
    if _NUMBER.fullmatch(value.text) is None or not math.isfinite(float(value.text)):
        raise message.error(
            f'{key} = "{shortened(printable(value.text), 60)}" should be a number such as -6655.9942.', value.line
        )
    if value.unit and value.unit != UNITS.get(key, value.unit):
        unit = shortened(printable(value.unit), 20)
        raise message.error(f"{key} is in [{unit}], where the standard has [{UNITS[key]}].", value.line)
    return float(value.text)


def clock_value(message: Message, segment: Segment, key: str) -> Clock:
    """The moment that a keyword is set to. Raises InputError for anything else."""
    value = segment.values[key]
    try:
        return clock_of(value.text)
    except ValueError as fault:
        raise message.error(f'{key} = "{shortened(printable(value.text), 60)}" {fault}.', value.line) from None
