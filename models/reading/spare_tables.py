"""Spares that are up: read from their tables, and what they say to the rest of a scenario."""

from __future__ import annotations

from dataclasses import replace

from ..scenario import Body, Craft, Scenario, on_ring
from ..spares import Spare
from .document import Table
from .in_words import km, least_km, planes_accepted
from .scope import nodes_drift, planes_stay


def spare(table: Table, body: Body) -> Spare:
    """A spare as its table gives it; whether it lies in the ring is settled once the ring is known."""
    altitude = table.number("altitude")
    table.note_defaults("area", "drag_coefficient", "thrust", "reserve")
    return Spare(
        craft=Craft(**table.given(Craft)),
        plane=table.count_or("plane"),
        after_slot=table.count_or("after_slot", 0) if "after_slot" in table else None,
        angle_rad=table.number("angle"),
        radius_m=None if altitude is None else body.radius_m + altitude,
    )


def check_spares(scenario: Scenario, root: Table) -> None:
    """Raise InputError for the first spare that cannot wait where it is said to, or from where nothing leads up."""
    ring = scenario.ring
    for one, table in zip(scenario.spares, root.tables.get("spare", ()), strict=True):
        if one.plane >= ring.planes:
            raise table.error(
                f"{table.quote('plane')} is no plane of the ring: {planes_accepted(ring.planes)}.", "plane"
            )
        if one.after_slot is not None and one.after_slot >= ring.slots:
            raise table.error(
                f"{table.quote('after_slot')} is no slot of the ring: one of 0 to {ring.slots - 1} would be accepted.",
                "after_slot",
            )
        if one.radius_m is None:
            continue
        if one.after_slot is not None:
            raise table.error(
                f"{table.quote('altitude')}, but {table.quote('after_slot')} says that {one.craft.name} waits in the "
                "ring: on another circle it passes all slots in turn; give angle_deg, where it is at the epoch, or "
                "take the altitude out.",
                "altitude",
            )
        if one.radius_m < scenario.floor_m:
            raise table.error(
                f"{table.quote('altitude')} is below the lowest altitude allowed: at least "
                f"{least_km(scenario.floor_m, scenario)} would be accepted.",
                "altitude",
            )
        if one.radius_m > scenario.limits.apoapsis_max_m:
            raise table.error(
                f"{table.quote('altitude')} is above limits.apoapsis_max: at most "
                f"{km(scenario.limits.apoapsis_max_m, scenario)} would be accepted.",
                "altitude",
            )
        planned = nodes_drift(scenario) or planes_stay(scenario) or scenario.front_step_s is not None
        if planned or on_ring(one.radius_m, ring.radius_m):
            continue
        raise table.error(
            f"{table.quote('altitude')} is not the ring, at {km(ring.radius_m, scenario)}: over the poles of an oblate "
            "body ways from another circle to a slot are looked for where goal.front_step is given, the time between "
            "one finish to be examined and the next; add it, or take the altitude out.",
            "altitude",
        )


def in_the_ring(spares: tuple[Spare, ...], ring_radius_m: float) -> tuple[Spare, ...]:
    """The same; one at the ring's altitude, as near as a file rounds it, waits in the ring itself."""
    return tuple(
        replace(one, radius_m=None) if one.radius_m is not None and on_ring(one.radius_m, ring_radius_m) else one
        for one in spares
    )
