"""When to trim so that a craft keeps its slot: changes of its rate by a forecast, each made as late as it can be.

A trim along the track changes a craft's rate for good, by 3 n dv / v against the burn's sign (Kepler's third law and
vis-viva, to first order). From the forecast of an error without trims the line of constant rate is taken off that keeps
what is left within a band for longest; where no line does any more the next trim comes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ...models.arrays import Array
from ...models.ring import Ring
from ...models.units import YEAR_S
from ..standing import Trim

POINTS_A_CYCLE = 24
"""Times between two trims of the craft that drifts fastest: its turn is then met to a hundredth of the band."""

STEADY_RAD_S2 = 1e-18
"""An acceleration in longitude that moves a craft by less than a degree in five years."""

TRIMS_MAX = 1000
"""More trims than this in the time examined are not counted on."""


def schedule(
    craft: str, ring: Ring, times_s: Array, error_rad: Array, band_rad: float
) -> tuple[tuple[Trim, ...], Array]:
    """Trims that keep an error within a band on either side, and the error that is left, (m,).

    Args:
        craft: whose.
        ring: for its rate and speed.
        times_s: (m,) of the forecast, rising.
        error_rad: (m,) craft less slot, without trims.
        band_rad: on either side. An error outside it at the beginning is brought back over the first stretch, within
            which the band counts from where the line enters it.
    """
    trims: list[Trim] = []
    left = error_rad.copy()
    begin, taken, slope_before = 0, 0.0, 0.0
    while begin < times_s.size - 1 and len(trims) < TRIMS_MAX:
        ahead = times_s[begin + 1 :] - times_s[begin]
        gap = error_rad[begin + 1 :] - taken
        # what is outside at first may stay outside by as much, falling in proportion over a stretch as long as needed
        room = np.maximum(band_rad, abs(error_rad[begin] - taken) * (1.0 - ahead / ahead[-1]))
        least = np.maximum.accumulate((gap - room) / ahead)
        most = np.minimum.accumulate((gap + room) / ahead)
        within = int(np.searchsorted(least > most, True))
        last = max(within - 1, 0)
        slope = 0.5 * float(least[last] + most[last])
        # a line that serves as it is needs no trim
        if within == ahead.size and least[-1] <= slope_before <= most[-1]:
            slope = slope_before
        if slope != slope_before:
            burn = (slope - slope_before) * ring.speed_m_s / (3.0 * ring.rate_rad_s)
            trims.append(Trim(craft=craft, time_s=float(times_s[begin]), along_m_s=burn))
        count = last + 1
        left[begin + 1 : begin + 1 + count] = gap[:count] - slope * ahead[:count]
        taken += slope * float(ahead[last])
        slope_before = slope
        begin += count
    return tuple(trims), left


def yearly_m_s(trims: tuple[Trim, ...], over_s: float) -> float:
    """Sum of the burns of some trims, m/s in a year of 365.25 days, over the time that they cover."""
    return math.fsum(abs(one.along_m_s) for one in trims) * YEAR_S / over_s


def east_west(
    names: Sequence[str],
    ring: Ring,
    drift_rad_s2: Array,
    error_rad: Array,
    begin_s: float,
    end_s: float,
    band_rad: float,
) -> tuple[Array, Array, tuple[Trim, ...]]:
    """Trims that keep craft over their longitudes against a steady acceleration: the closed form.

    From one edge of the band a trim sends a craft up to the other, where it turns back: 4 sqrt(band / drift) pass until
    the next, and trims add up to drift v / (3 n) a second, whatever the band (Soop 1994, section 6.3). What Sun, Moon
    and light do to the longitude within a month, and how the drift differs over the band, is left out.

    Args:
        names: of the craft (n,).
        drift_rad_s2: (n,) accelerations in longitude.
        error_rad: (n,) at the beginning, where craft are at rest against their slots.
        band_rad: on either side.

    Returns:
        Times (m,), what is left of the errors (m, n), and the trims of all craft, in order of time; the times end where
        a craft would need more than `TRIMS_MAX`.
    """
    shortest = 4.0 * math.sqrt(band_rad / max(float(np.max(np.abs(drift_rad_s2))), STEADY_RAD_S2))
    step = shortest / POINTS_A_CYCLE
    end_s = min(end_s, begin_s + TRIMS_MAX * shortest)
    times = np.linspace(begin_s, end_s, max(2, math.ceil((end_s - begin_s) / step) + 1))
    left = np.empty((times.size, len(names)))
    trims: list[Trim] = []
    for k, name in enumerate(names):
        forecast = error_rad[k] + 0.5 * drift_rad_s2[k] * (times - begin_s) ** 2
        own, left[:, k] = schedule(name, ring, times, forecast, band_rad)
        trims.extend(own)
    return times, left, tuple(sorted(trims, key=lambda trim: trim.time_s))
