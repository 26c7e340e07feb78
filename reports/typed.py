"""Quantities as typed on a command line: a number with its unit in one text, such as ``10000km`` or ``5:47:39.7``.

A missing unit is refused, never guessed.
"""

from __future__ import annotations

import math
import re
from datetime import datetime

from ..models.errors import InputError
from ..models.reading.values import either
from ..models.readouts import clock_seconds
from ..models.units import UNITS, to_si

_NUMBER = re.compile(r"([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*)", re.DOTALL)
_EXAMPLES = {"length": "10000km", "angle": "86deg", "time": "3d", "gm": "398600km3/s2"}
_KINDS = {"length": "a length", "angle": "an angle", "time": "a time", "gm": "a gravitational parameter"}
RING = "ring"
"""Stands for the ring's own altitude among apsides."""


def quantity(text: str, kind: str, option: str) -> float:
    """Read one quantity into SI units or radians.

    Args:
        text: as typed; a time may also be h:mm:ss.
        kind: ``length``, ``angle``, ``time`` or ``gm``.

    Raises:
        InputError: no number, no unit, a unit of something else, not finite.

    >>> quantity("10000km", "length", "--ring"), quantity("5:47:39.7", "time", "--got"), quantity("3 d", "time", "")
    (10000000.0, 20859.7, 259200.0)
    >>> quantity("398600km3/s2", "gm", "--gm") == quantity("3.986e14 m^3/s^2", "gm", "--gm")
    True
    """
    given = text.strip()
    if kind == "time" and ":" in given:
        try:
            return clock_seconds(given)
        except ValueError as fault:
            raise InputError(f"{text!r} {str(fault).replace('in the key', 'behind it')}.", where=option) from None
    number = _NUMBER.fullmatch(given)
    if number is None:
        also = ", or as h:mm:ss" if kind == "time" else ""
        raise InputError(
            f"{text!r} is not {_KINDS[kind]}: write a number with its unit, such as {_EXAMPLES[kind]}{also}.",
            where=option,
        )
    size, unit = number.groups()
    known = {typed_unit(suffix): suffix for suffix in UNITS[kind]}
    if not unit:
        readings = [f"{size}{name}" for name in known]
        raise InputError(f"{text!r} has no unit: write {either(readings)}.", where=option)
    suffix = known.get(unit.replace("^", ""))
    if suffix is None:
        raise InputError(
            f"{text!r} is in {unit!r}, which is not a unit of {_KINDS[kind].split(' ', 1)[1]} here: "
            f"write it in {either(list(known))}, such as {_EXAMPLES[kind]}.",
            where=option,
        )
    value = to_si(float(size), kind, suffix)
    if not math.isfinite(value):
        raise InputError(f"{text!r} is too large: write a finite number.", where=option)
    return value


def moment(text: str, epoch: datetime | None, option: str) -> float:
    """Read a moment into seconds from the epoch: a time, or a date as texts print it or in ISO 8601, with its offset.

    Raises:
        InputError: no moment, or a date where the scenario has no epoch.

    >>> from datetime import UTC
    >>> epoch = datetime(2031, 5, 1, 6, tzinfo=UTC)
    >>> moment("90min", None, "--at"), moment("2031-05-01 07:00:00 UTC", epoch, "--at")
    (5400.0, 3600.0)
    """
    if re.match(r"\s*\d{4}-\d", text) is None:
        return quantity(text, "time", option)
    if epoch is None:
        raise InputError(f"{text!r} is a date, and the scenario has no epoch: write a time, such as 2h.", where=option)
    try:
        date = datetime.fromisoformat(re.sub(r"\s*UTC\s*$", "+00:00", text.strip()))
    except ValueError:
        date = None
    if date is None or date.tzinfo is None:
        raise InputError(f"{text!r} is no date with its offset: write it as 2031-05-01T12:00:00Z.", where=option)
    return (date - epoch).total_seconds()


def apsides(text: str, option: str) -> tuple[float | None, float | None]:
    """Read two apsides joined by an x into altitudes in m; None where the word ``ring`` stands for the ring's altitude.

    The first may leave its unit to the second; a single length is a circle.

    Raises:
        InputError: as for `quantity`, or more than two apsides.

    >>> apsides("190x10000km", "--from"), apsides("-400km x ring", "--from"), apsides("9000km", "--from")
    ((190000.0, 10000000.0), (-400000.0, None), (9000000.0, 9000000.0))
    """
    parts = [part.strip() for part in re.split("[xX]", text)]
    if len(parts) > 2 or not all(parts):
        raise InputError(
            f"{text!r} is no orbit: write periapsis and apoapsis joined by an x, such as 190x10000km.", where=option
        )
    last = _NUMBER.fullmatch(parts[-1])
    first = _NUMBER.fullmatch(parts[0])
    if last is not None and first is not None and last.group(2) and not first.group(2):
        parts[0] += last.group(2)
    if last is not None and first is not None and not last.group(2) and not first.group(2):
        raise InputError(f"{text!r} has no unit: write {text.strip()}km or {text.strip()}m.", where=option)
    values = [None if part == RING else quantity(part, "length", option) for part in parts]
    return values[0], values[-1]


def typed_unit(suffix: str) -> str:
    """A unit as it is typed behind a number.

    >>> typed_unit("km3_s2"), typed_unit("deg")
    ('km3/s2', 'deg')
    """
    return suffix.replace("_", "/")
