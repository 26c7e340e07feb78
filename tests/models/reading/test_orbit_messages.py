"""Orbit messages as starts of craft: what is read of them, by each clock and frame, and every way to get one wrong."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import erfa
import numpy as np
import pytest
from numpy.typing import NDArray

from ringwright.models import bodies
from ringwright.models.burns import Impulsive
from ringwright.models.errors import InputError
from ringwright.models.flight.gravity import gravity_around
from ringwright.models.flight.integrate import fly
from ringwright.models.orbit_of_state import start_of_state
from ringwright.models.reading.message_states import _States, elapsed_s
from ringwright.models.reading.observed import read_observed
from ringwright.models.reading.orbit_messages import clock_of, parse_message
from ringwright.models.reading.scenario_reader import read_scenario
from ringwright.models.scenario import Scenario
from ringwright.optimizer.plan import make_plan
from ringwright.reports.exchange.folder import write_flights
from ringwright.tests.reports.exchange.messages import EARTH, ENGINE, MARS, best, planned
from ringwright.tests.tolerances import (
    CENTIMETER_M,
    CLOCK_SYSTEMS_S,
    FIRST_ORDER_RAD,
    FLOAT_RAD,
    MEAN_OF_STATE_M,
    METER_M,
    METERS_TO_M_S,
    PRINTED_DEG,
    TENTH_S,
    TWO_MILLIMETERS_M_S,
)

Array = NDArray[np.float64]
ORBIT = "orbit = { altitude_km = 10000, angle_deg = -60 }"

OPM = """CCSDS_OPM_VERS = 3.0
COMMENT made for a test
CREATION_DATE = 2031-05-01T00:00:00
ORIGINATOR = RINGWRIGHT
OBJECT_NAME = Umber
OBJECT_ID = UNKNOWN
CENTER_NAME = EARTH
REF_FRAME = GCRF
TIME_SYSTEM = UTC
EPOCH = 2031-05-01T06:00:00.000
X = 12056.368513564 [km]
Y = -5893.024733990 [km]
Z = -9389.053921779 [km]
X_DOT = 2.932609588193 [km/s]
Y_DOT = 3.693848425748 [km/s]
Z_DOT = 1.447051659223 [km/s]
USER_DEFINED_COLOR = brown
"""
OEM = """CCSDS_OEM_VERS = 3.0
CREATION_DATE = 2031-05-01T00:00:00
ORIGINATOR = RINGWRIGHT

META_START
OBJECT_NAME = Umber
OBJECT_ID = UNKNOWN
CENTER_NAME = EARTH
REF_FRAME = GCRF
TIME_SYSTEM = UTC
START_TIME = 2031-05-01T06:00:00
STOP_TIME = 2031-05-01T06:30:00
INTERPOLATION = LAGRANGE
INTERPOLATION_DEGREE = 5
META_STOP
COMMENT states
{rows}
COVARIANCE_START
EPOCH = 2031-05-01T06:00:00
1.0
COVARIANCE_STOP
"""


def scenario_with(folder: Path, text: str, message: str, lines: str = "", kind: str = "opm") -> Scenario:
    """The scenario with its craft started from a message beside it."""
    (folder / f"umber.{kind}").write_text(message, encoding="utf-8")
    own = text.replace(ORBIT, f'{kind} = "umber.{kind}"\n{lines}')
    assert own != text
    (folder / "ring.toml").write_text(own, encoding="utf-8")
    return read_scenario(folder / "ring.toml")


def test_what_is_written_starts_the_same_plan(tmp_path: Path) -> None:
    """A plan's own OPM, of before the epoch as the first burn is lit then, in place of the orbit: the same burns."""
    text = ENGINE
    outcome = planned(text)
    paths = {path.suffix: path for path in write_flights(outcome, tmp_path / "flights").paths}
    [was] = best(outcome).craft
    opm = scenario_with(tmp_path, text, paths[".opm"].read_text(encoding="ascii"))
    assert opm.warnings == (
        f"Craft Umber starts from an OPM whose {len(was.burns)} maneuver blocks are left out: what it is to burn is "
        "planned here.",
    )
    assert len(was.burns) > 1
    [now] = best(make_plan(opm)).craft
    assert now.in_slot_s == pytest.approx(was.in_slot_s, abs=TENTH_S)
    assert [b.delta_v_m_s for b in now.burns] == pytest.approx(
        [b.delta_v_m_s for b in was.burns], abs=TWO_MILLIMETERS_M_S
    )


