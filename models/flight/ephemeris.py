"""Where the Sun, the Moon, the Earth and a moon's planet are, in the base frame of the body that craft go around.

Series published with ERFA (the SOFA collection of the IAU): epv00 for the Earth about the Sun (good to 11 000 km over
1900 to 2100), moon98 for the Moon (Meeus 1998, 10" and 4" in longitude and latitude), plan94 for the planets (Simon and
others 1994, some 10" for the inner planets and Mars, 71", 119", 28" and 12" for Jupiter to Neptune). Planets are taken
about the Sun's center, moons where their planet is when the Sun is looked for from them.

The parent of a moon that always shows it the same face stands over the moon's prime meridian: on a circle of the
semi-major axis. The eccentricities (Titan 0.029, those of Jupiter's moons under 0.01) are left out.

The base frame: z along the body's pole, x along the ascending node of its equator on that of the ICRF; for the Earth
the celestial intermediate pole and origin (IAU 2006/2000A). It stands still as it is at the epoch.
"""

from __future__ import annotations

import abc
import functools
import math
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from .. import bodies
from ..surroundings import Puller
from ..units import DAY_S

Array = NDArray[np.float64]

J2000_JD = 2_451_545.0
PLANETS = ("mercury", "venus", "earth", "mars", "jupiter", "saturn", "uranus", "neptune")
"""In the order of plan94; its third is the Earth with the Moon."""

GRANULE_D = {"moon": 1.0, "sun": 4.0}
"""Days that one polynomial is fitted to: the interpolation adds less than a meter (see the tests)."""
POWERS = np.arange(8)


@dataclass(frozen=True, eq=False)
class Remembered(abc.ABC):
    """Places at moments, of which the last are kept: several forces ask for the same, one after another."""

    _last: list[tuple[Array, Array]] = field(default_factory=list, repr=False, kw_only=True)

    def position(self, time_s: Array) -> Array:
        """Position, m, (3, n), in the base frame, at seconds from the epoch; not to be written to."""
        if self._last:
            times, found = self._last[0]
            if times.size == time_s.size and (times[0] == time_s[0] if times.size == 1 else (times == time_s).all()):
                return found
        found = self._position(time_s)
        self._last[:] = [(np.array(time_s), found)]
        return found

    @abc.abstractmethod
    def _position(self, time_s: Array) -> Array:
        """The same, found afresh."""


@dataclass(frozen=True, eq=False)
class Track(Remembered):
    """A series, by polynomials over spans of equal length that are fitted when they are first asked for.

    Args:
        series: position, m, (n, 3), at days of terrestrial time from J2000, (n,).
        start_d: days from J2000 at the epoch.
        granule_d: length of a span, days.
        axes: (3, 3) rows of the base frame in the frame of the series.
    """

    series: Callable[[Array], Array]
    start_d: float
    granule_d: float
    axes: Array
    _made: dict[int, Array] = field(default_factory=dict, repr=False)

    def _position(self, time_s: Array) -> Array:
        spans = np.asarray(time_s) / (DAY_S * self.granule_d)
        which = np.floor(spans)
        x = 2.0 * (spans - which) - 1.0
        first = int(which[0])
        if which.size == 1 or np.all(which == first):
            return np.asarray(self._span(first).T @ _powers(x))
        found = np.empty((3, x.size))
        for one in np.unique(which):
            mask = which == one
            found[:, mask] = self._span(int(one)).T @ _powers(x[mask])
        return found

    def _span(self, index: int) -> Array:
        if index not in self._made:
            days = self.start_d + self.granule_d * (index + 0.5 * (_nodes() + 1.0))
            self._made[index] = np.asarray(_fit() @ (self.series(days) @ self.axes.T))
        return self._made[index]


@functools.cache
def _fit() -> Array:
    """From values at the zeros of a Chebyshev polynomial to coefficients of rising powers: (8, 8)."""
    return np.asarray(np.linalg.inv(_powers(_nodes()).T))


@functools.cache
def _nodes() -> Array:
    """The zeros of a Chebyshev polynomial, between which a fit errs least: (8,)."""
    return np.cos(np.pi * (POWERS + 0.5) / POWERS.size)


def _powers(x: Array) -> Array:
    """Powers of x (n,), rising: (8, n)."""
    found = np.empty((POWERS.size, x.size))
    found[0], found[1:] = 1.0, x
    return np.asarray(np.multiply.accumulate(found, axis=0, out=found))


@dataclass(frozen=True, eq=False)
class Beyond(Remembered):
    """A body seen from the Moon: where it is seen from the Earth, and the Earth from the Moon, each by its series.

    So each is fitted over spans as long as its own swings allow, and the Earth's fit serves twice.
    """

    from_earth: Track
    earth: Track

    def _position(self, time_s: Array) -> Array:
        return self.from_earth.position(time_s) + self.earth.position(time_s)


