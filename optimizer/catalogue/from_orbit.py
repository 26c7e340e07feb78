"""The part of the catalogue for craft in space: phasing, free-form flights, turning the plane, nodal drift."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from ...models.deadline import poll
from ...models.memory import need
from ...models.oblate_circles import pace
from ...models.planes import turn_delta_v
from ..routes import free_form as timed
from ..routes import launch_tilt as turning
from ..routes import nodal_drift as drift
from ..routes import plane_crossing as over
from ..routes import rephase as shift
from ..routes.options import Options, join, undominated
from .problem import CraftClass, Problem
from .restriction import NO_RESTRICTION, Restriction, route_wanted
from .screening import passes_kept, within_limits

CHOICES_BLOCK = 1_000_000
"""Choices (slot, passes, k, m) up to which all are made at once."""

BYTES_EACH = 400.0
"""What one of them takes with all that is worked out on the way."""


def free_form(problem: Problem, restriction: Restriction) -> Options:
    """Free-form flights within the limits; those from the ground where the way up is wanted that they begin with."""
    options = timed.options(problem.ring, problem.timed)
    limits = problem.scenario.limits
    options = within_limits(problem, options, limits.finish_within_s)
    wanted = (options.revolutions <= limits.revolutions_max) & shift.within_wait(options, limits.wait_within_s)
    strict = np.array([restriction.applies(slot) for slot in options.slot.tolist()], dtype=bool)
    allowed = np.ones(len(options), dtype=bool)
    if restriction.routes is not None and "timed" not in restriction.routes:
        allowed[:] = False
    up = [route_wanted(restriction, "park" if way.parking else "direct", i) for i, way in enumerate(problem.ways)]
    allowed &= (options.way < 0) | np.array([*up, True])[options.way]
    if restriction.sides is not None:
        allowed &= np.isin(options.side, sorted(restriction.sides))
    if restriction.revolutions is not None:
        allowed &= np.isin(options.revolutions, sorted(restriction.revolutions))
    options = options.take(wanted & (allowed | ~strict))
    return options.take(~passes_kept(problem, options))


def drifting(problem: Problem, restriction: Restriction) -> Options:
    """Options of craft in space that reach another plane by nodal drift."""
    parts = []
    body, ring, limits = problem.scenario.body, problem.ring, problem.scenario.limits
    for index, group in enumerate(problem.classes):
        orbit = group.craft.orbit
        if group.start is None or orbit is None or ring.planes < 2:
            continue
        start = drift.start_of(body, ring, orbit, group.craft.ready_s, group.start.on_ring)
        others = [s for s in problem.free_slots if s // ring.slots != orbit.plane]
        if restriction.routes is not None and "drift" not in restriction.routes:
            others = [s for s in others if not restriction.applies(s)]
        if restriction.sides is not None and 0 not in restriction.sides:
            others = [s for s in others if not restriction.applies(s)]
        if start is None or not others:
            continue
        low = problem.scenario.floor_m + problem.wobble_m
        high = min(limits.apoapsis_max_m - problem.wobble_m, drift.HIGHEST * ring.radius_m)
        found = drift.options(
            body,
            ring,
            start,
            np.array(others),
            craft_class=index,
            floor_m=low,
            ceiling_m=high,
            finish_s=limits.finish_within_s,
            pace=pace(body, ring.inclination_rad, min(low, ring.radius_m), max(high, ring.radius_m)),
        )
        parts.append(within_limits(problem, found, limits.finish_within_s))
    options = join(parts)
    return options.take(shift.within_wait(options, limits.wait_within_s))


def in_space(problem: Problem, restriction: Restriction = NO_RESTRICTION) -> Options:
    """Phasing options of the craft in space in their own planes within the limits, dominated ones too."""
    parts = []
    for index, group in enumerate(problem.classes):
        if group.start is None or not group.start.touches:
            continue
        plane = 0 if group.craft.orbit is None else group.craft.orbit.plane
        own = [s for s in problem.free_slots if s // problem.ring.slots == plane]
        parts.append(_phasing(problem, index, group, own, restriction, lambda options: options))
    return join(parts)


def _phasing(
    problem: Problem,
    index: int,
    group: CraftClass,
    slots: list[int],
    restriction: Restriction,
    moved: Callable[[Options], Options],
) -> Options:
    """Phasing options within the limits of a class in space into slots of the plane that it is in.

    Where there are many they come in blocks, each rid of what others beat. ``moved``: what each block is before limits
    are asked.
    """
    start, limits = group.start, problem.scenario.limits
    if start is None:
        raise ValueError("a class on the ground does not phase from space")
    plain = problem.touch(start.speed_m_s)
    several = shift.passes_of(plain, start, problem.scenario.floor_m, limits.apoapsis_max_m)
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
            options = _block(
                problem, index, group, slots[first : first + at], restriction, several[begin : begin + by], prune=lean
            )
            options = within_limits(problem, moved(options), limits.finish_within_s)
            kept.append(options.take(~passes_kept(problem, options)))
            if many:
                found = join(kept)
                kept = [found.take(undominated(found))]
        parts += kept
    return join(parts)


def _costs_by_winding_alone(problem: Problem, group: CraftClass) -> bool:
    """Whether what one winding beats before limits are asked it beats after, too: no burn that takes time, no plane to
    turn back, no craft to keep clear of."""
    ring = problem.ring
    turns = problem.oblate and ring.inclination_rad != 0.0
    return group.craft.thrust_n is None and not turns and not problem.kept


def _block(
    problem: Problem,
    index: int,
    group: CraftClass,
    slots: list[int],
    restriction: Restriction,
    passes: range,
    *,
    prune: bool,
) -> Options:
    """Phasing options into some slots after some numbers of passes, before limits are asked."""
    start, orbit, limits = group.start, group.craft.orbit, problem.scenario.limits
    assert start is not None
    plain = problem.touch(start.speed_m_s)
    parts = []
    for strict in (True, False):
        chosen = [s for s in slots if restriction.applies(s) is strict]
        if not chosen or (strict and restriction.routes is not None and "shift" not in restriction.routes):
            continue
        options = shift.options(
            restriction.touch(plain) if strict else plain,
            start,
            np.array(chosen),
            craft_class=index,
            wanted=restriction.wanted() if strict else None,
            floor_m=problem.scenario.floor_m,
            ceiling_m=limits.apoapsis_max_m,
            passes=passes,
            prune=prune,
        )
        if orbit is not None:
            tolerance = problem.scenario.ring.tilt_tolerance_rad
            options = turning.turned_back(problem.scenario.body, problem.ring, start, orbit, options, tolerance)
        parts.append(options)
    return join(parts)


def turning_over(problem: Problem, restriction: Restriction = NO_RESTRICTION) -> Options:
    """Options of craft on the ring that turn into another plane where the two cross, and phase there."""
    ring = problem.ring
    parts = []
    for index, group in enumerate(problem.classes):
        orbit = group.craft.orbit
        if group.start is None or orbit is None or not group.start.on_ring:
            continue
        for plane in range(ring.planes):
            own = [s for s in problem.free_slots if s // ring.slots == plane]
            if plane == orbit.plane or not own:
                continue
            for crossing in over.crossings(ring, group.start, orbit.plane, plane):
                moved = replace(
                    group,
                    start=replace(group.start, first_s=crossing.time_s, angle_rad=crossing.angle_after_rad),
                    craft=replace(group.craft, orbit=replace(orbit, plane=plane)),
                )
                turned = partial(_turned, problem, group.start.first_s, crossing)
                parts.append(_phasing(problem, index, moved, own, restriction, turned))
    return join(parts)


def _turned(problem: Problem, first_s: float, crossing: over.Crossing, options: Options) -> Options:
    """Phasing options after a turn into another plane, with what the turn costs."""
    n = len(options)
    turn = float(turn_delta_v(problem.ring.speed_m_s, crossing.turn_rad))
    options = replace(
        options,
        touch_s=np.full(n, first_s),
        delta_v_m_s=options.delta_v_m_s + turn,
        turned_s=np.full(n, crossing.time_s),
    )
    return options.take(shift.within_wait(options, problem.scenario.limits.wait_within_s))


FROM_SPACE = (in_space, free_form, turning_over, drifting)
"""Every way for craft in space."""
