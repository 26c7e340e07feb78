"""At which pass each craft leaves its carrier, into which slot and by how many revolutions: every choice tried.

Plain loops, two bodies, from memory: Kepler's third law and the vis-viva equation (Vallado, Fundamentals of
Astrodynamics and Applications, 4th ed., sections 1.3 and 2.3). That craft leave a carrier one after another: common
practice, no source.
"""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

from ringwright.cli import main
from ringwright.models.errors import InputError
from ringwright.tests.tolerances import CENTISECOND_S, FOUR_DECIMALS
from ringwright.tests.worlds import TESSALY_BODY

from ..planned import SCENARIOS, planned, scenario_of
from .printed_flight import fly_printed

GM, BODY, RING, LOW = 9.1205e12, 1.21e6, 3.61e6, 1.71e6
TURN = math.tau * math.sqrt(RING**3 / GM)
CIRCLE = math.sqrt(GM / RING)
FLOOR = BODY + 102e3
SEMI = 0.5 * (LOW + RING)
TOUCH_S = 540.0 + math.pi * math.sqrt(SEMI**3 / GM)
"""Ascent, and half a turn up to the ring."""
TOUCH_DEG = -38.0 + 18.0 + 180.0
PASSES, REVOLUTIONS = 6, 3
OFF_DEG = 0.01
SHARE_OFF = 0.005
"""Of the dearest plan: what the bulge leaves between two-body burns and flown ones."""
LEVEL_RAD = 1e-8


@dataclass(frozen=True)
class Trip:
    """One way of one craft into one slot: the pass it leaves at, when, what it pays and when it is there."""

    number: int
    left_s: float
    cost: float
    there_s: float


def text(
    count: int,
    slots: int,
    able: float,
    apart_h: float = 0.0,
    passes: int = PASSES,
    ahead: float = 0.0,
    changes: int = 0,
) -> str:
    """A world with a site on its equator and one launch, at the epoch; slot 0 is ahead on arrival, deg."""
    names = [f"Bead {number}" for number in range(count)]
    listed = ", ".join(f'"{name}"' for name in names)
    craft = "".join(f'[[craft]]\nname = "{name}"\n' for name in names)
    return f"""
title = "One after another"
{TESSALY_BODY}[ring]
altitude_km = 2400.0
slots = {slots}
slot0_deg = {TOUCH_DEG + ahead - 360.0 * TOUCH_S / TURN!r}
[limits]
clearance_km = 40.0
revolutions_max = {REVOLUTIONS}
separation_km = 0.0
[launch]
latitude_deg = 0.0
longitude_deg = -38.0
ascent_min = 9.0
downrange_deg = 18.0
until_h = 0.0
turnaround_h = 50.0
insertion = {{ periapsis_km = 500.0, apoapsis_km = 2400.0 }}
[[carrier]]
name = "Thread"
craft = [{listed}]
delta_v_m_s = {able!r}
passes_max = {passes}
between_drops_h = {apart_h!r}
changes_max = {changes}
{craft}
"""


def at_ring(period: float) -> float:
    """Speed at the ring of an orbit that touches it."""
    return math.sqrt(GM * (2.0 / RING - 1.0 / semi_of(period)))


def semi_of(period: float) -> float:
    """Semi-major axis."""
    return float((GM * (period / math.tau) ** 2) ** (1.0 / 3.0))


Leaving = list[tuple[float, float]]
"""The passes of a carrier: when, and with which speed craft leave on each."""


def trips(slots: int, leaving: Leaving, slot: int, ahead: float) -> list[Trip]:
    """Every trip into a slot from a carrier, slot 0 being ahead at the first touch, deg."""
    found = []
    for number, (left, speed) in enumerate(leaving):
        lead = math.remainder(math.tau * (slot / slots + ahead / 360.0 + (left - TOUCH_S) / TURN), math.tau)
        if abs(lead) < LEVEL_RAD:
            found.append(Trip(number, left, abs(CIRCLE - speed), left))
            lead = 0.0
        for k, m in itertools.product(range(1, REVOLUTIONS + 1), range(12)):
            own = (m - lead / math.tau) / k * TURN
            if own <= 0.0 or abs(own / TURN - 1.0) < 1e-9 or 2.0 * semi_of(own) - RING < FLOOR:
                continue
            mid = at_ring(own)
            found.append(Trip(number, left, abs(mid - speed) + abs(CIRCLE - mid), left + k * own))
    return found


