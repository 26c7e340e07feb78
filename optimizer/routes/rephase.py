"""A craft in space already, on the ring or at an apsis that touches it: phase at once, or after j passes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...models import frames, orbits, scenario
from ...models import oblate_coast as coast
from ...models.ring import Ring
from ...models.scenario import Body, Craft, Orbit
from .options import ROUTES, F, I, Options
from .phasing import LIMIT_SLACK, Phasings, Touch, Wanted, best_phasing, every_phasing


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


def options(
    touch: Touch,
    start: Standing,
    slot: I,
    *,
    craft_class: int,
    wanted: Wanted | None = None,
    floor_m: float,
    ceiling_m: float,
    passes: range | None = None,
    prune: bool = False,
) -> Options:
    """Columns for each slot of ``slot``, every (j, k, m) within the limits, dominated ones too.

    ``passes``: which j are examined, of :func:`passes_of`; all unless given. ``prune``: for each slot and j only what
    no other (k, m) beats in delta-v and time.
    """
    ring = touch.ring
    other = start.other_m
    several = passes_of(touch, start, floor_m, ceiling_m) if passes is None else passes
    let_by = np.repeat(np.array(several), slot.size)
    slots = np.tile(slot, len(several))
    burn: F = np.asarray(start.first_s + let_by * start.period_s, dtype=np.float64)
    lead = frames.wrap(ring.phase(burn, slots) - start.angle_rad - let_by * start.advance_rad)
    chosen = (best_phasing if prune else every_phasing)(touch, lead, wanted)
    # of options alike in cost and time the one that starts soonest comes first, and is kept
    soonest = np.argsort(let_by[chosen.row], kind="stable")
    chosen = Phasings(**{name: column[soonest] for name, column in vars(chosen).items()})
    row = chosen.row
    finish = burn[row] + chosen.wait_s
    flown_other = 2.0 * orbits.semi_major_from_speed(ring.gm, ring.radius_m, chosen.speed_m_s) - ring.radius_m
    before = np.where((let_by[row] > 0) | start.passed_other, other, min(ring.radius_m, start.begin_m))
    columns = Options(
        craft_class=np.full(row.size, craft_class),
        slot=slots[row],
        route=np.full(row.size, ROUTES.index("shift")),
        pad=np.full(row.size, -1),
        way=np.full(row.size, -1),
        flight=np.full(row.size, -1),
        liftoff_s=np.full(row.size, np.nan),
        parking_wait_s=np.zeros(row.size),
        passes=let_by[row],
        revolutions=chosen.revolutions,
        ring_revolutions=chosen.ring_revolutions,
        touch_s=np.full(row.size, start.first_s),
        burn_s=burn[row],
        finish_s=finish,
        lead_rad=lead[row],
        speed_m_s=chosen.speed_m_s,
        turn_after_s=np.zeros(row.size),
        delta_v_m_s=chosen.cost_m_s,
        lowest_m=np.minimum(np.minimum(flown_other, ring.radius_m), before),
        highest_m=np.maximum(np.maximum(flown_other, ring.radius_m), before),
    )
    return columns.take(within_wait(columns, touch.wait_within_s))


def passes_of(touch: Touch, start: Standing, floor_m: float, ceiling_m: float) -> range:
    """How many touches a craft may let by before its first burn: none where it is on the ring, or unsafe."""
    other = start.other_m
    safe = other >= floor_m * (1.0 - LIMIT_SLACK) and other <= ceiling_m * (1.0 + LIMIT_SLACK)
    return range(1 if start.on_ring or not safe else touch.revolutions_max + 1)


def within_wait(columns: Options, wait_within_s: float) -> np.ndarray:
    """Mask of the options in their slot soon enough after first reaching the ring."""
    return np.asarray(columns.finish_s - columns.touch_s <= wait_within_s * (1.0 + LIMIT_SLACK))