def test_an_ephemeris_gives_the_state_of_the_flight_before_between_and_after_burns(tmp_path: Path) -> None:
    outcome = planned(EARTH)
    paths = {path.suffix: path for path in write_flights(outcome, tmp_path / "flights").paths}
    message = paths[".oem"].read_text(encoding="ascii")
    [part] = best(outcome).craft
    assert part.itinerary is not None
    [flight] = fly([part.itinerary], gravity_around(outcome.scenario.body), Impulsive(), relative=1e-13)
    ring = outcome.ring
    for hours in (0.1234, 4.0, part.burns[0].time_s / 3600.0 + 7.9, part.in_slot_s / 3600.0 + 3.0):
        scenario = scenario_with(
            tmp_path,
            EARTH.replace("[limits]", "[goal]\nfront_step_h = 6\n[limits]"),
            message,
            f"state_at_h = {hours}",
            "oem",
        )
        state = flight.states([hours * 3600.0])[0]
        wanted = start_of_state(scenario.body, ring, state[:3], state[3:], hours * 3600.0).orbit
        orbit = scenario.craft[0].orbit
        assert orbit is not None
        assert orbit.plane == wanted.plane
        assert orbit.at == wanted.at
        assert (orbit.periapsis_m, orbit.apoapsis_m) == pytest.approx(
            (wanted.periapsis_m, wanted.apoapsis_m), abs=METER_M
        )
        assert orbit.angle_rad == pytest.approx(wanted.angle_rad, abs=FIRST_ORDER_RAD)


def states_of(time_s: Array) -> Array:
    """A circle around the Earth, km and km/s."""
    rate = np.sqrt(398600.4418 / 16378.137**3)
    angle, zero = rate * time_s, np.zeros_like(time_s)
    ahead, up = np.stack([np.cos(angle), np.sin(angle), zero]), np.stack([-np.sin(angle), np.cos(angle), zero])
    return np.concatenate([16378.137 * ahead, 16378.137 * rate * up]).T


def rows_of(times: Array) -> str:
    start = datetime(2031, 5, 1, 6)
    return "\n".join(
        " ".join([(start + timedelta(seconds=t)).isoformat(), *(f"{x:.9f}" for x in state)])
        for t, state in zip(times.tolist(), states_of(times).tolist(), strict=True)
    )


@pytest.mark.parametrize(
    ("method", "meters"),
    # what each leaves at a spacing of five minutes: a ninth of a radian squared over eight for the straight line
    [
        ("INTERPOLATION = LAGRANGE\nINTERPOLATION_DEGREE = 5\n", 5.0),
        ("INTERPOLATION = HERMITE\nINTERPOLATION_DEGREE = 7\n", 0.01),
        ("", 0.01),
        ("INTERPOLATION = LINEAR\nINTERPOLATION_DEGREE = 1\n", 20_000.0),
    ],
)
def test_an_ephemeris_is_interpolated_as_it_says(method: str, meters: float, tmp_path: Path) -> None:
    text = OEM.replace("INTERPOLATION = LAGRANGE\nINTERPOLATION_DEGREE = 5\n", method)
    message = text.format(rows=rows_of(np.arange(0.0, 1801.0, 300.0)))
    parsed = parse_message(message, "OEM")
    reader = _States(parsed, bodies.body("earth"), datetime(2031, 5, 1, 6, tzinfo=UTC))
    axes = erfa.c2i06a(2_451_545.0, bodies.terrestrial_days(datetime(2031, 5, 1, 6, tzinfo=UTC)))
    for moment in (0.0, 1.0, 450.0, 901.0, 1799.0, 1800.0):
        found = reader.of_ephemeris(moment)
        exact = states_of(np.array([moment]))[0] * 1e3
        assert np.linalg.norm(found.position - axes @ exact[:3]) < meters
        assert np.linalg.norm(found.velocity - axes @ exact[3:]) < meters * METERS_TO_M_S


