"""From one plane of the ring into another by a burn where the two cross: dear, and at once.

Planes of one inclination whose nodes lie apart cross on one line; at each of its two ends a craft on the ring may turn
its velocity into the other plane (Vallado 2013, section 6.4). The argument of latitude counts from another node then.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ...models import frames
from ...models.ring import Ring
from ..problem.in_space import Standing


@dataclass(frozen=True, kw_only=True)
class Crossing:
    """Where a craft on the ring may turn into another plane.

    Args:
        time_s: when it next comes by.
        angle_before_rad, angle_after_rad: argument of latitude then, in its own plane and in the other.
        turn_rad: angle between the planes.
    """

    time_s: float
    angle_before_rad: float
    angle_after_rad: float
    turn_rad: float


def crossings(ring: Ring, start: Standing, plane: int, other: int) -> tuple[Crossing, ...]:
    """Both crossings of two planes, the next time that a craft on the ring comes by each.

    Their nodes drift alike, so where they cross does not change in the planes themselves.
    """
    axes = [frames.plane_axes(ring.inclination_rad, ring.node(start.first_s, one)) for one in (plane, other)]
    (first, second, pole), (first_there, second_there, pole_there) = axes
    line = np.cross(pole, pole_there)
    size = float(np.linalg.norm(line))
    if size < 1e-9:
        return ()
    turn = math.atan2(size, float(pole @ pole_there))
    found = []
    for direction in (line / size, -line / size):
        before = math.atan2(float(direction @ second), float(direction @ first))
        after = math.atan2(float(direction @ second_there), float(direction @ first_there))
        wait = (before - start.angle_rad) % (2.0 * math.pi) / ring.rate_rad_s
        found.append(
            Crossing(time_s=start.first_s + wait, angle_before_rad=before, angle_after_rad=after, turn_rad=turn)
        )
    return tuple(sorted(found, key=lambda crossing: crossing.time_s))
