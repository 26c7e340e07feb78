"""The built-in bodies: their constants, how they are turned at an instant, how far their own gravity rules.

The constants stand in ``bodies.toml`` as their sources print them, each with its edition; what follows from them
(rotation periods, Hill radii, meridians) is computed here. Instants are UTC; leap seconds are known up to the last one
announced (2017), and UT1 is taken as UTC, which is off by 0.9 s at most: 0.004 deg of the Earth's rotation.
"""

from __future__ import annotations

import difflib
import math
import tomllib
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from importlib.resources import files
from typing import Any

from .errors import InputError
from .fields import harmonics
from .scenario import Body
from .surroundings import AirLayer

ASTRONOMICAL_UNIT_M = 149_597_870_700.0  # IAU 2012 resolution B2
TT_FROM_TAI_S = 32.184  # IERS Conventions 2010, section 10.1
CENTURY_D = 36_525.0
J2000 = datetime(2000, 1, 1, 12, tzinfo=UTC)
NOT_KNOWN = "not known here"

# TAI - UTC from each date on, as announced in IERS Bulletin C (compared with the table in pyerfa 2.0)
_LEAPS = (
    ("1972-01-01", 10), ("1972-07-01", 11), ("1973-01-01", 12), ("1974-01-01", 13), ("1975-01-01", 14),
    ("1976-01-01", 15), ("1977-01-01", 16), ("1978-01-01", 17), ("1979-01-01", 18), ("1980-01-01", 19),
    ("1981-07-01", 20), ("1982-07-01", 21), ("1983-07-01", 22), ("1985-07-01", 23), ("1988-01-01", 24),
    ("1990-01-01", 25), ("1991-01-01", 26), ("1992-07-01", 27), ("1993-07-01", 28), ("1994-07-01", 29),
    ("1996-01-01", 30), ("1997-07-01", 31), ("1999-01-01", 32), ("2006-01-01", 33), ("2009-01-01", 34),
    ("2012-07-01", 35), ("2015-07-01", 36), ("2017-01-01", 37),
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Origins:
    """Where a built-in body's constants come from, each in words with its edition."""

    gm: str
    radius: str
    rotation: str
    j2: str
    atmosphere: str
    orbit: str
    sectoral: str = NOT_KNOWN
    air: str = NOT_KNOWN


@dataclass(frozen=True, kw_only=True)
class Neighbor:
    """A body whose pull disturbs orbits around another: its name, GM in m^3/s^2, mean distance from that other, m."""

    name: str
    gm: float
    distance_m: float


def body_names() -> tuple[str, ...]:
    """Names of the built-in bodies in lower case, from the Sun outward, moons after their planet.

    >>> body_names()[:4]
    ('mercury', 'venus', 'earth', 'moon')
    """
    return tuple(name for name in _constants() if name not in ("editions", "sun"))


def body(name: str) -> Body:
    """A built-in body, upper and lower case alike; its prime meridian is left at 0.

    Raises:
        InputError: no such body.

    >>> body("Mars").radius_m, round(body("mars").sidereal_day_s / 3600, 4)
    (3396190.0, 24.623)
    """
    row = _row(name)
    origins = body_origins(name)
    return Body(
        name=row["name"],
        gm=row["gm_km3_s2"] * 1e9,
        radius_m=_meters(row["radius_km"]),
        atmosphere_top_m=_meters(row["atmosphere_top_km"]),
        sidereal_day_s=_sidereal_day_s(row),
        j2=row["j2"],
        j2_radius_m=_meters(row["j2_radius_km"]),
        harmonics=harmonics(name, (row.get("c22", 0.0), row.get("s22", 0.0)), _meters(row["j2_radius_km"])),
        air=air(name),
        hill_radius_m=hill_radius_m(name),
        source=f"GM: {origins.gm}; radius: {origins.radius}; rotation: {origins.rotation}; J2: {origins.j2}",
    )


def body_origins(name: str) -> Origins:
    """Sources of a built-in body's constants. Raises InputError for an unknown body.

    >>> body_origins("titan").j2
    'Iess et al. 2010, Science 327, 1367; from memory'
    """
    editions = _constants()["editions"]
    return Origins(**{what: editions[edition] for what, edition in _row(name)["from"].items()})


def hill_radius_m(name: str) -> float:
    """Radius of the Hill sphere at the body's own periapsis, a (1 - e) (m / 3 M)^(1/3), m.

    Source: Hamilton and Burns 1992, Icarus 96, 43, for the eccentric orbit. Raises InputError for an unknown body.

    >>> round(hill_radius_m("earth") / 1e9, 3)
    1.472
    """
    row = _row(name)
    orbit = row["orbit"]
    primary = _constants()[orbit["around"]]["gm_km3_s2"]
    closest_m = _distance_m(row) * (1.0 - orbit["eccentricity"])
    return float(closest_m * (row["gm_km3_s2"] / (3.0 * primary)) ** (1.0 / 3.0))


def neighbors(name: str) -> tuple[Neighbor, ...]:
    """Who pulls at orbits around a built-in body: what it goes around, the Sun, its moons that are built in.

    Distances are the semi-major axes of ``bodies.toml``. Raises InputError for an unknown body.

    >>> [(one.name, round(one.distance_m / 1e9, 1)) for one in neighbors("moon")]
    [('Earth', 0.4), ('Sun', 149.6)]
    """
    rows, own = _constants(), _row(name)
    found, row = [], own
    while "orbit" in row:
        around = row["orbit"]["around"]
        found.append((around, _distance_m(row)))
        row = rows[around]
    key = name.strip().lower()
    found += [(one, _distance_m(rows[one])) for one in body_names() if rows[one]["orbit"]["around"] == key]
    return tuple(
        Neighbor(name=rows[one].get("name", one.capitalize()), gm=rows[one]["gm_km3_s2"] * 1e9, distance_m=distance)
        for one, distance in found
    )


def sectoral(name: str) -> float | None:
    """J22 = sqrt(C22^2 + S22^2) of a built-in body, unnormalized, for the radius of its J2; None where not known here.

    >>> f"{sectoral('earth'):.3e}", sectoral("ceres")
    ('1.816e-06', None)
    """
    row = _row(name)
    return math.hypot(row["c22"], row["s22"]) if "c22" in row else None


def air(name: str) -> tuple[AirLayer, ...]:
    """Layers of a built-in body's exponential atmosphere from below upward; none where no density is known here."""
    return tuple(
        AirLayer(altitude_m=_meters(base), density_kg_m3=density, scale_height_m=_meters(scale))
        for base, density, scale in _row(name).get("air", ())
    )


def _distance_m(row: dict[str, Any]) -> float:
    """Semi-major axis of the orbit of a body around another."""
    orbit = row["orbit"]
    if "semi_major_axis_km" in orbit:
        return float(orbit["semi_major_axis_km"] * 1e3)
    return float(orbit["semi_major_axis_au"] * ASTRONOMICAL_UNIT_M)


def prime_meridian_rad(name: str, epoch: datetime) -> float:
    """Angle of a built-in body's prime meridian from its ascending node on the reference equator, rad in [0, 2 pi).

    For Earth, whose equator is the reference, the angle counts from the equinox (the celestial intermediate origin).

    Args:
        name: built-in body.
        epoch: an instant with its offset from UTC.

    Raises:
        InputError: unknown body, or an instant without offset.

    Sources: rotation series W(d, T) of the IAU WGCCRE in TDB, here terrestrial time (they differ by 2 ms at most);
    for Earth the rotation angle, IERS Conventions 2010, equation 5.15.

    >>> round(math.degrees(prime_meridian_rad("earth", datetime(2000, 1, 1, 12, tzinfo=UTC))), 9)
    280.460618375
    """
    row = _row(name)
    if epoch.utcoffset() is None:
        raise InputError(f"the instant {epoch.isoformat()} has no offset from UTC: add one, such as Z.")
    since_s = (epoch - J2000).total_seconds()
    if "rotation_turns" in row:
        start, rate = row["rotation_turns"]
        return float(2.0 * math.pi * ((start + rate * since_s / 86_400.0) % 1.0))
    days = terrestrial_days(epoch)
    centuries = days / CENTURY_D
    start, rate, bend = row["meridian_deg"]
    degrees = start + rate * days + bend * days * days
    for amplitude, a0, a1, a2 in row.get("meridian_terms_deg", []):
        degrees += amplitude * math.sin(math.radians(a0 + a1 * centuries + a2 * centuries * centuries))
    return math.radians(float(degrees) % 360.0)


def pole_rad(name: str, epoch: datetime) -> tuple[float, float]:
    """Right ascension and declination of a built-in body's pole on the ICRF at an instant, rad.

    Source: pole series of the IAU WGCCRE in TDB, here terrestrial time. Not for the Earth, whose pole comes from
    precession and nutation (see ``flight/ephemeris.py``).

    >>> tuple(round(math.degrees(one), 3) for one in pole_rad("mars", datetime(2000, 1, 1, 12, tzinfo=UTC)))
    (317.681, 52.886)
    """
    row = _row(name)
    centuries = terrestrial_days(epoch) / CENTURY_D
    ascension, rise, declination, climb = row["pole_deg"]
    ascension += rise * centuries
    declination += climb * centuries
    for across, up, a0, a1 in row.get("pole_terms_deg", ()):
        phase = math.radians(a0 + a1 * centuries)
        ascension += across * math.sin(phase)
        declination += up * math.cos(phase)
    return math.radians(ascension), math.radians(declination)


def gm_of(name: str) -> float:
    """GM of a built-in body or of the Sun, m^3/s^2.

    >>> f"{gm_of('sun'):.5e}"
    '1.32712e+20'
    """
    return float(_constants()[name.strip().lower()]["gm_km3_s2"] * 1e9)


def primary(name: str) -> tuple[str, float]:
    """What a built-in body goes around, in lower case, and the semi-major axis of its orbit, m.

    >>> primary("titan")
    ('saturn', 1221900000.0)
    """
    row = _row(name)
    return str(row["orbit"]["around"]), _distance_m(row)


def terrestrial_days(instant: datetime) -> float:
    """Days of terrestrial time from 2000-01-01 12:00 on; it differs from TDB by 2 ms at most."""
    return ((instant - J2000).total_seconds() + tai_from_utc_s(instant) + TT_FROM_TAI_S) / 86_400.0


def tai_from_utc_s(instant: datetime) -> int:
    """TAI minus UTC at an instant, s: 10 before 1972 and 37 from 2017 on, where later leap seconds are not foreseen.

    >>> tai_from_utc_s(datetime(2031, 5, 1, tzinfo=UTC)), tai_from_utc_s(datetime(1990, 6, 1, tzinfo=UTC))
    (37, 25)
    """
    day = instant.astimezone(UTC).date().isoformat()
    return max((leap for start, leap in _LEAPS if start <= day), default=10)


def _meters(kilometers: float) -> float:
    return round(kilometers * 1e3, 6)


def _sidereal_day_s(row: dict[str, Any]) -> float:
    rate = row["rotation_turns"][1] * 360.0 if "rotation_turns" in row else row["meridian_deg"][1]
    return float(86_400.0 * 360.0 / rate)


def _row(name: str) -> dict[str, Any]:
    wanted = name.strip().lower()
    if wanted not in body_names():
        near = difflib.get_close_matches(wanted, body_names(), n=1, cutoff=0.6)
        hint = f" (did you mean {near[0]}?)" if near else ""
        raise InputError(f"there is no built-in body {name!r}{hint}: give one of {', '.join(body_names())}.")
    row: dict[str, Any] = _constants()[wanted]
    return row


@cache
def _constants() -> dict[str, Any]:
    text = files(__package__).joinpath("bodies.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)
