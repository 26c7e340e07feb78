"""When to trim so that a craft keeps its slot: changes of its rate by a forecast, each made as late as it can be.

A trim along the track changes a craft's rate for good, by 3 n dv / v against the burn's sign (Kepler's third law and
vis-viva, to first order). From the forecast of an error without trims the line of constant rate is taken off that keeps
what is left within a band for longest; where no line does any more the next trim comes.
"""

from __future__ import annotations

import math

import numpy as np

from ...models.arrays import Array
from ...models.ring import Ring
from ..standing import Trim

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
    return math.fsum(abs(one.along_m_s) for one in trims) * 365.25 * 86_400.0 / over_s
