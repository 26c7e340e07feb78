"""When a launch site is in a ring's plane, or near it.

The site turns with the body and the ring's node may drift; both at constant rates, so the site's angle from the node is
linear in time and every pass has a closed form, drift or not (see ``site_and_plane.py``; headings: ``azimuth.py``).

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

from .arrays import Array
from .azimuth import azimuth_of_least_tilt
from .errors import InputError
from .site_and_plane import SAME_PLANE_RAD, SiteAndPlane
from .units import TWO_PI


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
