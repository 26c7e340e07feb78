"""The keys of a scenario file: where each may stand, its kind of quantity, its range, its default and its meaning.

One table drives the reader's checks, the suggestions for a misspelled key and the test of the reference of keys.
Bounds are in SI units and radians.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from ..units import UNITS, split_unit

Kind = Literal[
    "length",
    "angle",
    "time",
    "instant",
    "mass",
    "speed",
    "force",
    "gm",
    "impulse",
    "ratio",
    "count",
    "text",
    "choice",
    "texts",
    "flag",
    "moment",
    "table",
    "tables",
    "table or tables",
]

FARTHEST_M = 1e13
"""No length in a scenario may exceed this: some 70 times the Sun's distance."""

LONGEST_S = 1e11
"""No time in a scenario may exceed this: some 3000 years."""


@dataclass(frozen=True, kw_only=True)
class Key:
    """One key of one table.

    Args:
        name: the quantity, without unit; unique in its table.
        kind: what its value is; a kind with units needs one of them as a suffix of the key.
        meaning: a sentence for the reference of keys.
        stem: how the key is spelled before the unit, where that is not the name.
        default: what is taken in its absence, in words; empty where it must be given or where absence means nothing.
        required: whether the table is useless without it.
        least, most: range, in SI units and radians, both ends allowed.
        above: whether the lower end itself is refused.
        infinite: whether infinity is allowed.
        choices: the texts that are allowed, for a choice or instead of a number.
        instead_of: quantities that say the same in another way.
    """

    name: str
    kind: Kind
    meaning: str
    stem: str = ""
    default: str = ""
    required: bool = False
    least: float = -math.inf
    most: float = math.inf
    above: bool = False
    infinite: bool = False
    choices: tuple[str, ...] = ()
    instead_of: tuple[str, ...] = ()

    @property
    def spelled(self) -> str:
        """The key without its unit."""
        return self.stem or self.name

    @property
    def spellings(self) -> tuple[str, ...]:
        """Every way to write the key.

        >>> Key(name="ascent", kind="time", meaning="").spellings
        ('ascent_s', 'ascent_min', 'ascent_h', 'ascent_d', 'ascent')
        """
        found = [f"{self.spelled}_{unit}" for unit in UNITS.get(self.kind, {})]
        if self.bare:
            found.append(self.spelled)
        return tuple(found)

    @property
    def bare(self) -> bool:
        """Whether the key may stand without a unit: it has none, or its value may be a clock time or a date."""
        return self.kind not in UNITS or (self.kind in ("time", "instant") and not self.stem)


def _length(name: str, meaning: str, *, least: float = -FARTHEST_M, default: str = "", above: bool = False) -> Key:
    return Key(name=name, kind="length", meaning=meaning, least=least, most=FARTHEST_M, default=default, above=above)


def _angle(name: str, meaning: str, *, default: str = "", required: bool = False) -> Key:
    turns = 100.0 * 2.0 * math.pi
    return Key(name=name, kind="angle", meaning=meaning, least=-turns, most=turns, default=default, required=required)


def _name(meaning: str, *, required: bool = False, default: str = "") -> Key:
    return Key(name="name", kind="text", meaning=meaning, required=required, default=default)


_APSIDES = ("periapsis", "apoapsis")
_CIRCLES = ("altitude", "radius", "period")


def _circle(other: str, meaning: str, also: tuple[str, ...] = ()) -> Key:
    rest = (*(name for name in _CIRCLES if name != other), *also)
    if other == "period":
        return Key(name="period", kind="time", meaning=meaning, least=0.0, above=True, most=LONGEST_S, instead_of=rest)
    low = 0.0 if other == "radius" else -FARTHEST_M
    return Key(
        name=other, kind="length", meaning=meaning, least=low, above=low == 0.0, most=FARTHEST_M, instead_of=rest
    )


def _error(name: str, kind: Kind, meaning: str, most: float, default: str = "0, exact") -> Key:
    return Key(name=name, kind=kind, meaning=meaning, least=0.0, most=most, default=default)


