"""What the values of a scenario say to one another: checks that refuse, and warnings that do not.

Lengths are radii from the center, as everywhere inside; messages speak in altitudes and in the file's own spelling.
"""

from __future__ import annotations

import math

from ..readouts import brief, no_less, no_more, plain, span, turned
from ..scenario import Craft, Insertion, Pad, RingSpec, Scenario
from ..start_checks import check_starts
from ..units import STANDARD_GRAVITY_M_S2
from .carrier_checks import check_carriers
from .document import Table
from .scope import nodes_drift, on_ring, refuse_beyond_scope

SYNCHRONOUS_SHARE = 5e-4
"""An altitude this near, as a share, to a known body's synchronous radius was read off as a radius."""

HILL_SHARE = 1.0 / 3.0
"""Up to this share of the Hill radius a two-body plan is worth something (common practice, no source)."""

SAME_PLANE = 1e-6
"""Sine of an inclination below which planes with different nodes are one plane."""

UNSAID_M = 50.0
"""An apsis this near to the ring is what a file's rounding leaves; one farther off is said to be moved onto it."""


def check(scenario: Scenario, root: Table) -> None:
    """Raise InputError for the first contradiction; what is plainest wrong comes first."""
    _check_ring(scenario, root)
    _check_occupied(scenario, root)
    _check_names(scenario, root)
    for craft, table in zip(scenario.craft, root.tables["craft"], strict=True):
        _check_craft(scenario, craft, table, root)
    _check_launch(scenario, root)
    check_carriers(scenario, root)
    check_starts(scenario, root)
    _check_limits(scenario, root)
    _check_goal(scenario, root)
    refuse_beyond_scope(scenario, root)
    _check_slots(scenario, root)


def _km(radius_m: float, scenario: Scenario) -> str:
    """An altitude in words, from a radius."""
    return f"{brief((radius_m - scenario.body.radius_m) / 1e3)} km"


def _least_km(radius_m: float, scenario: Scenario) -> str:
    """The same where it is the least that is accepted."""
    return f"{no_less((radius_m - scenario.body.radius_m) / 1e3)} km"


def _ring_size(table: Table) -> str:
    return next(name for name in ("altitude", "radius", "period") if name in table)


def _check_ring(scenario: Scenario, root: Table) -> None:
    table = root.tables["ring"][0]
    body, ring, size = scenario.body, scenario.ring, _ring_size(root.tables["ring"][0])
    altitude = table.number("altitude")
    # of an invented world nobody knows that radius by heart, so there an altitude near it is only an altitude
    if altitude is not None and math.isfinite(body.hill_radius_m) and math.isfinite(body.sidereal_day_s):
        synchronous = (body.gm / body.spin_rad_s**2) ** (1.0 / 3.0)
        if abs(altitude - synchronous) <= SYNCHRONOUS_SHARE * synchronous:
            far = plain((body.radius_m + altitude) / 1e3, 0)
            raise table.error(
                f"{table.quote('altitude')} puts the ring {far} km from the center, but {brief(altitude / 1e3)} km is "
                f"the radius at which a craft keeps pace with the body: if {brief(altitude / 1e3)} km is from the "
                f"center, write radius_km; if it is not, write radius_km = {far.replace(' ', '')}.",
                "altitude",
            )
    top = body.radius_m + body.atmosphere_top_m
    if ring.radius_m <= body.radius_m:
        raise table.error(
            f"{table.quote(size)} puts the ring inside the body, whose radius is {brief(body.radius_m / 1e3)} km: "
            f"write a larger one; altitudes count from the surface (altitude_km), radii from the center (radius_km).",
            size,
        )
    if ring.radius_m < top:
        raise table.error(
            f"{table.quote(size)} puts the ring at {_km(ring.radius_m, scenario)}, inside the atmosphere, whose top is "
            f"at {_km(top, scenario)}: raise the ring, or lower body.atmosphere_top_km.",
            size,
        )
    if ring.radius_m < scenario.floor_m:
        limits = root.tables["limits"][0]
        raise limits.error(
            f"{limits.quote('clearance')} puts the lowest altitude allowed at {_km(scenario.floor_m, scenario)}, above "
            f"the ring at {_km(ring.radius_m, scenario)}: at most {no_more((ring.radius_m - top) / 1e3)} km of "
            "clearance would be accepted.",
            "clearance",
        )
    if ring.planes > 1 and math.sin(ring.inclination_rad) < SAME_PLANE:
        raise table.error(
            f"{table.quote('planes')} would all be one: planes over the equator have no node to separate them; give "
            "inclination_deg, or planes = 1 with more slots.",
            "planes",
        )
    if not 0 <= ring.phasing < ring.planes:
        raise table.error(f"{table.quote('phasing')} should be below planes, which is {ring.planes}.", "phasing")


