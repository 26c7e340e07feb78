"""What launch sites and their insertions say to one another and to the craft on the ground."""

from __future__ import annotations

import math

from ..insertions import Insertion
from ..readouts import listed, no_less, no_more
from ..scenario import Craft, Pad, Scenario, on_ring
from .document import Table
from .in_words import km, least_km, said


def check_launch(scenario: Scenario, root: Table) -> None:
    """Raise InputError where sites, their times or insertions contradict one another."""
    body = root.tables["body"][0]
    grounded = any(craft.orbit is None for craft in scenario.craft)
    if grounded and "sidereal_day" not in body and math.isinf(scenario.body.sidereal_day_s):
        raise body.error(
            f"{body.quote('name')} has no sidereal_day, and craft are launched from its surface: add sidereal_day_h "
            "(negative: turns backwards; inf: does not turn)."
        )
    for pad, table in zip(scenario.pads, root.tables.get("launch", ()), strict=True):
        _check_times(pad, table)
        for insertion in pad.insertions:
            _check_insertion(scenario, insertion, table.tables["insertion"][insertion.given])


def _check_times(pad: Pad, table: Table) -> None:
    if pad.until_s < pad.ready_s:
        raise table.refused(
            "until", f"is before the site is ready, as {table.quote('ready')}: at least that moment would be accepted."
        )
    for (start, end), item in zip(pad.blackouts_s, table.tables.get("blackout", ()), strict=True):
        if end <= start:
            raise item.refused(
                "until",
                f"is not after {item.quote('from')}: a blackout ends after it begins, so give a later end or an "
                "earlier beginning.",
            )


def check_pads(scenario: Scenario, craft: Craft, table: Table, root: Table) -> None:
    """Whether there is a site that may launch a craft on the ground and is strong enough for it."""
    names = [pad.name for pad in scenario.pads]
    for name in craft.pads:
        if craft.orbit is not None:
            raise table.refused("pads", f", but {craft.name} is in space already: take pads out, or take orbit out.")
        if name not in names:
            known = f"the launch sites are called {listed(names)}" if names else "there is no [launch]"
            raise table.refused("pads", f"names {name!r}, which is no launch site: {known}.")
    if craft.orbit is not None:
        return
    mine = [pad for pad in scenario.pads if not craft.pads or pad.name in craft.pads]
    pads = dict(zip(names, root.tables.get("launch", ()), strict=True))
    limited = [pad for pad in mine if any(math.isfinite(pad.payload_to(one)) for one in pad.insertions)]
    if limited and craft.dry_mass_kg is None:
        pad = pads[limited[0].name]
        raise pad.error(
            f"{quoted_payload(pad)} limits the mass, but {said(craft, table)} has none: add dry_mass_kg, "
            "propellant_kg and isp_s to it, or take the limit out.",
            "payload",
        )
    least = craft.lightest_kg
    if limited and all(pad.most_payload_kg < least for pad in mine):
        strongest = max(limited, key=lambda pad: pad.most_payload_kg)
        pad = pads[strongest.name]
        loaded = "with all its propellant" if craft.load == "full" else "even without propellant"
        raise pad.error(
            f"{quoted_payload(pad)} is less than the mass of craft {craft.name!r} {loaded}, {no_less(least)} kg: at "
            "least that would be accepted.",
            "payload",
        )


def quoted_payload(pad: Table) -> str:
    """What a site says about how much its launcher brings up, as the file has it."""
    return pad.quote("payload") if "payload" in pad else f"{pad.label}.insertion.payload"


def _check_insertion(scenario: Scenario, insertion: Insertion, item: Table) -> None:
    ring = scenario.ring
    if not insertion.periapsis_m - 1.0 <= insertion.radius_m <= insertion.apoapsis_m + 1.0:
        raise item.refused(
            "altitude",
            f"is outside the orbit it belongs to: between {least_km(insertion.periapsis_m, scenario)} and "
            f"{no_more((insertion.apoapsis_m - scenario.body.radius_m) / 1e3)} km would be accepted.",
        )
    if not on_ring(insertion.apoapsis_m, ring.radius_m) and not insertion.circular:
        raise item.refused(
            "apoapsis",
            f"is neither on the ring, at {km(ring.radius_m, scenario)}, nor equal to the periapsis: an insertion that "
            "goes straight up needs its apoapsis on the ring, to 1 km, because the first ring burn is made there; one "
            "that parks first needs a circle, both apsides alike.",
        )
    if insertion.radius_m < scenario.floor_m * (1.0 - 1e-12):
        name = "altitude" if "altitude" in item else "periapsis"
        raise item.refused(
            name,
            f"is below the lowest altitude allowed after insertion, {least_km(scenario.floor_m, scenario)} (top of the "
            "atmosphere and limits.clearance_km): at least that would be accepted.",
        )
