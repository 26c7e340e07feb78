"""From a launch site to the first touch of the ring.

The site turns with the body, the ring with its own rate, so the slot's lead on arrival changes at a constant rate with
the moment of liftoff. Two-body; the ascent itself is a given time and a given angle.

A site that is in the ring plane at every moment has one such way up by each insertion. One that only passes through it
has several: on the way north and on the way south, and, off the plane, by what becomes of the tilt that is left.
Angles in a tilted plane count from the relative node, where it crosses the ring plane: turning it about that line
leaves them as they are.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from . import orbits
from .arrays import Array
from .azimuth import azimuth_for_arc, azimuth_of_least_tilt, launch_plane
from .insertions import Insertion
from .ring import Ring
from .scenario import Body, Pad, on_ring
from .site_and_plane import SiteAndPlane
from .windows import longitude_beside

TiltAt = Literal["kept", "apsis", "node"]
"""What becomes of the tilt of a launch off the plane: kept, since the ring allows it; taken off in the burns at the
apsides, which then lie on the relative node; or in a separate burn at that node, after the last one at the ring."""


@dataclass(frozen=True, kw_only=True)
class Ascent:
    """One way up: how a liftoff at time t reaches the ring, without any wait in a parking orbit.

    Args:
        after_s: from liftoff to the first touch of the ring radius.
        coast_s: the part of it from insertion (from leaving the parking orbit, where there is one) to that touch.
        insertion_after_s: from liftoff to insertion.
        angle0_rad: argument of latitude of the touch for a liftoff at time 0; it grows at ``site_rate_rad_s``. For a
            site that passes through the plane: how far the touch is from the site along the flight (see ``angle``).
        site_rate_rad_s: rate of the site's argument of latitude, 0 for a site that passes through the plane.
        arrival_speed_m_s: speed v_t at the touch.
        periapsis_m: lower apsis of the coast to the ring (of the transfer, from a parking orbit).
        entry_delta_v_m_s: burn that leaves the parking orbit, 0 for a direct insertion.
        parking_rate_rad_s: rate of the parking orbit, None for a direct insertion.
        insertion_speed_m_s: inertial speed that the launcher must give.
        insertion_angle0_rad: the same as ``angle0_rad`` for the insertion.
        insertion_anomaly_rad: true anomaly at insertion.
        arrival_radius_m: radius of the touch where it is not the ring's own: over an oblate body an insertion taken as
            given may turn short of it. None where it is.
        plane: of the ring.
        place: site and plane where the site only passes through it, None where it never leaves it.
        ascending: whether this is the way up while the plane's motion beside the site leads north.
        tilt_at: what becomes of a tilt.
    """

    pad: int
    insertion: Insertion
    after_s: float
    coast_s: float
    insertion_after_s: float
    angle0_rad: float
    site_rate_rad_s: float
    arrival_speed_m_s: float
    periapsis_m: float
    entry_delta_v_m_s: float
    parking_rate_rad_s: float | None
    insertion_speed_m_s: float
    insertion_angle0_rad: float
    insertion_anomaly_rad: float
    arrival_radius_m: float | None = None
    plane: int = 0
    place: SiteAndPlane | None = None
    ascending: bool = True
    tilt_at: TiltAt = "kept"

    @property
    def parking(self) -> bool:
        """Whether the way leads through a parking orbit."""
        return self.parking_rate_rad_s is not None

    @property
    def node_at_touch(self) -> bool:
        """Whether the launch itself is aimed so that its relative node is where the coast touches the ring."""
        return self.tilt_at == "apsis" and not self.parking

    def angle(self, liftoff_s: ArrayLike) -> Array:
        """Argument of latitude of the touch, rad, not wrapped; without a wait in a parking orbit."""
        return self._from_site(self.angle0_rad, np.asarray(liftoff_s, dtype=np.float64))

    def insertion_angle(self, liftoff_s: ArrayLike) -> Array:
        """Argument of latitude of the insertion, rad, not wrapped."""
        return self._from_site(self.insertion_angle0_rad, np.asarray(liftoff_s, dtype=np.float64))

    def azimuth(self, liftoff_s: ArrayLike) -> Array:
        """Inertial azimuth to fly from a site that passes through the plane, rad; NaN where none puts the node right.

        Raises:
            ValueError: the site never leaves the plane.
        """
        if self.place is None:
            raise ValueError("a site that never leaves the plane has one azimuth and no windows")
        if self.node_at_touch:
            return azimuth_for_arc(self.place, liftoff_s, self.angle0_rad)
        return azimuth_of_least_tilt(self.place, liftoff_s)

    def _from_site(self, ahead_rad: float, liftoff_s: Array) -> Array:
        if self.place is None:
            return np.asarray(ahead_rad + self.site_rate_rad_s * liftoff_s)
        if not self.node_at_touch:
            return np.asarray(ahead_rad + longitude_beside(self.place, liftoff_s))
        azimuth = self.azimuth(liftoff_s)
        flown = launch_plane(self.place, liftoff_s, np.where(np.isnan(azimuth), 0.0, azimuth))
        site = np.where(
            np.isnan(flown.arc_rad), longitude_beside(self.place, liftoff_s), flown.node_angle_rad - flown.arc_rad
        )
        return np.asarray(ahead_rad + np.where(np.isnan(azimuth), np.nan, site))


def site_angle(body: Body, pad: Pad, inclination_rad: float, node_rad: float) -> tuple[float, float]:
    """Argument of latitude of a site in the ring plane at time 0, and its rate, rad and rad/s.

    The rate is the body's spin seen along the ring: negative for a retrograde ring over a forward-turning body.
    """
    longitude = pad.longitude_rad + body.prime_meridian_rad
    cos_latitude = math.cos(pad.latitude_rad)
    site = (cos_latitude * math.cos(longitude), cos_latitude * math.sin(longitude), math.sin(pad.latitude_rad))
    towards_node = (math.cos(node_rad), math.sin(node_rad), 0.0)
    cos_i, sin_i = math.cos(inclination_rad), math.sin(inclination_rad)
    quarter_ahead = (-math.sin(node_rad) * cos_i, math.cos(node_rad) * cos_i, sin_i)
    angle = math.atan2(
        sum(a * b for a, b in zip(site, quarter_ahead, strict=True)),
        sum(a * b for a, b in zip(site, towards_node, strict=True)),
    )
    return angle, body.spin_rad_s * cos_i


@dataclass(frozen=True, kw_only=True)
class Heading:
    """Which of a site's ways into which plane; see :class:`Ascent` for the fields."""

    plane: int = 0
    place: SiteAndPlane | None = None
    ascending: bool = True
    tilt_at: TiltAt = "kept"


