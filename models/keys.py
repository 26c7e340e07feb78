"""The keys of a scenario file: where each may stand, its kind of quantity, its range, its default and its meaning.

They stand in ``keys.toml``, one row a key, and nowhere else: the reader's checks, its defaults, the suggestions for a
misspelled key, ``ringwright schema`` and the test of the reference of keys all come from there. Bounds here are in SI
units and radians.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any, Literal

from .readouts import brief
from .units import UNITS, printed_unit, split_unit, to_si

Kind = Literal[
    "length",
    "angle",
    "time",
    "instant",
    "mass",
    "speed",
    "force",
    "gm",
    "impulse",
    "area",
    "density",
    "span",
    "ratio",
    "count",
    "text",
    "choice",
    "texts",
    "path",
    "flag",
    "moment",
    "table",
    "tables",
    "table or tables",
]

FARTHEST_M = 1e13
"""No length in a scenario may exceed this: some 70 times the Sun's distance."""

SEVERAL_MAX = 500
"""Most numbers in a list of them."""

LONGEST_S = 1e11
"""No time in a scenario may exceed this: some 3000 years."""


@dataclass(frozen=True, kw_only=True)
class Default:
    """What is taken where a key is not given.

    Args:
        value: a number in ``unit``, a text or a truth value; None where absence is no value.
        unit: suffix of the unit that ``value`` is in, empty for none.
        remark: what it means, or the whole of it in words where there is no value.
    """

    value: float | str | bool | None = None
    unit: str = ""
    remark: str = ""

    @property
    def words(self) -> str:
        """As the reference of keys and ``ringwright check`` print it.

        >>> Default(value=0.0, unit="deg", remark="over the equator").words, Default(value=False).words
        ('0 deg, over the equator', 'false')
        """
        if self.value is None or self.value == math.inf:
            return self.remark
        if isinstance(self.value, bool):
            said = "true" if self.value else "false"
        elif isinstance(self.value, str):
            said = f'"{self.value}"'
        else:
            said = f"{brief(self.value)} {printed_unit(self.unit)}".rstrip()
        return f"{said}, {self.remark}" if self.remark else said


@dataclass(frozen=True, kw_only=True)
class Key:
    """One key of one table.

    Args:
        name: the quantity, without unit; unique in its table.
        kind: what its value is; a kind with units needs one of them as a suffix of the key.
        meaning: a sentence for the reference of keys.
        stem: how the key is spelled before the unit, where that is not the name.
        default: what is taken in its absence; None where it must be given or where absence means nothing. Written here
            alone: the values of ``scenario.py``, the reader and the reference of keys take it from here.
        required: whether the table is useless without it.
        least, most: range, in SI units and radians, both ends allowed.
        above: whether the lower end itself is refused.
        infinite: whether infinity is allowed.
        choices: the texts that are allowed, for a choice or instead of a number.
        instead_of: quantities that say the same in another way.
        spans: whether two numbers may stand in a list, from the least to the most of what may be chosen.
        several: whether its value is a list of numbers.
    """

    name: str
    kind: Kind
    meaning: str
    stem: str = ""
    default: Default | None = None
    required: bool = False
    least: float = -math.inf
    most: float = math.inf
    above: bool = False
    infinite: bool = False
    choices: tuple[str, ...] = ()
    instead_of: tuple[str, ...] = ()
    spans: bool = False
    several: bool = False

    @property
    def absent(self) -> float | str | bool | None:
        """The value taken in its absence, in SI units and radians; None where there is none."""
        if self.default is None or isinstance(self.default.value, str | bool | None):
            return None if self.default is None else self.default.value
        return to_si(self.default.value, self.kind, self.default.unit) if self.default.unit else self.default.value

    @property
    def spelled(self) -> str:
        """The key without its unit."""
        return self.stem or self.name

    @property
    def spellings(self) -> tuple[str, ...]:
        """Every way to write the key.

        >>> Key(name="ascent", kind="time", meaning="").spellings
        ('ascent_s', 'ascent_min', 'ascent_h', 'ascent_d', 'ascent')
        """
        found = [f"{self.spelled}_{unit}" for unit in UNITS.get(self.kind, {})]
        if self.bare:
            found.append(self.spelled)
        return tuple(found)

    @property
    def bare(self) -> bool:
        """Whether the key may stand without a unit: it has none, or its value may be a clock time or a date."""
        return self.kind not in UNITS or (self.kind in ("time", "instant") and not self.stem)


NAMELESS = "scenario"
"""What the rows call the top of a scenario file; everywhere else its name is empty."""

_WIDEST = {"length": FARTHEST_M, "time": LONGEST_S, "instant": LONGEST_S, "angle": 100.0 * 2.0 * math.pi}
"""Largest size of a quantity whose row leaves an end of its range open, in SI units and radians."""


