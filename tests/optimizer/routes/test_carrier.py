"""Carriers in plans, against a separate computation: residue classes, Kepler, vis-viva, every choice tried.

Formulas from memory: Kepler's third law and vis-viva (Vallado, Fundamentals of Astrodynamics and Applications, 4th ed.,
sections 1.3 and 2.3); whole numbers that have no common divisor run through all residues (Hardy and Wright, An
Introduction to the Theory of Numbers, theorem 57). That a carrier drops craft pass by pass: common practice, no source.
"""

from __future__ import annotations

import itertools
import math
from importlib import resources
from typing import Any

import pytest

from ringwright.models.errors import InputError
from ringwright.optimizer.catalogue.catalogue import catalogue
from ringwright.optimizer.problem.ring_phase import problems
from ringwright.optimizer.studies.strategies import strategies
from ringwright.reports.understood import understood
from ringwright.tests.tolerances import (
    CENTISECOND_S,
    COSINE_RAD,
    EXACT,
    FLOAT_M_S,
    FLOAT_RAD,
    FOUR_DECIMALS,
    MILLISECOND_S,
    ROADS_REL,
    SUMMED_M_S,
    UNSEEN_M_S,
    WRITTEN_DEG,
)
from ringwright.tests.worlds import TESSALY_BODY

from ...planned import planned, scenario_of

GM = 9.1205e12
BODY_M = 1.21e6
RING_M = BODY_M + 2.4e6
TURN_S = 2.0 * math.pi * math.sqrt(RING_M**3 / GM)
CIRCULAR = math.sqrt(GM / RING_M)
DAY_S = 19.5 * 3600.0


def world(
    *,
    names: tuple[str, ...] = ("Sorrel", "Tansy", "Yarrow", "Bryony"),
    slots: int = 4,
    low_km: float = 110.0,
    high_km: float = 2400.0,
    carriers: str = "",
    limits: str = "",
    launch: str = "",
    masses: str = "",
    revolutions: int = 4,
    ring: str = 'slot0_deg = "free"',
) -> str:
    """A world of our own with a site on its equator, and craft that are alike."""
    craft = "".join(f'[[craft]]\nname = "{name}"\n{masses}\n' for name in names)
    return f"""
title = "By carrier"
{TESSALY_BODY}[ring]
altitude_km = 2400.0
slots = {slots}
{ring}
[limits]
clearance_km = 40.0
revolutions_max = {revolutions}
{limits}
[launch]
name = "Fell"
latitude_deg = 0.0
longitude_deg = -38.0
ascent_min = 9.0
downrange_deg = 18.0
insertion = {{ periapsis_km = {low_km!r}, apoapsis_km = {high_km!r}, altitude_km = {max(low_km, 110.0)!r} }}
{launch}
{carriers}
{craft}
"""


def carrier(names: tuple[str, ...], delta_v: float, name: str = "Pannier", more: str = "") -> str:
    listed = ", ".join(f'"{one}"' for one in names)
    return f'[[carrier]]\nname = "{name}"\ncraft = [{listed}]\ndelta_v_m_s = {delta_v!r}\n{more}\n'


def at_ring(period_s: float) -> float:
    """Speed at the ring of an orbit that touches it, by its period."""
    semi = (GM * (period_s / (2.0 * math.pi)) ** 2) ** (1.0 / 3.0)
    return math.sqrt(GM * (2.0 / RING_M - 1.0 / semi))


def arrival_speed(low_km: float) -> float:
    semi = 0.5 * (BODY_M + low_km * 1e3 + RING_M)
    return math.sqrt(GM * (2.0 / RING_M - 1.0 / semi))


FOUR = ("Sorrel", "Tansy", "Yarrow", "Bryony")


def low_of(share: float) -> float:
    """Altitude, km, of the other apsis of an orbit that touches the ring with that share of its period."""
    return float((2.0 * RING_M * share ** (2.0 / 3.0) - RING_M - BODY_M) * 1e-3)


def test_inserted_into_its_drop_orbit_a_carrier_and_single_launches_pay_alike() -> None:
    low = low_of(3.0 / 4.0)
    riding = planned(world(low_km=low, carriers=carrier(FOUR, 0.0), launch="turnaround_h = 900.0\nuntil_h = 100.0"))
    # four that are launched at one moment are in one place, which counts as too near
    alone = planned(world(low_km=low, launch="until_h = 0.0", limits="separation_km = 0.0"))
    own = CIRCULAR - at_ring(0.75 * TURN_S)
    for found in (riding, alone):
        for item in found["plans"][0]["craft"]:
            assert item["delta_v_m_s"] == pytest.approx(own, abs=SUMMED_M_S)
    assert {item["route"] for item in riding["plans"][0]["craft"]} == {"carrier"}
    assert riding["plans"][0]["delta_v_m_s"] == pytest.approx(alone["plans"][0]["delta_v_m_s"], abs=UNSEEN_M_S)
    [bus] = riding["plans"][0]["carriers"]
    assert bus["delta_v_m_s"] == pytest.approx(0.0, abs=FLOAT_M_S)


