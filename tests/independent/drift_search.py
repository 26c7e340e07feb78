"""What a nodal drift costs at least, by plain loops on grids: circles, first order in the second zonal harmonic.

Vallado 2013, equation 9-37; four burns each of which may turn the plane (section 6.5, law of cosines). The search tries
waiting radii, inclinations and nodes left to burns, shares each turn between the two burns of a transfer on a grid, and
takes the shortest wait that meets the node. It knows nothing of slots.
"""

from __future__ import annotations

import math

import numpy as np

GM, RE, J2 = 3.986004418e14, 6378136.3, 1.082626174e-3
DAY = 86_400.0


def speed(radius: float, semi: float) -> float:
    """By the vis-viva equation."""
    return math.sqrt(GM * (2.0 / radius - 1.0 / semi))


def node_rate(radius: float, lean: float) -> float:
    """Of a circle, rad/s."""
    return -1.5 * J2 * (RE / radius) ** 2 * math.sqrt(GM / radius**3) * math.cos(lean)


def transfer(one: float, other: float, turn: float) -> float:
    """Both burns between two circles that turn the plane, shared on a grid, m/s."""
    semi = 0.5 * (one + other)
    pairs = ((speed(one, one), speed(one, semi)), (speed(other, semi), speed(other, other)))
    least = math.inf
    for share in np.linspace(0.0, 1.0, 41 if turn > 0.0 else 1):
        total = 0.0
        for (a, b), part in zip(pairs, (share, 1.0 - share), strict=True):
            total += math.sqrt(a * a + b * b - 2.0 * a * b * math.cos(part * turn))
        least = min(least, total)
    return least


def cheapest_within(days: float, ring: float, start: float, lean: float, behind: float, leans: np.ndarray) -> float:
    """The least delta-v with which the node falls behind by an angle in so many days, or goes ahead by the rest of a
    turn."""
    least = math.inf
    for waiting in np.linspace(6378e3 + 260e3, 1.3 * ring, 90):
        flat = transfer(start, waiting, 0.0) + transfer(waiting, ring, 0.0)
        # a turn costs something on top
        for more in leans if flat < least else ():
            closing = node_rate(ring, lean) - node_rate(waiting, lean + more)
            way = behind if closing > 0.0 else 2.0 * math.pi - behind
            for left in np.radians([0.0, 0.3, 0.6, 1.0, 2.0]):
                if closing == 0.0 or (way - left) / abs(closing) > days * DAY:
                    continue
                if left == 0.0 and more == 0.0:
                    least = min(least, flat)
                    continue
                tilt = math.acos(
                    min(1.0, math.cos(lean) * math.cos(lean + more)
                    + math.sin(lean) * math.sin(lean + more) * math.cos(left))
                )  # fmt: skip
                least = min(least, transfer(start, waiting, abs(more)) + transfer(waiting, ring, tilt))
    return least
