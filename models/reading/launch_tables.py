"""From the tables of launch sites and carriers to values: what leads up from the ground."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TypeVar

from ..insertions import Insertion, InsertionRange, Payload
from ..readouts import brief
from ..scenario import Body, Carrier, Errors, Pad, UpperStage
from .document import Table

_Made = TypeVar("_Made")


def errors_of(table: Table | None, general: Errors | None) -> Errors | None:
    """Errors of a table, in place of the general ones where it gives them; None without a table."""
    if table is None:
        return None
    if general is None:
        table.note_defaults()
    base = general or Errors()
    return replace(base, **table.given(Errors))


def pad(table: Table, body: Body, errors: Errors | None) -> Pad:
    offered = enumerate(table.tables["insertion"])
    insertions = tuple(one for number, item in offered for one in _insertions(item, body, number))
    table.note_defaults()
    return Pad(
        **{"name": table.text_or("name"), **table.given(Pad)},
        blackouts_s=tuple(
            (item.number_or("from", 0.0), item.number_or("until", 0.0)) for item in table.tables.get("blackout", ())
        ),
        corridor_rad=_corridor(table),
        errors=errors_of(table.table("errors"), errors),
        insertions=insertions,
        upper_stage=made_of(table.table("upper_stage"), UpperStage),
    )


def made_of(table: Table | None, kind: type[_Made]) -> _Made | None:
    """A value with what a table gives of its fields; None without a table."""
    if table is None:
        return None
    table.note_defaults()
    return kind(**table.given(kind))


def carrier(table: Table) -> Carrier:
    table.note_defaults()
    return Carrier(**{"name": table.text_or("name"), **table.given(Carrier)})


def _corridor(table: Table) -> tuple[float, float] | None:
    first, last = table.number("azimuth_from"), table.number("azimuth_to")
    if first is None and last is None:
        return None
    if first is None or last is None:
        given, lacking = ("azimuth_to", "azimuth_from") if first is None else ("azimuth_from", "azimuth_to")
        raise table.refused(given, f"is one end of a corridor of flight azimuths: add {lacking}_deg, the other.")
    return first, last


def _insertions(table: Table, body: Body, number: int) -> tuple[Insertion, ...]:
    """The insertion of a table; where it leaves a range, some of it, evenly spaced, with both ends."""
    low, high = _apsis_spans(table, body)
    altitude = table.number("altitude")
    if altitude is None and low[0] < body.radius_m:
        raise table.error(
            f"{table.quote('periapsis')} is below the surface, so the insertion itself lies higher: "
            f"add {table.label}.altitude_km, its altitude on the way up."
        )
    table.note_defaults("payload")
    spread = InsertionRange(
        name=table.text("name") or "",
        periapsis_m=low,
        apoapsis_m=high,
        body_radius_m=body.radius_m,
        altitude_m=altitude,
        payload=_payload(table, body, low),
        given=number,
    )
    if spread.width_m > 0.0:
        return spread.grid
    return (replace(spread.at(0.0), name=spread.name, out_of=None),)


def _payload(table: Table, body: Body, periapsis_m: tuple[float, float]) -> Payload:
    """What the launcher brings to each periapsis; empty where none is given."""
    items = table.tables.get("payload", ())
    rows = [(body.radius_m + item.number_or("periapsis", 0.0), item.number_or("mass", 0.0)) for item in items]
    for (below, _), (above, _), item in zip(rows, rows[1:], items[1:], strict=False):
        if above <= below:
            raise item.refused("periapsis", "is no higher than the row before it: put them in rising order.")
    outside = [one for one in periapsis_m if rows and not rows[0][0] - 1.0 <= one <= rows[-1][0] + 1.0]
    if outside:
        raise items[0].error(
            f"{table.quote('periapsis')} goes beyond the altitudes for which {table.label}.payload gives a mass, "
            f"{brief((rows[0][0] - body.radius_m) / 1e3)} to {brief((rows[-1][0] - body.radius_m) / 1e3)} km: add rows "
            "that reach as far.",
            "periapsis",
        )
    return tuple(rows)


def apsides(table: Table, body: Body) -> tuple[float, float]:
    """Radii of periapsis and apoapsis of a table that gives one number for each, m."""
    low, high = _apsis_spans(table, body)
    return low[0], high[0]


def _apsis_spans(table: Table, body: Body) -> tuple[tuple[float, float], tuple[float, float]]:
    """Least and most radius of the periapsis, and of the apoapsis, m."""
    found = []
    for name in ("periapsis", "apoapsis"):
        altitudes = table.span(name)
        if altitudes is None:
            raise table.error(f"{table.label} has no {name}: add {name}_km, its altitude.")
        found.append((body.radius_m + altitudes[0], body.radius_m + altitudes[1]))
    low, high = found
    if any(below > above for below, above in zip(low, high, strict=True)):
        raise table.refused(
            "periapsis", f"is above {table.quote('apoapsis')}: the periapsis is the lower of the two, swap them."
        )
    if low[0] <= 0.0:
        raise table.refused(
            "periapsis",
            f"is at or below the body's center: more than -{brief(body.radius_m / 1e3)} km would be accepted.",
        )
    return low, high


def carried_by(name: str, carriers: Sequence[Carrier]) -> str | None:
    """Name of the carrier that has a craft on board, None where none does."""
    return next((carrier.name for carrier in carriers if name in carrier.craft), None)
