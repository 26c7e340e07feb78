"""Checks a result, limit by limit, against its scenario, by another road than the one that made it.

Reads the scenario's text and the JSON result only. Every craft is flown again from its insertion or its own orbit
through its burns by two-body arcs (``kepler_flight.py``); what the result claims is compared with what was flown.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from .kepler_flight import (
    Arc,
    Vector,
    anomaly_on_the_way_up,
    apsides,
    fly,
    period,
    propagate,
    push,
    radii_flown,
    state_on_ellipse,
    tilted,
)
from .small_reader import Case, Craft, Insertion, Pad, read_case

G0 = 9.80665
"""Standard gravity, CGPM 1901."""

SUM_M_S = 1e-3
"""Burns add up to the delta-v to this."""
CIRCULAR_M_S = 2e-3
"""The velocity in the slot is that of the ring to this: a few mm/s."""
SLOT_DEG = 1e-3
"""The craft ends in its slot to this arc."""
PLANE_DEG = 2e-5
"""Planes agree to this: the arc cosine of a rounded one is no better."""
LENGTH_M = 1.0
"""Slack on radii: a rounded printed kilometer must not fail a limit that is kept."""
TIME_S = 1e-2
"""Slack on times."""
MASS_KG = 1e-3
"""Slack on propellant."""
DISTANCE_M = 50.0
"""Slack on distances between craft: two roads to a closest approach of kilometers."""

TOGETHER_M = 5.0
"""Craft so near to one another when the later of them starts or is dropped start together."""
SAMPLES_A_TURN = 720
"""Samples of an arc in the search for closest approaches, before the finer search around each low point."""

GOALS = {
    "delta_v": ("delta_v_m_s", "finish_s", "worst_delta_v_m_s", "propellant_kg"),
    "finish": ("finish_s", "delta_v_m_s", "worst_delta_v_m_s", "propellant_kg"),
    "worst_delta_v": ("worst_delta_v_m_s", "delta_v_m_s", "finish_s", "propellant_kg"),
    "propellant": ("propellant_kg", "delta_v_m_s", "finish_s", "worst_delta_v_m_s"),
}


@dataclass(frozen=True)
class Flight:
    """One craft's flight as the checker flew it: arcs between its burns, then the arc after the last."""

    craft: Craft
    start: float
    arcs: tuple[Arc, ...]
    settled: Arc
    in_place_from: float
    count_from: float

    def at(self, gm: float, times: Vector) -> Vector:
        """Positions at times, shape (n, 3)."""
        where = np.zeros((times.size, 3))
        for arc in (*self.arcs, self.settled):
            inside = (times >= arc.start) & (times <= arc.end) if arc is not self.settled else times >= arc.start
            if inside.any():
                where[inside], _ = propagate(gm, arc.position, arc.velocity, times[inside] - arc.start)
        return where


Pair = tuple[Hashable, ...]
Met = dict[Pair, float]
"""Least distance of two that was worked out for an earlier plan of the result, infinite where none counts."""


def check(
    text: str,
    result: Mapping[str, Any],
    *,
    spin: float | None = None,
    meridian: float | None = None,
) -> list[str]:
    """Everything in which a result breaks its scenario, its contract or itself, in words; empty for a good one.

    Args:
        text: the scenario file.
        result: the JSON result.
        spin, meridian: of a built-in body, where the scenario does not give them (rad/s; rad at the epoch).
    """
    case = read_case(text, body=result["body"], spin=spin, meridian=meridian)
    found = _head(case, result)
    plans = result["plans"]
    if not plans:
        if result.get("infeasible") is None:
            found.append("there is no plan and no reason why")
        if result.get("front"):
            found.append("there is a front without plans")
        return found
    if result.get("infeasible") is not None:
        found.append("there are plans and yet it is called infeasible")
    found += _kept(case, result)
    met: Met = {}
    for plan in plans:
        found += [f"plan {plan['rank']}: {words}" for words in _plan(case, result, plan, met)]
    found += _ranks(case, plans)
    found += _front(result)
    found += _proof(case, result)
    return found


def _head(case: Case, result: Mapping[str, Any]) -> list[str]:
    found = []
    if result["format"] != "ringwright-plan/1":
        found.append(f"format is {result['format']!r}")
    ring = result["ring"]
    if abs(ring["period_s"] - case.period) > 1e-6 * case.period:
        found.append(f"ring period {ring['period_s']} s, by Kepler's third law {case.period} s")
    if abs(ring["speed_m_s"] - case.speed) > 1e-6 * case.speed:
        found.append(f"ring speed {ring['speed_m_s']} m/s, from GM and radius {case.speed} m/s")
    if abs(ring["altitude_km"] * 1e3 + case.body_radius - case.radius) > LENGTH_M:
        found.append(f"ring altitude {ring['altitude_km']} km is not the scenario's")
    if ring["slots"] != case.slots:
        found.append(f"{ring['slots']} slots, the scenario asks for {case.slots}")
    if case.slot0 is not None and abs(_fold_deg(ring["slot0_deg"] - math.degrees(case.slot0))) > 1e-6:
        found.append(f"slot 0 at {ring['slot0_deg']} deg, the scenario puts it at {math.degrees(case.slot0)} deg")
    return found


def _fold_deg(angle: float) -> float:
    return float(180.0 - (180.0 - angle) % 360.0)


def _slot_deg(case: Case, result: Mapping[str, Any], plane: int, slot: int, time: float) -> float:
    turned = math.degrees(case.rate * time + case.ahead_of(plane))
    return float(result["ring"]["slot0_deg"]) + math.degrees(case.slot_at(slot)) + turned


