"""From a scenario file to a validated :class:`Scenario`.

The text is parsed, overrides are applied, each value is checked alone (``tables.py``, ``values.py``), the values are
put together here, and what they say to one another is checked (``consistency.py``). Every fault is one
:class:`InputError` that names file, line, key, value and remedy.
"""

from __future__ import annotations

import difflib
import math
import os
from collections.abc import Sequence
from dataclasses import fields, replace
from datetime import datetime
from pathlib import Path
from typing import Literal

from . import bodies
from .consistency import check, warnings
from .document import Origin, Table
from .errors import InputError
from .readouts import brief, degrees
from .scenario import (
    Aim,
    Body,
    Craft,
    Errors,
    Insertion,
    LimitSpec,
    Occupied,
    Orbit,
    Pad,
    RingSpec,
    Scenario,
    Source,
)
from .scenario_file import STARTER, file_text, toml_tree
from .settings import apply_settings
from .tables import read_table
from .toml_lines import key_lines
from .units import split_unit


def read_scenario(path: str | os.PathLike[str], settings: Sequence[str] = ()) -> Scenario:
    """Read a scenario file.

    Args:
        path: of a TOML file.
        settings: overrides, each ``key=value`` as in ``ring.altitude_km=9000`` or ``craft.Teal.propellant_kg=250``.

    Raises:
        InputError: the file cannot be read, or what it says cannot be used.
    """
    file = os.fspath(path)
    return parse_scenario(file_text(Path(file), file), file, settings)


def parse_scenario(text: str, file: str = "scenario", settings: Sequence[str] = ()) -> Scenario:
    """Read a scenario from its text.

    Args:
        text: TOML.
        file: what messages call it.
        settings: overrides, as for :func:`read_scenario`.

    Raises:
        InputError: what it says cannot be used.

    >>> scenario = parse_scenario('''
    ... [body]
    ... name = "mars"
    ... [ring]
    ... altitude_km = 5000
    ... slots = 3
    ... [[craft]]
    ... name = "Teal"
    ... orbit = { altitude_km = 5000, angle_deg = 10 }
    ... ''', settings=["ring.slots=4"])
    >>> scenario.ring.radius_m, scenario.ring.slots, scenario.craft[0].name
    (8396190.0, 4, 'Teal')
    """
    tree = toml_tree(text, file)
    lines = key_lines(text.replace("\r\n", "\n"))
    done = apply_settings(tree, settings)
    if not tree:
        raise InputError(f"the file is empty: a scenario needs at least {STARTER}.", where=file)
    root = read_table(Origin(file=file, lines=lines, settings=done), tree)
    scenario = _scenario(root)
    check(scenario, root)
    return scenario


def _scenario(root: Table) -> Scenario:
    body = _body(_one(root, "body"), root.origin.epoch)
    ring = _ring(_one(root, "ring"), body)
    errors = _errors(root.table("errors"), None)
    craft = tuple(_craft(table, body, errors) for table in root.tables["craft"])
    pads = tuple(_pad(table, body, errors) for table in root.tables.get("launch", ()))
    limits = _limits(_one(root, "limits"), body)
    goal = _one(root, "goal")
    goal.note_defaults("first_service", "front_step")
    root.note_defaults()
    minimize: Aim = goal.text("minimize") or "delta_v"  # type: ignore[assignment]  # one of the choices
    scenario = Scenario(
        title=root.text("title") or "untitled",
        body=body,
        ring=ring,
        craft=craft,
        limits=limits,
        pads=pads,
        epoch=root.origin.epoch,
        minimize=minimize,
        first_service=goal.count_or("first_service", 0) or None,
        front_step_s=goal.number_or("front_step", 0.0) or None,
        errors=errors,
        source=_source(root),
    )
    return replace(scenario, warnings=warnings(scenario))


def _one(root: Table, name: str) -> Table:
    """A table of the file; an empty one where the file has none."""
    return root.table(name) or Table(origin=root.origin, schema=name, path=name, raw_path=name, label=name)


def _source(root: Table) -> Source:
    lines: dict[str, int] = {}
    for table in root.everywhere():
        own = table.line()
        if own and table.path:
            lines[table.path] = own
        for name in table.entries:
            line = table.line(name)
            if line and table.path_of(name) not in root.origin.settings:
                lines[table.path_of(name)] = line
    # a single launch site is found without counting it, too
    if len(root.tables.get("launch", ())) == 1:
        lines.update({key.replace("launch[0]", "launch"): line for key, line in lines.items() if key[:6] == "launch"})
    origin = root.origin
    return Source(file=origin.file, lines=lines, defaults=dict(origin.defaults), settings=dict(origin.settings))


