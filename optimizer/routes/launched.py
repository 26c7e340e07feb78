"""What launched craft share: options from a touch of the ring, the start at insertion, burns that turn the plane."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ...models import orbits
from ...models.launch import Ascent
from ...models.opportunities import launch_state, tilt
from ..problem.options import F, Option, Options
from ..problem.phasing import Phasings
from ..problem.problem import Problem
from ..trajectory.course import Course
from ..trajectory.differential_correction import IN_PLANE, Unknown
from ..trajectory.start_state import inserted, later
from ..trajectory.tangent import AlongBurn, Begun, PlaneBurns, RingBurns, ring_burns, tangent_course
from .launch_tilt import apsis_burns
from .route import Launches, row_of


def from_touch(way: Ascent, asked: Launches, chosen: Phasings, lead: F, waited_s: F) -> Options:
    """Options of a launched craft from its phasing choices at the first touch of the ring.

    Args:
        chosen: rows point into the pairs of liftoff and slot.
        lead: rad, (n,), at the touch.
        waited_s: in a parking orbit, (n,).
    """
    n, row, radius = chosen.row.size, chosen.row, asked.touch.ring.radius_m
    other = orbits.other_apsis(asked.touch.ring.gm, radius, chosen.speed_m_s)
    touch_s = asked.liftoff_s[row] + way.after_s + waited_s[row]
    return Options(
        slot=asked.slot[row],
        pad=np.full(n, way.pad),
        way=np.full(n, asked.way),
        liftoff_s=asked.liftoff_s[row],
        parking_wait_s=waited_s[row],
        revolutions=chosen.revolutions,
        ring_revolutions=chosen.ring_revolutions,
        touch_s=touch_s,
        burn_s=touch_s,
        finish_s=touch_s + chosen.wait_s,
        lead_rad=lead[row],
        speed_m_s=chosen.speed_m_s,
        delta_v_m_s=way.entry_delta_v_m_s + chosen.cost_m_s,
        lowest_m=np.minimum(np.minimum(other, radius), way.insertion.radius_m),
        highest_m=np.maximum(other, radius),
    )


@dataclass(frozen=True, kw_only=True)
class Launched(Begun):
    """A craft at its insertion: by which way up, and how much later than at the pass it lifted off, s."""

    way: Ascent
    late_s: float


def begun(problem: Problem, options: Options, row: int, late_s: float | None) -> Launched:
    """A craft let go at its insertion, coasting to the ring.

    ``late_s``: how much later than at the pass it lifts off; None: so that its plane is the ring's at the end.
    """
    ring, one = problem.ring, options.one(row)
    way = problem.ways[one.way]
    late = float(later(problem, way, row_of(options, row))[0]) if late_s is None else late_s
    start_s = one.liftoff_s + late + way.insertion_after_s
    position, velocity = inserted(problem, way, one.liftoff_s, late, start_s)
    burn_s, speed = one.burn_s + late, one.speed_m_s
    if late and one.revolutions:
        period_s = (one.finish_s - one.turn_after_s - burn_s) / one.revolutions
        speed = float(problem.touch(way.arrival_speed_m_s).speed(np.array(period_s / ring.period_s)))
    return Launched(
        way=way,
        late_s=late,
        start_s=start_s,
        position=position,
        velocity=velocity,
        burn_s=burn_s,
        arrival_speed_m_s=way.arrival_speed_m_s,
        speed_m_s=speed,
        touch_m=way.arrival_radius_m,
        must_burn=not way.parking and way.periapsis_m < problem.scenario.floor_m * (1.0 - 1e-9),
        insertion_s=start_s,
    )


def launched_course(problem: Problem, one: Option, start: Launched, *, finite: bool) -> Course:
    """The course from insertion on; off the plane with the burns that take the tilt off."""
    done = ring_burns(problem, one, start)
    return tangent_course(problem, one, start, done, _plane_burns(problem, one, start, done), finite=finite)


def _plane_burns(problem: Problem, one: Option, start: Launched, done: RingBurns) -> PlaneBurns:
    """The burns of a launch from a site that passes through the plane."""
    way = start.way
    if way.place is None:
        return PlaneBurns.none(done)
    turned_s = done.finish_s + one.turn_after_s + (0.0 if one.revolutions else start.late_s)
    burns, crosses = _tilted(problem, way, one, list(done.burns), turned_s)
    at_ring = -2 if way.tilt_at == "node" else -1
    # the moment of liftoff turns the plane about the pole, a cross part about the burn: together they aim it
    aims = not (way.tilt_at == "kept" and float(tilt(way, one.liftoff_s)) > 0.0)
    unknowns: tuple[Unknown, ...] = (Unknown(-1, "cross"), Unknown(0, "launch")) if aims else ()
    if aims and way.tilt_at == "node":
        # far from the equator both turn it about the same line, and what is left is aimed from the touch
        unknowns = (Unknown(-2, "cross"), *unknowns)
    return PlaneBurns(
        burns=tuple(burns),
        crosses=tuple(crosses),
        at_ring=at_ring,
        first_at_ring=at_ring - 1,
        unknowns=unknowns,
        targets=(*IN_PLANE, "plane") if aims else IN_PLANE,
    )


def _tilted(
    problem: Problem, way: Ascent, one: Option, burns: list[AlongBurn], turned_s: float
) -> tuple[list[AlongBurn], list[float]]:
    """The burns of a launch off the plane: times and parts along, with those across; one more for a separate node.

    ``turned_s``: when that one comes.
    """
    ring, liftoff = problem.ring, one.liftoff_s
    angle = float(tilt(way, liftoff))
    if angle == 0.0 or way.tilt_at == "kept":
        crosses = [0.0] * len(burns)
        return (burns, crosses) if way.tilt_at != "node" else ([*burns, (turned_s, 0.0)], [*crosses, 0.0])
    launched = launch_state(way, liftoff)
    if way.tilt_at == "node":
        there = ring.phase(one.finish_s, one.slot)
        passed = float(there) - float(way.insertion_angle(liftoff))
        down = -1.0 if launched.rises_after(passed + way.insertion_angle0_rad) else 1.0
        speed = ring.speed_m_s
        burn = (turned_s, speed * (math.cos(angle) - 1.0))
        return [*burns, burn], [0.0] * len(burns) + [down * speed * math.sin(angle)]
    plan = apsis_burns(way, ring, np.array([one.speed_m_s]), np.array([one.revolutions]), np.array([angle]))
    # where the touch is on the flight from the site: a wait in a parking orbit leads there by whole half turns
    waited = one.parking_wait_s * (way.parking_rate_rad_s or 0.0)
    at_touch = launched.rises_after(way.angle0_rad + waited)
    out: list[AlongBurn] = []
    crosses = []
    for index, ((time, along), opposite) in enumerate(zip(burns, plan.opposite, strict=True)):
        share = float(plan.share_rad[0, index])
        after = float(plan.before_m_s[0, index]) + along
        out.append((time, along + after * (math.cos(share) - 1.0)))
        crosses.append((-1.0 if at_touch != opposite else 1.0) * after * math.sin(share))
    return out, crosses