def _staying(case: Case, slot0_deg: float) -> list[tuple[str, float, int]]:
    """Name, argument of latitude at the epoch, deg, and plane of who is in the ring and stays."""
    there = []
    for one in case.occupied:
        angle = one.angle
        numbered = slot0_deg + math.degrees(case.ahead_of(one.plane)) + math.degrees(case.slot_at(one.slot or 0))
        there.append((one.name, math.degrees(angle) if angle is not None else numbered, one.plane))
    for craft in case.craft:
        if craft.stay and craft.orbit is not None:
            at_epoch = math.degrees(craft.orbit.angle - case.rate * craft.orbit.at_time)
            there.append((craft.name, at_epoch, craft.orbit.plane))
    return there


def _nearest_slot(case: Case, ahead_deg: float) -> int:
    return min(range(case.slots), key=lambda slot: abs(_fold_deg(ahead_deg - math.degrees(case.slot_at(slot)))))


def _largest_error(case: Case, angles: Sequence[float], slot0: float) -> float:
    places = [math.degrees(case.slot_at(slot)) for slot in range(case.slots)]
    return max(min(abs(_fold_deg(a - slot0 - place)) for place in places) for a in angles)


def _least_error(case: Case, angles: Sequence[float]) -> float:
    """The least over all phases: where two craft are as far off on either side, or one is right."""
    places = [math.degrees(case.slot_at(slot)) for slot in range(case.slots)]
    at = [(a - place) % 360.0 for a in angles for place in places]
    middles = [b + 0.5 * _fold_deg(a - b) for a in at for b in at]
    return min(_largest_error(case, angles, phase) for phase in middles)


def _kept(case: Case, result: Mapping[str, Any]) -> list[str]:
    found = []
    slot0 = float(result["ring"]["slot0_deg"])
    staying = _staying(case, slot0)
    kept = {item["craft"]: item for item in result["kept"]}
    if set(kept) != {name for name, _, _ in staying}:
        found.append(f"kept are {sorted(kept)}, the scenario keeps {sorted(name for name, _, _ in staying)}")
    for name, seen, plane in staying:
        if name not in kept:
            continue
        if kept[name].get("plane", 0) != plane:
            found.append(f"{name} is kept in plane {kept[name].get('plane', 0)}, it is in {plane}")
        angle = seen - math.degrees(case.ahead_of(plane))
        slot = _nearest_slot(case, angle - slot0)
        error = _fold_deg(angle - slot0 - math.degrees(case.slot_at(slot)))
        if kept[name]["slot"] != slot:
            found.append(f"{name} is kept in slot {kept[name]['slot']}, it is nearest to {slot}")
        elif abs(_fold_deg(kept[name]["error_deg"] - error)) > 1e-6:
            found.append(f"{name} is off its slot by {error} deg, not {kept[name]['error_deg']}")
    measured = [
        angle - math.degrees(case.ahead_of(plane))
        for (_, angle, plane), given in zip(staying, _measured(case), strict=True)
        if given
    ]
    if case.slot0 is None and measured and len(measured) == len(staying):
        worst, least = _largest_error(case, measured, slot0), _least_error(case, measured)
        if worst > least + 1e-6:
            found.append(f"slot 0 at {slot0} deg leaves an error of {worst} deg among the kept, {least} is possible")
    return found


def _measured(case: Case) -> list[bool]:
    return [one.angle is not None for one in case.occupied] + [c.stay for c in case.craft if c.stay]


def _insertion_state(case: Case, pad: Pad, way: Insertion, item: Mapping[str, Any]) -> tuple[float, Vector, Vector]:
    launch_s = float(item["launch_s"])
    apoapsis = way.apoapsis
    circular = way.apoapsis - way.periapsis <= 1.0
    if not circular and abs(apoapsis - case.radius) <= 1000.0:
        # files round: what is meant to touch the ring touches it
        apoapsis = case.radius
    anomaly = anomaly_on_the_way_up(way.periapsis, apoapsis, way.radius)
    low, high = (way.radius, way.radius) if circular else (way.periapsis, apoapsis)
    azimuth = item.get("azimuth_deg")
    if azimuth is None:
        # a site that is in the plane at all times
        r, v = state_on_ellipse(case.gm, low, high, anomaly, case.site_angle(pad, launch_s) + pad.downrange)
        lean, node = case.inclination, case.node_of(int(item["plane"]))
        return launch_s + pad.ascent, tilted(r, lean, node), tilted(v, lean, node)
    r, v = state_on_ellipse(case.gm, low, high, anomaly, pad.downrange)
    site = np.array(case.site_direction(pad, launch_s))
    heading = _heading(site, math.radians(float(azimuth)))
    axes = np.stack([site, heading, np.cross(site, heading)])
    return launch_s + pad.ascent, r @ axes, v @ axes


def _heading(site: Vector, azimuth: float) -> Vector:
    """Unit vector from a site along an azimuth, from north over east."""
    east = np.array([-site[1], site[0], 0.0])
    east = east / np.linalg.norm(east)
    towards: Vector = math.sin(azimuth) * east + math.cos(azimuth) * np.cross(site, east)
    return towards


def _pole(case: Case, plane: int) -> Vector:
    return tilted(np.array([0.0, 0.0, 1.0]), case.inclination, case.node_of(plane))


