"""What a scenario was understood to say: values, angles counted from one craft or site, and the defaults taken.

Plain text; nothing is planned here. Rates are two-body.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

from ..models.insertions import Insertion
from ..models.readouts import DAY, brief, clock, instant, listed, plain, span
from ..models.scenario import Body, Craft, Pad, RingSpec, Scenario, on_ring
from .angles import angle_lines
from .launch_windows import window_lines
from .layout import Column, columns, paragraph
from .under_forces import chosen_items

_AIMS = {
    "delta_v": "the total delta-v",
    "finish": "the time until the last craft is in its slot",
    "propellant": "the propellant burnt",
    "worst_delta_v": "the delta-v of the craft that needs most",
}

_OWN_DAY_WORTH = 0.01
"""A body's day within this share of 86 400 s is not worth a second figure."""

_SLOTS_SHOWN = 8
"""Slots whose longitudes are named."""


def understood(scenario: Scenario, width: int = 80) -> str:
    """Set what a scenario says: each table in turn, angles from one named craft or site, then every default taken.

    Returns:
        Text that ends in a newline.
    """
    lines = paragraph(scenario.title, width)
    lines += paragraph(f"Read from {scenario.source.file}." if scenario.source.file else "", width)
    for setting in scenario.source.settings.values():
        lines += paragraph(f"With {setting} in place of what the file says.", width)
    if scenario.epoch is None:
        lines += paragraph("There is no epoch: times count from an undated instant.", width)
    else:
        lines += paragraph(f"Times count from {instant(scenario.epoch, 0.0)}.", width)
    for heading, items in (
        ("The body", _body_items(scenario)),
        ("The ring", _ring_items(scenario)),
        ("Limits", _limit_items(scenario)),
        ("Launch", _launch_items(scenario)),
        ("Carriers", _carrier_items(scenario)),
        ("Craft", _craft_items(scenario)),
        ("Spares", _spare_items(scenario)),
        ("Goal", _goal_items(scenario)),
        ("Further forces", chosen_items(scenario)),
    ):
        if items:
            lines += _section(heading, items, width)
    lines += window_lines(scenario, width)
    lines += angle_lines(scenario, width)
    lines += _default_lines(scenario, width)
    if scenario.warnings:
        lines += _section("Warnings", scenario.warnings, width)
    return "\n".join(lines) + "\n"


def _goal_items(scenario: Scenario) -> list[str]:
    items = [f"Make {_AIMS[scenario.minimize]} least."]
    if scenario.first_service is not None:
        several = scenario.first_service > 1
        slots = f"{scenario.first_service} neighboring slots are" if several else "one slot is"
        items.append(f"Service begins when {slots} filled, counting craft that stay.")
    if scenario.front_step_s is not None:
        items.append(f"Free-form flights are looked for at finishes {span(scenario.front_step_s)} apart.")
    return items


def _section(heading: str, items: Iterable[str], width: int) -> list[str]:
    lines = ["", heading, "-" * len(heading)]
    for item in items:
        lines += paragraph(item, width, indent="  ", hang="      ")
    return lines


def duration(seconds: float, body: Body) -> str:
    """Say a duration, and again in the body's own days where they differ from ours.

    >>> duration(20 * 86400.0, Body(name="Tessaly", gm=1.0, radius_m=1.0, sidereal_day_s=19.5 * 3600.0))
    '20 d = 24.6 days of Tessaly'
    """
    words = span(seconds)
    own = abs(body.sidereal_day_s)
    if not math.isfinite(seconds) or not math.isfinite(own) or abs(own / DAY - 1.0) <= _OWN_DAY_WORTH:
        return words
    share = seconds / own
    if share < 0.05:
        return words
    return f"{words} = {brief(share, 3)} {'day' if share == 1.0 else 'days'} of {body.name}"


def _altitude(radius_m: float, scenario: Scenario) -> str:
    return f"{brief((radius_m - scenario.body.radius_m) / 1e3)} km"


def _body_items(scenario: Scenario) -> list[str]:
    body = scenario.body
    air = f"air up to {brief(body.atmosphere_top_m / 1e3)} km" if body.atmosphere_top_m else "no atmosphere"
    if math.isinf(body.sidereal_day_s):
        turns = "it does not turn"
    else:
        way = "backwards " if body.sidereal_day_s < 0 else ""
        turns = f"it turns {way}once in {clock(abs(body.sidereal_day_s))} against the stars"
    flat = f"J2 {brief(body.j2)} for a radius of {brief(body.j2_radius_m / 1e3)} km" if body.j2 else "round (J2 0)"
    items = [
        f"{body.name}: GM {brief(body.gm / 1e9, 10)} km^3/s^2, radius {brief(body.radius_m / 1e3)} km, {air}; {turns}; "
        f"{flat}."
    ]
    if math.isfinite(body.hill_radius_m):
        items.append(
            f"Its gravity dominates out to {plain(body.hill_radius_m / 1e3, 0)} km from its center (Hill radius)."
        )
    if body.source and body.source != "the scenario":
        items.append(f"Sources: {body.source}.")
    return items


