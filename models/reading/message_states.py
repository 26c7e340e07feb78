"""A state out of an orbit message, in the base frame of a scenario and seconds from its epoch.

Clocks: TAI is UTC plus the leap seconds announced, TT is TAI plus 32.184 s, GPS is TAI less 19 s, and TDB is TT plus
the periodic terms of ERFA's ``dtdb`` for the geocenter. Frames: ``models/standard_frames.py``. Between the lines of an
ephemeris its own method of interpolation is used, by scipy, Hermite of degree 7 where it names none.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Literal, NamedTuple

import numpy as np

from .. import bodies
from ..arrays import Array
from ..errors import InputError
from ..flight.ephemeris import J2000_JD, base_axes
from ..printable import printable, shortened
from ..readouts import brief
from ..scenario import Body
from ..standard_frames import EARTH_FRAMES, FRAMES, axes_on_icrf
from .document import Table
from .orbit_messages import STATE_KEYS, Clock, Message, Segment, clock_value, number_of, read_message
from .values import either

CLOCKS = ("UTC", "TAI", "TT", "TDB", "GPS")
"""Time systems that are read."""

TAI_FROM_GPS_S = 19.0
"""IS-GPS-200, and the leap seconds of 1980-01-06."""

SAME_MOMENT_S = 1e-6
"""So near to a line of an ephemeris that line is taken as it stands."""

METHODS = ("HERMITE", "LAGRANGE", "LINEAR")
DEGREE = 7


class GivenState(NamedTuple):
    """Where a craft is by a message: position, m, and velocity, m/s, in the base frame, when, s from the epoch.

    ``maneuvers`` counts those that the message plans; ``mass_kg`` is None where it states none.
    """

    position: Array
    velocity: Array
    time_s: float
    maneuvers: int = 0
    mass_kg: float | None = None


def given_state(
    table: Table, kind: Literal["opm", "oem"], body: Body, epoch: datetime | None, at_s: float | None
) -> GivenState:
    """The state in a message that a table names.

    Args:
        table: with the path of the message under ``kind``; it counts from the folder of the table's own file.
        at_s: moment asked for, s from the epoch, of an ephemeris; None: the epoch. A parameter message has its own.

    Raises:
        InputError: there is no epoch or no body of the solar system, or the message cannot be used.
    """
    if epoch is None or body.name.lower() not in bodies.body_names():
        why = (
            "needs a scenario with an epoch, from which its times are counted: add epoch at the top"
            if epoch is None
            else f"is about a body of the solar system, and {body.name} is a world of your own: give orbit"
        )
        raise table.refused(kind, f": an orbit message {why}.")
    path = Path(table.origin.file).parent / (table.text(kind) or "")
    message = read_message(path, "OPM" if kind == "opm" else "OEM")
    reader = _States(message, body, epoch)
    return reader.of_parameters() if kind == "opm" else reader.of_ephemeris(0.0 if at_s is None else at_s)


class _States:
    def __init__(self, message: Message, body: Body, epoch: datetime) -> None:
        self.message, self.body, self.epoch = message, body, epoch

    def of_parameters(self) -> GivenState:
        [segment] = self.message.segments
        state = np.array([number_of(self.message, segment, key) for key in STATE_KEYS])
        time_s = self._elapsed(segment, clock_value(self.message, segment, "EPOCH"), segment.values["EPOCH"].line)
        mass = number_of(self.message, segment, "MASS") if "MASS" in segment.values else None
        return self._given(segment, state, time_s)._replace(maneuvers=self.message.maneuvers, mass_kg=mass)

    def of_ephemeris(self, at_s: float) -> GivenState:
        spans = []
        chosen = None
        for segment in self.message.segments:
            times = self._times(segment)
            first, last = (self._edge(segment, key, times) for key in ("START_TIME", "STOP_TIME"))
            spans.append((first, last))
            # where two segments meet, at a burn, the later one is after it
            if first - SAME_MOMENT_S <= at_s <= last + SAME_MOMENT_S:
                chosen = segment, times
        if chosen is None:
            first, last = min(one for one, _ in spans), max(one for _, one in spans)
            gap = " (with gaps)" if len(spans) > 1 else ""
            raise self.message.error(
                f"the ephemeris has no state {brief(at_s / 3600.0)} h from the epoch, the moment asked for: it goes "
                f"from {brief(first / 3600.0)} h to {brief(last / 3600.0)} h{gap}; a moment within that would be "
                "accepted."
            )
        segment, times = chosen
        states = np.array([row for _, _, row in segment.rows])
        return self._given(segment, self._interpolated(segment, times, states, at_s), at_s)

    def _refused(self, segment: Segment, key: str, problem: str) -> InputError:
        """An error about the value of a keyword, which begins the sentence."""
        value = segment.values[key]
        shown = shortened(printable(value.text), 40)
        return self.message.error(f"{key} = {shown}{'' if problem[0] == ',' else ' '}{problem}", value.line)

    def _edge(self, segment: Segment, key: str, times: Array) -> float:
        """Where the usable part of a segment begins or ends, s, never beyond its lines."""
        usable = f"USEABLE_{key}"
        name = usable if usable in segment.values else key
        moment = self._elapsed(segment, clock_value(self.message, segment, name), segment.values[name].line)
        return max(moment, float(times[0])) if key == "START_TIME" else min(moment, float(times[-1]))

    def _times(self, segment: Segment) -> Array:
        times = np.array([self._elapsed(segment, moment, line) for line, moment, _ in segment.rows])
        back = np.flatnonzero(np.diff(times) <= 0.0)
        if back.size:
            raise self.message.error(
                "this line is not later than the one before it: lines of an ephemeris should rise in time.",
                segment.rows[int(back[0]) + 1][0],
            )
        return times

    def _interpolated(self, segment: Segment, times: Array, states: Array, at_s: float) -> Array:
        nearest = int(np.argmin(np.abs(times - at_s)))
        if abs(float(times[nearest]) - at_s) <= SAME_MOMENT_S:
            return np.asarray(states[nearest])
        method = segment.values["INTERPOLATION"].text.upper() if "INTERPOLATION" in segment.values else METHODS[0]
        if method not in METHODS:
            known = f"{either(list(METHODS))} would be accepted, or a moment that has a line."
            raise self._refused(segment, "INTERPOLATION", f"is not known here: {known}")
        degree = self._degree(segment)
        count = {"HERMITE": (degree + 2) // 2, "LAGRANGE": degree + 1, "LINEAR": 2}[method]
        if times.size < 2:
            raise self.message.error("there is a single line of ephemeris: give its own moment.", segment.rows[0][0])
        count = min(max(count, 2), times.size)
        after = int(np.searchsorted(times, at_s))
        first = min(max(after - count // 2, 0), times.size - count)
        chosen = slice(first, first + count)
        return _between(method, times[chosen] - at_s, states[chosen])

    def _degree(self, segment: Segment) -> int:
        value = segment.values.get("INTERPOLATION_DEGREE")
        if value is None:
            return DEGREE
        if not value.text.isdecimal() or not 1 <= int(value.text[:9]) <= 30:
            raise self._refused(segment, "INTERPOLATION_DEGREE", "should be a whole number from 1 to 30.")
        return int(value.text)

    def _elapsed(self, segment: Segment, moment: Clock, line: int) -> float:
        system = segment.values["TIME_SYSTEM"]
        name = system.text.upper()
        if name not in CLOCKS:
            said = f"cannot be read here: {either(list(CLOCKS))} would be accepted."
            raise self._refused(segment, "TIME_SYSTEM", said)
        try:
            return elapsed_s(moment, name, self.epoch)
        except OverflowError:
            raise self.message.error("that date is beyond all that can be counted.", line) from None

    def _given(self, segment: Segment, state_km: Array, time_s: float) -> GivenState:
        center = segment.values["CENTER_NAME"]
        if center.text.upper() != self.body.name.upper():
            name = self.body.name
            said = f", but the scenario is about {name}: a state about the center of {name} would be accepted."
            raise self._refused(segment, "CENTER_NAME", said)
        frame = segment.values["REF_FRAME"]
        known = EARTH_FRAMES if self.body.name.lower() == "earth" else FRAMES
        name = frame.text.upper()
        if name not in known:
            said = f"{either(list(known))} would be accepted; frames that turn with the ground are not."
            raise self._refused(segment, "REF_FRAME", f"cannot be read here: {said}")
        of_frame = time_s
        if "REF_FRAME_EPOCH" in segment.values:
            of_frame = self._elapsed(segment, clock_value(self.message, segment, "REF_FRAME_EPOCH"), frame.line)
        days = bodies.terrestrial_days(self.epoch) + of_frame / 86_400.0
        turn = base_axes(self.body.name, self.epoch) @ axes_on_icrf(name, days).T
        state = state_km * 1e3
        return GivenState(turn @ state[:3], turn @ state[3:], time_s)


def _between(method: str, times: Array, states: Array) -> Array:
    """A state at time 0 between nodes (n,) with states (n, 6)."""
    from scipy.interpolate import KroghInterpolator

    scale = float(np.ptp(times))
    x = times / scale
    if method == "HERMITE":
        twice = np.repeat(x, 2)
        values = np.empty((twice.size, 3))
        values[0::2], values[1::2] = states[:, :3], states[:, 3:] * scale
        position, slope = KroghInterpolator(twice, values).derivatives(0.0, 2)
        return np.concatenate([position, slope / scale])
    return np.asarray(KroghInterpolator(x, states)(0.0))


def elapsed_s(moment: Clock, system: str, epoch: datetime) -> float:
    """Seconds from an epoch to a moment on a clock of one of :data:`CLOCKS`.

    >>> elapsed_s(Clock(datetime(2017, 1, 1), 0.0), "UTC", datetime(2016, 12, 31, 23, 59, 59, tzinfo=UTC))
    2.0
    >>> round(elapsed_s(Clock(datetime(2031, 5, 1, 0, 1), 9.184), "TT", datetime(2031, 5, 1, tzinfo=UTC)), 6)
    0.0
    """
    start = epoch.astimezone(UTC).replace(tzinfo=None)
    apart = (moment.minute - start).total_seconds() + moment.seconds
    # from what the clock shows to TAI
    offset = {"TAI": 0.0, "TT": -bodies.TT_FROM_TAI_S, "TDB": -bodies.TT_FROM_TAI_S, "GPS": TAI_FROM_GPS_S}
    own = offset[system] if system in offset else float(bodies.tai_from_utc_s(moment.minute.replace(tzinfo=UTC)))
    if system == "TDB":
        import erfa

        days = (moment.minute + timedelta(seconds=moment.seconds) - datetime(2000, 1, 1, 12)).total_seconds() / 86_400.0
        own -= float(erfa.dtdb(J2000_JD, days, 0.0, 0.0, 0.0, 0.0))
    return apart + own - bodies.tai_from_utc_s(epoch)
