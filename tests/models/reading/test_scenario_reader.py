"""Scenario files that are read: values, defaults, lines, overrides."""

from __future__ import annotations

import math
import subprocess
import sys
from datetime import UTC, datetime, timedelta, timezone

import pytest

from ringwright.models.errors import InputError
from ringwright.models.insertions import Insertion
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.models.reading.toml_lines import key_lines
from ringwright.models.scenario import Craft, Occupied, Orbit
from ringwright.reports.angles import reference
from ringwright.reports.understood import duration, understood
from ringwright.scenarios import bundled, question, text
from ringwright.tests.tolerances import FLOAT_REL, NINE_DIGITS_REL, TWO_DIGITS_M

WORLD = """
[body]
name = "Ellory"
gm_m3_s2 = 2.0e12
radius_km = 1000
sidereal_day_h = 20
"""
RING = """
[ring]
altitude_km = 500
slots = 4
"""
CRAFT = """
[[craft]]
name = "Teal"
orbit = { altitude_km = 500, angle_deg = 30 }
"""
SMALL = WORLD + RING + CRAFT


@pytest.mark.parametrize("name", sorted(bundled()))
def test_bundled_scenario_reads_without_warning(name: str) -> None:
    scenario = parse_scenario(text(name), f"{name}.toml")
    assert scenario.warnings == ()
    assert scenario.title in bundled()[name]
    assert question(text(name)).endswith("?")


def test_bundled_scenarios_are_those_on_disk() -> None:
    assert sorted(bundled()) == [
        "atoll-on-the-equator",
        "backwards-world",
        "daily-window",
        "four-over-the-equator",
        "low-mars",
        "low-ring-in-thin-air",
        "one-astray",
        "one-craft-mars",
        "one-window",
        "over-the-plains",
        "round-the-moon",
        "shared-ride",
        "slow-drift",
        "spares-aloft",
        "thick-air",
        "three-planes",
    ]
    with pytest.raises(InputError, match="did you mean thick-air"):
        text("thik-air")


EVERYTHING = """title = "Everything"
epoch = 2031-05-01T02:00:00+02:00
[body]
name = "Ellory"
gm_km3_s2 = 2000.0
radius_m = 1.0e6
atmosphere_top_km = 20
sidereal_day = "-20:00:00"
j2 = 1e-3
prime_meridian_deg = 90
[ring]
radius_km = 1500
slots = 5
slot0_rad = 0.25
tolerance_deg = 1
[[ring.occupied]]
name = "Jade"
slot = 2
[[ring.occupied]]
name = "Onyx"
angle_rad = 3.6
[limits]
clearance_m = 5000
finish_within = "30:00:00"
wait_within_min = 90
revolutions_max = 7
apoapsis_max_km = 900
separation_km = 0
[[launch]]
name = "East"
latitude_deg = 0
longitude_rad = 0.5
ready = 2031-05-01T01:30:00Z
turnaround_min = 30
ascent = "0:06:30"
downrange_deg = 10
insertion = [
  { name = "steep", periapsis_km = -100, apoapsis_km = 500, altitude_km = 30 },
  { name = "level", periapsis_km = 50, apoapsis_km = 50 },
]
[[craft]]
name = "Teal"
dry_mass_kg = 100
propellant_kg = 50
load = "least"
isp_s = 300
thrust_kn = 0.4
reserve_km_s = 0.01
ready_h = 2
[[craft]]
name = "Rust"
orbit = { periapsis_km = 200, apoapsis_km = 500.0, angle_deg = 20, at = "periapsis", at_s = 2031-05-01T00:10:00Z }
[goal]
minimize = "worst_delta_v"
"""