def _check_occupied(scenario: Scenario, root: Table) -> None:
    ring = scenario.ring
    for one, item in zip(ring.occupied, root.tables["ring"][0].tables.get("occupied", ()), strict=True):
        if one.slot is not None and one.slot >= ring.slots:
            raise item.error(
                f"{item.quote('slot')} is no slot of the ring: its {ring.slots} slots are counted 0 to "
                f"{ring.slots - 1}.",
                "slot",
            )
        if one.plane >= ring.planes:
            raise item.error(
                f"{item.quote('plane')} is no plane of the ring, which has {ring.planes}, counted from 0.", "plane"
            )


def _check_names(scenario: Scenario, root: Table) -> None:
    occupied = root.tables["ring"][0].tables.get("occupied", ())
    _unique([*occupied, *root.tables["craft"]], "craft")
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
            raise table.error(
                f"{table.quote('name')} is taken by another {what}{at}: give each {what} a different name.", "name"
            )
        seen[name or ""] = table


def _said(craft: Craft, table: Table) -> str:
    line = table.line()
    return f"craft {craft.name!r} (line {line})" if line else f"craft {craft.name!r}"


def _check_craft(scenario: Scenario, craft: Craft, table: Table, root: Table) -> None:
    masses = ("dry_mass", "propellant", "isp")
    given = [name for name in masses if name in table]
    if given and len(given) < len(masses):
        lacking = next(name for name in masses if name not in table)
        raise table.error(
            f"{_said(craft, table)} has {_listed([table.entries[name].spelled for name in given])} but no {lacking}: "
            "give dry_mass_kg, propellant_kg and isp_s together, or none of them.",
            given[0],
        )
    for name in ("thrust", "reserve", "load"):
        if not given and name in table:
            raise table.error(
                f"{table.quote(name)} means nothing without masses: add dry_mass_kg, propellant_kg and isp_s, or take "
                "it out.",
                name,
            )
    if craft.dry_mass_kg is not None and craft.propellant_kg is not None and craft.isp_s is not None:
        able = craft.isp_s * STANDARD_GRAVITY_M_S2 * math.log1p(craft.propellant_kg / craft.dry_mass_kg)
        if craft.reserve_m_s > 0.0 and craft.reserve_m_s >= able:
            raise table.error(
                f"{table.quote('reserve')} keeps back all that the propellant gives, {plain(able)} m/s: at most "
                f"{no_more(able * (1.0 - 1e-6))} m/s would be accepted.",
                "reserve",
            )
    if craft.orbit is None and craft.stay:
        raise table.error(
            f"{table.quote('stay')}, but {craft.name} is on the ground: give it an orbit, or launch it.", "stay"
        )
    if craft.orbit is None and not scenario.pads:
        raise table.error(
            f"{_said(craft, table)} is on the ground but there is no [launch]: add [launch], or give {craft.name} "
            "orbit = { ... } if it is in space."
        )
    _check_pads(scenario, craft, table, root)
    inside = table.table("orbit")
    if craft.orbit is not None and inside is not None and craft.orbit.plane >= scenario.ring.planes:
        planes = scenario.ring.planes
        raise inside.error(
            f"{inside.quote('plane')} is no plane of the ring, which has {planes}, counted from 0.", "plane"
        )
    if (
        craft.stay
        and craft.orbit
        and not (craft.orbit.circular and on_ring(craft.orbit.apoapsis_m, scenario.ring.radius_m))
    ):
        raise table.error(
            f"{table.quote('stay')}, but the orbit of {craft.name} is not the ring: give it an orbit at "
            f"{_km(scenario.ring.radius_m, scenario)}, or take stay out so that it may move.",
            "stay",
        )


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _check_launch(scenario: Scenario, root: Table) -> None:
    body = root.tables["body"][0]
    grounded = any(craft.orbit is None for craft in scenario.craft)
    if grounded and "sidereal_day" not in body and math.isinf(scenario.body.sidereal_day_s):
        raise body.error(
            f"{body.quote('name')} has no sidereal_day, and craft are launched from its surface: add sidereal_day_h "
            "(negative: turns backwards; inf: does not turn)."
        )
    for pad, table in zip(scenario.pads, root.tables.get("launch", ()), strict=True):
        _check_times(pad, table)
        for insertion, item in zip(pad.insertions, table.tables["insertion"], strict=True):
            _check_insertion(scenario, insertion, item)


