"""The course of a craft that touches the ring, phases there or not, and is in its slot: what such routes share.

Burns are those of point-mass gravity at the touches that the catalogue planned with: over an oblate body a first
guess, in which burns of nothing are kept for the correction to fill, and the last one waits for the apsis, which has
turned meanwhile.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ...models import oblate_coast as coast
from ...models import orbits
from ...models.flight.integrate import Impulse, Itinerary
from ...models.oblateness import apsis_lag
from ..problem.options import Option
from ..problem.problem import Problem
from .course import NO_BURN_M_S, Course
from .differential_correction import IN_PLANE, Target, Unknown

AlongBurn = tuple[float, float]
"""Time of a burn, s, and its part along the track, m/s."""


@dataclass(frozen=True, kw_only=True)
class Begun:
    """A craft on its way to the touch of the ring at which it phases, or burns once.

    Args:
        start_s, position, velocity: where it starts.
        burn_s: when it touches the ring there.
        arrival_speed_m_s, speed_m_s: before and after the burn there.
        touch_m: radius of the touch, None for the ring's.
        must_burn: whether it dips below the floor unless it burns there.
        burns: those before.
        unknowns: what a correction may change of these.
        dips_m: radii of the periapsides that it passes before.
        insertion_s, waits_between: see `Course`.
    """

    start_s: float
    position: np.ndarray
    velocity: np.ndarray
    burn_s: float
    arrival_speed_m_s: float
    speed_m_s: float
    touch_m: float | None
    must_burn: bool
    burns: tuple[AlongBurn, ...] = ()
    unknowns: tuple[Unknown, ...] = ()
    dips_m: tuple[float, ...] = ()
    insertion_s: float | None = None
    waits_between: tuple[int | None, int] | None = None


@dataclass(frozen=True, kw_only=True)
class RingBurns:
    """All burns along the track up to the last one at the ring, at ``finish_s``; the periapsides passed till then."""

    burns: tuple[AlongBurn, ...]
    finish_s: float
    dips_m: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class PlaneBurns:
    """The burns with what turns the plane: parts across, and burns more than those along the track.

    Args:
        burns, crosses: all burns, and the part of each across.
        at_ring, first_at_ring: the last burn at the ring and the one that begins the phasing, from the end.
        unknowns: what a correction may change to aim the plane.
        targets: what it is to meet.
        corrected: whether there is always something to correct.
    """

    burns: tuple[AlongBurn, ...]
    crosses: tuple[float, ...]
    at_ring: int = -1
    first_at_ring: int = -2
    unknowns: tuple[Unknown, ...] = ()
    targets: tuple[Target, ...] = IN_PLANE
    corrected: bool = False

    @classmethod
    def none(cls, done: RingBurns) -> PlaneBurns:
        """No turning of the plane."""
        return cls(burns=done.burns, crosses=(0.0,) * len(done.burns))


def ring_burns(problem: Problem, one: Option, begun: Begun) -> RingBurns:
    """The burns at the ring: one, or two around the phasing."""
    ring = problem.ring
    radius, circular, speed = ring.radius_m, ring.speed_m_s, begun.speed_m_s
    arrival = begun.arrival_speed_m_s
    finish_s = one.finish_s - one.turn_after_s
    first, last = (circular if one.revolutions == 0 else speed) - arrival, circular - speed
    if problem.oblate:
        settled, leaving = (
            coast.real_speed(problem.scenario.body, ring, v, begun.touch_m or radius) for v in (circular, speed)
        )
        first, last = (0.0 if one.revolutions == 0 else leaving - settled) + circular - arrival, settled - leaving
    burns, dips = [*begun.burns, (begun.burn_s, first)], list(begun.dips_m)
    if one.revolutions > 0:
        semi = float(orbits.semi_major_from_speed(ring.gm, radius, speed))
        if problem.oblate:
            # where the craft is back at its apsis, so that the last burn need not turn its velocity
            lag = apsis_lag(problem.scenario.body, semi, abs(radius - semi) / semi, ring.inclination_rad)
            finish_s += lag * (finish_s - begun.burn_s)
        burns.append((finish_s, last))
        dips.append(min(2.0 * semi - radius, radius))
    return RingBurns(burns=tuple(burns), finish_s=finish_s, dips_m=tuple(dips))


def tangent_course(
    problem: Problem, one: Option, begun: Begun, done: RingBurns, plane: PlaneBurns, *, finite: bool
) -> Course:
    """The course with all its burns, and what a correction by the flight may change.

    ``finite``: whether its burns take time, so that they are corrected by the flight over a round body too.
    """
    ring, phases = problem.ring, one.revolutions > 0
    corrected = (problem.oblate or finite) and (plane.corrected or phases or abs(done.burns[-1][1]) > NO_BURN_M_S)
    unknowns = begun.unknowns
    if phases:
        unknowns += (Unknown(plane.first_at_ring, "along"),)
    unknowns += (Unknown(plane.at_ring, "radial"), Unknown(plane.at_ring, "along"))
    if finite and not phases and not begun.burns:
        # arriving in place, only the moment of its one burn is left to choose
        unknowns += (Unknown(plane.at_ring, "time"),)
    impulses = tuple(
        Impulse(time_s=time, radial_m_s=0.0, along_m_s=along, cross_m_s=cross)
        for (time, along), cross in zip(plane.burns, plane.crosses, strict=True)
        if corrected or math.hypot(along, cross) > NO_BURN_M_S
    )
    stays_s = 0.0 if impulses else max(done.finish_s - begun.start_s, 0.0)
    return Course(
        itinerary=Itinerary.through_turn(
            min(begun.start_s, begun.burn_s), begun.position, begun.velocity, impulses, ring, stays_s
        ),
        insertion_s=begun.insertion_s,
        screened_from_s=begun.start_s,
        periapsis_m=min(done.dips_m, default=None),
        must_burn=begun.must_burn,
        unknowns=unknowns + plane.unknowns if corrected else (),
        targets=plane.targets,
        last_at_ring=plane.at_ring,
        plane=one.slot // ring.slots,
        phasing_burn=len(impulses) + plane.first_at_ring if phases and len(impulses) == len(plane.burns) else None,
        waits_between=begun.waits_between,
    )
