"""Direct insertion: coast to the apoapsis on the ring, then one burn, or a stop part-way for k revolutions."""

from __future__ import annotations

import numpy as np

from ...models import frames, launch
from ..problem.options import Options, empty
from ..problem.problem import Problem
from ..trajectory.course import Course
from .launched import begun, from_touch, launched_course
from .route import Question, Route


def columns(question: Question) -> Options:
    """Options for each (liftoff, slot) pair.

    The slot's lead on arrival follows from the liftoff; everything else is phasing from that touch. The lowest
    radius counts from insertion: the coast rises, so it is the insertion point until the first ring burn.
    """
    way, asked = question.lifting
    if asked.until_s is not None:
        return empty()
    lead = frames.wrap(launch.lead_on_arrival(asked.touch.ring, way, asked.liftoff_s, asked.slot))
    chosen = asked.phasings(lead)
    return from_touch(way, asked, chosen, lead, np.zeros(lead.size))


def course(
    problem: Problem, options: Options, row: int, finite: bool = False, *, late_s: float | None = None
) -> Course:
    """Coast, and the burns at the ring; ``late_s`` as in `launched.begun`."""
    start = begun(problem, options, row, late_s)
    return launched_course(problem, options.one(row), start, finite=finite)


ROUTE = Route(
    name="direct",
    words=("go", "straight to the ring"),
    begins="liftoff",
    columns=columns,
    course=course,
    lifts_off=lambda way: not way.parking,
)
