"""Every option of one craft by brute force, in plain loops: slow, readable, and sharing nothing with the catalogue.

Speeds by vis-viva, periods by Kepler's third law. A craft that is at the ring point when its slot is ahead by L meets
the slot there after w = (2 pi m - L) / n; k whole revolutions of a phasing orbit of period w / k take it there.
Parking: Hohmann's transfer leaves when the slot is ahead by pi - n t_H.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from .kepler_flight import anomaly_on_the_way_up, time_to_apoapsis
from .small_reader import Case, Craft, Insertion, Pad

G0 = 9.80665
LEVEL = 1e-10
"""A lead below this many radians needs no phasing: a millimeter on a ring of 10 000 km."""
TOUCH_M = 1.5
"""An apsis this near the ring radius touches it."""


@dataclass(frozen=True)
class Option:
    """One way of one craft to one slot. Times in s, radii in m; ``burns`` are (time, along) pairs."""

    craft: str
    slot: int
    route: str
    side: str
    passes: int
    revolutions: int
    ring_revolutions: int
    liftoff: float | None
    insertion: str | None
    wait: float
    ring_arrival: float
    finish: float
    phasing_period: float | None
    other_apsis: float | None
    must_burn: bool
    insertion_periapsis: float | None
    burns: tuple[tuple[float, float], ...]

    @property
    def delta_v(self) -> float:
        """Sum of the burns, m/s."""
        return sum(abs(along) for _, along in self.burns)


@dataclass(frozen=True)
class Arrival:
    """A craft at the ring point: when, where, with which speed, on which orbit, after how many earlier passes."""

    time: float
    angle: float
    speed: float
    periapsis: float
    apoapsis: float
    passes: int


def orbit_period(gm: float, periapsis: float, apoapsis: float) -> float:
    """Period of an ellipse by its apsides, s."""
    return math.tau * math.sqrt((0.5 * (periapsis + apoapsis)) ** 3 / gm)


def speed_at(gm: float, radius: float, periapsis: float, apoapsis: float) -> float:
    """Speed at a radius of an ellipse, m/s (vis-viva)."""
    return math.sqrt(gm * (2.0 / radius - 2.0 / (periapsis + apoapsis)))


def wrapped(angle: float) -> float:
    """The same angle in (-pi, pi]; what is within ``LEVEL`` of nothing is nothing."""
    folded = math.pi - (math.pi - angle) % (2.0 * math.pi)
    return 0.0 if abs(folded) < LEVEL else folded


def slot_angle(case: Case, slot: int, slot0: float, time: float) -> float:
    """Argument of latitude of a slot, rad, not wrapped."""
    return slot0 + case.slot_at(slot) + case.rate * time


def delta_v_available(craft: Craft) -> float:
    """What a craft can spend besides its reserve, m/s (Tsiolkovsky); infinite where no masses are given."""
    if craft.dry is None or craft.propellant is None or craft.isp is None:
        return math.inf
    return craft.isp * G0 * math.log((craft.dry + craft.propellant) / craft.dry) - craft.reserve


def passes_of(case: Case, craft: Craft, until: float) -> Iterator[Arrival]:
    """Touches of the ring by a craft whose orbit touches it at an apsis, from its ready time on."""
    orbit = craft.orbit
    assert orbit is not None
    low, high = orbit.periapsis, orbit.apoapsis
    at_apoapsis = abs(high - case.radius) <= TOUCH_M
    touch_angle = orbit.angle
    touch_time = orbit.at_time
    turn = orbit_period(case.gm, low, high)
    if (orbit.at == "apoapsis") != at_apoapsis:
        touch_angle += math.pi
        touch_time += 0.5 * turn
    first = math.ceil((craft.ready - touch_time) / turn - 1e-12)
    j = 0
    while True:
        time = touch_time + (first + j) * turn
        if time > until or j > case.revolutions_max:
            return
        yield Arrival(time, touch_angle, speed_at(case.gm, case.radius, low, high), low, high, j)
        if low < case.floor or high > case.ceiling:
            return
        j += 1


def phase_from(case: Case, arrival: Arrival, slot: int, slot0: float) -> Iterator[tuple[int, int, float, float, float]]:
    """Every (k, m, period, other apsis, wait) that meets the slot within the limits; level is (0, 0, ...)."""
    lead = wrapped(slot_angle(case, slot, slot0, arrival.time) - arrival.angle)
    if lead == 0.0:
        yield 0, 0, case.period, case.radius, 0.0
    for k in range(1, case.revolutions_max + 1):
        m = 0
        while True:
            wait = (2.0 * math.pi * m - lead) / case.rate
            m += 1
            if wait <= 0.0:
                continue
            if wait > case.wait_within or arrival.time + wait > case.finish_within:
                break
            turn = wait / k
            semi = (case.gm * (turn / (2.0 * math.pi)) ** 2) ** (1.0 / 3.0)
            other = 2.0 * semi - case.radius
            if other > case.ceiling:
                break
            if other < case.floor:
                continue
            yield k, m - 1, turn, other, wait


def burns_from(case: Case, arrival: Arrival, k: int, other: float, wait: float) -> tuple[tuple[float, float], ...]:
    """The burns at the ring point: onto the phasing orbit and off it, or straight onto the ring."""
    if k == 0:
        return ((arrival.time, case.speed - arrival.speed),)
    phasing = speed_at(case.gm, case.radius, min(case.radius, other), max(case.radius, other))
    return (arrival.time, phasing - arrival.speed), (arrival.time + wait, case.speed - phasing)


def side_of(case: Case, k: int, turn: float) -> str:
    """Below, above, or level."""
    if k == 0:
        return "level"
    return "below" if turn < case.period else "above"


def _afford(craft: Craft, option: Option) -> bool:
    return option.delta_v <= delta_v_available(craft)


def _from_arrival(
    case: Case,
    craft: Craft,
    slot: int,
    slot0: float,
    arrival: Arrival,
    route: str,
    liftoff: float | None = None,
    insertion: str | None = None,
    wait: float = 0.0,
    before: tuple[tuple[float, float], ...] = (),
    must_burn: bool = False,
) -> Iterator[Option]:
    for k, m, turn, other, phasing_wait in phase_from(case, arrival, slot, slot0):
        option = Option(
            craft=craft.name,
            slot=slot,
            route=route,
            side=side_of(case, k, turn),
            passes=arrival.passes,
            revolutions=k,
            ring_revolutions=m,
            liftoff=liftoff,
            insertion=insertion,
            wait=wait,
            ring_arrival=arrival.time,
            finish=arrival.time + phasing_wait,
            phasing_period=turn if k else None,
            other_apsis=other if k else None,
            must_burn=must_burn,
            insertion_periapsis=None if insertion is None or route == "park" else arrival.periapsis,
            burns=before + burns_from(case, arrival, k, other, phasing_wait),
        )
        if option.finish <= case.finish_within and _afford(craft, option):
            yield option


def on_ring(case: Case, craft: Craft, slot: int, slot0: float) -> Iterator[Option]:
    """A craft on the ring itself."""
    orbit = craft.orbit
    assert orbit is not None
    ready = max(craft.ready, 0.0)
    angle = orbit.angle + case.rate * (ready - orbit.at_time)
    arrival = Arrival(ready, angle, case.speed, case.radius, case.radius, 0)
    for option in _from_arrival(case, craft, slot, slot0, arrival, "shift"):
        # burns of nothing are none: a craft in its slot already
        yield option if option.delta_v > 0.0 else _with_burns(option, ())


def _with_burns(option: Option, burns: tuple[tuple[float, float], ...]) -> Option:
    return Option(**{**option.__dict__, "burns": burns})


def touching(case: Case, craft: Craft, slot: int, slot0: float) -> Iterator[Option]:
    """A craft whose orbit touches the ring from below or above at an apsis, starting after j passes."""
    ring_arrival = None
    for arrival in passes_of(case, craft, case.finish_within):
        ring_arrival = arrival.time if ring_arrival is None else ring_arrival
        for option in _from_arrival(case, craft, slot, slot0, arrival, "shift"):
            if option.finish - ring_arrival <= case.wait_within:
                yield Option(**{**option.__dict__, "ring_arrival": ring_arrival})


def inserted(
    case: Case, craft: Craft, pad: Pad, insertion: Insertion, liftoff: float, slot: int, slot0: float
) -> Iterator[Option]:
    """Direct insertion onto an orbit whose apoapsis is on the ring; below the floor there is no second pass."""
    anomaly = anomaly_on_the_way_up(insertion.periapsis, insertion.apoapsis, insertion.radius)
    coast = time_to_apoapsis(case.gm, insertion.periapsis, insertion.apoapsis, anomaly)
    angle = case.site_angle(pad, liftoff) + pad.downrange + math.pi - anomaly
    first = liftoff + pad.ascent + coast
    turn = orbit_period(case.gm, insertion.periapsis, insertion.apoapsis)
    speed = speed_at(case.gm, case.radius, insertion.periapsis, insertion.apoapsis)
    suborbital = insertion.periapsis < case.floor
    for j in range(1 if suborbital else case.revolutions_max + 1):
        time = first + j * turn
        if time > case.finish_within or time - first > case.wait_within:
            return
        arrival = Arrival(time, angle, speed, insertion.periapsis, insertion.apoapsis, j)
        for option in _from_arrival(
            case,
            craft,
            slot,
            slot0,
            arrival,
            "direct",
            liftoff=liftoff,
            insertion=insertion.name,
            must_burn=suborbital,
        ):
            if option.finish - first <= case.wait_within:
                yield Option(**{**option.__dict__, "ring_arrival": first})


def parked(
    case: Case,
    craft: Craft,
    radius: float,
    time: float,
    angle: float,
    slot: int,
    slot0: float,
    liftoff: float | None = None,
    insertion: str | None = None,
    waits: tuple[float, ...] = (0.0,),
) -> Iterator[Option]:
    """From a circular parking orbit at ``angle`` at ``time``: wait for the slot, then Hohmann; or leave after ``waits``
    seconds and phase at the ring."""
    if radius < case.floor:
        return
    parking_rate = math.sqrt(case.gm / radius**3)
    half = 0.5 * orbit_period(case.gm, radius, case.radius)
    start = math.sqrt(case.gm / radius)
    away = speed_at(case.gm, radius, radius, case.radius) - start
    speed = speed_at(case.gm, case.radius, radius, case.radius)
    lead = slot_angle(case, slot, slot0, time) - angle
    exact: list[float] = []
    q = math.ceil(-(lead - (math.pi - case.rate * half)) / (2.0 * math.pi) - 1e-12)
    while True:
        wait = (lead - (math.pi - case.rate * half) + 2.0 * math.pi * q) / (parking_rate - case.rate)
        if time + wait + half > case.finish_within or len(exact) >= 2:
            break
        exact.append(max(0.0, wait))
        q += 1
    for wait in sorted({*exact, *waits}):
        leave = time + wait
        there = angle + parking_rate * wait + math.pi
        arrival = Arrival(leave + half, there, speed, radius, case.radius, 0)
        if arrival.time > case.finish_within:
            continue
        if wait in exact:
            # the wait was chosen so: what is left of the lead is rounding
            arrival = Arrival(arrival.time, slot_angle(case, slot, slot0, arrival.time), speed, radius, case.radius, 0)
        yield from _from_arrival(
            case,
            craft,
            slot,
            slot0,
            arrival,
            "park",
            liftoff=liftoff,
            insertion=insertion,
            wait=wait,
            before=((leave, away),),
        )


def from_space(
    case: Case, craft: Craft, slot: int, slot0: float, waits: tuple[float, ...] = (0.0,)
) -> Iterator[Option]:
    """Every option of a craft that is in space."""
    orbit = craft.orbit
    assert orbit is not None
    circular = abs(orbit.apoapsis - orbit.periapsis) <= 1.0
    if circular and abs(orbit.periapsis - case.radius) <= TOUCH_M:
        yield from on_ring(case, craft, slot, slot0)
    elif circular:
        time = max(craft.ready, 0.0)
        angle = orbit.angle + math.sqrt(case.gm / orbit.periapsis**3) * (time - orbit.at_time)
        yield from parked(case, craft, orbit.periapsis, time, angle, slot, slot0, waits=waits)
    else:
        yield from touching(case, craft, slot, slot0)


def from_ground(
    case: Case, craft: Craft, pad: Pad, liftoff: float, slot: int, slot0: float, waits: tuple[float, ...] = (0.0,)
) -> Iterator[Option]:
    """Every option of a craft that lifts off at one time, over the insertions of its pad."""
    for insertion in pad.insertions:
        if abs(insertion.apoapsis - insertion.periapsis) <= 1.0:
            time = liftoff + pad.ascent
            angle = case.site_angle(pad, liftoff) + pad.downrange
            yield from parked(
                case,
                craft,
                insertion.radius,
                time,
                angle,
                slot,
                slot0,
                liftoff=liftoff,
                insertion=insertion.name,
                waits=waits,
            )
        else:
            yield from inserted(case, craft, pad, insertion, liftoff, slot, slot0)


def meets(case: Case, option: Option, arrival_angle: float, others: list[float]) -> bool:
    """Whether a phasing craft, at one of its returns to the ring, is nearer than the separation to someone there.

    Args:
        case: the scenario.
        option: the option, with its first ring burn at ``option.finish`` less the phasing revolutions.
        arrival_angle: argument of latitude of the ring point, rad.
        others: arguments of latitude at time 0 of who is in the ring already.
    """
    if option.phasing_period is None:
        return False
    first = option.finish - option.revolutions * option.phasing_period
    for touch in range(option.revolutions + 1):
        time = first + touch * option.phasing_period
        for other in others:
            apart = wrapped(other + case.rate * time - arrival_angle)
            if 2.0 * case.radius * abs(math.sin(0.5 * apart)) < case.separation:
                return True
    return False
