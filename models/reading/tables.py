"""From parsed TOML to tables of checked values: which keys may stand where, once each.

Every complaint names file, line, key, value and what would be accepted; for an unknown key, the nearest known one.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from datetime import date, datetime, time
from typing import Any

from ..errors import InputError
from ..keys import TABLES, Key, find_key, tables_with
from ..units import UNITS, split_unit
from .document import Entry, Origin, Table, written
from .values import KIND_WORDS, checked_value, either


def read_table(
    origin: Origin, tree: Mapping[str, Any], schema: str = "", path: str = "", raw_path: str = "", label: str = ""
) -> Table:
    """Check a table and all within it, key by key.

    Args:
        origin: the file; its epoch is set from the tree first, as instants count from it.
        schema: its entry in the table of keys.

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
            value = checked_value(table, key, unit, tree[spelled])
            table.entries[key.name] = Entry(spelled=spelled, written=tree[spelled], value=value)
            if key.kind == "moment" and isinstance(value, datetime):
                origin.epoch = value
    for key in TABLES[schema]:
        if key.required and not any(other.name in (key.name, *key.instead_of) for other, _ in found):
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
    with_units = either([f"{key.spelled}_{one}" for one in units])
    if unit and unit not in units:
        is_a = KIND_WORDS[key.kind]
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
    observed = table.schema.startswith("observed")
    there = [] if observed else [other for other in tables_with(spelled) if other != table.schema]
    near = difflib.get_close_matches(spelled.lower(), [s for key in here for s in key.spellings], n=1, cutoff=0.7)
    if there and spelled not in ("name",):
        also = difflib.get_close_matches(spelled.lower(), [s for key in here for s in key.spellings], n=1, cutoff=0.85)
        hint = f"; or did you mean {also[0]} here?" if also else "."
        return f"{name} is in the wrong table: {spelled} belongs in {either([table_words(t) for t in there])}{hint}"
    if near:
        return f"{name} is not a key of {table_words(table.schema)}: did you mean {near[0]}?"
    everywhere = {
        s: other
        for other, keys in TABLES.items()
        if other.startswith("observed") == observed
        for key in keys
        for s in key.spellings
    }
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
        "launch.blackout": "a blackout of [launch]",
        "launch.errors": "errors of [launch]",
        "launch.upper_stage": "the upper stage of [launch]",
        "carrier": "[[carrier]]",
        "craft.errors": "a craft's errors",
        "observed": "the top of the file",
        "observed.craft": "[[craft]]",
        "observed.craft.orbit": "a craft's orbit",
        "observed.craft.state": "a craft's state",
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


def _as_table(table: Table, key: Key) -> str:
    """How a table is written: with a heading at the top of the file, in braces inside another one."""
    braces = f"{key.name} = {{ key = value, ... }}"
    if table.schema:
        return f"write {f'{key.name} = [{{ key = value, ... }}]' if key.kind == 'tables' else braces}"
    return f"write {f'[[{key.name}]]' if key.kind == 'tables' else f'[{key.name}]'} and its keys in the lines below"


def _missing(table: Table, key: Key) -> str:
    meaning = key.meaning[0].lower() + key.meaning[1:].rstrip(".")
    if not table.schema and key.kind.startswith("table"):
        words = f"[[{key.name}]]" if key.kind == "tables" else f"[{key.name}]"
        return f"there is no {words}: add it ({meaning})."
    what = either([f"{s}" for s in key.spellings if s != key.spelled or key.kind not in UNITS])
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
                table, key.name, f"{prefix}{key.name} = {written(item)} is no table: {_as_table(table, key)}."
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