def _launch(case: Case, pad: Pad, item: Mapping[str, Any]) -> list[str]:
    """Limits on where a site stands to the plane at liftoff, and on the heading."""
    name, broken = item["craft"], []
    site = np.array(case.site_direction(pad, float(item["launch_s"])))
    pole = _pole(case, int(item["plane"]))
    off = abs(math.degrees(math.asin(float(site @ pole))))
    if off > math.degrees(pad.plane_tolerance) + max(PLANE_DEG, 0.001 if "tilt_deg" not in item else 0.0):
        broken.append(f"{name} lifts off {off} deg from the plane, {math.degrees(pad.plane_tolerance)} are allowed")
    azimuth = item.get("azimuth_deg")
    heading = np.cross(pole, site) if azimuth is None else _heading(site, math.radians(float(azimuth)))
    heading = heading / np.linalg.norm(heading)
    way = next((way for way in pad.insertions if way.name == item.get("insertion")), pad.insertions[0])
    apoapsis = case.radius if abs(way.apoapsis - case.radius) <= 1000.0 else way.apoapsis
    speed = math.sqrt(case.gm * (2.0 / way.radius - 2.0 / (way.periapsis + apoapsis)))
    ground = speed * heading - case.spin * case.body_radius * np.array([-site[1], site[0], 0.0])
    east = np.array([-site[1], site[0], 0.0])
    if np.linalg.norm(east) > 1e-9:
        east = east / np.linalg.norm(east)
        flown = math.degrees(math.atan2(float(ground @ east), float(ground @ np.cross(site, east))))
        if pad.corridor is not None:
            first, last = (math.degrees(end) for end in pad.corridor)
            if (flown - first + 1e-6) % 360.0 > (last - first) % 360.0 + 2e-6:
                broken.append(f"{name} flies on {flown % 360.0} deg, the corridor is {first} to {last}")
        stated = item.get("flight_azimuth_deg")
        if stated is not None and abs(_fold_deg(stated - flown)) > 1e-3:
            broken.append(f"{name} is said to fly on {stated} deg over the ground, it is {flown % 360.0}")
    tilt = math.degrees(math.acos(min(1.0, float(np.cross(site, heading) @ pole))))
    if abs(tilt - item.get("tilt_deg", 0.0)) > (1e-4 if "tilt_deg" in item else 0.001):
        broken.append(f"{name} is said to be tilted by {item.get('tilt_deg', 0.0)} deg, it is {tilt}")
    return broken


def _space_state(case: Case, craft: Craft) -> tuple[float, Vector, Vector]:
    """Position and velocity at the epoch."""
    orbit = craft.orbit
    assert orbit is not None
    anomaly = math.pi if orbit.at == "apoapsis" else 0.0
    r, v = state_on_ellipse(case.gm, orbit.periapsis, orbit.apoapsis, anomaly, orbit.angle)
    where, speed = propagate(case.gm, r, v, np.array([-orbit.at_time]))
    lean, node = case.inclination, case.node_of(orbit.plane)
    return 0.0, tilted(where[0], lean, node), tilted(speed[0], lean, node)


def _fly_through(
    case: Case, craft: Craft, item: Mapping[str, Any], start: float, r: Vector, v: Vector
) -> tuple[Flight, list[str]]:
    """Fly through the burns, comparing each burn's own account with the orbit it makes."""
    found = []
    name = craft.name
    arcs = []
    exhaust = craft.isp * G0 if craft.isp is not None else None
    mass = None
    if craft.dry is not None and exhaust is not None and item["propellant_kg"] is not None:
        mass = craft.dry + item["propellant_left_kg"] + item["propellant_kg"]
    now = start
    # until it is dropped a craft goes where its carrier's burns take it
    carried = item.get("carried_by", [])
    for number, burn in enumerate([*carried, *item["burns"]], 1 - len(carried)):
        time = float(burn["time_s"])
        if time < now - TIME_S:
            found.append(f"{name}: burn {number} at {time} s comes before {now} s")
        time = max(time, now)
        arc = Arc(now, time, r, v)
        arcs.append(arc)
        r, v = fly(case.gm, arc, time)
        parts = (float(burn["radial_m_s"]), float(burn["along_m_s"]), float(burn["cross_m_s"]))
        size = math.sqrt(sum(part * part for part in parts))
        if abs(size - burn["delta_v_m_s"]) > SUM_M_S:
            found.append(f"{name}: burn {number} is {burn['delta_v_m_s']} m/s, its parts make {size}")
        v = push(r, v, *parts)
        now = time
        low, high = apsides(case.gm, r, v)
        turn = period(case.gm, r, v)
        if math.isinf(turn):
            found.append(f"{name}: burn {number} leads to an open orbit")
            break
        if abs(turn - burn["period_after_s"]) > 1e-6 * turn + TIME_S:
            found.append(f"{name}: after burn {number} the period is {turn} s, not {burn['period_after_s']}")
        for word, value, stated in (
            ("periapsis", low, burn["periapsis_after_km"]),
            ("apoapsis", high, burn["apoapsis_after_km"]),
        ):
            if abs((value - case.body_radius) / 1e3 - stated) > 0.1:
                found.append(
                    f"{name}: after burn {number} the {word} is {(value - case.body_radius) / 1e3} km, not {stated}"
                )
        if mass is not None and exhaust is not None and craft.dry is not None and number > 0:
            mass *= math.exp(-size / exhaust)
            left = burn["propellant_after_kg"]
            if left is None or abs(mass - craft.dry - left) > MASS_KG:
                found.append(f"{name}: {mass - craft.dry} kg are left after burn {number}, not {left}")
    settled = Arc(now, math.inf, r, v)
    in_place = now if item["burns"] else max(float(item["in_slot_s"]), start)
    count_from = start if item["carrier"] is None else float(item["burns"][0]["time_s"])
    return Flight(craft, start, tuple(arcs), settled, in_place, count_from), found


