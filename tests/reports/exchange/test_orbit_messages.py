"""Orbit messages: read by a library of the registry, against the flight, and flown again from what they say.

Standard: CCSDS 502.0-B-3 (April 2023), sections 3, 5 and 7. Library: ccsds-ndm 3.1. Precession and nutation: ERFA.
"""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import erfa
import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.interpolate import KroghInterpolator

from ringwright.models.burns import Impulsive
from ringwright.models.flight.gravity import gravity_around
from ringwright.models.flight.integrate import Flight, fly
from ringwright.models.force_choice import chosen_forces
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.models.scenario import Errors
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.robustness.spread import spread
from ringwright.optimizer.standing import UnderForces
from ringwright.reports.exchange.folder import CSV_HEADER, write_flights
from ringwright.tests.reports.exchange.messages import (
    CARRIER,
    EARTH,
    ENGINE,
    EPOCH,
    GROUND,
    MARS,
    OWN,
    Array,
    best,
    ephemeris,
    moment,
    planned,
    read,
    renamed,
)
from ringwright.tests.tolerances import (
    DECIMETER_M,
    FLOAT_KM_S,
    SIX_DIGITS_REL,
    SUMMED_S,
    WRITTEN_KG,
    WRITTEN_M_S,
    WRITTEN_S,
)

NODE_M = 1e-3
"""What a node may be off the flight."""

BETWEEN_M = 1.0
"""What interpolation may be off the flight."""

TERRESTRIAL_S = 37.0 + 32.184
"""TT - UTC in 2031: no leap second after 2017 is known."""

J2000 = datetime(2000, 1, 1, 12, tzinfo=UTC)


def flight_of(outcome: Outcome) -> Flight:
    """The plan flown from its own start and burns, more finely than for the message."""
    [part] = best(outcome).craft
    assert part.itinerary is not None
    [flight] = fly([part.itinerary], gravity_around(outcome.scenario.body), part.engine or Impulsive(), relative=3e-14)
    return flight


def earth_axes() -> Array:
    """Rows of the plan's axes on the GCRF: celestial intermediate pole and origin of the epoch."""
    days = ((EPOCH - J2000).total_seconds() + TERRESTRIAL_S) / 86_400.0
    return np.asarray(erfa.c2i06a(2_451_545.0, days))


def mars_axes() -> Array:
    """The same for Mars: the pole of the IAU WGCCRE of 2015 (Archinal and others 2018), x at its equator's node."""
    t = ((EPOCH - J2000).total_seconds() + TERRESTRIAL_S) / 86_400.0 / 36_525.0
    ascension = 317.269202 - 0.10927547 * t + 0.000068 * _sin(198.991226 + 19139.4819985 * t)
    ascension += 0.000238 * _sin(226.292679 + 38280.8511281 * t) + 0.000052 * _sin(249.663391 + 57420.7251593 * t)
    ascension += 0.000009 * _sin(266.183510 + 76560.6367950 * t) + 0.419057 * _sin(79.398797 + 0.5042615 * t)
    declination = 54.432516 - 0.05827105 * t + 0.000051 * _cos(122.433576 + 19139.9407476 * t)
    declination += 0.000141 * _cos(43.058401 + 38280.8753272 * t) + 0.000031 * _cos(57.663379 + 57420.7517205 * t)
    declination += 0.000005 * _cos(79.476401 + 76560.6495004 * t) + 1.591274 * _cos(166.325722 + 0.5042615 * t)
    a, d = math.radians(ascension), math.radians(declination)
    z = np.array([math.cos(d) * math.cos(a), math.cos(d) * math.sin(a), math.sin(d)])
    x = np.array([-math.sin(a), math.cos(a), 0.0])
    return np.stack([x, np.cross(z, x), z])


def _sin(degrees: float) -> float:
    return math.sin(math.radians(degrees))


def _cos(degrees: float) -> float:
    return math.cos(math.radians(degrees))


CASES = {
    "earth": (EARTH, "GCRF", "EARTH"),
    "engine": (ENGINE, "GCRF", "EARTH"),
    "ground": (GROUND, "GCRF", "EARTH"),
    "mars": (MARS, "ICRF", "MARS"),
}