def test_every_kind_of_table() -> None:
    scenario = parse_scenario(EVERYTHING)
    body, ring, limits, pad = scenario.body, scenario.ring, scenario.limits, scenario.pads[0]
    assert scenario.epoch == datetime(2031, 5, 1, 2, tzinfo=timezone(timedelta(hours=2)))
    assert (body.gm, body.radius_m, body.atmosphere_top_m, body.sidereal_day_s) == (2e12, 1e6, 20e3, -72000.0)
    assert (body.j2, body.j2_radius_m, body.prime_meridian_rad) == (1e-3, 1e6, math.pi / 2)
    assert math.isinf(body.hill_radius_m)
    assert (ring.radius_m, ring.slots, ring.slot0_rad, ring.tolerance_rad) == (1.5e6, 5, 0.25, math.radians(1))
    assert ring.occupied == (Occupied(name="Jade", slot=2), Occupied(name="Onyx", angle_rad=3.6))
    assert (limits.clearance_m, limits.finish_within_s, limits.wait_within_s) == (5e3, 108_000.0, 5400.0)
    assert (limits.revolutions_max, limits.apoapsis_max_m, limits.separation_m) == (7, 1.9e6, 0.0)
    assert scenario.floor_m == 1_025_000.0
    assert (pad.name, pad.latitude_rad, pad.longitude_rad, pad.ready_s) == ("East", 0.0, 0.5, 5400.0)
    assert (pad.turnaround_s, pad.ascent_s, pad.downrange_rad) == (1800.0, 390.0, math.radians(10))
    assert pad.insertions == (
        Insertion(name="steep", periapsis_m=0.9e6, apoapsis_m=1.5e6, radius_m=1.03e6),
        Insertion(name="level", periapsis_m=1.05e6, apoapsis_m=1.05e6, radius_m=1.05e6),
    )
    assert scenario.craft == (
        Craft(
            name="Teal",
            dry_mass_kg=100.0,
            propellant_kg=50.0,
            load="least",
            isp_s=300.0,
            thrust_n=400.0,
            reserve_m_s=10.0,
            ready_s=7200.0,
        ),
        Craft(
            name="Rust",
            orbit=Orbit(periapsis_m=1.2e6, apoapsis_m=1.5e6, angle_rad=math.radians(20), at="periapsis", at_s=600.0),
        ),
    )
    assert scenario.minimize == "worst_delta_v"
    lines = EVERYTHING.splitlines()
    orbit = next(n for n, line in enumerate(lines, 1) if line.startswith("orbit"))
    level = next(n for n, line in enumerate(lines, 1) if '"level"' in line)
    assert scenario.source.where("craft[1].orbit.periapsis") == f"scenario, line {orbit}"
    assert scenario.source.where("launch[0].insertion[1].apoapsis") == f"scenario, line {level}"


def test_ring_by_period_altitude_or_radius() -> None:
    """Kepler's third law: a = (GM (T / 2 pi)^2)^(1/3), worked here for GM 2e12 m^3/s^2 and 1500 km."""
    period_s = 2.0 * math.pi * math.sqrt(1.5e6**3 / 2e12)
    for given in (f"period_s = {period_s!r}", "radius_m = 1500000", "altitude_km = 500.0"):
        ring = parse_scenario(SMALL.replace("altitude_km = 500\n", f"{given}\n")).ring
        assert ring.radius_m == pytest.approx(1.5e6, rel=FLOAT_REL)


def test_geostationary_ring_by_period() -> None:
    """The textbook figure: one sidereal day, 42 164 km from the center (e.g. Vallado 2013, section 1.3)."""
    scenario = parse_scenario(
        '[body]\nname = "earth"\n[ring]\nperiod = "23:56:04.0905"\nslots = 3\n'
        '[[craft]]\nname = "Teal"\norbit = { period = "23:56:04.0905", angle_deg = 0 }\n'
    )
    assert scenario.ring.radius_m == pytest.approx(42_164.17e3, abs=TWO_DIGITS_M)
    assert scenario.craft[0].orbit is not None
    assert scenario.craft[0].orbit.circular


def test_defaults_are_taken_and_told() -> None:
    scenario = parse_scenario(SMALL)
    assert scenario.title == "untitled"
    assert scenario.epoch is None
    assert scenario.ring.slot0_rad is None
    assert scenario.limits.separation_m == 10_000.0
    assert math.isinf(scenario.limits.apoapsis_max_m)
    said = scenario.source.defaults
    assert said["ring.slot0"].startswith('"free"')
    assert said["limits.revolutions_max"] == "12"
    assert said["limits.separation"] == "10 km"
    assert said["body.atmosphere_top"] == "0 km, no atmosphere"
    assert said["craft[0].ready"] == "0 h, ready at the epoch"
    assert "ring.slots" not in said
    assert "ring.phasing" not in said


def test_built_in_body_with_an_override() -> None:
    scenario = parse_scenario(SMALL.replace(WORLD, '[body]\nname = "Mars"\nj2 = 0\natmosphere_top_km = 90\n'))
    assert scenario.body.name == "Mars"
    assert scenario.body.j2 == 0.0
    assert scenario.body.atmosphere_top_m == 90e3
    assert scenario.body.gm == pytest.approx(42828.3736e9, rel=NINE_DIGITS_REL)
    assert "the scenario itself gives atmosphere_top_km, j2" in scenario.body.source