@pytest.mark.parametrize(
    "utc", ["2021-05-01T06:00:00.25", "2016-12-31T23:59:60.5", "2016-12-31T12:00:00", "1999-02-28T00:00:01"]
)
def test_every_clock_comes_to_the_same_moment(utc: str) -> None:
    """Against ERFA: utctai, taitt and the periodic terms of TDB; GPS is 19 s behind TAI (IS-GPS-200)."""
    date, time = utc.split("T")
    year, month, day = map(int, date.split("-"))
    hour, minute, second = time.split(":")
    utc1, utc2 = erfa.dtf2d("UTC", year, month, day, int(hour), int(minute), float(second))
    tai = erfa.utctai(utc1, utc2)
    terrestrial = erfa.taitt(*tai)
    dtr = erfa.dtdb(*terrestrial, 0.0, 0.0, 0.0, 0.0)
    tdb = erfa.tttdb(*terrestrial, dtr)
    gps = (tai[0], tai[1] - 19.0 / 86_400.0)
    epoch = datetime(2016, 12, 31, tzinfo=UTC)
    elapsed = elapsed_s(clock_of(utc), "UTC", epoch)
    if year == 2016:
        day_s = int(hour) * 3600.0 + int(minute) * 60.0 + float(second)
        assert elapsed == day_s
    for system, days in (("TAI", tai), ("TT", terrestrial), ("TDB", tdb), ("GPS", gps)):
        shown = erfa.d2dtf("TAI", 9, *days)
        y, m, d, fields = shown
        text = f"{y:04d}-{m:02d}-{d:02d}T{fields[0]:02d}:{fields[1]:02d}:{fields[2]:02d}.{fields[3]:09d}"
        assert elapsed_s(clock_of(text), system, epoch) == pytest.approx(elapsed, abs=CLOCK_SYSTEMS_S)


def test_both_forms_of_a_date_are_one_moment() -> None:
    assert clock_of("2032-366T00:00:00Z") == clock_of("2032-12-31T00:00:00")
    for bad in ("2031-366T00:00:00", "2031-13-01T00:00:00", "2031-05-01 00:00:00", "2031-05-01T24:00:00", "2031-05-01"):
        with pytest.raises(ValueError, match=r"\w"):
            clock_of(bad)


def test_other_ways_to_write_the_same_message_are_read(tmp_path: Path) -> None:
    """502.0-B-3, 7.3.5, 7.3.7, 7.4.5 to 7.4.7, 7.5.10, 7.7.1: line ends, blanks, days of the year, units or none."""
    wanted = scenario_with(tmp_path, EARTH, OPM).craft[0].orbit
    other = OPM.replace("\n", "\r\n\r\n").replace(" = ", "=").replace("X=", "  X  =   ").replace(" [km]", "   ")
    other = other.replace("2031-05-01T06:00:00.000", "2031-121T06:00:00Z").replace("VERS=3.0", "VERS = 2.0")
    assert scenario_with(tmp_path, EARTH, "\ufeff\n" + other).craft[0].orbit == wanted


def test_what_of_a_message_is_not_planned_with_is_said(tmp_path: Path) -> None:
    wide = EARTH.replace("slots = 2", "slots = 2\ntilt_tolerance_deg = 1")
    old = OPM.replace("EPOCH = 2031-05-01", "EPOCH = 2031-04-28").replace(
        "USER_DEFINED", "MASS = 131.0 [kg]\nUSER_DEFINED"
    )
    said = scenario_with(tmp_path, wide, old).warnings
    assert "at 2031-04-28 06:00:00 UTC, 3 d from the epoch" in said[0]
    assert said[1].startswith("Craft Umber has 131.00 kg by its message and 130.00 kg by the scenario")
    near = scenario_with(tmp_path, wide, old.replace("2031-04-28", "2031-05-01").replace("131.0", "130.5")).warnings
    assert not any("by its message" in one or "from the epoch" in one for one in near)
    with pytest.raises(InputError, match=r"MASS is in \[lb\], where the standard has \[kg\]"):
        scenario_with(tmp_path, wide, old.replace("[kg]", "[lb]"))