def _rows() -> dict[str, tuple[Key, ...]]:
    """Read ``keys.toml``. Raises ValueError for a row that says what no row may say: a fault of ours."""
    text = files(__package__).joinpath("keys.toml").read_text(encoding="utf-8")
    tables = tomllib.loads(text)
    return {
        "" if table == NAMELESS else table: tuple(_key(name, dict(row)) for name, row in rows.items())
        for table, rows in tables.items()
    }


def _key(name: str, row: dict[str, Any]) -> Key:
    kind: Kind = row.pop("kind")
    least, most, above = _range(kind, row.pop("range", ".."))
    default = _default(kind, row.pop("default", None), row.pop("remark", ""))
    made = Key(
        name=name,
        kind=kind,
        meaning=row.pop("help"),
        stem=row.pop("stem", ""),
        default=default,
        required=row.pop("required", False),
        least=least,
        most=most,
        above=above,
        infinite=row.pop("infinite", False),
        choices=tuple(row.pop("choices", ())),
        instead_of=tuple(row.pop("instead_of", ())),
        spans=row.pop("spans", False),
        several=row.pop("several", False),
    )
    if row:
        raise ValueError(f"the row of {name} has unknown columns: {', '.join(row)}")
    return made


def _range(kind: str, text: str) -> tuple[float, float, bool]:
    """Ends of a range such as ``above 0..60 s`` in SI units and radians, and whether the lower one is refused.

    >>> _range("time", "above 0..2 h"), _range("count", "1..12")
    ((0.0, 7200.0, True), (1.0, 12.0, False))
    """
    widest = _WIDEST.get(kind, math.inf)
    numbers, _, unit = text.removeprefix("above ").partition(" ")
    low, _, high = numbers.partition("..")
    least = _si(float(low), kind, unit) if low else -widest
    most = _si(float(high), kind, unit) if high else widest
    return least, most, text.startswith("above ")


def _default(kind: str, value: float | str | bool | None, remark: str) -> Default | None:
    if value is None and not remark:
        return None
    if isinstance(value, str) and kind in UNITS:
        number, _, unit = value.partition(" ")
        return Default(value=float(number), unit=unit, remark=remark)
    return Default(value=value, remark=remark)


def _si(value: float, kind: str, unit: str) -> float:
    return to_si(value, kind, unit) if unit else value


TABLES: Mapping[str, tuple[Key, ...]] = _rows()
"""Keys of each table; an item of a list of tables goes by the name of the list."""


def number_by_default(table: str, name: str) -> float:
    """The number that a key has where it is not given, in SI units and radians.

    Raises:
        KeyError: no such key, or its absence is no number.

    >>> number_by_default("ring", "hold_for"), number_by_default("limits", "finish_within")
    (31557600.0, inf)
    """
    value = _absent(table, name)
    if isinstance(value, str | bool | None):
        raise KeyError(f"{table}.{name} has no number by default")
    return float(value)


def count_by_default(table: str, name: str) -> int:
    """The same for a whole number."""
    return int(number_by_default(table, name))


def text_by_default(table: str, name: str) -> str:
    """The text that a key has where it is not given. Raises KeyError where there is none.

    >>> text_by_default("goal", "minimize")
    'delta_v'
    """
    value = _absent(table, name)
    if not isinstance(value, str):
        raise KeyError(f"{table}.{name} has no text by default")
    return value


def flag_by_default(table: str, name: str) -> bool:
    """Whether a key holds where it is not given. Raises KeyError where its absence says nothing."""
    value = _absent(table, name)
    if not isinstance(value, bool):
        raise KeyError(f"{table}.{name} is neither true nor false by default")
    return value


def _absent(table: str, name: str) -> float | str | bool | None:
    return next(key.absent for key in TABLES[table] if key.name == name)


def find_key(table: str, spelled: str) -> tuple[Key, str] | None:
    """Find a key of a table from its spelling, with the unit that it carries; None where there is no such key.

    The unit may be one that the quantity does not have: the caller says so better than "unknown key" would.

    >>> key, unit = find_key("limits", "finish_within_d")
    >>> key.name, unit
    ('finish_within', 'd')
    >>> find_key("limits", "finish_in_d") is None
    True
    """
    stem, unit = split_unit(spelled)
    for key in TABLES[table]:
        if key.bare and key.spelled == spelled:
            return key, ""
    for key in TABLES[table]:
        if key.spelled == stem and key.kind in UNITS:
            return key, unit
    for key in TABLES[table]:
        if key.spelled == spelled and key.kind in UNITS:
            return key, ""
    return None


def tables_with(spelled: str) -> tuple[str, ...]:
    """Tables that know a key of exactly this spelling.

    >>> tables_with("clearance_km"), tables_with("name")[:2]
    (('limits',), ('body', 'ring.occupied'))
    """
    return tuple(
        table
        for table, keys in TABLES.items()
        if not table.startswith("observed") and any(spelled in key.spellings for key in keys)
    )
