"""Built-in bodies against published constants and general-purpose libraries."""

from __future__ import annotations

import math
import tomllib
from datetime import UTC, datetime, timedelta, timezone

import pytest
from scipy.optimize import brentq

from ringwright.models.bodies import body, body_names, body_origins, hill_radius_m, prime_meridian_rad, tai_from_utc_s
from ringwright.models.errors import InputError
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.reports.body_list import body_list, body_table
from ringwright.tests.tolerances import (
    CHAIN_REL,
    COPIED_REL,
    FACT_SHEET_REL,
    FIVE_DIGITS_REL,
    FLOAT_DEG,
    HALF_DEG,
    LIBRATION_DEG,
    NINE_DECIMALS_S,
    NINE_DIGITS_REL,
    SERIES_DEG,
    SUMMED_DIGITS_S,
    TEN_DIGITS_DEG,
    TEN_DIGITS_RAD,
    THIRD_ORDER_REL,
)

J2000 = datetime(2000, 1, 1, 12, tzinfo=UTC)

# GM, km^3/s^2: DE440/DE441 mass parameters (Park et al. 2021, AJ 161, 105, table 2, planets without their moons from
# the Horizons file); equatorial radius, km: IAU WGCCRE 2015 (Archinal et al. 2018, tables 4 to 6)
PUBLISHED = {
    "mercury": (22031.868551, 2440.53),
    "venus": (324858.592000, 6051.8),
    "earth": (398600.435507, 6378.1366),
    "moon": (4902.800118, 1737.4),
    "mars": (42828.373621, 3396.19),
    "ceres": (62.628889, 487.3),
    "jupiter": (126686531.900370, 71492.0),
    "saturn": (37931206.159010, 60268.0),
    "uranus": (5793951.256527, 25559.0),
    "neptune": (6835099.968447, 24764.0),
    "titan": (8978.137370, 2575.15),
    "io": (5959.915466, 1829.4),
    "europa": (3202.712100, 1562.6),
    "ganymede": (9887.832753, 2631.2),
    "callisto": (7179.283403, 2410.3),
}


def test_the_list_is_complete() -> None:
    assert sorted(body_names()) == sorted(PUBLISHED)


@pytest.mark.parametrize("name", sorted(PUBLISHED))
def test_mass_and_radius(name: str) -> None:
    gm, radius_km = PUBLISHED[name]
    one = body(name.upper())
    assert one.gm / 1e9 == pytest.approx(gm, rel=NINE_DIGITS_REL)
    assert one.radius_m / 1e3 == pytest.approx(radius_km, rel=CHAIN_REL)
    assert one.atmosphere_top_m >= 0.0
    assert 0.0 < one.j2 < 0.03
    assert 0.9 < one.j2_radius_m / one.radius_m < 1.1
    assert all(vars(body_origins(name)).values())


@pytest.mark.parametrize(
    ("name", "hours"),
    [
        # NASA planetary fact sheets, 2023: sidereal rotation period in hours (from memory); retrograde negative
        ("mercury", 1407.6),
        ("venus", -5832.6),
        ("earth", 23.9345),
        ("moon", 655.720),
        ("mars", 24.6229),
        ("jupiter", 9.9250),
        ("saturn", 10.656),
        ("uranus", -17.24),
    ],
)
def test_rotation_period(name: str, hours: float) -> None:
    assert body(name).sidereal_day_s / 3600.0 == pytest.approx(hours, rel=FIVE_DIGITS_REL)


def test_stellar_day() -> None:
    """IERS useful constants: the stellar day is 86 164.098 903 691 s."""
    assert body("earth").sidereal_day_s == pytest.approx(86_164.098903691, abs=NINE_DECIMALS_S)


def test_martian_day() -> None:
    """Konopliv et al. 2016 (as quoted in pyshtools 4.14 constants): 88 642.663 s."""
    assert body("mars").sidereal_day_s == pytest.approx(88_642.663, abs=SUMMED_DIGITS_S)


@pytest.mark.parametrize(
    ("name", "period_days"),
    [("moon", 27.321661), ("io", 1.769138), ("europa", 3.551181), ("titan", 15.945421)],
)
def test_moons_turn_once_an_orbit(name: str, period_days: float) -> None:
    """Sidereal orbit periods: NASA satellite fact sheets (from memory)."""
    assert body(name).sidereal_day_s / 86_400.0 == pytest.approx(period_days, rel=FACT_SHEET_REL)