IN_PLANE = Heading()


def ascent(
    body: Body, ring: Ring, pad: Pad, pad_index: int, insertion: Insertion, heading: Heading = IN_PLANE
) -> Ascent:
    """The way up by one insertion: direct with its apoapsis on the ring, else by parking orbit and Hohmann transfer.

    Sources: orbit equation and Kepler's equation for the coast; Hohmann transfer (Vallado, section 6.3).
    """
    site, site_rate = 0.0, 0.0
    if heading.place is None:
        site, site_rate = site_angle(body, pad, ring.inclination_rad, ring.node(0.0, heading.plane))
    gm, radius = body.gm, ring.radius_m
    direct = on_ring(insertion.apoapsis_m, radius)
    if direct:
        # aim the apoapsis at the ring itself: the file may round it
        periapsis, semi = insertion.periapsis_m, 0.5 * (insertion.periapsis_m + radius)
        on_arrival = insertion.circular or insertion.radius_m >= radius
        anomaly = math.pi if on_arrival else orbits.anomaly_at(periapsis, radius, insertion.radius_m)
        speed = float(orbits.speed(gm, insertion.radius_m, semi))
        coast = float(orbits.period(gm, semi)) / 2.0 - orbits.time_from_periapsis(gm, periapsis, radius, anomaly)
        entry = 0.0
    else:
        periapsis, semi = min(insertion.radius_m, radius), 0.5 * (insertion.radius_m + radius)
        anomaly = 0.0
        speed = float(orbits.speed(gm, insertion.radius_m, 0.5 * (insertion.periapsis_m + insertion.apoapsis_m)))
        coast = float(orbits.period(gm, semi)) / 2.0
        entry = abs(float(orbits.speed(gm, insertion.radius_m, semi)) - speed)
    insertion_angle = site + pad.downrange_rad
    return Ascent(
        pad=pad_index,
        insertion=insertion,
        after_s=pad.ascent_s + coast,
        coast_s=coast,
        insertion_after_s=pad.ascent_s,
        angle0_rad=insertion_angle + math.pi - anomaly,
        site_rate_rad_s=site_rate,
        arrival_speed_m_s=float(orbits.speed(gm, radius, semi)),
        periapsis_m=periapsis,
        entry_delta_v_m_s=entry,
        parking_rate_rad_s=None if direct else float(orbits.rate(gm, insertion.radius_m)),
        insertion_speed_m_s=speed,
        insertion_angle0_rad=insertion_angle,
        insertion_anomaly_rad=anomaly,
        plane=heading.plane,
        place=heading.place,
        ascending=heading.ascending,
        tilt_at=heading.tilt_at,
    )


def lead_on_arrival(ring: Ring, way: Ascent, liftoff_s: np.ndarray, slot: np.ndarray) -> np.ndarray:
    """How far a slot is ahead on arrival at the ring, rad, not wrapped; broadcasts over liftoffs and slots."""
    return ring.phase(liftoff_s + way.after_s, slot) - way.angle(liftoff_s)
