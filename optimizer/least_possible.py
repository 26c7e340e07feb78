"""What no flight of any kind can beat, for the craft of a plan and for the whole ring: proved, where it is known.

It is known in the field of a point mass, for craft that start on the ring's own circle (``rendezvous/lower_bound.py``).
Slots are met exactly, as plans aim at them.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ..models.arrays import Array
from ..models.ring import Ring
from .craft_plan import CraftPlan
from .outcome import CraftLeast, LeastPossible, Outcome, Plan

SAME_CIRCLE = 1e-9
"""Share of the ring's radius by which an orbit may be off the ring's circle: far below what is printed."""


def least_possible(found: Outcome) -> LeastPossible | None:
    """The bounds for the craft of plan 1, done by the time it is; None where none is known."""
    from .rendezvous.lower_bound import least_of_any_flight  # its table is read only where it is asked for

    scenario = found.scenario
    if scenario.body.j2 != 0.0 or found.under is not None or found.ring.planes > 1 or not found.plans:
        return None
    plan = found.plans[0]
    ring = found.ring_of(plan)
    ready = {craft.name: max(craft.ready_s, 0.0) for craft in scenario.craft}
    parts = [part for part in plan.craft if _from_the_ring(found, ring, part)]
    slots = _open_slots(found, ring)
    bounds = np.zeros((len(parts), len(slots)))
    for row, part in enumerate(parts):
        turns = (plan.finish_s - ready[part.craft]) / ring.period_s
        leads = part.lead_rad + ring.phase(0.0, slots) - float(ring.phase(0.0, part.slot))
        bounds[row] = [ring.speed_m_s * least_of_any_flight(float(lead), turns) for lead in leads]
    own = [
        CraftLeast(craft=part.craft, slot=part.slot, least_m_s=float(bounds[row][slots == part.slot][0]))
        for row, part in enumerate(parts)
    ]
    if not any(one.least_m_s > 0.0 for one in own):
        return None
    total = _whole_ring(bounds) if _all_move(found, plan, parts) else None
    return LeastPossible(by_s=plan.finish_s, craft=tuple(own), total_m_s=total)


def _from_the_ring(found: Outcome, ring: Ring, part: CraftPlan) -> bool:
    """Whether a craft starts in space on the ring's circle."""
    orbit = next((craft.orbit for craft in found.scenario.craft if craft.name == part.craft), None)
    return orbit is not None and all(
        abs(apsis - ring.radius_m) <= SAME_CIRCLE * ring.radius_m for apsis in (orbit.periapsis_m, orbit.apoapsis_m)
    )


def _open_slots(found: Outcome, ring: Ring) -> NDArray[np.int64]:
    """Slots that craft may be brought into."""
    taken = {kept.slot for kept in found.kept} | set(found.scenario.ring.leave_free)
    return np.array([slot for slot in range(ring.slots) if slot not in taken], dtype=np.int64)


def _all_move(found: Outcome, plan: Plan, parts: list[CraftPlan]) -> bool:
    """Whether the craft with bounds are all that the plan has, and which slots are filled is not part of the choice."""
    return len(parts) == len(plan.craft) and not any(craft.may_move for craft in found.scenario.craft)


def _whole_ring(bounds: Array) -> float | None:
    """The least sum over all ways to give each craft one slot; None where there are too few slots."""
    from scipy.optimize import linear_sum_assignment

    if bounds.shape[0] > bounds.shape[1]:
        return None
    rows, columns = linear_sum_assignment(bounds)
    return math.fsum(bounds[rows, columns].tolist())
