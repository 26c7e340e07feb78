"""Hostile inputs, each made from a whole number: the same number always makes the same input."""

from __future__ import annotations

import random
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ringwright.models.keys import TABLES
from ringwright.scenarios import bundled, text
from ringwright.tests.independent.scenario_maker import make, varied, write_toml
from ringwright.tests.worlds import QUILL_WITH_AIR, ring, slope

SMALL = f"""
title = "Two over Quill"
{QUILL_WITH_AIR}{ring(2500.0, 2)}[limits]
revolutions_max = 3
finish_within_d = 4.0
[[craft]]
name = "Reed"
dry_mass_kg = 100.0
propellant_kg = 60.0
isp_s = 250.0
orbit = {{ altitude_km = 2500.0, angle_deg = 100.0 }}
"""
PAD = f"""
title = "One from a pad on Quill"
{QUILL_WITH_AIR}{ring(1500.0, 3)}[limits]
revolutions_max = 2
finish_within_d = 3.0
[launch]
latitude_deg = 0.0
longitude_deg = 10.0
turnaround_h = 9.0
{slope(1500.0)}[[craft]]
name = "Rush"
"""
SEEN = """
now_h = 30.0
[[craft]]
name = "Reed"
propellant_kg = 50.0
orbit = { periapsis_km = 2400.0, apoapsis_km = 2500.0, angle_deg = 20.0, at = "apoapsis" }
"""
STATE = """
now_h = 12.0
[[craft]]
name = "Reed"
state = { x_km = 4000.0, y_km = 0.0, z_km = 0.0, vx_km_s = 0.0, vy_km_s = 1.14, vz_km_s = 0.0 }
"""

NASTY_TEXTS = (
    "",
    " ",
    "\x1b[31mred",
    "\x1b]0;Kettle\x07",
    "slots\u202e",
    "\u2066x",
    "\x00",
    "\x9b2J",
    "two\nlines",
    "水源",
    "מלח",
    "Größe",
    "A\u0301",
    "=1+1",
    "|a|*b*",
    "$x_1$",
    "../x",
    "'\"\\",
    "x" * 81,
    "spoon " * 5000,
    "k" * 100_000,
    "free",
    "5:04:09",
    "9999999:59:59",
    "earth",
    "periapsis",
    "delta_v",
    "12km",
)
NASTY_NUMBERS: tuple[object, ...] = (
    float("nan"),
    float("inf"),
    float("-inf"),
    0,
    -0.0,
    -1,
    1,
    1e308,
    -1e308,
    5e-324,
    1e-9,
    1e9,
    10**400,
    2**63,
    0.5,
    1e16,
    360.0,
    -720.5,
    500,
    501,
)
NASTY_RAW = (
    "0x" + "f" * 5000,
    "0b" + "1" * 20_000,
    "1" * 4299,
    "9" * 5000,
    "[" * 60 + "]" * 60,
    "[" * 3000 + "]" * 3000,
    "{ a = { a = { a = { a = 1 } } } }",
    "2031-05-01",
    "2031-05-01T00:00:00",
    "0001-01-01T00:00:00+14:00",
    "9999-12-31T23:59:59-12:00",
    "07:32:00",
    "true",
    "false",
    "[]",
    "{}",
    '[1, "a", [2]]',
    '["a", "a"]',
    "[{}]",
    "3,5",
    "5:04",
    "1_000",
    "1e400",
    "-1e400",
    '"""\nlong\n"""',
    "'\t'",
)
KEYS = tuple(key for table in TABLES.values() for one in table for key in one.spellings)


@dataclass(frozen=True, kw_only=True)
class Case:
    """One run of the command line: files to write first, then the arguments."""

    files: Mapping[str, str]
    arguments: tuple[str, ...]
    kind: str


class Raw(str):
    """A value as it is to stand in the file."""

    __slots__ = ()


def quoted(value: str) -> str:
    """A text as TOML writes it, with every unusual character as an escape."""
    return '"' + "".join(one if one.isprintable() and one not in '"\\' else f"\\U{ord(one):08x}" for one in value) + '"'


