"""What keeping a ring takes beyond bringing its craft there: drag, its longitudes, its plane, and trims of rates.

The first three are rates in closed form (``models/keeping.py``) that depend on the ring, on a craft's surface and on
its slot, so that they are known of every plan. Trims depend on how well a plan's flight meets the ring's rate: they are
those of the forecast of ``hold_by_forces.py``, where a plan was flown under the forces.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ...models import deadline
from ...models.arrays import Array
from ...models.burns import exhaust_speed, propellant_needed
from ...models.deadline import ENDED
from ...models.flight.drag import Air
from ...models.flight.forces import Field
from ...models.flight.gravity import gravity_around
from ...models.flight.sky import sky
from ...models.force_choice import chosen_forces
from ...models.keeping import (
    drag_m_s2,
    east_west_m_s2,
    north_south_m_s_year,
    pole_drift_rad_year,
    stays_over_the_equator,
)
from ...models.ring import Ring
from ...models.scenario import Craft, Scenario
from ...models.surroundings import ForceSpec, Surface
from ...models.synchronous import uneven_part
from ...models.units import YEAR_S
from ..outcome import Kept, Outcome, Plan
from ..standing import CraftKeeping, ForcedHold, Keeping
from .under_forces import under_forces


def keeping_of(
    scenario: Scenario, ring: Ring, plans: Sequence[Plan], kept: Sequence[Kept], field: Field | None = None
) -> tuple[Keeping | None, ...]:
    """What keeping the ring takes by each of some plans, without trims of rates.

    None by the bulge alone, and where nobody asked for a hold.

    Args:
        scenario: forces, tolerances, how long the ring is to hold.
        ring: a plan's own phase is put in.
        plans: as flown into the slots.
        kept: craft that stay.
        field: the forces, where they are chosen already.
    """
    if scenario.forces is None or not scenario.ring.hold_wanted or not plans:
        return (None,) * len(plans)
    field = chosen_forces(scenario, plans[0].finish_s).field if field is None else field
    drift = _pole_drift(scenario, ring, plans[0].finish_s)
    return tuple(_of_plan(scenario, ring, plan, kept, field, drift) for plan in plans)


def _of_plan(
    scenario: Scenario, ring: Ring, plan: Plan, kept: Sequence[Kept], field: Field, drift: float | None
) -> Keeping:
    spec = scenario.ring
    at = ring if plan.slot0_rad is None else replace(ring, slot0_rad=plan.slot0_rad)
    rows = [(part.craft, part.in_slot_s, True, (part.plane, part.slot)) for part in plan.craft]
    rows += [(one.craft, 0.0, False, (one.plane, one.slot)) for one in kept]
    surfaces = {craft.name: craft.surface for craft in scenario.craft}
    air = next((term for term in field.terms if isinstance(term, Air)), None)
    made_up = air is not None and spec.with_drag == "maintained"
    drag = np.zeros(len(rows))
    if air is not None and made_up:
        # craft up already of which the scenario says nothing meet no air in the flight either
        drag = drag_m_s2(air, at, np.array([surfaces.get(name, Surface()).drag_m2_kg for name, *_ in rows]))
    east_west = _east_west(scenario, at, field, [place for *_, place in rows])
    band = spec.tilt_tolerance_rad
    kept_years = (
        plan.finish_s + spec.hold_for_s - min((from_s for _, from_s, *_ in rows), default=plan.finish_s)
    ) / YEAR_S
    north_south = 0.0
    # where the plane begins in the middle of the band and does not come to its edge no burn is needed
    if drift is not None and drift * kept_years > band:
        north_south = north_south_m_s_year(at.speed_m_s, drift, band)
    return Keeping(
        craft=tuple(
            CraftKeeping(
                craft=name,
                from_s=from_s,
                moved=moved,
                drag_m_s_year=float(drag[k]) * YEAR_S,
                east_west_m_s_year=float(east_west[k]) * YEAR_S,
                north_south_m_s_year=north_south,
            )
            for k, (name, from_s, moved, _) in enumerate(rows)
        ),
        done_s=plan.finish_s,
        hold_s=spec.hold_for_s,
        keeps_plane=_keeps_plane(scenario, at),
        pole_drift_rad_year=drift,
        band_rad=band,
        drag=made_up,
    )


def _east_west(scenario: Scenario, ring: Ring, field: Field, places: Sequence[tuple[int, int]]) -> Array:
    """What holds the longitudes, m/s^2; nothing for a ring that does not keep them, or with no uneven field flown."""
    uneven = uneven_part(field)
    if scenario.ring.longitude_rad is None or uneven is None:
        return np.zeros(len(places))
    angles = np.array([float(ring.phase(0.0, slot, plane)) for plane, slot in places])
    return east_west_m_s2(uneven, ring, angles - scenario.body.prime_meridian_rad)


def _keeps_plane(scenario: Scenario, ring: Ring) -> bool:
    """Whether the plane is kept: a tilt is named, and the ring is synchronous."""
    return scenario.ring.tilt_tolerance_rad > 0.0 and stays_over_the_equator(scenario.body, ring)


def _pole_drift(scenario: Scenario, ring: Ring, from_s: float) -> float | None:
    """How fast the plane turns, rad a year; None where it is not kept, or no other body is known.

    By all bodies that are not forced out: how far they move a slot, by which they are chosen, says nothing of the tilt.
    """
    if not _keeps_plane(scenario, ring):
        return None
    spec, body = scenario.forces or ForceSpec(), scenario.body
    pulls = tuple(term for key, term in sky(scenario).terms.items() if getattr(spec, key, "auto") is not False)
    above = Field(near=gravity_around(body), terms=pulls)
    found = pole_drift_rad_year(body, above, scenario.ring.radius_m, from_s, scenario.ring.hold_for_s)
    return found if found > 0.0 else None


def keeping_with_trims(outcome: Outcome, scenario: Scenario) -> Keeping | None:
    """What keeping the ring takes by the first plan of an outcome, with trims of rates where its flight gives them.

    Args:
        outcome: it must have a plan; flown under further forces or not.
        scenario: with its ``[forces]``, which the outcome may leave out.

    Returns:
        None by the bulge alone, and where nobody asked for a hold. Where the flight did not come through, or no time
        was left for it, trims are None.
    """
    if scenario.forces is None or not scenario.ring.hold_wanted:
        return None
    plan = outcome.plans[0]
    with deadline.undisturbed():
        [steady] = keeping_of(scenario, outcome.ring, [plan], outcome.kept)
    assert steady is not None
    if scenario.ring.longitude_rad is not None:
        # over the ground east-west keeping is all that is trimmed
        return replace(steady, craft=tuple(replace(one, trims_m_s=0.0) for one in steady.craft))
    # what was flown under further forces is plan 1
    under = outcome.under if plan.rank == 1 else None
    if under is None:
        try:
            found = under_forces(replace(outcome, scenario=scenario), plan)
        except ENDED:
            return steady
        under = None if found is None else found[1]
    if under is None or under.hold is None:
        return steady
    return with_trims(steady, under.hold)


def with_trims(steady: Keeping, hold: ForcedHold) -> Keeping:
    """The same with the trims that the forecast has until the ring need hold no longer.

    They stay None where the forecast ends before that.
    """
    end_s = steady.done_s + steady.hold_s
    if hold.kept_times_s.size < 2 or float(hold.kept_times_s[-1]) < end_s:
        return steady
    used = {
        name: math.fsum(abs(one.along_m_s) for one in hold.trims if one.craft == name and one.time_s <= end_s)
        for name in hold.names
    }
    return replace(steady, craft=tuple(replace(one, trims_m_s=used.get(one.craft)) for one in steady.craft))


def load_with_keeping_kg(scenario: Scenario, plan: Plan, keeping: Keeping) -> float | None:
    """Propellant that the craft moved need for the plan, for keeping and for their reserves, kg; None without masses.

    Burns all with the craft's own engine: what a launcher's upper stage gives is not in the plan's delta-v.
    """
    named = {craft.name: craft for craft in scenario.craft}
    kept = {one.craft: one for one in keeping.craft}
    loads = [kept_load_kg(named[part.craft], part.delta_v_m_s, keeping, kept[part.craft]) for part in plan.craft]
    found = [one for one in loads if one is not None]
    return math.fsum(found) if len(found) == len(loads) else None


def kept_load_kg(
    craft: Craft, way_m_s: float, keeping: Keeping, one: CraftKeeping, *, reserve: bool = True
) -> float | None:
    """Propellant for the way to the slot and for keeping there, kg; None without masses.

    Drag is a force F, whatever the craft weighs: with the exhaust speed w, and what else keeps it as an acceleration c,
    dm/dt = -(F + c m) / w. Backward over the time T from the mass at the end, and x = c T / w, the craft has
    m e^x + F T / w (e^x - 1) / x when it arrives.

    Args:
        craft: its accelerations by drag are counted at the mass that it starts with (`Craft.surface`).
        way_m_s: insertion and phasing.
        reserve: whether the reserve of the scenario is loaded on top.
    """
    if craft.dry_mass_kg is None or craft.isp_s is None:
        return None
    exhaust_m_s, years = exhaust_speed(craft.isp_s), keeping.years(one)
    at_end_kg = craft.dry_mass_kg * math.exp((craft.reserve_m_s if reserve else 0.0) / exhaust_m_s)
    drag_m_s = one.drag_m_s_year * years
    x = (keeping.all_of_m_s(one) - drag_m_s) / exhaust_m_s
    for_drag_kg = (craft.dry_mass_kg + (craft.propellant_kg or 0.0)) * drag_m_s / exhaust_m_s
    arrives_kg = at_end_kg * math.exp(x) + for_drag_kg * (math.expm1(x) / x if x > 0.0 else 1.0)
    return arrives_kg * math.exp(way_m_s / exhaust_m_s) - craft.dry_mass_kg


def load_kg(craft: Craft, delta_v_m_s: Array | float) -> Array | None:
    """Propellant for so much, with the reserve of the scenario on top, kg; None without masses."""
    if craft.dry_mass_kg is None or craft.isp_s is None:
        return None
    return propellant_needed(craft.dry_mass_kg, np.asarray(delta_v_m_s) + craft.reserve_m_s, craft.isp_s)
