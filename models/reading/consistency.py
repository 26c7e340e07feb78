"""What the values of a scenario say to one another: the checks that refuse, in order.

Lengths are radii from the center, as everywhere inside; messages speak in altitudes and in the file's own spelling.
"""

from __future__ import annotations

import math

from ..readouts import brief, listed, no_more, plain, span
from ..scenario import Craft, Scenario, on_ring
from ..units import STANDARD_GRAVITY_M_S2
from .carrier_checks import check_carriers
from .document import Table
from .in_words import km, least_km, planes_accepted, said
from .launch_checks import check_launch, check_pads
from .scope import refuse_beyond_scope
from .slot_checks import SAME_PLANE, check_occupied, check_slots
from .spare_tables import check_spares
from .start_checks import check_starts

SYNCHRONOUS_SHARE = 5e-4
"""An altitude this near, as a share, to a known body's synchronous radius was read off as a radius."""


def check(scenario: Scenario, root: Table) -> None:
    """Raise InputError for the first contradiction; what is plainest wrong comes first."""
    _check_ring(scenario, root)
    check_occupied(scenario, root)
    _check_names(root)
    for craft, table in zip(scenario.craft, root.tables["craft"], strict=True):
        _check_craft(scenario, craft, table, root)
    for spare, table in zip(scenario.spares, root.tables.get("spare", ()), strict=True):
        _check_masses(spare.craft, table)
    check_launch(scenario, root)
    check_carriers(scenario, root)
    check_starts(scenario, root)
    _check_limits(scenario, root)
    _check_goal(scenario, root)
    refuse_beyond_scope(scenario, root)
    check_slots(scenario, root)
    check_spares(scenario, root)


def _check_ring(scenario: Scenario, root: Table) -> None:
    table = root.tables["ring"][0]
    body, ring = scenario.body, scenario.ring
    size = next(name for name in ("altitude", "radius", "period", "longitude") if name in table)
    altitude = table.number("altitude")
    # of an invented world nobody knows that radius by heart, so there an altitude near it is only an altitude
    if altitude is not None and math.isfinite(body.hill_radius_m) and math.isfinite(body.sidereal_day_s):
        synchronous = (body.gm / body.spin_rad_s**2) ** (1.0 / 3.0)
        if abs(altitude - synchronous) <= SYNCHRONOUS_SHARE * synchronous:
            far = plain((body.radius_m + altitude) / 1e3, 0)
            raise table.refused(
                "altitude",
                f"puts the ring {far} km from the center, but {brief(altitude / 1e3)} km is the radius at which a "
                f"craft keeps pace with the body: if {brief(altitude / 1e3)} km is from the center, write radius_km; "
                f"if it is not, write radius_km = {far.replace(' ', '')}.",
            )
    top = body.radius_m + body.atmosphere_top_m
    if ring.radius_m <= body.radius_m:
        raise table.refused(
            size,
            f"puts the ring inside the body, whose radius is {brief(body.radius_m / 1e3)} km: write a larger one; "
            "altitudes count from the surface (altitude_km), radii from the center (radius_km).",
        )
    if ring.radius_m < top:
        raise table.refused(
            size,
            f"puts the ring at {km(ring.radius_m, scenario)}, inside the atmosphere, whose top is at "
            f"{km(top, scenario)}: raise the ring, or lower body.atmosphere_top_km.",
        )
    if ring.radius_m < scenario.floor_m:
        limits = root.tables["limits"][0]
        raise limits.refused(
            "clearance",
            f"puts the lowest altitude allowed at {km(scenario.floor_m, scenario)}, above the ring at "
            f"{km(ring.radius_m, scenario)}: at most {no_more((ring.radius_m - top) / 1e3)} km of clearance would be "
            "accepted.",
        )
    if ring.planes > 1 and math.sin(ring.inclination_rad) < SAME_PLANE:
        raise table.refused(
            "planes",
            "would all be one: planes over the equator have no node to separate them; give inclination_deg, or planes "
            "= 1 with more slots.",
        )
    if not 0 <= ring.phasing < ring.planes:
        raise table.refused("phasing", f"should be below planes, which is {ring.planes}.")


def _check_names(root: Table) -> None:
    occupied = root.tables["ring"][0].tables.get("occupied", ())
    _unique([*occupied, *root.tables["craft"], *root.tables.get("spare", ())], "craft")
    _unique(root.tables.get("launch", ()), "launch site")
    _unique(root.tables.get("carrier", ()), "carrier")
    for pad in root.tables.get("launch", ()):
        _unique(pad.tables["insertion"], "insertion")