@pytest.mark.parametrize(
    ("name", "radius_km", "tolerance"),
    # synchronous radius: Earth 42 164.17 km (e.g. Vallado 2013, section 1.3); Mars 20 428 km (areostationary, textbook
    # figure, from memory)
    [("earth", 42_164.17, 0.02), ("mars", 20_428.0, 1.0)],
)
def test_synchronous_radius(name: str, radius_km: float, tolerance: float) -> None:
    one = body(name)
    assert (one.gm / one.spin_rad_s**2) ** (1.0 / 3.0) / 1e3 == pytest.approx(radius_km, abs=tolerance)


# semi-major axis, km; eccentricity; GM of what it goes around, km^3/s^2: Standish and Williams 2012 in astronomical
# units of 149 597 870.7 km; Moon Williams et al. 2013; Sun DE441
ORBITS = {
    "earth": (1.00000261 * 149_597_870.7, 0.01671123, 132712440041.27942),
    "mars": (1.52371034 * 149_597_870.7, 0.0933941, 132712440041.27942),
    "moon": (384_399.014, 0.0554, 398600.435507),
    "titan": (1_221_900.0, 0.029, 37931206.159),
}


@pytest.mark.parametrize("name", sorted(ORBITS))
def test_hill_radius_against_the_libration_point(name: str) -> None:
    """The Hill radius is the first term of the distance of L1 (Murray and Dermott 1999, 3.7), here at periapsis.

    L1 itself is solved with scipy: M/(1-x)^2 - m/x^2 = (M + m) (M/(M+m) - x) in units of the distance. The next term
    is x/3.
    """
    semi, eccentricity, primary = ORBITS[name]
    m = body(name).gm / 1e9
    total = primary + m

    def balance(x: float) -> float:
        return primary / (1.0 - x) ** 2 - m / x**2 - total * (primary / total - x)

    x = float(brentq(balance, 1e-4, 0.5))
    hill = hill_radius_m(name) / 1e3 / (semi * (1.0 - eccentricity))
    assert x == pytest.approx(hill * (1.0 - hill / 3.0), rel=THIRD_ORDER_REL)


def test_earth_rotation_angle_at_j2000() -> None:
    """IERS Conventions 2010, equation 5.15: 280.460 618 375 04 deg."""
    assert math.degrees(prime_meridian_rad("earth", J2000)) == pytest.approx(280.46061837504, abs=TEN_DIGITS_DEG)


@pytest.mark.parametrize(
    ("instant", "angle_rad"),
    # pyerfa 2.0, era00 (SOFA), UT1 taken as UTC
    [
        (datetime(2031, 5, 1, tzinfo=UTC), 3.810563826393121),
        (datetime(2024, 7, 4, 6, 30, tzinfo=UTC), 0.3481991122927326),
    ],
)
def test_earth_rotation_angle_against_sofa(instant: datetime, angle_rad: float) -> None:
    assert prime_meridian_rad("earth", instant) == pytest.approx(angle_rad, abs=TEN_DIGITS_RAD)


def test_meridian_of_mars_at_j2000_tdb() -> None:
    """W at d = 0 TDB: 176.049 863 deg and the sine terms of the WGCCRE 2015 series, summed here by hand.

    12:00 TDB is 64.184 s before 12:00 UTC of that day (32 leap seconds and 32.184 s).
    """
    terms = [
        (0.000145, 129.071773),
        (0.000157, 36.352167),
        (0.000040, 56.668646),
        (0.000001, 67.364003),
        (0.000001, 104.792680),
        (0.584542, 95.391654),
    ]
    expected = 176.049863 + sum(a * math.sin(math.radians(phase)) for a, phase in terms)
    assert math.degrees(prime_meridian_rad("mars", J2000 - timedelta(seconds=64.184))) == pytest.approx(
        expected, abs=FLOAT_DEG
    )


def test_meridian_of_titan_after_a_thousand_days() -> None:
    """W = 186.5855 + 22.5769768 d (WGCCRE 2015); 1000 TDB days from J2000 end in 2002, still 32 leap seconds."""
    later = J2000 + timedelta(days=1000) - timedelta(seconds=64.184)
    assert math.degrees(prime_meridian_rad("titan", later)) == pytest.approx(
        (186.5855 + 22_576.9768) % 360.0, abs=SERIES_DEG
    )


