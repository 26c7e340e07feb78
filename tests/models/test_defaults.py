"""Defaults are written once, in the table of keys: values, the reader and the words all follow it."""

from __future__ import annotations

import dataclasses
import math
import subprocess
import sys

import pytest

from ringwright.models.keys import TABLES, Key
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.models.scenario import (
    Body,
    Carrier,
    Craft,
    Errors,
    LimitSpec,
    Occupied,
    Orbit,
    Pad,
    RingSpec,
    Scenario,
    UpperStage,
)
from ringwright.models.units import split_unit
from ringwright.tests.tolerances import FLOAT_REL

VALUES = {
    "body": Body,
    "ring": RingSpec,
    "ring.occupied": Occupied,
    "limits": LimitSpec,
    "launch": Pad,
    "launch.upper_stage": UpperStage,
    "carrier": Carrier,
    "craft": Craft,
    "craft.orbit": Orbit,
    "goal": Scenario,
    "errors": Errors,
}
OTHER_NAMES = {"at_time": "at_s"}
IN_THE_FILE_ONLY = {("launch", "name"), ("carrier", "name")}
SMALLEST = """
body = { name = "Tessaly", gm_km3_s2 = 9120.5, radius_km = 1210.0, sidereal_day_h = 26.5 }
ring = { altitude_km = 700.0, slots = 2, occupied = [{ name = "Bolt", slot = 1 }] }
craft = [{ name = "Nut" }]
[[launch]]
latitude_deg = 0.0
longitude_deg = 0.0
insertion = { periapsis_km = 100.0, apoapsis_km = 700.0 }
upper_stage = { delta_v_m_s = 10.0 }
"""


def _with_value() -> list[tuple[str, Key]]:
    return [
        (table, key)
        for table, keys in TABLES.items()
        for key in keys
        if table in VALUES and key.absent is not None and (table, key.name) not in IN_THE_FILE_ONLY
    ]


@pytest.mark.parametrize(("table", "key"), _with_value(), ids=lambda part: getattr(part, "name", part))
def test_a_value_built_in_code_has_the_default_of_the_key(table: str, key: Key) -> None:
    name = OTHER_NAMES.get(key.name, key.name)
    fields = {split_unit(field.name)[0]: field.default for field in dataclasses.fields(VALUES[table])}
    fields |= {field.name: field.default for field in dataclasses.fields(VALUES[table])}
    fields |= dict(LimitSpec().further) if table == "limits" else {}
    assert fields[name] == key.absent


def test_a_value_read_from_a_file_has_it_too() -> None:
    read = parse_scenario(SMALLEST)
    (pad,), (craft,) = read.pads, read.craft
    assert pad.upper_stage is not None
    for table, value in (
        ("ring", read.ring),
        ("ring.occupied", read.ring.occupied[0]),
        ("launch", pad),
        ("launch.upper_stage", pad.upper_stage),
        ("craft", craft),
        ("goal", read),
    ):
        made = {split_unit(field.name)[0]: getattr(value, field.name) for field in dataclasses.fields(value)}
        made |= {field.name: getattr(value, field.name) for field in dataclasses.fields(value)}
        assert TABLES[table]
        for key in TABLES[table]:
            if key.absent is not None and key.name in made:
                assert made[key.name] == key.absent, f"{table}.{key.name}"
    assert read.limits == LimitSpec()
    assert read.title == next(key.absent for key in TABLES[""] if key.name == "title")
    assert pad.name == next(key.absent for key in TABLES["launch"] if key.name == "name")


CHANGED = """
import dataclasses
from ringwright.models import keys
keys.TABLES["ring"] = tuple(
    dataclasses.replace(key, default=keys.Default(value=0.25, unit="deg")) if key.name == "tolerance" else key
    for key in keys.TABLES["ring"]
)
from ringwright.models.reading.scenario_reader import parse_scenario
read = parse_scenario(SMALLEST)
print(read.ring.tolerance_rad, read.source.defaults["ring.tolerance"])
"""
"""A program that begins with another default in the table of keys."""


def test_a_changed_default_is_read() -> None:
    """Neither the values nor the reader hold the number: with another one in the table of keys they have that."""
    code = CHANGED.replace("SMALLEST", repr(SMALLEST))
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    value, words = done.stdout.strip().split(" ", 1)
    assert float(value) == pytest.approx(math.radians(0.25), rel=FLOAT_REL)
    assert words == "0.25 deg"