def _start(case: Case, craft: Craft, item: Mapping[str, Any]) -> list[tuple[float, Vector, Vector, Insertion | None]]:
    """Where the flight may start: one state in space, or one for each insertion that the result may mean."""
    if craft.orbit is not None:
        return [(*_space_state(case, craft), None)]
    pads = [pad for pad in case.pads if pad.name == item["pad"]] or list(case.pads if len(case.pads) == 1 else ())
    starts: list[tuple[float, Vector, Vector, Insertion | None]] = []
    for pad in pads:
        named = [way for way in pad.insertions if way.name == item.get("insertion")]
        starts += [(*_insertion_state(case, pad, way, item), way) for way in named or pad.insertions]
    return starts


def _final(case: Case, result: Mapping[str, Any], flight: Flight, item: Mapping[str, Any]) -> tuple[float, float]:
    """Distance from the slot (deg of arc) and velocity against the ring's (m/s) after the last burn.

    Of a craft whose tilt the ring lets be: along its own orbit from where that crosses the ring, and in size and level.
    """
    r, v = flight.settled.position, flight.settled.velocity
    plane = int(item["plane"])
    angle = math.radians(_slot_deg(case, result, plane, item["slot"], flight.settled.start))
    there = _on_ring(case, angle, plane)
    out = r / np.linalg.norm(r)
    pole, own = _pole(case, plane), np.cross(r, v) / np.linalg.norm(np.cross(r, v))
    if item.get("tilt_at") == "kept":
        line = np.cross(pole, own) / np.linalg.norm(np.cross(pole, own))
        mine = math.atan2(float(out @ np.cross(own, line)), float(out @ line))
        slots = math.atan2(float(there @ np.cross(pole, line)), float(there @ line))
        level = case.speed * np.cross(own, out)
        return abs(_fold_deg(math.degrees(mine - slots))), float(np.linalg.norm(v - level))
    ahead = np.cross(pole, out)
    return (
        math.degrees(float(np.linalg.norm(r - there)) / case.radius),
        float(np.linalg.norm(v - case.speed * ahead)),
    )


def _on_ring(case: Case, angle: float, plane: int) -> Vector:
    flat = case.radius * np.array([math.cos(angle), math.sin(angle), 0.0])
    return tilted(flat, case.inclination, case.node_of(plane))


def _at_phase_of(result: Mapping[str, Any], plan: Mapping[str, Any]) -> Mapping[str, Any]:
    """The result with the ring as one of its plans lays it."""
    if "slot0_deg" not in plan:
        return result
    return {**result, "ring": {**result["ring"], "slot0_deg": plan["slot0_deg"]}}


def _until_dropped(bus: Mapping[str, Any], craft: str) -> list[Mapping[str, Any]]:
    """The burns of a carrier that a craft is still aboard for."""
    [dropped] = [float(drop["time_s"]) for drop in bus["drops"] if drop["craft"] == craft]
    return [burn for burn in bus["burns"] if float(burn["time_s"]) <= dropped + TIME_S]


def _plan(case: Case, result: Mapping[str, Any], plan: Mapping[str, Any], met: Met) -> list[str]:
    result = _at_phase_of(result, plan)
    found: list[str] = []
    limits: list[str] = []
    movers = {craft.name: craft for craft in case.craft if not craft.stay}
    items = plan["craft"]
    names = [item["craft"] for item in items]
    if sorted(names) != sorted(movers):
        found.append(f"moves {sorted(names)}, the scenario has {sorted(movers)} to move")
    slot0 = float(result["ring"]["slot0_deg"])
    taken = {
        (plane, _nearest_slot(case, angle - math.degrees(case.ahead_of(plane)) - slot0)): name
        for name, angle, plane in _staying(case, slot0)
    }
    for item in items:
        place = (item["plane"], item["slot"])
        where = f"slot {place[1]}" + (f" of plane {place[0]}" if case.planes > 1 else "")
        if not (0 <= place[1] < case.slots and 0 <= place[0] < case.planes):
            found.append(f"{item['craft']} is sent to {where}, of {case.slots} in {case.planes} planes")
        elif place in taken:
            found.append(f"{item['craft']} is sent to {where}, where {taken[place]} is")
        taken[place] = item["craft"]
    limits += _liftoffs(case, items)
    flights = []
    own = {bus["carrier"]: bus for bus in plan.get("carriers", [])}
    for item in items:
        craft = movers.get(item["craft"])
        if craft is None:
            continue
        if item["carrier"] is not None:
            item = {**item, "carried_by": _until_dropped(own[item["carrier"]], item["craft"])}
        flight, words, broken = _one_craft(case, result, craft, item)
        found += words
        limits += broken
        if flight is not None:
            flights.append((flight, item))
    limits += _distances(case, slot0, flights, found, met)
    found += _sums(plan)
    declared = plan["broken"]
    if plan["within_limits"]:
        found += limits
        if declared:
            found.append(f"is called within limits and lists {declared}")
    else:
        if not declared:
            found.append("is called outside its limits, but lists none")
        if not limits:
            found.append("is called outside its limits, but keeps them all")
    return found


