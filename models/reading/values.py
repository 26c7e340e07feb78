"""One value of a scenario file: its kind, its range, its conversion into SI units.

Each complaint names file, line, key, value and what would be accepted.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping
from datetime import date, datetime, time

from ..keys import SEVERAL_MAX, Key
from ..readouts import clock_seconds, no_less, no_more
from ..units import UNITS, from_si, printed_unit, to_si
from .document import Table, written

KIND_WORDS = {
    "length": "a length",
    "angle": "an angle",
    "time": "a length of time",
    "instant": "a moment",
    "mass": "a mass",
    "speed": "a speed",
    "force": "a force",
    "gm": "a gravitational parameter",
    "impulse": "a specific impulse",
    "area": "an area",
    "density": "a density",
    "span": "a span of time",
    "ratio": "a number",
    "count": "a whole number",
    "text": "text in quotes",
    "choice": "text in quotes",
    "texts": "a list of texts in quotes",
    "path": "the path of a file in quotes",
    "flag": "true or false",
    "moment": "a date-time such as 2031-05-01T00:00:00Z",
}
"""What a value of each kind is, in words."""


TEXT_MAX, PATH_MAX = 80, 1000
"""Most characters of a text, and of the path of a file."""


def checked_value(table: Table, key: Key, unit: str, value: object) -> object:
    """Check one value and convert it into SI units or radians.

    Args:
        table: where it stands; it holds the value as written already, for messages.
        unit: the unit that its key carries, empty for none.

    Raises:
        InputError: it cannot be used.
    """
    if key.kind == "texts":
        return _texts(table, key, value)
    if key.several:
        return _several(table, key, unit, value)
    if isinstance(value, list) and key.spans:
        return _span(table, key, unit, value)
    if isinstance(value, Mapping | list):
        raise table.refused(key.name, f"is a table or list: write {KIND_WORDS[key.kind]}.")
    if isinstance(value, str) and key.choices and (key.kind == "choice" or not _numeric(value)):
        return _choice(table, key, value)
    if key.kind in ("text", "choice", "path"):
        return _text(table, key, value, PATH_MAX if key.kind == "path" else TEXT_MAX)
    if key.kind == "flag":
        if not isinstance(value, bool):
            also = "".join(f', or "{choice}"' for choice in key.choices)
            raise table.refused(key.name, f"should be true or false, without quotes{also}.")
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
    allowed = either([f'"{choice}"' for choice in key.choices])
    also = {"angle": f", or a number with {key.spelled}_deg", "count": ", or a whole number", "flag": ", true or false"}
    raise table.refused(key.name, f"should be {allowed}{also.get(key.kind, '')}{hint}.")


def _text(table: Table, key: Key, value: object, most: int) -> str:
    if not isinstance(value, str):
        raise table.refused(key.name, f'should be text: write "{written(value)}" in quotes.')
    text = value.strip()
    if not text:
        raise table.refused(key.name, "is empty: give it a text of at least one letter.")
    if len(text) > most or not text.isprintable():
        raise table.refused(key.name, f"should be one line of at most {most} plain characters.")
    return text


def _texts(table: Table, key: Key, value: object) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise table.refused(key.name, f'should be a list: write {key.spelled} = ["first", "second"].')
    if not value:
        raise table.refused(key.name, "is an empty list: fill it or leave it out.")
    for item in value:
        if not isinstance(item, str) or not item.strip():
            raise table.refused(key.name, "should hold texts in quotes only.")
    names = tuple(item.strip() for item in value)
    if len(set(names)) < len(names):
        raise table.refused(key.name, "names one twice: name each once.")
    return names


def _several(table: Table, key: Key, unit: str, value: object) -> tuple[float, ...]:
    if not isinstance(value, list):
        raise table.refused(key.name, f"should be a list: write {key.spelled}{unit and '_'}{unit} = [0, ...].")
    if not value:
        raise table.refused(key.name, "is an empty list: fill it or leave it out.")
    if len(value) > SEVERAL_MAX:
        raise table.refused(key.name, f"holds {len(value)} numbers: up to {SEVERAL_MAX} would be accepted.")
    return tuple(_number(table, key, unit, one) for one in value)


def _span(table: Table, key: Key, unit: str, value: list[object]) -> tuple[float, ...]:
    if len(value) != 2:
        raise table.refused(key.name, "should hold two numbers, the least and the most of what may be chosen.")
    low, high = (_number(table, key, unit, one) for one in value)
    if low >= high:
        raise table.refused(key.name, "should hold the lesser number first: swap them, or give one alone.")
    return low, high


def _moment(table: Table, key: Key, value: object) -> object:
    if not isinstance(value, datetime):
        if isinstance(value, date):
            raise table.refused(key.name, f"lacks a time of day: write {value.isoformat()}T00:00:00Z.")
        if isinstance(value, str):
            raise table.refused(key.name, "is text: write the date-time without quotes, as 2031-05-01T00:00:00Z.")
        raise table.refused(key.name, f"should be {KIND_WORDS['moment']}.")
    if key.kind not in ("moment", "instant"):
        raise table.refused(key.name, f"is a date, where {KIND_WORDS[key.kind]} is wanted: write a number.")
    if value.utcoffset() is None:
        bare = value.isoformat()
        raise table.refused(
            key.name, f"has no offset from UTC: write {bare}Z for UTC, or {bare}+02:00 for two hours ahead of it."
        )
    if key.kind == "moment":
        return value
    epoch = table.origin.epoch
    if epoch is None:
        raise table.refused(
            key.name,
            f"is a date, but the scenario has no epoch to count from: add epoch = {written(value)} at the top, or "
            f"write {either([f'{key.spelled}_{one}' for one in UNITS[key.kind]])}.",
        )
    seconds = (value - epoch).total_seconds()
    if seconds < key.least:
        raise table.refused(key.name, f"is before the epoch, {written(epoch)}: give a moment after it.")
    return seconds


def _clock(table: Table, key: Key, unit: str, value: str) -> float:
    if _numeric(value):
        raise table.refused(key.name, f"is text, where {KIND_WORDS[key.kind]} is wanted: take the quotes off.")
    if key.kind not in ("time", "instant"):
        raise table.refused(key.name, f"is text, where {KIND_WORDS[key.kind]} is wanted: write a number.")
    if unit and key.bare:
        raise table.refused(
            key.name,
            f"has a unit in its key and a clock time as its value: write {key.spelled} = {written(value)} as h:mm:ss, "
            "or a number.",
        )
    try:
        return clock_seconds(value)
    except ValueError as problem:
        raise table.refused(key.name, f"{problem}.") from None


def _number(table: Table, key: Key, unit: str, value: object) -> float | int:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise table.refused(key.name, f"should be {KIND_WORDS[key.kind]}: write a number.")
    if key.kind == "count":
        if isinstance(value, float) and not value.is_integer():
            raise table.refused(key.name, "should be a whole number.")
        whole = int(value) if isinstance(value, int) or math.isfinite(value) else -1
        if not key.least <= whole <= key.most:
            raise table.refused(
                key.name, f"is out of range: from {no_less(key.least)} to {no_more(key.most)} would be accepted."
            )
        return whole
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if math.isnan(number):
        raise table.refused(key.name, "is not a number: give a finite one.")
    return _in_range(table, key, unit, to_si(number, key.kind, unit) if unit else number)


def _in_range(table: Table, key: Key, unit: str, value: float) -> float:
    if math.isinf(value) and key.infinite and (value > 0 or key.least < 0):
        return value
    if key.name == "sidereal_day" and value == 0.0:
        raise table.refused(key.name, "would turn without end: give the period, or inf for a body that does not turn.")
    if math.isinf(value):
        raise table.refused(key.name, range_words(key, unit, value))
    inside = key.least < value if key.above else key.least <= value
    # a bound that is itself converted from the unit must not fail by a rounding
    slack = 1e-12 * abs(value)
    if inside and value <= key.most + slack:
        return min(value, key.most)
    if not key.above and key.least - slack <= value <= key.most:
        return key.least
    raise table.refused(key.name, range_words(key, unit, value))


def range_words(key: Key, unit: str, value: float) -> str:
    """Why a value out of a key's range is refused, and what would be accepted, in the unit that it was given in."""
    unit = unit or ("s" if key.kind in ("time", "instant") else "")
    low, high = (from_si(b, key.kind, unit) if unit else b for b in (key.least, key.most))
    printed = f" {printed_unit(unit)}" if unit else ""
    also = ", or inf for no limit" if key.infinite and key.least >= 0 else ""
    if math.isinf(value):
        return f"is not finite: from {no_less(low)} to {no_more(high)}{printed} would be accepted."
    if value < key.least or (key.above and value == key.least):
        if key.kind == "instant" and key.least == 0.0:
            return "is before the epoch, from which times count: 0 or more would be accepted."
        return (
            f"is too small: {'more than' if key.above else 'at least'} {no_less(low)}{printed} would be accepted{also}."
        )
    return f"is too large: at most {no_more(high)}{printed} would be accepted{also}."


def either(words: list[str]) -> str:
    """Join alternatives as in a sentence.

    >>> either(["a", "b", "c"])
    'a, b or c'
    """
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}" if words else ""