def _check_times(pad: Pad, table: Table) -> None:
    if pad.until_s < pad.ready_s:
        raise table.error(
            f"{table.quote('until')} is before the site is ready, as {table.quote('ready')}: at least that moment "
            "would be accepted.",
            "until",
        )
    for (start, end), item in zip(pad.blackouts_s, table.tables.get("blackout", ()), strict=True):
        if end <= start:
            raise item.error(
                f"{item.quote('until')} is not after {item.quote('from')}: a blackout ends after it begins, so "
                "give a later end or an earlier beginning.",
                "until",
            )


def _check_pads(scenario: Scenario, craft: Craft, table: Table, root: Table) -> None:
    """Whether there is a site that may launch a craft on the ground and is strong enough for it."""
    names = [pad.name for pad in scenario.pads]
    for name in craft.pads:
        if craft.orbit is not None:
            raise table.error(
                f"{table.quote('pads')}, but {craft.name} is in space already: take pads out, or take orbit out.",
                "pads",
            )
        if name not in names:
            known = f"the launch sites are called {_listed(names)}" if names else "there is no [launch]"
            raise table.error(f"{table.quote('pads')} names {name!r}, which is no launch site: {known}.", "pads")
    if craft.orbit is not None:
        return
    mine = [pad for pad in scenario.pads if not craft.pads or pad.name in craft.pads]
    pads = dict(zip(names, root.tables.get("launch", ()), strict=True))
    limited = [pad for pad in mine if math.isfinite(pad.payload_kg)]
    if limited and craft.dry_mass_kg is None:
        pad = pads[limited[0].name]
        raise pad.error(
            f"{pad.quote('payload')} limits the mass, but {_said(craft, table)} has none: add dry_mass_kg, "
            "propellant_kg and isp_s to it, or take the limit out.",
            "payload",
        )
    least = craft.lightest_kg
    if limited and all(pad.payload_kg < least for pad in mine):
        strongest = max(limited, key=lambda pad: pad.payload_kg)
        pad = pads[strongest.name]
        loaded = "with all its propellant" if craft.load == "full" else "even without propellant"
        raise pad.error(
            f"{pad.quote('payload')} is less than the mass of craft {craft.name!r} {loaded}, {no_less(least)} kg: at "
            "least that would be accepted.",
            "payload",
        )


