"""Burns as a plan lists them: sizes and parts, lengths, the orbit at cut-off, the propellant left."""

from __future__ import annotations

import math
from collections.abc import Sequence

from ...models.burns import burn_duration, mass_after
from ...models.craft import mass_at_start
from ...models.flight.integrate import Flight
from ...models.scenario import Craft, UpperStage
from ...models.upper_stage import paid_by_stage
from ..craft_plan import Burn


def burns_of(
    craft: Craft, flights: Sequence[Flight], planned_m_s: float | None = None, stage: UpperStage | None = None
) -> tuple[Burn, ...]:
    """Every burn of one or more flights that follow one another, in order.

    Propellant and burn lengths are those of the craft's own part.

    Args:
        planned_m_s: what the plan asks of the craft in all, for a load that depends on it; None: what it burns here.
    """
    impulses = [impulse for flight in flights for impulse in flight.itinerary.impulses]
    lasting = [float(t) for flight in flights for t in flight.cutoff_s - flight.ignition_s]
    readouts = [shown for flight in flights for shown in flight.readouts()]
    sizes = [impulse.delta_v_m_s for impulse in impulses]
    paid = [0.0] * len(sizes)
    if stage is not None and sizes:
        after = [impulse.time_s - flights[0].itinerary.start_s for impulse in impulses]
        paid = paid_by_stage(stage, sizes, after).tolist()
    if planned_m_s is None:
        planned_m_s = math.fsum(sizes) - math.fsum(paid)
    mass = None if craft.dry_mass_kg is None else float(mass_at_start(craft, planned_m_s))
    found = []
    for impulse, by_stage, shown, flown_s in zip(impulses, paid, readouts, lasting, strict=True):
        size = impulse.delta_v_m_s - by_stage
        duration = None
        left = None
        if mass is not None and craft.isp_s is not None and craft.dry_mass_kg is not None:
            if craft.thrust_n is not None:
                duration = flown_s or float(burn_duration(mass, size, craft.isp_s, craft.thrust_n))
            mass = float(mass_after(mass, size, craft.isp_s))
            left = mass - craft.dry_mass_kg
        found.append(
            Burn(
                time_s=impulse.time_s,
                delta_v_m_s=impulse.delta_v_m_s,
                by_stage_m_s=by_stage,
                radial_m_s=impulse.radial_m_s,
                along_m_s=impulse.along_m_s,
                cross_m_s=impulse.cross_m_s,
                duration_s=duration,
                period_after_s=shown.period_s,
                periapsis_after_m=shown.periapsis_m,
                apoapsis_after_m=shown.apoapsis_m,
                propellant_after_kg=left,
            )
        )
    return tuple(found)
