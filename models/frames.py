"""Axes and angles: planes on the body's pole, the local axes of a state, arguments of latitude.

The base frame has z along the body's pole and x along its origin of longitudes of the node. Every function takes
scalars or arrays and broadcasts; vectors have three components along the last axis. Exact geometry, no model.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from .arrays import Array


def wrap(angle_rad: ArrayLike) -> Array:
    """Bring an angle into (-pi, pi].

    >>> [float(round(a, 6)) for a in wrap([0.0, math.pi, -math.pi, 7.0])]
    [0.0, 3.141593, 3.141593, 0.716815]
    """
    turn = 2.0 * math.pi
    wrapped: Array = math.pi - np.mod(math.pi - np.asarray(angle_rad, dtype=np.float64), turn)
    return wrapped


def plane_axes(inclination_rad: ArrayLike, node_rad: ArrayLike) -> tuple[Array, Array, Array]:
    """Unit vectors of a plane: along its ascending node, 90 deg ahead of it along the motion, and its pole.

    Args:
        inclination_rad: in [0, pi]; at 0 and pi the node is a convention, and the first axis still lies at it.
        node_rad: right ascension of the ascending node.

    Returns:
        Three arrays of the broadcast shape with a last axis of 3, right-handed.

    Source: perifocal-type rotation R3(-node) R1(-inclination), e.g. Vallado 2013, section 3.3.

    >>> [[float(round(c, 6)) for c in axis] for axis in plane_axes(math.pi / 2, 0.0)]
    [[1.0, 0.0, 0.0], [-0.0, 0.0, 1.0], [0.0, -1.0, 0.0]]
    """
    i, node = np.broadcast_arrays(np.asarray(inclination_rad, dtype=np.float64), np.asarray(node_rad, dtype=np.float64))
    ci, si, co, so = np.cos(i), np.sin(i), np.cos(node), np.sin(node)
    first = np.stack([co, so, np.zeros_like(co)], axis=-1)
    second = np.stack([-so * ci, co * ci, si], axis=-1)
    pole = np.stack([so * si, -co * si, ci], axis=-1)
    return first, second, pole


def local_axes(position: ArrayLike, velocity: ArrayLike) -> Array:
    """Local axes of a state: radial outward, along at right angles in the orbit plane towards the motion, cross.

    Args:
        position, velocity: shape (..., 3), any units, not parallel.

    Returns:
        Shape (..., 3, 3): the rows are the three unit vectors, so that ``axes @ vector`` gives local components.

    >>> local_axes([7.0, 0.0, 0.0], [1.0, 5.0, 0.0]).tolist()
    [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
    """
    r, v = np.broadcast_arrays(np.asarray(position, dtype=np.float64), np.asarray(velocity, dtype=np.float64))
    radial = r / np.linalg.norm(r, axis=-1, keepdims=True)
    cross = np.cross(r, v)
    cross = cross / np.linalg.norm(cross, axis=-1, keepdims=True)
    return np.stack([radial, np.cross(cross, radial), cross], axis=-2)


def from_local(position: ArrayLike, velocity: ArrayLike, components: ArrayLike) -> Array:
    """Turn (radial, along, cross) components, shape (..., 3), into the base frame, by the local axes of a state."""
    axes = local_axes(position, velocity)
    return np.asarray(np.einsum("...ij,...i->...j", axes, np.asarray(components, dtype=np.float64)))


def to_local(position: ArrayLike, velocity: ArrayLike, vector: ArrayLike) -> Array:
    """Read a vector of the base frame, shape (..., 3), as (radial, along, cross) of a state; undoes `from_local`."""
    axes = local_axes(position, velocity)
    return np.asarray(np.einsum("...ij,...j->...i", axes, np.asarray(vector, dtype=np.float64)))


def in_plane_state(
    radius_m: ArrayLike,
    latitude_argument_rad: ArrayLike,
    radial_m_s: ArrayLike,
    along_m_s: ArrayLike,
    inclination_rad: ArrayLike,
    node_rad: ArrayLike,
) -> tuple[Array, Array]:
    """State of a craft in a plane at a radius and an argument of latitude, moving with the given speeds.

    Returns:
        Position, m, and velocity, m/s, each of the broadcast shape with a last axis of 3.

    >>> r, v = in_plane_state(2.0, math.pi / 2, 0.0, 3.0, 0.0, 0.0)
    >>> r.round(9).tolist(), v.round(9).tolist()
    ([0.0, 2.0, 0.0], [-3.0, 0.0, 0.0])
    """
    u = np.asarray(latitude_argument_rad, dtype=np.float64)[..., np.newaxis]
    first, second, _ = plane_axes(inclination_rad, node_rad)
    outward = np.cos(u) * first + np.sin(u) * second
    ahead = np.cos(u) * second - np.sin(u) * first
    radius, radial, along = (
        np.asarray(x, dtype=np.float64)[..., np.newaxis] for x in (radius_m, radial_m_s, along_m_s)
    )
    return radius * outward, radial * outward + along * ahead


def on_circle(
    radius_m: ArrayLike, latitude_argument_rad: ArrayLike, inclination_rad: ArrayLike, node_rad: ArrayLike
) -> Array:
    """Position on a circle in a plane, m, of the broadcast shape with a last axis of 3."""
    return in_plane_state(radius_m, latitude_argument_rad, 0.0, 0.0, inclination_rad, node_rad)[0]


def latitude_argument(position: ArrayLike, inclination_rad: ArrayLike, node_rad: ArrayLike) -> Array:
    """Angle of a position projected on a plane, counted from the plane's ascending node along the motion.

    Args:
        position: shape (..., 3), any unit, not along the plane's pole.

    Returns:
        Radians in (-pi, pi].

    >>> round(float(latitude_argument([0.0, 1.0, 5.0], 0.0, math.pi / 4)), 6)
    0.785398
    """
    r = np.asarray(position, dtype=np.float64)
    first, second, _ = plane_axes(inclination_rad, node_rad)
    return np.asarray(np.arctan2(np.sum(r * second, axis=-1), np.sum(r * first, axis=-1)))