def _check_insertion(scenario: Scenario, insertion: Insertion, item: Table) -> None:
    ring = scenario.ring
    if not insertion.periapsis_m - 1.0 <= insertion.radius_m <= insertion.apoapsis_m + 1.0:
        raise item.error(
            f"{item.quote('altitude')} is outside the orbit it belongs to: between "
            f"{_least_km(insertion.periapsis_m, scenario)} and "
            f"{no_more((insertion.apoapsis_m - scenario.body.radius_m) / 1e3)} km would be accepted.",
            "altitude",
        )
    if not on_ring(insertion.apoapsis_m, ring.radius_m) and not insertion.circular:
        raise item.error(
            f"{item.quote('apoapsis')} is neither on the ring, at {_km(ring.radius_m, scenario)}, nor equal to the "
            "periapsis: an insertion that goes straight up needs its apoapsis on the ring, to 1 km, because the first "
            "ring burn is made there; one that parks first needs a circle, both apsides alike.",
            "apoapsis",
        )
    if insertion.radius_m < scenario.floor_m * (1.0 - 1e-12):
        name = "altitude" if "altitude" in item else "periapsis"
        raise item.error(
            f"{item.quote(name)} is below the lowest altitude allowed after insertion, "
            f"{_least_km(scenario.floor_m, scenario)} (top of the atmosphere and limits.clearance_km): at least that "
            "would be accepted.",
            name,
        )


