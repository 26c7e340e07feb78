"""What the burns of a nodal drift are: two Hohmann transfers, whose burns may turn the plane as well.

The way down turns the inclination by the lean of the waiting orbit, where the craft crosses the equator; the way up
turns whatever is left between the craft's plane and the ring's, where the two cross. Each turn is shared between the
two burns of its transfer so that their sum is least (Vallado 2013, sections 6.3 and 6.5).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from ...models import orbits, planes
from ...models.flight.integrate import Impulse
from ..problem.detail import Detail, F, Mask
from ..problem.finite_burns import NONE_M_S
from ..problem.options import Options
from ..problem.problem import Problem
from .nodal_drift_timetable import TURNED_RAD, Drifting, Timetable, Ways


@dataclass(frozen=True, kw_only=True)
class Burns:
    """The four burns of n drifts, m/s, each in the axes of the flight before it; arrays of shape (n, 4)."""

    along_m_s: F
    cross_m_s: F

    @property
    def size_m_s(self) -> F:
        """Size of each."""
        return np.hypot(self.along_m_s, self.cross_m_s)

    def impulses(self, row: int, table: Timetable) -> tuple[Impulse, ...]:
        """The burns of one drift."""
        times = (table.down_s, table.in_waiting_s, table.leave_s, table.arrive_s)
        return tuple(
            Impulse(float(time[row]), 0.0, float(self.along_m_s[row, k]), float(self.cross_m_s[row, k]))
            for k, time in enumerate(times)
        )


def burns_of(drifting: Drifting, ways: Ways, table: Timetable) -> Burns:
    """The burns of some drifts."""
    gm, ring = drifting.ring.gm, drifting.ring
    lean = ways.lean_rad - drifting.start.lean_rad
    lean = np.where(np.abs(lean) > TURNED_RAD, lean, 0.0)
    rising = np.where(lean > 0.0, 0.0, math.pi)
    down = _pair(gm, np.full(len(ways), drifting.start.radius_m), ways.waiting_m, np.abs(lean))
    up = _pair(gm, ways.waiting_m, np.full(len(ways), ring.radius_m), table.tilt_rad)
    # to the left where the plane to be turned into rises through the craft's
    first = np.where(np.cos(table.begin_angle_rad - rising) > 0.0, 1.0, -1.0)
    last = np.where(np.cos(table.angle_rad - table.cross_rad) > 0.0, 1.0, -1.0)
    signs = np.stack([first, -first, -last, last], axis=1)
    return Burns(
        along_m_s=np.concatenate([down[0], up[0]], axis=1),
        cross_m_s=signs * np.concatenate([down[1], up[1]], axis=1),
    )


def _pair(gm: float, one_m: F, other_m: F, turn_rad: F) -> tuple[F, F]:
    """Along and across of the burns at both ends of a Hohmann transfer that turns the plane; (n, 2) each."""
    semi = 0.5 * (one_m + other_m)
    before = np.stack([orbits.speed(gm, one_m, one_m), orbits.speed(gm, other_m, semi)], axis=1)
    after = np.stack([orbits.speed(gm, one_m, semi), orbits.speed(gm, other_m, other_m)], axis=1)
    shares = np.zeros(before.shape)
    turns = turn_rad > 0.0
    if turns.any():
        shares[turns] = planes.split(before[turns], after[turns], turn_rad[turns])
    return after * np.cos(shares) - before, after * np.sin(shares)


@dataclass(frozen=True, kw_only=True)
class Waits(Detail):
    """How each craft drifts: see `Ways`, and its burns, (n, 4), sizes and times, whose last is that at the ring.

    ``held`` marks the drifts that wait in the craft's own orbit until it is time to go up.
    """

    impulsive: ClassVar[bool] = True
    at_pass: ClassVar[bool] = True
    told_by: ClassVar[Mapping[str, int]] = {"waiting_m": 3, "lean_rad": 10, "held_s": 4}

    waiting_m: F
    lean_rad: F
    held_s: F
    wait_s: F
    held: Mask
    size_m_s: F
    time_s: F

    def ways(self, options: Options, rows: np.ndarray) -> Ways:
        """The drifts, ``rows`` being those of the options that this table belongs to."""
        return Ways(
            slot=options.slot[rows],
            waiting_m=self.waiting_m,
            lean_rad=self.lean_rad,
            held_s=self.held_s,
            wait_s=self.wait_s,
        )

    def burns(self, problem: Problem, options: Options, size_m_s: F, time_s: F) -> tuple[F, F]:
        """Two Hohmann transfers, into the waiting orbit and out of it."""
        size, time = np.zeros(size_m_s.shape), np.full(time_s.shape, np.nan)
        # none of the four is left out, however small
        size[:, :4], time[:, :4] = np.maximum(self.size_m_s, 2.0 * NONE_M_S), self.time_s
        return size, time
