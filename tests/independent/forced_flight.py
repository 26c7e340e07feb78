"""Flies what a result prints of plan 1 under the forces that it names, with forces and steps of `held_flight.py`.

Reads the scenario's text and the JSON result only. Craft are compared where the hold begins, by means over eight turns,
with a nominal craft that flies from slot 0 at the epoch without burns, drag and light, less what it is off the ring's
own slot 0 where the bulge alone pulls. Over fixed longitudes they are compared with one another, and each with its own
longitude.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np

from ringwright.tests.tolerances import CLOCK_S, MILLISECOND_S

from .held_flight import SAMPLES, WINDOW, Craft, World, around, brought, leaves, off_longitudes, smoothed
from .oblate_flight import Array, Oblate, axes
from .printed_flight import begun
from .small_reader import Case, read_case

J2000_UTC = datetime(2000, 1, 1, 12, tzinfo=UTC)
TT_AFTER_UTC_S = 69.184
"""37 leap seconds, the last known in 2017, and 32.184 s (IERS Conventions 2010, chapter 10)."""
DRAG_COEFFICIENT, REFLECTIVITY, AREA_M2_KG = 2.2, 1.3, 0.01
"""Where a file gives none: a plate in thin air, and one that reflects a third (common practice, no source)."""


@dataclass(frozen=True)
class Stood:
    """A craft of plan 1 where the hold begins: its error in the spacing and as it was said, and how far it is east of
    its longitude and as that was said, deg; 0 for a ring that keeps none."""

    craft: str
    spacing_deg: float
    said_deg: float
    east_deg: float
    said_east_deg: float

    @property
    def miss_deg(self) -> float:
        """By how much the result is wrong about it."""
        return max(abs(self.spacing_deg - self.said_deg), abs(self.east_deg - self.said_east_deg))


def seen_under_forces(text: str, result: Mapping[str, Any], name: str, time_s: float) -> Array:
    """Where a craft of plan 1 is at a moment after all its burns that come before it, m and m/s, (6,)."""
    [item] = [dict(one) for one in result["plans"][0]["craft"] if one["craft"] == name]
    item["burns"] = [burn for burn in item["burns"] if burn["time_s"] < time_s]
    world, _, _, craft = _craft_of(text, {**result, "plans": [{**result["plans"][0], "craft": [item]}]})
    return brought(world, craft[1], time_s)


def fly_under_forces(text: str, result: Mapping[str, Any]) -> list[Stood]:
    """Fly plan 1 under the forces of a result that were flown in it. All craft must be in one plane."""
    plan, data = result["plans"][0], tomllib.loads(text)
    world, case, body, craft = _craft_of(text, result)
    turn, middle = plan["craft"][0]["flown"]["span_s"] / WINDOW, plan["hold"]["from_s"] + CLOCK_S
    _, times, off = leaves(world, craft, turn, middle, middle + 0.6 * WINDOW * turn, math.pi)
    assert abs(times[0] - middle) < MILLISECOND_S
    east = said_east = np.zeros(len(craft) - 1)
    if "longitude_deg" in data["ring"]:
        first = math.radians(data["ring"]["longitude_deg"])
        wanted = np.array([first + one.slot_angle for one in craft[1:]])
        east = np.degrees(off_longitudes(world, craft[1:], wanted, turn, middle))
        said = [item["flown"] for item in plan["craft"]]
        said_east = np.array([one["mean_slot_error_deg"] + one["common_shift_deg"] for one in said])
        # slots go round with the ground there, not as a craft that nobody burns in
        spacing = np.degrees(off[0, 1:] - off[0, 1:].mean())
    else:
        bare = _off_by_bulge(case, body, craft[0].state, _slot0(result), middle, turn)
        shift = np.array([item["flown"]["common_shift_deg"] for item in plan["craft"]])
        spacing = np.degrees(off[0, 1:] - off[0, 0] + bare) - shift
    return [
        Stood(
            craft=item["craft"],
            spacing_deg=float(spacing[k]),
            said_deg=item["flown"]["mean_slot_error_deg"],
            east_deg=float(east[k]),
            said_east_deg=float(said_east[k]),
        )
        for k, item in enumerate(plan["craft"])
    ]


def _slot0(result: Mapping[str, Any]) -> float:
    return math.radians(result["plans"][0].get("slot0_deg", result["ring"]["slot0_deg"]))


def _craft_of(text: str, result: Mapping[str, Any]) -> tuple[World, Case, Oblate, list[Craft]]:
    """The world of a scenario, the case, its body, and the nominal craft before those of plan 1."""
    forces, plan = result["model"]["forces"]["flown"], result["plans"][0]
    data, case = tomllib.loads(text), read_case(text, body=result["body"])
    body = Oblate(case.gm, case.j2, case.j2_radius)
    own = {one.name: one for one in case.craft}
    surfaces = {one["name"]: one for one in data["craft"]}
    there = np.concatenate(body.in_place(case.radius, _slot0(result), case.inclination, case.node_of(0)))
    craft = [Craft(start=0.0, state=there, burns=(), drag=0.0, light=0.0, slot_angle=0.0)]
    for item in plan["craft"]:
        assert not item["carrier"]
        assert item["plane"] == 0
        flight, table = begun(case, body, own[item["craft"]], item, ()), surfaces[item["craft"]]
        broad = AREA_M2_KG
        if "area_m2" in table:
            broad = table["area_m2"] / (table["dry_mass_kg"] + table["propellant_kg"])
        craft.append(
            Craft(
                start=flight.start,
                state=flight.state,
                burns=flight.burns,
                drag=table.get("drag_coefficient", DRAG_COEFFICIENT) * broad,
                light=table.get("reflectivity", REFLECTIVITY) * broad,
                slot_angle=2.0 * math.pi * flight.slot / case.slots,
            )
        )
    return _world(data, forces), case, body, craft


def _off_by_bulge(case: Case, body: Oblate, start: Array, slot0: float, middle: float, turn: float) -> float:
    """How far the nominal craft is off the ring's slot 0 by the bulge alone, rad, in the mean about a moment."""
    times = middle + turn * (np.arange(WINDOW * SAMPLES + 1) / SAMPLES - 0.5 * WINDOW)
    [path] = body.fly(start[np.newaxis], np.zeros(1), times[[-1]], times / times[-1])
    rate, node_rate = body.rates(case.radius, case.inclination)
    planes = [axes(case.inclination, case.node_of(0) + node_rate * time) for time in times.tolist()]
    x, y = (np.array([p[:3] @ plane[k] for p, plane in zip(path, planes, strict=True)]) for k in (0, 1))
    off = np.unwrap(np.arctan2(y, x) - slot0 - rate * times)
    off -= 2.0 * math.pi * round(off[0] / (2.0 * math.pi))
    return float(smoothed(off)[0])


def _world(data: Mapping[str, Any], forces: list[str]) -> World:
    days = (data["epoch"] - J2000_UTC).total_seconds() / 86_400.0 + TT_AFTER_UTC_S / 86_400.0
    degree = max([0, *(int(one.removeprefix("degree ")) for one in forces if one.startswith("degree "))])
    world = around(data["body"]["name"], days, forces, degree)
    factor = data.get("forces", {}).get("density_factor", 1.0)
    return replace(world, layers=[(foot, factor * density, scale) for foot, density, scale in world.layers])
