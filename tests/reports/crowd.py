"""An outcome as large as they come: 66 craft, 400 plans on the front."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache

from ringwright.models.scenario import Craft, LimitSpec, Orbit, RingSpec
from ringwright.optimizer.craft_plan import CraftPlan
from ringwright.optimizer.outcome import Outcome
from ringwright.tests.reports import sample

CRAFT = 66
PLANS = 400


@cache
def crowd(*, craft: int = CRAFT, plans: int = PLANS) -> Outcome:
    """Craft in the ring around a made-up world, each a degree or two off its slot.

    Args:
        craft: how many, each with its own slot.
        plans: how many, each dearer and sooner than the one before.
    """
    radius_m = sample.TESSALY.radius_m + 900e3
    angles = [360.0 * j / craft + 2.0 * math.sin(1.7 * j + 0.4) for j in range(craft)]
    scenario = sample.relay_scenario()
    scenario = replace(
        scenario,
        title=f"{craft} craft around Tessaly",
        body=sample.TESSALY,
        pads=(),
        ring=RingSpec(radius_m=radius_m, slots=craft, slot0_rad=0.0),
        craft=tuple(
            Craft(
                name=f"Spindle {j:02d}",
                dry_mass_kg=120.0,
                propellant_kg=40.0,
                isp_s=220.0,
                orbit=Orbit(periapsis_m=radius_m, apoapsis_m=radius_m, angle_rad=math.radians(angle)),
            )
            for j, angle in enumerate(angles)
        ),
        limits=LimitSpec(clearance_m=20e3, finish_within_s=30 * 86400.0, revolutions_max=40),
        epoch=datetime(2031, 5, 1, tzinfo=UTC),
    )
    ring = sample.ring_of(scenario, 0.0)
    choices = []
    for j, one in enumerate(scenario.craft):
        options = sample.options_of(scenario, ring, sample.from_space(scenario, one), [j])
        best: list[CraftPlan] = []
        for part in sorted(options, key=lambda part: part.in_slot_s):
            if not best or part.delta_v_m_s < best[-1].delta_v_m_s - 1e-6:
                best.append(part)
        choices.append(best)
    made = []
    for level in range(plans):
        parts = tuple(
            # each craft changes its option at a level that is its own
            best[
                max(0, min(len(best) - 1, math.floor((level + (7 * j % craft) / craft * 8) * len(best) / (plans + 8))))
            ]
            for j, best in enumerate(choices)
        )
        made.append((sum(part.delta_v_m_s for part in parts), parts))
    ranked = [sample.plan_of(scenario, parts, rank) for rank, (_, parts) in enumerate(reversed(made), start=1)]
    return sample.outcome_of(scenario, ring, ranked)
