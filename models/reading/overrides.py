"""Overrides of a scenario: ``ring.altitude_km=9000``, ``craft.Teal.propellant_kg=250``, ``craft[0].stay=true``.

Each replaces one value of the file before anything is checked. The new spelling of a quantity takes the place of the
old one, so that ``ring.period=5:47:39.7`` removes ``ring.altitude_km``.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterator, Sequence
from typing import Any

from ..errors import InputError
from ..keys import TABLES, find_key

_PART = re.compile(r'\.?(?:([A-Za-z0-9_-]+)|"([^"]*)"|\'([^\']*)\'|\[(\d+)\])')
# what a shell leaves of a quoted text: a word, a clock time
_WORDS = re.compile(r"[A-Za-z][\w .-]*|[-+]?\d+(:\d+)+(\.\d+)?")
_LISTS = {"craft", "launch", "launch.blackout", "launch.insertion", "ring.occupied"}


def apply_settings(tree: dict[str, Any], settings: Sequence[str]) -> dict[str, str]:
    """Set values of a parsed scenario, in place.

    Args:
        settings: each ``key=value``: a dotted key, list items by number in brackets or by name; the value as TOML
            writes it, where a plain word or a clock time needs no quotes.

    Returns:
        For each value set, its path (list items counted, without unit) and the setting that did it.

    Raises:
        InputError: a setting that cannot be read, or a list item that does not exist.

    >>> tree = {"ring": {"altitude_km": 9000}, "craft": [{"name": "Teal"}]}
    >>> apply_settings(tree, ["ring.period=5:00:00", "craft.Teal.stay=true"])
    {'ring.period': 'ring.period=5:00:00', 'craft[0].stay': 'craft.Teal.stay=true'}
    >>> tree
    {'ring': {'period': '5:00:00'}, 'craft': [{'name': 'Teal', 'stay': True}]}
    """
    done: dict[str, str] = {}
    for setting in settings:
        left, equals, right = setting.partition("=")
        if not equals or not left.strip() or not right.strip():
            raise _error(setting, "is no setting: write key=value, such as ring.altitude_km=9000.")
        parts = list(_parts(left.strip(), setting))
        if isinstance(parts[-1], int):
            raise _error(setting, "ends in a list item: name the key within it, such as craft[0].propellant_kg=250.")
        table, schema, path = _walk(tree, parts, setting)
        done[_put(table, schema, path, parts[-1], _value(right.strip(), setting))] = setting
    return done


def _error(setting: str, problem: str) -> InputError:
    return InputError(f"--set {setting} {problem}")


def _parts(key: str, setting: str) -> Iterator[str | int]:
    at = 0
    while at < len(key):
        match = _PART.match(key, at)
        if match is None or match.end() == at or (at == 0 and (key.startswith(".") or match.group(4))):
            raise _error(setting, f"has a key that cannot be read at {key[at:]!r}: write it as ring.altitude_km.")
        bare, double, single, index = match.groups()
        yield int(index) if index is not None else next(p for p in (bare, double, single) if p is not None)
        at = match.end()


def _value(text: str, setting: str) -> object:
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except (tomllib.TOMLDecodeError, ValueError, RecursionError):
        if _WORDS.fullmatch(text):
            return text
    if re.fullmatch(r"[-+]?\d+,\d+", text):
        raise _error(setting, f"has a decimal comma: write {text.replace(',', '.')}.")
    raise _error(setting, 'has a value that TOML does not know: write a number, true, false, a date-time or "text".')


def _walk(tree: dict[str, Any], parts: list[str | int], setting: str) -> tuple[dict[str, Any], str, str]:
    """The table that holds the last part, its entry in the table of keys, and its path."""
    node, schema, path = tree, "", ""
    at = 0
    while at < len(parts) - 1:
        part = parts[at]
        if isinstance(part, int):
            raise _error(setting, f"counts items of {path or 'the file'}, which is not a list: leave the number out.")
        schema = f"{schema}.{part}" if schema else part
        path = f"{path}.{part}" if path else part
        at += 1
        if schema not in TABLES:
            near = difflib.get_close_matches(schema, [t for t in TABLES if t], n=1, cutoff=0.6)
            hint = f": did you mean {near[0]}?" if near else f": the tables are {', '.join(t for t in TABLES if t)}."
            raise _error(setting, f"names a table that does not exist, {schema}{hint}")
        inside = node.get(part)
        if inside is None and schema in _LISTS:
            raise _error(setting, f"sets a value of {path}, but the file has none: add it to the file first.")
        if inside is None:
            inside = node[part] = {}
        if isinstance(inside, list):
            index, used = _pick(inside, parts[at] if at < len(parts) - 1 else None, path, setting)
            at += used
            inside, path = inside[index], f"{path}[{index}]"
        elif schema in _LISTS:
            at += 1 if at < len(parts) - 1 and parts[at] in (0, inside.get("name")) else 0
            path = f"{path}[0]" if schema.startswith("launch") else path
        if not isinstance(inside, dict):
            raise _error(
                setting, f"goes into {path}, which is not a table: name a key of a table, such as ring.altitude_km."
            )
        node = inside
    return node, schema, path


def _pick(items: list[Any], part: str | int | None, path: str, setting: str) -> tuple[int, int]:
    """Index of the item of a list that a part names, and how many parts that took."""
    names = [item.get("name") if isinstance(item, dict) else None for item in items]
    if isinstance(part, int):
        if part < len(items):
            return part, 1
        raise _error(setting, f"asks for item {part} of {path}, which has {len(items)}, counted from 0.")
    if part in names:
        if names.count(part) > 1:
            raise _error(setting, f"names {part}, but several items of {path} are called so: use a number in brackets.")
        return names.index(part), 1
    if len(items) == 1:
        return 0, 0
    known = [name for name in names if isinstance(name, str)]
    near = difflib.get_close_matches(part or "", known, n=1, cutoff=0.5)
    hint = f" (did you mean {near[0]}?)" if near else ""
    raise _error(setting, f"should name an item of {path}: {', '.join(known) or f'{path}[0]'}{hint}.")


def _put(table: dict[str, Any], schema: str, path: str, last: str | int, value: object) -> str:
    spelled = str(last)
    found = find_key(schema, spelled)
    name = spelled
    if found is not None:
        name = found[0].name
        for other in list(table):
            known = find_key(schema, other)
            if known is not None and (known[0].name == name or known[0].name in found[0].instead_of):
                del table[other]
    table[spelled] = value
    return f"{path}.{name}" if path else name
