"""A plan against the limits of its scenario: totals, how much room it leaves under each, and which it breaks."""

from __future__ import annotations

import math
from collections.abc import Sequence

from ...models.scenario import Scenario
from ..craft_plan import CarrierPlan, CraftPlan
from ..outcome import Broken, Margin, Plan
from . import liftoffs, registry
from .limit import PlanParts


def judged(
    scenario: Scenario, craft: Sequence[CraftPlan], carriers: Sequence[CarrierPlan] = (), *, moved: bool
) -> Plan:
    """The parts of craft and carriers as one plan, its totals taken and its limits judged; not yet ranked (0).

    ``moved``: whether the flight may have moved liftoffs, which is so for sites that pass through the ring plane.
    """
    used = [c.propellant_kg for c in craft]
    margins, broken = _against_limits(PlanParts(scenario=scenario, craft=craft, carriers=carriers, moved=moved))
    return Plan(
        rank=0,
        delta_v_m_s=math.fsum(c.delta_v_m_s for c in craft),
        worst_delta_v_m_s=max((c.delta_v_m_s for c in craft), default=0.0),
        propellant_kg=None if any(u is None for u in used) else math.fsum(u for u in used if u is not None),
        finish_s=max((c.in_slot_s for c in craft), default=0.0),
        craft=tuple(craft),
        broken=broken,
        margins=margins,
        on_front=False,
        carriers=tuple(carriers),
    )


def _against_limits(parts: PlanParts) -> tuple[tuple[Margin, ...], tuple[Broken, ...]]:
    """The room that a plan leaves under each limit, and what the flight finds broken: nothing should be."""
    margins: list[Margin] = []
    broken: list[Broken] = []
    for limit in registry.LIMITS:
        own = limit.margins(parts)
        margins += own
        broken += limit.broken(own)
    return tuple(margins), (*broken, *liftoffs.LIMIT.broken_by_moving(parts))