def least(rows: list[list[Trip]], count: int, until: float, apart: float) -> float:
    """The least sum of craft in separate slots, done until then, any two drops so far apart."""
    best: dict[tuple[int, int], Trip] = {}
    for slot, listed in enumerate(rows):
        for one in listed:
            key = (slot, one.number)
            if one.there_s <= until + 1e-6 and (key not in best or one.cost < best[key].cost):
                best[key] = one
    left_s = {one.number: one.left_s for one in best.values()}

    @cache
    def onward(number: int, used: frozenset[int], last: int) -> float:
        if len(used) == count:
            return 0.0
        if number > PASSES:
            return math.inf
        found = onward(number + 1, used, last)
        if number in left_s and (last < 0 or left_s[number] - left_s[last] >= apart - 1e-6):
            for slot in range(len(rows)):
                if slot not in used and (slot, number) in best:
                    more = onward(number if apart == 0.0 else number + 1, used | {slot}, number)
                    found = min(found, best[slot, number].cost + more)
        return found

    return onward(0, frozenset(), -1)


def flights(slots: int, able: float, changes: int) -> list[Leaving]:
    """Every carrier flight: in one orbit that it can get to, or from one into another nearer to the ring's."""
    arrival = math.sqrt(GM * (2.0 / RING - 1.0 / SEMI))
    orbits = [(arrival, math.tau * math.sqrt(SEMI**3 / GM))]
    shares = {p / slots for p in range(1, 2 * slots + 1) if p != slots}
    # between the two next to the ring also those that bring a slot on every second or third pass
    shares |= {1.0 + part / (2 * slots) for part in (-1, 1)} | {1.0 + part / (3 * slots) for part in (-2, -1, 1, 2)}
    for share in sorted(shares):
        period = share * TURN
        if 2.0 * semi_of(period) - RING >= FLOOR:
            orbits.append((at_ring(period), period))
    found = [
        [(TOUCH_S + number * period, speed) for number in range(PASSES + 1)]
        for speed, period in orbits
        if abs(speed - arrival) <= able
    ]
    if not changes:
        return found
    for (one, every), (other, then) in itertools.permutations(orbits, 2):
        nearer = abs(other - CIRCLE) < abs(one - CIRCLE) - 1e-6
        if not nearer or abs(one - arrival) + abs(other - one) > able:
            continue
        for change in range(1, PASSES + 1):
            before = [(TOUCH_S + number * every, one) for number in range(change)]
            begun = TOUCH_S + change * every
            found.append([*before, *((begun + number * then, other) for number in range(PASSES + 1 - change))])
    return found


def front(
    count: int, slots: int, able: float, apart: float, ahead: float, changes: int = 0
) -> list[tuple[float, float]]:
    """Finishes and least sums, of every carrier flight."""
    points: list[tuple[float, float]] = []
    for leaving in flights(slots, able, changes):
        rows = [trips(slots, leaving, slot, ahead) for slot in range(slots)]
        ends = sorted({round(one.there_s, 6) for listed in rows for one in listed})
        points += [(until, least(rows, count, until, apart)) for until in ends]
    found: list[tuple[float, float]] = []
    for until, total in sorted(points):
        if total < math.inf and (not found or total < found[-1][1] - 1e-6):
            found.append((until, total))
    return found


