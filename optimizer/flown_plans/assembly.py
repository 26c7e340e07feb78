"""From chosen options and their flights to plans, judged against the limits."""

from __future__ import annotations

import math

import numpy as np

from ..limits.judged import judged
from ..outcome import Plan
from ..problem.options import Options
from ..problem.problem import Problem
from .carrier_plans import carrier_plans
from .craft_part import craft_plan_of
from .flights import Flights
from .seats import seats_of


def assemble(problem: Problem, options: Options, flights: Flights) -> Plan:
    """One plan from its options, one for each craft that is moved: not yet ranked (rank 0).

    Alike craft take their options in the order of liftoff, in space of slot, and of the scenario file.
    """
    named: list[tuple[str, int]] = []
    for index, group in enumerate(problem.classes):
        rows = [r for r in range(len(options)) if options.craft_class[r] == index]
        # in space the lowest slots first; from a pad in the order of liftoff
        rows.sort(
            key=lambda r: (
                -math.inf if np.isnan(options.liftoff_s[r]) else float(options.liftoff_s[r]),
                int(options.slot[r]),
            )
        )
        named.extend(zip(group.names, rows, strict=True))
    order = {c.name: i for i, c in enumerate(problem.scenario.craft)}
    named.sort(key=lambda item: order[item[0]])
    seats = seats_of(problem, options, named, flights)
    craft = tuple(craft_plan_of(problem, options, row, name, seats, flights) for name, row in named)
    carriers = carrier_plans(problem, options, named, flights.carried)
    return judged(problem.scenario, craft, carriers, moved=any(way.place is not None for way in problem.ways))


def alone(problem: Problem, options: Options, row: int, flights: Flights) -> Plan:
    """One option judged by itself, among the craft that stay: what it breaks regardless of the others."""
    name = problem.classes[options.craft_class[row]].names[0]
    one = options.take(np.array([row]))
    seats = seats_of(problem, one, (), flights)
    part = craft_plan_of(problem, one, 0, name, seats, flights)
    return judged(problem.scenario, (part,), moved=any(way.place is not None for way in problem.ways))
