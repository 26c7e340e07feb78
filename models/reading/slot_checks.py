"""Whether the slots hold all craft, and each at most one."""

from __future__ import annotations

import math

from ..readouts import listed, turned
from ..scenario import Craft, RingSpec, Scenario, on_ring
from .document import Table
from .in_words import planes_accepted
from .scope import nodes_drift

SAME_PLANE = 1e-6
"""Sine of an inclination below which planes with different nodes are one plane."""


def check_occupied(scenario: Scenario, root: Table) -> None:
    """Raise InputError where another craft occupies a slot or a plane that the ring does not have."""
    ring = scenario.ring
    for one, item in zip(ring.occupied, root.tables["ring"][0].tables.get("occupied", ()), strict=True):
        if one.slot is not None and one.slot >= ring.slots:
            raise item.refused("slot", f"is no slot of the ring: one of 0 to {ring.slots - 1} would be accepted.")
        if one.plane >= ring.planes:
            raise item.refused("plane", f"is no plane of the ring: {planes_accepted(ring.planes)}.")


def check_slots(scenario: Scenario, root: Table) -> None:
    """Raise InputError where slots are too few, or one would hold two craft."""
    ring = scenario.ring
    _check_left(scenario, root)
    places = (ring.slots - len(ring.leave_free)) * ring.planes
    wanted = len(ring.occupied) + len(scenario.craft)
    table = root.tables["ring"][0]
    if wanted > places:
        taken = f", {len(ring.occupied)} of them occupied" if ring.occupied else ""
        raise table.error(
            f"{len(scenario.craft)} craft are to find a slot, but the ring has {places}{taken}: "
            f"{_more(table, math.ceil(wanted / ring.planes) + len(ring.leave_free))}, or take craft out.",
            _key(table),
        )
    for plane in range(ring.planes):
        there = [one.name for one in ring.occupied if one.plane == plane]
        there += [
            craft.name
            for craft in scenario.craft
            if craft.orbit is not None and craft.orbit.plane == plane and not _may_change_plane(scenario, craft)
        ]
        if len(there) > ring.slots:
            raise table.error(
                f"{listed(there)} are in plane {plane}, which has {_places(ring.slots)}, and only from the "
                "ring itself, or from a circle over an oblate body, a craft in space gets into another: "
                f"{_more(table, len(there))}, or take craft out.",
                _key(table),
            )
    taken_by: dict[tuple[int, int], str] = {}
    for who, plane, slot, holder in _places_taken(scenario, root):
        other = taken_by.get((plane, slot))
        if other is not None:
            where = f"slot {slot} of plane {plane}" if ring.planes > 1 else f"slot {slot}"
            raise holder.error(
                f"{who} and {other} are both in {where}: of the {ring.slots} slots each holds one craft; give one "
                "of them another place, or take it out."
            )
        taken_by[plane, slot] = who


def _check_left(scenario: Scenario, root: Table) -> None:
    """Raise InputError where slots that are left free are none, given twice, taken, or cannot be known apart."""
    ring, table = scenario.ring, root.tables["ring"][0]
    if not ring.leave_free:
        return
    quote = table.quote("leave_free")
    beyond = [slot for slot in ring.leave_free if slot >= ring.slots]
    if beyond:
        raise table.refused("leave_free", f"names slot {beyond[0]}: of 0 to {ring.slots - 1} any would be accepted.")
    if len(set(ring.leave_free)) < len(ring.leave_free):
        raise table.refused("leave_free", "names a slot twice: name each once.")
    placed = any(one.slot is not None and one.angle_rad is not None for one in ring.occupied)
    if ring.slot0_rad is None and not placed:
        raise table.refused(
            "leave_free",
            "needs to know which slot is which, but ring.slot0_deg is free: give slot0_deg, or list the slots that are "
            "to be filled in slots_deg and take leave_free out.",
        )
    for who, _, slot, holder in _places_taken(scenario, root):
        if slot in ring.leave_free:
            raise holder.error(
                f"{who} is in slot {slot}, which {quote} leaves free: take the slot out there, or move {who}."
            )


def _may_change_plane(scenario: Scenario, craft: Craft) -> bool:
    """Whether a craft in space may reach another plane: from the ring by a burn, from any circle by nodal drift."""
    orbit = craft.orbit
    if orbit is None or craft.stay or not orbit.nearly_circular:
        return False
    return nodes_drift(scenario) or on_ring(orbit.apoapsis_m, scenario.ring.radius_m)


def _places_taken(scenario: Scenario, root: Table) -> list[tuple[str, int, int, Table]]:
    """Craft that stay and whose slot is certain: given by number, or nearest to a measured angle on a placed ring."""
    ring = scenario.ring
    found: list[tuple[str, int, int, Table]] = []
    rate = math.sqrt(scenario.body.gm / ring.radius_m**3)
    for one, item in zip(ring.occupied, root.tables["ring"][0].tables.get("occupied", ()), strict=True):
        slot = one.slot
        if slot is None and one.angle_rad is not None and ring.slot0_rad is not None:
            slot = _nearest(one.angle_rad - ring.slot0_rad - _ahead_rad(ring, one.plane), ring)
        if slot is not None:
            found.append((one.name, one.plane, slot, item))
    for craft, table in zip(scenario.craft, root.tables["craft"], strict=True):
        if craft.stay and craft.orbit is not None and ring.slot0_rad is not None:
            angle = craft.orbit.angle_rad - rate * craft.orbit.at_s
            plane = craft.orbit.plane
            slot = _nearest(angle - ring.slot0_rad - _ahead_rad(ring, plane), ring)
            found.append((craft.name, plane, slot, table))
    return found


def _more(table: Table, slots: int) -> str:
    return (
        f"list {slots} slots in {table.spelling('pattern')}" if "pattern" in table else f"raise ring.slots to {slots}"
    )


def _key(table: Table) -> str:
    return "pattern" if "pattern" in table else "slots"


def _places(slots: int) -> str:
    return "1 slot" if slots == 1 else f"{slots} slots"


def _ahead_rad(ring: RingSpec, plane: int) -> float:
    """How far slot 0 of a plane is ahead of that of plane 0 (Walker 1984)."""
    return 2.0 * math.pi * plane * ring.phasing / (ring.planes * ring.slots)


def _nearest(ahead_rad: float, ring: RingSpec) -> int:
    if not ring.pattern_rad:
        return round(turned(ahead_rad) / (2.0 * math.pi) * ring.slots) % ring.slots
    away = [abs(math.remainder(ahead_rad - one, 2.0 * math.pi)) for one in ring.pattern_rad]
    return away.index(min(away))
