"""A scenario file as it stands: tables of checked values in SI units that remember where each was written."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields
from datetime import datetime
from typing import Any

from ..errors import InputError
from ..keys import TABLES, count_by_default, flag_by_default, number_by_default, text_by_default
from ..printable import printable
from ..units import UNITS

_AS_GIVEN = ("text", "choice", "texts")


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One value: the key as spelled, the value as written, and the value in SI units."""

    spelled: str
    written: object
    value: object


@dataclass(kw_only=True)
class Origin:
    """The file as a whole: its name, the line of every raw key, the overrides, and the defaults that were taken."""

    file: str
    lines: Mapping[str, int] = field(default_factory=dict)
    settings: Mapping[str, str] = field(default_factory=dict)
    epoch: datetime | None = None
    defaults: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Table:
    """One table of the file.

    Args:
        origin: the file.
        schema: its entry in the table of keys, such as ``craft.orbit``.
        path: dotted path with list items counted, such as ``craft[0].orbit``; a single [launch] is ``launch[0]``.
        raw_path: the same as written in the file.
        label: the same with list items by their name, for messages.
        entries: values by quantity.
        tables: tables within, by key.
    """

    origin: Origin
    schema: str
    path: str
    raw_path: str
    label: str
    entries: dict[str, Entry] = field(default_factory=dict)
    tables: dict[str, tuple[Table, ...]] = field(default_factory=dict)

    def __contains__(self, name: str) -> bool:
        return name in self.entries

    def number(self, name: str) -> float | None:
        """Value of a quantity in SI units, None where it is not given."""
        entry = self.entries.get(name)
        return float(entry.value) if entry and isinstance(entry.value, int | float) else None

    def number_or(self, name: str, default: float | None = None) -> float:
        """Value of a quantity in SI units, or the default: that of the table of keys where none is given here."""
        value = self.number(name)
        if value is None:
            value = number_by_default(self.schema, name) if default is None else default
        return value

    def span(self, name: str) -> tuple[float, float] | None:
        """Least and most value of a quantity in SI units, the same where one is given; None where it is not given."""
        entry = self.entries.get(name)
        if entry and isinstance(entry.value, tuple):
            return float(entry.value[0]), float(entry.value[1])
        value = self.number(name)
        return None if value is None else (value, value)

    def text(self, name: str) -> str | None:
        """Text of a key, None where it is not given or is a number."""
        entry = self.entries.get(name)
        return entry.value if entry and isinstance(entry.value, str) else None

    def text_or(self, name: str) -> str:
        """Text of a key, or the default of the table of keys."""
        return self.text(name) or text_by_default(self.schema, name)

    def flag(self, name: str) -> bool:
        """Truth value of a key, or the default of the table of keys."""
        entry = self.entries.get(name)
        return entry.value if entry and isinstance(entry.value, bool) else flag_by_default(self.schema, name)

    def texts(self, name: str) -> tuple[str, ...]:
        """Texts of a key, none where it is not given."""
        entry = self.entries.get(name)
        return tuple(str(item) for item in entry.value) if entry and isinstance(entry.value, tuple) else ()

    def count_or(self, name: str, default: int | None = None) -> int:
        """Whole number of a key, or the default: that of the table of keys where none is given here."""
        entry = self.entries.get(name)
        if entry and isinstance(entry.value, int):
            return entry.value
        return count_by_default(self.schema, name) if default is None else default

    def table(self, name: str) -> Table | None:
        """The table of that key, the first where it is a list, None where there is none."""
        return next(iter(self.tables.get(name, ())), None)

    def given(self, kind: type) -> dict[str, Any]:
        """What the table gives of the fields of a dataclass, each named as its key with the SI unit.

        Texts in the place of numbers, such as "free", are left out.
        """
        known, found = {one.name for one in fields(kind)}, {}
        for key in TABLES[self.schema]:
            unit = next((f"_{unit}" for unit, factor in UNITS.get(key.kind, {}).items() if factor == 1.0), "")
            name = key.name + unit if key.name + unit in known else key.name
            if name not in known or key.name not in self.entries:
                continue
            value = self.entries[key.name].value
            if key.kind in _AS_GIVEN or key.several:
                found[name] = value
            elif not isinstance(value, str):
                found[name] = value if key.kind in ("count", "flag") else self.number(key.name)
        return found

    def path_of(self, name: str) -> str:
        """Dotted path of one of its keys."""
        return f"{self.path}.{name}" if self.path else name

    def spelling(self, name: str) -> str:
        """A key as the file spells it, with its table, list items by name."""
        spelled = self.entries[name].spelled if name in self.entries else name
        return f"{self.label}.{spelled}" if self.label else spelled

    def quote(self, name: str) -> str:
        """A key and its value as the file has them, such as ``ring.altitude_km = 42164``."""
        return f"{self.spelling(name)} = {written(self.entries[name].written)}"

    def line(self, name: str = "") -> int | None:
        """Line of one of its keys or of the table itself, None where it comes from elsewhere."""
        raw = self.raw_path
        if name:
            spelled = self.entries[name].spelled if name in self.entries else name
            raw = f"{raw}.{spelled}" if raw else spelled
        return self.origin.lines.get(raw)

    def where(self, name: str = "") -> str:
        """File and line of one of its keys, or the override that set it, or the table's line."""
        setting = self.origin.settings.get(self.path_of(name)) if name else None
        if setting is not None:
            return f"{self.origin.file}, --set {setting}"
        line = self.line(name) or self.line()
        return f"{self.origin.file}, line {line}" if line else self.origin.file

    def error(self, problem: str, name: str = "") -> InputError:
        """An error that points at one of its keys, or at the table."""
        return InputError(problem, where=self.where(name))

    def refused(self, name: str, problem: str) -> InputError:
        """The same for what is wrong with a value: the key and the value as the file has them begin the sentence."""
        return self.error(f"{self.quote(name)}{'' if problem[0] in ',:' else ' '}{problem}", name)

    def note_default(self, name: str, words: str = "") -> None:
        """Record that a key's default was taken: in these words, by default the table of keys' own."""
        if name not in self.entries:
            key = next(key for key in TABLES[self.schema] if key.name == name)
            self.origin.defaults[self.path_of(name)] = words or (key.default.words if key.default else "")

    def note_defaults(self, *but: str) -> None:
        """Record every default that was taken, except those named."""
        for key in TABLES[self.schema]:
            if key.default and key.name not in but:
                self.note_default(key.name)

    def everywhere(self) -> Iterator[Table]:
        """This table and all within."""
        yield self
        for tables in self.tables.values():
            for table in tables:
                yield from table.everywhere()


