"""The lines of CCSDS orbit messages in keyword-value notation (502.0-B-3, section 7): names, comments, numbers, times.

Lines hold printable ASCII alone and at most 254 characters; a number has at most 16 digits. What a name has beyond
ASCII is written by its number in Unicode.
"""

from __future__ import annotations

import os
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from ...models import bodies
from ...models.arrays import Array
from ...models.flight.ephemeris import base_axes
from ...models.printable import printable, shortened
from ...models.scenario import Scenario
from ...models.standard_frames import standard_frame
from ...optimizer.outcome import Outcome, Plan
from ..safe_text import spelled

ORIGINATOR = "RINGWRIGHT"
UNKNOWN = "UNKNOWN"
"""What the standard has written for an object that no index lists."""

_ASCII = frozenset(range(0x20, 0x7F))
_COMMENT_WIDTH = 96
_NAME_MAX = 100
_DIGITS = 16


@dataclass(frozen=True, kw_only=True, eq=False)
class Setting:
    """In which frame and time system messages are written.

    Args:
        center: name of the body.
        frame: the standard's name of the frame.
        axes: (3, 3) rows of the base frame on it.
        system: ``UTC``, or ``TAI`` where a leap second falls into the plan.
        start: the epoch, as the clock of that system shows it.
        created: when the messages are written, UTC.
    """

    center: str
    frame: str
    axes: Array
    system: str
    start: datetime
    created: datetime

    def time(self, time_s: float) -> str:
        """A moment, whole microseconds.

        >>> from numpy import eye
        >>> when = datetime(2031, 5, 1, tzinfo=UTC)
        >>> setting = Setting(center="EARTH", frame="GCRF", axes=eye(3), system="UTC", start=when, created=when)
        >>> setting.time(61.5)
        '2031-05-01T00:01:01.500000'
        """
        moment = self.start + timedelta(microseconds=round(time_s * 1e6))
        return moment.replace(tzinfo=None).isoformat(timespec="microseconds")

    def turned(self, states: Array) -> Array:
        """States (n, 6), m and m/s in the base frame, as kilometers and km/s in the frame of the messages."""
        from numpy import concatenate

        return concatenate([states[:, :3] @ self.axes, states[:, 3:] @ self.axes], axis=1) * 1e-3


def no_message(scenario: Scenario) -> str:
    """Why there can be no orbit messages about a scenario, in words; empty where there can be."""
    if scenario.body.name.lower() not in bodies.body_names():
        return (
            f"{scenario.body.name} is a world of the scenario's own, and the standard knows bodies of the solar "
            "system only"
        )
    if scenario.epoch is None:
        return "the scenario has no epoch, so that no date belongs to its times and no standard frame to its axes"
    return ""


def setting_of(scenario: Scenario, last_s: float) -> Setting:
    """Frame and time system for a scenario that messages can be written about.

    Args:
        last_s: the last moment that is written.
    """
    if scenario.epoch is None:
        raise ValueError("messages need an epoch")
    epoch = scenario.epoch.astimezone(UTC)
    offset = bodies.tai_from_utc_s(epoch)
    leaps = bodies.tai_from_utc_s(epoch + timedelta(seconds=last_s)) != offset
    return Setting(
        center=scenario.body.name.upper(),
        frame=standard_frame(scenario.body.name),
        axes=base_axes(scenario.body.name, epoch),
        system="TAI" if leaps else "UTC",
        start=epoch + timedelta(seconds=offset) if leaps else epoch,
        created=created(),
    )


def created() -> datetime:
    """Now, or the moment of the variable SOURCE_DATE_EPOCH (reproducible-builds.org), whole seconds, UTC."""
    given = os.environ.get("SOURCE_DATE_EPOCH", "")
    if given.isdecimal() and len(given) < 12:
        return datetime.fromtimestamp(int(given), UTC)
    return datetime.now(UTC).replace(microsecond=0)


