"""Where and when a craft in space touches the ring."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...models import oblate_coast as coast
from ...models import orbits, scenario
from ...models.ring import Ring
from ...models.scenario import Body, Craft, Orbit


@dataclass(frozen=True, kw_only=True)
class Standing:
    """A craft in space in terms of its touches of the ring.

    ``first_s`` first touch at or after its first possible burn (that moment itself on a circular orbit on the ring),
    ``angle_rad`` its argument of latitude then, ``period_s`` from touch to touch, ``other_m`` its orbit's other apsis,
    ``on_ring`` whether it is on the ring all the time, ``passed_other`` whether it passes the other apsis before.
    ``advance_rad`` is how far each touch is ahead of the last one: the line of apsides turns over an oblate body;
    ``touch_m`` the radius of the touch where it is not the ring's own. ``begin_m`` is the radius at the epoch of a
    craft that climbs to its first touch from there, infinite for every other. ``touches`` is False for an orbit that
    crosses the ring or stays away from it: ``first_s`` is then its first crossing, infinite if there is none, and no
    phasing orbit begins there.
    """

    first_s: float
    angle_rad: float
    speed_m_s: float
    period_s: float
    other_m: float
    on_ring: bool
    passed_other: bool
    advance_rad: float = 0.0
    touch_m: float | None = None
    begin_m: float = np.inf
    touches: bool = True


def standing(ring: Ring, craft: Craft, body: Body | None = None) -> Standing:
    """Where and when a craft in space touches the ring: by Kepler's laws, or as flown where the body is oblate.

    Raises ValueError for a craft on the ground.
    """
    if craft.orbit is None:
        raise ValueError(f"craft {craft.name!r} is on the ground")
    orbit = craft.orbit
    ready = max(craft.ready_s, 0.0)
    off_m = max(abs(orbit.periapsis_m - ring.radius_m), abs(orbit.apoapsis_m - ring.radius_m))
    # a circle as near as a file rounds the ring's radius is the ring; any other is a separate orbit
    on_ring = off_m <= 1.0 or (orbit.circular and scenario.on_ring(orbit.apoapsis_m, ring.radius_m))
    if on_ring:
        return Standing(
            first_s=ready,
            angle_rad=float(orbit.angle_rad + ring.rate_rad_s * (ready - orbit.at_s)),
            speed_m_s=ring.speed_m_s,
            period_s=ring.period_s,
            other_m=ring.radius_m,
            on_ring=True,
            passed_other=False,
        )
    if not any(scenario.on_ring(apsis, ring.radius_m) for apsis in (orbit.periapsis_m, orbit.apoapsis_m)):
        return _away(ring, orbit, ready)
    apoapsis_touches = abs(orbit.apoapsis_m - ring.radius_m) <= abs(orbit.periapsis_m - ring.radius_m)
    other = orbit.periapsis_m if apoapsis_touches else orbit.apoapsis_m
    semi = 0.5 * (ring.radius_m + other)
    period = float(orbits.period(ring.gm, semi))
    if body is not None and body.j2 != 0.0:
        seen = coast.passages(body, ring, orbit)
        passed = int(np.ceil((ready - seen.touch_s) / seen.period_s - 1e-12))
        first = seen.touch_s + passed * seen.period_s
        return Standing(
            first_s=first,
            angle_rad=seen.angle_rad + passed * seen.advance_rad,
            speed_m_s=seen.speed_m_s,
            period_s=seen.period_s,
            other_m=other,
            on_ring=False,
            passed_other=bool(first >= 0.5 * seen.period_s),
            advance_rad=seen.advance_rad,
            touch_m=seen.radius_m,
            begin_m=_begin_m(ring, orbit),
        )
    names_touch = orbit.at == ("apoapsis" if apoapsis_touches else "periapsis")
    touch = orbit.at_s + (0.0 if names_touch else 0.5 * period)
    angle = orbit.angle_rad + (0.0 if names_touch else np.pi)
    first = touch + period * np.ceil((ready - touch) / period - 1e-12)
    return Standing(
        first_s=float(first),
        angle_rad=float(angle),
        speed_m_s=float(orbits.speed(ring.gm, ring.radius_m, semi)),
        period_s=period,
        other_m=other,
        on_ring=False,
        passed_other=bool(first >= 0.5 * period),
        begin_m=_begin_m(ring, orbit),
    )


def _begin_m(ring: Ring, orbit: Orbit) -> float:
    """Radius at the epoch by the orbit as given; infinite where that is no less than the ring's."""
    radius = float(np.linalg.norm(coast.point_mass_state(ring, orbit, 0.0, on_ring=False)[0]))
    return radius if radius < ring.radius_m else np.inf


def _away(ring: Ring, orbit: Orbit, ready_s: float) -> Standing:
    """A craft whose orbit does not touch the ring: where it first crosses the ring's radius, if it does (conic)."""
    periapsis, apoapsis = orbit.periapsis_m, orbit.apoapsis_m
    period = float(orbits.period(ring.gm, 0.5 * (periapsis + apoapsis)))
    to_periapsis = orbit.angle_rad - (np.pi if orbit.at == "apoapsis" else 0.0)
    first, angle = np.inf, orbit.angle_rad
    if periapsis < ring.radius_m < apoapsis:
        anomaly = orbits.anomaly_at(periapsis, apoapsis, ring.radius_m)
        after = orbits.time_from_periapsis(ring.gm, periapsis, apoapsis, anomaly)
        passage = orbit.at_s - (0.5 * period if orbit.at == "apoapsis" else 0.0)
        moments = [(passage + after, anomaly), (passage - after, -anomaly)]
        crossings = [(t + period * np.ceil((ready_s - t) / period - 1e-12), to_periapsis + v) for t, v in moments]
        first, angle = min(crossings)
    return Standing(
        first_s=float(first),
        angle_rad=float(angle),
        speed_m_s=ring.speed_m_s,
        period_s=period,
        other_m=periapsis,
        on_ring=False,
        passed_other=False,
        touches=False,
    )
