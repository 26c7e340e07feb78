"""Mean orbits followed over years: steps in time by the averaged equations."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..arrays import Array
from ..deadline import poll
from .adams import Past
from .averaged import AveragedForces, MeanOrbits
from .forces import Surfaces

MANY = 12
"""Steps from which on even ones are taken by the formulas of Adams, which first need some of the others."""
SINK_SHARE, SINK_LEAST_M = 0.05, 200.0
"""Share of its height above the floor that a craft may sink in a step, and the least."""


@dataclass(frozen=True, kw_only=True)
class Track:
    """Mean orbits at times, until the first craft is down or the time is over.

    Args:
        times_s: (m,).
        rows: (m, 11, n), see `MeanOrbits.packed`.
        start: the first of them.
        down: index of the craft that is down at the last of the times, None where all stay up.
    """

    times_s: Array
    rows: Array
    start: MeanOrbits
    down: int | None

    def at(self, index: int) -> MeanOrbits:
        """Mean orbits at one of the times."""
        return self.start.unpacked(self.rows[index])


def follow(forces: AveragedForces, start: MeanOrbits, surfaces: Surfaces, from_s: float, to_s: float) -> Track:
    """Follow mean orbits from a moment to another (either way), by the formulas of Adams in half steps where steps are
    even and many, in steps of Runge and Kutta of fourth order where not.
    """
    way = math.copysign(1.0, to_s - from_s)
    times, rows = [from_s], [start.packed()]
    now, here, down = from_s, start, None
    past = Past(
        lambda rows, time_s: forces.rates(start.unpacked(rows), time_s, surfaces),
        lambda rows, time_s, step_s, first: stepped(
            forces, start.unpacked(rows), surfaces, time_s, step_s, first
        ).packed(),
    )
    many = abs(to_s - from_s) > MANY * forces.step_s
    while way * (to_s - now) > 0.0 and down is None:
        poll()
        first = past.last(rows[-1], now)
        step = min(forces.step_s, way * (to_s - now))
        height, sinking = here.periapsis_m - forces.floor_m, -first[0] * way
        if np.any(sinking > 0.0):
            room = np.maximum(SINK_SHARE * height, SINK_LEAST_M)
            step = min(step, float(np.min(room[sinking > 0.0] / sinking[sinking > 0.0])))
        if many and step == forces.step_s:
            half = 0.5 * way * step
            middle = past.stepped(rows[-1], now, half)
            here = start.unpacked(past.stepped(start.unpacked(middle).packed(), now + half, half))
        else:
            here = stepped(forces, here, surfaces, now, way * step, first)
            past.forget()
        now += way * step
        times.append(now)
        rows.append(here.packed())
        lowest = int(np.argmin(here.periapsis_m))
        # written so that an orbit that is none any more is down, too
        if not here.periapsis_m[lowest] > forces.floor_m:
            down = lowest
    return Track(times_s=np.array(times), rows=np.array(rows), start=start, down=down)


def stepped(
    forces: AveragedForces, here: MeanOrbits, surfaces: Surfaces, now: float, step: float, first: Array
) -> MeanOrbits:
    """Mean orbits a step of Runge and Kutta of fourth order later, from the rates at its beginning."""
    rows = here.packed()
    second = forces.rates(here.unpacked(rows + 0.5 * step * first), now + 0.5 * step, surfaces)
    third = forces.rates(here.unpacked(rows + 0.5 * step * second), now + 0.5 * step, surfaces)
    fourth = forces.rates(here.unpacked(rows + step * third), now + step, surfaces)
    return here.unpacked(rows + step / 6.0 * (first + 2.0 * second + 2.0 * third + fourth))
