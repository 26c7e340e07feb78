"""Burns as a plan tells them: sizes and parts, lengths, the orbit at cut-off, the propellant left."""

from __future__ import annotations

from ..models.burns import burn_duration, mass_after
from ..models.craft import mass_at_start
from ..models.flight import Flight
from ..models.scenario import Craft
from .outcome import Burn


def burns_of(craft: Craft, flight: Flight, planned_m_s: float) -> tuple[Burn, ...]:
    """Every burn of a flight, in order.

    Args:
        craft: for its masses and thrust.
        flight: as flown.
        planned_m_s: what the plan asks of the craft in all, for a load that depends on it.
    """
    mass = None if craft.dry_mass_kg is None else float(mass_at_start(craft, planned_m_s))
    found = []
    for impulse, shown in zip(flight.itinerary.impulses, flight.readouts(), strict=True):
        size = impulse.delta_v_m_s
        duration = None
        left = None
        if mass is not None and craft.isp_s is not None and craft.dry_mass_kg is not None:
            if craft.thrust_n is not None:
                duration = float(burn_duration(mass, size, craft.isp_s, craft.thrust_n))
            mass = float(mass_after(mass, size, craft.isp_s))
            left = mass - craft.dry_mass_kg
        found.append(
            Burn(
                time_s=impulse.time_s,
                delta_v_m_s=size,
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
