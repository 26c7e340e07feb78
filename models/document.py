"""A scenario file as it stands: tables of checked values in SI units that remember where each was written.

Each value is checked by itself against the table of keys; what values say to one another is checked in
``consistency.py``. Every complaint names file, line, key, value and what would be accepted.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any

from .errors import InputError
from .keys import TABLES, Key, find_key, tables_with
from .readouts import brief, clock_seconds
from .units import UNITS, from_si, printed_unit, split_unit, to_si

_KIND_WORDS = {
    "length": "a length",
    "angle": "an angle",
    "time": "a length of time",
    "instant": "a moment",
    "mass": "a mass",
    "speed": "a speed",
    "force": "a force",
    "gm": "a gravitational parameter",
    "impulse": "a specific impulse",
    "ratio": "a number",
    "count": "a whole number",
    "text": "text in quotes",
    "choice": "text in quotes",
    "flag": "true or false",
    "moment": "a date-time such as 2031-05-01T00:00:00Z",
}


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

    def number_or(self, name: str, default: float) -> float:
        """Value of a quantity in SI units, or the default."""
        value = self.number(name)
        return default if value is None else value

    def text(self, name: str) -> str | None:
        """Text of a key, None where it is not given or is a number."""
        entry = self.entries.get(name)
        return entry.value if entry and isinstance(entry.value, str) else None

    def count_or(self, name: str, default: int) -> int:
        """Whole number of a key, or the default."""
        entry = self.entries.get(name)
        return entry.value if entry and isinstance(entry.value, int) else default

    def table(self, name: str) -> Table | None:
        """The table of that key, the first where it is a list, None where there is none."""
        return next(iter(self.tables.get(name, ())), None)

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

    def note_default(self, name: str, words: str = "") -> None:
        """Record that a key's default was taken: in these words, by default the table of keys' own."""
        if name not in self.entries:
            key = next(key for key in TABLES[self.schema] if key.name == name)
            self.origin.defaults[self.path_of(name)] = words or key.default

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
    """
    if isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        text = str(int(value))
    elif isinstance(value, str):
        text = '"' + value.encode("unicode_escape").decode("ascii") + '"'
    elif isinstance(value, datetime):
        text = value.isoformat().replace("+00:00", "Z")
    else:
        text = str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def read_table(
    origin: Origin, tree: Mapping[str, Any], schema: str = "", path: str = "", raw_path: str = "", label: str = ""
) -> Table:
    """Check a table and all within it, key by key.

    Args:
        origin: the file; its epoch is set from the tree first, as instants count from it.
        tree: what the TOML parser gave.
        schema: its entry in the table of keys.
        path, raw_path, label: see :class:`Table`.

    Raises:
        InputError: a key that does not exist, is spelled twice, or whose value cannot be used.
    """
    table = Table(origin=origin, schema=schema, path=path, raw_path=raw_path, label=label)
    found: list[tuple[Key, str]] = []
    for spelled in tree:
        key, unit = _known(table, spelled, tree[spelled])
        _once(table, key, spelled, tree, found)
        found.append((key, spelled))
        if not key.kind.startswith("table"):
            # the value as written is needed by messages about the value itself
            table.entries[key.name] = Entry(spelled=spelled, written=tree[spelled], value=None)
            value = _value(table, key, unit, tree[spelled])
            table.entries[key.name] = Entry(spelled=spelled, written=tree[spelled], value=value)
            if key.kind == "moment" and isinstance(value, datetime):
                origin.epoch = value
    for key in TABLES[schema]:
        if key.required and not any(other.name == key.name for other, _ in found):
            raise table.error(_missing(table, key))
    for key, spelled in found:
        if key.kind.startswith("table"):
            table.tables[key.name] = _tables(table, key, tree[spelled])
    return table