def _liftoffs(case: Case, items: list[Mapping[str, Any]]) -> list[str]:
    broken = []
    ready = {craft.name: craft.ready for craft in case.craft}
    for pad in case.pads:
        here = sorted(
            {
                (float(item["launch_s"]), item["carrier"] or item["craft"])
                for item in items
                if item["launch_s"] is not None and (item["pad"] == pad.name or len(case.pads) == 1)
            }
        )
        for time, name in here:
            if time < pad.ready - TIME_S:
                broken.append(f"{name} lifts off at {time} s, the pad is ready at {pad.ready} s")
            if time > pad.until + TIME_S:
                broken.append(f"{name} lifts off at {time} s, the last date of the pad is {pad.until} s")
            if any(start + TIME_S < time < end - TIME_S for start, end in pad.blackouts):
                broken.append(f"{name} lifts off at {time} s, in a blackout of the pad")
            if time < ready.get(name, 0.0) - TIME_S:
                broken.append(f"{name} lifts off at {time} s, it is ready at {ready[name]} s")
        for (early, first), (late, second) in pairwise(here):
            if late - early < pad.turnaround - TIME_S:
                broken.append(f"{second} lifts off {late - early} s after {first}, turnaround {pad.turnaround} s")
    craft = {one.name: one for one in case.craft}
    for item in items:
        one = craft.get(item["craft"])
        site = next((pad for pad in case.pads if pad.name == item["pad"]), None)
        if one is None or item["launch_s"] is None or site is None:
            continue
        broken += _launch(case, site, item)
        if one.pads and site.name not in one.pads:
            broken.append(f"{one.name} goes up from {site.name}, it may from {one.pads} only")
        loaded = (item["propellant_kg"] or 0.0) + (item["propellant_left_kg"] or 0.0)
        if one.dry is not None and one.dry + loaded > site.payload + MASS_KG:
            broken.append(f"{one.name} weighs {one.dry + loaded} kg, {site.name} lifts {site.payload} kg")
    for item in items:
        on_ground = any(craft.name == item["craft"] and craft.orbit is None for craft in case.craft)
        if on_ground != (item["launch_s"] is not None):
            broken.append(f"{item['craft']}: launch_s is {item['launch_s']}")
    return broken


def _one_craft(
    case: Case, result: Mapping[str, Any], craft: Craft, item: Mapping[str, Any]
) -> tuple[Flight | None, list[str], list[str]]:
    """The flight, what is untrue, and which limits are broken."""
    best: tuple[float, Flight, list[str], Insertion | None] | None = None
    for start, r, v, way in _start(case, craft, item):
        flight, words = _fly_through(case, craft, item, start, r, v)
        arc, speed = _final(case, result, flight, item)
        miss = arc + speed
        if best is None or miss < best[0]:
            best = (miss, flight, words, way)
    if best is None:
        return None, [f"{craft.name}: no pad {item['pad']!r} to start from"], []
    _, flight, found, way = best
    name = craft.name
    arc, speed = _final(case, result, flight, item)
    own = np.cross(flight.settled.position, flight.settled.velocity)
    lean = math.degrees(math.acos(min(1.0, float(own @ _pole(case, int(item["plane"]))) / float(np.linalg.norm(own)))))
    if lean > math.degrees(case.tilt_tolerance) + PLANE_DEG:
        found.append(f"{name} ends {lean} deg off the plane, {math.degrees(case.tilt_tolerance)} are allowed")
    if abs(lean - item["flown"]["plane_error_deg"]) > PLANE_DEG:
        found.append(f"{name} is said to end {item['flown']['plane_error_deg']} deg off the plane, it is {lean}")
    if arc > SLOT_DEG:
        found.append(f"{name} ends {arc} deg from slot {item['slot']}")
    if speed > CIRCULAR_M_S:
        found.append(f"{name} is off the ring's velocity by {speed} m/s at the end")
    total = sum(float(burn["delta_v_m_s"]) for burn in item["burns"])
    if abs(total - item["delta_v_m_s"]) > SUM_M_S:
        found.append(f"{name}: burns add up to {total} m/s, not {item['delta_v_m_s']}")
    if item["burns"] and abs(item["burns"][-1]["time_s"] - item["in_slot_s"]) > TIME_S:
        found.append(f"{name}: last burn at {item['burns'][-1]['time_s']} s, in its slot at {item['in_slot_s']}")
    found += _ring_touch(case, craft, item, flight)
    found += _phasing(case, item)
    found += _lowest_told(case, item, flight, way)
    if abs(item["flown"]["slot_error_deg"]) > math.degrees(case.tolerance):
        found.append(f"{name} was flown to {item['flown']['slot_error_deg']} deg from its slot")
    return flight, found, _limits(case, craft, item, flight, way)


def _limits(case: Case, craft: Craft, item: Mapping[str, Any], flight: Flight, way: Insertion | None) -> list[str]:
    broken = []
    name = craft.name
    for number, arc in enumerate(flight.arcs):
        low, high, passed = radii_flown(case.gm, arc)
        if number == 0 and way is not None and not passed:
            # the insertion point itself is the launcher's; from there the coast rises
            low = math.inf
        if low < case.floor - LENGTH_M:
            broken.append(f"{name} comes down to {(low - case.body_radius) / 1e3} km on arc {number}")
        if high > case.ceiling + LENGTH_M:
            broken.append(f"{name} goes up to {(high - case.body_radius) / 1e3} km on arc {number}")
    if way is not None and way.apoapsis - way.periapsis <= 1.0 and way.radius < case.floor - LENGTH_M:
        broken.append(f"{name} parks at {(way.radius - case.body_radius) / 1e3} km")
    tangent = item["route"] != "timed"  # burns in any direction are judged by what is flown through alone
    if tangent and way is not None and way.periapsis < case.floor - LENGTH_M and way.apoapsis - way.periapsis > 1.0:
        first = item["burns"][0]
        if first["periapsis_after_km"] * 1e3 + case.body_radius < case.floor - LENGTH_M:
            broken.append(f"{name}: the first burn leaves the lowest point at {first['periapsis_after_km']} km")
    if item["in_slot_s"] > case.finish_within + TIME_S:
        broken.append(f"{name} is in its slot at {item['in_slot_s']} s, later than {case.finish_within}")
    waited = item["in_slot_s"] - item["ring_arrival_s"]
    if waited > case.wait_within + TIME_S:
        broken.append(f"{name} waits {waited} s, longer than {case.wait_within}")
    if item["revolutions"] > case.revolutions_max:
        broken.append(f"{name} flies {item['revolutions']} revolutions, more than {case.revolutions_max}")
    if flight.arcs and item["burns"] and item["burns"][0]["time_s"] < craft.ready - TIME_S:
        broken.append(f"{name} burns at {item['burns'][0]['time_s']} s, it is ready at {craft.ready}")
    broken += _propellant(craft, item)
    return broken