Change = Callable[[str], str]
WRONG: dict[str, tuple[Change, str]] = {
    "another kind": (lambda t: t.replace("CCSDS_OPM", "CCSDS_OMM"), "line 1: this is an OMM, where an OPM is wanted"),
    "the other kind": (lambda t: t.replace("CCSDS_OPM", "CCSDS_OEM"), "name it under oem"),
    "XML": (lambda t: '<?xml version="1.0"?><opm/>', "this is XML"),
    "another version": (lambda t: t.replace("VERS = 3.0", "VERS = 9.0"), "version 9.0 is not known here"),
    "empty": (lambda t: "\n \n", "the file is empty"),
    "another file": (lambda t: "name,x_km\nUmber,3\n", "is not the first line of an OPM"),
    "no state": (lambda t: t.replace("Y_DOT =", "COMMENT"), "there is no Y_DOT"),
    "twice": (lambda t: t + "X = 3 [km]\n", "line 18: X is there a second time, first in line 11"),
    "another unit": (lambda t: t.replace("[km/s]", "[m/s]"), "X_DOT is in [m/s], where the standard has [km/s]"),
    "no number": (lambda t: t.replace("-5893.024733990", "5 893"), 'line 12: Y = "5 893" should be a number'),
    "not finite": (lambda t: t.replace("-5893.024733990", "nan"), 'Y = "nan" should be a number'),
    "no date": (lambda t: t.replace("05-01T06:00", "05-32T06:00"), "line 10: EPOCH"),
    "another center": (lambda t: t.replace("EARTH", "MOON"), "CENTER_NAME = MOON, but the scenario is about Earth"),
    "turning frame": (lambda t: t.replace("GCRF", "ITRF2000"), "REF_FRAME = ITRF2000 cannot be read here"),
    "another clock": (lambda t: t.replace("UTC", "UT1"), "TIME_SYSTEM = UT1 cannot be read here"),
    "no notation": (lambda t: t.replace("OBJECT_ID = UNKNOWN", "OBJECT_ID UNKNOWN"), "should be KEYWORD = value"),
    "one long line": (lambda t: t.replace("Umber", "x" * 5000), "characters, where a message has 254 at most"),
    "no orbit": (lambda t: t.replace("= 2.932609588193", "= 22.932609588193"), "leave the body for good"),
    "straight down": (
        lambda t: t.replace("2.932609588193", "0.0").replace("3.693848425748", "0.0").replace("1.447051659223", "0.0"),
        "on one line through the center",
    ),
}


@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_parameter_message_says_what_is_wrong(name: str, tmp_path: Path) -> None:
    change, said = WRONG[name]
    with pytest.raises(InputError) as caught:
        scenario_with(tmp_path, EARTH, change(OPM))
    message = str(caught.value)
    assert said in message
    assert message.startswith(str(tmp_path))
    assert "\n" not in message
    assert message.endswith((".", "?"))


ROWS = rows_of(np.arange(0.0, 1801.0, 300.0))
WRONG_EPHEMERIS: dict[str, tuple[Change, str]] = {
    "cut off": (lambda t: t[: t.index("META_STOP")], "the file ends before META_STOP"),
    "no header": (lambda t: t.replace("META_START\n", ""), "META_STOP is out of place here"),
    "nothing in it": (lambda t: t.replace(ROWS, ""), "it has no line of ephemeris: take another"),
    "six items": (lambda t: t.replace(" 0.000000000 ", " ", 1), "has 6 items"),
    "backwards": (lambda t: t.replace("06:10:00 ", "06:01:00 "), "this line is not later than the one before it"),
    "another method": (lambda t: t.replace("= LAGRANGE", "= SPLINES"), "INTERPOLATION = SPLINES is not known here"),
    "no degree": (lambda t: t.replace("DEGREE = 5", "DEGREE = 0.5"), "a whole number from 1 to 30"),
    "too early": (lambda t: t.replace("T06", "T08"), "the ephemeris has no state 0.2 h from the epoch"),
    "a word": (lambda t: t.replace("16378.137000000", "far"), "should be a number"),
}


