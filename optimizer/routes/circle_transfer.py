"""From a circle off the ring: wait there for the slot, then a Hohmann transfer, with or without phasing at the ring.

Where nodes do not drift apart, over a round body or over the equator; elsewhere `nodal_drift.py` meets the plane, too.
Waiting until the transfer arrives in place costs the Hohmann total and at most one synodic period (Vallado 2013,
section 6.6.1). Leaving earlier and phasing at the ring is sooner and dearer, as from a parking orbit
(`parking_orbit.py`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from ...models import frames, orbits
from ...models.oblateness import EQUATORIAL_SINE
from ...models.synodic import Waiting, waiting
from ..limits.screening import passes_kept, within_limits
from ..problem.detail import Detail
from ..problem.options import F, Options, join
from ..problem.phasing import LEVEL_RAD, LIMIT_SLACK, Phasings, Touch, every_phasing
from ..problem.problem import CraftClass, Problem
from ..trajectory.course import Course
from ..trajectory.differential_correction import Unknown
from ..trajectory.start_state import state_in_space
from ..trajectory.tangent import Begun, PlaneBurns, ring_burns, tangent_course
from .parking_orbit import DIVE_STEPS, dives
from .route import Question, Route

TURN_RAD = 2.0 * np.pi

EDGES_MAX = 4
"""Most revolutions of a phasing orbit for which the lowest and the highest one are looked at besides."""


@dataclass(frozen=True, kw_only=True)
class Transfers(Detail):
    """How long each craft waits on its circle, the burn with which it leaves it and when; its speed at the ring."""

    wait_s: F
    leave_s: F
    leave_m_s: F
    arrival_m_s: F

    places: ClassVar[int] = 4

    def arrival_speed_m_s(self) -> F:
        """See `Detail`."""
        return self.arrival_m_s

    def burns(self, problem: Problem, options: Options, size_m_s: F, time_s: F) -> tuple[F, F]:
        """See `Detail`: the one that leaves the circle comes first."""
        size, time = size_m_s.copy(), time_s.copy()
        size[:, 0], time[:, 0] = np.abs(self.leave_m_s), self.leave_s
        return size, time


@dataclass(frozen=True, kw_only=True)
class _Circle:
    """A class of craft on a circle off the ring, since when they may burn, and the transfer to the ring."""

    index: int
    radius_m: float
    start_s: float
    angle_rad: float
    waits: Waiting
    leave_m_s: float
    arrival_m_s: float


def may_transfer(problem: Problem, group: CraftClass) -> bool:
    """Whether craft of a class wait on a circle off the ring whose node does not drift away from the ring's."""
    orbit, still = group.craft.orbit, np.sin(problem.ring.inclination_rad) < EQUATORIAL_SINE
    off = group.start is not None and not group.start.on_ring and not group.start.touches
    return orbit is not None and off and orbit.circular and (still or not problem.oblate)