def dump(value: object) -> str:
    """A value as TOML writes it."""
    if isinstance(value, Raw):
        return str(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{name(key)} = {dump(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(dump(item) for item in value) + "]"
    return value.isoformat() if hasattr(value, "isoformat") else str(value)


def name(key: str) -> str:
    """A key as TOML writes it."""
    return key if key and all(one.isascii() and (one.isalnum() or one in "_-") for one in key) else quoted(key)


def document(tree: Mapping[str, Any]) -> str:
    """A tree as TOML: the tables at the top as tables, all below in one line each."""
    lines = [f"{name(key)} = {dump(value)}" for key, value in tree.items() if not isinstance(value, dict | list)]
    for key, value in tree.items():
        for item in value if isinstance(value, list) else [value]:
            if isinstance(item, dict):
                lines.append(f"[[{name(key)}]]" if isinstance(value, list) else f"[{name(key)}]")
                lines += [f"{name(inner)} = {dump(one)}" for inner, one in item.items()]
    return "\n".join(lines) + "\n"


def places(node: object, found: list[tuple[Any, Any]] | None = None) -> list[tuple[Any, Any]]:
    """Every value of a tree, as its container and its key."""
    found = [] if found is None else found
    pairs = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for key, value in pairs:
        found.append((node, key))
        places(value, found)
    return found


def nasty(chance: random.Random) -> object:
    """A value that hardly belongs anywhere."""
    return chance.choice(
        (chance.choice(NASTY_TEXTS), chance.choice(NASTY_NUMBERS), Raw(chance.choice(NASTY_RAW)), chance.uniform(-9, 9))
    )


def spoil(source: str, chance: random.Random) -> str:
    """A document with a few things wrong."""
    tree = tomllib.loads(source)
    for _ in range(chance.choice((1, 1, 1, 2, 3))):
        where, key = chance.choice(places(tree))
        what = chance.randrange(8)
        if what <= 2:
            where[key] = nasty(chance)
        elif what == 3 and isinstance(where, dict):
            where[chance.choice((*KEYS, *NASTY_TEXTS, str(key) + "_deg", str(key).upper()))] = where.pop(key)
        elif what == 4:
            del where[key]
        elif what == 5 and isinstance(where, dict):
            where[chance.choice(KEYS)] = nasty(chance) if chance.random() < 0.5 else where[key]
        elif what == 6 and isinstance(where[key], int | float) and not isinstance(where[key], bool):
            by = chance.choice((-1, 0.1, 0.5, 0.99, 1.01, 2, 10, 1e3, 1e6, 1e-6))
            # whole numbers of hundreds of digits stay as they are
            where[key] = where[key] * by if abs(where[key]) < 1e300 else where[key]
        elif isinstance(where, list):
            where.extend([where[key]] * chance.choice((1, 2, 600)))
    written = document(tree)
    if chance.random() < 0.15:
        at = chance.randrange(len(written) + 1)
        cut = at + chance.choice((0, 0, 1, 5, 40))
        piece = chance.choice(("", "\x1b[2J", "\u202e", "\x00", "=", "[", '"', "\r", "\ufeff", "]\n[", "{", "\n", "é"))
        written = written[:at] + piece + written[cut:]
    return written


def spoiled_scenario(number: int) -> Case:
    """A scenario of the package with a few things wrong, to be read."""
    chance = random.Random(number)
    source = text(chance.choice(sorted(bundled())))
    file = chance.choice(("one.toml", "one.toml", "my ring.toml", "\x1b[31m.toml", "水.toml"))
    settings = ["--set", f"{chance.choice(KEYS)}={chance.choice(NASTY_TEXTS)}"] if chance.random() < 0.05 else []
    return Case(files={file: spoil(source, chance)}, arguments=("check", file, *settings), kind="spoiled scenario")


def spoiled_plan(number: int) -> Case:
    """A small scenario with a few things wrong, to be planned."""
    chance = random.Random(number)
    source = spoil(chance.choice((SMALL, PAD)), chance)
    command = chance.choice(("plan", "plan", "plan", "sheet", "compare", "slips", "budget"))
    to_json = () if command == "sheet" or chance.random() < 0.3 else ("--json", "-")
    limit = ("--time-limit", "5") if command in ("plan", "compare") else ()
    return Case(files={"one.toml": source}, arguments=(command, "one.toml", *to_json, *limit), kind="spoiled plan")


def spoiled_sight(number: int) -> Case:
    """A file of observations with a few things wrong."""
    chance = random.Random(number)
    files = {"one.toml": SMALL, "seen.toml": spoil(chance.choice((SEEN, STATE)), chance)}
    return Case(
        files=files, arguments=("replan", "one.toml", "--observed", "seen.toml", "--json", "-"), kind="spoiled sight"
    )


OPTIONS = {
    "plan": ("--json", "--out", "--fronts", "--time-limit", "--set", "--plan", "--ccsds", "--calendar", "--excel"),
    "sheet": ("--craft", "--plan", "--out", "--set"),
    "compare": ("--json", "--out", "--time-limit", "--set"),
    "sweep": ("--vary", "--csv", "--out", "--workers", "--cluster", "--set"),
    "budget": ("--samples", "--seed", "--json", "--set", "--plan"),
    "replan": ("--observed", "--craft", "--period", "--periapsis", "--apoapsis", "--at", "--out", "--json", "--set"),
    "slips": ("--slip", "--spare-after", "--craft", "--json", "--set", "--plan"),
    "check": ("--set",),
    "new": (),
    "bodies": (),
    "period": (
        "--around",
        "--gm",
        "--radius",
        "--ring",
        "--ring-period",
        "--slot-ahead",
        "--slot-behind",
        "--from",
        "--floor",
        "--ceiling",
        "--revolutions",
        "--within",
        "--got",
        "--tolerance",
        "--all",
        "--save",
    ),
}
PERIOD = (
    "--around",
    "earth",
    "--ring",
    "10000km",
    "--slot-ahead",
    "86deg",
    "--from",
    "190x10000km",
    "--floor",
    "140km",
)
QUANTITIES = (
    "1km",
    "1e308km",
    "-5km",
    "nan",
    "infkm",
    "0deg",
    "86deg",
    "3d",
    "5:47:39.7",
    "5:60:00",
    "1e-300s",
    "12",
    "ringxring",
)


def hostile_arguments(number: int) -> Case:
    """A command line with a few things wrong; what it could plan is small."""
    chance = random.Random(number)
    command = chance.choice((*OPTIONS, "period", "period", "nothing", "\x1b[31m", ""))
    words = list(PERIOD) if command == "period" else ["one.toml"] if command not in ("bodies", "new") else []
    if command == "replan" and chance.random() < 0.7:
        words += [
            "--craft",
            "Reed",
            chance.choice(("--period", "--apoapsis", "--periapsis")),
            chance.choice(QUANTITIES),
        ]
    if command == "new":
        words = ["one-craft-mars", chance.choice((*NASTY_TEXTS, "mine.toml"))]
    for _ in range(chance.choice((0, 1, 1, 2))):
        option = chance.choice(OPTIONS.get(command, ("--json", "-x", "--")) or ("--help",))
        value = chance.choice((*NASTY_TEXTS, *QUANTITIES, "one.toml", "Reed", "ring.slots=3", "ring.slots=1..3"))
        setting = f"{chance.choice(KEYS)}={value}" if option in ("--set", "--vary") and chance.random() < 0.7 else value
        words += [option] if option in ("--fronts", "--all") else [option, setting]
    if chance.random() < 0.3 and words:
        words[chance.randrange(len(words))] = chance.choice((*NASTY_TEXTS, *QUANTITIES, "--help", "--", "-"))
    if chance.random() < 0.1 and words:
        del words[chance.randrange(len(words))]
    return Case(files={"one.toml": SMALL}, arguments=(command, *words), kind="hostile arguments")


def ordinary(number: int) -> Case:
    """A random scenario with nothing wrong."""
    draft = make(number, crowd=2)
    draft = varied(draft, number) if number % 3 == 0 else draft
    return Case(
        files={"one.toml": write_toml(draft)},
        arguments=("plan", "one.toml", "--json", "-", "--time-limit", "10"),
        kind="ordinary scenario",
    )


def launched(number: int) -> Case:
    """A random launch into a ring, its plane through the site or not; often short of something."""
    chance = random.Random(number)
    body = chance.choice(("earth", "mars", "moon", "ceres", "venus"))
    radius, top = {
        "earth": (6378.0, 120.0),
        "mars": (3396.0, 120.0),
        "moon": (1738.0, 0.0),
        "ceres": (482.0, 0.0),
        "venus": (6051.0, 250.0),
    }[body]
    latitude = round(chance.choice((0.0, chance.uniform(-60.0, 60.0))), 1)
    inclination = round(min(180.0, abs(latitude) + chance.choice((-3.0, 0.0, 4.0, 20.0))) % 180.0, 1)
    altitude = round(top + radius * chance.choice((0.1, 0.5, 1.5, 4.0)) * chance.uniform(0.8, 1.2))
    low = round(top + 0.03 * radius)
    way = chance.choice(((low, low, low), (low, altitude, low), (-0.2 * radius, altitude, low)))
    ring = {"altitude_km": altitude, "slots": chance.randint(1, 4), "inclination_deg": abs(inclination)}
    limits: dict[str, Any] = {
        "revolutions_max": chance.randint(1, 4),
        "finish_within_d": round(chance.uniform(0.1, 9), 2),
    }
    launch: dict[str, Any] = {
        "latitude_deg": latitude,
        "longitude_deg": chance.randint(-170, 170),
        "insertion": dict(zip(("periapsis_km", "apoapsis_km", "altitude_km"), map(float, way), strict=True)),
    }
    if chance.random() < 0.4:
        launch["plane_tolerance_deg"] = round(chance.uniform(0.1, 12.0), 1)
    if chance.random() < 0.3:
        start = chance.randint(0, 359)
        launch |= {"azimuth_from_deg": start, "azimuth_to_deg": start + chance.randint(5, 150)}
    craft: dict[str, Any] = {"name": "Thimble"}
    if chance.random() < 0.5:
        craft |= {"dry_mass_kg": 100.0, "propellant_kg": chance.choice((1.0, 40.0, 300.0)), "isp_s": 300.0}
    aim = chance.choice(("delta_v", "finish"))
    tree = {"body": {"name": body}, "ring": ring, "limits": limits, "launch": launch, "craft": [craft]}
    return Case(
        files={"one.toml": document({**tree, "goal": {"minimize": aim}})},
        arguments=("plan", "one.toml", "--json", "-", "--time-limit", "10"),
        kind="ordinary launch",
    )


WAYS = (
    *[spoiled_scenario] * 9,
    *[hostile_arguments] * 6,
    *[spoiled_sight] * 2,
    spoiled_plan,
    ordinary,
    launched,
)
"""Ways to make an input, in the shares in which they come: most cost milliseconds."""


def case(number: int) -> Case:
    """The input of a number."""
    return WAYS[number % len(WAYS)](number)
