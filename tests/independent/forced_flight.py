"""Flies what a result prints of plan 1 under the forces that it names, with forces and steps of `held_flight.py`.

Reads the scenario's text and the JSON result only. Craft are compared where the hold begins, by means over eight turns:
their spacing, with what all do together taken off, and over fixed longitudes how far each is off its own.
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

from .held_flight import WINDOW, Craft, World, around, leaves, off_longitudes
from .oblate_flight import Oblate
from .printed_flight import begun
from .small_reader import read_case

J2000_UTC = datetime(2000, 1, 1, 12, tzinfo=UTC)
TT_AFTER_UTC_S = 69.184
"""37 leap seconds, the last known in 2017, and 32.184 s (IERS Conventions 2010, chapter 10)."""
DRAG_COEFFICIENT, REFLECTIVITY = 2.2, 1.3
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


def fly_under_forces(text: str, result: Mapping[str, Any]) -> list[Stood]:
    """Fly plan 1 under the forces of a result that were flown in it."""
    forces, plan = result["model"]["forces"]["flown"], result["plans"][0]
    data, case = tomllib.loads(text), read_case(text, body=result["body"])
    body = Oblate(case.gm, case.j2, case.j2_radius)
    own = {one.name: one for one in case.craft}
    surfaces = {one["name"]: one for one in data["craft"]}
    craft = []
    for item in plan["craft"]:
        assert not item["carrier"]
        flight, table = begun(case, body, own[item["craft"]], item, ()), surfaces[item["craft"]]
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
    world = _world(data, forces)
    turn, middle = plan["craft"][0]["flown"]["span_s"] / WINDOW, plan["hold"]["from_s"] + CLOCK_S
    _, times, off = leaves(world, craft, turn, middle, middle + 0.6 * WINDOW * turn, math.pi)
    assert abs(times[0] - middle) < MILLISECOND_S
    east = said_east = np.zeros(len(craft))
    if "longitude_deg" in data["ring"]:
        first = math.radians(data["ring"]["longitude_deg"])
        wanted = np.array([first + one.slot_angle for one in craft])
        east = np.degrees(off_longitudes(world, craft, wanted, turn, middle))
        said = [item["flown"] for item in plan["craft"]]
        said_east = np.array([one["mean_slot_error_deg"] + one["common_shift_deg"] for one in said])
    return [
        Stood(
            craft=item["craft"],
            spacing_deg=math.degrees(float(off[0, k])),
            said_deg=item["flown"]["mean_slot_error_deg"],
            east_deg=float(east[k]),
            said_east_deg=float(said_east[k]),
        )
        for k, item in enumerate(plan["craft"])
    ]


def _world(data: Mapping[str, Any], forces: list[str]) -> World:
    days = (data["epoch"] - J2000_UTC).total_seconds() / 86_400.0 + TT_AFTER_UTC_S / 86_400.0
    degree = max([0, *(int(one.removeprefix("degree ")) for one in forces if one.startswith("degree "))])
    world = around(data["body"]["name"], days, forces, degree)
    factor = data["forces"].get("density_factor", 1.0)
    return replace(world, layers=[(foot, factor * density, scale) for foot, density, scale in world.layers])
