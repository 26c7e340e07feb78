"""Craft of one carrier that turn into other planes than its own: every pass, phasing and sharing of the turn tried.

Vectors and plain loops, two bodies. Each burn by the law of cosines of the speeds before and after and the angle that
it turns (Vallado, Fundamentals of Astrodynamics and Applications, 4th ed., section 6.4, combined plane change). That
craft of a carrier turn into other planes: common practice, no source.
"""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from ringwright.models.ring import Ring
from ringwright.optimizer.routes.carrier_turns import crossing_rad, turns
from ringwright.tests.tolerances import FLOAT_RAD, MILLISECOND_S, UNSEEN_M_S, WRITTEN_RAD
from ringwright.tests.worlds import TESSALY_BODY

from ..planned import planned
from .printed_flight import fly_printed
from .test_carrier_drops import (
    CIRCLE,
    FLOOR,
    GM,
    LEVEL_RAD,
    REVOLUTIONS,
    RING,
    TURN,
    Trip,
    flights,
    least,
)

Vector = NDArray[np.float64]

FOLDS = 160
"""Shares of the turn in the burns at the drop, each way."""
SHARES = np.linspace(0.0, 1.0, 11)
"""Of these the share in the first burn."""
GRID_M_S = 0.05
"""How far the least of these grids is off the least of all."""
OFF_DEG = 0.01
LEFT = 0.1
"""Of a turn in the burns at the drop, what the bulge leaves for the one by itself."""
SIZES_REL = 1e-3
"""Turns at the drop are planned for burns along the track of a few sizes: that leaves so much."""


def text(
    *,
    slots: int = 1,
    count: int = 2,
    ready: float = 0.0,
    until: float = 40.0,
    ring: str = "",
    body: str = "",
    able: float = 400.0,
    low: str = "500.0, apoapsis_km = 2400.0",
) -> str:
    """A world with a site that passes through two planes of a ring, and one launch."""
    names = [f"Shuttle {number}" for number in range(count)]
    listed = ", ".join(f'"{name}"' for name in names)
    craft = "".join(f'[[craft]]\nname = "{name}"\n' for name in names)
    return f"""
title = "Two planes, one launch"
{TESSALY_BODY}{body}[ring]
altitude_km = 2400.0
slots = {slots}
planes = 2
spread_deg = 20.0
inclination_deg = 40.0
{ring or "slot0_deg = 10.0"}
[limits]
clearance_km = 40.0
revolutions_max = {REVOLUTIONS}
separation_km = 0.0
finish_within_d = 4.0
[launch]
latitude_deg = 20.0
longitude_deg = -38.0
ascent_min = 9.0
downrange_deg = 18.0
ready_h = {ready}
until_h = {until}
turnaround_h = 500.0
insertion = {{ periapsis_km = {low} }}
[[carrier]]
name = "Weft"
craft = [{listed}]
delta_v_m_s = {able!r}
passes_max = 6
{craft}
"""


def axes(plane: int) -> tuple[Vector, Vector, Vector]:
    """Of a plane of that ring: the ascending node, a quarter turn ahead, and the pole."""
    lean, node = math.radians(40.0), math.radians(10.0 * plane)
    first = np.array([math.cos(node), math.sin(node), 0.0])
    pole = np.array([math.sin(lean) * math.sin(node), -math.sin(lean) * math.cos(node), math.cos(lean)])
    return first, np.cross(pole, first), pole


def law(before: Vector | float, after: Vector | float, angle: Vector) -> Vector:
    """The law of cosines."""
    return np.sqrt(np.maximum(np.square(before) + np.square(after) - 2.0 * before * after * np.cos(angle), 0.0))