def slot_places(ring: RingSpec) -> str:
    """How many slots a plane has, and where.

    >>> slot_places(RingSpec(radius_m=1.0, slots=3))
    '3 slots, 120 deg apart'
    >>> slot_places(RingSpec(radius_m=1.0, slots=2, pattern_rad=(0.0, 1.0)))
    '2 slots, at 0 and 57.296 deg from slot 0, gaps of 57.296 to 302.7 deg'
    """
    if ring.slots == 1:
        return "1 slot"
    if not ring.pattern_rad:
        return f"{ring.slots} slots, {brief(360.0 / ring.slots, 5)} deg apart"
    places = [math.degrees(one) for one in ring.pattern_rad]
    gaps = [after - one for one, after in zip(places, [*places[1:], 360.0], strict=True)]
    shown = [brief(one, 5) for one in places[:_SLOTS_SHOWN]]
    named = listed(shown) if ring.slots <= _SLOTS_SHOWN else f"{', '.join(shown)} and so on,"
    between = f"gaps of {brief(min(gaps), 5)} to {brief(max(gaps), 5)} deg"
    return f"{ring.slots} slots, at {named} deg from slot 0, {between}"


def _ring_items(scenario: Scenario) -> list[str]:
    from ..optimizer.problem.ring_phase import ring_of

    ring = scenario.ring
    made = ring_of(scenario)
    places = slot_places(ring)
    lean = math.degrees(ring.inclination_rad)
    plane = "over the equator"
    if lean:
        plane = f"inclined {brief(lean)} deg, ascending node at {brief(math.degrees(ring.node_rad))} deg"
    if ring.planes > 1:
        places += f" in each of {ring.planes} planes"
        plane += (
            f" (that of plane 0; the others {brief(math.degrees(ring.spread_rad) / ring.planes)} deg of node apart, "
            f"slot 0 of each {brief(360.0 * ring.phasing / (ring.planes * ring.slots))} deg ahead of the last plane's)"
        )
    items = [
        f"{places}, {plane}, at {_altitude(ring.radius_m, scenario)} "
        f"({brief(ring.radius_m / 1e3)} km from the center).",
        f"Mean period {clock(made.period_s)} at {plain(made.speed_m_s)} m/s.",
        f"In place means within {brief(math.degrees(ring.tolerance_rad))} deg of the slot; plans aim at the slot.",
    ]
    if ring.leave_free:
        items.append(f"Not filled now, in each plane: slot {listed([str(slot) for slot in ring.leave_free])}.")
    if ring.longitude_rad is not None:
        ahead = [float(made.ahead(slot)) for slot in range(ring.slots)]
        over = [math.degrees(ring.longitude_rad + one) % 360.0 for one in ahead]
        shown = listed([brief(one, 6) for one in over[:_SLOTS_SHOWN]])
        apart = "" if ring.pattern_rad else f", {brief(360.0 / ring.slots, 5)} deg apart"
        more = f" and so on{apart}" if ring.slots > _SLOTS_SHOWN else ""
        items.append(f"Slots stay over the ground, at longitudes {shown} deg east{more}.")
    if ring.tilt_tolerance_rad:
        tilt = brief(math.degrees(ring.tilt_tolerance_rad))
        items.append(f"A plane tilted by up to {tilt} deg against the ring's is left as it is.")
    if ring.slot0_rad is None:
        stays = ring.occupied or any(craft.stay for craft in scenario.craft)
        decides = "craft that stay decide" if stays else "it is chosen with the plan"
        items.append(f"The phase of the slots is free: {decides}.")
    for one in ring.occupied:
        place = f"in plane {one.plane}, " if ring.planes > 1 else ""
        place += f"in slot {one.slot}" if one.slot is not None else "where it was measured"
        items.append(f"{one.name} is up already and stays, {place}.")
    return items


