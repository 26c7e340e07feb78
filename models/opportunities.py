"""When, and on which heading, a site may launch into a plane by one way up.

For a site that passes through the plane an opportunity is a moment with its azimuth: the pass itself, or, where it may
launch off the plane, a moment of a span around it. The azimuth that a site's corridor is compared with is the one
over the turning ground, for a level insertion at the speed that the launcher must give (Larson and Wertz, section 6.4).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from . import frames
from .arrays import Array
from .azimuth import azimuth_of_least_tilt, ground_azimuth, in_corridor, launch_plane, site_speed
from .launch import Ascent, TiltAt
from .ring import Ring
from .scenario import Body, Pad
from .site_and_plane import SiteAndPlane
from .windows import least_angle, off_plane, passes, within

Mask = NDArray[np.bool_]

IN_PLANE_RAD = math.radians(0.001)
"""A site that never is farther from the ring plane than this is in it at every moment: about 100 m on the Earth."""

AT_PASS_RAD = 1e-8
"""A site this near to the plane is in it: six centimeters on the Earth, a millisecond of its turn."""

SPAN_STEPS = 24
"""Parts into which a span around a pass is cut at least."""

TURN_STEPS = 90
"""And so many to a turn of the ring, so that no slot goes by between two moments."""

SPAN_STEPS_MAX = 600
"""But no more than this: a span may last for weeks where a body turns slowly."""


def flight_azimuth(body: Body, pad: Pad, insertion_speed_m_s: float, azimuth_rad: ArrayLike) -> Array:
    """Azimuth over the turning ground, rad in [0, 2 pi), of an inertial azimuth, for an insertion at a speed."""
    return ground_azimuth(azimuth_rad, insertion_speed_m_s, site_speed(body, pad))[0]


def corridor_admits(body: Body, pad: Pad, insertion_speed_m_s: float, azimuth_rad: ArrayLike) -> Mask:
    """Mask of the inertial azimuths whose flight azimuth the site's corridor allows; all where it has none."""
    azimuth = np.asarray(azimuth_rad, dtype=np.float64)
    if pad.corridor_rad is None:
        return np.ones(azimuth.shape, dtype=np.bool_)
    return in_corridor(flight_azimuth(body, pad, insertion_speed_m_s, azimuth), *pad.corridor_rad)


def always_in_plane(place: SiteAndPlane, tolerance_rad: float) -> bool:
    """Whether a site is within an angle of the plane at every moment."""
    steady = math.sin(place.latitude_rad) * math.cos(place.inclination_rad)
    turning = math.cos(place.latitude_rad) * math.sin(place.inclination_rad)
    if place.relative_rate_rad_s == 0.0:
        return abs(float(off_plane(place, 0.0))) <= tolerance_rad
    return abs(steady) + abs(turning) <= math.sin(tolerance_rad)


def band(pad: Pad, tilt_tolerance_rad: float, tilt_at: TiltAt) -> tuple[float, float]:
    """Least and greatest angle from the plane at which a site launches, by what becomes of the tilt, rad.

    A tilt that the ring allows is kept; a greater one is taken off, up to the site's own limit. The second is below the
    first where there is nothing in between.
    """
    kept = min(pad.plane_tolerance_rad, tilt_tolerance_rad)
    return (0.0, kept) if tilt_at == "kept" else (kept, pad.plane_tolerance_rad)


def open_to(way: Ascent, body: Body, pad: Pad, tilt_tolerance_rad: float, time_s: ArrayLike) -> Mask:
    """Mask of the moments at which a site that passes through the plane may launch by a way: by plane and heading.

    Latest dates and blackouts are the business of ``sites.open_at``.
    """
    times = np.asarray(time_s, dtype=np.float64)
    if way.place is None:
        return np.ones(times.shape, dtype=np.bool_)
    least, most = band(pad, tilt_tolerance_rad, way.tilt_at)
    off = np.abs(off_plane(way.place, times))
    inside = (off <= most + AT_PASS_RAD) & ((off > least + AT_PASS_RAD) | (way.tilt_at == "kept"))
    inside &= (np.cos(way.place.from_node(times)) > 0.0) == way.ascending
    picked = np.flatnonzero(inside)
    azimuth = way.azimuth(times.ravel()[picked])
    flown = ~np.isnan(azimuth)
    flown &= corridor_admits(body, pad, way.insertion_speed_m_s, np.where(flown, azimuth, 0.0))
    out = np.zeros(times.size, dtype=np.bool_)
    out[picked[flown]] = True
    return out.reshape(times.shape)