@pytest.mark.parametrize("name", CASES)
def test_an_ephemeris_is_the_flight_at_its_nodes_and_between(name: str, tmp_path: Path) -> None:
    text, frame, center = CASES[name]
    outcome = planned(text)
    flight = flight_of(outcome)
    written = write_flights(outcome, tmp_path)
    [path] = [one for one in written.paths if one.suffix == ".oem"]
    axes = mars_axes() if center == "MARS" else earth_axes()
    message = read(path)
    last = None
    lasting = int(np.count_nonzero(flight.cutoff_s > flight.ignition_s))
    coasts = len(flight.ignition_s) + 1 - int(flight.ignition_s[0] <= flight.itinerary.start_s)
    assert len(message.body.segment) == coasts + lasting
    for segment in message.body.segment:
        about = segment.metadata
        assert (about.center_name, about.ref_frame, about.time_system) == (center, frame, "UTC")
        assert (about.start_time, about.stop_time) == (about.useable_start_time, about.useable_stop_time)
        assert (about.interpolation, int(about.interpolation_degree)) == ("HERMITE", 7)
        times, states = ephemeris(segment)
        assert len(times) >= 4
        assert np.all(np.diff(times) > 0.0)
        assert times[0] == (moment(about.start_time) - EPOCH).total_seconds()
        assert times[-1] == (moment(about.stop_time) - EPOCH).total_seconds()
        # segments meet at burns
        assert last is None or times[0] == last
        last = times[-1]
        base = states[:, :3] @ axes.T * 1e3
        assert np.linalg.norm(base - _position(flight, times), axis=1).max() < NODE_M
        for k in range(0, len(times) - 1, 3):
            first = min(max(k - 1, 0), len(times) - 4)
            middle = 0.5 * (times[k] + times[k + 1])
            found = _krogh(times[first : first + 4], states[first : first + 4], middle) @ axes.T * 1e3
            assert np.linalg.norm(found - _position(flight, np.array([middle]))[0]) < BETWEEN_M


def _position(flight: Flight, times: Array) -> Array:
    """Positions; at the ends, which a text cuts to a microsecond, carried along the velocity."""
    inside = np.clip(times, flight.begin_s, flight.itinerary.end_s)
    states = flight.states(inside)
    return np.asarray(states[:, :3] + states[:, 3:] * (times - inside)[:, np.newaxis])


def _krogh(times: Array, states: Array, at: float) -> Array:
    """Hermite interpolation by scipy: each node twice, with its velocity."""
    scaled = np.repeat(times - times[0], 2)
    values = np.empty((8, 3))
    values[0::2], values[1::2] = states[:, :3], states[:, 3:]
    return np.asarray(KroghInterpolator(scaled, values)(at - times[0]))


@pytest.mark.parametrize("name", ["earth", "engine"])
def test_the_burns_of_a_parameter_message_lead_to_the_end_of_the_ephemeris(name: str, tmp_path: Path) -> None:
    """By scipy's integrator, from the state, the masses and the maneuver blocks alone."""
    outcome = planned(CASES[name][0])
    paths = {path.suffix: path for path in write_flights(outcome, tmp_path).paths}
    data = read(paths[".opm"]).body.segment.data
    state = np.array([getattr(data.state_vector, key).value for key in ("x", "y", "z", "x_dot", "y_dot", "z_dot")])
    now, mass = (moment(data.state_vector.epoch) - EPOCH).total_seconds(), data.spacecraft_parameters.mass.value
    [part] = best(outcome).craft
    pole = earth_axes()[2]
    for block, burn in zip(data.maneuver_parameters, part.burns, strict=True):
        ignition, lasts = (moment(block.man_epoch_ignition) - EPOCH).total_seconds(), block.man_duration.value
        state = _coasted(state, ignition - now, pole)
        parts = np.array([block.man_dv_1.value, block.man_dv_2.value, block.man_dv_3.value])
        assert np.linalg.norm(parts) * 1e3 == pytest.approx(burn.delta_v_m_s, abs=WRITTEN_M_S)
        assert ignition + 0.5 * lasts == pytest.approx(burn.time_s, abs=SUMMED_S)
        loss = -block.man_delta_mass.value
        if lasts == 0.0:
            assert block.man_ref_frame == "RTN"
            assert parts * 1e3 == pytest.approx([burn.radial_m_s, burn.along_m_s, burn.cross_m_s], abs=FLOAT_KM_S)
            state[3:] += _rtn(state).T @ parts
        else:
            assert block.man_ref_frame == "GCRF"
            assert lasts == pytest.approx(burn.duration_s, abs=WRITTEN_S)
            state = _pushed(state, lasts, pole, parts, mass, loss)
        now, mass = ignition + lasts, mass - loss
        assert mass - 100.0 == pytest.approx(burn.propellant_after_kg, abs=WRITTEN_KG)
    times, states = ephemeris(read(paths[".oem"]).body.segment[-1])
    reached = _coasted(state, times[-1] - now, pole)
    # two integrators over a day, and increments to a nanometer a second
    assert np.linalg.norm(reached[:3] - states[-1, :3]) * 1e3 < 0.5


