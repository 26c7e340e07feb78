"""A reader of scenario files that shares no line with the planner's own: tomllib and a table of units.

It knows only what the checker and the brute-force searches need, believes what it reads, and converts to SI units and
radians. Body constants that a file leaves to a built-in body come from the caller.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

UNITS = {
    "length": {"m": 1.0, "km": 1e3},
    "angle": {"deg": math.pi / 180.0, "rad": 1.0},
    "time": {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0},
    "mass": {"kg": 1.0},
    "speed": {"m_s": 1.0, "km_s": 1e3},
    "gm": {"m3_s2": 1.0, "km3_s2": 1e9},
    "isp": {"s": 1.0},
}


@dataclass(frozen=True)
class Insertion:
    """Where a launcher lets go; radii from the center."""

    name: str
    periapsis: float
    apoapsis: float
    radius: float


@dataclass(frozen=True)
class Pad:
    """A launch site."""

    name: str
    latitude: float
    longitude: float
    ready: float
    turnaround: float
    until: float
    blackouts: tuple[tuple[float, float], ...]
    payload: float
    plane_tolerance: float
    corridor: tuple[float, float] | None
    ascent: float
    downrange: float
    insertions: tuple[Insertion, ...]


@dataclass(frozen=True)
class Orbit:
    """An orbit in the ring plane: at ``at_time`` the craft is at ``angle``, the apsis ``at`` (None: circular)."""

    periapsis: float
    apoapsis: float
    angle: float
    at: str | None
    at_time: float
    plane: int = 0


@dataclass(frozen=True)
class Craft:
    """A craft; no orbit while it waits on the ground, no masses where the file gives none."""

    name: str
    dry: float | None
    propellant: float | None
    least: bool
    isp: float | None
    reserve: float
    ready: float
    pads: tuple[str, ...]
    stay: bool
    orbit: Orbit | None


@dataclass(frozen=True)
class Occupied:
    """A craft that is in the ring and stays."""

    name: str
    slot: int | None
    angle: float | None
    plane: int = 0


@dataclass(frozen=True)
class Case:
    """One scenario, as plain numbers."""

    gm: float
    j2: float
    j2_radius: float
    body_radius: float
    top: float
    spin: float
    meridian: float
    radius: float
    slots: int
    places: tuple[float, ...]
    planes: int
    phasing: int
    spread: float
    tilt_tolerance: float
    inclination: float
    node: float
    slot0: float | None
    tolerance: float
    occupied: tuple[Occupied, ...]
    floor: float
    finish_within: float
    wait_within: float
    revolutions_max: int
    ceiling: float
    separation: float
    pads: tuple[Pad, ...]
    craft: tuple[Craft, ...]
    minimize: str

    @property
    def rate(self) -> float:
        """Angular rate of the ring, rad/s (Kepler's third law)."""
        return math.sqrt(self.gm / self.radius**3)

    @property
    def period(self) -> float:
        """Period of the ring, s."""
        return 2.0 * math.pi / self.rate

    @property
    def speed(self) -> float:
        """Circular speed on the ring, m/s."""
        return math.sqrt(self.gm / self.radius)

    def node_of(self, plane: int) -> float:
        """Right ascension of a plane's ascending node, rad."""
        return self.node + self.spread * plane / self.planes

    def slot_at(self, slot: int) -> float:
        """How far a slot is ahead of slot 0 of its plane, rad."""
        return self.places[slot] if self.places else 2.0 * math.pi * slot / self.slots

    def ahead_of(self, plane: int) -> float:
        """How far slot 0 of a plane is ahead of that of plane 0, rad (Walker 1984)."""
        return 2.0 * math.pi * plane * self.phasing / (self.planes * self.slots)

    def site_direction(self, pad: Pad, time: float) -> tuple[float, float, float]:
        """Unit vector from the center to a site."""
        right_ascension = self.meridian + self.spin * time + pad.longitude
        level = math.cos(pad.latitude)
        return level * math.cos(right_ascension), level * math.sin(right_ascension), math.sin(pad.latitude)

    def site_angle(self, pad: Pad, time: float) -> float:
        """Argument of latitude of a site in the ring plane, counted along the ring's motion, rad.

        Of the point of the plane below or above it, where the site is not in the plane.
        """
        right_ascension = self.meridian + self.spin * time + pad.longitude - self.node
        x, y = math.cos(pad.latitude) * math.cos(right_ascension), math.cos(pad.latitude) * math.sin(right_ascension)
        ahead = y * math.cos(self.inclination) + math.sin(pad.latitude) * math.sin(self.inclination)
        return math.atan2(ahead, x)

    def site_height(self, pad: Pad, time: float) -> float:
        """Sine of the angle of a site from the ring plane, positive on the side of the ring's pole."""
        right_ascension = self.meridian + self.spin * time + pad.longitude - self.node
        y = math.cos(pad.latitude) * math.sin(right_ascension)
        return math.sin(pad.latitude) * math.cos(self.inclination) - y * math.sin(self.inclination)


def duration(value: object) -> float:
    """Seconds from ``"h:mm:ss.s"`` or a number of seconds."""
    if isinstance(value, str):
        hours, minutes, seconds = value.split(":")
        return 3600.0 * int(hours) + 60.0 * int(minutes) + float(seconds)
    assert isinstance(value, int | float)
    return float(value)


def quantity(table: Mapping[str, Any], name: str, kind: str, default: float | None = None) -> float:
    """The value of ``name`` in SI units, in whichever unit the table spells it.

    Raises:
        KeyError: the table does not hold it and there is no default.
    """
    for unit, factor in UNITS[kind].items():
        if f"{name}_{unit}" in table:
            return float(table[f"{name}_{unit}"]) * factor
    if kind == "time" and name in table:
        return duration(table[name])
    if default is None:
        raise KeyError(name)
    return default


def _optional(table: Mapping[str, Any], name: str, kind: str) -> float | None:
    try:
        return quantity(table, name, kind)
    except KeyError:
        return None


def _insertion(table: Mapping[str, Any], body_radius: float, name: str) -> Insertion:
    return Insertion(
        name=str(table.get("name", name)),
        periapsis=body_radius + quantity(table, "periapsis", "length"),
        apoapsis=body_radius + quantity(table, "apoapsis", "length"),
        radius=body_radius + quantity(table, "altitude", "length", quantity(table, "periapsis", "length")),
    )


def _pad(table: Mapping[str, Any], body_radius: float) -> Pad:
    given = table.get("insertion", [])
    listed = given if isinstance(given, list) else [given]
    return Pad(
        name=str(table.get("name", "")),
        latitude=quantity(table, "latitude", "angle", 0.0),
        longitude=quantity(table, "longitude", "angle", 0.0),
        ready=quantity(table, "ready", "time", 0.0),
        turnaround=quantity(table, "turnaround", "time", 0.0),
        until=quantity(table, "until", "time", math.inf),
        blackouts=tuple((quantity(b, "from", "time"), quantity(b, "until", "time")) for b in table.get("blackout", [])),
        payload=quantity(table, "payload", "mass", math.inf),
        plane_tolerance=quantity(table, "plane_tolerance", "angle", 0.0),
        corridor=_corridor(table),
        ascent=quantity(table, "ascent", "time", 0.0),
        downrange=quantity(table, "downrange", "angle", 0.0),
        insertions=tuple(_insertion(item, body_radius, str(i)) for i, item in enumerate(listed)),
    )


def _corridor(table: Mapping[str, Any]) -> tuple[float, float] | None:
    first, last = _optional(table, "azimuth_from", "angle"), _optional(table, "azimuth_to", "angle")
    return None if first is None or last is None else (first, last)


def _at_time(orbit: Mapping[str, Any]) -> float:
    # `at` alone is the name of the apsis, never a time
    return quantity({key: value for key, value in orbit.items() if key != "at"}, "at", "time", 0.0)


def _craft(table: Mapping[str, Any], body_radius: float) -> Craft:
    orbit = None
    if "orbit" in table:
        o = table["orbit"]
        circle = _optional(o, "altitude", "length") is not None
        orbit = Orbit(
            # a circular orbit may be given by its altitude alone
            periapsis=body_radius + quantity(o, "periapsis" if not circle else "altitude", "length"),
            apoapsis=body_radius + quantity(o, "apoapsis" if not circle else "altitude", "length"),
            angle=quantity(o, "angle", "angle"),
            at=o.get("at"),
            at_time=_at_time(o),
            plane=int(o.get("plane", 0)),
        )
    return Craft(
        name=table["name"],
        dry=_optional(table, "dry_mass", "mass"),
        propellant=_optional(table, "propellant", "mass"),
        least=table.get("load", "full") == "least",
        isp=_optional(table, "isp", "isp"),
        reserve=quantity(table, "reserve", "speed", 0.0),
        ready=quantity(table, "ready", "time", 0.0),
        pads=tuple(table.get("pads", ())),
        stay=table.get("stay", False) is True,
        orbit=orbit,
    )


def _in_step(gm: float, spin: float, j2: float, j2_radius: float) -> float:
    """Radius at which a craft over the equator of an oblate body turns with it (Vallado 2013, section 8.6.1)."""
    radius = (gm / spin**2) ** (1.0 / 3.0)
    for _ in range(20):
        radius = (gm / spin**2 * (1.0 + 1.5 * j2 * (j2_radius / radius) ** 2)) ** (1.0 / 3.0)
    return float(radius)


def read_case(
    text: str,
    body: Mapping[str, float] | None = None,
    spin: float | None = None,
    meridian: float | None = None,
) -> Case:
    """Read a scenario.

    Args:
        text: the TOML.
        body: constants of a built-in body as the JSON result names them, for what the file does not give itself.
        spin: rotation rate of a built-in body, rad/s.
        meridian: right ascension of its prime meridian at the epoch, rad.

    >>> case = read_case('''
    ... [body]
    ... name = "Tessaly"
    ... gm_km3_s2 = 1000.0
    ... radius_km = 900.0
    ... [ring]
    ... altitude_km = 100.0
    ... slots = 3
    ... ''')
    >>> case.radius, case.speed
    (1000000.0, 1000.0)
    """
    data = tomllib.loads(text)
    world = {**(body or {}), **data.get("body", {})}
    body_radius = quantity(world, "radius", "length")
    gm = quantity(world, "gm", "gm")
    top = quantity(world, "atmosphere_top", "length", 0.0)
    day = _optional(world, "sidereal_day", "time")
    if day is not None:
        spin = 2.0 * math.pi / day
    elif spin is None:
        spin = math.radians(float(world.get("spin_deg_s", 0.0)))
    ring = data["ring"]
    radius = _optional(ring, "radius", "length")
    if radius is None:
        altitude = _optional(ring, "altitude", "length")
        if altitude is not None:
            radius = body_radius + altitude
        elif "longitude_deg" in ring:
            radius = _in_step(
                gm, spin, float(world.get("j2", 0.0)), quantity(world, "j2_radius", "length", body_radius)
            )
        else:
            radius = (gm * (quantity(ring, "period", "time") / (2.0 * math.pi)) ** 2) ** (1.0 / 3.0)
    prime = quantity(world, "prime_meridian", "angle", meridian if meridian is not None else 0.0)
    slot0 = None if ring.get("slot0_deg", "free") == "free" else quantity(ring, "slot0", "angle")
    if "longitude_deg" in ring:
        slot0 = prime + math.radians(ring["longitude_deg"])
    limits = data.get("limits", {})
    ceiling = _optional(limits, "apoapsis_max", "length")
    launch = data.get("launch", [])
    return Case(
        gm=gm,
        j2=float(world.get("j2", 0.0)),
        j2_radius=quantity(world, "j2_radius", "length", body_radius),
        body_radius=body_radius,
        top=top,
        spin=spin,
        meridian=prime,
        radius=radius,
        slots=len(ring["slots_deg"]) if "slots_deg" in ring else int(ring["slots"]),
        places=tuple(math.radians(one) for one in ring.get("slots_deg", ())),
        planes=int(ring.get("planes", 1)),
        phasing=int(ring.get("phasing", 0)),
        spread=quantity(ring, "spread", "angle", 2.0 * math.pi),
        tilt_tolerance=quantity(ring, "tilt_tolerance", "angle", 0.0),
        inclination=quantity(ring, "inclination", "angle", 0.0),
        node=quantity(ring, "node", "angle", 0.0),
        slot0=slot0,
        tolerance=quantity(ring, "tolerance", "angle", math.radians(0.5)),
        occupied=tuple(
            Occupied(
                name=o["name"], slot=o.get("slot"), angle=_optional(o, "angle", "angle"), plane=int(o.get("plane", 0))
            )
            for o in ring.get("occupied", [])
        ),
        floor=body_radius + top + quantity(limits, "clearance", "length", 0.0),
        finish_within=quantity(limits, "finish_within", "time", math.inf),
        wait_within=quantity(limits, "wait_within", "time", math.inf),
        revolutions_max=int(limits.get("revolutions_max", 12)),
        ceiling=body_radius + ceiling if ceiling is not None else math.inf,
        separation=quantity(limits, "separation", "length", 10_000.0),
        pads=tuple(_pad(item, body_radius) for item in (launch if isinstance(launch, list) else [launch])),
        craft=tuple(_craft(item, body_radius) for item in data.get("craft", [])),
        minimize=str(data.get("goal", {}).get("minimize", "delta_v")),
    )
