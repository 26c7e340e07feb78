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
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from .. import bodies
from ..errors import InputError
from ..keys import TABLES
from ..readouts import brief, degrees
from ..risk import Risk, Weigh
from ..scenario import (
    OWN_LIMITS,
    Aim,
    Body,
    Craft,
    Errors,
    LimitSpec,
    Occupied,
    Orbit,
    RingSpec,
    Scenario,
    Source,
)
from .cautions import warnings
from .consistency import check
from .document import Origin, Table
from .force_tables import FIELD_AND_AIR, air_factor, check_forces, force_spec, puller, turned_off, with_field_and_air
from .ground_slots import fixed_to_ground
from .launch_tables import apsides, carried_by, carrier, errors_of, made_of, pad
from .message_starts import with_messages
from .overrides import apply_settings
from .slot_pattern import pattern_of
from .spare_tables import in_the_ring, spare
from .tables import read_table
from .toml_lines import key_lines
from .toml_text import STARTER, file_text, toml_tree


def read_scenario(path: str | os.PathLike[str], settings: Sequence[str] = ()) -> Scenario:
    """Read a scenario file.

    Args:
        settings: overrides, each ``key=value`` as in ``ring.altitude_km=9000`` or ``craft.Teal.propellant_kg=250``.

    Raises:
        InputError: the file cannot be read, or what it says cannot be used.
    """
    file = os.fspath(path)
    return parse_scenario(file_text(Path(file), file), file, settings)


