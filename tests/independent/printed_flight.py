"""Flies what a result prints, over the body as it is: from the site at the printed liftoff, on the printed azimuth.

Reads the scenario's text and the JSON result only. Where a craft ends is compared with where the result says it ends.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ringwright.tests.tolerances import SUMMED_S, UNSEEN_M_S

from .kepler_flight import anomaly_on_the_way_up, push, state_on_ellipse, tilted
from .oblate_flight import Array, Oblate, axes
from .small_reader import Case, Craft, Insertion, Pad, read_case

ON_RING_M = 1000.0
"""An apsis this near to the ring is meant to touch it: files round."""

POINTS, WEIGHTS = np.polynomial.legendre.leggauss(40)
"""Where a turn is examined for its mean, on (-1, 1), and the weights, which add up to 2."""

PLANAR_RAD = 2e-3
"""An oblate body bends the plane of a parking orbit by less than this within a turn: 3/4 J2 about the Earth."""


@dataclass(frozen=True)
class Ended:
    """Where one craft of one plan ended: mean over a ring turn of how far it is ahead of its slot, and as it was said.

    ``off_plane_deg`` is the angle between the mean of its poles and that of the ring.
    """

    rank: int
    craft: str
    slot_error_deg: float
    said_deg: float
    off_plane_deg: float
    said_off_plane_deg: float

    @property
    def miss_deg(self) -> float:
        """By how much the result is wrong about it."""
        return abs(_fold(self.slot_error_deg - self.said_deg))


@dataclass(frozen=True)
class Begun:
    """One flight as printed: where it starts, and the burns."""

    start: float
    state: Array
    burns: tuple[tuple[float, float, float, float], ...]
    in_slot: float
    plane: int
    slot: int


def _fold(angle: float) -> float:
    return float(180.0 - (180.0 - angle) % 360.0)


def fly_printed(text: str, result: Mapping[str, Any]) -> list[Ended]:
    """Fly every craft of every plan; craft that are flown alike in several plans are flown once.

    A plan that was corrected for further forces than the bulge is left out: see `forced_flight.py`.
    """
    case = read_case(text, body=result["body"])
    body = Oblate(case.gm, case.j2, case.j2_radius)
    craft = {one.name: one for one in case.craft}
    flights: dict[_Key, Begun] = {}
    named: list[tuple[int, Mapping[str, Any], _Key]] = []
    for plan in result["plans"]:
        if plan["rank"] == 1 and len(result["model"]["forces"]["flown"]) > 1:
            continue
        carriers = {bus["carrier"]: bus for bus in plan.get("carriers", [])}
        for item in plan["craft"]:
            carried = carried_by(carriers[item["carrier"]], item["craft"]) if item["carrier"] else []
            flight = begun(case, body, craft[item["craft"]], item, carried)
            slot0 = float(plan.get("slot0_deg", result["ring"]["slot0_deg"]))
            key = (flight.start, flight.state.tobytes(), flight.burns, flight.plane, flight.slot, flight.in_slot, slot0)
            flights[key] = flight
            named.append((plan["rank"], item, key))
    landed = _land(case, body, [key[-1] for key in flights], list(flights.values()))
    ends = dict(zip(flights, landed, strict=True))
    return [
        Ended(
            plan_rank,
            item["craft"],
            ends[key][0],
            item["flown"]["slot_error_deg"],
            ends[key][1],
            item["flown"]["plane_error_deg"],
        )
        for plan_rank, item, key in named
    ]


_Key = tuple[float, bytes, tuple[tuple[float, float, float, float], ...], int, int, float, float]
"""What makes a flight and where it is to end; the last is where slot 0 stands at the epoch, deg."""


def carried_by(bus: Mapping[str, Any], craft: str) -> list[Mapping[str, Any]]:
    """The burns of a carrier that a craft is still aboard for: who is dropped on a pass leaves after the burn there."""
    [dropped] = [float(drop["time_s"]) for drop in bus["drops"] if drop["craft"] == craft]
    return [burn for burn in bus["burns"] if float(burn["time_s"]) <= dropped + SUMMED_S]


def begun(case: Case, body: Oblate, craft: Craft, item: Mapping[str, Any], carried: Any) -> Begun:
    """The flight of a craft of a plan, ``carried`` being the burns of its carrier."""
    if craft.orbit is None:
        pad = next(pad for pad in case.pads if pad.name == item["pad"] or len(case.pads) == 1)
        way = next((way for way in pad.insertions if way.name == item["insertion"]), pad.insertions[0])
        start, state = _inserted(case, body, pad, way, item)
    else:
        start, state = _in_space(case, body, craft)
    burns = tuple(
        (burn["time_s"], burn["radial_m_s"], burn["along_m_s"], burn["cross_m_s"])
        for burn in (*carried, *item["burns"])
    )
    return Begun(start, state, burns, float(item["in_slot_s"]), int(item["plane"]), int(item["slot"]))


def _inserted(case: Case, body: Oblate, pad: Pad, way: Insertion, item: Mapping[str, Any]) -> tuple[float, Array]:
    """From the site at liftoff, along the printed azimuth, by the downrange angle, onto the insertion's ellipse."""
    liftoff, azimuth = float(item["launch_s"]), math.radians(float(item["azimuth_deg"]))
    site = np.array(case.site_direction(pad, liftoff))
    east = np.array([-site[1], site[0], 0.0]) / math.hypot(site[0], site[1])
    heading = math.sin(azimuth) * east + math.cos(azimuth) * np.cross(site, east)
    frame = np.stack([site, heading, np.cross(site, heading)])
    apoapsis = case.radius if abs(way.apoapsis - case.radius) <= ON_RING_M else way.apoapsis
    circular = way.apoapsis - way.periapsis <= 1.0
    low, high = (way.radius, way.radius) if circular else (way.periapsis, apoapsis)
    r, v = state_on_ellipse(case.gm, low, high, anomaly_on_the_way_up(low, high, way.radius), pad.downrange)
    state = np.concatenate([r @ frame, v @ frame])
    printed = np.array([*item["insertion_position_km"], *item["insertion_velocity_m_s"]])
    printed[:3] *= 1e3
    assert abs(item["insertion_s"] - liftoff - pad.ascent) < SUMMED_S, "insertion is not an ascent after the liftoff"
    speed = float(np.linalg.norm(printed[3:]))
    said = item["insertion_speed_m_s"]
    assert abs(speed - said) < UNSEEN_M_S, f"{said} m/s said, {speed} printed"
    apart = max(
        float(np.linalg.norm(printed[:3] - state[:3])) / way.radius,
        float(np.linalg.norm(printed[3:] - state[3:])) / speed,
    )
    # what parks over an oblate body keeps its height on the mean: its state is printed, and near what the site gives
    bent = PLANAR_RAD if circular and body.j2 else 1e-8
    assert apart < bent, f"{item['craft']}: the insertion printed is off what site and azimuth give by {apart} rad"
    return float(item["insertion_s"]), printed if circular and body.j2 else state