def test_insertion_altitude_is_the_periapsis_by_default() -> None:
    launch = "[launch]\nlatitude_deg = 0\nlongitude_deg = 0\ninsertion = { periapsis_km = 60, apoapsis_km = 500.9 }\n"
    scenario = parse_scenario(WORLD + RING + launch + '[[craft]]\nname = "Teal"\n')
    assert scenario.pads[0].insertions[0].radius_m == 1_060_000.0
    assert scenario.pads[0].name == "pad"
    assert scenario.pads[0].insertions[0].name == ""
    assert scenario.source.where("launch.latitude") == scenario.source.where("launch[0].latitude")


def test_far_ring_is_warned_of() -> None:
    """A third of the Moon's Hill radius, some 19 400 km, is below a ring at 30 000 km."""
    source = SMALL.replace(WORLD, '[body]\nname = "moon"\n').replace("altitude_km = 500", "altitude_km = 30000")
    (warning,) = parse_scenario(source).warnings
    assert "31 737 km from the center of Moon" in warning
    assert "Hill radius" in warning


def test_launch_without_craft_on_the_ground_is_warned_of() -> None:
    launch = "[launch]\nlatitude_deg = 0\nlongitude_deg = 0\ninsertion = { periapsis_km = 60, apoapsis_km = 500 }\n"
    (warning,) = parse_scenario(SMALL + launch).warnings
    assert "nothing is launched" in warning


def test_orbit_moved_onto_the_ring_is_warned_of() -> None:
    off = SMALL.replace(CRAFT, '[[craft]]\nname = "Sorrel"\norbit = { altitude_km = 500.4, angle_deg = 90 }\n')
    (warning,) = parse_scenario(off).warnings
    assert "Sorrel has an apsis 0.400 km above the ring" in warning
    assert parse_scenario(off.replace("500.4", "500.04")).warnings == ()


def test_high_ring_that_is_no_radius_is_not_refused() -> None:
    """1 % off the synchronous radius (42 164 km) is an altitude like any other."""
    source = SMALL.replace(WORLD, '[body]\nname = "earth"\n').replace("altitude_km = 500", "altitude_km = 42600")
    assert parse_scenario(source).ring.radius_m == pytest.approx(48_978_136.6)


def test_settings_replace_values() -> None:
    source = text("atoll-on-the-equator")
    scenario = parse_scenario(
        source,
        "sea.toml",
        [
            "ring.radius_km=15378.1366",
            "body.j2=0",
            "craft[0].propellant_kg=150",
            "craft.Ladle.reserve_m_s=40",
            "ring.occupied.Tureen.slot=1",
            "launch.ready=2032-09-15T00:00:00Z",
            "launch.insertion.altitude_km=190",
            "limits.finish_within=400:00:00",
            "goal.minimize=finish",
            'title="Another go"',
            "ring.slot0_deg=free",
        ],
    )
    assert scenario.ring.radius_m == 15_378_136.6
    assert scenario.body.j2 == 0.0
    assert [craft.propellant_kg for craft in scenario.craft] == [150.0, 200.0, 200.0]
    assert [craft.reserve_m_s for craft in scenario.craft] == [25.0, 40.0, 25.0]
    assert scenario.ring.occupied[0].slot == 1
    assert scenario.ring.occupied[0].angle_rad == math.radians(214.7)
    assert scenario.pads[0].ready_s == 86_400.0
    assert scenario.pads[0].insertions[0].radius_m == 6_378_136.6 + 190e3
    assert scenario.limits.finish_within_s == 1_440_000.0
    assert scenario.minimize == "finish"
    assert scenario.title == "Another go"
    assert scenario.source.where("ring.radius") == "sea.toml, --set ring.radius_km=15378.1366"
    assert scenario.source.where("craft[0].propellant") == "sea.toml, --set craft[0].propellant_kg=150"


def test_settings_change_an_orbit_from_ellipse_to_circle() -> None:
    scenario = parse_scenario(text("thick-air"), settings=["craft.Yarrow.orbit.altitude_km=900"])
    assert scenario.craft[1].orbit is not None
    assert scenario.craft[1].orbit.circular