def columns(question: Question) -> Options:
    """Options of craft on circles off the ring into slots of their own planes, dominated ones too."""
    problem, restriction = question.problem, question.restriction
    parts = []
    for index, group in enumerate(problem.classes):
        orbit = group.craft.orbit
        if orbit is None or not may_transfer(problem, group):
            continue
        circle = _circle(problem, index, group)
        own = [s for s in problem.free_slots if s // problem.ring.slots == orbit.plane]
        for strict in (True, False):
            slots = np.array([s for s in own if restriction.applies(s) is strict], dtype=np.int64)
            if not slots.size or (strict and restriction.routes is not None and ROUTE.name not in restriction.routes):
                continue
            touch = problem.touch(circle.arrival_m_s)
            wanted = restriction.wanted() if strict else None
            parts += _from_circle(restriction.touch(touch) if strict else touch, circle, slots, wanted)
    options = within_limits(problem, join(parts), problem.scenario.limits.finish_within_s)
    return options.take(~passes_kept(problem, options))


def _circle(problem: Problem, index: int, group: CraftClass) -> _Circle:
    ring, orbit = problem.ring, group.craft.orbit
    if orbit is None:
        raise ValueError("a craft on the ground waits on no circle")
    radius, start_s = orbit.apoapsis_m, max(group.craft.ready_s, 0.0)
    waits = waiting(problem.scenario.body, ring, radius)
    semi = 0.5 * (radius + ring.radius_m)
    return _Circle(
        index=index,
        radius_m=radius,
        start_s=start_s,
        angle_rad=orbit.angle_rad + (ring.rate_rad_s + waits.gain_rad_s) * (start_s - orbit.at_s),
        waits=waits,
        leave_m_s=float(orbits.speed(ring.gm, radius, semi) - orbits.speed(ring.gm, radius, radius)),
        arrival_m_s=float(orbits.speed(ring.gm, ring.radius_m, semi)),
    )


def _from_circle(touch: Touch, circle: _Circle, slots: np.ndarray, wanted: object) -> list[Options]:
    """Leaving in place, and at once, or in between where a phasing orbit may dive."""
    waits = circle.waits
    lead = np.asarray(touch.ring.phase(circle.start_s, slots) - circle.angle_rad)
    to_gain = np.remainder(np.sign(waits.gain_rad_s) * (lead - waits.lead_rad) + LEVEL_RAD, TURN_RAD) - LEVEL_RAD
    wait = np.maximum(to_gain, 0.0) / abs(waits.gain_rad_s)
    parts = []

    def asked(k: int, m: int) -> bool:
        return wanted is None or bool(wanted(k, m))  # type: ignore[operator]  # a filter on (k, m)

    if asked(0, 0):
        level = every_phasing(touch, np.zeros(slots.size), lambda k, m: (k, m) == (0, 0))
        parts.append(_options(touch, circle, slots, level, np.zeros(slots.size), wait))
    steps = [wait * (step / DIVE_STEPS) for step in range(DIVE_STEPS if dives(touch) else 1)]
    for waited in (*steps, *_at_the_edges(touch, waits, wait)):
        left = frames.wrap(waits.gain_rad_s * (wait - waited))
        chosen = every_phasing(touch, left, lambda k, m: (k, m) != (0, 0) and asked(k, m))
        parts.append(_options(touch, circle, slots, chosen, left, waited))
    return parts


def _at_the_edges(touch: Touch, waits: Waiting, wait_s: F) -> list[F]:
    """Waits after which a phasing orbit of few revolutions is as low, or as high, as it may be: the soonest of all.

    For given revolutions of craft and slot the finish is the sooner, the shorter the wait, down to that one.

    Args:
        wait_s: that after which the transfer arrives in place.
    """
    ratios = [ratio for ratio in (touch.ratio_low, touch.ratio_high) if np.isfinite(ratio)]
    found = []
    for ratio in ratios:
        for k in range(1, min(EDGES_MAX, touch.revolutions_max) + 1):
            lead = -TURN_RAD * k * ratio
            before = np.remainder(np.sign(waits.gain_rad_s) * lead, TURN_RAD) / abs(waits.gain_rad_s)
            found.append(np.where(before <= wait_s, wait_s - before, 0.0))
    return found


def _options(touch: Touch, circle: _Circle, slots: np.ndarray, chosen: Phasings, lead: F, waited_s: F) -> Options:
    """Choices of (k, m) at the touch as options; ``lead`` of the slots there."""
    ring, row = touch.ring, chosen.row
    leave = circle.start_s + waited_s[row]
    arrive = leave + circle.waits.transfer_s
    other = np.where(
        chosen.revolutions > 0, orbits.other_apsis(ring.gm, ring.radius_m, chosen.speed_m_s), ring.radius_m
    )
    low, high = sorted((circle.radius_m, ring.radius_m))
    n = row.size
    options = Options(
        craft_class=np.full(n, circle.index),
        slot=slots[row],
        parking_wait_s=waited_s[row],
        revolutions=chosen.revolutions,
        ring_revolutions=chosen.ring_revolutions,
        touch_s=arrive,
        burn_s=arrive,
        finish_s=arrive + chosen.wait_s,
        lead_rad=lead[row],
        speed_m_s=chosen.speed_m_s,
        delta_v_m_s=chosen.cost_m_s + abs(circle.leave_m_s),
        lowest_m=np.minimum(other, low),
        highest_m=np.maximum(other, high),
    ).with_table(
        Transfers(
            wait_s=waited_s[row],
            leave_s=leave,
            leave_m_s=np.full(n, circle.leave_m_s),
            arrival_m_s=np.full(n, circle.arrival_m_s),
        )
    )
    return options.take(chosen.wait_s <= touch.wait_within_s * (1.0 + LIMIT_SLACK))


def course(problem: Problem, options: Options, row: int, finite: bool = False) -> Course:
    """The burn that leaves the circle, and those at the ring."""
    one, group = options.one(row), problem.classes[options.craft_class[row]]
    orbit = group.craft.orbit
    if orbit is None:
        raise ValueError("an option from a circle belongs to a craft in space")
    circle = _circle(problem, int(options.craft_class[row]), group)
    position, velocity = state_in_space(problem, orbit, False, circle.start_s)
    begun = Begun(
        start_s=circle.start_s,
        position=position,
        velocity=velocity,
        burn_s=one.burn_s,
        arrival_speed_m_s=circle.arrival_m_s,
        speed_m_s=one.speed_m_s,
        touch_m=None,
        must_burn=False,
        burns=((circle.start_s + one.parking_wait_s, circle.leave_m_s),),
        dips_m=(min(circle.radius_m, problem.ring.radius_m),),
        # leaving when planned, the transfer's height is a third thing to choose; arriving in place, when it begins
        unknowns=(Unknown(0, "along"),) if one.revolutions else (Unknown(0, "onward"), Unknown(0, "along")),
        waits_between=(None, 0),
    )
    done = ring_burns(problem, one, begun)
    return tangent_course(problem, one, begun, done, PlaneBurns.none(done), finite=finite)


ROUTE = Route(
    name="transfer",
    words=("transfer", "from another circle"),
    begins="space",
    columns=columns,
    course=course,
    may_serve=lambda problem: any(may_transfer(problem, group) for group in problem.classes),
)
