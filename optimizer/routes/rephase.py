"""A craft in space already, on the ring or at an apsis that touches it: phase at once, or after j passes."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ...models import frames, orbits
from ...models.arrays import joined
from ...models.deadline import poll
from ...models.memory import need
from ..limits.screening import passes_kept, within_limits
from ..problem.in_space import Standing
from ..problem.options import F, I, Option, Options, join, undominated
from ..problem.phasing import LEVEL_RAD, LIMIT_SLACK, Phasings, Touch, Wanted, best_phasing, every_phasing
from ..problem.problem import CraftClass, Problem
from ..trajectory.course import Course
from ..trajectory.differential_correction import IN_PLANE, Unknown
from ..trajectory.start_state import state_in_space
from ..trajectory.tangent import Begun, PlaneBurns, RingBurns, ring_burns, tangent_course
from .drifted_plane import Turn, turn_back, turned_back
from .route import Question, Route, row_of

CHOICES_BLOCK = 250_000
"""Choices (slot, passes, k, m) up to which all are made at once."""

BYTES_EACH = 400.0
"""What one of them takes with all that is worked out on the way."""


@dataclass(frozen=True, kw_only=True)
class Phasing:
    """A class of craft in space, and how it may phase.

    Args:
        craft_class: its index.
        touch, start: how it touches the ring, and when.
        slots: into which slots, (n,).
        floor_m, ceiling_m: radii that its own orbit has to keep to for it to stay there.
        wanted: which (k, m) are wanted; None for all.
        passes: how many touches it may let by before its first burn; None for all of `passes_of`.
        left_rad: how far off a slot it may be left where it is.
        prune: whether for each slot and number of passes only what no other (k, m) beats in delta-v and time is made.
    """

    craft_class: int
    touch: Touch
    start: Standing
    slots: I
    floor_m: float
    ceiling_m: float
    wanted: Wanted | None = None
    passes: range | None = None
    left_rad: float = 0.0
    prune: bool = False


def columns(question: Question) -> Options:
    """Phasing options of the craft in space in their own planes within the limits, dominated ones too."""
    problem = question.problem
    parts = []
    for index, group in enumerate(problem.classes):
        if group.start is None or not group.start.touches:
            continue
        plane = 0 if group.craft.orbit is None else group.craft.orbit.plane
        own = [s for s in problem.free_slots if s // problem.ring.slots == plane]
        parts.append(phasing_options(question, index, group, own, lambda options: options))
    return join(parts)


def phasing_options(
    question: Question, index: int, group: CraftClass, slots: list[int], moved: Callable[[Options], Options]
) -> Options:
    """Phasing options within the limits of a class in space into slots of the plane that it is in.

    Where there are many they come in blocks, each rid of what others beat. ``moved``: what each block is before limits
    are asked.
    """
    problem = question.problem
    start, limits = group.start, problem.scenario.limits
    if start is None:
        raise ValueError("a class on the ground does not phase from space")
    plain = problem.touch(start.speed_m_s)
    several = passes_of(plain, start, problem.scenario.floor_m, limits.apoapsis_max_m)
    each = plain.windings_count() + 1
    many = len(slots) * len(several) * each > CHOICES_BLOCK
    lean = many and _costs_by_winding_alone(problem, group)
    rows = max(CHOICES_BLOCK // (plain.ring_revolutions_max + 1 if lean else each), 1)
    by, at = (min(rows, len(several)), max(rows // len(several), 1)) if many else (len(several), max(len(slots), 1))
    parts = []
    for first in range(0, len(slots), at):
        kept: list[Options] = []
        for begin in range(0, len(several), by):
            poll()
            if many:
                need(CHOICES_BLOCK * BYTES_EACH)
            some = Phasing(
                craft_class=index,
                touch=plain,
                start=start,
                slots=np.array(slots[first : first + at]),
                floor_m=problem.scenario.floor_m,
                ceiling_m=limits.apoapsis_max_m,
                passes=several[begin : begin + by],
                left_rad=_left_rad(problem, group),
                prune=lean,
            )
            options = within_limits(problem, moved(_block(question, group, some)), limits.finish_within_s)
            kept.append(options.take(~passes_kept(problem, options)))
            if many:
                found = join(kept)
                kept = [found.take(undominated(found))]
        parts += kept
    return join(parts)


def _left_rad(problem: Problem, group: CraftClass) -> float:
    """How far off a slot a craft of a class may be left: by the tolerance where it may stay and slots have a place."""
    placed = problem.phase_given or bool(problem.kept)
    return problem.scenario.ring.tolerance_rad if group.craft.may_move and placed else 0.0


def _costs_by_winding_alone(problem: Problem, group: CraftClass) -> bool:
    """Whether what one winding beats before limits are asked it beats after, too: no burn that takes time, no plane to
    turn back, no craft to keep clear of."""
    ring = problem.ring
    turns = problem.oblate and ring.inclination_rad != 0.0
    return group.craft.thrust_n is None and not turns and not problem.kept


def _block(question: Question, group: CraftClass, asked: Phasing) -> Options:
    """Phasing options into some slots after some numbers of passes, before limits are asked."""
    problem, restriction, orbit = question.problem, question.restriction, group.craft.orbit
    parts = []
    for strict in (True, False):
        chosen = [s for s in asked.slots.tolist() if restriction.applies(s) is strict]
        if not chosen or (strict and restriction.routes is not None and ROUTE.name not in restriction.routes):
            continue
        touch, wanted = (restriction.touch(asked.touch), restriction.wanted()) if strict else (asked.touch, None)
        options = phased(replace(asked, touch=touch, wanted=wanted, slots=np.array(chosen)))
        if orbit is not None:
            tolerance = problem.scenario.ring.tilt_tolerance_rad
            options = turned_back(problem.scenario.body, problem.ring, asked.start, orbit, options, tolerance)
        parts.append(options)
    return join(parts)


def phased(asked: Phasing) -> Options:
    """Options for each slot, every (j, k, m) within the limits of the touch, dominated ones too."""
    touch, start, slot = asked.touch, asked.start, asked.slots
    ring, other = touch.ring, start.other_m
    several = passes_of(touch, start, asked.floor_m, asked.ceiling_m) if asked.passes is None else asked.passes
    let_by = np.repeat(np.array(several), slot.size)
    slots = np.tile(slot, len(several))
    burn: F = np.asarray(start.first_s + let_by * start.period_s, dtype=np.float64)
    lead = frames.wrap(ring.phase(burn, slots) - start.angle_rad - let_by * start.advance_rad)
    chosen = (best_phasing if asked.prune else every_phasing)(touch, lead, asked.wanted)
    chosen = _with_left(asked, chosen, lead)
    # of options alike in cost and time the one that starts soonest comes first, and is kept
    soonest = np.argsort(let_by[chosen.row], kind="stable")
    chosen = chosen.take(soonest)
    row = chosen.row
    flown_other = orbits.other_apsis(ring.gm, ring.radius_m, chosen.speed_m_s)
    before = np.where((let_by[row] > 0) | start.passed_other, other, min(ring.radius_m, start.begin_m))
    options = Options(
        craft_class=np.full(row.size, asked.craft_class),
        slot=slots[row],
        passes=let_by[row],
        revolutions=chosen.revolutions,
        ring_revolutions=chosen.ring_revolutions,
        touch_s=np.full(row.size, start.first_s),
        burn_s=burn[row],
        finish_s=burn[row] + chosen.wait_s,
        lead_rad=lead[row],
        speed_m_s=chosen.speed_m_s,
        delta_v_m_s=chosen.cost_m_s,
        lowest_m=np.minimum(np.minimum(flown_other, ring.radius_m), before),
        highest_m=np.maximum(np.maximum(flown_other, ring.radius_m), before),
    )
    waits_s = options.finish_s - options.touch_s
    return options.take(waits_s <= touch.wait_within_s * (1.0 + LIMIT_SLACK))


def _with_left(asked: Phasing, chosen: Phasings, lead: F) -> Phasings:
    """The choices, and to stay where it is for a craft that may: near to a slot, not quite in it."""
    (near,) = np.nonzero((np.abs(lead) > LEVEL_RAD) & (np.abs(lead) <= asked.left_rad))
    if not near.size or (asked.wanted is not None and not asked.wanted(0, 0)):
        return chosen
    still = every_phasing(asked.touch, np.zeros(near.size), lambda k, m: (k, m) == (0, 0))
    return joined([chosen, replace(still, row=near[still.row])])


def passes_of(touch: Touch, start: Standing, floor_m: float, ceiling_m: float) -> range:
    """How many touches a craft may let by before its first burn: none where it is on the ring, or unsafe."""
    other = start.other_m
    safe = other >= floor_m * (1.0 - LIMIT_SLACK) and other <= ceiling_m * (1.0 + LIMIT_SLACK)
    return range(1 if start.on_ring or not safe else touch.revolutions_max + 1)


def course(problem: Problem, options: Options, row: int, finite: bool = False) -> Course:
    """From where the craft is: burns at touches of the ring, and one that turns its plane back where it drifts."""
    one, group = options.one(row), problem.classes[options.craft_class[row]]
    start, orbit, radius = group.start, group.craft.orbit, problem.ring.radius_m
    if start is None or orbit is None:
        raise ValueError("an option without a way up belongs to a craft in space")
    start_s = 0.0 if not start.on_ring else start.first_s
    position, velocity = state_in_space(problem, orbit, start.on_ring, start_s)
    begun = Begun(
        start_s=start_s,
        position=position,
        velocity=velocity,
        burn_s=one.burn_s,
        arrival_speed_m_s=start.speed_m_s,
        speed_m_s=one.speed_m_s,
        touch_m=start.touch_m,
        must_burn=start.other_m < problem.scenario.floor_m * (1.0 - 1e-9),
        dips_m=(min(start.other_m, radius),) if start.passed_other or one.passes > 0 else (),
    )
    done = ring_burns(problem, one, begun)
    body, tolerance = problem.scenario.body, problem.scenario.ring.tilt_tolerance_rad
    turn = turn_back(body, problem.ring, start, orbit, row_of(options, row), tolerance)
    plane = turned_burns(problem, one, begun, done, turn)
    return tangent_course(problem, one, begun, done, plane, finite=finite)


def turned_burns(
    problem: Problem, one: Option, begun: Begun, done: RingBurns, turn: Turn, *, apart: bool = True
) -> PlaneBurns:
    """The burns with what turns the plane back to the ring's: parts across in those at the touches, and one apart.

    ``apart``: whether there is that one.
    """
    ring = problem.ring
    at_touch, rest, place = float(turn.at_touch_rad[0]), float(turn.apart_rad[0]), float(turn.apart_angle_rad[0])
    if at_touch == 0.0 and rest == 0.0:
        return PlaneBurns.none(done)
    touches = 2 if one.revolutions > 0 else 1
    sizes = [abs(along) for _, along in done.burns[-touches:]]
    whole = math.fsum(sizes)
    shares = [size / whole if whole > 0.0 else 1.0 / touches for size in sizes]
    burns = done.burns
    crosses = (0.0,) * (len(burns) - touches) + tuple(ring.speed_m_s * at_touch * share for share in shares)
    if apart and one.revolutions > 0:
        time, part = _burn_apart(problem, one, begun.speed_m_s, done.finish_s, rest, place)
        burns, crosses = (*burns[:-1], (time, 0.0), burns[-1]), (*crosses[:-1], part, crosses[-1])
    elif apart:
        after_s = done.finish_s + one.turn_after_s
        along_pole = math.cos(float(ring.phase(after_s, one.slot)) - place) > 0.0
        burns = (*burns, (after_s, 0.0))
        crosses = (*crosses, (1.0 if along_pole else -1.0) * ring.speed_m_s * rest)
    # a tilt that is left on purpose is not corrected away
    left = problem.scenario.ring.tilt_tolerance_rad > 0.0
    across = (Unknown(-2, "cross"), Unknown(-1, "cross")) if len(burns) > 1 else (Unknown(-1, "cross"),)
    return PlaneBurns(
        burns=burns,
        crosses=crosses,
        at_ring=-1 if one.revolutions > 0 or not apart else -2,
        first_at_ring=-3 if apart else -2,
        unknowns=() if left else across,
        targets=IN_PLANE if left else (*IN_PLANE, "plane"),
        corrected=True,
    )


def _burn_apart(
    problem: Problem, one: Option, speed_m_s: float, finish_s: float, turn_rad: float, angle_rad: float
) -> tuple[float, float]:
    """When a burn across comes in the last phasing revolution, at an argument of latitude or opposite, and its size.

    Of the two places the higher one is taken, where the craft is slower (conic, by Kepler's equation).
    """
    ring = problem.ring
    semi = float(orbits.semi_major_from_speed(ring.gm, ring.radius_m, speed_m_s))
    low, high = sorted((ring.radius_m, 2.0 * semi - ring.radius_m))
    touch = float(ring.phase(finish_s, one.slot))
    at_apoapsis = semi < ring.radius_m
    found = []
    for sign, angle in ((1.0, angle_rad), (-1.0, angle_rad + math.pi)):
        swept = (angle - touch) % (2.0 * math.pi)
        anomaly = (swept + (math.pi if at_apoapsis else 0.0)) % (2.0 * math.pi)
        past = orbits.time_from_periapsis(
            ring.gm, low, high, anomaly if anomaly <= math.pi else 2.0 * math.pi - anomaly
        )
        turn = float(orbits.period(ring.gm, semi))
        past = past if anomaly <= math.pi else turn - past
        after = (past - (0.5 * turn if at_apoapsis else 0.0)) % turn
        semilatus = 2.0 * low * high / (low + high)
        radius = semilatus / (1.0 + (high - low) / (high + low) * math.cos(anomaly))
        level = math.sqrt(ring.gm * semilatus) / radius
        found.append((radius, finish_s - turn + after, sign * level * turn_rad))
    _, time, part = max(found)
    return time, part


ROUTE = Route(
    name="shift",
    words=("shift", "along the ring"),
    begins="space",
    columns=columns,
    course=course,
    coasts=True,
)
