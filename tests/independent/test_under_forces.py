"""A plan corrected for further forces, flown by scipy from the burns as they are printed: it stands as it says.

The slots are those that a nominal craft defines, flown here under all forces but drag; over a point mass it would stay
in the slot of ring.py for ever. Means by the definition in models/README.md, worked out again.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from ringwright.tests.tolerances import FIRST_ORDER_REL, HALF_SLOT_DEG, HALF_THIRD_DECIMAL, TWICE_SLOT_DEG

from ..planned import planned
from .held_flight import Craft, brought, made_up, onward

Array = NDArray[np.float64]
GM, RADIUS, DAY_H, C22, CLIMB = 9120.5e9, 1.21e6, 26.5, 3e-5, 7.0e5
CORBEL_GM, CORBEL_M, CORBEL_D, CORBEL_DEG = 9.0e11, 4.0e7, 6.0, 40.0
FORCES = f"""
title = "Two kettles over a world with air and a companion"
[body]
name = "Tessaly"
gm_km3_s2 = {GM / 1e9}
radius_km = {RADIUS / 1e3}
sidereal_day_h = {DAY_H}
c22 = {C22}
prime_meridian_deg = 25.0
atmosphere = {{ altitude_km = 500.0, density_kg_m3 = 2e-12, scale_height_km = 60.0 }}
[ring]
altitude_km = {CLIMB / 1e3}
slots = 3
inclination_deg = 30.0
tolerance_deg = 0.01
slot0_deg = 75.0
[limits]
revolutions_max = 3
[forces]
density_factor = 3.0
[[pull]]
name = "Corbel"
gm_km3_s2 = {CORBEL_GM / 1e9}
orbit = {{ radius_km = {CORBEL_M / 1e3}, period_d = {CORBEL_D}, angle_deg = {CORBEL_DEG} }}
[[craft]]
name = "Kettle"
dry_mass_kg = 60.0
propellant_kg = 40.0
isp_s = 300.0
area_m2 = 3.0
orbit = {{ altitude_km = {CLIMB / 1e3}, angle_deg = 20.0 }}
[[craft]]
name = "Ladle"
dry_mass_kg = 60.0
propellant_kg = 40.0
isp_s = 300.0
area_m2 = 1.0
drag_coefficient = 2.0
orbit = {{ altitude_km = {CLIMB / 1e3}, angle_deg = 75.0 }}
"""
START = {"Kettle": (20.0, 2.2 * 3.0 / 100.0), "Ladle": (75.0, 2.0 * 1.0 / 100.0)}


def _on_ring(degrees: float) -> Array:
    r, u, lean = RADIUS + CLIMB, math.radians(degrees), math.radians(30.0)
    out = np.array([math.cos(u), math.sin(u) * math.cos(lean), math.sin(u) * math.sin(lean)])
    ahead = np.array([-math.sin(u), math.cos(u) * math.cos(lean), math.cos(u) * math.sin(lean)])
    return np.concatenate([r * out, math.sqrt(GM / r) * ahead])


def _flown(start: float, drag: float, burns: list[dict[str, float]], times: Array) -> Array:
    """States (n, 6) at times, from a place on the ring at the epoch, deg, through burns that all come before them."""
    table = tuple((burn["time_s"], burn["radial_m_s"], burn["along_m_s"], burn["cross_m_s"]) for burn in burns)
    one = Craft(start=0.0, state=_on_ring(start), burns=table, drag=drag, light=0.0, slot_angle=0.0)
    world = made_up(FORCES)
    return onward(world, one, brought(world, one, float(times[0])), times)


def _smooth(angles: Array, x: Array) -> tuple[float, float]:
    """Mean at the middle and slope over x in (-1, 1), weighted by cos^4 (pi x / 2)."""
    angles = np.unwrap(angles)
    weights = np.cos(0.5 * math.pi * x) ** 4
    slope, mean = np.polyfit(x, angles, 1, w=np.sqrt(weights))
    return float(mean), float(slope)


@pytest.mark.soak
def test_craft_stand_in_the_slots_of_a_nominal_craft() -> None:
    result = planned(FORCES)
    assert result["model"]["forces"]["flown"] == ["point mass", "degree 2", "Corbel", "drag"]
    ring, plan = result["ring"], result["plans"][0]
    span = plan["craft"][0]["flown"]["span_s"]
    assert span == pytest.approx(8.0 * ring["period_s"], rel=FIRST_ORDER_REL)
    begin = max([plan["finish_s"], *(burn["time_s"] for part in plan["craft"] for burn in part["burns"])])
    x = np.linspace(-1.0, 1.0, 801)[1:-1]
    times = begin + 0.5 * span * (1.0 + x)
    nominal = _flown(ring["slot0_deg"], 0.0, [], times)
    # the plane of the nominal craft, in which its angle counts
    poles = np.cross(nominal[:, :3], nominal[:, 3:])
    poles /= np.linalg.norm(poles, axis=1)[:, np.newaxis]
    pole = np.cos(0.5 * math.pi * x) ** 4 @ poles
    pole /= np.linalg.norm(pole)
    first = np.array([-pole[1], pole[0], 0.0]) / math.hypot(pole[0], pole[1])
    second = np.cross(pole, first)

    def seen(states: Array) -> tuple[float, float]:
        return _smooth(np.arctan2(states[:, :3] @ second, states[:, :3] @ first), x)

    slot0, rate = seen(nominal)
    errors, drifts = {}, {}
    for part in plan["craft"]:
        place, slope = seen(_flown(*START[part["craft"]], part["burns"], times))
        gap = math.radians(120.0 * part["slot"])
        errors[part["craft"]] = math.degrees(math.remainder(place - slot0 - gap, 2.0 * math.pi))
        drifts[part["craft"]] = math.degrees(slope - rate) / 4.0
    assert len(errors) == 2
    shift = sum(errors.values()) / 2.0
    for part in plan["craft"]:
        printed, name = part["flown"], part["craft"]
        assert abs(printed["common_shift_deg"] - shift) < HALF_SLOT_DEG
        assert abs(printed["mean_slot_error_deg"] - (errors[name] - shift)) < HALF_SLOT_DEG
        assert abs(errors[name]) < TWICE_SLOT_DEG
        assert abs(drifts[name]) < HALF_THIRD_DECIMAL