def _known(table: Table, spelled: str, value: object) -> tuple[Key, str]:
    found = find_key(table.schema, spelled)
    if found is None:
        raise _pointing(table, spelled, _unknown(table, spelled))
    key, unit = found
    units = UNITS.get(key.kind, {})
    name = f"{table.label}.{spelled}" if table.label else spelled
    with_units = _either([f"{key.spelled}_{one}" for one in units])
    if unit and unit not in units:
        is_a = _KIND_WORDS[key.kind]
        raise _pointing(table, spelled, f"{name} has a unit that is not for {is_a}: write {with_units}.")
    if units and not unit and not isinstance(value, str | datetime | date | time):
        raise _pointing(table, spelled, f"{name} = {written(value)} lacks its unit: write {with_units}.")
    if units and not unit and isinstance(value, str) and not key.bare and value not in key.choices:
        raise _pointing(table, spelled, f"{name} = {written(value)} lacks its unit: write {with_units} = a number.")
    return key, unit


def _pointing(table: Table, spelled: str, problem: str) -> InputError:
    raw = f"{table.raw_path}.{spelled}" if table.raw_path else spelled
    line = table.origin.lines.get(raw)
    if line:
        return InputError(problem, where=f"{table.origin.file}, line {line}")
    path = f"{table.path}.{spelled}" if table.path else spelled
    setting = table.origin.settings.get(path)
    return InputError(problem, where=f"{table.origin.file}, --set {setting}" if setting else table.where())


def _unknown(table: Table, spelled: str) -> str:
    here = TABLES[table.schema]
    name = f"{table.label}.{spelled}" if table.label else spelled
    there = [other for other in tables_with(spelled) if other != table.schema]
    near = difflib.get_close_matches(spelled.lower(), [s for key in here for s in key.spellings], n=1, cutoff=0.7)
    if there and spelled not in ("name",):
        also = difflib.get_close_matches(spelled.lower(), [s for key in here for s in key.spellings], n=1, cutoff=0.85)
        hint = f"; or did you mean {also[0]} here?" if also else "."
        return f"{name} is in the wrong table: {spelled} belongs in {_either([table_words(t) for t in there])}{hint}"
    if near:
        return f"{name} is not a key of {table_words(table.schema)}: did you mean {near[0]}?"
    everywhere = {s: other for other, keys in TABLES.items() for key in keys for s in key.spellings}
    far = difflib.get_close_matches(spelled.lower(), list(everywhere), n=1, cutoff=0.8)
    if far:
        there_words = table_words(everywhere[far[0]])
        return f"{name} is not a key of {table_words(table.schema)}: did you mean {far[0]} of {there_words}?"
    known = ", ".join(sorted(_usual(key) for key in here))
    return f"{name} is not a key of {table_words(table.schema)}, which knows {known}."


def _usual(key: Key) -> str:
    """The spelling that most files would use."""
    return next((s for s in key.spellings if split_unit(s)[1] in ("km", "deg", "h", "m_s", "km3_s2")), key.spellings[0])


def table_words(schema: str) -> str:
    """Name a table as a reader of the file would look for it.

    >>> table_words("ring"), table_words("craft.orbit"), table_words("")
    ('[ring]', "a craft's orbit", 'the top of the file')
    """
    return {
        "": "the top of the file",
        "ring.occupied": "[[ring.occupied]]",
        "craft": "[[craft]]",
        "craft.orbit": "a craft's orbit",
        "launch.insertion": "an insertion of [launch]",
    }.get(schema, f"[{schema}]")


def _once(table: Table, key: Key, spelled: str, tree: Mapping[str, Any], found: list[tuple[Key, str]]) -> None:
    for other, before in found:
        if other.name == key.name or other.name in key.instead_of:
            prefix = f"{table.label}." if table.label else ""
            raise _pointing(
                table,
                spelled,
                f"{prefix}{before} = {written(tree[before])} and {prefix}{spelled} = {written(tree[spelled])} "
                "say the same in two ways: keep one of them.",
            )


def _missing(table: Table, key: Key) -> str:
    meaning = key.meaning[0].lower() + key.meaning[1:].rstrip(".")
    if not table.schema and key.kind.startswith("table"):
        words = f"[[{key.name}]]" if key.kind == "tables" else f"[{key.name}]"
        return f"there is no {words}: add it ({meaning})."
    what = _either([f"{s}" for s in key.spellings if s != key.spelled or key.kind not in UNITS])
    of = table.label or "the file"
    return f"{of} has no {key.spelled}: add {what} ({meaning})."


