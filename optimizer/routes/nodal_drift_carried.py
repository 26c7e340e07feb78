"""By carrier and nodal drift: all craft let go together in the parking orbit, from where each drifts into its plane.

The carrier is launched into a plane of the ring and parks on a circle of its inclination, where all its craft leave it
at the insertion. Each of them then waits and goes up as a craft does that was launched by itself
(`nodal_drift.py`): into the plane launched into at once, into another one when its node has met it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ...models import orbits
from ...models.deadline import poll
from ...models.flight.integrate import Itinerary, fly
from ...models.sites import EDGE_KG, EDGE_S
from ..limits.screening import within_limits
from ..problem.options import Options, join
from ..problem.problem import Aboard, Problem
from ..trajectory.course import Carried, CarrierKey, Course
from . import nodal_drift
from .carrier import lifted_kg
from .carrier_bundles import bundles, of_use
from .carrier_flight import carrier_key
from .nodal_drift_launched import Launch, launches
from .route import CourseOf, Finite, Question, by_itself

TURNS = 1.05
"""Turns of the parking orbit for which a carrier is flown after it has let its craft go."""


def columns(question: Question) -> Options:
    """Every load of every carrier that none beats, let go in a parking orbit."""
    problem = question.problem
    if not problem.aboard:
        return join([])
    return join([_loads(question, aboard, one) for aboard in problem.aboard for one, _ in launches(problem)])


def _loads(question: Question, aboard: Aboard, launch: Launch) -> Options:
    """The loads of one carrier at one liftoff."""
    problem, ways = question.problem, question.restriction.ways
    free = np.array([slot for slot in problem.free_slots if nodal_drift.wanted(question, slot)], dtype=np.int64)
    if not _may_carry(problem, aboard, launch) or not free.size or (ways is not None and launch.way not in ways):
        return join([])
    poll()
    rows = nodal_drift.from_parking(problem, launch, free)
    # the one that may burn most; what each of them may is asked of the whole load
    rows = replace(rows, craft_class=np.full(len(rows), aboard.craft_class[-1]))
    rows = within_limits(problem, rows, problem.scenario.limits.finish_within_s)
    rows = rows.take(np.lexsort((rows.delta_v_m_s, rows.finish_s)))
    group = np.zeros(len(rows), dtype=np.int64)
    rows = rows.take(of_use(rows.slot, rows.delta_v_m_s, group))
    return bundles(rows, group[: len(rows)], aboard, free, lambda own, _: np.full(len(own), -math.inf))


def _may_carry(problem: Problem, aboard: Aboard, launch: Launch) -> bool:
    """Whether a carrier may be launched so, with all that is aboard."""
    site, way = problem.scenario.pads[launch.pad], problem.ways[launch.way]
    # all leave it at one moment
    allowed = aboard.carrier.between_drops_s <= 0.0 and (not aboard.carrier.pads or site.name in aboard.carrier.pads)
    ready = aboard.ready_s <= launch.liftoff_s + EDGE_S
    return allowed and ready and lifted_kg(problem, aboard) <= site.payload_to(way.insertion) + EDGE_KG


def together(problem: Problem, chosen: Sequence[Options], finite: Finite) -> CourseOf:
    """What craft fly after their carriers have let them go, all together."""
    drifts = nodal_drift.together(problem, chosen, finite)
    carriers: dict[CarrierKey, Carried] = {}

    def course_of(options: Options, row: int) -> Course | None:
        what, name = drifts(options, row), carrier_key(options, row)
        if what is None or what.full is None:
            return None
        if name not in carriers:
            carriers[name] = _parked(problem, name, what.full)
        return replace(what, carried=carriers[name])

    return course_of


def _parked(problem: Problem, name: CarrierKey, craft: Itinerary) -> Carried:
    """A carrier from its insertion on, where the flight of a craft begins, once round its parking orbit."""
    turn_s = float(orbits.period(problem.ring.gm, problem.ways[name.way].insertion.radius_m))
    item = replace(craft, impulses=(), end_s=craft.start_s + TURNS * turn_s)
    (flight,) = fly([item], problem.gravity)
    return Carried(
        name=name,
        flight=flight,
        moved_s=0.0,
        first_pass_s=craft.start_s,
        pass_every_s=0.0,
        must_burn=False,
        parks=True,
    )


ROUTE = replace(
    nodal_drift.ROUTE,
    begins="carrier",
    columns=columns,
    course=by_itself(together),
    together=together,
    may_serve=lambda problem: bool(problem.aboard) and problem.ring.planes > 1,
    note=lambda _problem, _options: "",
)
