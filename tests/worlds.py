"""Invented worlds, rings over them, craft and pads that several files plan with, as texts of scenarios."""

from __future__ import annotations

QUILL = """[body]
name = "Quill"
gm_km3_s2 = 5200.0
radius_km = 1500.0
"""
QUILL_TURNING = QUILL + "sidereal_day_h = 30.0\n"
QUILL_WITH_AIR = QUILL + "atmosphere_top_km = 50.0\nsidereal_day_h = 30.0\n"
ELLORY = """[body]
name = "Ellory"
gm_km3_s2 = 42000.0
radius_km = 3400.0
atmosphere_top_km = 80.0
sidereal_day_h = 24.0
"""
TESSALY = {
    "name": "Tessaly",
    "gm_km3_s2": 9120.5,
    "radius_km": 1210.0,
    "atmosphere_top_km": 62.0,
    "sidereal_day_h": 19.5,
}
"""As a table, for scenarios that are made of tables."""
TESSALY_BODY = "[body]\n" + "".join(f"{key} = {value!r}\n" for key, value in TESSALY.items())
SALTMARSH = """[body]
name = "Saltmarsh"
gm_km3_s2 = 42000.0
radius_km = 3000.0
[ring]
altitude_km = 3000.0
slots = 4
slot0_deg = 0.0
"""


def ring(altitude_km: float, slots: int | str, slot0_deg: float = 0.0) -> str:
    """A ring in the plane of the equator; the number of its slots may be a field to fill in."""
    return f"[ring]\naltitude_km = {altitude_km}\nslots = {slots}\nslot0_deg = {slot0_deg}\n"


REED = '[[craft]]\nname = "Reed"\norbit = { altitude_km = 2500.0, angle_deg = 100.0 }\n'
"""A craft on the ring 2 500 km above Quill."""

ONE_OVER_QUILL = f"""
title = "One over Quill"
{QUILL}{ring(2500.0, 2)}[limits]
revolutions_max = 2
{REED}"""

SMALL_RING = f"""
title = "Small ring over Quill"
{QUILL_TURNING}{ring(2500.0, "{slots}", 12.0)}[limits]
revolutions_max = {{revolutions}}
finish_within_h = {{hours}}
separation_km = 0.0
clearance_km = 60.0
apoapsis_max_km = 9000.0
"""
"""To be filled in: slots, revolutions, hours."""


def slope(apoapsis_km: float) -> str:
    """From a pad on Quill at 10 deg east: minutes of ascent, and an insertion whose periapsis is under the ground."""
    return (
        "ascent_min = 8.0\ndownrange_deg = 14.0\n"
        f"insertion = {{ periapsis_km = -200.0, apoapsis_km = {apoapsis_km}, altitude_km = 120.0 }}\n"
    )


FLAT_ROCK = f"""{ELLORY}{ring(6000.0, 3, 10.0)}[limits]
clearance_km = 40.0
finish_within_d = 30.0
revolutions_max = 6
[launch]
name = "Flat Rock"
latitude_deg = 0.0
longitude_deg = 20.0
turnaround_d = 5.0
insertion = {{ periapsis_km = 150.0, apoapsis_km = 6000.0, altitude_km = 150.0 }}
"""
"""A pad under a ring of three slots."""


def heavy(name: str, propellant_kg: float) -> str:
    """A craft of 200 kg and its propellant, on the ground."""
    return f'[[craft]]\nname = "{name}"\ndry_mass_kg = 200.0\npropellant_kg = {propellant_kg}\nisp_s = 300.0\n'


PAD_UNDER_THE_RING = f"""{ring(20000.0, "{count}")}[limits]
revolutions_max = 12
[launch]
latitude_deg = 0.0
longitude_deg = 0.0
turnaround_h = 20.0
insertion = {{{{ periapsis_km = -300.0, apoapsis_km = 20000.0, altitude_km = 200.0 }}}}
"""
"""One pad for many craft, a launch every 20 h; to be filled in: count, of the slots."""

TWO_PLANES = """
title = "Two planes"
[body]
name = "earth"
[ring]
altitude_km = {ring}
slots = 1
planes = 2
spread_deg = {spread}
inclination_deg = {lean}
slot0_deg = 40.0
[limits]
clearance_km = 250.0
finish_within_d = {days}
[[craft]]
name = "Alder"
orbit = {{ altitude_km = {start}, plane = 1, angle_deg = 47.0 }}
"""
"""To be filled in: ring and start in km, spread and lean in degrees, days."""

THREE_BY_DRIFT = """
title = "Three planes from one window"
[body]
name = "earth"
[ring]
altitude_km = 1100.0
slots = 1
planes = 3
spread_deg = {spread}
inclination_deg = 52.0
node_deg = {node}
slot0_deg = 0.0
[limits]
clearance_km = 250.0
finish_within_d = {days}
[[launch]]
name = "Skerry Point"
latitude_deg = 31.0
longitude_deg = -48.0
azimuth_from_deg = 20.0
azimuth_to_deg = 90.0
ready_h = 7.8
until_h = 55.5
turnaround_h = 20.0
ascent_min = 9.5
downrange_deg = 19.0
blackout = [{{ from_h = 8.1, until_h = 31.5 }}, {{ from_h = 31.8, until_h = 55.2 }}]
insertion = {{ periapsis_km = 480.0, apoapsis_km = 480.0, altitude_km = 480.0 }}
[[craft]]
name = "Rowan"
[[craft]]
name = "Aspen"
[[craft]]
name = "Linden"
"""
"""To be filled in: spread, and node as 45 less a third of it, in degrees; days. On three mornings the site is open at
the pass of plane 1 alone."""


LOW_RING = """epoch = 2031-05-01T00:00:00Z
[body]
name = "earth"
[ring]
altitude_km = 400
"""
"""A ring in thin air; its other keys follow."""


def low_craft(name: str, angle_deg: float, area_m2: float, tank_kg: float, isp_s: float) -> str:
    """A craft of 100 kg, without what is in its tank, on that ring."""
    return (
        f'[[craft]]\nname = "{name}"\norbit = {{ altitude_km = 400, angle_deg = {angle_deg} }}\ndry_mass_kg = 100\n'
        f"propellant_kg = {tank_kg}\nisp_s = {isp_s}\narea_m2 = {area_m2}\n"
    )