def _tables(table: Table, key: Key, value: object) -> tuple[Table, ...]:
    prefix = f"{table.label}." if table.label else ""
    schema = f"{table.schema}.{key.name}" if table.schema else key.name
    listed = isinstance(value, list)
    if key.kind == "tables" and not listed:
        raise _pointing(
            table, key.name, f"{prefix}{key.name} holds one table for each item: write [[{schema}]] with two brackets."
        )
    if key.kind == "table" and listed:
        raise _pointing(table, key.name, f"{prefix}{key.name} is given more than once: write it as one table.")
    items = value if isinstance(value, list) else [value]
    if not items:
        raise _pointing(table, key.name, f"{prefix}{key.name} is an empty list: fill it or leave it out.")
    found = []
    for index, item in enumerate(items):
        if not isinstance(item, Mapping):
            raise _pointing(
                table, key.name, f"{prefix}{key.name} = {written(item)} is no table: write its keys in a table of it."
            )
        path = table.path_of(key.name)
        raw = f"{table.raw_path}.{key.name}" if table.raw_path else key.name
        label = f"{prefix}{key.name}"
        if listed:
            raw = f"{raw}[{index}]"
            name = item.get("name")
            label = f"{label}.{name}" if isinstance(name, str) and name.strip() else f"{label}[{index}]"
        if key.kind != "table":
            path = f"{path}[{index}]"
        found.append(read_table(table.origin, item, schema, path, raw, label))
    return tuple(found)


def _value(table: Table, key: Key, unit: str, value: object) -> object:
    """Check one value and convert it."""
    if isinstance(value, Mapping | list):
        raise table.error(f"{table.quote(key.name)} is a table or list: write {_KIND_WORDS[key.kind]}.", key.name)
    if isinstance(value, str) and key.choices and (key.kind == "choice" or not _numeric(value)):
        return _choice(table, key, value)
    if key.kind in ("text", "choice"):
        return _text(table, key, value)
    if key.kind == "flag":
        if not isinstance(value, bool):
            raise table.error(f"{table.quote(key.name)} should be true or false, without quotes.", key.name)
        return value
    if key.kind == "moment" or isinstance(value, datetime | date | time):
        return _moment(table, key, value)
    if isinstance(value, str):
        return _in_range(table, key, unit, _clock(table, key, unit, value))
    return _number(table, key, unit, value)


def _numeric(text: str) -> bool:
    return re.fullmatch(r"[-+]?[\d .,_]+(e[-+]?\d+)?", text.strip(), re.IGNORECASE) is not None


def _choice(table: Table, key: Key, value: str) -> str:
    if value in key.choices:
        return value
    near = difflib.get_close_matches(value.lower(), key.choices, n=1, cutoff=0.5)
    hint = f' (did you mean "{near[0]}"?)' if near else ""
    allowed = _either([f'"{choice}"' for choice in key.choices])
    also = f", or a number with {key.spelled}_deg" if key.kind == "angle" else ""
    raise table.error(f"{table.quote(key.name)} should be {allowed}{also}{hint}.", key.name)


def _text(table: Table, key: Key, value: object) -> str:
    if not isinstance(value, str):
        raise table.error(f'{table.quote(key.name)} should be text: write "{written(value)}" in quotes.', key.name)
    text = value.strip()
    if not text:
        raise table.error(f"{table.quote(key.name)} is empty: give it a text of at least one letter.", key.name)
    if len(text) > 80 or not text.isprintable():
        raise table.error(f"{table.quote(key.name)} should be one line of at most 80 plain characters.", key.name)
    return text