def liftoffs(way: Ascent, ring: Ring, pad: Pad, tilt_tolerance_rad: float, from_s: float, to_s: float) -> Array:
    """Moments in [from_s, to_s] worth looking at for a site that passes through the plane, sorted.

    The passes themselves; where the site may launch off the plane a grid over each span around them, ends included.
    Not yet masked by heading (see :func:`open_to`).
    """
    if way.place is None or to_s < from_s:
        return np.zeros(0)
    _, most = band(pad, tilt_tolerance_rad, way.tilt_at)
    found = [passes(way.place, from_s, to_s).time_s]
    if most > 0.0:
        for start, end in within(way.place, most, from_s, to_s).tolist():
            found.append(np.linspace(start, end, _parts(ring, end - start) + 1))
            found.append(_at_first(ring, start, end))
    return np.unique(np.concatenate(found))


def grid_step_s(way: Ascent, ring: Ring, pad: Pad, tilt_tolerance_rad: float) -> float:
    """Greatest distance between moments of :func:`liftoffs` within a span, s; 0 where only passes are examined."""
    place = way.place
    if place is None:
        return 0.0
    _, most = band(pad, tilt_tolerance_rad, way.tilt_at)
    turn = turn_s(place)
    if most <= 0.0 or math.isinf(turn):
        return 0.0
    spans = within(place, most, 0.0, 2.0 * turn)
    lengths = spans[:, 1] - spans[:, 0]
    return max((length / _parts(ring, length) for length in lengths.tolist()), default=0.0)


def _at_first(ring: Ring, start_s: float, end_s: float) -> Array:
    """Moments as close as slots ask for, for a ring turn from the beginning of a span that is long: who is soonest."""
    fine = ring.period_s / TURN_STEPS
    if (end_s - start_s) / _parts(ring, end_s - start_s) <= fine:
        return np.zeros(0)
    return np.asarray(start_s + fine * np.arange(1, TURN_STEPS + 1), dtype=float)


def _parts(ring: Ring, length_s: float) -> int:
    return min(max(SPAN_STEPS, math.ceil(length_s * TURN_STEPS / ring.period_s)), SPAN_STEPS_MAX)


def turn_s(place: SiteAndPlane) -> float:
    """Time in which a site comes round against the node, s; infinite where it does not."""
    rate = abs(place.relative_rate_rad_s)
    return 2.0 * math.pi / rate if rate > 0.0 else math.inf


def tilt(way: Ascent, liftoff_s: ArrayLike) -> Array:
    """Angle between the launch plane and the ring's, rad; 0 at a pass, and for a site that never leaves the plane."""
    times = np.asarray(liftoff_s, dtype=np.float64)
    if way.place is None:
        return np.zeros(times.shape)
    off = np.abs(off_plane(way.place, times))
    if way.node_at_touch:
        azimuth = way.azimuth(times)
        reached = launch_plane(way.place, times, np.where(np.isnan(azimuth), 0.0, azimuth)).tilt_rad
        off = np.where(np.isnan(azimuth), np.nan, np.where(off <= AT_PASS_RAD, off, reached))
    return np.where(off <= AT_PASS_RAD, 0.0, off)