def _propellant(craft: Craft, item: Mapping[str, Any]) -> list[str]:
    broken: list[str] = []
    if craft.dry is None or craft.propellant is None or craft.isp is None:
        return broken
    exhaust = craft.isp * G0
    used, left = item["propellant_kg"], item["propellant_left_kg"]
    if used is None or left is None:
        return [f"{craft.name}: masses are given, propellant is not stated"]
    loaded = used + left
    if loaded > craft.propellant + MASS_KG:
        broken.append(f"{craft.name} loads {loaded} kg, its tank holds {craft.propellant}")
    if not craft.least and abs(loaded - craft.propellant) > MASS_KG:
        broken.append(f"{craft.name} starts with {loaded} kg, it is loaded with {craft.propellant}")
    ought = (craft.dry + loaded) * -math.expm1(-item["delta_v_m_s"] / exhaust)
    if abs(ought - used) > MASS_KG:
        broken.append(f"{craft.name} burns {used} kg, by the rocket equation {ought}")
    reserve = craft.dry * math.expm1(craft.reserve / exhaust)
    if left < reserve - MASS_KG:
        broken.append(f"{craft.name} keeps {left} kg, its reserve needs {reserve}")
    return broken


def _ring_touch(case: Case, craft: Craft, item: Mapping[str, Any], flight: Flight) -> list[str]:
    """The first touch of the ring radius, stated against flown."""
    name = craft.name
    stated = float(item["ring_arrival_s"])
    earliest = max(flight.start, craft.ready) if craft.orbit is not None else flight.start
    if stated < earliest - TIME_S:
        return [f"{name} is said to reach the ring at {stated} s, before {earliest} s"]
    times = np.unique(np.clip(np.linspace(earliest, stated, 4001), earliest, stated))
    radii = np.linalg.norm(flight.at(case.gm, times), axis=1)
    found = []
    if abs(radii[-1] - case.radius) > LENGTH_M:
        found.append(f"{name} is said to reach the ring at {stated} s, its radius is {radii[-1]} m then")
    # an apsis is flat: within a meter of the ring for seconds on either side, so look well before it
    early = times < stated - 0.02 * case.period
    if np.any(np.abs(radii[early] - case.radius) < LENGTH_M):
        found.append(f"{name} reaches the ring before {stated} s")
    return found


def _phasing(case: Case, item: Mapping[str, Any]) -> list[str]:
    found = []
    name = item["craft"]
    turn, k = item["phasing_period_s"], item["revolutions"]
    if item["side"] not in ("below", "above", "level"):
        found.append(f"{name}: side {item['side']!r}")
    if item["route"] == "timed" or item["carrier"] is not None:
        return found
    if (turn is None) != (item["side"] == "level") or (turn is None) != (k == 0):
        found.append(f"{name}: side {item['side']}, {k} revolutions, phasing period {turn}")
    if turn is None:
        return found
    if ("below" if turn < case.period else "above") != item["side"]:
        found.append(f"{name}: a period of {turn} s is not {item['side']} a ring of {case.period} s")
    burns = item["burns"]
    # a phasing orbit that is the arrival's own needs no burn at the touch
    began = {item["ring_arrival_s"], *(burn["time_s"] for burn in burns[-2:-1])}
    if len(burns) >= 2 and all(abs(burns[-1]["time_s"] - start - k * turn) > TIME_S for start in began):
        found.append(f"{name}: {k} periods of {turn} s do not fill the time between its burns")
    swept = k * turn / case.period - item["ring_revolutions"]
    if abs(swept) > 0.5 + 1e-6:
        found.append(f"{name}: the slot makes {item['ring_revolutions']} turns less a lead of {-swept} turns")
    return found


def _lowest_told(case: Case, item: Mapping[str, Any], flight: Flight, way: Insertion | None) -> list[str]:
    stated = item["lowest_periapsis_km"]
    name = item["craft"]
    passed = []
    for number, arc in enumerate(flight.arcs):
        low, _, inside = radii_flown(case.gm, arc)
        if inside:
            passed.append(low)
        elif number or way is None or way.apoapsis - way.periapsis <= 1.0:
            # an arc that starts or ends at its periapsis may or may not be said to pass it
            periapsis, _ = apsides(case.gm, arc.position, arc.velocity)
            if abs(periapsis - low) < LENGTH_M and arc.end > arc.start:
                passed.append(low)
    strictly = [low for low in passed if low < case.radius - LENGTH_M]
    if stated is None:
        inner = [radii_flown(case.gm, arc) for arc in flight.arcs]
        if any(inside and low < case.radius - LENGTH_M for low, _, inside in inner):
            return [f"{name} passes a periapsis at {(min(strictly) - case.body_radius) / 1e3} km and states none"]
        return []
    radius = stated * 1e3 + case.body_radius
    if passed and abs(min(passed) - radius) > 100.0:
        return [f"{name}: lowest periapsis stated {stated} km, flown {(min(passed) - case.body_radius) / 1e3} km"]
    if not passed and abs(radius - case.radius) > 100.0:
        return [f"{name}: lowest periapsis stated {stated} km, none is flown through"]
    return []