@pytest.mark.parametrize("name", WRONG_EPHEMERIS)
def test_a_wrong_ephemeris_says_what_is_wrong(name: str, tmp_path: Path) -> None:
    change, said = WRONG_EPHEMERIS[name]
    with pytest.raises(InputError) as caught:
        scenario_with(tmp_path, EARTH, change(OEM.format(rows=ROWS)), "state_at_h = 0.2", "oem")
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_missing_message_a_folder_and_a_device_are_refused(tmp_path: Path) -> None:
    for path, said in (("nowhere.opm", "no such file"), (".", "no file with text"), ("/dev/zero", "no file with text")):
        (tmp_path / "ring.toml").write_text(EARTH.replace(ORBIT, f'opm = "{path}"'), encoding="utf-8")
        with pytest.raises(InputError, match=said):
            read_scenario(tmp_path / "ring.toml")


def test_whatever_stands_in_a_message_it_is_read_or_refused_in_words() -> None:
    """Lines left out, doubled, exchanged and spoiled, from a fixed seed."""
    draw = random.Random(20310501)
    marks = ("\x00", "=", " ", "-", "META_START", "1e999", "\u202e", "[", "9" * 400, "COMMENT", "\t")
    refusals = []
    for text, kind in ((OPM, "OPM"), (OEM.format(rows=ROWS), "OEM")):
        for _ in range(300):
            lines = text.splitlines()
            for _ in range(draw.randint(1, 4)):
                at = draw.randrange(len(lines))
                what = draw.randrange(4)
                if what == 0 and len(lines) > 1:
                    del lines[at]
                elif what == 1:
                    lines.insert(at, draw.choice(lines))
                elif what == 2:
                    cut = draw.randint(0, len(lines[at]))
                    lines[at] = lines[at][:cut] + draw.choice(marks) + lines[at][cut:]
                else:
                    draw.shuffle(lines)
            refusals.append(_refusal("\n".join(lines), kind))
    assert 100 < sum(bool(one) for one in refusals) < 600
    assert all(one.isprintable() for one in refusals)


def _refusal(text: str, kind: str) -> str:
    """Why a message is refused; empty where it is read."""
    try:
        parsed = parse_message(text, kind)  # type: ignore[arg-type]  # one of the two
        reader = _States(parsed, bodies.body("earth"), datetime(2031, 5, 1, 6, tzinfo=UTC))
        given = reader.of_parameters() if kind == "OPM" else reader.of_ephemeris(700.0)
    except InputError as refused:
        return str(refused)
    assert np.all(np.isfinite(given.position))
    return ""


@pytest.mark.parametrize("frame", ["GCRF", "EME2000", "TOD", "MOD", "TEME"])
def test_a_state_is_the_same_in_every_frame(frame: str, tmp_path: Path) -> None:
    """Turned into the frame by ERFA, read back: the orbit is the one of the state in the GCRF."""
    days = bodies.terrestrial_days(datetime(2031, 5, 1, 6, tzinfo=UTC))
    greenwich = float(erfa.gmst06(2_451_545.0, days, 2_451_545.0, days) - erfa.era00(2_451_545.0, days))
    turn = {
        "GCRF": np.eye(3),
        "EME2000": erfa.bp06(2_451_545.0, 0.0)[0],
        "TOD": erfa.pnm06a(2_451_545.0, days),
        "MOD": erfa.pmat06(2_451_545.0, days),
        "TEME": erfa.rz(-greenwich, erfa.c2i06a(2_451_545.0, days)),
    }[frame]
    state = np.array([float(line.split()[2]) for line in OPM.splitlines()[10:16]])
    turned = [*(turn @ state[:3]), *(turn @ state[3:])]
    lines = OPM.splitlines()
    for k, value in enumerate(turned):
        lines[10 + k] = f"{lines[10 + k].split()[0]} = {value:.12f}"
    wanted = scenario_with(tmp_path, EARTH, OPM).craft[0].orbit
    found = scenario_with(tmp_path, EARTH, "\n".join(lines).replace("GCRF", frame)).craft[0].orbit
    assert wanted is not None
    assert found is not None
    assert found.angle_rad == pytest.approx(wanted.angle_rad, abs=FLOAT_RAD)
    assert found.apoapsis_m == pytest.approx(wanted.apoapsis_m, abs=CENTIMETER_M)


