"""What was seen of the craft at some moment after the start: from a TOML file to orbits.

An orbit may be read from instruments (apsides, period, the last apsis and its time, an angle or a neighbor), or be a
state vector, a two-line element set, or an orbit message. Every fault is an InputError that names file, line, key,
value and remedy.
"""

from __future__ import annotations

import math
import os
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np

from .. import orbits
from ..arrays import Array
from ..errors import InputError
from ..orbit_of_state import orbit_of_state
from ..readouts import brief, clock
from ..ring import Ring
from ..scenario import Orbit, Scenario
from .document import Origin, Table
from .element_sets import state_of
from .in_words import planes_accepted
from .message_states import given_state
from .tables import read_table
from .toml_lines import key_lines
from .toml_text import file_text, toml_tree

Status = Literal["pad", "done", "lost"]

PERIOD_FITS = 1e-3
"""Share by which a period may differ from that of the apsides it is read with."""

MESSAGES: tuple[Literal["opm", "oem"], ...] = ("opm", "oem")
"""Keys of orbit messages."""

MOST_TILT_RAD = math.radians(20.0)
"""An orbit tilted more than this against every plane of the ring is no start of a plan in that plane."""


@dataclass(frozen=True, kw_only=True)
class Seen:
    """What was seen of one craft. ``orbit`` in the ring's plane, times from the epoch; ``tilt_rad`` of the orbit seen
    against that plane; ``state``, m and m/s, six numbers, at ``state_s``, where it was given as such; None for what was
    not seen.
    """

    name: str
    status: Status | None = None
    orbit: Orbit | None = None
    tilt_rad: float = 0.0
    propellant_kg: float | None = None
    state: tuple[float, ...] | None = None
    state_s: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Observed:
    """What was seen of the craft, at ``now_s`` from the epoch."""

    now_s: float
    craft: tuple[Seen, ...] = ()
    file: str = ""

    def of(self, name: str) -> Seen | None:
        """What was seen of a craft, None for nothing."""
        return next((one for one in self.craft if one.name == name), None)


def read_observed(path: str | os.PathLike[str], scenario: Scenario, ring: Ring) -> Observed:
    """Read a file of observations.

    Raises:
        InputError: the file cannot be read, or what it says cannot be.
    """
    file = os.fspath(path)
    return parse_observed(file_text(Path(file), file), scenario, ring, file)


def parse_observed(text: str, scenario: Scenario, ring: Ring, file: str = "observed") -> Observed:
    """Read observations from their text; in all else as :func:`read_observed`."""
    tree = toml_tree(text, file)
    if not tree:
        raise InputError("the file is empty: it needs at least now_h, the moment from which to go on.", where=file)
    origin = Origin(file=file, lines=key_lines(text.replace("\r\n", "\n")), epoch=scenario.epoch)
    root = read_table(origin, tree, "observed", "", "", "")
    now = root.number_or("now", 0.0)
    names = [craft.name for craft in scenario.craft]
    found: list[Seen] = []
    for table in root.tables.get("craft", ()):
        name = table.text("name") or ""
        if name not in names:
            raise table.refused("name", f"is no craft of the scenario, whose craft are {', '.join(names)}.")
        if any(seen.name == name for seen in found):
            raise table.refused("name", "is there a second time: keep one table for each craft.")
        found.append(_Reader(scenario, ring, now, table).seen())
    return Observed(now_s=now, craft=tuple(found), file=file)