def frame_comments(scenario: Scenario, setting: Setting, forces: Sequence[str] = ()) -> list[str]:
    """What the frame and the times are, and what was flown: ``forces`` besides the body and its bulge, in words."""
    if setting.frame == "GCRF":
        turned = (
            "Turned from the axes of the plan, the celestial intermediate pole and origin of the epoch (IAU "
            "2006/2000A), which stand still; UT1 does not enter."
        )
    else:
        turned = (
            "Turned from the axes of the plan, which stand still: the pole and equator of the body at the epoch (IAU "
            "WGCCRE), to the axes of the ICRF about its center."
        )
    found = [turned]
    if setting.system == "TAI":
        found.append(
            "A leap second falls into the plan, so that times are TAI; the plan counts on from UTC without it."
        )
    oblate = scenario.body.j2 != 0.0
    model = "a point mass with the second zonal harmonic" if oblate else "a point mass"
    gm = f"{scenario.body.gm * 1e-9:.12g} km**3/s**2"
    bulge = f", J2 {scenario.body.j2:.12g}, radius {scenario.body.j2_radius_m * 1e-3:.12g} km" if oblate else ""
    more = f"Besides: {', '.join(forces)}." if forces else "Other bodies, drag and sunlight are left out."
    found.append(f"Flown under {model}: GM {gm}{bulge}. {more}")
    return found


def ascii_text(text: str, most: int = _NAME_MAX) -> str:
    """A text as a value of a message: printable ASCII, single blanks, no brackets, which would be units.

    >>> ascii_text("Löffel [km]"), ascii_text("水"), ascii_text("a\\tb"), ascii_text("_")
    ('L(U+00F6)ffel (km)', '(U+6C34)', 'a\\\\tb', '_')
    """
    plain = " ".join(spelled(printable(text), _ASCII).split())
    return shortened(plain.replace("[", "(").replace("]", ")"), most) or UNKNOWN


def comments(*texts: str) -> list[str]:
    """Comment lines."""
    found: list[str] = []
    for text in texts:
        plain = ascii_text(text, 2000)
        found += [f"COMMENT {line}" for line in textwrap.wrap(plain, _COMMENT_WIDTH)]
    return found


def plan_remarks(outcome: Outcome, plan: Plan) -> list[str]:
    """Of which plan a message is, and what that is worth."""
    broken = ["THIS PLAN BREAKS A LIMIT: DO NOT FLY IT AS IT IS."] if plan.broken else []
    return [f"Plan {plan.rank} of: {outcome.scenario.title}", *broken, "A planning aid, not flight software."]


def header(kind: str, setting: Setting, remarks: Sequence[str]) -> list[str]:
    """The first lines of a message: ``kind`` OEM or OPM."""
    return [
        f"CCSDS_{kind}_VERS = 3.0",
        *comments(*remarks),
        f"CREATION_DATE = {setting.created.replace(tzinfo=None).isoformat()}",
        f"ORIGINATOR = {ORIGINATOR}",
        "",
    ]


def about(name: str, setting: Setting) -> list[str]:
    """The metadata that both kinds of messages share."""
    return [
        f"OBJECT_NAME = {ascii_text(name)}",
        f"OBJECT_ID = {UNKNOWN}",
        f"CENTER_NAME = {setting.center}",
        f"REF_FRAME = {setting.frame}",
        f"TIME_SYSTEM = {setting.system}",
    ]


def fixed(value: float, places: int) -> str:
    """A number with a point, of at most 16 digits.

    >>> fixed(-6655.9942, 9), fixed(-0.0, 3), fixed(123456789012.5, 9)
    ('-6655.994200000', '0.000', '123456789012.5000')
    """
    whole = len(str(int(abs(value))))
    text = f"{value:.{max(1, min(places, _DIGITS - whole))}f}"
    return text.lstrip("-") if not text.strip("-0.") else text


def floating(value: float) -> str:
    """A number with an exponent, of 13 digits.

    >>> floating(-1.5e-7), floating(-0.0)
    ('-1.500000000000e-07', '0.000000000000e+00')
    """
    return f"{value + 0.0:.12e}"
