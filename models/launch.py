"""From a launch site in the ring plane to the first touch of the ring.

The site turns with the body, the ring with its own rate, so the slot's lead on arrival changes at a constant rate with
the moment of liftoff. Two-body; the ascent itself is a given time and a given angle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from . import orbits
from .ring import Ring
from .scenario import Body, Insertion, Pad
from .scope import on_ring


@dataclass(frozen=True, kw_only=True)
class Ascent:
    """One way up: how a liftoff at time t reaches the ring, without any wait in a parking orbit.

    Args:
        after_s: from liftoff to the first touch of the ring radius.
        coast_s: the part of it from insertion (from leaving the parking orbit, where there is one) to that touch.
        insertion_after_s: from liftoff to insertion.
        angle0_rad: argument of latitude of the touch for a liftoff at time 0; it grows at ``site_rate_rad_s``.
        site_rate_rad_s: rate of the site's argument of latitude.
        arrival_speed_m_s: speed v_t at the touch.
        periapsis_m: lower apsis of the coast to the ring (of the transfer, from a parking orbit).
        entry_delta_v_m_s: burn that leaves the parking orbit, 0 for a direct insertion.
        parking_rate_rad_s: rate of the parking orbit, None for a direct insertion.
        insertion_speed_m_s: inertial speed that the launcher must give.
        insertion_angle0_rad: argument of latitude of the insertion for a liftoff at time 0.
        insertion_anomaly_rad: true anomaly at insertion.
        arrival_radius_m: radius of the touch where it is not the ring's own: over an oblate body an insertion taken as
            given may turn short of it. None where it is.
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

    @property
    def parking(self) -> bool:
        """Whether the way leads through a parking orbit."""
        return self.parking_rate_rad_s is not None


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


def ascent(body: Body, ring: Ring, pad: Pad, pad_index: int, insertion: Insertion) -> Ascent:
    """The way up by one insertion: direct with its apoapsis on the ring, else by parking orbit and Hohmann transfer.

    Sources: orbit equation and Kepler's equation for the coast; Hohmann transfer (Vallado, section 6.3).
    """
    site, site_rate = site_angle(body, pad, ring.inclination_rad, ring.node_rad)
    anomaly = orbits.anomaly_at(insertion.periapsis_m, insertion.apoapsis_m, insertion.radius_m)
    insertion_angle = site + pad.downrange_rad
    semi = 0.5 * (insertion.periapsis_m + insertion.apoapsis_m)
    gm, radius = body.gm, ring.radius_m
    speed_at_insertion = float(orbits.speed(gm, insertion.radius_m, semi))
    if on_ring(insertion.apoapsis_m, radius):
        # aim the apoapsis at the ring itself: the file may round it
        semi = 0.5 * (insertion.periapsis_m + radius)
        on_arrival = insertion.circular or insertion.radius_m >= radius
        anomaly = math.pi if on_arrival else orbits.anomaly_at(insertion.periapsis_m, radius, insertion.radius_m)
        coast = float(orbits.period(gm, semi)) / 2.0 - orbits.time_from_periapsis(
            gm, insertion.periapsis_m, radius, anomaly
        )
        return Ascent(
            pad=pad_index,
            insertion=insertion,
            after_s=pad.ascent_s + coast,
            coast_s=coast,
            insertion_after_s=pad.ascent_s,
            angle0_rad=insertion_angle + math.pi - anomaly,
            site_rate_rad_s=site_rate,
            arrival_speed_m_s=float(orbits.speed(gm, radius, semi)),
            periapsis_m=insertion.periapsis_m,
            entry_delta_v_m_s=0.0,
            parking_rate_rad_s=None,
            insertion_speed_m_s=float(orbits.speed(gm, insertion.radius_m, semi)),
            insertion_angle0_rad=insertion_angle,
            insertion_anomaly_rad=anomaly,
        )
    transfer = 0.5 * (insertion.radius_m + radius)
    coast = float(orbits.period(gm, transfer)) / 2.0
    return Ascent(
        pad=pad_index,
        insertion=insertion,
        after_s=pad.ascent_s + coast,
        coast_s=coast,
        insertion_after_s=pad.ascent_s,
        angle0_rad=insertion_angle + math.pi,
        site_rate_rad_s=site_rate,
        arrival_speed_m_s=float(orbits.speed(gm, radius, transfer)),
        periapsis_m=min(insertion.radius_m, radius),
        entry_delta_v_m_s=abs(float(orbits.speed(gm, insertion.radius_m, transfer)) - speed_at_insertion),
        parking_rate_rad_s=float(orbits.rate(gm, insertion.radius_m)),
        insertion_speed_m_s=speed_at_insertion,
        insertion_angle0_rad=insertion_angle,
        insertion_anomaly_rad=0.0,
    )


def lead_on_arrival(ring: Ring, way: Ascent, liftoff_s: np.ndarray, slot: np.ndarray) -> np.ndarray:
    """How far a slot is ahead on arrival at the ring, rad, not wrapped; broadcasts over liftoffs and slots."""
    return ring.phase(liftoff_s + way.after_s, slot) - (way.angle0_rad + way.site_rate_rad_s * liftoff_s)
