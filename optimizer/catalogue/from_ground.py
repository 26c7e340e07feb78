"""Options of craft that wait on the ground: one liftoff, one way up, one slot."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from ...models.deadline import poll
from ...models.launch import Ascent
from ...models.memory import need
from ...models.opportunities import open_to
from ...models.sites import can_lift, may_launch, open_at
from ..craft_plan import Route
from ..routes import direct
from ..routes import launch_tilt as turning
from ..routes import parking_orbit as park
from ..routes import upper_stage as staged
from ..routes.options import F, I, Options, empty, join, undominated
from ..routes.phasing import Touch, Wanted
from .finite_burns import takes_long
from .problem import Problem, kept_tilt_rad
from .restriction import NO_RESTRICTION, Restriction, route_wanted
from .screening import passes_any_slot, passes_kept, within_limits

BLOCK_ROWS = 1 << 15
"""Rows built at a time: their columns stay in the cache."""


def from_pad(
    problem: Problem,
    pad: int,
    moments_s: F,
    restriction: Restriction = NO_RESTRICTION,
    *,
    finish_s: float = math.inf,
    prune: bool = True,
    only_slots: tuple[int, ...] | None = None,
    finishing: bool = False,
    clear: bool = False,
) -> tuple[Options, int]:
    """Options of all craft on the ground for given liftoffs from a pad, and how many choices were evaluated.

    A choice is evaluated once for all classes: they differ only in what they may spend and when they are ready.
    ``finishing``: only those that wait in a parking orbit as long as ``finish_s`` allows. ``clear``: only those that
    come close to no other craft's slot, whether anybody is there or not.
    """
    parts: list[Options] = []
    looked_at = 0
    finish_s = min(finish_s, problem.scenario.limits.finish_within_s)
    site = problem.scenario.pads[pad]
    ground = [(i, c) for i, c in enumerate(problem.classes) if c.start is None and may_launch(site, c.craft)]
    moments_s = moments_s[open_at(site, moments_s)]
    slots = problem.free_slots if only_slots is None else only_slots
    for index, way in enumerate(problem.ways):
        if way.pad != pad or not ground or not moments_s.size:
            continue
        own = moments_s
        if way.place is not None:
            tolerance = kept_tilt_rad(problem.scenario)
            own = own[open_to(way, problem.scenario.body, site, tolerance, own)]
        if not own.size:
            continue
        name: Route = "park" if way.parking else "direct"
        plain = problem.touch(way.arrival_speed_m_s)
        if finishing and not (way.parking and park.dives(plain)):
            continue
        until = finish_s if finishing else None
        for strict in (True, False):
            chosen = [s for s in slots if restriction.applies(s) is strict and s // problem.ring.slots == way.plane]
            if not chosen or (strict and not route_wanted(restriction, name, index)):
                continue
            touch = restriction.touch(plain) if strict else plain
            wanted = restriction.wanted() if strict else None
            per_block = max(BLOCK_ROWS // (len(chosen) * _unpruned(problem, way, touch, prune)), 1)
            for first in range(0, own.size, per_block):
                poll()
                need(BLOCK_BYTES)
                times = own[first : first + per_block]
                looked_at += times.size * len(chosen) * len(touch.windings())

                def build(
                    liftoff: F,
                    slot: I,
                    prune: bool,
                    *,
                    touch: Touch = touch,
                    wanted: Wanted | None = wanted,
                    index: int = index,
                    until: float | None = until,
                ) -> Options:
                    return launched(
                        problem, index, liftoff, slot, touch=touch, wanted=wanted, prune=prune, until_s=until
                    )

                options = _clear_of_kept(
                    problem, build, np.repeat(times, len(chosen)), np.tile(np.array(chosen), times.size), prune
                )
                if clear:
                    options = options.take(~passes_any_slot(problem, options))
                for number, group in ground:
                    fits = options.liftoff_s >= group.craft.ready_s - 1e-6
                    mine = options.take(fits)
                    mine = mine.take(can_lift(site, group.craft, mine.delta_v_m_s))
                    mine = within_limits(problem, replace(mine, craft_class=np.full(len(mine), number)), finish_s)
                    parts.append(mine.take(undominated(mine)) if prune else mine)
    return join(parts), looked_at


def launched(
    problem: Problem,
    way: int,
    liftoff_s: F,
    slot: I,
    *,
    touch: Touch | None = None,
    wanted: Wanted | None = None,
    prune: bool = False,
    until_s: float | None = None,
) -> Options:
    """Options of one way up for (liftoff, slot) pairs, of the first class of craft; limits of the touch only.

    ``until_s``: those that wait in a parking orbit as long as that finish allows.
    """
    up = problem.ways[way]
    if until_s is not None and up.tilt_at == "apsis":
        return empty()
    if until_s is not None:
        waited = park.finishing_at(
            touch or problem.touch(up.arrival_speed_m_s),
            up,
            way,
            liftoff_s,
            slot,
            until_s,
            craft_class=0,
            insertion_m=up.insertion.radius_m,
            wanted=wanted,
        )
        return _paid(problem, up, turning.turned(up, problem.ring, waited))
    stage = problem.scenario.pads[up.pad].upper_stage
    if (stage is not None and math.isfinite(stage.lasts_s)) or takes_long(problem):
        # which choice is the cheapest depends on which burns come in the stage's time, and how long they are
        prune = False
    build = park.options if up.parking else direct.options
    if up.parking and up.tilt_at == "apsis":
        build = turning.from_node
    made = build(
        touch or problem.touch(up.arrival_speed_m_s),
        up,
        way,
        liftoff_s,
        slot,
        craft_class=0,
        insertion_m=up.insertion.radius_m,
        wanted=wanted,
        prune=prune,
    )
    return _paid(problem, up, turning.turned(up, problem.ring, made))


def _paid(problem: Problem, up: Ascent, options: Options) -> Options:
    """The options with what an upper stage pays taken off."""
    stage = problem.scenario.pads[up.pad].upper_stage
    return options if stage is None else staged.left_for_craft(stage, up, problem.ring, options)


def _clear_of_kept(
    problem: Problem, build: Callable[[F, I, bool], Options], liftoff_s: F, slot: I, prune: bool
) -> Options:
    """Options that pass no craft that stays; where the best choice of a row would, all other choices of that row."""
    options = build(liftoff_s, slot, prune)
    hit = passes_kept(problem, options)
    clear = options.take(~hit)
    if not prune or not hit.any():
        return clear
    rows = np.unique(np.stack([options.liftoff_s[hit], options.slot[hit].astype(np.float64)]), axis=1)
    instead = build(rows[0], rows[1].astype(np.int64), False)
    return join([clear, instead.take(~passes_kept(problem, instead))])


BLOCK_BYTES = 100e6
"""What a block takes with all that is worked out on the way."""


def _unpruned(problem: Problem, way: Ascent, touch: Touch, prune: bool) -> int:
    """How many choices are held at once for each liftoff and slot: one where the dominated ones are never made."""
    stage = problem.scenario.pads[way.pad].upper_stage
    whole = not prune or (stage is not None and math.isfinite(stage.lasts_s)) or takes_long(problem)
    steps = park.DIVE_STEPS if way.parking and park.dives(touch) else 1
    return max(len(touch.windings()) * steps, 1) if whole else 1