def _limit_items(scenario: Scenario) -> list[str]:
    limits, body = scenario.limits, scenario.body
    above = f" ({brief(limits.clearance_m / 1e3)} km above the atmosphere)" if body.atmosphere_top_m else ""
    finish, wait = (duration(one, body) for one in (limits.finish_within_s, limits.wait_within_s))
    apart = f"At least {brief(limits.separation_m / 1e3)} km from craft in place, from the epoch, the insertion or the"
    said = (
        (True, f"No arc after insertion lower than {_altitude(scenario.floor_m, scenario)}{above}."),
        (math.isfinite(limits.apoapsis_max_m), f"No apoapsis above {_altitude(limits.apoapsis_max_m, scenario)}."),
        (math.isfinite(limits.finish_within_s), f"The last craft in its slot within {finish} from the epoch."),
        (math.isfinite(limits.wait_within_s), f"Each craft in its slot within {wait} of reaching the ring."),
        (True, f"At most {limits.revolutions_max} phasing revolutions of one craft."),
        (limits.separation_m, f"{apart} drop on."),
    )
    return [text for holds, text in said if holds]


def _launch_items(scenario: Scenario) -> list[str]:
    items = []
    body = scenario.body
    for pad in scenario.pads:
        north = f"{brief(abs(math.degrees(pad.latitude_rad)))} deg {'south' if pad.latitude_rad < 0 else 'north'}"
        east = f"{brief(abs(math.degrees(pad.longitude_rad)))} deg {'west' if pad.longitude_rad < 0 else 'east'}"
        where = f"on the equator, {east}" if pad.latitude_rad == 0.0 else f"{north}, {east}"
        ready = "ready at the epoch" if pad.ready_s == 0.0 else f"ready after {duration(pad.ready_s, body)}"
        ready += "" if math.isinf(pad.until_s) else f", last liftoff at {duration(pad.until_s, body)}"
        apart = f", {duration(pad.turnaround_s, body)} between liftoffs" if pad.turnaround_s else ""
        items.append(
            f"{pad.name}: {where}; {ready}{apart}; insertion {span(pad.ascent_s)} after liftoff, "
            f"{brief(math.degrees(pad.downrange_rad))} deg downrange."
        )
        items += [f"{pad.name}: {said}." for said in _site_limits(pad, body)]
        # of a range its two ends
        ends = [one for one in pad.insertions if one.out_of is None or one.out_of.share_of(one) in (0.0, 1.0)]
        items += [_insertion_item(scenario, pad, insertion) for insertion in ends]
    return items


def _site_limits(pad: Pad, body: Body) -> list[str]:
    said = []
    if pad.plane_tolerance_rad:
        said.append(f"liftoff up to {brief(math.degrees(pad.plane_tolerance_rad))} deg from the ring plane")
    said += [
        f"no liftoff between {duration(start, body)} and {duration(end, body)}"
        for start, end in sorted(pad.blackouts_s)
    ]
    if pad.corridor_rad is not None:
        first, last = (brief(math.degrees(azimuth) % 360.0) for azimuth in pad.corridor_rad)
        said.append(f"flight azimuths over the ground from {first} clockwise to {last} deg only")
    if math.isfinite(pad.payload_kg):
        said.append(f"at most {brief(pad.payload_kg)} kg at the insertion")
    if pad.upper_stage is not None:
        stage = pad.upper_stage
        lasts = f", for {duration(stage.lasts_s, body)}" if math.isfinite(stage.lasts_s) else ""
        said.append(f"an upper stage pays the first {brief(stage.delta_v_m_s)} m/s after the insertion{lasts}")
    return said


def _insertion_item(scenario: Scenario, pad: Pad, insertion: Insertion) -> str:
    name = f"Insertion {insertion.name}" if insertion.name else "Insertion"
    name += "" if insertion.out_of is None else ", one end of the range from which the plan chooses"
    name += f", at most {brief(insertion.payload_kg)} kg" if insertion.payload else ""
    at = _altitude(insertion.radius_m, scenario)
    if insertion.circular:
        return f"{name}: into a parking orbit at {at}, from which a transfer leaves for the ring."
    low, high = (_altitude(radius, scenario) for radius in (insertion.periapsis_m, insertion.apoapsis_m))
    must = ""
    if insertion.periapsis_m < scenario.floor_m:
        must = " It falls back below the floor, so the first ring burn has to come on the first arrival."
    return f"{name}: at {at} on the way up, periapsis {low}, apoapsis {high}, on the ring.{must}"


