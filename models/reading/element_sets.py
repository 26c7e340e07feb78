"""Two-line element sets: where such a craft is, by the sgp4 library (Vallado and others 2006, AIAA 2006-6753).

The library's frame has the true equator and the mean equinox of date (TEME), see ``models/standard_frames.py``.
"""

from __future__ import annotations

from datetime import UTC, timedelta

import numpy as np

from ..arrays import Array
from ..bodies import terrestrial_days
from ..flight.ephemeris import base_axes
from ..scenario import Scenario
from ..standard_frames import axes_on_icrf
from .document import Table

OLDEST_D = 30.0
"""Elements farther than this from the moment asked for say little about it."""


def state_of(scenario: Scenario, table: Table, now_s: float) -> tuple[Array, Array]:
    """State now, m and m/s in the scenario's frame, of the element set of a craft's table.

    Raises InputError where there is no Earth or no epoch, or where the lines cannot be used.
    """
    lines = table.texts("elements")
    if scenario.body.name.lower() != "earth" or scenario.epoch is None:
        what = "is around Earth only" if scenario.epoch is not None else "needs a scenario with an epoch"
        raise table.error(f"{table.label}.elements: a two-line element set {what}; give orbit or state.", "elements")
    if len(lines) != 2 or any(len(line) != 69 or line[0] != str(n) for n, line in enumerate(lines, start=1)):
        raise table.error(
            f"{table.label}.elements should be both lines whole, 69 characters each, beginning with 1 and 2.",
            "elements",
        )
    from sgp4.api import Satrec, jday
    from sgp4.io import verify_checksum

    try:
        verify_checksum(*lines)
        satellite = Satrec.twoline2rv(*lines)
    except (ValueError, IndexError) as fault:
        raise table.error(
            f"{table.label}.elements cannot be read ({str(fault).splitlines()[0][:80]}): copy both lines whole, 69 "
            "characters each.",
            "elements",
        ) from None
    when = (scenario.epoch + timedelta(seconds=now_s)).astimezone(UTC)
    day, part = jday(when.year, when.month, when.day, when.hour, when.minute, when.second + when.microsecond * 1e-6)
    age = abs(day + part - satellite.jdsatepoch - satellite.jdsatepochF)
    if not age <= OLDEST_D:
        raise table.error(
            f"{table.label}.elements are {age:.1f} d away from now: elements within {OLDEST_D:g} d would be accepted.",
            "elements",
        )
    code, position, velocity = satellite.sgp4(day, part)
    if code:
        raise table.error(
            f"{table.label}.elements lead to no orbit now (error {code} of the sgp4 library): use newer elements.",
            "elements",
        )
    turn = base_axes(scenario.body.name, scenario.epoch) @ axes_on_icrf("TEME", terrestrial_days(when)).T
    return turn @ (np.array(position) * 1e3), turn @ (np.array(velocity) * 1e3)