def _body(table: Table, epoch: datetime | None) -> Body:
    name = table.text("name") or ""
    known = name.lower() in bodies.body_names()
    if not known:
        _own_world(table, name)
    base = bodies.body(name) if known else Body(name=name, gm=math.nan, radius_m=math.nan, source="the scenario")
    radius = table.number_or("radius", base.radius_m)
    j2 = table.number_or("j2", base.j2)
    own_j2 = "j2" in table or not known
    meridian, told = 0.0, "0 deg: x is where the prime meridian points at time 0"
    if known and epoch is not None:
        meridian = bodies.prime_meridian_rad(name, epoch)
        told = f"{degrees(meridian, 3)}, from the published rotation series at the epoch"
    table.note_default("prime_meridian", told)
    if known:
        table.note_default("gm", f"{brief(base.gm / 1e9, 10)} km^3/s^2")
        table.note_default("radius", f"{brief(base.radius_m / 1e3)} km")
        table.note_default("atmosphere_top", f"{brief(base.atmosphere_top_m / 1e3)} km")
        table.note_default("sidereal_day", f"{brief(base.sidereal_day_s / 3600.0)} h")
        table.note_default("j2", brief(base.j2))
    else:
        table.note_defaults("prime_meridian")
        table.note_default("sidereal_day", "inf, does not turn")
    if j2 != 0.0:
        reference = radius if own_j2 else base.j2_radius_m
        table.note_default("j2_radius", f"{brief(reference / 1e3)} km")
    own = [name for name in ("gm", "radius", "atmosphere_top", "sidereal_day", "j2", "j2_radius") if name in table]
    source = base.source
    if known and own:
        source += f"; but the scenario itself gives {', '.join(table.entries[name].spelled for name in own)}"
    return Body(
        name=base.name,
        gm=table.number_or("gm", base.gm),
        radius_m=radius,
        atmosphere_top_m=table.number_or("atmosphere_top", base.atmosphere_top_m),
        sidereal_day_s=table.number_or("sidereal_day", base.sidereal_day_s),
        j2=j2,
        j2_radius_m=table.number_or("j2_radius", radius if own_j2 else base.j2_radius_m),
        prime_meridian_rad=table.number_or("prime_meridian", meridian),
        hill_radius_m=base.hill_radius_m,
        source=source,
    )


def _own_world(table: Table, name: str) -> None:
    lacking = [key for key in ("gm", "radius") if key not in table]
    if len(lacking) == 2:
        near = difflib.get_close_matches(name.lower(), bodies.body_names(), n=2, cutoff=0.5)
        hint = f"did you mean {' or '.join(near)}? Built in are" if near else "built in are"
        raise table.error(
            f"{table.quote('name')} is no built-in body ({hint} {', '.join(bodies.body_names())}): for a world of your "
            "own give gm_km3_s2 and radius_km as well.",
            "name",
        )
    if lacking:
        key = {"gm": "gm_km3_s2", "radius": "radius_km"}[lacking[0]]
        raise table.error(f"{table.quote('name')} is a world of your own, which needs {key} as well: add it.", "name")


def _radius(table: Table, body: Body) -> float | None:
    """Radius of a circle given by altitude, radius or period (two-body: Kepler's third law, a^3 = GM (T / 2 pi)^2)."""
    altitude, radius, period = (table.number(name) for name in ("altitude", "radius", "period"))
    if altitude is not None:
        return body.radius_m + altitude
    if period is not None:
        return float((body.gm * (period / (2.0 * math.pi)) ** 2) ** (1.0 / 3.0))
    return radius


def _ring(table: Table, body: Body) -> RingSpec:
    radius = _radius(table, body)
    if radius is None:
        raise table.error('ring has no size: add altitude_km, radius_km or period = "h:mm:ss".')
    occupied = []
    for item in table.tables.get("occupied", ()):
        if "slot" not in item and "angle" not in item:
            raise item.error(f"{item.label} has no place: add slot, or angle_deg as measured at the epoch.")
        occupied.append(
            Occupied(
                name=item.text("name") or "",
                slot=item.count_or("slot", 0) if "slot" in item else None,
                angle_rad=item.number("angle"),
                plane=item.count_or("plane", 0),
            )
        )
        item.note_defaults()
    several = table.count_or("planes", 1) > 1
    table.note_defaults(*(() if several else ("phasing", "spread")))
    return RingSpec(
        radius_m=radius,
        slots=table.count_or("slots", 1),
        planes=table.count_or("planes", 1),
        phasing=table.count_or("phasing", 0),
        spread_rad=table.number_or("spread", 2.0 * math.pi),
        inclination_rad=table.number_or("inclination", 0.0),
        node_rad=table.number_or("node", 0.0),
        slot0_rad=table.number("slot0"),
        tolerance_rad=table.number_or("tolerance", math.radians(0.5)),
        tilt_tolerance_rad=table.number_or("tilt_tolerance", 0.0),
        hold_for_s=table.number_or("hold_for", 365.25 * 86_400.0),
        period_known_to_s=table.number("period_known_to"),
        occupied=tuple(occupied),
    )