def _carrier_items(scenario: Scenario) -> list[str]:
    items = []
    for carrier in scenario.carriers:
        apart, lasts = (duration(one, scenario.body) for one in (carrier.between_drops_s, carrier.lasts_s))
        said = (
            (True, f"carries {listed(list(carrier.craft))}, all of them or none"),
            (True, f"burns up to {brief(carrier.delta_v_m_s)} m/s"),
            (True, f"drops within {carrier.passes_max} passes of the ring after the first touch"),
            (carrier.changes_max, "may change its orbit once between drops"),
            (carrier.between_drops_s > 0.0, f"drops are at least {apart} apart"),
            (math.isfinite(carrier.lasts_s), f"lasts {lasts} from the insertion"),
            (carrier.mass_kg, f"{brief(carrier.mass_kg)} kg without its craft"),
            (carrier.pads, f"from {listed(list(carrier.pads))} only"),
        )
        words = "; ".join(text for holds, text in said if holds)
        items.append(f"{carrier.name}: {words}. Separate launches are examined as well.")
    return items


def _craft_items(scenario: Scenario) -> list[str]:
    found: dict[str, list[str]] = {}
    for craft in scenario.craft:
        found.setdefault(_craft_item(scenario, craft), []).append(craft.name)
    return [f"{listed(names)}: {words}" for words, names in found.items()]


def _craft_item(scenario: Scenario, craft: Craft) -> str:
    what = "first burn" if craft.orbit else "at the pad"
    said = (
        (True, _whereabouts(scenario, craft)),
        (craft.pads, f"launched from {' or '.join(craft.pads)} only"),
        (craft.stay, "stays where it is"),
        (craft.may_move, "stays where it is, or takes another slot where that serves the goal"),
        (craft.ready_s, f"{what} after {duration(craft.ready_s, scenario.body)} at the earliest"),
    )
    parts = [text for holds, text in said if holds]
    if craft.dry_mass_kg is not None and craft.propellant_kg is not None and craft.isp_s is not None:
        load = "" if craft.load == "full" else ", only what is needed loaded"
        parts.append(
            f"{brief(craft.dry_mass_kg)} kg dry and {brief(craft.propellant_kg)} kg of propellant{load}, "
            f"specific impulse {brief(craft.isp_s)} s"
        )
        parts.append(f"thrust {brief(craft.thrust_n)} N" if craft.thrust_n else "burns as impulses")
        if craft.reserve_m_s:
            parts.append(f"{brief(craft.reserve_m_s)} m/s kept back")
    else:
        parts.append("no masses, so propellant is not counted")
    return "; ".join(parts) + "."


def _whereabouts(scenario: Scenario, craft: Craft) -> str:
    orbit = craft.orbit
    if orbit is None:
        return "on the ground"
    if orbit.circular and not on_ring(orbit.apoapsis_m, scenario.ring.radius_m):
        inside = "" if scenario.ring.planes == 1 else f", in plane {orbit.plane}"
        return f"on a circle at {_altitude(orbit.apoapsis_m, scenario)}{inside}"
    if orbit.circular:
        return "on the ring" if scenario.ring.planes == 1 else f"on the ring, in plane {orbit.plane}"
    low, high = (_altitude(radius, scenario) for radius in (orbit.periapsis_m, orbit.apoapsis_m))
    when = "at the epoch" if orbit.at_s == 0.0 else f"at {instant(scenario.epoch, orbit.at_s)}"
    return f"in space, periapsis {low}, apoapsis {high}, at its {orbit.at} {when}"


def _spare_items(scenario: Scenario) -> list[str]:
    items = []
    for spare in scenario.spares:
        ring, turned = scenario.ring, spare.angle_rad or 0.0
        where = f"in the ring, {brief(math.degrees(turned))} deg from the node at the epoch"
        if spare.after_slot is not None:
            where = f"in the ring, midway between slots {spare.after_slot} and {(spare.after_slot + 1) % ring.slots}"
        elif spare.radius_m is not None:
            at = _altitude(spare.radius_m, scenario)
            where = f"on a circle at {at}, {brief(math.degrees(turned))} deg from the node at the epoch"
        inside = f" of plane {spare.plane}" if ring.planes > 1 else ""
        items.append(f"{spare.craft.name}: waits {where}{inside}, until it is called for a craft that is lost.")
    return items


def _default_lines(scenario: Scenario, width: int) -> list[str]:
    """Defaults taken; what several craft or sites leave open alike is printed once."""
    if not scenario.source.defaults:
        return []
    counts: dict[tuple[str, str], int] = {}
    for key, words in scenario.source.defaults.items():
        every = re.sub(r"\[\d+\]", "", key).replace("at_time", "at_s")
        counts[every, words] = counts.get((every, words), 0) + 1
    rows = [[key if n == 1 else f"{key} ({n} times)", words] for (key, words), n in sorted(counts.items())]
    heads = [Column(title="key"), Column(title="taken", wraps=True)]
    return ["", "Defaults: not in the file", "-------------------------", *columns(heads, rows, width)]