def _sums(plan: Mapping[str, Any]) -> list[str]:
    found = []
    items = plan["craft"]
    each = [float(item["delta_v_m_s"]) for item in items]
    if abs(sum(each) - plan["delta_v_m_s"]) > SUM_M_S:
        found.append(f"delta-v is {plan['delta_v_m_s']} m/s, the craft add up to {sum(each)}")
    if abs(max(each, default=0.0) - plan["worst_delta_v_m_s"]) > SUM_M_S:
        found.append(f"worst delta-v is {plan['worst_delta_v_m_s']} m/s, of the craft {max(each, default=0.0)}")
    last = max((float(item["in_slot_s"]) for item in items), default=0.0)
    if abs(last - plan["finish_s"]) > TIME_S:
        found.append(f"finish is {plan['finish_s']} s, the last craft is in its slot at {last}")
    used = [item["propellant_kg"] for item in items if item["propellant_kg"] is not None]
    if plan["propellant_kg"] is not None and abs(sum(used) - plan["propellant_kg"]) > MASS_KG:
        found.append(f"propellant is {plan['propellant_kg']} kg, the craft add up to {sum(used)}")
    return found


def _gap(case: Case, flight: Flight, other: Flight | tuple[float, int], times: Vector) -> Vector:
    """Distance of a flight at times to another one, or to a craft on the ring by its angle at the epoch and plane."""
    if isinstance(other, Flight):
        there = other.at(case.gm, times)
    else:
        angle = other[0] + case.rate * times
        flat = case.radius * np.column_stack([np.cos(angle), np.sin(angle), np.zeros(times.size)])
        there = tilted(flat, case.inclination, case.node_of(other[1]))
    apart: Vector = np.linalg.norm(flight.at(case.gm, times) - there, axis=1)
    return apart


def _start_together(case: Case, flight: Flight, other: Flight | tuple[float, int]) -> bool:
    """Whether two are in one place, to a few meters, when the later of them starts or is dropped."""
    begin = flight.count_from
    if isinstance(other, Flight):
        begin = max(begin, other.count_from)
    return bool(_gap(case, flight, other, np.array([begin]))[0] <= TOGETHER_M)


def _back_again(case: Case, flight: Flight, other: Flight | tuple[float, int], counted: float, end: float) -> float:
    """When two that started together come nearer again, once they were outside the separation."""
    limit = case.separation or 10e3
    start = flight.count_from if not isinstance(other, Flight) else max(flight.count_from, other.count_from)
    times = np.unique([*np.linspace(start, end, 40_000), counted])
    apart = _gap(case, flight, other, times)
    if np.any(apart[times < counted] >= limit) or apart[times == counted][0] >= limit:
        return counted
    outside = np.flatnonzero((apart >= limit) & (times >= counted))
    falling = np.flatnonzero(np.diff(apart[outside[0] :]) < 0.0) if outside.size else outside
    return float(times[outside[0] + falling[0]]) if falling.size else math.inf


def _closest(case: Case, flight: Flight, other: Flight | tuple[float, int], begin: float, end: float) -> float:
    """Least distance between a flight and another one, or a craft on the ring by its angle at the epoch and plane."""

    def gap(times: Vector) -> Vector:
        return _gap(case, flight, other, times)

    shortest = min(
        [case.period, *(period(case.gm, arc.position, arc.velocity) for arc in flight.arcs)], default=case.period
    )
    count = max(16, math.ceil((end - begin) / shortest * SAMPLES_A_TURN))
    edges = {begin, end, *(arc.start for arc in flight.arcs), *(arc.end for arc in flight.arcs)}
    times = np.unique([*np.linspace(begin, end, count), *(t for t in edges if begin <= t <= end)])
    apart = gap(times)
    least = float(apart.min())
    padded = np.concatenate([[np.inf], apart, [np.inf]])
    low = np.nonzero((apart <= padded[:-2]) & (apart <= padded[2:]) & (apart < least + 0.05 * case.radius))[0]
    for i in (int(index) for index in low):
        left, right = times[max(i - 1, 0)], times[min(i + 1, times.size - 1)]
        for _ in range(6):
            fine = np.linspace(float(left), float(right), 21)
            near = gap(fine)
            at = int(np.argmin(near))
            least = min(least, float(near[at]))
            left, right = fine[max(at - 1, 0)], fine[min(at + 1, 20)]
    return least


def _all_of(other: Flight | tuple[float, int]) -> Hashable:
    """Everything that a flight is made of, or the place of a craft on the ring, as a key."""
    if not isinstance(other, Flight):
        return other
    arcs = [(arc.start, arc.end, *arc.position, *arc.velocity) for arc in (*other.arcs, other.settled)]
    return (other.start, other.in_place_from, other.count_from, *arcs)


def _least(case: Case, flight: Flight, other: Flight | tuple[float, int], counted: float, end: float) -> float:
    """Least distance of a flight to another one from a time on, from where it counts; infinite where it never does."""
    if counted < end and _start_together(case, flight, other):
        counted = _back_again(case, flight, other, counted, end)
    return _closest(case, flight, other, counted, end) if counted < end else math.inf


