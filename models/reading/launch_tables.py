"""From the tables of launch sites and carriers to values: what leads up from the ground."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from ..readouts import brief
from ..scenario import Body, Carrier, Errors, Insertion, Pad, UpperStage
from .document import Table


def errors_of(table: Table | None, general: Errors | None) -> Errors | None:
    """Errors of a table, in place of the general ones where it gives them; None without a table."""
    if table is None:
        return None
    if general is None:
        table.note_defaults()
    base = general or Errors()
    return replace(base, **table.given(Errors))


def pad(table: Table, body: Body, errors: Errors | None) -> Pad:
    insertions = tuple(_insertion(item, body) for item in table.tables["insertion"])
    table.note_defaults()
    return Pad(
        **{"name": table.text_or("name"), **table.given(Pad)},
        blackouts_s=tuple(
            (item.number_or("from", 0.0), item.number_or("until", 0.0)) for item in table.tables.get("blackout", ())
        ),
        corridor_rad=_corridor(table),
        errors=errors_of(table.table("errors"), errors),
        insertions=insertions,
        upper_stage=_upper_stage(table.table("upper_stage")),
    )


def _upper_stage(table: Table | None) -> UpperStage | None:
    if table is None:
        return None
    table.note_defaults()
    return UpperStage(**table.given(UpperStage))


def carrier(table: Table) -> Carrier:
    table.note_defaults()
    return Carrier(**{"name": table.text_or("name"), **table.given(Carrier)})


def _corridor(table: Table) -> tuple[float, float] | None:
    first, last = table.number("azimuth_from"), table.number("azimuth_to")
    if first is None and last is None:
        return None
    if first is None or last is None:
        given, lacking = ("azimuth_to", "azimuth_from") if first is None else ("azimuth_from", "azimuth_to")
        raise table.error(
            f"{table.quote(given)} is one end of a corridor of flight azimuths: add {lacking}_deg, the other.", given
        )
    return first, last


def _insertion(table: Table, body: Body) -> Insertion:
    periapsis, apoapsis = apsides(table, body)
    altitude = table.number("altitude")
    if altitude is None and periapsis < body.radius_m:
        raise table.error(
            f"{table.quote('periapsis')} is below the surface, so the insertion itself lies higher: "
            f"add {table.label}.altitude_km, its altitude on the way up."
        )
    table.note_defaults()
    return Insertion(
        name=table.text("name") or "",
        periapsis_m=periapsis,
        apoapsis_m=apoapsis,
        radius_m=periapsis if altitude is None else body.radius_m + altitude,
    )


def apsides(table: Table, body: Body) -> tuple[float, float]:
    for name in ("periapsis", "apoapsis"):
        if name not in table:
            raise table.error(f"{table.label} has no {name}: add {name}_km, its altitude.")
    low, high = (body.radius_m + table.number_or(name, math.nan) for name in ("periapsis", "apoapsis"))
    if low > high:
        raise table.error(
            f"{table.quote('periapsis')} is above {table.quote('apoapsis')}: the periapsis is the lower of the two, "
            "swap them.",
            "periapsis",
        )
    if low <= 0.0:
        raise table.error(
            f"{table.quote('periapsis')} is at or below the body's center: more than "
            f"-{brief(body.radius_m / 1e3)} km would be accepted.",
            "periapsis",
        )
    return low, high


def carried_by(name: str, carriers: Sequence[Carrier]) -> str | None:
    """Name of the carrier that has a craft on board, None where none does."""
    return next((carrier.name for carrier in carriers if name in carrier.craft), None)