def _unique(tables: tuple[Table, ...] | list[Table], what: str) -> None:
    seen: dict[str, Table] = {}
    for table in tables:
        name = table.text("name")
        if name is None and len(tables) > 1:
            raise table.error(
                f"{table.label} has no name: where there are several, each {what} needs a different name."
            )
        if name is not None and name in seen:
            before = seen[name].line()
            at = f" (line {before})" if before else ""
            raise table.refused("name", f"is taken by another {what}{at}: give each {what} a different name.")
        seen[name or ""] = table


def _check_craft(scenario: Scenario, craft: Craft, table: Table, root: Table) -> None:
    _check_masses(craft, table)
    if craft.orbit is None and (craft.stay or craft.may_move):
        raise table.refused("stay", f", but {craft.name} is on the ground: give it an orbit, or launch it.")
    if craft.orbit is None and not scenario.pads:
        raise table.error(
            f"{said(craft, table)} is on the ground but there is no [launch]: add [launch], or give {craft.name} "
            "orbit = { ... } if it is in space."
        )
    check_pads(scenario, craft, table, root)
    inside = table.table("orbit")
    if craft.orbit is not None and inside is not None and craft.orbit.plane >= scenario.ring.planes:
        planes = scenario.ring.planes
        raise inside.refused("plane", f"is no plane of the ring: {planes_accepted(planes)}.")
    if (
        (craft.stay or craft.may_move)
        and craft.orbit
        and not (craft.orbit.circular and on_ring(craft.orbit.apoapsis_m, scenario.ring.radius_m))
    ):
        raise table.refused(
            "stay",
            f", but the orbit of {craft.name} is not the ring: give it an orbit at "
            f"{km(scenario.ring.radius_m, scenario)}, or take stay out so that it may move.",
        )


def _check_masses(craft: Craft, table: Table) -> None:
    masses = ("dry_mass", "propellant", "isp")
    given = [name for name in masses if name in table]
    if given and len(given) < len(masses):
        lacking = next(name for name in masses if name not in table)
        raise table.error(
            f"{said(craft, table)} has {listed([table.entries[name].spelled for name in given])} but no {lacking}: "
            "give dry_mass_kg, propellant_kg and isp_s together, or none of them.",
            given[0],
        )
    for name in ("thrust", "reserve", "load"):
        if not given and name in table:
            raise table.refused(
                name, "means nothing without masses: add dry_mass_kg, propellant_kg and isp_s, or take it out."
            )
    if craft.dry_mass_kg is not None and craft.propellant_kg is not None and craft.isp_s is not None:
        able = craft.isp_s * STANDARD_GRAVITY_M_S2 * math.log1p(craft.propellant_kg / craft.dry_mass_kg)
        if craft.reserve_m_s > 0.0 and craft.reserve_m_s >= able:
            raise table.refused(
                "reserve",
                f"keeps back all that the propellant gives, {plain(able)} m/s: at most {no_more(able * (1.0 - 1e-6))} "
                "m/s would be accepted.",
            )


def _check_limits(scenario: Scenario, root: Table) -> None:
    table = root.table("limits")
    if table is None:
        return
    limits, ring = scenario.limits, scenario.ring
    if limits.apoapsis_max_m < ring.radius_m:
        raise table.refused(
            "apoapsis_max",
            f"is below the ring at {least_km(ring.radius_m, scenario)}, where every plan has to go: at least that "
            "would be accepted.",
        )
    for craft, one in zip(scenario.craft, root.tables["craft"], strict=True):
        if craft.stay:
            continue
        pads = zip(scenario.pads, root.tables.get("launch", ()), strict=True)
        first, holder = craft.ready_s, one
        if craft.orbit is None:
            pad_s, pad = min(((pad.ready_s, pad_table) for pad, pad_table in pads), key=lambda item: item[0])
            first, holder = max((craft.ready_s, one), (pad_s, pad), key=lambda item: item[0])
        if first > 0.0 and limits.finish_within_s <= first:
            raise table.refused(
                "finish_within",
                f"is over before craft {craft.name!r} can start, as {holder.quote('ready')}: more than {span(first)} "
                "would be accepted.",
            )


def _check_goal(scenario: Scenario, root: Table) -> None:
    goal = root.table("goal")
    if goal is None:
        return
    if scenario.first_service is not None:
        filled = min(scenario.ring.slots, len(scenario.craft) + len(scenario.ring.occupied))
        if scenario.first_service > filled:
            raise goal.refused(
                "first_service",
                f"asks for more neighbors than a plane of the ring will hold: 1 to {filled} would be accepted.",
            )
    if scenario.minimize != "propellant":
        return
    bare = [craft.name for craft in scenario.craft if craft.dry_mass_kg is None and not craft.stay]
    if bare:
        raise goal.refused(
            "minimize",
            f"needs masses, but craft {bare[0]!r} has none: add dry_mass_kg, propellant_kg and isp_s to it, or "
            'minimize = "delta_v".',
        )
