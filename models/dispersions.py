"""Deviations from what was meant: execution errors of burns by Gates' model, and a launcher that lets go off its mark.

A burn meant to give a velocity change v gives v and three independent, normally distributed errors: one along v with
variance fixed^2 + (share |v|)^2, and one on each of the two axes across v with variance fixed^2 + (angle |v|)^2. The
fixed parts are what a smallest cut-off and the attitude control leave, the proportional ones what a flow meter and a
misaligned engine do. Source: C. R. Gates, "A Simplified Model of Midcourse Maneuver Execution Errors", JPL Technical
Report 32-504, 1963 (four parameters; here per axis; from memory).
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from .arrays import Array
from .frames import in_plane_state, latitude_argument
from .scenario import Errors


class BurnErrors(NamedTuple):
    """What a burn gives beside what was meant, m/s: along it, and on the two axes across it."""

    along_m_s: Array
    across_m_s: Array
    sideways_m_s: Array


def sigma_along(errors: Errors, size_m_s: ArrayLike) -> Array:
    """Standard deviation along a burn of that size, m/s; none for a burn of none.

    >>> float(sigma_along(Errors(burn_m_s=0.3, burn_share=0.004), 100.0))
    0.5
    """
    return _deviation(errors.burn_m_s, errors.burn_share, size_m_s)


def sigma_across(errors: Errors, size_m_s: ArrayLike) -> Array:
    """Standard deviation on each axis across a burn of that size, m/s; none for a burn of none."""
    return _deviation(errors.across_m_s, errors.pointing_rad, size_m_s)


def _deviation(fixed: float, share: float, size_m_s: ArrayLike) -> Array:
    size = np.abs(np.asarray(size_m_s, dtype=np.float64))
    if fixed == 0.0:
        return share * size
    there = np.asarray(fixed * (size > 0.0))
    return there if share == 0.0 else np.asarray(np.sqrt(np.square(there) + np.square(share * size)))


def burn_errors(errors: Errors, size_m_s: ArrayLike, normal: Array) -> BurnErrors:
    """Draw the errors of burns.

    Args:
        size_m_s: sizes of the burns, any shape; the sign does not matter.
        normal: independent standard normal numbers, shape (3, ...) over that of the sizes.
    """
    across = sigma_across(errors, size_m_s)
    return BurnErrors(sigma_along(errors, size_m_s) * normal[0], across * normal[1], across * normal[2])


def burn_error_vectors(errors: Errors, burn_m_s: Array, normal: Array) -> Array:
    """Draw the errors of burns as vectors: one isotropic draw, stretched along the burn.

    Args:
        burn_m_s: burns as meant, shape (3, n).
        normal: independent standard normal numbers, shape (3, n).
    """
    square = np.einsum("ij,ij->j", burn_m_s, burn_m_s)
    size = np.sqrt(square)
    across, along = sigma_across(errors, size), sigma_along(errors, size)
    share = np.einsum("ij,ij->j", normal, burn_m_s) / np.maximum(square, 1e-24)
    error = normal * across
    error += ((along - across) * share) * burn_m_s
    return np.asarray(error)


def let_go_off(
    position: Array,
    velocity: Array,
    gm: float,
    *,
    periapsis_m: float = 0.0,
    apoapsis_m: float = 0.0,
    inclination_rad: float = 0.0,
    node_rad: float = 0.0,
) -> tuple[Array, Array]:
    """The state in which a launcher lets go off its mark, the true anomaly as planned.

    Args:
        position, velocity: as planned, m and m/s, (3,) each; the pole of the body is the third axis.
        gm: gravitational parameter, m^3/s^2.
        periapsis_m, apoapsis_m, inclination_rad, node_rad: what it is off by. About an equatorial orbit's missing node
            the first axis stands in, and where the orbit is a circle the periapsis is where the craft is.

    Returns:
        Position and velocity. Conic equations, e.g. Vallado 2013, section 2.5.
    """
    spin = np.cross(position, velocity)
    level = float(np.hypot(spin[0], spin[1]))
    inclination = float(np.arctan2(level, spin[2]))
    node = float(np.arctan2(spin[0], -spin[1])) if level > 1e-6 * np.linalg.norm(spin) else 0.0
    radius = float(np.linalg.norm(position))
    parameter = float(spin @ spin) / gm
    # eccentricity times cosine and sine of the true anomaly
    toward = parameter / radius - 1.0
    aside = float(position @ velocity) / radius * math.sqrt(parameter / gm)
    before = math.hypot(toward, aside)
    cos, sin = (toward / before, aside / before) if before > 1e-6 else (1.0, 0.0)
    low = parameter / (1.0 + before) + periapsis_m
    high = parameter / (1.0 - before) + apoapsis_m
    after = (high - low) / (high + low)
    parameter = low * (1.0 + after)
    speed = math.sqrt(gm / parameter)
    return in_plane_state(
        parameter / (1.0 + after * cos),
        latitude_argument(position, inclination, node),
        speed * after * sin,
        speed * (1.0 + after * cos),
        inclination + inclination_rad,
        node + node_rad,
    )