@pytest.mark.parametrize("parking", [False, True])
def test_raised_from_below_carrier_and_craft_account_for_every_meter_a_second(parking: bool) -> None:
    whole = CIRCULAR - arrival_speed(110.0)
    if parking:
        low = BODY_M + 110.0e3
        whole += math.sqrt(2.0 * GM / low - 2.0 * GM / (low + RING_M)) - math.sqrt(GM / low)
    # enough for 3/4 of the ring's period, not for 5/4, from which the craft would have to brake
    able = whole - (CIRCULAR - at_ring(0.75 * TURN_S)) + 20.0
    high = 110.0 if parking else 2400.0
    found = planned(world(high_km=high, carriers=carrier(FOUR, able), launch="until_h = 0.0\nturnaround_h = 50.0"))
    plan = found["plans"][0]
    [bus] = plan["carriers"]
    for item in plan["craft"]:
        assert bus["delta_v_m_s"] + item["delta_v_m_s"] == pytest.approx(whole, abs=UNSEEN_M_S)
    # the carrier goes as near to the ring's own period as whole slots allow: the craft pay the least that is left
    assert bus["period_s"] == pytest.approx(0.75 * TURN_S, rel=ROADS_REL)


def test_drops_run_through_the_slots_in_their_order() -> None:
    names = ("A", "B", "C", "D", "E")
    launch = "until_h = 0.0\nturnaround_h = 50.0"
    found = planned(world(names=names, slots=5, carriers=carrier(names, 900.0), revolutions=1, launch=launch))
    plan = next(p for p in found["plans"] if all(c["side"] == "level" for c in p["craft"]))
    [bus] = plan["carriers"]
    skips = next(q for q in (1, 2, 3) if abs(math.remainder(bus["period_s"] / TURN_S * 5 * q, 1.0)) < ROADS_REL)
    step = round(bus["period_s"] / TURN_S * 5 * skips)
    assert bus["period_s"] == pytest.approx(step / (5 * skips) * TURN_S, rel=ROADS_REL)
    slot = {c["craft"]: c["slot"] for c in plan["craft"]}
    first = slot[bus["drops"][0]["craft"]]
    for drop in bus["drops"]:
        number = drop["touch"] - 1
        assert number % skips == 0
        assert slot[drop["craft"]] == (first - step * number // skips) % 5
        later_s = number * step / (5 * skips) * TURN_S
        assert drop["time_s"] == pytest.approx(bus["first_touch_s"] + later_s, abs=MILLISECOND_S)
    assert sorted(slot.values()) == list(range(5))
    # it finds the first slot again a whole round later
    assert bus["open_duty"]["meets_s"] == pytest.approx(bus["first_touch_s"] + step * TURN_S, abs=MILLISECOND_S)
    for item in plan["craft"]:
        assert abs(item["flown"]["slot_error_deg"]) < WRITTEN_DEG


def choices(speed: float, lead: float, revolutions_max: int, floor_m: float) -> list[tuple[float, float]]:
    """Every (delta-v, wait) of one craft dropped with that speed, its slot so far ahead."""
    found = []
    if abs(lead) < FLOAT_RAD:
        found.append((abs(CIRCULAR - speed), 0.0))
    for k in range(1, revolutions_max + 1):
        for m in range(0, 14):
            period = (m - lead / (2.0 * math.pi)) / k * TURN_S
            if period <= 0.0 or abs(period / TURN_S - 1.0) < EXACT:
                continue
            semi = (GM * (period / (2.0 * math.pi)) ** 2) ** (1.0 / 3.0)
            if 2.0 * semi - RING_M < floor_m:
                continue
            phasing = at_ring(period)
            found.append((abs(phasing - speed) + abs(CIRCULAR - phasing), k * period))
    return found


def front_of_all(delta_v: float, count: int, slots: int) -> list[tuple[float, float]]:
    """The least total delta-v under every finish, of one liftoff at the epoch; every choice of every craft tried."""
    floor_m = BODY_M + 102.0e3
    low = BODY_M + 110.0e3
    semi = 0.5 * (low + RING_M)
    shape = (RING_M - low) / (RING_M + low)
    anomaly = 0.0  # inserted at the periapsis
    coast = math.pi * math.sqrt(semi**3 / GM)
    touch = 540.0 + coast
    arrival = arrival_speed(110.0)
    assert shape > 0.0
    assert anomaly == 0.0
    # the first arrival decides where the ring stands: slot 0 is at the touching point
    orbits = [(arrival, 2.0 * math.pi * math.sqrt(semi**3 / GM))]
    shares = [(p, 1) for p in range(1, 3 * slots)]
    shares += [(q * slots + part, q) for q in (2, 3) for part in range(1 - q, q) if math.gcd(part, q) == 1]
    for p, q in shares:
        period = p / (q * slots) * TURN_S
        other = 2.0 * (GM * (period / (2.0 * math.pi)) ** 2) ** (1.0 / 3.0) - RING_M
        if p != q * slots and other >= floor_m and abs(at_ring(period) - arrival) <= delta_v and p <= 2 * q * slots:
            orbits.append((at_ring(period), period))
    totals: list[tuple[float, float]] = []
    for speed, period in orbits:
        rows: dict[int, list[tuple[float, float]]] = {s: [] for s in range(slots)}
        for s, j in itertools.product(range(slots), range(13)):
            lead = math.remainder(2.0 * math.pi * (s / slots + j * period / TURN_S), 2.0 * math.pi)
            lead = 0.0 if abs(lead) < COSINE_RAD else lead
            rows[s] += [(v, touch + j * period + w) for v, w in choices(speed, lead, 4, floor_m)]
        for finish in sorted({round(f, 6) for listed in rows.values() for _, f in listed}):
            least = sorted(min((v for v, f in rows[s] if f <= finish + 1e-6), default=math.inf) for s in range(slots))
            if least[count - 1] < math.inf:
                totals.append((finish, sum(least[:count])))
    totals.sort()
    front: list[tuple[float, float]] = []
    for finish, total in totals:
        if not front or total < front[-1][1] - 1e-6:
            front.append((finish, total))
    return front


@pytest.mark.parametrize(("delta_v", "count", "slots"), [(400.0, 4, 4), (0.0, 4, 4), (150.0, 2, 3), (900.0, 3, 3)])
def test_front_of_one_carrier_is_that_of_every_choice_tried(delta_v: float, count: int, slots: int) -> None:
    names = FOUR[:count]
    text = world(
        names=names,
        slots=slots,
        carriers=carrier(names, delta_v),
        launch="until_h = 0.0\nturnaround_h = 50.0",
        limits="separation_km = 0.0",
    )
    found = planned(text)
    shown = [(point["finish_s"], point["delta_v_m_s"]) for point in found["front"]]
    expected = front_of_all(delta_v, count, slots)
    assert len(shown) == len(expected)
    for (finish, total), (time_s, least) in zip(shown, expected, strict=True):
        assert total == pytest.approx(least, abs=FOUR_DECIMALS)
        assert finish == pytest.approx(time_s, abs=CENTISECOND_S)


@pytest.mark.soak
def test_craft_in_place_are_not_passed_by_the_carrier() -> None:
    ring = 'slot0_deg = 0.0\n[[ring.occupied]]\nname = "Campion"\nslot = 1'
    found = planned(world(names=FOUR[:3], carriers=carrier(FOUR[:3], 400.0), ring=ring, launch="turnaround_h = 90.0"))
    plan = found["plans"][0]
    assert plan["carriers"]
    for bus in plan["carriers"]:
        for number in range(max(drop["touch"] for drop in bus["drops"])):
            time_s = bus["first_touch_s"] + number * bus["touch_every_s"]
            drop = bus["drops"][0]
            item = next(c for c in plan["craft"] if c["craft"] == drop["craft"])
            here = item["slot"] / 4 + drop["time_s"] / TURN_S - item["lead_deg"] / 360.0
            there = 1 / 4 + time_s / TURN_S
            assert abs(math.remainder(here - there, 1.0)) * 2.0 * math.pi * RING_M > 10e3
    assert all(item["slot"] != 1 for item in plan["craft"])


def test_two_carriers_fill_one_ring() -> None:
    loads = carrier(FOUR[:2], 400.0) + carrier(FOUR[2:], 400.0, name="Creel")
    found = planned(world(carriers=loads, launch="turnaround_h = 10.0\nuntil_h = 15.0"))
    plan = found["plans"][0]
    assert sorted(bus["carrier"] for bus in plan["carriers"]) == ["Creel", "Pannier"]
    assert sorted(item["slot"] for item in plan["craft"]) == [0, 1, 2, 3]
    early, late = sorted(bus["launch_s"] for bus in plan["carriers"])
    assert late - early >= 10.0 * 3600.0 - 1e-3
    assert plan["within_limits"]


def test_from_an_orbit_that_falls_back_everybody_leaves_at_the_first_touch() -> None:
    found = planned(world(low_km=-300.0, carriers=carrier(FOUR, 0.0), launch="turnaround_h = 900.0\nuntil_h = 100.0"))
    plan = found["plans"][0]
    [bus] = plan["carriers"]
    assert {drop["touch"] for drop in bus["drops"]} == {1}
    assert all(item["must_burn"] for item in plan["craft"])
    assert bus["open_duty"]["re_enters"]
    assert plan["within_limits"]


def test_a_load_that_cannot_be_lifted_is_launched_craft_by_craft() -> None:
    masses = "dry_mass_kg = 200.0\npropellant_kg = 150.0\nisp_s = 300.0"
    heavy = world(
        names=FOUR[:2],
        slots=3,
        carriers=carrier(FOUR[:2], 400.0, more="mass_kg = 1400.0"),
        masses=masses,
        launch="payload_kg = 2101.0\nuntil_h = 0.0",
    )
    assert planned(heavy)["plans"][0]["carriers"]
    with pytest.raises(InputError, match=r"less than the mass of carrier 'Pannier' with all its craft, 2 ?100 kg"):
        scenario_of(heavy.replace("payload_kg = 2101.0", "payload_kg = 2099.0"))


@pytest.mark.parametrize(
    ("carriers", "said"),
    [
        (carrier((*FOUR, "Nettle"), 1.0), "names 'Nettle', which is no craft"),
        (carrier(("Tansy",), 1.0) + carrier(("Tansy",), 1.0, name="Creel"), "aboard Pannier already"),
        (carrier(("Tansy",), 1.0) + carrier(("Yarrow",), 1.0), "taken by another carrier"),
        (carrier(("Tansy",), 1.0, more='pads = ["Moor"]'), "which is no launch site"),
    ],
)
def test_carriers_that_contradict_the_rest_are_refused(carriers: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        scenario_of(world(carriers=carriers))


def test_strategies_compare_carriers_with_a_launch_each() -> None:
    names = [s.name for s in strategies(scenario_of(world(carriers=carrier(FOUR, 400.0))))]
    assert {"by carrier", "a launch each"} <= set(names)
    assert not {"by carrier", "a launch each"} & {s.name for s in strategies(scenario_of(world()))}


def shared_ride() -> str:
    return (resources.files("ringwright.scenarios") / "shared-ride.toml").read_text(encoding="utf-8")


def worst(plan: dict[str, Any], what: str) -> float:
    return max(abs(float(item["flown"][what])) for item in plan["craft"])


def test_shared_ride_is_flown_within_its_tolerances() -> None:
    scenario = scenario_of(shared_ride())
    found = planned(shared_ride())
    assert found["model"]["gravity"] == "j2"
    assert found["plans"][0]["carriers"]
    for plan in found["plans"]:
        assert plan["within_limits"], plan["broken"]
        assert worst(plan, "slot_error_deg") < math.degrees(scenario.ring.tolerance_rad)
        assert worst(plan, "plane_error_deg") < math.degrees(scenario.ring.tilt_tolerance_rad)
        assert worst(plan, "period_error_s") < 1e-6 * found["ring"]["period_s"]


def test_its_catalogue_has_no_load_in_part() -> None:
    [problem] = problems(scenario_of(shared_ride()))
    options = catalogue(problem).options
    bundled = options.take(options.bundle >= 0)
    assert len(bundled) == 6 * bundled.first_row.size
    assert all(len(set(bundled.slot[first : first + 6].tolist())) == 6 for first in bundled.first_row.tolist())


def test_what_was_understood_tells_of_carriers_and_upper_stages() -> None:
    launch = "until_h = 5.0\nupper_stage = { delta_v_m_s = 700.0, lasts_h = 9.0 }"
    more = "passes_max = 7\nlasts_h = 30.0\nmass_kg = 80.0"
    text = understood(scenario_of(world(carriers=carrier(FOUR, 321.0, more=more), launch=launch)), 100)
    said = " ".join(text.split())
    assert "Pannier: carries Sorrel, Tansy, Yarrow and Bryony, all of them or none; burns up to 321 m/s" in said
    assert "within 7 passes" in said
    assert "80 kg without its craft" in said
    assert "an upper stage pays the first 700 m/s after the insertion, for 9 h" in said