@pytest.mark.parametrize(
    ("setting", "message"),
    [
        ("ring.altitude_km", "is no setting"),
        ("=5", "is no setting"),
        ("ring..slots=3", "cannot be read"),
        ("ring.altitude_km=9000,5", "write 9000.5"),
        ("ring.altitude_km=9 000", "TOML does not know"),
        ("craft.Bole.propellant_kg=5", "did you mean Bowl?"),
        ("craft[7].propellant_kg=5", "which has 3"),
        ("craft.propellant_kg=5", "should name an item of craft: Ewer, Ladle, Bowl"),
        ("craft[0]=5", "ends in a list item"),
        ("rings.slots=5", "did you mean ring?"),
        ("ring.slot=5", "did you mean slots here?"),
        ("ring.slots=nan", "--set ring.slots=nan: ring.slots = nan"),
        ("limits.clearance_km=-1", "--set limits.clearance_km=-1: limits.clearance_km = -1 is too small"),
    ],
)
def test_bad_settings(setting: str, message: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_scenario(text("atoll-on-the-equator"), "sea.toml", [setting])
    assert message in str(caught.value)
    assert setting in str(caught.value) or setting.partition("=")[0] in str(caught.value)


def test_lines_of_every_shape_of_toml() -> None:
    lines = key_lines(
        '''# first
title = """three
lines
of text"""
"quoted key" = 'x = 1 # no comment'
a.b = 1
list = [
  1, # one
  { c = "}", d = [2,
    3] },
]
date = 1979-05-27 07:32:00

[table."with.dot"]
e = "# [no] table"
[[many]]
f = 1
[many.inner]
g = 2
[[many]]
f = \'\'\'
\'\'\'
[[many.deep]]
h = { i = { j = 1 } }
'''
    )
    assert lines["title"] == 2
    assert lines["quoted key"] == 5
    assert lines["a.b"] == 6
    assert lines["list[1].c"] == 9
    assert lines["list[1].d[1]"] == 10
    assert lines["date"] == 12
    assert lines["table.with.dot.e"] == 15
    assert lines["many[0].inner.g"] == 19
    assert lines["many[1].f"] == 21
    assert lines["many[1].deep[0].h.i.j"] == 24


def test_reading_needs_no_heavy_library() -> None:
    code = "import sys, ringwright.models.reading.scenario_reader, ringwright.scenarios\n"
    code += "print([m for m in ('numpy', 'scipy') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("name", sorted(bundled()))
@pytest.mark.parametrize("width", [60, 80, 120])
def test_understood_keeps_its_width_and_tells_every_default(name: str, width: int) -> None:
    scenario = parse_scenario(text(name), f"{name}.toml")
    said = understood(scenario, width)
    assert max(len(line) for line in said.splitlines()) <= width
    for craft in scenario.craft:
        assert craft.name in said
    flat = " ".join(said.split())
    assert scenario.source.defaults
    for words in scenario.source.defaults.values():
        assert words in flat


def test_understood_counts_angles_from_one_craft() -> None:
    """Slot 0 at 0 deg and Borage at 40: the slot is 40 deg behind it; Yarrow's apoapsis at 140 is 100 ahead."""
    scenario = parse_scenario(text("thick-air"))
    origin = reference(scenario)
    assert origin is not None
    assert origin.words == "Borage"
    said = " ".join(understood(scenario).split())
    assert "slot 0 0.000 deg 40.000 deg behind" in said
    assert "apoapsis of Yarrow 140.000 deg 100.000 deg ahead" in said


def test_understood_counts_from_the_site_when_nobody_is_up() -> None:
    launch = "[launch]\nlatitude_deg = 0\nlongitude_deg = 25\ninsertion = { periapsis_km = 60, apoapsis_km = 500 }\n"
    scenario = parse_scenario(WORLD + RING + "slot0_deg = 10\n" + launch + '[[craft]]\nname = "Teal"\n')
    said = " ".join(understood(scenario).split())
    assert "counted from pad" in said
    assert "slot 0 10.000 deg 15.000 deg behind" in said


def test_durations_in_own_days() -> None:
    body = parse_scenario(SMALL, settings=["body.sidereal_day_h=19.5"]).body
    assert duration(20 * 86400.0, body) == "20 d = 24.6 days of Ellory"
    earth = parse_scenario(text("atoll-on-the-equator")).body
    assert duration(20 * 86400.0, earth) == "20 d"


def test_epoch_keeps_its_offset() -> None:
    scenario = parse_scenario("epoch = 2031-05-01T12:00:00Z\n" + SMALL)
    assert scenario.epoch == datetime(2031, 5, 1, 12, tzinfo=UTC)