def test_a_circle_on_the_mean_is_the_ring_and_a_state_off_it_is_said(tmp_path: Path) -> None:
    outcome = planned(EARTH)
    [path] = [one for one in write_flights(outcome, tmp_path / "flights").paths if one.suffix == ".opm"]
    scenario = scenario_with(tmp_path, EARTH, path.read_text(encoding="ascii"))
    [craft] = scenario.craft
    assert craft.orbit is not None
    assert craft.orbit.circular
    assert craft.orbit.apoapsis_m == pytest.approx(scenario.ring.radius_m, abs=MEAN_OF_STATE_M)
    assert np.degrees(craft.orbit.angle_rad) == pytest.approx(-60.0, abs=PRINTED_DEG)
    # its own speed a tenth of a percent less: an orbit that touches the ring, some kilometers from the state
    lines = path.read_text(encoding="ascii").splitlines()
    slower = [
        f"{line.split()[0]} = {float(line.split()[2]) * 0.99:.12f}" if "_DOT =" in line else line for line in lines
    ]
    other = scenario_with(tmp_path, EARTH, "\n".join(slower))
    assert other.craft[0].orbit is not None
    assert other.craft[0].orbit.at == "apoapsis"
    assert "Craft Umber is planned from" in other.warnings[1]
    assert "beside the state of its message at 2031-05-01 06:00:00 UTC" in other.warnings[1]


def test_observations_take_messages_too(tmp_path: Path) -> None:
    outcome = planned(EARTH)
    paths = {path.suffix: path for path in write_flights(outcome, tmp_path).paths}
    [part] = best(outcome).craft
    assert part.itinerary is not None
    [flight] = fly([part.itinerary], gravity_around(outcome.scenario.body), Impulsive(), relative=1e-13)
    seen = tmp_path / "seen.toml"
    seen.write_text(f'now_h = 5\n[[craft]]\nname = "Umber"\noem = "{paths[".oem"].name}"\n', encoding="utf-8")
    [one] = read_observed(seen, outcome.scenario, outcome.ring).craft
    assert one.state is not None
    assert one.state[:3] == pytest.approx(flight.states([18_000.0])[0, :3], abs=METER_M)
    assert one.state_s == 18_000.0
    text = paths[".opm"].read_text(encoding="ascii").replace("EPOCH = 2031-05-01T06", "EPOCH = 2031-05-01T16")
    (tmp_path / "late.opm").write_text(text, encoding="ascii")
    seen.write_text('now_h = 5\n[[craft]]\nname = "Umber"\nopm = "late.opm"\n', encoding="utf-8")
    with pytest.raises(InputError, match="after now"):
        read_observed(seen, outcome.scenario, outcome.ring)


def test_messages_around_mars_are_on_the_axes_of_the_icrf(tmp_path: Path) -> None:
    outcome = planned(MARS)
    [path] = [one for one in write_flights(outcome, tmp_path / "flights").paths if one.suffix == ".opm"]
    text = MARS.replace("orbit = { altitude_km = 9000, angle_deg = -60 }", ORBIT)
    scenario = scenario_with(tmp_path, text, path.read_text(encoding="ascii"))
    [craft] = scenario.craft
    assert craft.orbit is not None
    assert craft.orbit.circular
    assert np.degrees(craft.orbit.angle_rad) == pytest.approx(-60.0, abs=PRINTED_DEG)