def _rtn(state: Array) -> Array:
    r, v = state[:3], state[3:]
    normal = np.cross(r, v)
    radial, normal = r / np.linalg.norm(r), normal / np.linalg.norm(normal)
    return np.stack([radial, np.cross(normal, radial), normal])


def _pull(r: Array, pole: Array) -> Array:
    """Point mass and J2, km/s^2 (Vallado 2013, equation 8-30, for any pole)."""
    gm, j2, radius = 398600.435507, 1.08262617385e-3, 6378.1363
    distance = float(np.linalg.norm(r))
    up = float(r @ pole) / distance
    bulge = 1.5 * j2 * (radius / distance) ** 2
    return np.asarray(
        -gm / distance**3 * (r * (1.0 + bulge * (1.0 - 5.0 * up * up)) + 2.0 * bulge * up * distance * pole)
    )


def _coasted(state: Array, lasts: float, pole: Array) -> Array:
    def rate(_: float, y: Array) -> Array:
        return np.concatenate([y[3:], _pull(y[:3], pole)])

    return np.asarray(solve_ivp(rate, (0.0, lasts), state, method="DOP853", rtol=1e-12, atol=1e-12).y[:, -1])


def _pushed(state: Array, lasts: float, pole: Array, parts: Array, mass: float, loss: float) -> Array:
    """Constant thrust, fixed in direction, whose increment over the burn is that of the rocket equation."""
    exhaust = float(np.linalg.norm(parts)) / math.log(mass / (mass - loss))
    push = parts / np.linalg.norm(parts) * exhaust * loss / lasts

    def rate(t: float, y: Array) -> Array:
        return np.concatenate([y[3:], _pull(y[:3], pole) + push / (mass - loss * t / lasts)])

    return np.asarray(solve_ivp(rate, (0.0, lasts), state, method="DOP853", rtol=1e-12, atol=1e-12).y[:, -1])


def test_a_plan_corrected_for_further_forces_is_flown_under_them(tmp_path: Path) -> None:
    """The burns are left as they are here: what counts is under which forces they are flown."""
    outcome = planned(EARTH)
    scenario = parse_scenario(EARTH.replace("limits =", "forces = { degree = 2, sun = true, moon = true }\nlimits ="))
    chosen = chosen_forces(scenario)
    under = UnderForces(chosen=chosen, craft=(), common_shift_rad=0.0, at_s=0.0, span_s=1.0, corrected=True)
    forced = replace(outcome, scenario=scenario, under=under)
    [path] = [one for one in write_flights(forced, tmp_path).paths if one.suffix == ".oem"]
    said = path.read_text(encoding="ascii").replace("\nCOMMENT", "")
    assert re.search(r"Besides: [^.]*[Ss]un", said)
    assert "Other bodies, drag and sunlight are left out" not in said
    [part] = best(outcome).craft
    assert part.itinerary is not None
    [flight] = fly([part.itinerary], chosen.field, Impulsive(), relative=1e-11)
    [plain] = fly([part.itinerary], gravity_around(scenario.body), Impulsive(), relative=1e-11)
    times, states = ephemeris(read(path).body.segment[-1])
    base = states[:, :3] @ earth_axes().T * 1e3
    assert np.linalg.norm(base - _position(flight, times), axis=1).max() < DECIMETER_M
    assert np.linalg.norm(base - _position(plain, times), axis=1).min() > 10.0


def test_without_masses_the_burns_are_remarks(tmp_path: Path) -> None:
    [path] = [one for one in write_flights(planned(MARS), tmp_path).paths if one.suffix == ".opm"]
    data = read(path).body.segment.data
    assert data.maneuver_parameters == []
    assert "for which the standard needs a mass" in data.comment[0]