def trips(leaving: list[tuple[float, float]], touch: Vector, pole: Vector, plane: int, ahead_deg: float) -> list[Trip]:
    """Every trip from a carrier in a plane with that pole into a slot, which stands there at time 0."""
    first, second, other = axes(plane)
    rate, whole = math.tau / TURN, math.acos(min(float(pole @ other), 1.0))
    fold = np.linspace(-whole, whole, 2 * FOLDS + 1) if whole > 1e-9 else np.zeros(1)
    turned = np.cos(fold)[:, None] * pole + np.sin(fold)[:, None] * np.cross(touch, pole)
    line = np.cross(turned, other)
    size = np.linalg.norm(line, axis=1)
    line = np.where(size[:, None] > 1e-9, line / np.maximum(size, 1e-30)[:, None], touch)
    rest = np.arctan2(size, turned @ other)
    swept = np.arctan2(np.sum(line * np.cross(turned, touch), axis=1), line @ touch)
    after = np.where(size > 1e-9, np.remainder(swept, math.pi), 0.0) / rate
    # the slot comes by where planes cross at such times, a turn apart
    at_line = (np.arctan2(line @ second, line @ first) - math.radians(ahead_deg)) / rate
    there = at_line - swept / rate
    found = []
    for number, (left, speed) in enumerate(leaving):
        short = np.remainder(there - left, TURN)
        if whole <= 1e-9 and min(short[0], TURN - short[0]) * rate < LEVEL_RAD:
            found.append(Trip(number, left, abs(CIRCLE - speed), left))
        for k, m in itertools.product(range(1, REVOLUTIONS + 1), range(12)):
            own = (short + m * TURN) / k
            fine = (own > 0.1 * TURN) & (np.abs(own / TURN - 1.0) > 1e-9)
            semi = np.cbrt(GM * np.square(own / math.tau))
            fine &= 2.0 * semi - RING >= FLOOR
            if not fine.any():
                continue
            mid = np.sqrt(GM * np.maximum(2.0 / RING - 1.0 / np.maximum(semi, 0.51 * RING), 0.0))
            part = SHARES[:, None] * fold
            cost = law(speed, mid, part) + law(mid, CIRCLE, fold - part) + 2.0 * CIRCLE * np.sin(0.5 * rest)
            cost = np.where(fine, cost.min(axis=0), np.inf)
            best = int(np.argmin(cost))
            found.append(Trip(number, left, float(cost[best]), float(left + k * own[best] + after[best])))
    return found


def exhaustive(result: dict[str, Any], slots: int, able: float, until: list[float]) -> list[float]:
    """The least sums of craft in all slots, done until then, by the carrier at the printed liftoff."""
    craft = result["plans"][0]["craft"][0]
    place, speed = np.array(craft["insertion_position_km"]), np.array(craft["insertion_velocity_m_s"])
    pole = np.cross(place, speed)
    pole /= np.linalg.norm(pole)
    first_s = result["plans"][0]["carriers"][0]["first_touch_s"]
    listed = []
    for leaving in flights(slots, able, 0):
        moved = [(time - leaving[0][0] + first_s, own) for time, own in leaving]
        listed.append(
            [
                trips(moved, -place / np.linalg.norm(place), pole, plane, 10.0 + slot * 360.0 / slots)
                for plane in (0, 1)
                for slot in range(slots)
            ]
        )
    return [min(least(rows, 2 * slots, end, 0.0) for rows in listed) for end in until]


def _turned(part: dict[str, Any]) -> bool:
    """Whether a craft is in another plane than its carrier was launched into."""
    return bool(part.get("launch_plane", part["plane"]) != part["plane"])


@pytest.mark.parametrize("slots", [1, pytest.param(2, marks=pytest.mark.soak)])
def test_no_pass_phasing_or_sharing_of_the_turn_is_better(slots: int) -> None:
    result = planned(text(slots=slots, count=2 * slots, ready=3.8, until=4.2))
    front = result["front"]
    expected = exhaustive(result, slots, 400.0, [point["finish_s"] + MILLISECOND_S for point in front])
    assert len(front) > 2
    for point, total in zip(front, expected, strict=True):
        assert point["delta_v_m_s"] <= total * (1.0 + SIZES_REL) + GRID_M_S
    assert front[-1]["delta_v_m_s"] == pytest.approx(expected[-1], abs=GRID_M_S)
    best = result["plans"][0]
    assert {part["plane"] for part in best["craft"]} == {0, 1}
    [bus] = best["carriers"]
    assert bus["delta_v_m_s"] <= 400.0
    for part in best["craft"]:
        last = part["burns"][-1]
        assert (abs(last["cross_m_s"]) > 1.0) == _turned(part)
        assert part["in_slot_s"] == pytest.approx(last["time_s"], abs=MILLISECOND_S)


