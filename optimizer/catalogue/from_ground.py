"""Options of craft that wait on the ground: one liftoff, one way up, one slot."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from ...models.deadline import poll
from ...models.launch import Ascent
from ...models.memory import need
from ...models.opportunities import open_to
from ...models.sites import can_lift, may_launch, open_at
from ..limits.screening import passes_any_slot, passes_kept, within_limits
from ..problem.finite_burns import takes_long
from ..problem.options import F, Options, join, undominated
from ..problem.problem import Problem
from ..problem.restriction import NO_RESTRICTION, Restriction, route_wanted
from ..problem.ways_up import kept_tilt_rad
from ..routes import launch_tilt as turning
from ..routes import registry
from ..routes import upper_stage as staged
from ..routes.route import Launches, Question, Route

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
    ground = any(c.start is None and may_launch(site, c.craft) for c in problem.classes)
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
        plain = problem.touch(way.arrival_speed_m_s)
        for (code, route), strict in itertools.product(registry.lifting(way), (True, False)):
            chosen = [s for s in slots if restriction.applies(s) is strict and s // problem.ring.slots == way.plane]
            if not chosen or (strict and not route_wanted(restriction, route.name, index)):
                continue
            if finishing and route.steps(way, plain) == 1:
                continue
            asked = Launches(
                way=index,
                liftoff_s=np.zeros(0),
                slot=np.zeros(0, dtype=np.int64),
                touch=restriction.touch(plain) if strict else plain,
                wanted=restriction.wanted() if strict else None,
                prune=prune,
                until_s=finish_s if finishing else None,
            )
            question = Question(problem=problem, restriction=restriction, launches=asked)
            for options in _in_blocks(code, question, own, chosen):
                fitting = options.take(~passes_any_slot(problem, options)) if clear else options
                parts += _for_each_class(problem, way, fitting, finish_s, prune=prune)
            looked_at += own.size * len(chosen) * len(asked.touch.windings())
    return join(parts), looked_at


def _in_blocks(code: int, question: Question, liftoff_s: F, slots: list[int]) -> Iterator[Options]:
    """Options of a route for each of some liftoffs into each of some slots that pass no craft that stays."""
    problem = question.problem
    way, asked = question.lifting
    per_block = max(BLOCK_ROWS // (len(slots) * _unpruned(problem, way, registry.ROUTES[code], asked)), 1)
    for first in range(0, liftoff_s.size, per_block):
        poll()
        need(BLOCK_BYTES)
        times = liftoff_s[first : first + per_block]
        pairs = np.repeat(times, len(slots)), np.tile(np.array(slots), times.size)
        yield _clear_of_kept(code, question.at(*pairs, prune=asked.prune))


def _for_each_class(
    problem: Problem, way: Ascent, options: Options, finish_s: float, *, prune: bool
) -> Iterator[Options]:
    """The options within the limits of each class of craft on the ground that may go up that way."""
    site = problem.scenario.pads[way.pad]
    most_kg = site.payload_to(way.insertion)
    for number, group in enumerate(problem.classes):
        if group.start is not None or not may_launch(site, group.craft):
            continue
        mine = options.take(options.liftoff_s >= group.craft.ready_s - 1e-6)
        mine = mine.take(can_lift(most_kg, group.craft, mine.delta_v_m_s))
        mine = within_limits(problem, replace(mine, craft_class=np.full(len(mine), number)), finish_s)
        yield mine.take(undominated(mine)) if prune else mine


def launched(code: int, question: Question) -> Options:
    """Options of one route by one way up, of the first class of craft; limits of the touch only.

    ``code``: the place of the route in the registry.
    """
    problem = question.problem
    way, asked = question.lifting
    stage = problem.scenario.pads[way.pad].upper_stage
    if asked.until_s is None and ((stage is not None and math.isfinite(stage.lasts_s)) or takes_long(problem)):
        # which choice is the cheapest depends on which burns come in the stage's time, and how long they are
        question = question.at(asked.liftoff_s, asked.slot, prune=False)
    made = turning.turned(way, problem.ring, registry.columns(code, question))
    return made if stage is None else staged.left_for_craft(stage, way, problem.ring, made)


def _clear_of_kept(code: int, question: Question) -> Options:
    """Options that pass no craft that stays; where the best choice of a row would, all other choices of that row."""
    problem = question.problem
    options = launched(code, question)
    hit = passes_kept(problem, options)
    clear = options.take(~hit)
    if not question.lifting[1].prune or not hit.any():
        return clear
    rows = np.unique(np.stack([options.liftoff_s[hit], options.slot[hit].astype(np.float64)]), axis=1)
    instead = launched(code, question.at(rows[0], rows[1].astype(np.int64), prune=False))
    return join([clear, instead.take(~passes_kept(problem, instead))])


BLOCK_BYTES = 100e6
"""What a block takes with all that is worked out on the way."""


def _unpruned(problem: Problem, way: Ascent, route: Route, asked: Launches) -> int:
    """How many choices are held at once for each liftoff and slot: one where the dominated ones are never made."""
    stage = problem.scenario.pads[way.pad].upper_stage
    whole = not asked.prune or (stage is not None and math.isfinite(stage.lasts_s)) or takes_long(problem)
    return max(len(asked.touch.windings()) * route.steps(way, asked.touch), 1) if whole else 1