def _check_limits(scenario: Scenario, root: Table) -> None:
    table = root.table("limits")
    if table is None:
        return
    limits, ring = scenario.limits, scenario.ring
    if limits.apoapsis_max_m < ring.radius_m:
        raise table.error(
            f"{table.quote('apoapsis_max')} is below the ring at "
            f"{_least_km(ring.radius_m, scenario)}, where every plan has to go: at least that would be accepted.",
            "apoapsis_max",
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
            raise table.error(
                f"{table.quote('finish_within')} is over before craft {craft.name!r} can start, as "
                f"{holder.quote('ready')}: more than {span(first)} would be accepted.",
                "finish_within",
            )


def _check_goal(scenario: Scenario, root: Table) -> None:
    goal = root.table("goal")
    if goal is None:
        return
    if scenario.first_service is not None:
        filled = min(scenario.ring.slots, len(scenario.craft) + len(scenario.ring.occupied))
        if scenario.first_service > filled:
            raise goal.error(
                f"{goal.quote('first_service')} asks for more neighbors than a plane of the ring will hold: "
                f"1 to {filled} would be accepted.",
                "first_service",
            )
    if scenario.minimize != "propellant":
        return
    bare = [craft.name for craft in scenario.craft if craft.dry_mass_kg is None and not craft.stay]
    if bare:
        raise goal.error(
            f"{goal.quote('minimize')} needs masses, but craft {bare[0]!r} has none: add dry_mass_kg, propellant_kg "
            'and isp_s to it, or minimize = "delta_v".',
            "minimize",
        )


def _check_slots(scenario: Scenario, root: Table) -> None:
    ring = scenario.ring
    places = ring.slots * ring.planes
    wanted = len(ring.occupied) + len(scenario.craft)
    table = root.tables["ring"][0]
    if wanted > places:
        taken = f", {len(ring.occupied)} of them occupied" if ring.occupied else ""
        raise table.error(
            f"{len(scenario.craft)} craft are to find a slot, but the ring has {places}{taken}: raise ring.slots to "
            f"{math.ceil(wanted / ring.planes)}, or take craft out.",
            "slots",
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
                f"{_listed(there)} are in plane {plane}, which has {_places(ring.slots)}, and only from the "
                "ring itself, or from a circle over an oblate body, a craft in space gets into another: raise "
                f"ring.slots to {len(there)}, or take craft out.",
                "slots",
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


def _may_change_plane(scenario: Scenario, craft: Craft) -> bool:
    """Whether a craft in space may reach another plane: from the ring by a burn, from any circle by nodal drift."""
    orbit = craft.orbit
    if orbit is None or craft.stay or not orbit.circular:
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
            slot = _nearest(one.angle_rad - ring.slot0_rad - _ahead_rad(ring, one.plane), ring.slots)
        if slot is not None:
            found.append((one.name, one.plane, slot, item))
    for craft, table in zip(scenario.craft, root.tables["craft"], strict=True):
        if craft.stay and craft.orbit is not None and ring.slot0_rad is not None:
            angle = craft.orbit.angle_rad - rate * craft.orbit.at_s
            plane = craft.orbit.plane
            slot = _nearest(angle - ring.slot0_rad - _ahead_rad(ring, plane), ring.slots)
            found.append((craft.name, plane, slot, table))
    return found


def _places(slots: int) -> str:
    return "1 slot" if slots == 1 else f"{slots} slots"


def _ahead_rad(ring: RingSpec, plane: int) -> float:
    """How far slot 0 of a plane is ahead of that of plane 0 (Walker 1984)."""
    return 2.0 * math.pi * plane * ring.phasing / (ring.planes * ring.slots)


def _nearest(ahead_rad: float, slots: int) -> int:
    return round(turned(ahead_rad) / (2.0 * math.pi) * slots) % slots


def warnings(scenario: Scenario) -> tuple[str, ...]:
    """What a planner should know but may decide for itself."""
    found = []
    body = scenario.body
    reach = [("the ring", scenario.ring.radius_m)]
    for pad in scenario.pads:
        reach += [(f"the insertion of {pad.name}", insertion.apoapsis_m) for insertion in pad.insertions]
    reach += [(f"the orbit of {craft.name}", craft.orbit.apoapsis_m) for craft in scenario.craft if craft.orbit]
    far = [(what, radius) for what, radius in reach if radius > HILL_SHARE * body.hill_radius_m]
    if far:
        what, radius = max(far, key=lambda item: item[1])
        found.append(
            f"{what[0].upper()}{what[1:]} reaches {plain(radius / 1e3, 0)} km from the center of {body.name}, past a "
            f"third of its Hill radius ({plain(body.hill_radius_m / 1e3, 0)} km): other bodies, which plans leave out, "
            "pull noticeably there."
        )
    found += _laid_on_ring(scenario)
    found += _near_neighbors(scenario)
    if scenario.pads and all(craft.orbit is not None for craft in scenario.craft):
        found.append("There is a [launch], but every craft is in space already: nothing is launched.")
    return tuple(found)


def _near_neighbors(scenario: Scenario) -> list[str]:
    """A pattern of planes whose own craft come nearer to one another, where planes cross, than craft in place may."""
    ring, limit_m = scenario.ring, scenario.limits.separation_m
    if ring.planes == 1 or limit_m <= 0.0:
        return []
    # needs NumPy, which a file of one plane is read without
    from ..patterns import Pattern, nearest_neighbor

    pattern = Pattern(
        total=ring.planes * ring.slots,
        planes=ring.planes,
        phasing=ring.phasing,
        inclination_rad=ring.inclination_rad,
        spread_rad=ring.spread_rad,
    )
    nearest_m = nearest_neighbor(pattern, ring.radius_m)
    if nearest_m >= limit_m:
        return []
    return [
        f"In the whole pattern craft come within {plain(nearest_m / 1e3)} km of one another where planes cross, nearer "
        f"than limits.separation of {brief(limit_m / 1e3)} km: another ring.phasing may keep them apart."
    ]


def _laid_on_ring(scenario: Scenario) -> list[str]:
    """Orbits with an apsis near enough to the ring to be taken as on it, yet too far off to leave it unsaid."""
    ring = scenario.ring
    given = [(f"craft {craft.name}", craft.orbit) for craft in scenario.craft if craft.orbit]
    ends = [(who, apsis) for who, orbit in given for apsis in {orbit.periapsis_m, orbit.apoapsis_m}]
    ends += [(f"an insertion of {pad.name}", way.apoapsis_m) for pad in scenario.pads for way in pad.insertions]
    near = [(who, apsis - ring.radius_m) for who, apsis in ends if on_ring(apsis, ring.radius_m)]
    return [
        f"The orbit of {who} has an apsis {plain(abs(off) / 1e3, 3)} km {'above' if off > 0.0 else 'below'} the ring: "
        "it is planned as if it lay on the ring."
        for who, off in near
        if abs(off) > UNSAID_M
    ]