def _moment(table: Table, key: Key, value: object) -> object:
    quote = table.quote(key.name)
    if not isinstance(value, datetime):
        if isinstance(value, date):
            raise table.error(f"{quote} lacks a time of day: write {value.isoformat()}T00:00:00Z.", key.name)
        if isinstance(value, str):
            raise table.error(
                f"{quote} is text: write the date-time without quotes, as 2031-05-01T00:00:00Z.", key.name
            )
        raise table.error(f"{quote} should be {_KIND_WORDS['moment']}.", key.name)
    if key.kind not in ("moment", "instant"):
        raise table.error(f"{quote} is a date, where {_KIND_WORDS[key.kind]} is wanted: write a number.", key.name)
    if value.utcoffset() is None:
        bare = value.isoformat()
        raise table.error(
            f"{quote} has no offset from UTC: write {bare}Z for UTC, or {bare}+02:00 for two hours ahead of it.",
            key.name,
        )
    if key.kind == "moment":
        return value
    epoch = table.origin.epoch
    if epoch is None:
        raise table.error(
            f"{quote} is a date, but the scenario has no epoch to count from: add epoch = {written(value)} at the "
            f"top, or write {_either([f'{key.spelled}_{one}' for one in UNITS[key.kind]])}.",
            key.name,
        )
    seconds = (value - epoch).total_seconds()
    if seconds < key.least:
        raise table.error(f"{quote} is before the epoch, {written(epoch)}: give a moment after it.", key.name)
    return seconds


def _clock(table: Table, key: Key, unit: str, value: str) -> float:
    quote = table.quote(key.name)
    if _numeric(value):
        raise table.error(f"{quote} is text, where {_KIND_WORDS[key.kind]} is wanted: take the quotes off.", key.name)
    if key.kind not in ("time", "instant"):
        raise table.error(f"{quote} is text, where {_KIND_WORDS[key.kind]} is wanted: write a number.", key.name)
    if unit and key.bare:
        raise table.error(
            f"{quote} has a unit in its key and a clock time as its value: write {key.spelled} = {written(value)} "
            "as h:mm:ss, or a number.",
            key.name,
        )
    try:
        return clock_seconds(value)
    except ValueError as problem:
        raise table.error(f"{quote} {problem}.", key.name) from None


def _number(table: Table, key: Key, unit: str, value: object) -> float | int:
    quote = table.quote(key.name)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise table.error(f"{quote} should be {_KIND_WORDS[key.kind]}: write a number.", key.name)
    if key.kind == "count":
        if isinstance(value, float) and not value.is_integer():
            raise table.error(f"{quote} should be a whole number.", key.name)
        whole = int(value) if math.isfinite(value) else 0
        if not math.isfinite(value) or not key.least <= whole <= key.most:
            raise table.error(
                f"{quote} is out of range: from {brief(key.least)} to {brief(key.most)} would be accepted.", key.name
            )
        return whole
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if math.isnan(number):
        raise table.error(f"{quote} is not a number: give a finite one.", key.name)
    return _in_range(table, key, unit, to_si(number, key.kind, unit) if unit else number)


def _in_range(table: Table, key: Key, unit: str, value: float) -> float:
    if math.isinf(value) and key.infinite and (value > 0 or key.least < 0):
        return value
    if key.name == "sidereal_day" and value == 0.0:
        raise table.error(
            f"{table.quote(key.name)} would turn without end: give the period, or inf for a body that does not turn.",
            key.name,
        )
    if math.isinf(value):
        raise table.error(f"{table.quote(key.name)} {_range_words(key, unit, value)}", key.name)
    inside = key.least < value if key.above else key.least <= value
    # a bound that is itself converted from the unit must not fail by a rounding
    slack = 1e-12 * abs(value)
    if inside and value <= key.most + slack:
        return min(value, key.most)
    if not key.above and key.least - slack <= value <= key.most:
        return key.least
    raise table.error(f"{table.quote(key.name)} {_range_words(key, unit, value)}", key.name)


def _range_words(key: Key, unit: str, value: float) -> str:
    unit = unit or ("s" if key.kind in ("time", "instant") else "")
    low, high = (from_si(b, key.kind, unit) if unit else b for b in (key.least, key.most))
    printed = f" {printed_unit(unit)}" if unit else ""
    also = ", or inf for no limit" if key.infinite and key.least >= 0 else ""
    if math.isinf(value):
        return f"is not finite: from {brief(low)} to {brief(high)}{printed} would be accepted."
    if value < key.least or (key.above and value == key.least):
        if key.kind == "instant" and key.least == 0.0:
            return "is before the epoch, from which times count: 0 or more would be accepted."
        return (
            f"is too small: {'more than' if key.above else 'at least'} {brief(low)}{printed} would be accepted{also}."
        )
    return f"is too large: at most {brief(high)}{printed} would be accepted{also}."


def _either(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}" if words else ""
