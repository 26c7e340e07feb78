"""Craft that a carrier drops, into slots of other planes than its own: the plane is turned by burns of the craft.

Slots of another plane come to where the planes cross as places of the craft's own plane do that are as far from there.
So a craft phases from its drop into such a place, and turns where the planes cross, half a turn later at most. Burns at
the drop may turn the plane as well, about the line through the drop, each as a vector sum of its parts (Vallado 2013,
section 6.4, combined plane change; law of cosines): all of it where the drop is where the planes cross, else as much as
is cheapest for burns along the track of one of a few sizes. What remains is a turn about the line in which the plane is
then crossed. Geometry is exact, of two bodies.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ...models import frames
from ...models.arrays import Rows
from ...models.flight.integrate import Impulse, Itinerary
from ...models.golden_section import least_between
from ...models.planes import combined_delta_v, split, turn_delta_v
from ...models.ring import Ring
from ..problem.options import F, Option
from ..problem.phasing import Phasings
from ..problem.problem import Problem
from ..problem.ways_up import kept_tilt_rad
from ..trajectory.course import Course
from ..trajectory.differential_correction import Unknown
from .carrier_change import level_parts

LOOKS = 64
"""Shares of a turn that are looked at to begin with, each way."""

CLOSER = 60
"""Steps of the search between two of these, each of which leaves 0.62 of the span."""

ALIKE_M_S = 1e-4
"""Costs this close are one: the arc cosine of planes that are nearly one has no more digits."""

BEYOND = (0.0, 0.01, 0.03, 0.1, 0.3)
"""Turns are planned for burns at the drop that come to so much more along the track than the one into the ring, in
circular speeds: who phases on the other side of the ring turns more there, for less."""

NONE_RAD = 1e-6
"""A turn smaller than this is none."""

AIMED_RAD = 0.02
"""A burn that turns by more than this aims the plane by its moment, too."""


@dataclass(frozen=True, kw_only=True)
class Turns(Rows):
    """How craft that are dropped after n arrivals turn into another plane, arrays of shape (n,).

    Args:
        fold_rad: about the line through the drop, in the burns there, positive as a burn along the pole turns.
        rest_rad: where the plane is then crossed, in a burn by itself, of the same sign.
        ahead_rad: from the drop on to that burn, along the motion; a quarter turn where no turn is left, over an oblate
            body: what the flight finds left is aimed from there.
        place_rad: argument of latitude in the other plane that a craft on the ring has in effect as it is dropped.
        least_m_s: what a craft pays for all that.
    """

    fold_rad: F
    rest_rad: F
    ahead_rad: F
    place_rad: F
    least_m_s: F

    def of(self, ring: Ring, before_m_s: float, chosen: Phasings) -> Turned:
        """The turns of craft that phase from the drop, out of an orbit of some speed, each after one arrival."""
        (rows,) = np.nonzero(self.fold_rad)
        total = chosen.cost_m_s.copy()
        own, fold, phases = chosen.speed_m_s[rows], np.abs(self.fold_rad[rows]), chosen.revolutions[rows] > 0
        before = np.stack([np.full(own.size, before_m_s), own], axis=-1)
        after = np.stack([own, np.full(own.size, ring.speed_m_s)], axis=-1)
        shared = combined_delta_v(before, after, split(before, after, fold)).sum(axis=-1)
        total[rows] = np.where(phases, shared, combined_delta_v(before_m_s, ring.speed_m_s, fold))
        return Turned(
            fold_rad=self.fold_rad,
            rest_rad=self.rest_rad,
            after_s=self.ahead_rad / ring.rate_rad_s,
            delta_v_m_s=np.asarray(total + turn_delta_v(ring.speed_m_s, np.abs(self.rest_rad))),
        )


@dataclass(frozen=True, kw_only=True)
class Turned(Rows):
    """The turns of n craft, (n,): see `Turns`; ``after_s`` from the last burn at the ring to the one by itself, and all
    burns together."""

    fold_rad: F
    rest_rad: F
    after_s: F
    delta_v_m_s: F


def crossing_rad(ring: Ring, plane: int, other: int) -> float:
    """Argument of latitude in a plane at which it crosses another one of the ring, and again half a turn on."""
    first, second, pole = frames.plane_axes(ring.inclination_rad, ring.node(0.0, plane))
    line = np.cross(pole, frames.plane_axes(ring.inclination_rad, ring.node(0.0, other))[2])
    return math.atan2(float(line @ second), float(line @ first))


def turns(
    ring: Ring, plane: int, other: int, touch_rad: F, speed_m_s: float, beyond: float = 0.0, *, oblate: bool
) -> Turns:
    """The cheapest turns out of one plane of a ring into another.

    Args:
        touch_rad: argument of latitude of the drops, (n,).
        speed_m_s: at the ring, of the orbit from which craft are dropped.
        beyond: what the burns at the drop come to along the track beyond the one into the ring, in circular speeds.
        oblate: whether planes are aimed by the flight.
    """
    if plane == other:
        none = np.zeros(touch_rad.size)
        return Turns(fold_rad=none, rest_rad=none, ahead_rad=none, place_rad=touch_rad, least_m_s=none)
    # nodes drift alike, so planes cross in one place at all times
    first, second, pole = frames.plane_axes(ring.inclination_rad, ring.node(0.0, plane))
    there = frames.plane_axes(ring.inclination_rad, ring.node(0.0, other))
    u = touch_rad[:, None]
    touch = np.cos(u) * first + np.sin(u) * second
    ahead = np.cos(u) * second - np.sin(u) * first
    # the cosine of what is left of the turn is that of the fold times a, and its sine times b
    a, b = float(pole @ there[2]), -ahead @ there[2]
    whole = math.atan2(float(np.linalg.norm(np.cross(pole, there[2]))), a)

    level = abs(ring.speed_m_s - speed_m_s)
    more = (level + beyond * ring.speed_m_s) ** 2 - level**2

    def cost(fold: F) -> F:
        left = np.arccos(np.clip(a * np.cos(fold) + b * np.sin(fold), -1.0, 1.0))
        burn = combined_delta_v(speed_m_s, ring.speed_m_s, fold)
        return np.asarray(np.sqrt(burn * burn + more) + turn_delta_v(ring.speed_m_s, left))

    fold = _least(cost, whole, b)
    turned = np.cos(fold)[:, None] * pole - np.sin(fold)[:, None] * ahead
    rest, line = _crossed(turned, there[2], touch)
    whole_turn = rest < NONE_RAD
    swept = np.arctan2(np.sum(line * np.cross(turned, touch), axis=-1), np.sum(line * touch, axis=-1))
    place = np.arctan2(line @ there[1], line @ there[0]) - swept
    ahead_rad = np.remainder(swept + 1e-9, math.pi) - 1e-9
    sign = np.where(np.abs(frames.wrap(ahead_rad - swept)) < 0.5 * math.pi, 1.0, -1.0)
    return Turns(
        fold_rad=fold,
        rest_rad=np.where(whole_turn, 0.0, sign * rest),
        ahead_rad=np.where(whole_turn, 0.5 * math.pi if oblate else 0.0, ahead_rad),
        place_rad=place,
        least_m_s=cost(fold),
    )


def _crossed(pole: F, other: F, touch: F) -> tuple[F, F]:
    """Angle between planes, and where the other rises through the first; at ``touch`` where they are one."""
    line = np.cross(pole, other)
    size = np.linalg.norm(line, axis=-1, keepdims=True)
    line = np.where(size > NONE_RAD, line / np.where(size > 0.0, size, 1.0), touch)
    return np.asarray(np.arctan2(size[:, 0], pole @ other)), line


def _least(cost: Callable[[F], F], whole_rad: float, b: F) -> F:
    """The fold of least cost of each, (n,): among looks, then between the neighbors of the best (golden section)."""
    looks = np.linspace(-whole_rad, whole_rad, 2 * LOOKS + 1)
    found = np.stack([cost(np.full(b.size, look)) for look in looks])
    best = np.argmin(found, axis=0)
    step = whole_rad / LOOKS
    refined = least_between(cost, looks[best] - step, looks[best] + step, CLOSER)
    # a least that is a corner is one of the looks: no turn there, or all of it
    return np.asarray(np.where(cost(refined) < found.min(axis=0) - ALIKE_M_S, refined, looks[best]))


def turning(problem: Problem, one: Option, course: Course, fold_rad: float, rest_rad: float) -> Course:
    """The course of a craft from its drop on, along the track alone, with the turns of its plane.

    A tilt that the ring allows, less what planes wobble by, is left on purpose and not corrected away.

    Args:
        one: its option.
        fold_rad, rest_rad: as planned, see `Turns`.
    """
    ring, item = problem.ring, course.itinerary
    _, along = level_parts(np.concatenate([item.position, item.velocity]))
    later = item.impulses[1:]
    before = np.array([along, *(one.speed_m_s for _ in later)])
    after = before + np.array([burn.along_m_s for burn in item.impulses])
    shares = np.array([abs(fold_rad)]) if not later else split(before, after, np.array(abs(fold_rad)))
    impulses = [
        burn._replace(along_m_s=v * math.cos(share) - u, cross_m_s=v * math.sin(share))
        for burn, u, v, share in zip(item.impulses, before, after, math.copysign(1.0, fold_rad) * shares, strict=True)
    ]
    leaves = course.plane != problem.ways[one.way].plane
    flown, rest = bool(course.unknowns), abs(rest_rad)
    apart = flown or rest >= NONE_RAD
    if apart:
        impulses.append(_last_turn(ring, one, course, fold_rad, rest_rad))
    aims = flown and (leaves or kept_tilt_rad(problem.scenario) == 0.0)
    unknowns = [what if what.burn >= 0 or not apart else Unknown(what.burn - 1, what.part) for what in course.unknowns]
    if aims:
        aimed = Unknown(-1, "time") if rest > AIMED_RAD else Unknown(-2, "cross")
        unknowns += [Unknown(-1, "cross"), aimed]
    return replace(
        course,
        itinerary=Itinerary.through_turn(item.start_s, item.position, item.velocity, impulses, ring),
        unknowns=tuple(unknowns),
        targets=(*course.targets, "plane") if aims else course.targets,
        last_at_ring=-2 if apart else -1,
        turning_burn=None if not leaves else 0 if rest < abs(fold_rad) else len(impulses) - 1,
    )


def _last_turn(ring: Ring, one: Option, course: Course, fold_rad: float, rest_rad: float) -> Impulse:
    """The turn by itself after the last burn at the ring, where the plane is crossed that was flown into by then.

    A small one comes where it was planned: where planes cross that are nearly one depends on how they wobble.
    """
    item, end_s, speed = course.itinerary, course.itinerary.impulses[-1].time_s, ring.speed_m_s
    if abs(rest_rad) < AIMED_RAD:
        cross = speed * math.sin(rest_rad)
        return Impulse(end_s + one.turn_after_s, 0.0, speed * (math.cos(rest_rad) - 1.0), cross)
    touch = item.position / np.linalg.norm(item.position)
    pole = np.cross(item.position, item.velocity)
    pole /= np.linalg.norm(pole)
    turned = math.cos(fold_rad) * pole + math.sin(fold_rad) * np.cross(touch, pole)
    other = frames.plane_axes(ring.inclination_rad, ring.node(end_s, course.plane))[2]
    rest, line = _crossed(turned[None, :], other, touch)
    swept = math.atan2(float(line[0] @ np.cross(turned, touch)), float(line[0] @ touch))
    # of the places half a turn apart the one that was planned
    halves = round((ring.rate_rad_s * one.turn_after_s - swept) / math.pi)
    sign, angle = 1.0 if halves % 2 == 0 else -1.0, float(rest[0])
    return Impulse(
        end_s + max(swept + halves * math.pi, 0.0) / ring.rate_rad_s,
        0.0,
        speed * (math.cos(angle) - 1.0),
        sign * speed * math.sin(angle),
    )