@pytest.mark.parametrize(
    ("count", "slots", "able", "apart", "ahead"),
    [
        (3, 4, 400.0, 0.0, 0.0),
        (4, 5, 0.0, 0.0, 0.0),
        (3, 4, 400.0, 0.1 * TURN, 30.0),
        (3, 4, 400.0, 1.3 * TURN, 20.0),
        (3, 3, 900.0, 0.9 * TURN, 50.0),
        (2, 3, 0.0, 1.7 * TURN, -40.0),
        (4, 4, 150.0, 0.5 * TURN, 45.0),
        (3, 5, 100.0, 1.0 * TURN, 10.0),
    ],
)
def test_no_choice_of_passes_slots_and_revolutions_is_better(
    count: int, slots: int, able: float, apart: float, ahead: float
) -> None:
    found = planned(text(count, slots, able, apart / 3600.0, ahead=ahead))
    shown = [(point["finish_s"], point["delta_v_m_s"]) for point in found["front"]]
    expected = front(count, slots, able, apart, ahead)
    assert len(shown) == len(expected) > 0
    for (finish, total), (until, sum_m_s) in zip(shown, expected, strict=True):
        assert total == pytest.approx(sum_m_s, abs=FOUR_DECIMALS)
        assert finish == pytest.approx(until, abs=CENTISECOND_S)
    gaps = [
        late["time_s"] - early["time_s"]
        for plan in found["plans"]
        for bus in plan.get("carriers", [])
        for early, late in itertools.pairwise(bus["drops"])
    ]
    assert min(gaps) >= apart - CENTISECOND_S


@pytest.mark.soak
@pytest.mark.parametrize(
    ("count", "slots", "able", "apart", "ahead"),
    [(3, 3, 330.0, 0.5 * TURN, 30.0), (2, 3, 330.0, 1.2 * TURN, 0.0), (2, 3, 350.0, 0.0, -15.0)],
)
def test_no_change_of_orbit_between_drops_is_better(
    count: int, slots: int, able: float, apart: float, ahead: float
) -> None:
    found = planned(text(count, slots, able, apart / 3600.0, ahead=ahead, changes=1))
    shown = [(point["finish_s"], point["delta_v_m_s"]) for point in found["front"]]
    expected = front(count, slots, able, apart, ahead, changes=1)
    assert len(shown) == len(expected) > 1
    for (finish, total), (until, sum_m_s) in zip(shown, expected, strict=True):
        assert total == pytest.approx(sum_m_s, abs=FOUR_DECIMALS)
        assert finish == pytest.approx(until, abs=CENTISECOND_S)
    # some of it no carrier comes to that keeps to one orbit
    kept = front(count, slots, able, apart, ahead)
    assert any(all(until > finish or total > least + 1.0 for until, total in kept) for finish, least in expected)


@pytest.mark.soak
def test_a_change_of_orbit_is_flown_from_what_is_printed_over_the_bulge() -> None:
    scenario = text(3, 3, 330.0, 4.0, changes=1)
    scenario = scenario.replace("radius_km = 1210.0", "radius_km = 1210.0\nj2 = 0.002")
    scenario = re.sub("slot0_deg = .*", 'slot0_deg = "free"', scenario)
    found = planned(scenario)
    changing = [bus for plan in found["plans"] for bus in plan["carriers"] if "then" in bus]
    assert changing
    for bus in changing:
        then = bus["then"]
        touches = [drop["touch"] for drop in bus["drops"]]
        assert 1 < then["from_touch"] <= touches[-1]
        assert then["periapsis_km"] > bus["periapsis_km"]
        assert bus["delta_v_m_s"] <= 330.0 + FOUR_DECIMALS
        change = bus["first_touch_s"] + (then["from_touch"] - 1) * bus["touch_every_s"]
        assert bus["burns"][-1]["time_s"] == pytest.approx(change, abs=CENTISECOND_S)
        for drop in bus["drops"]:
            late = drop["touch"] - then["from_touch"]
            at = change + late * (then["touch_every_s"] if late > 0 else bus["touch_every_s"])
            assert drop["time_s"] == pytest.approx(at, abs=CENTISECOND_S)
    plans = found["plans"]
    assert plans
    for plan in plans:
        assert plan["within_limits"]
        assert all(abs(part["flown"]["slot_error_deg"]) < OFF_DEG for part in plan["craft"])
    ended = fly_printed(scenario, found)
    assert ended
    for one in ended:
        assert one.miss_deg < OFF_DEG, one
        assert abs(one.off_plane_deg - one.said_off_plane_deg) < OFF_DEG, one


