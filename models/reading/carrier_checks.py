"""What carriers and the rest of a scenario say to one another: checks that refuse."""

from __future__ import annotations

import math

from ..readouts import no_less
from ..scenario import Carrier, Scenario
from .document import Table
from .launch_checks import quoted_payload

SPACED_MAX = 10
"""Most craft on one carrier whose drops are a stated time apart: their loads are found by sets of slots."""


def check_carriers(scenario: Scenario, root: Table) -> None:
    """Raise InputError for the first carrier whose craft or launch sites contradict the rest of the scenario."""
    taken: dict[str, str] = {}
    for carrier, table in zip(scenario.carriers, root.tables.get("carrier", ()), strict=True):
        _check_craft(scenario, carrier, table, taken)
        _check_drops(carrier, table)
        _check_pads(scenario, carrier, table, root)
        taken.update(dict.fromkeys(carrier.craft, carrier.name))


def _check_craft(scenario: Scenario, carrier: Carrier, table: Table, taken: dict[str, str]) -> None:
    known = {craft.name: craft for craft in scenario.craft}
    for name in carrier.craft:
        if name not in known:
            names = ", ".join(known) or "none"
            raise table.refused("craft", f"names {name!r}, which is no craft: there are {names}.")
        if known[name].orbit is not None:
            raise table.refused(
                "craft",
                f"names {name!r}, which is in space already: name craft on the ground, or take the orbit of {name} "
                "out.",
            )
        if name in taken:
            raise table.refused(
                "craft", f"names {name!r}, which is aboard {taken[name]} already: a craft may be on one carrier."
            )
    most = scenario.ring.slots * scenario.ring.planes
    if len(carrier.craft) > most:
        raise table.error(
            f"{table.quote('craft')} puts {len(carrier.craft)} craft on one carrier, but the ring has {most} slots: "
            "name no more than that.",
            "craft",
        )


def _check_drops(carrier: Carrier, table: Table) -> None:
    """Raise InputError where drops are a time apart, but more craft are aboard than such loads are found for."""
    if carrier.between_drops_s <= 0.0:
        return
    count = len(carrier.craft)
    if count > SPACED_MAX:
        raise table.refused(
            "between_drops",
            f"sets the {count} drops of {carrier.name!r} a time apart, which is planned for {SPACED_MAX} craft on one "
            "carrier at most: name no more craft in 'craft', or take the key out.",
        )


def _check_pads(scenario: Scenario, carrier: Carrier, table: Table, root: Table) -> None:
    names = [pad.name for pad in scenario.pads]
    for name in carrier.pads:
        if name not in names:
            raise table.refused(
                "pads", f"names {name!r}, which is no launch site: the launch sites are called {', '.join(names)}."
            )
    mine = [pad for pad in scenario.pads if not carrier.pads or pad.name in carrier.pads]
    if any(math.isinf(pad.most_payload_kg) for pad in mine):
        return
    by_name = {craft.name: craft for craft in scenario.craft}
    least = carrier.mass_kg + math.fsum(by_name[name].lightest_kg for name in carrier.craft)
    strongest = max(mine, key=lambda pad: pad.most_payload_kg)
    if strongest.most_payload_kg < least:
        pad = dict(zip(names, root.tables.get("launch", ()), strict=True))[strongest.name]
        raise pad.error(
            f"{quoted_payload(pad)} is less than the mass of carrier {carrier.name!r} with all its craft, "
            f"{no_less(least)} kg: at least that would be accepted.",
            "payload",
        )
