"""Broken scenario files: each is refused in one paragraph that names file, line, key, value and remedy."""

from __future__ import annotations

import math
import os
import re
import threading
import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringwright.models.errors import InputError
from ringwright.models.reading import toml_text
from ringwright.models.reading.scenario_reader import parse_scenario, read_scenario
from ringwright.models.scenario import Scenario
from ringwright.scenarios import bundled, text

BROKEN = Path(__file__).parents[2] / "broken"

# file: (line, key and value as the message has them, remedy)
EXPECTED: dict[str, tuple[int | None, str, str]] = {
    "altitude-and-period": (8, 'ring.altitude_km = 9000 and ring.period = "5:16:18.7"', "keep one of them"),
    "altitude-is-a-radius": (7, "ring.altitude_km = 42164 puts the ring 48 542 km", "center, write radius_km"),
    "at-somewhere-else": (24, 'craft.Rust.orbit.at = "perigee"', 'did you mean "periapsis"?'),
    "blackout-backwards": (17, "until_h = 20 is not after launch.blackout[0].from_h = 30", "ends after it begins"),
    "blackout-without-end": (17, "launch.blackout[0] has no until", "add until_s"),
    "corridor-with-one-end": (17, "launch.azimuth_from_deg = 40", "add azimuth_to_deg"),
    "insertion-range-backwards": (17, "periapsis_km = [600.0, 180.0]", "swap them"),
    "insertion-range-of-three": (17, "periapsis_km = [180.0, 300.0, 600.0]", "the least and the most"),
    "payload-not-so-far": (17, "periapsis_km = [180.0, 600.0] goes beyond the altitudes", "add rows"),
    "payload-out-of-order": (17, "payload[1].periapsis_km = 180 is no higher", "put them in rising order"),
    "longitude-and-altitude": (8, "ring.longitude_deg = 15 fixes the slots to the ground", "take altitude_km out"),
    "longitude-and-slot0": (9, "ring.longitude_deg = 15 fixes the slots to the ground", "take slot0_deg out"),
    "longitude-of-venus": (7, "but Venus turns backwards", "give a size and slot0_deg instead"),
    "phasing-beyond-the-planes": (11, "ring.phasing = 66 should be below planes", "which is 2"),
    "pads-as-text": (22, 'craft.Teal.pads = "Trivet"', 'write pads = ["first", "second"]'),
    "pads-in-space": (27, 'craft.Rust.pads = ["Trivet"]', "take pads out, or take orbit out"),
    "pads-twice": (22, 'craft.Teal.pads = ["Trivet", "Trivet"]', "name each once"),
    "pads-unknown": (22, "names 'Trivot', which is no launch site", "called Trivet"),
    "payload-too-small": (17, "launch.payload_kg = 450 is less than the mass of craft 'Teal'", "500 kg: at least that"),
    "payload-without-masses": (17, "launch.payload_kg = 450 limits the mass", "add dry_mass_kg"),
    "until-before-ready": (18, "launch.until_h = 20 is before the site is ready", "at least that moment"),
    "ceiling-below-ring": (13, "limits.apoapsis_max_km = 8000", "9 000 km"),
    "circle-under-the-ground": (
        24,
        "craft.Rust.orbit.altitude_km = -7000 has Rust under the ground",
        "above the air, which reaches",
    ),
    "clock-overflow": (7, 'ring.period = "5:61:09"', "each of the last two below 60"),
    "clock-with-unit": (7, 'ring.period_h = "5:04:09"', 'write period = "5:04:09"'),
    "clock-without-quotes": (7, "period = 5:04:09", 'period = "5:04:09"'),
    "date-as-length": (7, "ring.altitude_km = 2031-05-01T00:00:00Z", "write a number"),
    "day-of-zero": (5, "body.sidereal_day_h = 0", "inf for a body that does not turn"),
    "decimal-comma": (12, "clearance_km = 30,5", "write clearance_km = 30.5"),
    "ellipse-without-at": (24, "craft.Rust.orbit.angle_deg = 30", 'add at = "periapsis" or at = "apoapsis"'),
    "empty-name": (23, 'craft[1].name = " "', "at least one letter"),
    "epoch-as-date": (1, "epoch = 2031-05-01", "write 2031-05-01T00:00:00Z"),
    "epoch-as-text": (1, 'epoch = "2031-05-01T00:00:00Z"', "without quotes"),
    "epoch-without-offset": (1, "epoch = 2031-05-01T00:00:00", "write 2031-05-01T00:00:00Z for UTC"),
    "finished-before-ready": (13, "limits.finish_within_d = 1", "more than 1 d 6 h"),
    "floor-above-ring": (12, "limits.clearance_km = 8900", "at most 8 880 km"),
    "ground-without-launch": (
        6,
        "craft 'Teal' (line 6) is on the ground",
        "add [launch], or give Teal orbit = { ... }",
    ),
    "slots-of-400-digits": (8, "ring.slots = 1000000000", "from 1 to 500 would be accepted"),
    "half-a-slot": (8, "ring.slots = 3.5", "whole number"),
    "infinite-altitude": (7, "ring.altitude_km = inf", "not finite"),
    "insertion-apsides-swapped": (17, "launch.insertion.periapsis_km = 9000", "swap them"),
    "insertion-in-the-air": (17, "launch.insertion.altitude_km = 130", "150 km"),
    "insertion-off-its-orbit": (17, "launch.insertion.altitude_km = 190", "between 250 km and 9 000 km"),
    "insertion-short-of-the-ring": (17, "launch.insertion.apoapsis_km = 7000", "a circle, both apsides alike"),
    "insertion-without-altitude": (17, "launch.insertion.periapsis_km = -200", "add launch.insertion.altitude_km"),
    "insertions-without-names": (18, "launch.insertion[0] has no name", "a different name"),
    "instant-before-epoch": (17, "launch.ready = 2031-04-30T00:00:00Z", "a moment after it"),
    "instant-without-epoch": (17, "launch.ready = 2031-05-02T00:00:00Z", "add epoch ="),
    "key-in-wrong-table": (9, "ring.finish_within_d", "belongs in [limits]"),
    "key-of-no-table": (9, "ring.color is not a key", "knows altitude_km, hold_for_h, inclination_deg"),
    "key-twice": (9, "slots = 4", "keep one of them"),
    "latitude-beyond-the-pole": (15, "launch.latitude_deg = 95", "at most 90 deg"),
    "list-as-number": (7, "ring.altitude_km = [9000.0]", "write a length"),
    "nan": (12, "limits.clearance_km = nan", "give a finite one"),
    "throttle-beyond-one": (25, "craft.Teal.throttle_min = 1.5", "1"),
    "negative-mass": (21, "craft.Teal.dry_mass_kg = -310", "more than 0 kg"),
    "no-body": (None, "there is no [body]", "add it"),
    "no-craft": (None, "there is no [[craft]]", "add it"),
    "no-ring": (None, "there is no [ring]", "add it"),
    "no-ring-size": (6, "ring has no size", "add altitude_km, radius_km or period"),
    "no-slot-at-all": (8, "ring.slots = 0", "from 1 to 500"),
    "slots-and-pattern": (9, "ring.slots = 3 and ring.slots_deg = [0, 90, 200]", "keep one of them"),
    "slots-not-from-zero": (8, "ring.slots_deg = [10, 90, 200]", "should begin with slot 0 itself: 0"),
    "slots-not-rising": (8, "ring.slots_deg = [0, 200, 90]", "put slot 2 at 90 deg ahead of slot 1 at 200 deg"),
    "slots-round-again": (8, "ring.slots_deg = [0, 90, 360]", "0.001 deg or more short of a whole turn"),
    "slots-as-one-angle": (8, "ring.slots_deg = 90", "write slots_deg = [0, ...]"),
    "slots-of-words": (8, 'ring.slots_deg = [0, "ninety"]', "write a number"),
    "slots-too-few": (8, "the ring has 1", "list 2 slots in ring.slots_deg"),
    "left-free-beyond-the-last": (10, "ring.leave_free = [4] names slot 4", "0 to 3"),
    "left-free-twice": (10, "ring.leave_free = [1, 1]", "name each once"),
    "left-free-of-a-free-phase": (10, "ring.leave_free = [1] needs to know which slot is which", "give slot0_deg"),
    "left-free-and-taken": (11, "Jade is in slot 1, which ring.leave_free = [1] leaves free", "take the slot out"),
    "left-free-too-many": (8, "the ring has 1", "raise ring.slots to 4"),
    "no-slots": (6, "ring has no slots", "add slots"),
    "not-toml": (8, "'slots 3'", "write key = value"),
    "number-as-text": (7, 'ring.altitude_km = "9000"', "take the quotes off"),
    "occupied-nowhere": (26, "ring.occupied.Jade has no place", "add slot, or angle_deg"),
    "one-name-two-craft": (23, 'craft.Teal.name = "Teal"', "(line 19): give each craft a different name"),
    "one-slot-two-craft": (30, "Onyx and Jade are both in slot 1", "another place"),
    "only-comments": (None, "the file is empty", "a scenario needs at least [body]"),
    "orbit-altitude-is-a-radius": (24, "craft.Rust.orbit circles at 15 378 km", "write radius_km"),
    "orbit-off-the-ring": (24, "craft.Rust.orbit runs from 400 to 7 000 km", "goal.front_step"),
    "orbit-through-the-center": (24, "craft.Rust.orbit.periapsis_km = -7000", "more than -6 378.137 km"),
    "orbit-without-angle": (24, "craft.Rust.orbit has no angle", "add angle_deg or angle_rad"),
    "orbit-without-size": (24, "craft.Rust.orbit has no size", "add periapsis_km and apoapsis_km, or altitude_km"),
    "pad-without-insertion": (14, "launch has no insertion", "add insertion"),
    "pads-without-names": (14, "launch[0] has no name", "a different name"),
    "plane-beyond-the-last": (28, "craft.Rust.orbit.plane = 2 is no plane of the ring", "it has 2, counted 0 to 1"),
    "plane-too-full": (8, "Rust and Jade are in plane 0, which has 1 slot", "raise ring.slots to 2"),
    "planes-over-the-equator": (9, "ring.planes = 2 would all be one", "give inclination_deg"),
    "propellant-without-masses": (27, 'goal.minimize = "propellant"', 'or minimize = "delta_v"'),
    "ready-before-epoch": (17, "launch.ready_h = -2", "0 or more"),
    "reserve-too-large": (24, "craft.Teal.reserve_m_s = 200", "at most 183.9343 m/s would be accepted"),
    "ring-in-the-air": (7, "ring.altitude_km = 90", "raise the ring"),
    "ring-in-the-ground": (7, "ring.radius_km = 5000", "write a larger one"),
    "short-clock": (7, 'ring.period = "5:04" can be read as 5 h 04 min or as 5 min 04 s', '"5:04:00" or "0:05:04"'),
    "single-craft-table": (19, "craft holds one table for each item", "[[craft]]"),
    "slot-beyond-the-last": (28, "ring.occupied.Jade.slot = 3", "0 to 2"),
    "some-masses": (21, "has dry_mass_kg and isp_s but no propellant", "together, or none of them"),
    "stay-as-text": (25, 'craft.Rust.stay = "yes"', 'should be "may move", true or false'),
    "stay-off-the-ring": (25, "craft.Rust.stay = true", "an orbit at 9 000 km"),
    "stay-on-the-ground": (21, "craft.Teal.stay = true", "give it an orbit, or launch it"),
    "text-as-number": (1, "title = 7", '"7" in quotes'),
    "thrust-without-masses": (21, "craft.Teal.thrust_n = 400", "add dry_mass_kg, propellant_kg and isp_s"),
    "too-far": (7, "ring.altitude_km = 1e+300", "at most 10 000 000 000 km"),
    "too-many-craft": (8, "2 craft are to find a slot, but the ring has 1", "raise ring.slots to 2"),
    "true-as-number": (8, "ring.slots = true", "write a number"),
    "two-line-title": (1, 'title = "Broken\\nin two"', "one line"),
    "two-units": (8, "ring.altitude_km = 9000 and ring.altitude_m = 9000000", "keep one of them"),
    "unit-missing": (7, "ring.altitude = 9000", "write altitude_m or altitude_km"),
    "unit-of-another-kind": (7, "ring.altitude_deg", "write altitude_m or altitude_km"),
    "unknown-body": (4, 'body.name = "marz"', "did you mean mars?"),
    "unknown-goal": (27, 'goal.minimize = "time"', '"worst_delta_v", "load_p99" or "finish_p90"'),
    "unknown-key": (12, "limits.clearence_km", "did you mean clearance_km?"),
    "message-and-orbit": (14, 'craft.Rust.opm = "rust.opm" and craft.Rust.orbit', "keep one of them"),
    "message-as-number": (13, "craft.Rust.opm = 7", "in quotes"),
    "message-of-own-world": (15, 'craft.Rust.opm = "rust.opm"', "give orbit"),
    "message-of-two-kinds": (14, 'craft.Rust.opm = "rust.opm" and craft.Rust.oem', "keep one of them"),
    "message-off-the-plane": (13, "tilted 6.98 deg against the nearest plane", "to 0.1 deg"),
    "message-off-the-ring": (11, "does not touch the ring at 10 000 km", "add goal.front_step"),
    "message-under-ground": (13, "5 378.137 km from the center, under the ground", "a state in space"),
    "message-without-epoch": (12, 'craft.Rust.opm = "rust.opm"', "add epoch at the top"),
    "state-at-without-ephemeris": (14, "craft.Rust.state_at_h = 1", "take it out, or give oem"),
    "spare-after-no-slot": (18, "spare.Woad.after_slot = 3 is no slot", "one of 0 to 2"),
    "spare-between-and-below": (19, "spare.Woad.altitude_km = 8000, but spare.Woad.after_slot = 1", "give angle_deg"),
    "spare-in-the-air": (19, "spare.Woad.altitude_km = 80 is below the lowest altitude", "120 km would be accepted"),
    "spare-without-place": (16, "spare.Woad has no after_slot", "add after_slot"),
    "spare-over-the-poles": (19, "spare.Woad.altitude_km = 8000 is not the ring, at 9 000 km", "goal.front_step"),
    "spare-named-as-a-craft": (17, 'spare.Rust.name = "Rust" is taken by another craft (line 12)', "a different name"),
    "world-without-day": (3, 'body.name = "Ellory"', "add sidereal_day_h"),
    "world-without-radius": (4, 'body.name = "Ellory"', "radius_km"),
}


