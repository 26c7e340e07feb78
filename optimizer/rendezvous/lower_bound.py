"""What no flight can beat: a proved lower bound on the delta-v of a craft on the ring into its slot in its time.

It holds for every flight in the field of a point mass, with impulses or with continuous thrust, in the ring's plane or
out of it, that begins on the ring's circle and ends in the slot, moving with it, within the allowed time; floors and
ceilings only make flights dearer. ``lower_bounds.csv`` holds functions whose rate (``bound_rates.py``) is proved to be
at most one, each for a range of leads over time and all times from a least one on: ``tests/optimizer/rendezvous`` finds
them and proves each by branch and bound.

Windings: the flight may come into the slot a turn later or sooner, so the least over all leads that differ by whole
turns counts. A lead beyond the table costs at least what the largest rate of straight functions says.

Out of the plane: measured in a frame that turns about the radius alone (Hansen's ideal frame), the orbit follows the
same equations whatever the burns across the plane do, and its pole moves by r / h per unit of impulse. When the pole is
back, the frame has turned by the area that the pole went round, which for a path of length P is at most
2 pi - sqrt(4 pi^2 - P^2) (isoperimetric inequality of the sphere; Osserman 1978, Bull. AMS 84:1182, from memory). So
the flight is one in the plane for a lead that differs by no more than that.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from ...models.arrays import Array
from .bound_domain import MARGIN, orbit_extent, straight_functions
from .bound_rates import values

TABLE = Path(__file__).with_name("lower_bounds.csv")
FAR_CAP = 0.22
"""Cost, in circular speeds, up to which a lead beyond the table is bounded."""


@dataclass(frozen=True, kw_only=True)
class Bound:
    """A function F and what it is valid for. Units: ring radius 1, circular speed 1.

    Args:
        lead: range of the lead over the allowed time, radians a radian, both of one sign or zero.
        turns: the least allowed time in ring periods; any longer one will do.
        cap: F bounds flights that cost no more than this.
        coefficients: of F, as ``bound_rates.MONOMIALS`` has them.
    """

    lead: tuple[float, float]
    turns: float
    cap: float
    coefficients: tuple[float, ...]

    @property
    def k_most(self) -> float:
        return 1.0 / (2.0 * np.pi * self.turns)

    def least(self, lead: Array | float) -> Array:
        """What every flight that ends in the slot on the winding of this lead costs at least, in circular speeds."""
        start = np.asarray(values(self.coefficients, 0.0, -np.asarray(lead, dtype=np.float64), 0.0))
        return np.clip(start * (1.0 - MARGIN), 0.0, self.cap)


@cache
def proved_bounds() -> tuple[Bound, ...]:
    """The table."""
    found = []
    with TABLE.open(encoding="utf-8", newline="") as file:
        for row in list(csv.reader(file))[1:]:
            numbers = [float(cell) for cell in row]
            found.append(
                Bound(lead=(numbers[0], numbers[1]), turns=numbers[2], cap=numbers[3], coefficients=tuple(numbers[4:]))
            )
    return tuple(found)


@cache
def turned_by_leaving_the_plane(cap: float) -> float:
    """By how much leaving the ring's plane and coming back can change a lead, for flights of at most this cost, rad."""
    g, e = orbit_extent(0.5 * cap)
    path = cap / (1.0 - g) * math.sqrt((1.0 + e) / (1.0 - e)) * (1.0 + MARGIN)
    return (2.0 * math.pi - math.sqrt(4.0 * math.pi**2 - path * path)) * (1.0 + MARGIN)


@cache
def _far(turns: float) -> float:
    """Cost per lead (radians a radian) of a lead of any size, up to ``FAR_CAP``, for times no shorter than this."""
    g, e = orbit_extent(0.5 * FAR_CAP)
    return float(straight_functions(g, e, 1.0 / (2.0 * math.pi * turns))[:, 1].max()) * (1.0 - MARGIN)


def _piece(bound: Bound, near: float, far: float) -> float:
    """Least of a function of the table over leads of both ends' sign: at the middle, less the most it can fall."""
    middle, half = 0.5 * (near + far), 0.5 * abs(far - near)
    most = max(abs(near), abs(far))
    straight, curved, third = (bound.coefficients[place] for place in (1, 4, 9))
    fall = half * (abs(straight) + 2.0 * abs(curved) * most + 3.0 * abs(third) * most * most)
    return max(float(bound.least(middle)) - fall * (1.0 + MARGIN), 0.0)


def _in_class(lead: float, time: float, turns: float) -> float:
    """Bound for one winding from the functions for at least so many turns; lead and time in radians."""
    size, sign = abs(lead), math.copysign(1.0, lead)
    here = [one for one in proved_bounds() if one.turns == turns and one.lead[1] * sign > 0.0]
    here.sort(key=lambda one: abs(one.lead[1]))
    cap = next((one.cap for one in here if abs(one.lead[1]) * time >= size), FAR_CAP)
    # the cap of the next range, which the lead may reach into, is larger; a flight dearer than the cap needs no bound
    off = turned_by_leaving_the_plane(cap)
    near, far = max(size - off, 0.0) / time, (size + off) / time
    pieces, reached = [cap], near
    for one in here:
        low, high = max(near, abs(one.lead[0])), min(far, abs(one.lead[1]))
        if low <= min(high, reached):
            pieces.append(_piece(one, sign * low, sign * high))
            reached = high
    if reached < far:
        pieces.append(_beyond(size, time, turns))
    return min(pieces)


def least_of_any_flight(lead_rad: float, turns: float) -> float:
    """What every flight into the slot costs at least, in units of the ring's circular speed.

    Args:
        lead_rad: how far the slot is ahead of the craft, negative behind; whole turns make no difference.
        turns: the allowed time in ring periods.

    Returns:
        The bound; 0 where nothing is proved, as for times below the least of the table.

    >>> round(least_of_any_flight(math.radians(30.0), 5.0), 4)
    0.011
    """
    classes = sorted({one.turns for one in proved_bounds() if one.turns <= turns})
    if not classes or not math.isfinite(lead_rad):
        return 0.0
    lead, time = math.remainder(lead_rad, 2.0 * math.pi), 2.0 * math.pi * turns
    largest = max(abs(one.lead[1]) for one in proved_bounds())
    windings = math.ceil(largest * turns) + 2
    leads = sorted((lead + 2.0 * math.pi * winding for winding in range(-windings, windings + 1)), key=abs)
    found = math.inf
    for one in leads:
        # all of the rest are farther still, and cost at least what this says of this one
        if _beyond(abs(one), time, classes[-1]) >= found:
            break
        found = min(found, max(_in_class(one, time, least) for least in classes))
    return found


def _beyond(size: float, time: float, turns: float) -> float:
    """Bound for one winding by straight functions, which grows with the size of the lead."""
    near = max(size - turned_by_leaving_the_plane(FAR_CAP), 0.0) / time
    return min(FAR_CAP, _far(turns) * near)
