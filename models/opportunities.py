"""When, and on which heading, a site may launch into a plane by one way up.

An opportunity is a moment with its flight azimuth; the azimuth that a site's corridor is compared with is the one over
the turning ground, for a level insertion at the speed that the launcher must give (Larson and Wertz, section 6.4).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .scenario import Body, Pad
from .windows import Array, ground_azimuth, in_corridor, site_speed


def flight_azimuth(body: Body, pad: Pad, insertion_speed_m_s: float, azimuth_rad: ArrayLike) -> Array:
    """Azimuth over the turning ground, rad in [0, 2 pi), of an inertial azimuth, for an insertion at a speed."""
    return ground_azimuth(azimuth_rad, insertion_speed_m_s, site_speed(body, pad))[0]


def corridor_admits(body: Body, pad: Pad, insertion_speed_m_s: float, azimuth_rad: ArrayLike) -> NDArray[np.bool_]:
    """Mask of the inertial azimuths whose flight azimuth the site's corridor allows; all where it has none."""
    azimuth = np.asarray(azimuth_rad, dtype=np.float64)
    if pad.corridor_rad is None:
        return np.ones(azimuth.shape, dtype=np.bool_)
    return in_corridor(flight_azimuth(body, pad, insertion_speed_m_s, azimuth), *pad.corridor_rad)