@pytest.mark.soak
def test_a_change_out_of_the_orbit_that_a_carrier_came_by_is_flown_as_it_was_planned() -> None:
    """That orbit brings no slot to the touching point, so the new one brings none there either; it has its period."""
    scenario = (SCENARIOS / "shared-ride.toml").read_text(encoding="utf-8")
    scenario = scenario.replace("delta_v_m_s = 900.0", "delta_v_m_s = 900.0\nchanges_max = 1")
    found = planned(scenario + "\n[forces]\nfurther = false\n")
    changing = [plan for plan in found["plans"] if any("then" in bus for bus in plan.get("carriers", ()))]
    assert changing
    assert found["proof"]["flown_differs_by"] < SHARE_OFF * max(plan["delta_v_m_s"] for plan in changing)
    ended = fly_printed(scenario, found)
    assert len(ended) == 6 * len(found["plans"])
    for one in ended:
        assert one.miss_deg < OFF_DEG, one


def test_leaving_at_several_passes_is_cheaper_than_all_at_one() -> None:
    """One revolution is allowed: who is dropped far from its slot has to hurry there, unless it rides on."""
    several, together = (
        planned(text(4, 4, 400.0, passes=passes, ahead=45.0).replace("revolutions_max = 3", "revolutions_max = 1"))
        for passes in (PASSES, 0)
    )
    touches = [
        [drop["touch"] for drop in one["plans"][0]["carriers"][0]["drops"]] if one["plans"] else []
        for one in (several, together)
    ]
    assert len(set(touches[0])) == 4
    assert set(touches[1]) == {1}
    assert several["plans"][0]["delta_v_m_s"] < 0.6 * together["plans"][0]["delta_v_m_s"]


@pytest.mark.parametrize(
    ("able", "apart_h", "touches"),
    [
        (215.0, 0.0, [1, 2, 3, 4]),
        pytest.param(215.0, 4.0, [1, 3, 5, 7], marks=pytest.mark.soak),
        (250.0, 4.0, [1, 3, 5, 7]),
    ],
)
def test_flown_from_what_is_printed_over_the_bulge(able: float, apart_h: float, touches: list[int]) -> None:
    """Who is dropped as its slot comes by needs no phasing, though the ring's period is not that of two bodies."""
    scenario = text(4, 5, able, apart_h, passes=9).replace("radius_km = 1210.0", "radius_km = 1210.0\nj2 = 0.002")
    scenario = re.sub("slot0_deg = .*", 'slot0_deg = "free"', scenario)
    found = planned(scenario)
    [bus] = found["plans"][0]["carriers"]
    assert [drop["touch"] for drop in bus["drops"]] == touches
    craft = found["plans"][0]["craft"]
    assert any(part["side"] == "level" and part["passes"] > 1 for part in craft)
    if able == 215.0:
        assert all(part["side"] == "level" for part in craft)
    ended = fly_printed(scenario, found)
    assert ended
    for one in ended:
        assert one.miss_deg < OFF_DEG, one
        assert abs(one.off_plane_deg - one.said_off_plane_deg) < OFF_DEG, one


def test_screen_and_sheet_say_at_which_pass_each_leaves(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file, scenario = tmp_path / "thread.toml", text(2, 3, 330.0, 1.2 * TURN / 3600.0, changes=1)
    scenario += '[goal]\nminimize = "finish"\n'
    file.write_text(scenario, encoding="utf-8")
    assert main(["plan", str(file)]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "between drops of the carrier" in shown
    assert main(["sheet", str(file)]) == 0
    sheets = " ".join(capsys.readouterr().out.split())
    [bus] = planned(scenario)["plans"][0]["carriers"]
    assert len({drop["touch"] for drop in bus["drops"]}) == 2
    assert f"From touch {bus['then']['from_touch']} on: " in shown
    for part in planned(scenario)["plans"][0]["craft"]:
        assert f"touch {part['passes'] + 1} of the ring" in sheets
    for drop in bus["drops"]:
        assert drop["touch"] - 1 == next(
            part["passes"] for part in planned(scenario)["plans"][0]["craft"] if part["craft"] == drop["craft"]
        )


def test_more_craft_than_such_loads_are_found_for_are_refused() -> None:
    with pytest.raises(InputError, match=r"11 drops of 'Thread' a time apart.*10 craft on one carrier at most"):
        scenario_of(text(11, 12, 400.0, 1.0))