@dataclass(frozen=True, kw_only=True)
class Circle:
    """A body on a circle: radius, rate, and where it is at the epoch (argument of latitude, inclination, node)."""

    radius_m: float
    rate_rad_s: float
    angle_rad: float = 0.0
    inclination_rad: float = 0.0
    node_rad: float = 0.0

    @staticmethod
    def of(one: Puller) -> Circle:
        """The circle of a body of a world of one's own."""
        return Circle(
            radius_m=one.radius_m,
            rate_rad_s=2.0 * math.pi / one.period_s,
            angle_rad=one.angle_rad,
            inclination_rad=one.inclination_rad,
            node_rad=one.node_rad,
        )

    def position(self, time_s: Array) -> Array:
        """Position, m, (3, n), at seconds from the epoch."""
        angle = self.angle_rad + self.rate_rad_s * time_s
        level, up = np.sin(angle) * math.cos(self.inclination_rad), np.sin(angle) * math.sin(self.inclination_rad)
        cos, sin = math.cos(self.node_rad), math.sin(self.node_rad)
        ahead = np.cos(angle)
        return self.radius_m * np.stack([cos * ahead - sin * level, sin * ahead + cos * level, up])


def base_axes(name: str, epoch: datetime) -> Array:
    """Rows x, y, z of a built-in body's base frame on the ICRF at an instant: (3, 3)."""
    if name.lower() == "earth":
        import erfa

        return np.asarray(erfa.c2i06a(J2000_JD, bodies.terrestrial_days(epoch)))
    ascension, declination = bodies.pole_rad(name, epoch)
    z = np.array(
        [
            math.cos(declination) * math.cos(ascension),
            math.cos(declination) * math.sin(ascension),
            math.sin(declination),
        ]
    )
    x = np.array([-math.sin(ascension), math.cos(ascension), 0.0])
    return np.stack([x, np.cross(z, x), z])


@functools.lru_cache(maxsize=16)
def track(center: str, target: str, epoch: datetime) -> Track | Beyond | None:
    """Where a body is as seen from another, in the base frame of that other; None where no series is known here.

    Args:
        center: built-in body that craft go around.
        target: "sun", "moon" (from the Earth) or "earth" (from the Moon).
        epoch: instant from which times count.
    """
    center, target = center.lower(), target.lower()
    start_d, axes = bodies.terrestrial_days(epoch), base_axes(center, epoch)
    if (center, target) == ("moon", "sun"):
        earth = track("moon", "earth", epoch)
        assert isinstance(earth, Track)
        return Beyond(Track(sun_from_earth, start_d, GRANULE_D["sun"], axes), earth)
    series = _series(center, target)
    if series is None:
        return None
    return Track(series, start_d, GRANULE_D["sun" if target == "sun" else "moon"], axes)


def _series(center: str, target: str) -> Callable[[Array], Array] | None:
    if (center, target) == ("earth", "moon"):
        return moon_from_earth
    if (center, target) == ("moon", "earth"):
        return earth_from_moon
    if target != "sun":
        return None
    if center == "earth":
        return sun_from_earth
    planet = center if center in PLANETS else bodies.primary(center)[0]
    return functools.partial(sun_from_planet, planet) if planet in PLANETS else None


def moon_from_earth(days: Array) -> Array:
    """The Moon from the Earth on the ICRF, m, (n, 3), at days of terrestrial time from J2000."""
    import erfa

    return np.asarray(erfa.moon98(J2000_JD, days)["p"]) * bodies.ASTRONOMICAL_UNIT_M


def earth_from_moon(days: Array) -> Array:
    """The Earth from the Moon on the ICRF, m, (n, 3), at days of terrestrial time from J2000."""
    return -moon_from_earth(days)


def sun_from_earth(days: Array) -> Array:
    """The Sun from the Earth on the ICRF, m, (n, 3), at days of terrestrial time from J2000."""
    import erfa

    return -np.asarray(erfa.epv00(J2000_JD, days)[0]["p"]) * bodies.ASTRONOMICAL_UNIT_M


def sun_from_planet(name: str, days: Array) -> Array:
    """The Sun from another planet on the ICRF, m, (n, 3), at days of terrestrial time from J2000."""
    import erfa

    found = erfa.plan94(J2000_JD, days, PLANETS.index(name) + 1)
    return -np.asarray(found["p"]) * bodies.ASTRONOMICAL_UNIT_M


def parent_circle(name: str, meridian_rad: float, spin_rad_s: float) -> Circle | None:
    """A moon's planet over the moon's prime meridian; None for a body that goes around the Sun, and for the Moon."""
    around, distance_m = bodies.primary(name)
    if around in ("sun", "earth"):
        return None
    return Circle(radius_m=distance_m, rate_rad_s=spin_rad_s, angle_rad=meridian_rad)
