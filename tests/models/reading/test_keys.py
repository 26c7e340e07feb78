"""The reference of keys and the table of keys say the same."""

from __future__ import annotations

from pathlib import Path

import pytest

from ringwright.models.keys import TABLES, Key
from ringwright.models.readouts import brief
from ringwright.models.units import UNITS, from_si, printed_unit

REFERENCE = Path(__file__).parents[3] / "scenarios" / "README.md"


def accepted(key: Key) -> str:
    """The range or the choices of a key, in its second unit where it has several (km, deg, h), in words."""
    if key.choices and key.kind == "choice":
        return " or ".join(f'`"{choice}"`' for choice in key.choices)
    if key.kind == "flag" and key.choices:
        return "`true`, `false` or " + " or ".join(f'`"{choice}"`' for choice in key.choices)
    if key.kind in ("text", "texts", "path", "flag", "moment") or key.kind.startswith("table"):
        return {
            "text": "text",
            "texts": "a list of texts",
            "path": "the path of a file",
            "flag": "`true` or `false`",
            "moment": "a date-time with offset",
            "table": "a table",
            "tables": "a list of tables",
            "table or tables": "a table, or a list of tables",
        }[key.kind]
    units = list(UNITS.get(key.kind, {"": 1.0}))
    unit = next((u for u in ("km", "deg", "d", "kg", "m_s", "n", "km3_s2") if u in units), units[0])
    low, high = (from_si(bound, key.kind, unit) if unit else bound for bound in (key.least, key.most))
    kind = "whole, " if key.kind == "count" else ""
    words = f"{kind}{'above ' if key.above else ''}{brief(low, 5)} to {brief(high, 5)} {printed_unit(unit)}".rstrip()
    if key.choices:
        words += ", or " + " or ".join(f'`"{choice}"`' for choice in key.choices)
    return ("a list, " if key.several else "") + words + (", or `inf`" if key.infinite else "")


def row(key: Key) -> str:
    """A key as a row of the reference."""
    spellings = ", ".join(f"`{spelling}`" for spelling in key.spellings)
    default = "must be given" if key.required else (key.default.words if key.default else "-")
    return f"| {spellings} | {accepted(key)} | {default} | {key.meaning} |"


@pytest.mark.parametrize(("table", "key"), [(table, key) for table, keys in TABLES.items() for key in keys])
def test_reference_has_every_key(table: str, key: Key) -> None:
    text = REFERENCE.read_text(encoding="utf-8")
    heading = f"### `{table}`" if table else "### Top of the file"
    assert heading in text
    section = text.split(heading, 1)[1].split("\n### ", 1)[0]
    assert row(key) in section


def test_reference_has_no_other_key() -> None:
    rows = [line for line in REFERENCE.read_text(encoding="utf-8").splitlines() if line.startswith("| `")]
    assert sorted(rows) == sorted(row(key) for keys in TABLES.values() for key in keys)