def parse_scenario(text: str, file: str = "scenario", settings: Sequence[str] = ()) -> Scenario:
    """Read a scenario from its text.

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
    check_forces(scenario, root)
    # of values that go together
    return replace(scenario, warnings=(*scenario.warnings, *warnings(scenario)))


def _scenario(root: Table) -> Scenario:
    body = _body(_one(root, "body"), root.origin.epoch)
    ring = _ring(_one(root, "ring"), body)
    errors = errors_of(root.table("errors"), None)
    craft = tuple(_craft(table, body, errors) for table in root.tables["craft"])
    pads = tuple(pad(table, body, errors) for table in root.tables.get("launch", ()))
    carriers = tuple(carrier(table) for table in root.tables.get("carrier", ()))
    craft = tuple(replace(one, carrier=carried_by(one.name, carriers)) for one in craft)
    craft, said = with_messages(craft, root, body, ring)
    limits = _limits(_one(root, "limits"), body)
    if root.table("forces") is not None:
        ring = replace(ring, hold_wanted=True)
    goal = _one(root, "goal")
    goal.note_defaults("first_service", "front_step")
    root.note_defaults("forces", "risk", "disposal")
    minimize, weigh = _aim(goal)
    disposal = root.table("disposal")
    return Scenario(
        title=root.text_or("title"),
        body=body,
        ring=ring,
        craft=craft,
        limits=limits,
        pads=pads,
        carriers=carriers,
        spares=in_the_ring(tuple(spare(table, body) for table in root.tables.get("spare", ())), ring.radius_m),
        epoch=root.origin.epoch,
        minimize=minimize,
        first_service=goal.count_or("first_service", 0) or None,
        front_step_s=goal.number_or("front_step", 0.0) or None,
        errors=errors,
        risk=made_of(root.table("risk"), Risk),
        weigh=weigh,
        forces=force_spec(root.table("forces")),
        air_factor=air_factor(root.table("forces")),
        turned_off=turned_off(root.table("forces")),
        disposal_within_s=None if disposal is None else disposal.number_or("within", 0.0),
        pulls=tuple(puller(table) for table in root.tables.get("pull", ())),
        source=_source(root),
        warnings=tuple(said),
    )


def _one(root: Table, name: str) -> Table:
    """A table of the file; an empty one where the file has none."""
    return root.table(name) or Table(origin=root.origin, schema=name, path=name, raw_path=name, label=name)


def _source(root: Table) -> Source:
    lines: dict[str, int] = {}
    spelled: dict[str, str] = {}
    for table in root.everywhere():
        spelled.update({f"{table.label}.{name}": entry.spelled for name, entry in table.entries.items()})
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
        spelled.update({f"launch.{name}": entry.spelled for name, entry in root.tables["launch"][0].entries.items()})
    origin = root.origin
    return Source(
        file=origin.file,
        lines=lines,
        defaults=dict(origin.defaults),
        settings=dict(origin.settings),
        spelled=spelled,
    )


def _body(table: Table, epoch: datetime | None) -> Body:
    name = table.text("name") or ""
    known = name.lower() in bodies.body_names()
    if not known:
        _own_world(table, name)
    base = bodies.body(name) if known else Body(name=name, gm=math.nan, radius_m=math.nan, source="the scenario")
    radius = table.number_or("radius", base.radius_m)
    j2 = table.number_or("j2", base.j2)
    own_j2 = "j2" in table or not known
    meridian, shown = 0.0, "0 deg: x is where the prime meridian points at time 0"
    if known and epoch is not None:
        meridian = bodies.prime_meridian_rad(name, epoch)
        shown = f"{degrees(meridian, 3)}, from the published rotation series at the epoch"
    table.note_default("prime_meridian", shown)
    if known:
        table.note_default("gm", f"{brief(base.gm / 1e9, 10)} km^3/s^2")
        table.note_default("radius", f"{brief(base.radius_m / 1e3)} km")
        table.note_default("atmosphere_top", f"{brief(base.atmosphere_top_m / 1e3)} km")
        table.note_default("sidereal_day", f"{brief(base.sidereal_day_s / 3600.0)} h")
        table.note_default("j2", brief(base.j2))
    else:
        table.note_defaults("prime_meridian", *(one for one in FIELD_AND_AIR))
    if j2 != 0.0:
        reference = radius if own_j2 else base.j2_radius_m
        table.note_default("j2_radius", f"{brief(reference / 1e3)} km")
    own = [name for name in ("gm", "radius", "atmosphere_top", "sidereal_day", "j2", "j2_radius") if name in table]
    source = base.source
    if known and own:
        source += f"; but the scenario itself gives {', '.join(table.entries[name].spelled for name in own)}"
    base = replace(base, j2_radius_m=radius if own_j2 else base.j2_radius_m, prime_meridian_rad=meridian, source=source)
    found = replace(base, **{**table.given(Body), "name": base.name})
    return with_field_and_air(table, found)


def _own_world(table: Table, name: str) -> None:
    lacking = [key for key in ("gm", "radius") if key not in table]
    if len(lacking) == 2:
        near = difflib.get_close_matches(name.lower(), bodies.body_names(), n=2, cutoff=0.6)
        hint = f"did you mean {' or '.join(near)}? Built in are" if near else "built in are"
        raise table.refused(
            "name",
            f"is no built-in body ({hint} {', '.join(bodies.body_names())}): for a world of your own give gm_km3_s2 "
            "and radius_km as well.",
        )
    if lacking:
        key = {"gm": "gm_km3_s2", "radius": "radius_km"}[lacking[0]]
        raise table.refused("name", f"is a world of your own, which needs {key} as well: add it.")


def _radius(table: Table, body: Body) -> float | None:
    """Radius of a circle given by altitude, radius or period (two-body: Kepler's third law, a^3 = GM (T / 2 pi)^2)."""
    altitude, radius, period = (table.number(name) for name in ("altitude", "radius", "period"))
    if altitude is not None:
        return body.radius_m + altitude
    if period is not None:
        return float((body.gm * (period / (2.0 * math.pi)) ** 2) ** (1.0 / 3.0))
    return radius


def _ring(table: Table, body: Body) -> RingSpec:
    ground = fixed_to_ground(table, body)
    radius, slot0 = ground or (_radius(table, body), table.number("slot0"))
    if radius is None:
        raise table.error('ring has no size: add altitude_km, radius_km or period = "h:mm:ss".')
    occupied = []
    for item in table.tables.get("occupied", ()):
        if "slot" not in item and "angle" not in item:
            raise item.error(f"{item.label} has no place: add slot, or angle_deg as measured at the epoch.")
        occupied.append(Occupied(**item.given(Occupied)))
        item.note_defaults()
    several = table.count_or("planes") > 1
    table.note_defaults("with_drag", *(() if several else ("phasing", "spread")))
    given = {**table.given(RingSpec), "radius_m": radius}
    pattern = pattern_of(table)
    if pattern is not None:
        given |= {"slots": pattern[0], "pattern_rad": pattern[1]}
    if ground is not None:
        given["slot0_rad"] = slot0
    return RingSpec(**given, hold_wanted="hold_for" in table, occupied=tuple(occupied))


SOLVED_FOR: dict[str, Aim] = {"load_p99": "delta_v", "finish_p90": "finish"}
"""What plans are made by that are weighed afterwards."""


def _aim(goal: Table) -> tuple[Aim, Weigh | None]:
    """What plans are made by, and what the listed ones are weighed by."""
    wanted = goal.text_or("minimize")
    if wanted in SOLVED_FOR:
        return SOLVED_FOR[wanted], wanted  # type: ignore[return-value]  # one of the choices
    return wanted, None  # type: ignore[return-value]  # one of the choices


def _limits(table: Table, body: Body) -> LimitSpec:
    table.note_defaults()
    return LimitSpec(
        **{**table.given(LimitSpec), "apoapsis_max_m": body.radius_m + table.number_or("apoapsis_max")},
        further=tuple((key.name, table.number_or(key.name)) for key in TABLES["limits"] if key.name not in OWN_LIMITS),
    )


def _craft(table: Table, body: Body, errors: Errors | None) -> Craft:
    inside = table.table("orbit")
    bare = ["burns_max", "burn_least", "between_burns"]
    bare += ["area", "drag_coefficient", "reflectivity"] if "area" not in table else []
    bare += ["throttle_min", "reaction"] if "thrust" not in table else []
    bare += ["state_at"] if "oem" not in table else []
    table.note_defaults("load" if "propellant" not in table else "", "thrust" if "dry_mass" not in table else "", *bare)
    return Craft(
        **table.given(Craft),
        may_move=table.text("stay") is not None,
        errors=errors_of(table.table("errors"), errors),
        orbit=None if inside is None else _orbit(inside, body),
    )


def _orbit(table: Table, body: Body) -> Orbit:
    circle = _radius(table, body)
    if circle is None and "periapsis" not in table and "apoapsis" not in table:
        raise table.error(f"{table.label} has no size: add periapsis_km and apoapsis_km, or altitude_km of a circle.")
    low, high = (circle, circle) if circle is not None else apsides(table, body)
    given = {**table.given(Orbit), "periapsis_m": low, "apoapsis_m": high, "at_s": table.number_or("at_time")}
    orbit = Orbit(**given)
    if orbit.at is None and not orbit.circular:
        raise table.error(
            f'{table.label} does not say where on it the craft is: add at = "periapsis" or at = "apoapsis", the apsis '
            f"that {table.quote('angle')} belongs to."
        )
    table.note_defaults()
    return orbit