def written(value: object) -> str:
    """Write a value of the file as the file may have had it, cut where it is long.

    >>> written(42164.0), written("free"), written(True), written([1, 2])
    ('42164', '"free"', 'true', '[1, 2]')
    >>> written([10**5000]), written({"slot": 10**5000})
    ('[100000000000000000000...]', '{ slot = 100000000000000000000... }')
    """
    if isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        text = str(int(value))
    elif isinstance(value, str):
        text = '"' + printable(value.replace("\\", "\\\\").replace('"', '\\"')) + '"'
    elif isinstance(value, datetime):
        text = value.isoformat().replace("+00:00", "Z")
    elif isinstance(value, list):
        text = f"[{', '.join(str(item) if isinstance(item, float) else written(item) for item in value)}]"
    elif isinstance(value, dict):
        text = f"{{ {', '.join(f'{printable(str(key))} = {written(item)}' for key, item in value.items())} }}"
    elif isinstance(value, int) and abs(value) >= 10**60:
        # Python writes no whole number of thousands of digits: the first ones are enough to know it by
        surplus = int(value.bit_length() * math.log10(2.0)) - 20
        text = f"{'-' if value < 0 else ''}{abs(value) // 10**surplus}..."
    else:
        text = str(value)
    return text if len(text) <= 60 else text[:57] + "..."