@pytest.mark.parametrize("name", CASES)
def test_lines_keep_to_the_syntax_of_the_standard(name: str, tmp_path: Path) -> None:
    """502.0-B-3, 7.3.2, 7.3.4, 7.5.6, 7.5.7, 7.5.10, 7.8.9."""
    paths = write_flights(planned(CASES[name][0]), tmp_path).paths
    assert paths
    for path in paths:
        raw = path.read_bytes()
        assert all(byte == 0x0A or 0x20 <= byte < 0x7F for byte in raw)
        lines = raw.decode().splitlines()
        assert max(map(len, lines)) <= 254
        assert re.fullmatch(r"CCSDS_O[PE]M_VERS = 3\.0", lines[0])
        assert lines
        for line in lines:
            if line.startswith("COMMENT "):
                continue
            assert "," not in line
            numbers = re.findall(r"(?<![\w:-])-?\d+\.\d+(?:e[+-]\d\d)?(?![\w:])", line)
            assert max((len(re.sub(r"e.*|\D", "", number)) for number in numbers), default=0) <= 16
            times = re.findall(r"\d{4}-\S*", line)
            assert all(re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?", time) for time in times)


def test_a_leap_second_within_the_plan_makes_times_tai(tmp_path: Path) -> None:
    """TAI - UTC was 36 s until the end of 2016 (IERS Bulletin C 52)."""
    outcome = planned(EARTH)
    early = replace(outcome, scenario=replace(outcome.scenario, epoch=datetime(2016, 12, 31, 20, tzinfo=UTC)))
    paths = write_flights(early, tmp_path).paths
    assert paths
    for path in paths:
        segment = read(path).body.segment
        about = segment.metadata if path.suffix == ".opm" else segment[0].metadata
        start = segment.data.state_vector.epoch if path.suffix == ".opm" else about.start_time
        assert about.time_system == "TAI"
        assert moment(start) == datetime(2016, 12, 31, 20, 0, 36, tzinfo=UTC)
    later = replace(outcome, scenario=replace(outcome.scenario, epoch=datetime(2017, 1, 1, tzinfo=UTC)))
    assert write_flights(later, tmp_path).paths == paths
    for path in paths:
        segment = read(path).body.segment
        assert (segment.metadata if path.suffix == ".opm" else segment[0].metadata).time_system == "UTC"


@pytest.mark.parametrize(
    ("text", "why"),
    [(OWN, "Quill is a world of the scenario's own"), (MARS.replace("epoch = 2031-05-01T06:00:00Z\n", ""), "no epoch")],
)
def test_what_the_standard_cannot_say_is_a_table_with_the_reason(text: str, why: str, tmp_path: Path) -> None:
    outcome = planned(text)
    written = write_flights(outcome, tmp_path)
    assert why in written.words
    [path] = written.paths
    lines = path.read_text(encoding="utf-8").splitlines()
    assert lines[0] == CSV_HEADER
    rows = [line.split(",") for line in lines[1:]]
    times = np.array([float(row[0]) for row in rows])
    positions = np.array([[float(x) for x in row[2:5]] for row in rows]) * 1e3
    flight = flight_of(outcome)
    assert np.linalg.norm(positions - _position(flight, times), axis=1).max() < NODE_M
    dated = outcome.scenario.epoch
    assert {row[1] for row in rows[:1]} == {"" if dated is None else "2031-05-01 06:00:00.000000"}
    assert len({row[8] for row in rows}) == 2


def test_a_carrier_and_what_it_drops_have_a_flight_each(tmp_path: Path) -> None:
    outcome = planned(CARRIER)
    plan = best(outcome)
    [carrier] = plan.carriers
    written = write_flights(outcome, tmp_path)
    assert "an OEM for each craft and carrier" in written.words
    names = ["1-teal.oem", "1-teal.opm", "2-coot.oem", "2-coot.opm", "3-pannier.oem"]
    assert [path.name for path in written.paths] == names
    flown = {path.name: read(path).body.segment for path in written.paths}
    assert [one.metadata.object_name for one in flown["3-pannier.oem"]] == ["Pannier"]
    times, states = ephemeris(flown["3-pannier.oem"][0])
    for number, part in enumerate(plan.craft, start=1):
        name = f"{number}-{part.craft.lower()}"
        start = flown[f"{name}.opm"].data.state_vector
        assert start.comment == ["State at the drop from the carrier."]
        drop = next(one for one in carrier.drops if one.craft == part.craft)
        then = (moment(start.epoch) - EPOCH).total_seconds()
        assert then == pytest.approx(drop.time_s, abs=SUMMED_S)
        first = min(max(int(np.searchsorted(times, then)) - 2, 0), len(times) - 4)
        there = _krogh(times[first : first + 4], states[first : first + 4], then)
        assert np.linalg.norm(there - [start.x.value, start.y.value, start.z.value]) * 1e3 < BETWEEN_M
        assert ephemeris(flown[f"{name}.oem"][-1])[0][-1] > part.in_slot_s + outcome.ring.period_s


def test_covariances_are_in_the_ephemeris_where_errors_are_given(tmp_path: Path) -> None:
    outcome = planned(EARTH)
    [part] = best(outcome).craft
    errors = Errors(burn_share=0.002, pointing_rad=0.004, burn_time_s=0.5)
    scenario = replace(outcome.scenario, errors=errors)
    paths = write_flights(replace(outcome, scenario=scenario), tmp_path).paths
    [path] = [one for one in paths if one.suffix == ".oem"]
    segments = read(path).body.segment
    flight = flight_of(outcome)
    keys = ("x", "y", "z", "x_dot", "y_dot", "z_dot")
    assert segments
    for segment in segments:
        found = segment.data.covariance_matrix
        assert 0 < len(found) <= 100
        assert all(one.cov_ref_frame == "RTN" for one in found)
        times = np.array([(moment(one.epoch) - EPOCH).total_seconds() for one in found])
        assert np.all(np.diff(times) > 0.0)
        wanted = spread(scenario, outcome.ring, part, flight, times)
        assert found
        for one, matrix in zip(found, wanted, strict=True):
            lower = np.array(
                [
                    [float(getattr(one, f"c{a}_{b}").value) if j <= i else 0.0 for j, b in enumerate(keys)]
                    for i, a in enumerate(keys)
                ]
            )
            both = (lower + np.tril(lower, -1).T) * 1e6
            scale = np.sqrt(np.outer(np.diag(matrix), np.diag(matrix)))
            assert np.all(np.abs(both - matrix) <= SIX_DIGITS_REL * scale)
            assert np.linalg.eigvalsh(both / scale).min() > -1e-9
    # as they are left out where none are given, and why
    plain = next(one for one in write_flights(outcome, tmp_path / "plain").paths if one.suffix == ".oem")
    assert "No covariances: the scenario states no errors." in plain.read_text(encoding="ascii")


HOSTILE = {
    "markup": "<b>&amp;</b> \"'",
    "sentence": "EPOCH = 2031 [km], META_STOP",
    "right to left": "\u202eמלח שלום",
    "emoji": "🥄🛰️",
    "long": "Heron" * 1000,
    "escapes": "\x1b[31mred\x07\r\nMETA_STOP\nX = 1",
    "formula": "=1+1",
    "place": "../../etc/passwd\0",
    "nothing but blanks": " \t ",
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_are_plain_text_in_messages_and_file_names(name: str, tmp_path: Path) -> None:
    outcome = renamed(planned(MARS), HOSTILE[name])
    written = write_flights(outcome, tmp_path / "out")
    plain = write_flights(planned(MARS), tmp_path / "plain")
    assert sorted(tmp_path.iterdir()) == [tmp_path / "out", tmp_path / "plain"]
    assert written.paths
    for path, beside in zip(written.paths, plain.paths, strict=True):
        assert re.fullmatch(r"1(-[a-z0-9-]+)?\.o[ep]m", path.name)
        assert len(path.name) <= 255
        raw = path.read_text(encoding="ascii")
        assert raw.isascii()
        assert raw.replace("\n", "").isprintable()
        assert max(map(len, raw.splitlines())) <= 254
        found, expected = read(path).body.segment, read(beside).body.segment
        if path.suffix == ".opm":
            found, expected = [found], [expected]
        # nothing but the name differs
        assert len(found) == len(expected)
        assert found
        for one, other in zip(found, expected, strict=True):
            assert one.metadata.object_name
            assert one.metadata.object_id == "UNKNOWN"
            assert replace(one.metadata, object_name="") == replace(other.metadata, object_name="")
            assert one.data == other.data
    table = write_flights(renamed(planned(OWN), HOSTILE[name]), tmp_path / "table")
    assert table.paths[0].read_text(encoding="ascii").isascii()


def test_names_that_are_alike_in_ascii_are_two_files(tmp_path: Path) -> None:
    outcome = planned(MARS)
    [plan] = [best(outcome)]
    two = replace(plan, craft=(replace(plan.craft[0], craft="水"), replace(plan.craft[0], craft="源")))
    craft = tuple(replace(outcome.scenario.craft[0], name=name) for name in ("水", "源"))
    both = replace(outcome, scenario=replace(outcome.scenario, craft=craft), plans=(two,))
    names = [path.name for path in write_flights(both, tmp_path).paths]
    assert names == ["1.oem", "1.opm", "2.oem", "2.opm"]
    objects = [read(tmp_path / name).body.segment.metadata.object_name for name in ("1.opm", "2.opm")]
    assert objects == ["(U+6C34)", "(U+6E90)"]


def test_the_same_outcome_gives_the_same_bytes_at_the_same_moment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1900000000")
    first = [path.read_bytes() for path in write_flights(planned(EARTH), tmp_path / "a").paths]
    second = [path.read_bytes() for path in write_flights(planned(EARTH), tmp_path / "b").paths]
    assert first == second
    when = (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=1_900_000_000)).replace(tzinfo=None)
    assert f"CREATION_DATE = {when.isoformat()}\n".encode() in first[0]