def _limits(table: Table, body: Body) -> LimitSpec:
    table.note_defaults()
    return LimitSpec(
        clearance_m=table.number_or("clearance", 0.0),
        finish_within_s=table.number_or("finish_within", math.inf),
        wait_within_s=table.number_or("wait_within", math.inf),
        revolutions_max=table.count_or("revolutions_max", 12),
        apoapsis_max_m=body.radius_m + table.number_or("apoapsis_max", math.inf),
        separation_m=table.number_or("separation", 10_000.0),
    )


def _errors(table: Table | None, general: Errors | None) -> Errors | None:
    """Errors of a table, in place of the general ones where it gives them; None without a table."""
    if table is None:
        return None
    if general is None:
        table.note_defaults()
    base = general or Errors()
    given = {field.name: table.number(_error_key(field.name)) for field in fields(Errors)}
    return replace(base, **{name: value for name, value in given.items() if value is not None})


def _error_key(field_name: str) -> str:
    """The key of a field: the same without its unit."""
    return split_unit(field_name)[0]


def _pad(table: Table, body: Body, errors: Errors | None) -> Pad:
    insertions = tuple(_insertion(item, body) for item in table.tables["insertion"])
    table.note_defaults()
    return Pad(
        name=table.text("name") or "pad",
        latitude_rad=table.number_or("latitude", 0.0),
        longitude_rad=table.number_or("longitude", 0.0),
        ready_s=table.number_or("ready", 0.0),
        until_s=table.number_or("until", math.inf),
        blackouts_s=tuple(
            (item.number_or("from", 0.0), item.number_or("until", 0.0)) for item in table.tables.get("blackout", ())
        ),
        turnaround_s=table.number_or("turnaround", 0.0),
        corridor_rad=_corridor(table),
        payload_kg=table.number_or("payload", math.inf),
        plane_tolerance_rad=table.number_or("plane_tolerance", 0.0),
        ascent_s=table.number_or("ascent", 0.0),
        downrange_rad=table.number_or("downrange", 0.0),
        errors=_errors(table.table("errors"), errors),
        insertions=insertions,
    )


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
    periapsis, apoapsis = _apsides(table, body)
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


def _apsides(table: Table, body: Body) -> tuple[float, float]:
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


def _craft(table: Table, body: Body, errors: Errors | None) -> Craft:
    inside = table.table("orbit")
    bare = ("throttle_min", "reaction") if "thrust" not in table else ()
    table.note_defaults("load" if "propellant" not in table else "", "thrust" if "dry_mass" not in table else "", *bare)
    load: Literal["full", "least"] = table.text("load") or "full"  # type: ignore[assignment]  # one of the choices
    return Craft(
        name=table.text("name") or "",
        dry_mass_kg=table.number("dry_mass"),
        propellant_kg=table.number("propellant"),
        load=load,
        isp_s=table.number("isp"),
        thrust_n=table.number("thrust"),
        throttle_min=table.number_or("throttle_min", 1.0),
        reaction_s=table.number_or("reaction", 0.3),
        reserve_m_s=table.number_or("reserve", 0.0),
        ready_s=table.number_or("ready", 0.0),
        pads=table.texts("pads"),
        stay=bool(table.entries["stay"].value) if "stay" in table else False,
        errors=_errors(table.table("errors"), errors),
        orbit=None if inside is None else _orbit(inside, body),
    )


def _orbit(table: Table, body: Body) -> Orbit:
    circle = _radius(table, body)
    if circle is None and "periapsis" not in table and "apoapsis" not in table:
        raise table.error(f"{table.label} has no size: add periapsis_km and apoapsis_km, or altitude_km of a circle.")
    low, high = (circle, circle) if circle is not None else _apsides(table, body)
    at: Literal["periapsis", "apoapsis"] | None = table.text("at")  # type: ignore[assignment]  # one of the choices
    orbit = Orbit(
        periapsis_m=low,
        apoapsis_m=high,
        angle_rad=table.number_or("angle", 0.0),
        at=at,
        at_s=table.number_or("at_time", 0.0),
        plane=table.count_or("plane", 0),
    )
    if at is None and not orbit.circular:
        raise table.error(
            f'{table.label} does not say where on it the craft is: add at = "periapsis" or at = "apoapsis", the apsis '
            f"that {table.quote('angle')} belongs to."
        )
    table.note_defaults()
    return orbit
