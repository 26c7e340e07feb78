"""A re-spaced scenario as a file: the one that was read, with its ring, its craft and its epoch as they are then.

What is written is what is planned: the planner reads the text, too. Comments of the file that was read are not kept.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Sequence
from datetime import date, time
from pathlib import Path
from typing import Any

from ..models.burns import delta_v_available
from ..models.keys import find_key
from ..models.reading.overrides import apply_settings
from ..models.reading.toml_text import file_text, toml_tree
from ..models.scenario import Body, Craft, Orbit, Scenario

ANGLE_DIGITS, KM_DIGITS, TIME_DIGITS = 9, 6, 3
"""Decimals that are written: of angles in degrees, lengths in km, times in s."""

ROUNDING = 1e-6
"""Share by which a reserve that is all there is stays below it, so that the file can be read."""

REPLACED = ("orbit", "opm", "oem", "state_at", "stay", "ready", "pads", "load", "propellant", "reserve")
"""Keys of a craft that say where it was and what it had then."""


def respaced_text(file: str, settings: Sequence[str], made: Scenario, after_s: float = 0.0) -> str:
    """The text of a re-spaced scenario.

    Args:
        file: the scenario that it was made from, with what was set on the command line.
        made: the scenario as it is re-spaced.
        after_s: how long its epoch is after that of the file.
    """
    tree = toml_tree(file_text(Path(file), file), file)
    apply_settings(tree, settings)
    own = {one.get("name"): one for one in tree.get("craft", [])}
    for name in ("launch", "carrier", "spare"):
        tree.pop(name, None)
    if made.title:
        tree["title"] = made.title
    tree["ring"] = _ring(tree["ring"], made)
    if after_s:
        _move_epoch(tree, made)
    tree["craft"] = [_craft(own.get(one.name, {}), one, made.body) for one in made.craft]
    return toml_of(tree)


def called_text(file: str, settings: Sequence[str], made: Scenario, after_s: float = 0.0) -> str:
    """The text of the scenario of a spare that is called, its slots where they are: arguments of `respaced_text`."""
    tree = toml_tree(file_text(Path(file), file), file)
    apply_settings(tree, settings)
    own = {one.get("name"): one for one in tree.pop("spare")}
    for name in ("launch", "carrier", "risk"):
        tree.pop(name, None)
    spec = made.ring
    left = _without("ring", tree["ring"], ("leave_free", "slot0", "occupied", "planes", "phasing", "spread", "node"))
    if spec.longitude_rad is None:
        left["slot0_deg"] = _degrees(spec.slot0_rad or 0.0)
    if spec.node_rad:
        left["node_deg"] = _degrees(spec.node_rad)
    if spec.leave_free:
        left["leave_free"] = list(spec.leave_free)
    if spec.occupied:
        left["occupied"] = [
            {"name": one.name, "slot": one.slot, "angle_deg": _degrees(one.angle_rad or 0.0)} for one in spec.occupied
        ]
    tree["ring"] = left
    if "goal" in tree:
        tree["goal"] = _without("goal", tree["goal"], ("first_service",))
    if after_s:
        _move_epoch(tree, made)
    where = ("after_slot", "angle", "altitude", "plane")
    tree["craft"] = [_craft(_without("spare", own.get(one.name, {}), where), one, made.body) for one in made.craft]
    return toml_of(tree)


def _ring(table: dict[str, Any], made: Scenario) -> dict[str, Any]:
    spec = made.ring
    left = _without(
        "ring", table, ("slots", "pattern", "leave_free", "slot0", "occupied", "planes", "phasing", "spread", "node")
    )
    if spec.pattern_rad:
        left["slots_deg"] = [round(math.degrees(one), ANGLE_DIGITS) for one in spec.pattern_rad]
    else:
        left["slots"] = spec.slots
    left["slot0_deg"] = "free"
    if spec.node_rad:
        left["node_deg"] = _degrees(spec.node_rad)
    return left


def _move_epoch(tree: dict[str, Any], made: Scenario) -> None:
    if made.epoch is not None:
        tree["epoch"] = made.epoch
    tree["body"] = _without("body", tree["body"], ("prime_meridian",))
    tree["body"]["prime_meridian_deg"] = _degrees(made.body.prime_meridian_rad)
    for table, pull in zip(tree.get("pull", []), made.pulls, strict=True):
        table["orbit"] = _without("pull.orbit", table["orbit"], ("angle",))
        table["orbit"]["angle_deg"] = _degrees(pull.angle_rad)


def _craft(table: dict[str, Any], one: Craft, body: Body) -> dict[str, Any]:
    left = {"name": one.name} | _without("craft", table, REPLACED)
    if one.propellant_kg is not None:
        left["propellant_kg"] = one.propellant_kg
        left |= _reserve(one)
    if one.stay:
        left["stay"] = True
    if one.ready_s:
        left["ready_s"] = round(one.ready_s, TIME_DIGITS)
    if one.orbit is not None:
        left["orbit"] = _orbit(one.orbit, body)
    return left


def _reserve(one: Craft) -> dict[str, float]:
    """What a craft keeps back, as far as it has that: a plan may leave it its reserve and no more, but for rounding."""
    if one.dry_mass_kg is None or one.propellant_kg is None or one.isp_s is None:
        return {}
    able = float(delta_v_available(one.dry_mass_kg + one.propellant_kg, one.propellant_kg, one.isp_s))
    kept = min(one.reserve_m_s, able * (1.0 - ROUNDING))
    return {"reserve_m_s": kept} if kept > 0.0 else {}


def _orbit(orbit: Orbit, body: Body) -> dict[str, Any]:
    def height(radius_m: float) -> float:
        return round((radius_m - body.radius_m) / 1e3, KM_DIGITS)

    if orbit.circular:
        made: dict[str, Any] = {"altitude_km": height(orbit.periapsis_m)}
    else:
        made = {"periapsis_km": height(orbit.periapsis_m), "apoapsis_km": height(orbit.apoapsis_m), "at": orbit.at}
    made["angle_deg"] = _degrees(orbit.angle_rad)
    if orbit.at_s:
        made["at_s"] = round(orbit.at_s, TIME_DIGITS)
    return made


def _without(schema: str, table: dict[str, Any], names: Iterable[str]) -> dict[str, Any]:
    """A table without some keys, in whatever unit they are written."""
    known = {spelled: found[0].name if (found := find_key(schema, spelled)) else spelled for spelled in table}
    return {spelled: value for spelled, value in table.items() if known[spelled] not in names}


def _degrees(angle_rad: float) -> float:
    return round(math.degrees(angle_rad % (2.0 * math.pi)), ANGLE_DIGITS)


def toml_of(tree: dict[str, Any]) -> str:
    """A document as TOML 1.0: plain values, tables and lists of tables at the top, all else within a line.

    >>> print(toml_of({"title": "Two", "ring": {"slots": 2}, "craft": [{"name": "Ash", "orbit": {"angle_deg": 4.5}}]}))
    title = "Two"
    <BLANKLINE>
    [ring]
    slots = 2
    <BLANKLINE>
    [[craft]]
    name = "Ash"
    orbit = { angle_deg = 4.5 }
    <BLANKLINE>
    """
    lines = [f"{_key(key)} = {_value(value)}" for key, value in tree.items() if not _is_table(value)]
    for key, value in tree.items():
        if not _is_table(value):
            continue
        head, tables = (f"[[{_key(key)}]]", value) if isinstance(value, list) else (f"[{_key(key)}]", [value])
        for table in tables:
            lines += ["", head, *(f"{_key(name)} = {_value(inside)}" for name, inside in table.items())]
    return "\n".join(lines).lstrip("\n") + "\n"


def _is_table(value: object) -> bool:
    return isinstance(value, dict) or (isinstance(value, list) and bool(value) and isinstance(value[0], dict))


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _value(name)


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        # JSON escapes as TOML does, but for the one control character above the printable ones
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + " }" if value else "{}"
    if isinstance(value, list):
        return "[" + ", ".join(_value(one) for one in value) + "]"
    if isinstance(value, date | time):
        return value.isoformat()
    return repr(value)