class _Reader:
    """Reads one craft."""

    def __init__(self, scenario: Scenario, ring: Ring, now_s: float, table: Table) -> None:
        self.scenario, self.ring, self.now_s, self.table = scenario, ring, now_s, table
        self.body = scenario.body

    def seen(self) -> Seen:
        table = self.table
        name = table.text("name") or ""
        status: Status | None = table.text("status")  # type: ignore[assignment]  # one of the choices
        ways = [key for key in ("orbit", "state") if table.table(key) is not None]
        ways += [key for key in ("elements", "opm", "oem") if key in table]
        if len(ways) > 1:
            raise table.error(f"{table.label} gives {' and '.join(ways)}, which say the same in two ways: keep one.")
        if ways and status is not None:
            raise table.refused(
                "status",
                f"and {ways[0]} cannot both be: a craft with an orbit is under way, so take status out, or take the "
                "orbit out.",
            )
        grounded = next(c for c in self.scenario.craft if c.name == name).orbit is None
        if status == "pad" and not grounded:
            raise table.refused("status", f", but the scenario has {name} in space from the start: give its orbit.")
        seen = Seen(name=name, status=status, propellant_kg=table.number("propellant"))
        inside = table.table("orbit")
        if inside is not None:
            return replace(seen, orbit=self._read_orbit(inside))
        if not ways:
            return seen
        position, velocity, time_s = self._state()
        orbit, tilt = self._from_state(position, velocity, time_s)
        state = (*position.tolist(), *velocity.tolist())
        return replace(seen, orbit=orbit, tilt_rad=tilt, state=state, state_s=time_s)

    def _past(self, table: Table, name: str) -> float:
        """A time that must not be after now."""
        time = table.number(name)
        if time is None:
            return self.now_s
        if time > self.now_s + 1e-6:
            raise table.refused(
                name,
                f"is {brief(time - self.now_s)} s after now ({brief(self.now_s / 3600.0)} h): give a time that has "
                "passed, or a later now.",
            )
        return time

    def _read_orbit(self, table: Table) -> Orbit:
        low, high = self._apsides(table)
        circular = high - low <= 1.0
        at = table.text("at")
        if at is None and not circular:
            raise table.error(
                f'{table.label} does not say which apsis it passed last: add at = "periapsis" or at = "apoapsis", and '
                "at_h, when."
            )
        if at is not None and not circular and "at_time" not in table:
            raise table.refused("at", "has no time: add at_h, when it passed it.")
        when = self._past(table, "at_time")
        plane = table.count_or("plane", 0)
        if plane >= self.ring.planes:
            raise table.refused("plane", f"is no plane of the ring: {planes_accepted(self.ring.planes)}.")
        angle = self._angle(table, low, high, at, when, plane)
        return Orbit(
            periapsis_m=low,
            apoapsis_m=high,
            angle_rad=angle,
            at=None if circular else at,  # type: ignore[arg-type]  # one of the choices
            at_s=when,
            plane=plane,
        )

    def _apsides(self, table: Table) -> tuple[float, float]:
        radius = self.body.radius_m
        low, high, period = table.number("periapsis"), table.number("apoapsis"), table.number("period")
        low, high = (None if one is None else one + radius for one in (low, high))
        if low is not None and high is not None:
            if low > high:
                raise table.refused(
                    "periapsis",
                    f"is above {table.quote('apoapsis')}: the periapsis is the lower of the two, swap them.",
                )
            if low <= 0.0:
                raise table.refused("periapsis", "is below the body's center: give its altitude over the ground.")
            fits = float(orbits.period(self.body.gm, 0.5 * (low + high)))
            if period is not None and abs(period - fits) > PERIOD_FITS * fits:
                raise table.refused(
                    "period",
                    f"fits no orbit with these apsides, whose period is {clock(fits)}: read them again, or keep two of "
                    "the three.",
                )
            return low, high
        if period is None:
            raise table.error(
                f"{table.label} has no size: give two of periapsis_km, apoapsis_km and period, or a circle's "
                "period alone."
            )
        semi = float(orbits.semi_major(self.body.gm, period))
        if low is None and high is None:
            return semi, semi
        given, name = (low, "periapsis") if low is not None else (high, "apoapsis")
        other = 2.0 * semi - float(given or 0.0)
        if other <= 0.0 or (name == "periapsis") != (other >= float(given or 0.0) - 1.0):
            raise table.refused(
                "period",
                f"fits no orbit with {table.quote(name)}: its other apsis would be at {brief((other - radius) / 1e3)} "
                f"km, on the wrong side. A period {'above' if name == 'periapsis' else 'below'} "
                f"{clock(float(orbits.period(self.body.gm, float(given or 0.0))))} would be accepted.",
            )
        return min(float(given or 0.0), other), max(float(given or 0.0), other)

    def _angle(self, table: Table, low: float, high: float, at: str | None, when: float, plane: int) -> float:
        given, who, ahead = table.number("angle"), table.text("ahead_of"), table.number("ahead")
        if given is not None and who is not None:
            raise table.refused("angle", f"and {table.quote('ahead_of')} say the same in two ways: keep one.")
        if given is not None:
            return given
        if who is None or ahead is None:
            raise table.error(
                f"{table.label} does not say where it is: add angle_deg of that apsis, or ahead_of, a neighbor's name, "
                "with ahead_deg."
            )
        now = self._neighbor(table, who, plane) + ahead
        if high - low <= 1.0:
            rate = math.sqrt(self.body.gm / (0.5 * (low + high)) ** 3)
            return now - rate * (self.now_s - when)
        return now - self._anomaly(low, high, at == "apoapsis", self.now_s - when)

    def _anomaly(self, low: float, high: float, from_apoapsis: bool, after_s: float) -> float:
        """Angle swept from an apsis, rad (Kepler's equation)."""
        from ..kepler import eccentric_anomaly

        semi, eccentricity = 0.5 * (low + high), (high - low) / (high + low)
        start = math.pi if from_apoapsis else 0.0
        mean = math.remainder(start + math.sqrt(self.body.gm / semi**3) * after_s, 2.0 * math.pi)
        big = float(eccentric_anomaly(np.array([mean]), np.array([eccentricity]))[0])
        true = 2.0 * math.atan2(
            math.sqrt(1.0 + eccentricity) * math.sin(0.5 * big), math.sqrt(1.0 - eccentricity) * math.cos(0.5 * big)
        )
        return true - start

    def _neighbor(self, table: Table, who: str, plane: int) -> float:
        """Argument of latitude now of a craft that holds a place of the ring."""
        ring = self.ring
        for one in self.scenario.ring.occupied:
            if one.name == who:
                if one.plane != plane:
                    raise table.refused(
                        "ahead_of",
                        f"is in plane {one.plane}, not {plane}: give plane, or name a craft of plane {plane}.",
                    )
                if one.angle_rad is not None:
                    return one.angle_rad + ring.rate_rad_s * self.now_s
                return float(ring.phase(self.now_s, one.slot or 0, one.plane))
        for craft in self.scenario.craft:
            if craft.name == who and craft.stay and craft.orbit is not None:
                return craft.orbit.angle_rad + ring.rate_rad_s * (self.now_s - craft.orbit.at_s)
        names = [one.name for one in self.scenario.ring.occupied]
        names += [craft.name for craft in self.scenario.craft if craft.stay]
        there = f"there are: {', '.join(names)}" if names else "there is none; give angle_deg"
        raise table.refused("ahead_of", f"is no craft that holds a place of the ring ({there}).")

    def _state(self) -> tuple[Array, Array, float]:
        inside = self.table.table("state")
        kind = next((kind for kind in MESSAGES if kind in self.table), None)
        if kind is not None:
            given = given_state(self.table, kind, self.body, self.scenario.epoch, self.now_s)
            if given.time_s > self.now_s + 1e-6:
                raise self.table.refused(
                    kind,
                    f"is of {brief(given.time_s - self.now_s)} s after now ({brief(self.now_s / 3600.0)} h): give a "
                    "state that has passed, or a later now.",
                )
            return given.position, given.velocity, given.time_s
        if inside is None:
            return *state_of(self.scenario, self.table, self.now_s), self.now_s
        position = np.array([inside.number_or(axis, 0.0) for axis in ("x", "y", "z")])
        velocity = np.array([inside.number_or(f"v{axis}", 0.0) for axis in ("x", "y", "z")])
        return position, velocity, self._past(inside, "at_time")

    def _from_state(self, position: Array, velocity: Array, time_s: float) -> tuple[Orbit, float]:
        """The orbit of a state, turned into the nearest plane of the ring; and by how much it had to be turned."""
        distance, ground = float(np.linalg.norm(position)), self.body.radius_m
        if distance < ground:
            raise self.table.error(
                f"{self.table.label} puts it {brief(distance / 1e3)} km from the center, under the ground, which is at "
                f"{brief(ground / 1e3)} km; x, y and z should be counted from the center of the body."
            )
        try:
            found = [orbit_of_state(self.ring, position, velocity, time_s, plane) for plane in range(self.ring.planes)]
        except ValueError as fault:
            raise self.table.error(f"{self.table.label}: {fault}; check what was read.") from None
        orbit, tilt = min(found, key=lambda one: one[1])
        if tilt > MOST_TILT_RAD:
            raise self.table.error(
                f"{self.table.label} is tilted {brief(math.degrees(tilt), 3)} deg against the plane of the ring: at "
                f"most {brief(math.degrees(MOST_TILT_RAD))} deg would be accepted; check the axes (z along the pole)."
            )
        return orbit, tilt
