"""How far craft are above or below their mean orbits, over a bulge: to first order, on the mean over a turn.

Over the Earth's equator a low circle is 10 km lower than its mean semi-major axis says, over the poles 5 km higher,
which is an eighth of the air's scale height. What swings twice a turn about that, some two kilometers, is left out: in
exponential air its mean over a turn, or over a turn of the periapsis, is nearly nothing.
"""

from __future__ import annotations

import math

import numpy as np

from ..arrays import Array
from ..scenario import Body


def lifted(place: Array, bulge_m2: float, a: Array, eccentricity: Array, pole: Array) -> Array:
    """Places on mean orbits, (3, k n), those of a moment side by side, moved along the radius to where craft are.

    Args:
        bulge_m2: J2 times the square of its radius.
        a, eccentricity, pole: of the mean orbits: semi-major axis (n,), vectors (3, n), unit vectors (3, n).

    Source: Hoots and Roehrich 1980, *Spacetrack Report No. 3*, section 6: the radius with short periods.
    """
    round_share = 1.0 - np.einsum("in,in->n", eccentricity, eccentricity)
    higher = -0.75 * bulge_m2 / a**2 * round_share**-1.5 * (3.0 * pole[2] ** 2 - 1.0)
    return np.asarray(place * (1.0 + np.tile(higher, place.shape[1] // a.size)))


def semi_major_of_circle(body: Body, radius_m: float, inclination_rad: float) -> float:
    """Mean semi-major axis of a circle of a mean radius (see `oblateness.circle_rates`)."""
    bulge = body.j2 * (body.j2_radius_m / radius_m) ** 2
    return radius_m * (1.0 + 0.75 * bulge * (3.0 * math.cos(inclination_rad) ** 2 - 1.0))