_INJECTION = (
    _error("periapsis", "length", "Of the periapsis at insertion.", 1e9),
    _error("apoapsis", "length", "Of the apoapsis at insertion.", 1e9),
    _error("inclination", "angle", "Of the inclination at insertion.", 0.5),
    _error("node", "angle", "Of the node at insertion.", 0.5),
    _error("insertion_time", "time", "Of the moment of insertion.", 1e6),
)
_BURNS = (
    _error("burn", "speed", "Size of a burn, the same for every burn.", 1e4),
    _error("burn_share", "ratio", "Size of a burn, as a share of the burn.", 0.5),
    _error("across", "speed", "Direction of a burn, on each axis across it, the same for every burn.", 1e4),
    _error("pointing", "angle", "Direction of a burn, as an angle on each axis across it.", 0.5),
    _error("burn_time", "time", "Of the moment of a burn.", 1e6),
    _error("period_reading", "time", "Of a period as read in flight.", 1e6),
)


TABLES: Mapping[str, tuple[Key, ...]] = {
    "": (
        Key(name="title", kind="text", meaning="What the scenario is called.", default='"untitled"'),
        Key(name="epoch", kind="moment", meaning="Date-time with offset from which all times count.", default="none"),
        Key(name="body", kind="table", meaning="The planet, moon or invented world.", required=True),
        Key(name="ring", kind="table", meaning="The ring that is wanted.", required=True),
        Key(name="limits", kind="table", meaning="Limits that every plan keeps."),
        Key(name="launch", kind="table or tables", meaning="The launch site, or several with a name each."),
        Key(
            name="carrier", kind="tables", meaning="Carriers that take several craft up in one launch, one table each."
        ),
        Key(name="craft", kind="tables", meaning="The craft, one table each.", required=True),
        Key(name="goal", kind="table", meaning="What to make least."),
        Key(name="errors", kind="table", meaning="What may go otherwise than planned."),
    ),
    "body": (
        _name("A built-in body, or the name of a world of your own.", required=True),
        Key(
            name="gm",
            kind="gm",
            meaning="Gravitational parameter of the body.",
            least=0.0,
            above=True,
            most=1e21,
        ),
        _length("radius", "Equatorial radius; altitudes count from it.", least=0.0, above=True),
        _length(
            "atmosphere_top",
            "Altitude that planning takes as the top of the atmosphere.",
            least=0.0,
            default="0 km, no atmosphere",
        ),
        Key(
            name="sidereal_day",
            kind="time",
            meaning="Rotation period against the stars; negative: turns backwards; inf: does not turn.",
            least=-LONGEST_S,
            most=LONGEST_S,
            infinite=True,
        ),
        Key(
            name="j2",
            kind="ratio",
            meaning="Second zonal harmonic of the gravity field, unnormalized.",
            least=-0.1,
            most=0.1,
            default="0, a round body",
        ),
        _length("j2_radius", "Reference radius that j2 belongs to.", least=0.0, above=True),
        _angle("prime_meridian", "Angle of the prime meridian from the x axis at the epoch."),
    ),
    "ring": (
        _circle("altitude", "Altitude of the ring."),
        _circle("radius", "Radius of the ring from the body's center, instead of the altitude."),
        _circle("period", "Period of the ring (two-body), instead of the altitude."),
        Key(
            name="slots",
            kind="count",
            meaning="Equally spaced slots in each plane.",
            required=True,
            least=1,
            most=500,
        ),
        Key(
            name="inclination",
            kind="angle",
            meaning="Inclination to the body's equator, 0 to 180 deg.",
            default="0 deg, over the equator",
            least=0.0,
            most=math.pi,
        ),
        _angle("node", "Right ascension of the ascending node at the epoch.", default="0 deg"),
        Key(
            name="slot0",
            kind="angle",
            meaning='Argument of latitude of slot 0 at the epoch; "free": what is up already decides.',
            default='"free": what is up already decides, else the first arrival',
            least=-100.0 * 2.0 * math.pi,
            most=100.0 * 2.0 * math.pi,
            choices=("free",),
        ),
        Key(
            name="tolerance",
            kind="angle",
            meaning="Error against the slot that still counts as in place; plans aim at the slot itself.",
            default="0.5 deg",
            least=0.0,
            above=True,
            most=math.pi,
        ),
        Key(
            name="tilt_tolerance",
            kind="angle",
            meaning="Tilt against the ring plane that still counts as in the plane.",
            default="0 deg",
            least=0.0,
            most=math.pi,
        ),
        Key(
            name="hold_for",
            kind="time",
            meaning="How long the ring is to keep its spacing; says how well periods must match.",
            default="365.25 d",
            least=0.0,
            above=True,
            most=LONGEST_S,
        ),
        Key(
            name="period_known_to",
            kind="time",
            meaning="How well a craft's period will be known in flight: how long the ring then keeps its spacing.",
            default="not said: flown periods are taken as they are",
            least=0.0,
            above=True,
            most=LONGEST_S,
        ),
        Key(name="planes", kind="count", meaning="Planes of the ring.", default="1", least=1, most=100),
        Key(
            name="phasing",
            kind="count",
            meaning="Slot 0 of each next plane is ahead by this many parts of a turn, planes x slots parts to a turn.",
            default="0",
            least=0,
            most=50_000,
        ),
        Key(
            name="spread",
            kind="angle",
            meaning="Angle of node over which the planes are spread evenly.",
            default="360 deg",
            least=0.0,
            above=True,
            most=2.0 * math.pi * (1.0 + 1e-12),
        ),
        Key(name="occupied", kind="tables", meaning="Craft that are in the ring already and stay, one table each."),
    ),
    "ring.occupied": (
        _name("The craft in that place.", required=True),
        Key(name="slot", kind="count", meaning="Its slot, counted from 0.", least=0, most=500),
        _angle("angle", "Its argument of latitude at the epoch, as measured."),
        Key(name="plane", kind="count", meaning="Its plane, counted from 0.", default="0", least=0, most=100),
    ),
    "limits": (
        _length(
            "clearance",
            "Lowest altitude on every arc after insertion, above the top of the atmosphere.",
            least=0.0,
            default="0 km",
        ),
        Key(
            name="finish_within",
            kind="time",
            meaning="Last craft in its slot, from the epoch.",
            default="no limit",
            least=0.0,
            above=True,
            most=LONGEST_S,
            infinite=True,
        ),
        Key(
            name="wait_within",
            kind="time",
            meaning="Per craft, from first reaching the ring to being in its slot.",
            default="no limit",
            least=0.0,
            most=LONGEST_S,
            infinite=True,
        ),
        Key(
            name="revolutions_max",
            kind="count",
            meaning="Most phasing revolutions of one craft.",
            default="12",
            least=0,
            most=1000,
        ),
        Key(
            name="apoapsis_max",
            kind="length",
            meaning="Highest altitude of any apoapsis reached.",
            default="no limit",
            least=0.0,
            above=True,
            most=FARTHEST_M,
            infinite=True,
        ),
        _length(
            "separation",
            "Least distance to craft in place, from the epoch, the insertion or the drop on; 0: not looked at.",
            least=0.0,
            default="10 km",
        ),
    ),
    "launch": (
        _name("The site; needed where there are several.", default='"pad"'),
        Key(
            name="latitude",
            kind="angle",
            meaning="Latitude of the site.",
            required=True,
            least=-0.5 * math.pi,
            most=0.5 * math.pi,
        ),
        Key(
            name="longitude",
            kind="angle",
            meaning="Longitude of the site, east positive.",
            required=True,
            least=-2.0 * math.pi,
            most=2.0 * math.pi,
        ),
        Key(
            name="ready",
            kind="instant",
            meaning="Earliest liftoff.",
            default="0 h, ready at the epoch",
            least=0.0,
            most=LONGEST_S,
        ),
        Key(
            name="turnaround",
            kind="time",
            meaning="Least time between liftoffs.",
            default="0 h",
            least=0.0,
            most=LONGEST_S,
        ),
        Key(
            name="until",
            kind="instant",
            meaning="Latest liftoff.",
            default="no limit",
            least=0.0,
            most=LONGEST_S,
            infinite=True,
        ),
        Key(
            name="plane_tolerance",
            kind="angle",
            meaning="How far the site may be from the ring plane at liftoff.",
            default="0 deg, at passes through the plane only",
            least=0.0,
            most=0.5 * math.pi,
        ),
        Key(name="blackout", kind="tables", meaning="Spans of time without a liftoff, one table each."),
        _angle(
            "azimuth_from", "Flight azimuths allowed over the turning ground, from this one clockwise.", default="any"
        ),
        _angle("azimuth_to", "The last flight azimuth of that corridor, from north over east."),
        Key(
            name="payload",
            kind="mass",
            meaning="Greatest mass that the launcher brings to the insertion.",
            default="no limit",
            least=0.0,
            above=True,
            most=1e9,
        ),
        Key(
            name="ascent",
            kind="time",
            meaning="From liftoff to insertion.",
            default="0 min, insertion at liftoff",
            least=0.0,
            most=1e6,
        ),
        _angle(
            "downrange",
            "Angle in the flight plane from the site's direction at liftoff to the insertion, inertial.",
            default="0 deg, insertion above the site",
        ),
        Key(
            name="insertion",
            kind="table or tables",
            meaning="Where the launcher lets go, or several with a name each, from which the plan chooses.",
            required=True,
        ),
        Key(name="errors", kind="table", meaning="Errors of the insertion from this site."),
        Key(
            name="upper_stage",
            kind="table",
            meaning="The launcher's last stage, where it goes on burning after the insertion.",
        ),
    ),
    "launch.upper_stage": (
        Key(
            name="delta_v",
            kind="speed",
            meaning="What it can burn after the insertion; it pays the first burns.",
            required=True,
            least=0.0,
            above=True,
            most=1e6,
        ),
        Key(
            name="lasts",
            kind="time",
            meaning="How long after the insertion it can still burn.",
            default="no limit",
            least=0.0,
            most=LONGEST_S,
            infinite=True,
        ),
    ),
    "carrier": (
        _name("The carrier; needed where there are several.", default='"carrier"'),
        Key(
            name="craft",
            kind="texts",
            meaning="Names of the craft on board; it flies with all of them, or not at all.",
            required=True,
        ),
        Key(
            name="delta_v",
            kind="speed",
            meaning="What it can burn with all craft on board.",
            required=True,
            least=0.0,
            most=1e6,
        ),
        Key(
            name="mass",
            kind="mass",
            meaning="Its own mass at liftoff, counted against `payload`.",
            default="0 kg",
            least=0.0,
            most=1e9,
        ),
        Key(
            name="passes_max",
            kind="count",
            meaning="Most passes through the ring after the first touch until the last craft is dropped.",
            default="12",
            least=0,
            most=1000,
        ),
        Key(
            name="lasts",
            kind="time",
            meaning="How long after the insertion it can drop craft.",
            default="no limit",
            least=0.0,
            most=LONGEST_S,
            infinite=True,
        ),
        Key(name="pads", kind="texts", meaning="Names of the launch sites that may launch it.", default="any"),
    ),
    "launch.blackout": (
        Key(
            name="from",
            kind="instant",
            meaning="No liftoff after this moment.",
            required=True,
            least=0.0,
            most=LONGEST_S,
        ),
        Key(
            name="until",
            kind="instant",
            meaning="Liftoffs again from this moment on.",
            required=True,
            least=0.0,
            most=LONGEST_S,
        ),
    ),
    "launch.insertion": (
        _name("The insertion; needed where there are several."),
        _length("periapsis", "Periapsis altitude at insertion; below the surface it is negative."),
        _length("apoapsis", "Apoapsis altitude at insertion: on the ring, or equal to the periapsis."),
        _length("altitude", "Altitude of the insertion itself, on the way up.", default="the periapsis"),
    ),
    "craft": (
        _name("The craft.", required=True),
        Key(name="dry_mass", kind="mass", meaning="Mass without propellant.", least=0.0, above=True, most=1e9),
        Key(
            name="propellant",
            kind="mass",
            meaning='Propellant on board; with load = "least" the size of the tank.',
            least=0.0,
            most=1e9,
        ),
        Key(
            name="load",
            kind="choice",
            meaning='"full": all the propellant is loaded; "least": only what the plan needs.',
            default='"full"',
            choices=("full", "least"),
        ),
        Key(name="isp", kind="impulse", meaning="Specific impulse.", least=0.0, above=True, most=1e6),
        Key(
            name="thrust",
            kind="force",
            meaning="Thrust; without it burns are impulses.",
            default="none, burns are impulses",
            least=0.0,
            above=True,
            most=1e9,
        ),
        Key(
            name="throttle_min",
            kind="ratio",
            meaning="Least thrust as a share of the full; 1: it cannot be throttled.",
            default="1, full thrust only",
            least=0.0,
            above=True,
            most=1.0,
        ),
        Key(
            name="burns_max",
            kind="count",
            meaning="How often its engine may be lit.",
            default="no limit",
            least=1,
            most=1000,
        ),
        Key(
            name="burn_least",
            kind="speed",
            meaning="The smallest burn that it can do.",
            default="0 m/s",
            least=0.0,
            most=1e6,
        ),
        Key(
            name="between_burns",
            kind="time",
            meaning="Least time from cut-off to the next ignition.",
            default="0 min",
            least=0.0,
            most=LONGEST_S,
        ),
        Key(
            name="reaction",
            kind="time",
            meaning="From seeing a number to cutting the burn by hand (common practice, no source).",
            default="0.3 s",
            least=0.0,
            above=True,
            most=60.0,
        ),
        Key(
            name="reserve",
            kind="speed",
            meaning="Delta-v kept back.",
            default="0 m/s",
            least=0.0,
            most=1e6,
        ),
        Key(
            name="ready",
            kind="instant",
            meaning="Earliest burn, or delivery to the pad.",
            default="0 h, ready at the epoch",
            least=0.0,
            most=LONGEST_S,
        ),
        Key(name="pads", kind="texts", meaning="Names of the launch sites that may launch it.", default="any"),
        Key(name="stay", kind="flag", meaning="Keeps the craft where it is.", default="false"),
        Key(name="orbit", kind="table", meaning="Where the craft is in space; without it the craft is on the ground."),
        Key(name="errors", kind="table", meaning="Errors of the burns and readings of this craft."),
    ),
    "craft.orbit": (
        Key(
            name="periapsis",
            kind="length",
            meaning="Periapsis altitude.",
            least=-FARTHEST_M,
            most=FARTHEST_M,
            instead_of=_CIRCLES,
        ),
        Key(
            name="apoapsis",
            kind="length",
            meaning="Apoapsis altitude.",
            least=-FARTHEST_M,
            most=FARTHEST_M,
            instead_of=_CIRCLES,
        ),
        _circle("altitude", "Altitude of a circular orbit, instead of both apsides.", _APSIDES),
        _circle("radius", "Radius of a circular orbit from the body's center, instead of both apsides.", _APSIDES),
        _circle("period", "Period of a circular orbit (two-body), instead of both apsides.", _APSIDES),
        _angle(
            "angle", "Argument of latitude of the apsis named by `at`, of the craft itself on a circle.", required=True
        ),
        Key(
            name="at",
            kind="choice",
            meaning="The apsis at which the craft is at that time; a circular orbit needs none.",
            choices=("periapsis", "apoapsis"),
        ),
        Key(
            name="plane",
            kind="count",
            meaning="The plane of the ring that it lies in, counted from 0.",
            default="0",
            least=0,
            most=100,
        ),
        Key(
            name="at_time",
            stem="at",
            kind="instant",
            meaning="When it is there.",
            default="0 s, at the epoch",
            least=-LONGEST_S,
            most=LONGEST_S,
        ),
    ),
    "goal": (
        Key(
            name="minimize",
            kind="choice",
            meaning="What the first plan makes least; ties go by delta-v, finish, worst craft, propellant, slot order.",
            default='"delta_v"',
            choices=("delta_v", "finish", "propellant", "worst_delta_v"),
        ),
        Key(
            name="front_step",
            kind="time",
            meaning="Free-form flights of several burns are looked for that end at each whole multiple of this time.",
            default="not asked: craft fly phasing orbits alone",
            least=0.0,
            above=True,
            most=LONGEST_S,
        ),
        Key(
            name="first_service",
            kind="count",
            meaning="Service begins when so many neighboring slots are filled; craft that stay count.",
            default="not asked",
            least=1,
            most=500,
        ),
    ),
    "observed": (
        Key(
            name="now",
            kind="instant",
            meaning="The moment from which to go on, from the scenario's epoch.",
            required=True,
            least=0.0,
            most=LONGEST_S,
        ),
        Key(name="craft", kind="tables", meaning="The craft of which something was seen, one table each."),
    ),
    "observed.craft": (
        _name("A craft of the scenario.", required=True),
        Key(
            name="status",
            kind="choice",
            meaning='"pad": not launched; "done": in its slot; "lost": gone.',
            default="by the plan, or by what was seen of its orbit",
            choices=("pad", "done", "lost"),
        ),
        Key(
            name="propellant",
            kind="mass",
            meaning="Propellant left at that moment.",
            default="what the plan leaves",
            least=0.0,
            most=1e9,
        ),
        Key(name="orbit", kind="table", meaning="Its orbit as read from instruments."),
        Key(name="state", kind="table", meaning="Its orbit as a state vector."),
        Key(name="elements", kind="texts", meaning="Its orbit as the two lines of a two-line element set (Earth)."),
    ),
    "observed.craft.orbit": (
        _length("periapsis", "Periapsis altitude."),
        _length("apoapsis", "Apoapsis altitude."),
        Key(
            name="period",
            kind="time",
            meaning="Period; with one apsis it gives the other, alone it is that of a circle.",
            least=0.0,
            above=True,
            most=LONGEST_S,
        ),
        Key(
            name="at",
            kind="choice",
            meaning="The apsis that it passed last; a circle needs none.",
            choices=("periapsis", "apoapsis"),
        ),
        Key(
            name="at_time",
            stem="at",
            kind="instant",
            meaning="When it passed it, or when it was there on a circle.",
            default="now",
            least=-LONGEST_S,
            most=LONGEST_S,
        ),
        _angle("angle", "Argument of latitude of that apsis, of the craft on a circle."),
        Key(name="ahead_of", kind="text", meaning="Instead of that angle: the neighbor that it is ahead of now."),
        _angle("ahead", "By how much it is ahead of that neighbor now."),
        Key(
            name="plane",
            kind="count",
            meaning="The plane of the ring that it lies in.",
            default="0",
            least=0,
            most=100,
        ),
    ),
    "observed.craft.state": (
        *(
            Key(
                name=axis,
                kind="length",
                meaning=f"Position along {axis}.",
                required=True,
                least=-FARTHEST_M,
                most=FARTHEST_M,
            )
            for axis in ("x", "y", "z")
        ),
        *(
            Key(name=f"v{axis}", kind="speed", meaning=f"Velocity along {axis}.", required=True, least=-1e7, most=1e7)
            for axis in ("x", "y", "z")
        ),
        Key(
            name="at_time", stem="at", kind="instant", meaning="When.", default="now", least=-LONGEST_S, most=LONGEST_S
        ),
    ),
    "errors": (*_INJECTION, *_BURNS),
    "launch.errors": _INJECTION,
    "craft.errors": _BURNS,
}
"""Keys of each table; an item of a list of tables goes by the name of the list."""


def find_key(table: str, spelled: str) -> tuple[Key, str] | None:
    """Find a key of a table from its spelling, with the unit that it carries; None where there is no such key.

    The unit may be one that the quantity does not have: the caller says so better than "unknown key" would.

    >>> key, unit = find_key("limits", "finish_within_d")
    >>> key.name, unit
    ('finish_within', 'd')
    >>> find_key("limits", "finish_in_d") is None
    True
    """
    stem, unit = split_unit(spelled)
    for key in TABLES[table]:
        if key.bare and key.spelled == spelled:
            return key, ""
    for key in TABLES[table]:
        if key.spelled == stem and key.kind in UNITS:
            return key, unit
    for key in TABLES[table]:
        if key.spelled == spelled and key.kind in UNITS:
            return key, ""
    return None


def tables_with(spelled: str) -> tuple[str, ...]:
    """Tables that know a key of exactly this spelling.

    >>> tables_with("clearance_km"), tables_with("name")[:2]
    (('limits',), ('body', 'ring.occupied'))
    """
    return tuple(
        table
        for table, keys in TABLES.items()
        if not table.startswith("observed") and any(spelled in key.spellings for key in keys)
    )