def _in_space(case: Case, body: Oblate, craft: Craft) -> tuple[float, Array]:
    orbit = craft.orbit
    assert orbit is not None
    _, node_rate = body.rates(case.radius, case.inclination)
    node = case.node_of(orbit.plane) + node_rate * orbit.at_time
    if orbit.at is None:
        # circles keep their height on the mean
        radius = case.radius if abs(orbit.periapsis - case.radius) <= ON_RING_M else orbit.periapsis
        return orbit.at_time, np.concatenate(body.in_place(radius, orbit.angle, case.inclination, node))
    low, high = (case.radius if abs(r - case.radius) <= ON_RING_M else r for r in (orbit.periapsis, orbit.apoapsis))
    r, v = state_on_ellipse(case.gm, low, high, math.pi if orbit.at == "apoapsis" else 0.0, orbit.angle)
    return orbit.at_time, np.concatenate([tilted(r, case.inclination, node), tilted(v, case.inclination, node)])


def _land(case: Case, body: Oblate, slot0_deg: list[float], flights: list[Begun]) -> list[tuple[float, float]]:
    """How far ahead of its slot each is over the first ring turn after its last burn, and off the plane, deg."""
    states = np.array([one.state for one in flights])
    now = np.array([one.start for one in flights])
    for number in range(max((len(one.burns) for one in flights), default=0)):
        burning = [i for i, one in enumerate(flights) if len(one.burns) > number]
        times = np.array([flights[i].burns[number][0] for i in burning])
        states[burning] = body.fly(states[burning], now[burning], times)
        now[burning] = times
        for i in burning:
            states[i, 3:] = push(states[i, :3], states[i, 3:], *flights[i].burns[number][1:])
    rate, node_rate = body.rates(case.radius, case.inclination)
    turn = 2.0 * math.pi / rate
    idle = [i for i, one in enumerate(flights) if not one.burns]
    if idle:
        there = np.array([max(flights[i].in_slot, now[i]) for i in idle])
        states[idle], now[idle] = body.fly(states[idle], now[idle], there), there
    fractions = 0.5 * (POINTS + 1.0)
    paths = body.fly(states, now, now + turn, fractions)
    out = []
    for one, slot0, begun, path in zip(flights, slot0_deg, now.tolist(), paths, strict=True):
        times = begun + turn * fractions
        plane = [axes(case.inclination, case.node_of(one.plane) + node_rate * time) for time in times.tolist()]
        x, y = (np.array([p[:3] @ axis[k] for p, axis in zip(path, plane, strict=True)]) for k in (0, 1))
        poles = np.cross(path[:, :3], path[:, 3:])
        poles /= np.linalg.norm(poles, axis=1)[:, np.newaxis]
        lean = [0.5 * float(WEIGHTS @ [p @ axis[k] for p, axis in zip(poles, plane, strict=True)]) for k in range(3)]
        slot = math.radians(slot0) + case.slot_at(one.slot) + case.ahead_of(one.plane)
        ahead = np.unwrap(np.arctan2(y, x) - slot - rate * times)
        mean = math.degrees(0.5 * float(WEIGHTS @ ahead))
        out.append((_fold(mean), math.degrees(math.atan2(math.hypot(lean[0], lean[1]), lean[2]))))
    return out
