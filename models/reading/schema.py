"""The keys as a JSON Schema (2020-12), for editors and other checkers of scenario files.

A schema says which keys may stand where, their kinds and ranges, what must be given and what excludes what. What keys
say to one another (a floor above the ring, say) it cannot: ``ringwright check`` does. Dates are strings here, as JSON
has none; infinity is the text ``inf`` or a number beyond every range.
"""

from __future__ import annotations

import math
from typing import Any

from ..keys import SEVERAL_MAX, TABLES, Key
from ..units import UNITS, from_si

DRAFT = "https://json-schema.org/draft/2020-12/schema"

CLOCK = r"^-?\d+:[0-5]?\d:[0-5]?\d(\.\d+)?$"
"""A time as instruments show it."""


def scenario_schema(table: str = "") -> dict[str, Any]:
    """The schema of a scenario file, or of a file of observations where ``table`` is ``observed``.

    >>> schema = scenario_schema()
    >>> schema["$defs"]["ring"]["properties"]["altitude_km"]["maximum"]
    10000000000.0
    """
    what = "observations for ringwright replan" if table else "a Ringwright scenario"
    inside = [name for name in TABLES if name and name != table and _below(name, table)]
    return {"$schema": DRAFT, "title": what, **_table(table), "$defs": {name: _table(name) for name in inside}}


def _below(name: str, table: str) -> bool:
    """Whether a table stands somewhere in the file whose top is ``table``."""
    return name.startswith(f"{table}.") if table else not name.startswith("observed")


def _table(table: str) -> dict[str, Any]:
    keys = TABLES[table]
    rules: list[dict[str, Any]] = [_one_of(key, keys) for key in keys if key.required]
    rules += [rule for rule in (_at_most_one(key, keys) for key in keys) if rule]
    made: dict[str, Any] = {
        "type": "object",
        "properties": {spelled: _value(table, key, spelled) for key in keys for spelled in key.spellings},
        "additionalProperties": False,
    }
    return {**made, "allOf": rules} if rules else made


def _one_of(key: Key, keys: tuple[Key, ...]) -> dict[str, Any]:
    """That one spelling of a key is given, or of one that says the same."""
    spellings = [*key.spellings, *(s for other in keys if other.name in key.instead_of for s in other.spellings)]
    if len(spellings) == 1:
        return {"required": spellings}
    return {"anyOf": [{"required": [spelled]} for spelled in spellings]}


def _at_most_one(key: Key, keys: tuple[Key, ...]) -> dict[str, Any]:
    """That a key is spelled once, and not beside one that says the same."""
    later = keys[keys.index(key) + 1 :]
    others = [s for other in later if other.name in key.instead_of for s in other.spellings]
    pairs = [[one, other] for i, one in enumerate(key.spellings) for other in (*key.spellings[i + 1 :], *others)]
    return {"not": {"anyOf": [{"required": pair} for pair in pairs]}} if pairs else {}


def _value(table: str, key: Key, spelled: str) -> dict[str, Any]:
    said: dict[str, Any] = {"description": key.meaning}
    if key.default is not None:
        said["description"] += f" Default: {key.default.words}."
    if key.kind.startswith("table"):
        item = {"$ref": f"#/$defs/{table}.{key.name}" if table else f"#/$defs/{key.name}"}
        items = {"type": "array", "items": item, "minItems": 1}
        if key.kind == "table or tables":
            return {**said, "anyOf": [item, items]}
        return {**said, **(items if key.kind == "tables" else item)}
    return {**said, **_simple(key, spelled)}


def _simple(key: Key, spelled: str) -> dict[str, Any]:
    if key.kind == "choice":
        return {"enum": list(key.choices)}
    if key.kind in ("text", "path"):
        return {"type": "string", "minLength": 1}
    if key.kind == "texts":
        return {"type": "array", "items": {"type": "string"}, "minItems": 1}
    if key.kind == "flag":
        return {"anyOf": [{"type": "boolean"}, {"enum": list(key.choices)}]} if key.choices else {"type": "boolean"}
    if key.kind == "moment":
        return {"type": "string", "format": "date-time"}
    unit = spelled.removeprefix(f"{key.spelled}_") if spelled != key.spelled else ""
    forms = [] if key.kind in UNITS and not unit else [_number(key, unit)]
    if key.several:
        return {"type": "array", "items": forms[0], "minItems": 1, "maxItems": SEVERAL_MAX, "uniqueItems": True}
    if key.spans and forms:
        forms.append({"type": "array", "items": forms[0], "minItems": 2, "maxItems": 2})
    if key.choices:
        forms.append({"enum": list(key.choices)})
    if key.bare and not unit and key.kind in ("time", "instant"):
        forms.append({"type": "string", "pattern": CLOCK})
    if key.bare and not unit and key.kind == "instant":
        forms.append({"type": "string", "format": "date-time"})
    return forms[0] if len(forms) == 1 else {"anyOf": forms}


def _number(key: Key, unit: str) -> dict[str, Any]:
    made: dict[str, Any] = {"type": "integer" if key.kind == "count" else "number"}
    low, high = (from_si(end, key.kind, unit) if unit else end for end in (key.least, key.most))
    if math.isfinite(low):
        made["exclusiveMinimum" if key.above else "minimum"] = low
    if math.isfinite(high) and not key.infinite:
        made["maximum"] = high
    return made