@pytest.mark.parametrize("year", [2001, 2006, 2013, 2024, 2031])
def test_moon_keeps_its_face_to_the_earth(year: int) -> None:
    """Its meridian points at the Earth's mean place, to a degree, when both count from the node of the lunar equator.

    Mean longitude of the Moon: Meeus 1998, equation 47.1, taken back to the equinox of 2000 by 1.397 deg a century;
    obliquity 23.4393 deg. Pole of the Moon: leading terms of the WGCCRE series. A meridian that counted from the
    zero of right ascension would be off by some 90 deg.
    """
    epoch = datetime(year, 3, 1, tzinfo=UTC)
    centuries = (epoch - J2000).total_seconds() / (86_400.0 * 36_525.0)
    longitude = math.radians(218.3164477 + (481_267.88123421 - 1.397) * centuries + 180.0)
    tilt = math.radians(23.4393)
    earth = (
        math.cos(longitude),
        math.sin(longitude) * math.cos(tilt),
        math.sin(longitude) * math.sin(tilt),
    )
    nodding = math.radians(125.045 - 1935.53645 * centuries)
    ra = math.radians(269.9949 + 0.0031 * centuries - 3.8787 * math.sin(nodding))
    dec = math.radians(66.5392 + 0.0130 * centuries + 1.5419 * math.cos(nodding))
    node = (-math.sin(ra), math.cos(ra), 0.0)
    ahead = (-math.cos(ra) * math.sin(dec), -math.sin(ra) * math.sin(dec), math.cos(dec))
    angle = math.atan2(
        sum(a * b for a, b in zip(earth, ahead, strict=True)), sum(a * b for a, b in zip(earth, node, strict=True))
    )
    gap = math.degrees(angle - prime_meridian_rad("moon", epoch))
    assert (gap + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=LIBRATION_DEG)


def test_a_turn_of_the_body_turns_the_meridian_once() -> None:
    for name in body_names():
        later = J2000 + timedelta(seconds=abs(body(name).sidereal_day_s))
        gap = prime_meridian_rad(name, later) - prime_meridian_rad(name, J2000)
        # the slow terms of moons, and microseconds of the date type
        assert math.degrees(abs((gap + math.pi) % (2.0 * math.pi) - math.pi)) < HALF_DEG


def test_offsets_of_one_instant_agree() -> None:
    there = datetime(2031, 5, 1, 2, tzinfo=timezone(timedelta(hours=2)))
    assert prime_meridian_rad("mars", there) == prime_meridian_rad("mars", datetime(2031, 5, 1, tzinfo=UTC))
    with pytest.raises(InputError, match="no offset"):
        prime_meridian_rad("mars", datetime(2031, 5, 1))


@pytest.mark.parametrize(
    ("year", "month", "leap"),
    # IERS Bulletin C, as in the table of pyerfa 2.0
    [(1971, 6, 10), (1972, 8, 11), (1980, 1, 19), (1999, 1, 32), (2005, 12, 32), (2016, 12, 36), (2017, 1, 37)],
)
def test_leap_seconds(year: int, month: int, leap: int) -> None:
    assert tai_from_utc_s(datetime(year, month, 1, tzinfo=UTC)) == leap


def test_unknown_body() -> None:
    with pytest.raises(InputError, match="no built-in body 'pluto'"):
        body("pluto")


@pytest.mark.parametrize("name", body_names())
def test_listed_table_can_be_copied_into_a_scenario(name: str) -> None:
    """The table alone, under another name, is the body again."""
    table = "\n".join(body_table(name)).replace(f'name = "{body(name).name}"', 'name = "Copy"')
    ring = "\n[ring]\nradius_km = 300000\nslots = 2\n[[craft]]\n" + 'name = "Teal"\n'
    ring += "orbit = { radius_km = 300000, angle_deg = 0 }\n"
    copy, one = parse_scenario(table + ring).body, body(name)
    for field in ("gm", "radius_m", "atmosphere_top_m", "sidereal_day_s", "j2", "j2_radius_m"):
        assert getattr(copy, field) == pytest.approx(getattr(one, field), rel=COPIED_REL)


def test_list_is_toml_of_eighty_columns() -> None:
    listed = body_list()
    assert max(len(line) for line in listed.splitlines()) <= 80
    tables = listed.split("[body]\n")[1:]
    assert [tomllib.loads(table)["name"].lower() for table in tables] == list(body_names())
