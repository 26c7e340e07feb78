"""When a launch site is in a ring's plane, which way to fly then, and what a launch off the plane costs in tilt.

The site turns with the body and the ring's node may drift; both at constant rates, so the site's angle from the node is
linear in time and every pass has a closed form, drift or not. The body is a sphere (a geodetic latitude should be made
geocentric first: at 45 deg on the Earth the two differ by 0.19 deg), the ascent is instantaneous, and the launch plane
is that of the liftoff. Valid for any latitude, any inclination in [0, pi], and bodies that turn forward, backward or
not at all.

With ``psi`` the site's right ascension less the node's, the site's angle ``d`` from the plane (positive on the side of
the ring's angular momentum, left of track) follows sin d = sin(lat) cos(i) - cos(lat) sin(i) sin(psi): the dot product
of the site's direction and the plane's normal. Sources: Larson and Wertz, *Space Mission Analysis and Design*, 3rd ed.,
section 6.4 (launch windows); Kluever 2018, *Space Flight Dynamics*, chapter 3.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .errors import InputError
from .ring import Ring
from .scenario import Body, Pad

Array = NDArray[np.float64]
TWO_PI = 2.0 * math.pi

# angles below this (6 micrometers on the Earth's surface) are rounding, not geometry
SAME_PLANE_RAD = 1e-12


@dataclass(frozen=True, kw_only=True)
class SiteAndPlane:
    """A turning site and a drifting plane: all that a launch window depends on.

    Args:
        latitude_rad: geocentric latitude of the site, in [-pi/2, pi/2].
        site0_rad: right ascension of the site at time 0 (prime meridian plus longitude).
        spin_rad_s: rotation rate of the body, negative for backward, 0 for none.
        inclination_rad: of the plane, in [0, pi].
        node0_rad: right ascension of the ascending node at time 0.
        node_rate_rad_s: its drift.

    Raises:
        InputError: latitude or inclination out of range, or a value that is not finite.
    """

    latitude_rad: float
    site0_rad: float
    spin_rad_s: float
    inclination_rad: float
    node0_rad: float = 0.0
    node_rate_rad_s: float = 0.0

    def __post_init__(self) -> None:
        values = (self.site0_rad, self.spin_rad_s, self.node0_rad, self.node_rate_rad_s)
        if not all(math.isfinite(value) for value in values):
            raise InputError(f"site and plane need finite angles and rates, not {values}.")
        if not abs(self.latitude_rad) <= math.pi / 2:
            raise InputError(
                f"a latitude of {math.degrees(self.latitude_rad):g} deg is not on a sphere: give -90 to 90 deg."
            )
        if not 0.0 <= self.inclination_rad <= math.pi:
            raise InputError(
                f"an inclination of {math.degrees(self.inclination_rad):g} deg does not exist: give 0 to 180 deg."
            )

    @classmethod
    def of(cls, body: Body, pad: Pad, ring: Ring, plane: int = 0) -> SiteAndPlane:
        """The geometry of one pad and one plane of the ring."""
        return cls(
            latitude_rad=pad.latitude_rad,
            site0_rad=body.prime_meridian_rad + pad.longitude_rad,
            spin_rad_s=body.spin_rad_s,
            inclination_rad=ring.inclination_rad,
            node0_rad=ring.node(0.0, plane),
            node_rate_rad_s=ring.node_rate_rad_s,
        )

    @property
    def relative_rate_rad_s(self) -> float:
        """Rate at which the site moves against the node."""
        return self.spin_rad_s - self.node_rate_rad_s

    def from_node(self, time_s: ArrayLike) -> Array:
        """Right ascension of the site less that of the node, rad, not wrapped."""
        start = self.site0_rad - self.node0_rad
        return np.asarray(start + self.relative_rate_rad_s * np.asarray(time_s, dtype=np.float64))


@dataclass(frozen=True, kw_only=True)
class Passes:
    """The moments at which a site is in a plane, in order of time; arrays of one shape (n,).

    Args:
        time_s: the moment.
        ascending: whether the plane's motion leads north there; False for the touch of a highest latitude.
        azimuth_rad: inertial azimuth of the plane's motion at the site, from north over east, in [0, 2 pi). At a pole
            north is the site's own meridian.
        angle_rad: argument of latitude of the site in the plane, in [0, 2 pi).
        always: the site never leaves the plane: every moment serves, and the arrays are empty.
        least_angle_rad: least angle between site and plane, 0 where there is a pass, now or in another span.
    """

    time_s: Array
    ascending: NDArray[np.bool_]
    azimuth_rad: Array
    angle_rad: Array
    always: bool
    least_angle_rad: float

    def keep(self, mask: NDArray[np.bool_]) -> Passes:
        """Only the passes that a mask of shape (n,) selects, such as :func:`in_corridor` of their azimuths."""
        return Passes(
            time_s=self.time_s[mask],
            ascending=self.ascending[mask],
            azimuth_rad=self.azimuth_rad[mask],
            angle_rad=self.angle_rad[mask],
            always=self.always,
            least_angle_rad=self.least_angle_rad,
        )


def off_plane(place: SiteAndPlane, time_s: ArrayLike) -> Array:
    """Signed angle of the site from the plane, rad, in [-pi/2, pi/2]; positive left of track. Broadcasts over times."""
    level, swing = _level_and_swing(place)
    return np.asarray(np.arcsin(np.clip(level - swing * np.sin(place.from_node(time_s)), -1.0, 1.0)))


def longitude_beside(place: SiteAndPlane, time_s: ArrayLike) -> Array:
    """Argument of latitude of the point of the plane nearest to the site, rad, in (-pi, pi]; broadcasts over times."""
    psi = place.from_node(time_s)
    cos_lat, sin_lat = math.cos(place.latitude_rad), math.sin(place.latitude_rad)
    cos_i, sin_i = math.cos(place.inclination_rad), math.sin(place.inclination_rad)
    return np.asarray(np.arctan2(cos_lat * np.sin(psi) * cos_i + sin_lat * sin_i, cos_lat * np.cos(psi)))


def angle_at_pass(place: SiteAndPlane, ascending: bool) -> float:
    """Argument of latitude of the site when it passes through the plane, rad: the same at every pass of one direction.

    For a site that stays off the plane, that of the point of the plane nearest to it when it comes nearest.
    """
    level, swing = _level_and_swing(place)
    psi = math.asin(max(-1.0, min(1.0, level / swing))) if swing > SAME_PLANE_RAD else 0.0
    psi = psi if ascending else math.pi - psi
    start = place.site0_rad - place.node0_rad
    rate = place.relative_rate_rad_s
    return float(longitude_beside(place, (psi - start) / rate if rate else 0.0))


def least_angle(place: SiteAndPlane) -> float:
    """Least angle that the site ever has from the plane, rad: by how much the latitude exceeds what the plane reaches.

    Where site and node do not move against each other it is the angle they always have.

    >>> out = SiteAndPlane(latitude_rad=0.8, site0_rad=0.0, spin_rad_s=7e-5, inclination_rad=0.5)
    >>> round(least_angle(out), 12)
    0.3
    """
    if place.relative_rate_rad_s == 0.0:
        least = abs(float(off_plane(place, 0.0)))
    else:
        reach = min(place.inclination_rad, math.pi - place.inclination_rad)
        least = max(0.0, abs(place.latitude_rad) - reach)
    return least if least > SAME_PLANE_RAD else 0.0


def passes(place: SiteAndPlane, from_s: float, to_s: float) -> Passes:
    """All moments in [from_s, to_s] at which the site is in the plane, ascending and descending.

    In the plane sin(psi) = tan(lat) / tan(i); written here with the cosine as well,
    cos(lat) sin(i) cos(psi) = +-sqrt(sin(i + lat) sin(i - lat)), which keeps its digits where the latitude nearly
    equals the inclination. There the two passes of a turn meet in one.

    Raises:
        InputError: the span is not finite or runs backward.

    Example:
        From the equator a polar plane is passed twice a turn, half a turn apart:

        >>> spin, polar = 2 * math.pi / 1000, math.pi / 2
        >>> site = SiteAndPlane(latitude_rad=0.0, site0_rad=0.0, spin_rad_s=spin, inclination_rad=polar)
        >>> found = passes(site, 0.0, 999.0)
        >>> found.time_s.round(6).tolist(), found.ascending.tolist(), np.degrees(found.azimuth_rad).round(6).tolist()
        ([0.0, 500.0], [True, False], [0.0, 180.0])
    """
    _check_span(from_s, to_s)
    least = least_angle(place)
    level, swing = _level_and_swing(place)
    fixed = swing <= SAME_PLANE_RAD or place.relative_rate_rad_s == 0.0
    if fixed or least > 0.0:
        always = fixed and abs(float(off_plane(place, from_s))) <= SAME_PLANE_RAD
        return _passes_at(place, np.empty(0), np.empty(0, dtype=np.bool_), always, least)
    inclination, latitude = place.inclination_rad, place.latitude_rad
    margin = min(inclination, math.pi - inclination) - abs(latitude)
    product = math.sin(inclination + latitude) * math.sin(inclination - latitude)
    north = math.sqrt(product) if margin > SAME_PLANE_RAD else 0.0
    ways = ((north, north > 0.0), (-north, False)) if north > 0.0 else ((0.0, False),)
    times = [_moments(place, math.atan2(level, east_west), from_s, to_s) for east_west, _ in ways]
    ascending = [np.full(found.size, way) for found, (_, way) in zip(times, ways, strict=True)]
    joined = np.concatenate(times)
    order = np.argsort(joined, kind="stable")
    return _passes_at(place, joined[order], np.concatenate(ascending)[order], False, least)


def within(place: SiteAndPlane, angle_rad: float, from_s: float, to_s: float) -> Array:
    """Spans of time in which the site is no farther than an angle from the plane, clipped to [from_s, to_s].

    Args:
        angle_rad: largest angle allowed, at least 0.

    Returns:
        Shape (n, 2): beginning and end of each span, s, in order of time, disjoint.

    Raises:
        InputError: a negative or NaN angle, or a span that is not finite or runs backward.
    """
    _check_span(from_s, to_s)
    if not angle_rad >= 0.0:
        raise InputError(f"the angle from the plane must be at least 0, not {angle_rad:g} rad.")
    level, swing = _level_and_swing(place)
    rate = abs(place.relative_rate_rad_s)
    whole, none = np.array([[from_s, to_s]]), np.empty((0, 2))
    if swing <= SAME_PLANE_RAD or rate == 0.0:
        return whole if abs(float(off_plane(place, from_s))) <= angle_rad + SAME_PLANE_RAD else none
    reach = math.sin(min(angle_rad, math.pi / 2))
    low, high = (level - reach) / swing, (level + reach) / swing
    if low <= -1.0 and high >= 1.0:
        return whole
    if low > 1.0 or high < -1.0:
        return none
    if low <= -1.0:
        middles, half = [-math.pi / 2], math.pi / 2 + math.asin(high)
    elif high >= 1.0:
        middles, half = [math.pi / 2], math.pi / 2 - math.asin(low)
    else:
        middle, half = 0.5 * (math.asin(low) + math.asin(high)), 0.5 * (math.asin(high) - math.asin(low))
        middles = [middle, math.pi - middle]
    margin = half / rate
    centers = np.sort(np.concatenate([_moments(place, middle, from_s - margin, to_s + margin) for middle in middles]))
    return np.stack([np.maximum(centers - margin, from_s), np.minimum(centers + margin, to_s)], axis=-1)


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
        site_speed_m_s: see :func:`site_speed`.

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


def _check_span(from_s: float, to_s: float) -> None:
    if not (math.isfinite(from_s) and math.isfinite(to_s) and from_s <= to_s):
        raise InputError(
            f"a launch window search needs a finite span of time, its end not before its beginning, "
            f"not {from_s:g} s to {to_s:g} s."
        )


def _level_and_swing(place: SiteAndPlane) -> tuple[float, float]:
    """Mean and amplitude of sin d over a turn of the site against the node."""
    level = math.sin(place.latitude_rad) * math.cos(place.inclination_rad)
    return level, math.cos(place.latitude_rad) * math.sin(place.inclination_rad)


def _moments(place: SiteAndPlane, psi_rad: float, from_s: float, to_s: float) -> Array:
    """All times in [from_s, to_s] at which the site's angle from the node is an angle, modulo whole turns."""
    rate, start = place.relative_rate_rad_s, place.site0_rad - place.node0_rad
    turn = TWO_PI / abs(rate)
    first = ((psi_rad - start) / rate) % turn
    counts = np.arange(math.floor((from_s - first) / turn), math.ceil((to_s - first) / turn) + 1)
    times = np.asarray(first + counts * turn, dtype=np.float64)
    # a moment on the very edge of the span must not be lost to rounding
    slack = SAME_PLANE_RAD * turn
    inside = (times >= from_s - slack) & (times <= to_s + slack)
    return np.asarray(np.clip(times[inside], from_s, to_s), dtype=np.float64)


def _passes_at(place: SiteAndPlane, time_s: Array, ascending: NDArray[np.bool_], always: bool, least: float) -> Passes:
    return Passes(
        time_s=time_s,
        ascending=ascending,
        azimuth_rad=azimuth_of_least_tilt(place, time_s),
        angle_rad=np.remainder(longitude_beside(place, time_s), TWO_PI),
        always=always,
        least_angle_rad=least,
    )


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
