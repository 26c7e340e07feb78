"""By nodal drift: another plane of the ring for the price of another waiting orbit, and of months.

Over an oblate body the node of a lower orbit drifts faster than the ring's, and that of an orbit of another inclination
by another rate. A craft on a circle, the ring or any other, its parking orbit too, waits there or goes to a waiting
orbit by a Hohmann transfer, waits until its node has met that of the plane it wants, or nearly, and goes up to its slot
by another. What waiting orbits are looked at: `nodal_drift_choices.py`; where launched craft begin:
`nodal_drift_launched.py`; when burns come: `nodal_drift_timetable.py`; what they are: `nodal_drift_burns.py`. The
flight corrects what the rates leave (`nodal_drift_flight.py`).
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...models.deadline import poll
from ...models.ring import Ring
from ...models.scenario import Body
from ...models.sites import EDGE_S, can_lift, may_launch
from ..limits.between_craft import allowed_s
from ..limits.screening import within_limits
from ..problem.options import I, Options, join
from ..problem.problem import CraftClass, Problem
from . import nodal_drift_choices as choices
from .nodal_drift_burns import Waits, burns_of
from .nodal_drift_flight import drift_courses
from .nodal_drift_launched import LIFTOFFS_MAX, Launch, launches, start_at
from .nodal_drift_start import Start
from .nodal_drift_timetable import Drifting, Room, Ways, drifting_from, drifting_of
from .route import CourseOf, Finite, Question, Route, by_itself

ALIKE = 0.018
"""Of options into one slot whose times from the start differ by less than this share one is kept."""


WORTH_M_S = 0.05
"""A later option saves at least so much, half of the digit that is printed."""


DEARER = 1.3
"""Later options up to so many times the price of a sooner one are kept where arrivals are to be apart."""


@dataclass(frozen=True, kw_only=True)
class _Asked:
    """A craft that may drift: whose options they are, where from, which slots, within what; by which launch, if any."""

    craft_class: int
    drifting: Drifting
    own: I
    others: I
    room: Room
    later_too: bool
    launch: Launch | None = None


def columns(question: Question) -> Options:
    """Options of craft that drift into another plane, or, of those in space, from another circle up into their own."""
    problem = question.problem
    latest_s = problem.scenario.limits.finish_within_s
    parts = [
        within_limits(problem, _options(asked), latest_s)
        for index in range(len(problem.classes))
        for asked in _asked(question, index)
    ]
    return join([*parts, *_launched(question)])


def _launched(question: Question) -> Iterator[Options]:
    """Options of craft on the ground that drift from their parking orbits into planes they were not launched into."""
    problem, restriction = question.problem, question.restriction
    free = np.array(problem.free_slots, dtype=np.int64)
    asked = np.array([slot for slot in problem.free_slots if wanted(question, slot)], dtype=np.int64)
    for launch, planes in launches(problem) if asked.size else ():
        poll()
        way, site = problem.ways[launch.way], problem.scenario.pads[launch.pad]
        if restriction.ways is not None and launch.way not in restriction.ways:
            continue
        options = from_parking(problem, launch, free[np.isin(free // problem.ring.slots, planes)])
        options = options.take(np.isin(options.slot, asked))
        for index, group in enumerate(problem.classes):
            ready = group.craft.ready_s <= launch.liftoff_s + EDGE_S
            if group.start is None and ready and may_launch(site, group.craft):
                light = can_lift(site.payload_to(way.insertion), group.craft, options.delta_v_m_s)
                own = replace(options.take(light), craft_class=np.full(np.count_nonzero(light), index))
                yield within_limits(problem, own, problem.scenario.limits.finish_within_s)


def from_parking(problem: Problem, launch: Launch, slots: I) -> Options:
    """Options of one launch into some slots, not yet those of a class; of the plane launched into, too."""
    start = start_at(problem, problem.ways[launch.way], launch.liftoff_s)
    own = slots // problem.ring.slots == problem.ways[launch.way].plane
    each = (tuple(slots[own].tolist()), tuple(slots[~own].tolist()))
    return _from_parking(problem.scenario.body, problem.ring, start, choices.room_of(problem), each, launch)


Slots = tuple[int, ...]


@functools.lru_cache(maxsize=4 * LIFTOFFS_MAX)
def _from_parking(
    body: Body, ring: Ring, start: Start, room: Room, slots: tuple[Slots, Slots], launch: Launch
) -> Options:
    """The same; asked for again under each restriction. Slots of the own plane come first."""
    own, others = (np.array(some, dtype=np.int64) for some in slots)
    return _options(
        _Asked(
            craft_class=0,
            drifting=drifting_from(body, ring, start, room),
            own=own,
            others=others,
            room=room,
            later_too=False,
            launch=launch,
        )
    )


def _asked(question: Question, index: int) -> list[_Asked]:
    """What is asked of one class of craft; nothing where it cannot drift."""
    problem, group = question.problem, question.problem.classes[index]
    ring, orbit = problem.ring, group.craft.orbit
    if orbit is None or group.start is None or (ring.planes < 2 and group.start.on_ring):
        return []
    slots = np.array([slot for slot in problem.free_slots if wanted(question, slot)], dtype=np.int64)
    room = choices.room_of(problem)
    drifting = drifting_of(problem, group, room) if slots.size else None
    if drifting is None:
        return []
    away = slots // ring.slots != orbit.plane
    later_too = allowed_s(problem.scenario) > 0.0
    return [
        _Asked(
            craft_class=index, drifting=drifting, own=slots[~away], others=slots[away], room=room, later_too=later_too
        )
    ]


def _may_rise(problem: Problem, group: CraftClass) -> bool:
    """Whether a class of craft waits on a circle off the ring, from which it may go up."""
    orbit = group.craft.orbit
    off = group.start is not None and not group.start.on_ring
    return problem.oblate and off and orbit is not None and orbit.nearly_circular


def wanted(question: Question, slot: int) -> bool:
    """Whether a restriction leaves drifts into a slot."""
    restriction = question.restriction
    unwanted = restriction.routes is not None and ROUTE.name not in restriction.routes
    unwanted |= restriction.sides is not None and 0 not in restriction.sides
    return not (unwanted and restriction.applies(slot))


def _options(asked: _Asked) -> Options:
    """The options of one class."""
    drifting, room = asked.drifting, asked.room
    others = [
        choices.straight(drifting, asked.others, room),
        choices.turned(drifting, asked.others, room),
        choices.own_plane(drifting, asked.own, room),
    ]
    options = join([_held(asked), *(_columns(asked, ways, False) for ways in others if len(ways))])
    return options.take(_thinned(options, drifting.start.time_s, asked.later_too))


def _held(asked: _Asked) -> Options:
    return _columns(asked, choices.held(asked.drifting, np.concatenate([asked.own, asked.others]), asked.room), True)


def _thinned(options: Options, begun_s: float, later_too: bool) -> np.ndarray:
    """The cheapest option of each slot in each span of finishes, less those that save too little against a sooner one.

    A list of depths and finishes is a sample: more of them would be months of the same price. ``later_too``: a craft
    may have to wait for others, and later options that are little dearer are kept.
    """
    span = np.floor(np.log(np.maximum(options.finish_s - begun_s, 1.0)) / math.log1p(ALIKE)).astype(np.int64)
    order = np.lexsort((options.finish_s, options.delta_v_m_s, span, options.slot))
    slot, place = options.slot[order], span[order]
    first = np.r_[True, (slot[1:] != slot[:-1]) | (place[1:] != place[:-1])] if order.size else np.zeros(0, dtype=bool)
    kept = order[first]
    cost, where = options.delta_v_m_s[kept], options.slot[kept]
    keep = np.zeros(kept.size, dtype=bool)
    for each in np.unique(where).tolist():
        own = np.flatnonzero(where == each)
        least = np.inf
        for row in own.tolist():
            if cost[row] < least - WORTH_M_S or (later_too and cost[row] < DEARER * least):
                keep[row], least = True, min(cost[row], least)
    return np.sort(kept[keep])


def _columns(asked: _Asked, ways: Ways, held: bool) -> Options:
    drifting = asked.drifting
    ring, start, n = drifting.ring, drifting.start, len(ways)
    table = drifting.timetable(ways)
    size = burns_of(drifting, ways, table).size_m_s
    whole = np.zeros(n, dtype=np.int64)
    begun = np.full(n, start.time_s) if start.on_ring else table.arrive_s
    launch = asked.launch
    options = Options(
        craft_class=np.full(n, asked.craft_class),
        slot=ways.slot,
        pad=np.full(n, -1 if launch is None else launch.pad),
        way=np.full(n, -1 if launch is None else launch.way),
        liftoff_s=np.full(n, math.nan if launch is None else launch.liftoff_s),
        parking_wait_s=ways.held_s if held else ways.wait_s,
        revolutions=whole,
        ring_revolutions=whole,
        touch_s=begun,
        burn_s=table.leave_s,
        finish_s=table.arrive_s,
        lead_rad=np.zeros(n),
        speed_m_s=np.full(n, ring.speed_m_s),
        delta_v_m_s=size.sum(axis=1),
        lowest_m=np.minimum(np.minimum(ways.waiting_m, ring.radius_m), start.radius_m),
        highest_m=np.maximum(np.maximum(ways.waiting_m, ring.radius_m), start.radius_m),
    )
    return options.with_table(
        Waits(
            waiting_m=ways.waiting_m,
            lean_rad=ways.lean_rad,
            held_s=ways.held_s,
            wait_s=ways.wait_s,
            held=np.full(n, held),
            size_m_s=size,
            time_s=np.stack([table.down_s, table.in_waiting_s, table.leave_s, table.arrive_s], axis=1),
        )
    )


def together(problem: Problem, chosen: Sequence[Options], finite: Finite) -> CourseOf:
    """The courses of every drift of some plans, whose months of waiting are followed in one batch."""
    return drift_courses(problem, chosen)


def _note(problem: Problem, options: Options) -> str:
    if not len(options):
        return ""
    launched = (
        "; a launched craft drifts from the first passes of its site after each turnaround only, and in a "
        "large ring only into planes that no launch reaches"
        if np.any(options.way >= 0)
        else ""
    )
    return (
        "a nodal drift waits in one circular orbit, besides that in which the craft begins, for as long as it "
        "takes until the nodes first meet; burns turn a part of the plane where that pays" + launched
    )


ROUTE = Route(
    name="drift",
    words=("drift", "until the plane has turned"),
    begins="space",
    columns=columns,
    course=by_itself(together),
    may_serve=lambda problem: problem.ring.planes > 1 or any(_may_rise(problem, group) for group in problem.classes),
    together=together,
    note=_note,
)