def test_every_broken_file_has_its_message() -> None:
    assert sorted(path.stem for path in BROKEN.glob("*.toml")) == sorted(EXPECTED)


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_broken_file(name: str) -> None:
    line, what, remedy = EXPECTED[name]
    path = BROKEN / f"{name}.toml"
    with pytest.raises(InputError) as caught:
        read_scenario(path)
    message = str(caught.value)
    assert message.startswith(f"{path}, line {line}: " if line else f"{path}: ")
    assert what in message
    assert remedy in message
    assert "\n" not in message
    assert message.endswith((".", "?"))


def test_missing_file_names_a_near_one(tmp_path: Path) -> None:
    (tmp_path / "mars-ring.toml").write_text("")
    with pytest.raises(InputError, match=r"no such file.*did you mean .*mars-ring\.toml"):
        read_scenario(tmp_path / "mars-rings.toml")


def test_folder_is_no_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is a folder"):
        read_scenario(tmp_path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with a name here")
def test_a_pipe_is_read_where_something_writes_into_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pipe = tmp_path / "pipe.toml"
    os.mkfifo(pipe)
    monkeypatch.setattr(toml_text, "PATIENCE_S", 0.05)
    with pytest.raises(InputError, match=r"pipe that nothing writes into: name a file"):
        read_scenario(pipe)
    both = os.open(pipe, os.O_RDWR)
    source = text("one-craft-mars").encode()

    def late() -> None:
        os.write(both, source[:10])
        time.sleep(0.2)
        os.write(both, source[10:])
        time.sleep(0.2)
        os.close(both)

    writer = threading.Timer(0.2, late)
    writer.start()
    assert read_scenario(pipe).title == "One craft around Mars"
    writer.join()


def test_a_link_to_nowhere_is_named_as_such(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").symlink_to(tmp_path / "gone.toml")
    with pytest.raises(InputError, match=r"a link to a file that is not there: check"):
        read_scenario(tmp_path / "mine.toml")


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may read everything")
def test_file_without_permission(tmp_path: Path) -> None:
    path = tmp_path / "closed.toml"
    path.write_text(text("one-craft-mars"))
    path.chmod(0)
    with pytest.raises(InputError, match=r"cannot be read.*permission"):
        read_scenario(path)


def test_huge_file_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "huge.toml"
    with path.open("wb") as stream:
        stream.truncate(50_000_000)
    with pytest.raises(InputError, match=r"50 MB.*at most 1 MB"):
        read_scenario(path)


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="no such device here")
def test_endless_device_is_not_read() -> None:
    with pytest.raises(InputError, match="at most 1 MB"):
        read_scenario("/dev/zero")


def test_binary_file(tmp_path: Path) -> None:
    path = tmp_path / "picture.toml"
    path.write_bytes(b'title = "x"\n\x89PNG\r\n\x1a\n\xff\xfe')
    with pytest.raises(
        InputError, match=r"line 2: the file is not UTF-8 text \(byte 0x89 at place 12\): save it as UTF-8"
    ):
        read_scenario(path)


def test_latin_1_file(tmp_path: Path) -> None:
    path = tmp_path / "old.toml"
    path.write_bytes('# aufgeräumt\ntitle = "x"\n'.encode("latin-1"))
    with pytest.raises(InputError, match="line 1: the file is not UTF-8 text"):
        read_scenario(path)


def test_name_that_no_file_can_have() -> None:
    with pytest.raises(InputError, match="cannot be read"):
        read_scenario("a\0b")


def test_empty_text() -> None:
    with pytest.raises(InputError, match="the file is empty"):
        parse_scenario("")


def test_brackets_without_end() -> None:
    with pytest.raises(InputError, match="nested too deeply"):
        parse_scenario("x = " + "[" * 100_000)


def test_number_of_ten_thousand_digits() -> None:
    with pytest.raises(InputError, match="cannot be read"):
        parse_scenario("x = " + "9" * 10_000)


def test_whole_number_beyond_a_float() -> None:
    with pytest.raises(InputError, match="not finite"):
        parse_scenario(
            text("one-craft-mars").replace("altitude_km = 9000.0\nslots", f"altitude_km = 1{'0' * 400}\nslots")
        )


def test_mark_at_the_start_and_windows_line_ends(tmp_path: Path) -> None:
    path = tmp_path / "windows.toml"
    path.write_bytes(b"\xef\xbb\xbf" + text("one-craft-mars").replace("\n", "\r\n").encode())
    scenario = read_scenario(path)
    assert scenario.source.where("ring.slots") == f"{path}, line 12"


NASTY = [
    "nan",
    "inf",
    "-inf",
    "-1",
    "0",
    "1e308",
    "-1e308",
    "1e-308",
    "true",
    '""',
    '"free"',
    '"5:04"',
    "[]",
    "[1]",
    "{}",
]
NASTY += [
    "{ a = 1 }",
    "2031-05-01",
    "2031-05-01T00:00:00",
    "07:32:00",
    "0.5",
    "99999999999999999999",
    '"\\u0000"',
    "3,5",
]
VALUE = re.compile(r"(?<== )[^{\n#]+?(?=\s*(?:#|$|\n| }))")
NAMES = sorted(bundled())


def read_or_refused(source: str) -> None:
    """Read a text; where it is refused, hold the message to its form."""
    try:
        scenario = parse_scenario(source, "spoiled.toml")
    except InputError as fault:
        problem: InputError | None = fault
    else:
        problem = None
        assert isinstance(scenario, Scenario)
        assert math.isfinite(scenario.ring.radius_m)
    if problem is not None:
        assert str(problem).startswith("spoiled.toml")
        assert "\n" not in str(problem)


@settings(derandomize=True, deadline=None, max_examples=250, database=None)
@given(st.data())
def test_spoiled_scenarios_are_read_or_refused(data: st.DataObject) -> None:
    """Whatever stands for a value, the reader answers with a scenario or with one paragraph, never with a traceback."""
    source = text(data.draw(st.sampled_from(NAMES)))
    for _ in range(data.draw(st.integers(1, 3))):
        places = list(VALUE.finditer(source))
        place = data.draw(st.sampled_from(places))
        source = source[: place.start()] + data.draw(st.sampled_from(NASTY)) + source[place.end() :]
    read_or_refused(source)


@settings(derandomize=True, deadline=None, max_examples=150, database=None)
@given(st.data())
def test_cut_scenarios_are_read_or_refused(data: st.DataObject) -> None:
    source = text(data.draw(st.sampled_from(NAMES)))
    start = data.draw(st.integers(0, len(source)))
    end = data.draw(st.integers(start, min(len(source), start + 40)))
    read_or_refused(source[:start] + source[end:])


NEAR_A_BOUND = """
[body]
name = "Xo"
gm_km3_s2 = 9120.512345
radius_km = 1210.0987654321
atmosphere_top_km = 62.0123456789
sidereal_day_h = 30.0
[ring]
altitude_km = 1234.56784321
slots = 2
[limits]
clearance_km = {clearance}
apoapsis_max_km = {ceiling}
[launch]
latitude_deg = 0.0
longitude_deg = 0.0
insertion = {{ periapsis_km = {low}, apoapsis_km = {low} }}
[[craft]]
name = "Ladle"
dry_mass_kg = 100.0
propellant_kg = 50.123
isp_s = 300.0
reserve_m_s = {reserve}
"""
FINE = {"clearance": 3.00004444, "ceiling": 2000.0, "low": 300.0, "reserve": 10.0}
OUTSIDE = {
    "clearance": (1300.0, "limits.clearance_km"),
    "ceiling": (1234.0, "limits.apoapsis_max_km"),
    "low": (65.0, "launch.insertion.periapsis_km"),
    "reserve": (5000.0, "craft.Ladle.reserve_m_s"),
}


@pytest.mark.parametrize("name", sorted(OUTSIDE))
def test_the_bound_that_a_message_names_is_accepted_as_printed(name: str) -> None:
    value, key = OUTSIDE[name]
    with pytest.raises(InputError) as caught:
        parse_scenario(NEAR_A_BOUND.format(**{**FINE, name: value}))
    numbers = re.findall(r"(\d[\d ]*(?:\.\d+)?) (?:km|m/s)", str(caught.value))
    accepted = numbers[-1].replace(" ", "")
    settings = [f"{key}={accepted}"]
    if name == "low":
        settings.append(f"launch.insertion.apoapsis_km={accepted}")
    text = NEAR_A_BOUND.format(**{**FINE, name: value})
    if name == "clearance":
        # with that little room no insertion is high enough, which is the next thing to say
        with pytest.raises(InputError, match="insertion"):
            parse_scenario(text, settings=settings)
    else:
        parse_scenario(text, settings=settings)


def test_a_stray_carriage_return_is_shown_with_its_line() -> None:
    """It ends no line in TOML, so that line numbers are those of the reader of TOML."""
    with pytest.raises(InputError) as raised:
        parse_scenario("\rslots = 4\n", "ring.toml")
    assert str(raised.value).startswith("ring.toml, line 1: the file is not TOML here in 'slots = 4'")


@pytest.mark.parametrize(
    ("table", "value", "remedy"),
    [
        ("[limits]", "limits = 3", "write [limits] and its keys in the lines below"),
        ("[[craft]]", "craft = [3]", "write [[craft]] and its keys in the lines below"),
    ],
)
def test_a_value_in_place_of_a_table_is_met_with_how_a_table_is_written(table: str, value: str, remedy: str) -> None:
    without = re.sub(rf"^{re.escape(table)}$.*?(?=^\[|\Z)", "", text("one-craft-mars"), flags=re.MULTILINE | re.DOTALL)
    with pytest.raises(InputError, match=re.escape(remedy)):
        parse_scenario(f"{value}\n{without}")


def test_a_value_in_place_of_a_table_inside_another_is_met_with_braces() -> None:
    with pytest.raises(InputError, match=re.escape("write orbit = { key = value, ... }")):
        parse_scenario(text("one-craft-mars").replace("orbit = {", "orbit = 3 #"))