def _distances(
    case: Case, slot0_deg: float, flights: list[tuple[Flight, Mapping[str, Any]]], found: list[str], met: Met
) -> list[str]:
    """Broken separations; what is stated of the closest approach and is untrue goes to ``found``."""
    broken = []
    for flight, item in flights:
        name = flight.craft.name
        if not item["burns"]:
            continue
        begin, end = flight.count_from, float(item["burns"][-1]["time_s"])
        least, whom = math.inf, ""
        others: list[tuple[str, Flight | tuple[float, int], float]] = [
            (who, (math.radians(angle), plane), -math.inf) for who, angle, plane in _staying(case, slot0_deg)
        ]
        others += [(o.craft.name, o, o.in_place_from) for o, _ in flights if o is not flight]
        for who, other, since in others:
            counted = max(begin, since)
            pair = (_all_of(flight), _all_of(other), counted, end)
            apart = met[pair] if pair in met else _least(case, flight, other, counted, end)
            met[pair] = apart
            if apart < least:
                least, whom = apart, who
        if case.separation > 0.0 and least < case.separation - DISTANCE_M:
            broken.append(f"{name} comes within {least / 1e3} km of {whom}, separation {case.separation / 1e3} km")
        stated = item["closest_km"]
        if stated is not None and not math.isinf(least) and least / 1e3 < stated - 0.05 - 1e-3 * stated:
            found.append(
                f"{name}: closest stated {stated} km to {item['closest_to']}, flown {least / 1e3} km to {whom}"
            )
        if stated is None and not math.isinf(least):
            found.append(f"{name}: somebody is in place during its flight ({whom}), no closest approach is stated")
    return broken


def printed(key: str, value: float) -> float:
    """A value as it is printed: to 0.1 m/s and 0.1 kg, times to the minute."""
    return float(round(value / 60.0)) if key == "finish_s" else round(value, 1)


def _ranks(case: Case, plans: list[Mapping[str, Any]]) -> list[str]:
    found = []
    if [plan["rank"] for plan in plans] != list(range(1, len(plans) + 1)):
        found.append(f"ranks are {[plan['rank'] for plan in plans]}")

    def better(one: Mapping[str, Any], two: Mapping[str, Any]) -> str | None:
        """The measure in which ``one`` beats ``two`` as printed, those before it being equal."""
        for key in GOALS[case.minimize]:
            if one[key] is None or two[key] is None:
                continue
            a, b = printed(key, one[key]), printed(key, two[key])
            if a != b:
                return key if a < b else None
        return None

    for early, late in pairwise(plans):
        key = better(late, early)
        # a plan outside its limits stands behind every one within
        if key is not None and early["within_limits"] == late["within_limits"]:
            found.append(f"plan {late['rank']} is better than plan {early['rank']} in {key}")
        if late["within_limits"] and not early["within_limits"]:
            found.append(f"plan {early['rank']} breaks limits and stands before plan {late['rank']}")
    return found


def _front(result: Mapping[str, Any]) -> list[str]:
    found: list[str] = []
    front = result["front"]
    plans = {plan["rank"]: plan for plan in result["plans"]}
    if not front:
        return ["there are plans and no front"]
    for early, late in pairwise(front):
        if late["finish_s"] <= early["finish_s"]:
            found.append(f"front is not sorted by finish at {late['finish_s']} s")
        if printed("finish_s", late["finish_s"]) == printed("finish_s", early["finish_s"]):
            found.append(f"front point at {late['finish_s']} s prints as no later than the one before")
        if printed("delta_v_m_s", late["delta_v_m_s"]) >= printed("delta_v_m_s", early["delta_v_m_s"]):
            found.append(f"front point at {late['finish_s']} s is later and prints as no cheaper")
    for point in front:
        plan = plans.get(point["plan"])
        if point["kind"] not in ("step", "slope", "curve"):
            found.append(f"front point at {point['finish_s']} s is of kind {point['kind']!r}")
        if plan is None:
            found.append(f"front point at {point['finish_s']} s names plan {point['plan']}, which is not there")
            continue
        if (
            abs(plan["delta_v_m_s"] - point["delta_v_m_s"]) > SUM_M_S
            or abs(plan["finish_s"] - point["finish_s"]) > TIME_S
        ):
            found.append(f"front point at {point['finish_s']} s is not plan {point['plan']}")
        for other in result["plans"]:
            if not other["within_limits"]:
                continue
            pairs = [(printed(key, other[key]), printed(key, point[key])) for key in ("delta_v_m_s", "finish_s")]
            if all(a <= b for a, b in pairs) and any(a < b for a, b in pairs):
                found.append(f"front point at {point['finish_s']} s is beaten by plan {other['rank']}")
    return found


def _proof(case: Case, result: Mapping[str, Any]) -> list[str]:
    proof = result["proof"]
    if proof is None:
        return ["there are plans and no word on what was proved"]
    aim = GOALS[case.minimize][0]
    values = [plan[aim] for plan in result["plans"]]
    found = []
    if proof["status"] not in ("optimal", "bounded"):
        found.append(f"proof is {proof['status']!r}")
    if proof["bound"] is not None and proof["bound"] > min(values) + 2e-6:
        found.append(f"the bound {proof['bound']} lies above a plan at {min(values)}")
    bound = proof["bound"]
    alike = bound is None or math.isinf(bound) or printed(aim, values[0]) == printed(aim, bound)
    if proof["status"] == "optimal" and not alike and not proof.get("flown_differs_by"):
        found.append(f"called optimal, the bound {proof['bound']} lies below plan 1 at {values[0]} as printed")
    return found
