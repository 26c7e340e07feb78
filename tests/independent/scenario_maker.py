"""Random small scenarios, as drafts of SI values that can be varied, scaled and written as TOML.

A draft is what a scenario file says: nested tables whose keys carry SI units. ``make`` invents one from a whole number;
the same number always gives the same draft. Names are invented.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Mapping
from typing import Any

import numpy as np

Draft = dict[str, Any]

NAMES = ("Alder", "Birch", "Cedar", "Dogwood", "Elder", "Fir", "Gorse", "Hazel")
STAYING = ("Quince", "Rowan", "Sorrel")

WORLDS: tuple[Draft, ...] = (
    # Earth and Mars: JPL DE440 GM, IAU 2015 radii and rotation; tops are this test's own choice
    {
        "name": "Earth, as used here",
        "gm_m3_s2": 398600.435507e9,
        "radius_m": 6378136.6,
        "atmosphere_top_m": 120e3,
        "sidereal_day_s": 86164.1,
    },
    {
        "name": "Mars, as used here",
        "gm_m3_s2": 42828.373621e9,
        "radius_m": 3396190.0,
        "atmosphere_top_m": 100e3,
        "sidereal_day_s": 88642.66,
    },
    {"name": "Tessaly", "gm_m3_s2": 9120.5e9, "radius_m": 1210e3, "atmosphere_top_m": 62e3, "sidereal_day_s": 70200.0},
    {"name": "Brannoch", "gm_m3_s2": 600e9, "radius_m": 700e3, "atmosphere_top_m": 0.0, "sidereal_day_s": -41000.0},
    {"name": "Ketterin", "gm_m3_s2": 61000e9, "radius_m": 4100e3, "atmosphere_top_m": 80e3, "sidereal_day_s": math.inf},
)


def write_toml(draft: Mapping[str, Any]) -> str:
    """The draft as the text of a scenario file.

    >>> print(write_toml({"title": "x", "ring": {"slots": 3, "slot0_deg": "free"}, "craft": [{"name": "Alder"}]}))
    title = "x"
    <BLANKLINE>
    [ring]
    slots = 3
    slot0_deg = "free"
    <BLANKLINE>
    [[craft]]
    name = "Alder"
    <BLANKLINE>
    """
    lines: list[str] = []
    _table(lines, "", draft)
    return "\n".join(lines) + "\n"


def _scalar(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {_scalar(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_scalar(item) for item in value) + "]"
    if isinstance(value, float) and math.isinf(value):
        return "inf" if value > 0.0 else "-inf"
    return repr(value)


INLINE = ("insertion", "orbit", "blackout")


def _table(lines: list[str], path: str, table: Mapping[str, Any]) -> None:
    later = []
    for key, value in table.items():
        nested = isinstance(value, Mapping) or (isinstance(value, list) and value and isinstance(value[0], Mapping))
        if nested and key not in INLINE:
            later.append((key, value))
        else:
            lines.append(f"{key} = {_scalar(value)}")
    for key, value in later:
        name = f"{path}.{key}" if path else key
        for item in value if isinstance(value, list) else [value]:
            lines.append("")
            lines.append(f"[[{name}]]" if isinstance(value, list) else f"[{name}]")
            _table(lines, name, item)


def make(number: int, *, craft: str = "any", crowd: int = 4, exact_time: bool = False) -> Draft:
    """Invent a scenario.

    Args:
        number: which one.
        craft: "ground" or "space" for craft of one kind only.
        crowd: most craft to move.
        exact_time: no mutual distances, a short launch window and few revolutions, as an exhaustive search needs.
    """
    rng = np.random.default_rng(number)

    def between(low: float, high: float) -> float:
        return float(np.round(rng.uniform(low, high), 3))

    def chance(share: float) -> bool:
        return bool(rng.random() < share)

    body = dict(WORLDS[int(rng.integers(len(WORLDS)))])
    body["prime_meridian_deg"] = between(-180.0, 180.0)
    radius = body["radius_m"]
    top = body["atmosphere_top_m"]
    clearance = float(rng.choice([0.0, 10e3, 40e3]))
    floor = top + clearance
    altitude = float(np.round(floor + radius * rng.uniform(0.25, 4.5), -2))
    R = radius + altitude
    period = math.tau * math.sqrt(R**3 / body["gm_m3_s2"])
    speed = math.sqrt(body["gm_m3_s2"] / R)
    slots = int(rng.integers(2, 5))
    inclination = 180.0 if chance(0.25) else 0.0
    ring: Draft = {
        "altitude_m": altitude,
        "slots": slots,
        "inclination_deg": inclination,
        "node_deg": between(0.0, 360.0),
        "slot0_deg": between(0.0, 360.0),
    }
    staying = int(rng.integers(0, slots)) if chance(0.4) else 0
    movers = int(rng.integers(1, min(crowd, slots - staying) + 1))
    spacing = 360.0 / slots
    if staying:
        chosen = sorted(int(s) for s in rng.choice(slots, staying, replace=False))
        free = chance(0.5)
        ring["occupied"] = []
        for name, slot in zip(STAYING, chosen, strict=False):
            if free or chance(0.5):
                off = between(-0.3, 0.3)
                ring["occupied"].append({"name": name, "angle_deg": ring["slot0_deg"] + slot * spacing + off})
            else:
                ring["occupied"].append({"name": name, "slot": slot})
        if free:
            ring["slot0_deg"] = "free"
    limits: Draft = {"clearance_m": clearance, "revolutions_max": int(rng.integers(1, 4 if exact_time else 9))}
    limits["separation_m"] = 0.0 if exact_time else float(rng.choice([0.0, 10e3, 50e3]))
    if chance(0.5):
        limits["apoapsis_max_m"] = float(np.round(altitude + R * rng.uniform(0.05, 2.0), -2))
    if chance(0.4):
        limits["wait_within_s"] = float(np.round(period * rng.uniform(1.2, 6.0)))
    turnaround = float(np.round(rng.uniform(1800.0, 6 * 3600.0 if exact_time else 30 * 3600.0), -1))
    limits["finish_within_s"] = float(np.round(period * rng.uniform(3.0, 9.0) + (movers - 1) * turnaround * 1.3))
    pads: list[Draft] = []
    crew: list[Draft] = []
    kinds = {
        "ground": ["ground"],
        "space": ["on", "below", "above"],
        "any": ["ground", "ground", "on", "below", "above"],
    }
    for name in NAMES[:movers]:
        one: Draft = {"name": name}
        kind = str(rng.choice(kinds[craft]))
        if kind == "on":
            one["orbit"] = {"periapsis_m": altitude, "apoapsis_m": altitude, "angle_deg": between(0.0, 360.0)}
        elif kind == "below":
            low = float(np.round(floor + (altitude - floor) * rng.uniform(0.05, 0.97), -2))
            one["orbit"] = {"periapsis_m": low, "apoapsis_m": altitude, "angle_deg": between(0.0, 360.0)}
            one["orbit"]["at"] = str(rng.choice(["apoapsis", "periapsis"]))
        elif kind == "above":
            high = float(np.round(altitude + R * rng.uniform(0.03, 0.8), -2))
            high = min(high, limits.get("apoapsis_max_m", math.inf))
            one["orbit"] = {"periapsis_m": altitude, "apoapsis_m": high, "angle_deg": between(0.0, 360.0)}
            one["orbit"]["at"] = str(rng.choice(["apoapsis", "periapsis"]))
        if kind != "ground" and chance(0.4):
            one["orbit"]["at_s"] = float(np.round(rng.uniform(-0.5, 0.5) * period))
        if chance(0.3):
            one["ready_s"] = float(np.round(rng.uniform(0.0, 1.0) * period))
        if chance(0.5):
            one["dry_mass_kg"] = between(80.0, 400.0)
            one["isp_s"] = between(220.0, 340.0)
            able = speed * rng.uniform(0.25, 0.9)
            one["propellant_kg"] = float(np.round(one["dry_mass_kg"] * math.expm1(able / (one["isp_s"] * 9.80665)), 3))
            if chance(0.5):
                one["reserve_m_s"] = float(np.round(speed * 0.02, 3))
            if chance(0.3):
                one["load"] = "least"
        crew.append(one)
    if any("orbit" not in one for one in crew):
        pad: Draft = {
            "latitude_deg": 0.0,
            "longitude_deg": between(-180.0, 180.0),
            "ready_s": float(np.round(rng.uniform(0.0, 7200.0))),
            "turnaround_s": turnaround,
            "ascent_s": between(240.0, 600.0),
            "downrange_deg": between(2.0, 25.0),
        }
        up = float(np.round(floor + min(60e3, 0.2 * (altitude - floor)), -2))
        ways: list[Draft] = []
        style = str(rng.choice(["suborbital", "orbital", "parking", "two"]))
        if style in ("suborbital", "two"):
            ways.append({"periapsis_m": -0.3 * radius, "apoapsis_m": altitude, "altitude_m": up})
        if style == "orbital":
            ways.append({"periapsis_m": up, "apoapsis_m": altitude, "altitude_m": up + 0.1 * (altitude - up)})
        if style in ("parking", "two"):
            ways.append({"periapsis_m": up, "apoapsis_m": up, "altitude_m": up})
        if len(ways) > 1:
            for name, way in zip(("steep", "level"), ways, strict=True):
                way["name"] = name
        pad["insertion"] = ways if len(ways) > 1 else ways[0]
        pads.append(pad)
    aim = str(rng.choice(["delta_v", "delta_v", "finish", "worst_delta_v", "propellant"]))
    if aim == "propellant" and not all("isp_s" in one for one in crew):
        aim = "delta_v"
    draft: Draft = {"title": f"Invented scenario {number}", "body": body, "ring": ring, "limits": limits}
    if pads:
        draft["launch"] = pads[0]
    draft["craft"] = crew
    draft["goal"] = {"minimize": aim}
    return draft


def varied(draft: Draft, number: int) -> Draft:
    """The scenario with what few have: a second pad, a craft that stays, an inclined ring, thrusters."""
    rng = np.random.default_rng(number)
    changed = copy.deepcopy(draft)
    ring = changed["ring"]
    occupied = ring.get("occupied", [])
    if occupied and all("angle_deg" in one for one in occupied):
        one = occupied.pop()
        if not occupied:
            ring.pop("occupied")
        orbit = {"altitude_m": ring["altitude_m"], "angle_deg": one["angle_deg"]}
        changed["craft"].insert(0, {"name": one["name"], "stay": True, "orbit": orbit})
    if "launch" in changed:
        first = {"name": "first", **changed["launch"]}
        second = {**copy.deepcopy(first), "name": "second", "longitude_deg": 0.5 * first["longitude_deg"] - 20.0}
        second["ready_s"] += 3000.0
        second["turnaround_s"] *= 0.7
        changed["launch"] = [first, second]
    else:
        ring["inclination_deg"] = float(np.round(rng.uniform(0.0, 180.0), 3))
    for one in changed["craft"]:
        if "isp_s" in one and rng.random() < 0.3:
            # so strong that its burns are all but impulses: the checker flies impulses
            one["thrust_n"] = 9.0e8
    return changed


def scaled(draft: Draft, length: float, time: float) -> Draft:
    """The same scenario with lengths and times multiplied; speeds, GM and exhaust speeds follow."""
    factors = {"_m3_s2": length**3 / time**2, "_m_s": length / time, "_m": length, "_s": time}

    def scale(key: str, value: object) -> object:
        if isinstance(value, Mapping):
            return {name: scale(name, item) for name, item in value.items()}
        if isinstance(value, list):
            return [scale(key, item) for item in value]
        if key == "isp_s":
            # an exhaust speed in disguise
            return float(value) * length / time  # type: ignore[arg-type]
        if isinstance(value, float):
            for suffix, factor in factors.items():
                if key.endswith(suffix):
                    return value * factor
        return value

    return {key: scale(key, value) for key, value in draft.items()}


def with_limit(draft: Draft, name: str, value: float) -> Draft:
    """A copy with one limit set."""
    changed = copy.deepcopy(draft)
    changed["limits"][name] = value
    return changed


def rotated(draft: Draft) -> Draft:
    """The same scenario with the slots counted from the next one on. Slots given by number follow."""
    changed = copy.deepcopy(draft)
    ring = changed["ring"]
    if ring["slot0_deg"] != "free":
        ring["slot0_deg"] += 360.0 / ring["slots"]
    for one in ring.get("occupied", []):
        if "slot" in one:
            one["slot"] = (one["slot"] - 1) % ring["slots"]
    return changed


def reordered(draft: Draft) -> Draft:
    """The same scenario with its craft listed the other way round."""
    changed = copy.deepcopy(draft)
    changed["craft"].reverse()
    return changed


def in_larger_units(draft: Draft) -> Draft:
    """The same scenario written in kilometers, hours and radians where the keys allow it."""
    swaps = {"_m3_s2": ("_km3_s2", 1e-9), "_m_s": ("_km_s", 1e-3), "_m": ("_km", 1e-3), "_s": ("_h", 1.0 / 3600.0)}

    def swap(key: str, value: object) -> tuple[str, object]:
        if isinstance(value, Mapping):
            return key, dict(swap(name, item) for name, item in value.items())
        if isinstance(value, list):
            return key, [swap(key, item)[1] for item in value]
        if isinstance(value, float) and key != "isp_s":
            if key.endswith("_deg"):
                return key.removesuffix("_deg") + "_rad", math.radians(value)
            for suffix, (larger, factor) in swaps.items():
                if key.endswith(suffix):
                    return key.removesuffix(suffix) + larger, value * factor
        return key, value

    return dict(swap(key, value) for key, value in draft.items())
