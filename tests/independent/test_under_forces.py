"""What is printed of a second flight under further forces, against scipy from the burns as they are printed."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..planned import planned
from .full_flight import Sky

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


def _corbel(t: float) -> Array:
    angle = math.radians(CORBEL_DEG) + 2.0 * math.pi * t / (CORBEL_D * 86_400.0)
    return CORBEL_M * np.array([math.cos(angle), math.sin(angle), 0.0])


def _flown(part: dict[str, Any], until: float, times: Array) -> Array:
    degrees, ballistic = START[part["craft"]]
    sky = Sky(
        gm=GM,
        j2=0.0,
        j2_radius=RADIUS,
        c22=C22,
        meridian=math.radians(25.0),
        spin=2.0 * math.pi / (DAY_H * 3600.0),
        others=[(CORBEL_GM, _corbel)],
        air=(500e3, 3.0 * 2e-12, 60e3, RADIUS, ballistic),
    )
    r, u, lean = RADIUS + CLIMB, math.radians(degrees), math.radians(30.0)
    out = np.array([math.cos(u), math.sin(u) * math.cos(lean), math.sin(u) * math.sin(lean)])
    ahead = np.array([-math.sin(u), math.cos(u) * math.cos(lean), math.cos(u) * math.sin(lean)])
    state, now = np.concatenate([r * out, math.sqrt(GM / r) * ahead]), 0.0
    for burn in part["burns"]:
        if burn["time_s"] > now:
            state = sky.states(state, now, np.array([burn["time_s"]]))[-1]
            now = burn["time_s"]
        radial = state[:3] / np.linalg.norm(state[:3])
        cross = np.cross(state[:3], state[3:])
        cross /= np.linalg.norm(cross)
        push = burn["radial_m_s"] * radial + burn["along_m_s"] * np.cross(cross, radial) + burn["cross_m_s"] * cross
        state[3:] += push
    assert now <= until
    return sky.states(state, now, times)


def test_the_printed_spacing_and_shift_are_flown() -> None:
    result = planned(FORCES)
    assert result["model"]["forces"]["flown"] == ["point mass", "degree 2", "Corbel", "drag"]
    ring, plan = result["ring"], result["plans"][0]
    span, lean = ring["period_s"], math.radians(30.0)
    begin = plan["finish_s"]
    points, weights = np.polynomial.legendre.leggauss(48)
    times = begin + span * 0.5 * (points + 1.0)
    errors = {}
    for part in plan["craft"]:
        assert part["flown"]["span_s"] == span
        place = _flown(part, begin, times)[:, :3]
        level = place[:, 1] * math.cos(lean) + place[:, 2] * math.sin(lean)
        slot = math.radians(ring["slot0_deg"] + 120.0 * part["slot"]) + 2.0 * math.pi / span * times
        off = np.angle(np.exp(1j * (np.arctan2(level, place[:, 0]) - slot)))
        errors[part["craft"]] = math.degrees(float(0.5 * weights @ off))
    assert len(errors) == 2
    shift = sum(errors.values()) / 2.0
    assert abs(shift) > 0.01
    for part in plan["craft"]:
        printed = part["flown"]
        assert abs(printed["common_shift_deg"] - shift) < 2e-4
        assert abs(printed["mean_slot_error_deg"] - (errors[part["craft"]] - shift)) < 2e-4
    assert max(abs(part["flown"]["mean_slot_error_deg"]) for part in plan["craft"]) > 1e-3