@pytest.mark.parametrize(
    "low", ["500.0, apoapsis_km = 2400.0", pytest.param("500.0, apoapsis_km = 500.0", marks=pytest.mark.soak)]
)
def test_flown_from_what_is_printed_over_the_bulge(low: str) -> None:
    """From a parking orbit the carrier comes to the ring where the planes cross, and the turn is in the burns there."""
    scenario = text(
        ring="slot0_deg = 10.0\ntilt_tolerance_deg = 0.3", body="j2 = 0.002\n", ready=3.8, until=4.2, low=low, slots=1
    )
    result = planned(scenario)
    plans = result["plans"]
    assert plans
    for plan in plans:
        assert plan["within_limits"]
        assert {part["plane"] for part in plan["craft"]} == {0, 1}
        turned = [part for part in plan["craft"] if _turned(part)]
        assert len(turned) == 1
        # turned for good, whatever tilt is allowed
        assert turned[0]["flown"]["plane_error_deg"] < OFF_DEG
        assert abs(turned[0]["flown"]["slot_error_deg"]) < OFF_DEG
    if "apoapsis_km = 500.0" in low:
        [first] = [part for part in plans[0]["craft"] if _turned(part)]
        along, across = (math.fsum(abs(burn[key]) for burn in first["burns"]) for key in ("along_m_s", "cross_m_s"))
        assert abs(first["burns"][-1]["cross_m_s"]) < LEFT * across
        assert first["delta_v_m_s"] < 0.8 * (along + across)
    ended = fly_printed(scenario, result)
    assert ended
    for one in ended:
        assert one.miss_deg < OFF_DEG, one
        assert abs(one.off_plane_deg - one.said_off_plane_deg) < OFF_DEG, one


def _over_the_earth(angle: float) -> tuple[Ring, float]:
    """A ring at the altitude of the example in two planes that lie so far apart, and where they cross in the first."""
    lean = math.radians(60.0)
    node = 2.0 * math.asin(math.sin(0.5 * angle) / math.sin(lean))
    gm, radius = 3.986004415e14, 42158.1363e3
    rate = math.sqrt(gm / radius**3)
    ring = Ring(
        radius_m=radius,
        slots=3,
        rate_rad_s=rate,
        slot0_rad=0.4,
        gm=gm,
        inclination_rad=lean,
        planes=2,
        spread_rad=2.0 * node,
    )
    return ring, crossing_rad(ring, 0, 1)


@pytest.mark.parametrize("half", [0.0, math.pi])
def test_dropped_where_planes_cross_the_turn_is_a_combined_plane_change(half: float) -> None:
    """Vallado, Example 6-7: from 191 km to 35 780 km, 26.9050385 deg turned at the upper apsis for 1802.2162931 m/s."""
    turn = math.radians(26.9050385)
    ring, crossing = _over_the_earth(turn)
    low = 6378.1363e3 + 191e3
    arrival = math.sqrt(ring.gm * (2.0 / ring.radius_m - 2.0 / (ring.radius_m + low)))
    made = turns(ring, 0, 1, np.array([crossing + half]), arrival, oblate=False)
    assert float(made.least_m_s[0]) == pytest.approx(1802.2162931, abs=UNSEEN_M_S)
    assert abs(float(made.fold_rad[0])) == pytest.approx(turn, abs=FLOAT_RAD)
    assert float(made.rest_rad[0]) == pytest.approx(0.0, abs=WRITTEN_RAD)
    assert float(made.ahead_rad[0]) == 0.0


@pytest.mark.parametrize("off_deg", [5.0, 40.0, 90.0])
def test_dropped_elsewhere_the_turn_costs_between_one_burn_and_two(off_deg: float) -> None:
    """Between the combined plane change and the plane change of a circle by itself, Vallado, Example 6-4."""
    turn = math.radians(15.0)
    ring, crossing = _over_the_earth(turn)
    arrival = 0.9 * ring.speed_m_s
    made = turns(ring, 0, 1, np.array([crossing + math.radians(off_deg)]), arrival, oblate=False)
    combined = float(law(arrival, ring.speed_m_s, np.array(turn)))
    apart = 0.1 * ring.speed_m_s + 2.0 * ring.speed_m_s * math.sin(0.5 * turn)
    assert combined < float(made.least_m_s[0]) <= apart + UNSEEN_M_S
    # a quarter turn off, turning at the drop only tilts the plane out of reach
    assert (abs(float(made.fold_rad[0])) < WRITTEN_RAD) == (off_deg == 90.0)