@dataclass(frozen=True, kw_only=True)
class LaunchState:
    """A launch plane in the base frame, and the site in it.

    Args:
        inclination_rad, node_rad: of the launch plane.
        site_rad: argument of latitude of the site at liftoff in it.
        rises: whether the craft crosses the ring plane to the left (the side of the ring's angular momentum) where an
            arc of ``node_arc_rad`` is flown from the site, the first crossing; it falls at the next, half a turn on.
        node_arc_rad: that arc, in (0, pi]; NaN at a pass.
    """

    inclination_rad: float
    node_rad: float
    site_rad: float
    rises: bool
    node_arc_rad: float

    def rises_after(self, arc_rad: float) -> bool:
        """Whether the crossing nearest to an arc from the site is a rise."""
        return self.rises == (round((arc_rad - self.node_arc_rad) / math.pi) % 2 == 0)


def launch_state(way: Ascent, liftoff_s: float) -> LaunchState:
    """The plane of one launch from a site that passes through the ring plane.

    Raises:
        ValueError: the site never leaves the plane.
    """
    place = way.place
    if place is None:
        raise ValueError("a site that never leaves the plane launches into it")
    azimuth = float(way.azimuth(liftoff_s))
    right_ascension = place.site0_rad + place.spin_rad_s * liftoff_s
    latitude = place.latitude_rad
    east = np.array([-math.sin(right_ascension), math.cos(right_ascension), 0.0])
    site = np.array([math.cos(latitude) * east[1], -math.cos(latitude) * east[0], math.sin(latitude)])
    heading = math.sin(azimuth) * east + math.cos(azimuth) * np.cross(site, east)
    normal = np.cross(site, heading)
    inclination = math.atan2(math.hypot(normal[0], normal[1]), normal[2])
    node = math.atan2(normal[0], -normal[1])
    flown = launch_plane(place, liftoff_s, azimuth)
    return LaunchState(
        inclination_rad=inclination,
        node_rad=node,
        site_rad=float(frames.latitude_argument(site, inclination, node)),
        rises=bool(flown.rising),
        node_arc_rad=float(flown.arc_rad),
    )


@dataclass(frozen=True, kw_only=True)
class Window:
    """One launch window as a person reads it: the moment (of the pass, or nearest to it), headings, direction.

    Args:
        from_s, to_s: the span around it in which the site may launch; alike where it may at the pass only.
        azimuth_rad, flight_azimuth_rad: inertial, and over the turning ground.
    """

    time_s: float
    from_s: float
    to_s: float
    ascending: bool
    azimuth_rad: float
    flight_azimuth_rad: float
    in_corridor: bool


def windows_of(
    body: Body, ring: Ring, pad: Pad, plane: int, insertion_speed_m_s: float, from_s: float, to_s: float
) -> tuple[Window, ...]:
    """The launch windows of a site into a plane in a span of time, in order, those outside its corridor too."""
    place = SiteAndPlane.of(body, pad, ring, plane)
    found = passes(place, from_s, to_s).time_s
    spans = within(place, pad.plane_tolerance_rad, from_s, to_s) if pad.plane_tolerance_rad > 0.0 else np.empty((0, 2))
    moments = [(time, *_span_of(spans, time)) for time in found.tolist()]
    if not moments and least_angle(place) > 0.0:
        # the site comes near the plane without reaching it: nearest in the middle of a span
        moments = [(0.5 * (start + end), start, end) for start, end in spans.tolist()]
    if not moments:
        return ()
    times = np.array([time for time, _, _ in moments])
    azimuth = azimuth_of_least_tilt(place, times)
    over_ground = flight_azimuth(body, pad, insertion_speed_m_s, azimuth)
    admitted = corridor_admits(body, pad, insertion_speed_m_s, azimuth)
    northward = np.cos(place.from_node(times)) > 0.0
    return tuple(
        Window(
            time_s=time,
            from_s=start,
            to_s=end,
            ascending=bool(northward[i]),
            azimuth_rad=float(azimuth[i]),
            flight_azimuth_rad=float(over_ground[i]),
            in_corridor=bool(admitted[i]),
        )
        for i, (time, start, end) in enumerate(moments)
    )


def _span_of(spans: Array, time_s: float) -> tuple[float, float]:
    for start, end in spans.tolist():
        if start <= time_s <= end:
            return start, end
    return time_s, time_s
