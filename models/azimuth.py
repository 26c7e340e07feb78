"""Headings of a launch: in a corridor, over the ground, and what each costs in tilt against the ring's plane.

The least tilt is the site's own angle ``d`` from the plane (see ``windows.py``). Sources: Larson and Wertz, *Space
Mission Analysis and Design*, 3rd ed., section 6.4; Kluever 2018, *Space Flight Dynamics*, chapter 3.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .arrays import Array
from .scenario import Body, Pad
from .site_and_plane import SAME_PLANE_RAD, SiteAndPlane
from .units import TWO_PI


def in_corridor(azimuth_rad: ArrayLike, from_rad: float, to_rad: float) -> NDArray[np.bool_]:
    """Whether azimuths lie in a corridor that opens clockwise from one bearing to another, both included.

    The corridor may cross north; a corridor of a whole turn or more admits every azimuth.

    >>> in_corridor(np.radians([350.0, 10.0, 180.0]), math.radians(340.0), math.radians(20.0)).tolist()
    [True, True, False]
    """
    azimuth = np.asarray(azimuth_rad, dtype=np.float64)
    if to_rad - from_rad >= TWO_PI:
        return np.ones(azimuth.shape, dtype=np.bool_)
    width = (to_rad - from_rad) % TWO_PI
    inside = np.remainder(azimuth - from_rad + SAME_PLANE_RAD, TWO_PI) <= width + 2.0 * SAME_PLANE_RAD
    return np.asarray(inside, dtype=np.bool_)


def site_speed(body: Body, pad: Pad) -> float:
    """Eastward speed of a site with the turning body, m/s; negative on a body that turns backward."""
    return body.spin_rad_s * body.radius_m * math.cos(pad.latitude_rad)


def ground_azimuth(azimuth_rad: ArrayLike, speed_m_s: ArrayLike, site_speed_m_s: ArrayLike) -> tuple[Array, Array]:
    """Azimuth to fly and speed to gain over the turning ground for an inertial azimuth and a level orbital speed.

    The site's own eastward speed is taken off the orbital velocity (Larson and Wertz, section 6.4, eqs. 6-42).

    Args:
        azimuth_rad: inertial azimuth, from north over east.
        speed_m_s: inertial speed of the level insertion.

    Returns:
        Azimuth against the ground in [0, 2 pi), and speed against the ground, m/s.

    >>> azimuth, gain = ground_azimuth(math.pi / 2, 7800.0, 465.0)
    >>> round(math.degrees(azimuth), 9), float(gain)
    (90.0, 7335.0)
    """
    speed, azimuth = np.asarray(speed_m_s, dtype=np.float64), np.asarray(azimuth_rad, dtype=np.float64)
    east = speed * np.sin(azimuth) - np.asarray(site_speed_m_s)
    north = speed * np.cos(azimuth)
    return np.asarray(np.remainder(np.arctan2(east, north), TWO_PI)), np.asarray(np.hypot(east, north))


@dataclass(frozen=True, kw_only=True)
class LaunchPlane:
    """The plane of a launch against the ring's; arrays of the broadcast shape of times and azimuths.

    Args:
        azimuth_rad: inertial azimuth of the launch, in [0, 2 pi).
        tilt_rad: angle between launch plane and ring plane, in [0, pi].
        arc_rad: arc flown from the site to the first crossing of the ring plane (the relative node), in (0, pi]; NaN
            where the planes coincide. The next crossing is half a turn later.
        node_angle_rad: argument of latitude of that crossing in the ring, in [0, 2 pi); NaN where the planes coincide.
        rising: whether it leads to the ring's left (the side of its angular momentum).
    """

    azimuth_rad: Array
    tilt_rad: Array
    arc_rad: Array
    node_angle_rad: Array
    rising: NDArray[np.bool_]


def launch_plane(place: SiteAndPlane, time_s: ArrayLike, azimuth_rad: ArrayLike) -> LaunchPlane:
    """Tilt and relative node of a launch at a chosen inertial azimuth.

    They obey sin(tilt) = sin|d| / sin(arc), the sine rule of the right spherical triangle of site, foot and node.
    """
    time, azimuth = np.broadcast_arrays(np.asarray(time_s, dtype=np.float64), np.asarray(azimuth_rad, dtype=np.float64))
    site, east, north, normal, _, _ = _axes(place, time)
    heading = np.sin(azimuth)[..., None] * east + np.cos(azimuth)[..., None] * north
    launch_normal = np.cross(site, heading)
    sine = np.linalg.norm(np.cross(normal, launch_normal), axis=-1)
    tilt = np.arctan2(sine, np.sum(normal * launch_normal, axis=-1))
    above, climbing = np.sum(site * normal, axis=-1), np.sum(heading * normal, axis=-1)
    arc = np.pi - np.remainder(np.arctan2(above, climbing), np.pi)
    crossing = np.cos(arc)[..., None] * site + np.sin(arc)[..., None] * heading
    coincide = sine <= SAME_PLANE_RAD
    return LaunchPlane(
        azimuth_rad=np.remainder(azimuth, TWO_PI),
        tilt_rad=np.asarray(tilt),
        arc_rad=np.where(coincide, np.nan, arc),
        node_angle_rad=np.where(coincide, np.nan, _ring_angle(place, time, crossing)),
        rising=np.asarray(np.cos(arc) * climbing - np.sin(arc) * above > 0.0),
    )


def azimuth_of_least_tilt(place: SiteAndPlane, time_s: ArrayLike) -> Array:
    """Inertial azimuth, in [0, 2 pi), of the least tilt, which is d itself: its node lies a quarter turn downrange.

    It is parallel to the ring's own motion beside the site, and in the plane it is the ring's azimuth:
    sin(azimuth) = cos(i) / cos(lat) (Kluever, Ex. 3.3).
    """
    psi = place.from_node(time_s)
    cos_i, sin_i = math.cos(place.inclination_rad), math.sin(place.inclination_rad)
    cos_lat, sin_lat = math.cos(place.latitude_rad), math.sin(place.latitude_rad)
    east = cos_i * cos_lat + sin_i * sin_lat * np.sin(psi)
    return np.asarray(np.remainder(np.arctan2(east, sin_i * np.cos(psi)), TWO_PI))


def azimuth_for_arc(place: SiteAndPlane, time_s: ArrayLike, arc_rad: ArrayLike) -> Array:
    """Inertial azimuth, in [0, 2 pi), that puts a relative node an arc downrange, flying along with the ring.

    Args:
        time_s: liftoff.
        arc_rad: arc flown from the site to the node wanted, taken modulo half a turn (so it may be that of the
            transfer's apoapsis). Broadcast against the times.

    Returns:
        Azimuths; NaN where no launch plane has its node there, which is where sin|d| exceeds sin(arc): the site is too
        far from the ring plane for a node so near, or so near the opposite point. A site in the plane gets the ring's
        own azimuth, which tilts nothing and serves every arc.
    """
    time, arc = np.broadcast_arrays(
        np.asarray(time_s, dtype=np.float64), np.remainder(np.asarray(arc_rad, dtype=np.float64), np.pi)
    )
    site, east, north, normal, _, _ = _axes(place, time)
    sine_off = np.sum(site * normal, axis=-1)
    foot = site - sine_off[..., None] * normal
    ahead = np.cross(normal, site)
    # both have length cos d, which is 0 only with the site on the ring's axis: then every direction is alike
    scale = np.linalg.norm(ahead, axis=-1)
    cosine = np.cos(arc)
    reachable = (np.abs(cosine) <= scale) & (np.sin(arc) > SAME_PLANE_RAD) & (scale > SAME_PLANE_RAD)
    ratio = np.where(reachable, cosine / np.where(reachable, scale, 1.0), 0.0)[..., None]
    length = np.where(scale > SAME_PLANE_RAD, scale, 1.0)[..., None]
    node = (ratio * foot + np.sqrt(1.0 - ratio * ratio) * ahead) / length
    in_plane = np.abs(sine_off) <= SAME_PLANE_RAD
    heading = np.where(in_plane[..., None], ahead, node - cosine[..., None] * site)
    azimuth = np.arctan2(np.sum(heading * east, axis=-1), np.sum(heading * north, axis=-1))
    return np.where(reachable | in_plane, np.remainder(azimuth, TWO_PI), np.nan)


def _axes(place: SiteAndPlane, time_s: Array) -> tuple[Array, Array, Array, Array, Array, Array]:
    """Unit vectors, shape (..., 3): site, east and north of it, plane normal, node, a quarter turn past the node."""
    right_ascension = place.site0_rad + place.spin_rad_s * time_s
    node = place.node0_rad + place.node_rate_rad_s * time_s
    cos_lat, sin_lat = math.cos(place.latitude_rad), math.sin(place.latitude_rad)
    cos_i, sin_i = math.cos(place.inclination_rad), math.sin(place.inclination_rad)
    cos_ra, sin_ra, zero = np.cos(right_ascension), np.sin(right_ascension), np.zeros_like(time_s)
    cos_node, sin_node, one = np.cos(node), np.sin(node), np.ones_like(time_s)
    return (
        np.stack([cos_lat * cos_ra, cos_lat * sin_ra, sin_lat * one], axis=-1),
        np.stack([-sin_ra, cos_ra, zero], axis=-1),
        np.stack([-sin_lat * cos_ra, -sin_lat * sin_ra, cos_lat * one], axis=-1),
        np.stack([sin_i * sin_node, -sin_i * cos_node, cos_i * one], axis=-1),
        np.stack([cos_node, sin_node, zero], axis=-1),
        np.stack([-cos_i * sin_node, cos_i * cos_node, sin_i * one], axis=-1),
    )


def _ring_angle(place: SiteAndPlane, time_s: Array, direction: Array) -> Array:
    """Argument of latitude, in [0, 2 pi), of a direction in the ring plane."""
    _, _, _, _, towards_node, quarter_ahead = _axes(place, time_s)
    angle = np.arctan2(np.sum(direction * quarter_ahead, axis=-1), np.sum(direction * towards_node, axis=-1))
    return np.asarray(np.remainder(angle, TWO_PI))
