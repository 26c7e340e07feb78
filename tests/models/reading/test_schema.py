"""The schemas against jsonschema: scenarios and results pass, broken files fail where a schema can say.

JSON Schema 2020-12; the checker is the library jsonschema.
"""

from __future__ import annotations

import tomllib
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

import jsonschema
import pytest

import ringwright
from ringwright.models.reading.schema import scenario_schema
from ringwright.reports.result import result
from ringwright.reports.result_schema import OBJECTS, result_schema
from ringwright.tests.reports import sample

ROOT = Path(ringwright.__file__).parent
SCENARIOS = sorted((ROOT / "scenarios").glob("*.toml"))
BROKEN = sorted((ROOT / "tests" / "broken").glob("*.toml"))

SCENARIO, RESULT = map(jsonschema.Draft202012Validator, (scenario_schema(), result_schema()))

LEAST_SEEN = 36
"""Of the broken files a schema sees at least so many; the rest are faults of keys that do not fit one another."""


def plain(value: Any) -> Any:
    """TOML values as JSON has them: dates as texts."""
    if isinstance(value, dict):
        return {key: plain(one) for key, one in value.items()}
    if isinstance(value, list):
        return [plain(one) for one in value]
    return value.isoformat() if isinstance(value, datetime | date | time) else value


def test_the_schemas_are_schemas() -> None:
    for schema in (scenario_schema(), scenario_schema("observed"), result_schema()):
        jsonschema.Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_every_bundled_scenario_passes(path: Path) -> None:
    assert SCENARIOS
    SCENARIO.validate(plain(tomllib.loads(path.read_text(encoding="utf-8"))))


def test_broken_files_fail_as_far_as_a_schema_can_say() -> None:
    seen, read = set(), 0
    for path in BROKEN:
        try:
            tree = tomllib.loads(path.read_text(encoding="utf-8"))
        except (tomllib.TOMLDecodeError, UnicodeDecodeError):
            continue
        read += 1
        if not SCENARIO.is_valid(plain(tree)):
            seen.add(path.stem)
    assert {"unknown-key", "unit-missing", "two-units", "negative-mass", "no-slots", "true-as-number"} <= seen
    assert len(seen) >= LEAST_SEEN, (len(seen), read)


@pytest.mark.parametrize(
    "make", [sample.relay, sample.dozen, sample.single, sample.freeform, sample.parked, sample.impossible]
)
def test_results_pass_and_every_field_is_in_the_schema(make: Any) -> None:
    value = result(make())
    RESULT.validate(value)
    _known(value, "result")


def _known(value: Any, name: str) -> None:
    fields = dict(row.split("=") for row in OBJECTS[name].split())
    for key, inside in value.items():
        assert key in fields, f"{name}.{key} is not in the schema"
        kind = fields[key].rstrip("?~").strip("[]")
        if kind in OBJECTS:
            for one in inside if isinstance(inside, list) else [inside]:
                if one is not None:
                    _known(one, kind)
