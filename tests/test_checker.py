"""The checker itself: it passes results made by hand from enumerated options, and catches every tampering."""

from __future__ import annotations

import copy
import itertools
import math
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest

from ringwright.tests.tolerances import FLOAT_REL

from .independent.enumeration import Option, from_ground, from_space, meets, slot_angle
from .independent.hand_result import Result, craft_item, plan_of, result_of
from .independent.plan_checker import check
from .independent.scenario_maker import Draft, in_larger_units, make, with_limit, write_toml
from .independent.small_reader import Case, Craft, read_case

TWO_CRAFT: Draft = {
    "title": "Two relays over Tessaly",
    "body": {
        "name": "Tessaly",
        "gm_km3_s2": 9120.5,
        "radius_km": 1210.0,
        "atmosphere_top_km": 62.0,
        "sidereal_day_h": 19.5,
        "prime_meridian_deg": 12.0,
    },
    "ring": {
        "altitude_km": 1400.0,
        "slots": 4,
        "slot0_deg": 30.0,
        "occupied": [{"name": "Rowan", "slot": 2}],
    },
    "limits": {
        "clearance_km": 20.0,
        "finish_within_d": 3.0,
        "wait_within_h": 40.0,
        "revolutions_max": 6,
        "apoapsis_max_km": 4000.0,
        "separation_km": 10.0,
    },
    "launch": {
        "latitude_deg": 0.0,
        "longitude_deg": -38.0,
        "ready_h": 0.5,
        "turnaround_h": 10.0,
        "ascent_min": 7.0,
        "downrange_deg": 12.0,
        "insertion": {"periapsis_km": -300.0, "apoapsis_km": 1400.0, "altitude_km": 110.0},
    },
    "craft": [
        {"name": "Birch", "dry_mass_kg": 310.0, "propellant_kg": 130.0, "isp_s": 312.0, "reserve_m_s": 15.0},
        {
            "name": "Cedar",
            "dry_mass_kg": 310.0,
            "propellant_kg": 130.0,
            "isp_s": 312.0,
            "orbit": {"periapsis_km": 1100.0, "apoapsis_km": 1400.0, "angle_deg": 203.0, "at": "apoapsis"},
        },
    ],
    "goal": {"minimize": "delta_v"},
}
LIFTOFFS = (9000.0, 47000.0)


def every_option(case: Case, craft: Craft, slot0: float, liftoffs: tuple[float, ...]) -> Iterator[Option]:
    """All options of one craft over all slots."""
    for slot in range(case.slots):
        if craft.orbit is not None:
            yield from from_space(case, craft, slot, slot0)
        else:
            for liftoff in liftoffs:
                yield from from_ground(case, craft, case.pads[0], liftoff, slot, slot0)


def parking_radius(case: Case, option: Option) -> float | None:
    """Radius of the parking orbit that an option starts from, if it does."""
    if option.route != "park":
        return None
    return next(way.radius for way in case.pads[0].insertions if way.name == option.insertion)


def two_craft_result() -> tuple[str, Result]:
    """A good result for ``TWO_CRAFT`` with a front of several plans: Birch from the pad, Cedar from space."""
    text = write_toml(TWO_CRAFT)
    case = read_case(text)
    assert case.slot0 is not None
    birch, cedar = case.craft
    there = slot_angle(case, 2, case.slot0, 0.0)

    def sound(craft: Craft, liftoffs: tuple[float, ...]) -> list[tuple[int, Result]]:
        assert case.slot0 is not None
        return [
            (option.slot, craft_item(case, craft, option))
            for option in every_option(case, craft, case.slot0, liftoffs)
            if option.slot != 2
            and option.revolutions >= 1
            and not meets(case, option, slot_angle(case, option.slot, case.slot0, option.finish), [there])
        ]

    pairs = itertools.product(sound(birch, LIFTOFFS), sound(cedar, ()))
    plans = [plan_of([item, other]) for (slot, item), (second, other) in pairs if slot != second]
    efficient: list[Result] = []
    for plan in sorted(plans, key=lambda plan: (plan["finish_s"], plan["delta_v_m_s"])):
        if not efficient or plan["delta_v_m_s"] < efficient[-1]["delta_v_m_s"] - 1.0:
            result = result_of(case, case.slot0, [copy.deepcopy(plan)])
            result["kept"] = [{"craft": "Rowan", "slot": 2, "error_deg": 0.0}]
            if not check(text, result):
                efficient.append(plan)
    result = result_of(case, case.slot0, [efficient[0], efficient[len(efficient) // 2], efficient[-1]])
    result["kept"] = [{"craft": "Rowan", "slot": 2, "error_deg": 0.0}]
    return text, result


TEXT, GOOD = two_craft_result()


def test_a_good_result_passes() -> None:
    assert len(GOOD["plans"]) >= 3
    assert check(TEXT, GOOD) == []


NO_OPTION = 4
"""The one of the first forty whose craft has no option at all."""


@pytest.mark.parametrize("number", sorted({*range(40)} - {NO_OPTION}))
def test_enumerated_options_fly_where_they_say(number: int) -> None:
    """Closed-form options against two-body flight, over worlds, rings, routes and limits."""
    draft = with_limit(make(number, crowd=1), "separation_m", 0.0)
    if draft["ring"]["slot0_deg"] == "free":
        draft["ring"]["slot0_deg"] = 17.0
    draft["ring"].pop("occupied", None)
    text = write_toml(draft)
    case = read_case(text)
    assert case.slot0 is not None
    (craft,) = case.craft
    start = max(craft.ready, case.pads[0].ready if case.pads else 0.0)
    options = list(every_option(case, craft, case.slot0, (start, start + 4321.0)))
    picked = np.random.default_rng(number).permutation(len(options))[:6]
    assert picked.size
    for option in (options[int(i)] for i in picked):
        item = craft_item(case, craft, option, parking_radius(case, option))
        result = result_of(case, case.slot0, [plan_of([item])])
        item["closest_km"] = None
        if draft["goal"]["minimize"] != "delta_v":
            result["proof"]["bound"] = -math.inf
            result["proof"]["status"] = "bounded"
        assert check(text, result) == [], option


def test_the_random_scenarios_are_of_many_kinds() -> None:
    """The maker must not collapse to one kind: each feature appears among the first hundred."""
    texts = [write_toml(make(number)) for number in range(100)]
    for feature in (
        "orbit = {",
        "[launch]",
        "periapsis_m = -",
        'name = "steep"',
        "[[ring.occupied]]",
        'slot0_deg = "free"',
        "wait_within_s",
        "apoapsis_max_m",
        "inclination_deg = 180.0",
        "sidereal_day_s = inf",
        "sidereal_day_s = -41000.0",
        'load = "least"',
        "ready_s",
        "at_s",
        "separation_m = 0.0",
    ):
        count = sum(feature in text for text in texts)
        assert count >= 3, feature
    assert {len(read_case(text).craft) for text in texts} == {1, 2, 3, 4}


@pytest.mark.parametrize("number", range(10))
def test_units_do_not_matter_to_the_reader(number: int) -> None:
    draft = make(number)
    one, two = read_case(write_toml(draft)), read_case(write_toml(in_larger_units(draft)))
    assert two.radius == pytest.approx(one.radius, rel=FLOAT_REL)
    assert two.floor == pytest.approx(one.floor, rel=FLOAT_REL)
    assert two.finish_within == pytest.approx(one.finish_within, rel=FLOAT_REL)
    for a, b in zip(one.craft, two.craft, strict=True):
        assert (a.isp, a.stay, a.least) == (b.isp, b.stay, b.least)
        assert a.reserve == pytest.approx(b.reserve, rel=FLOAT_REL)
        if a.orbit is not None and b.orbit is not None:
            assert a.orbit.angle == pytest.approx(b.orbit.angle, rel=FLOAT_REL)
            assert a.orbit.at_time == pytest.approx(b.orbit.at_time, rel=FLOAT_REL)


def _plan(result: Result) -> Result:
    plan: Result = result["plans"][0]
    return plan


def _birch(result: Result) -> Result:
    item: Result = _plan(result)["craft"][0]
    return item


def _cedar(result: Result) -> Result:
    item: Result = _plan(result)["craft"][1]
    return item


def _set(where: Callable[[Result], Any], key: Any, value: Any) -> Callable[[Result], None]:
    def change(result: Result) -> None:
        where(result)[key] = value

    return change


def _add(where: Callable[[Result], Any], key: Any, value: float) -> Callable[[Result], None]:
    def change(result: Result) -> None:
        where(result)[key] += value

    return change


def _swap_ranks(result: Result) -> None:
    one, two = result["plans"][:2]
    one["rank"], two["rank"] = 2, 1
    result["plans"][:2] = [two, one]
    for point in result["front"]:
        point["plan"] = {1: 2, 2: 1}.get(point["plan"], point["plan"])


def _drop_craft(result: Result) -> None:
    _plan(result)["craft"].pop()


def _no_front(result: Result) -> None:
    result["front"] = []


def _dominated_front(result: Result) -> None:
    worse = copy.deepcopy(result["plans"][-1])
    worse["rank"] = len(result["plans"]) + 1
    result["plans"].append(worse)
    result["plans"][-1]["delta_v_m_s"] += 5.0
    result["front"].insert(0, {**result["front"][0], "plan": worse["rank"]})


def _sooner_burn(result: Result) -> None:
    for burn in _birch(result)["burns"]:
        burn["time_s"] -= 60.0


TAMPERED: dict[str, tuple[Callable[[Result], None], str]] = {
    "a craft left out": (_drop_craft, "moves"),
    "one slot twice": (lambda r: _birch(r).update(slot=_cedar(r)["slot"]), "is sent to slot"),
    "an occupied slot": (_set(_cedar, "slot", 2), "where Rowan is"),
    "a slot that is not there": (_set(_cedar, "slot", 4), "of 4"),
    "another slot": (lambda r: _cedar(r).update(slot=6 - _cedar(r)["slot"] - _birch(r)["slot"] - 2), "deg from slot"),
    "a burn too large": (_add(lambda r: _cedar(r)["burns"][-1], "along_m_s", 0.5), "its parts make"),
    "a burn sideways": (_add(lambda r: _cedar(r)["burns"][-1], "cross_m_s", 0.5), "off the ring's velocity"),
    "a burn outward": (_add(lambda r: _cedar(r)["burns"][0], "radial_m_s", 5.0), "after burn 1"),
    "a burn a minute sooner": (_sooner_burn, "off the ring's velocity"),
    "a period misread": (_add(lambda r: _cedar(r)["burns"][0], "period_after_s", 1.0), "the period is"),
    "a periapsis misread": (_add(lambda r: _cedar(r)["burns"][0], "periapsis_after_km", 1.0), "periapsis is"),
    "an apoapsis misread": (_add(lambda r: _cedar(r)["burns"][0], "apoapsis_after_km", 1.0), "apoapsis is"),
    "delta-v of a craft": (_add(_cedar, "delta_v_m_s", 0.01), "burns add up to"),
    "delta-v of the plan": (_add(_plan, "delta_v_m_s", 0.01), "the craft add up to"),
    "the worst craft": (_add(_plan, "worst_delta_v_m_s", 0.01), "worst delta-v"),
    "the finish": (_add(_plan, "finish_s", -10.0), "finish is"),
    "the time in the slot": (_add(_cedar, "in_slot_s", -10.0), "in its slot at"),
    "propellant burnt": (_add(_birch, "propellant_kg", -1.0), "by the rocket equation"),
    "propellant left": (_add(_birch, "propellant_left_kg", 1.0), "its tank holds"),
    "propellant after a burn": (
        _add(lambda r: _birch(r)["burns"][0], "propellant_after_kg", 1.0),
        "kg are left after burn 1",
    ),
    "propellant of the plan": (_add(_plan, "propellant_kg", 1.0), "propellant is"),
    "a liftoff on another day": (_add(_birch, "launch_s", 86400.0), "deg from slot"),
    "a liftoff before the pad is ready": (_set(_birch, "launch_s", 100.0), "the pad is ready"),
    "the first touch of the ring": (_add(_birch, "ring_arrival_s", -500.0), "its radius is"),
    "the first touch of the ring, a pass late": (
        lambda r: _cedar(r).update(ring_arrival_s=_cedar(r)["in_slot_s"]),
        "reaches the ring before",
    ),
    "the side": (_set(_birch, "side", "level"), "side level"),
    "the revolutions": (_add(_birch, "revolutions", 1), "do not fill the time"),
    "the ring's revolutions": (_add(_birch, "ring_revolutions", 1), "turns less a lead"),
    "a periapsis left out": (_set(_cedar, "lowest_periapsis_km", None), "states none"),
    "a periapsis too high": (_add(_cedar, "lowest_periapsis_km", 30.0), "lowest periapsis stated"),
    "a closest approach too far": (_set(_cedar, "closest_km", 9e5), "closest stated"),
    "a closest approach left out": (_set(_cedar, "closest_km", None), "no closest approach is stated"),
    "flown off its slot": (lambda r: _cedar(r)["flown"].update(slot_error_deg=0.7), "was flown to"),
    "ranks in the wrong order": (_swap_ranks, "is better than"),
    "ranks not counted": (_set(_plan, "rank", 7), "ranks are"),
    "no front": (_no_front, "no front"),
    "a front unsorted": (lambda r: r["front"].reverse(), "not sorted"),
    "a front with a beaten point": (_dominated_front, "front"),
    "a front that names nobody": (lambda r: r["front"][0].update(plan=99), "names plan 99"),
    "a front point off its plan": (lambda r: r["front"][0].update(delta_v_m_s=1e5), "is not plan"),
    "said to break limits": (_set(_plan, "within_limits", False), "lists none"),
    "infeasible with plans": (lambda r: r.update(infeasible={"limit": "x"}), "called infeasible"),
    "a bound above": (lambda r: r["proof"].update(bound=1e6), "lies above"),
    "a bound below": (lambda r: r["proof"].update(bound=1.0), "lies below"),
    "nobody kept": (lambda r: r.update(kept=[]), "kept are"),
    "kept in another slot": (lambda r: r["kept"][0].update(slot=1), "is kept in slot"),
    "kept with an error": (lambda r: r["kept"][0].update(error_deg=1.0), "off its slot"),
    "the ring's period": (lambda r: r["ring"].update(period_s=1.0), "ring period"),
    "the ring's speed": (lambda r: r["ring"].update(speed_m_s=1.0), "ring speed"),
    "slot 0 elsewhere": (lambda r: r["ring"].update(slot0_deg=31.0), "slot 0 at"),
    "another format": (lambda r: r.update(format="x"), "format"),
}


@pytest.mark.parametrize("what", TAMPERED)
def test_tampering_is_caught(what: str) -> None:
    change, words = TAMPERED[what]
    result = copy.deepcopy(GOOD)
    change(result)
    found = check(TEXT, result)
    assert any(words in line for line in found), found


TIGHTER: dict[str, tuple[Callable[[Draft, Result], None], str]] = {
    "finish": (lambda d, r: d["limits"].update(finish_within_d=_plan(r)["finish_s"] / 86400.0 - 0.001), "later than"),
    "wait": (
        lambda d, r: d["limits"].update(
            wait_within_h=max(i["in_slot_s"] - i["ring_arrival_s"] for i in _plan(r)["craft"]) / 3600.0 - 0.01
        ),
        "longer than",
    ),
    "revolutions": (
        lambda d, r: d["limits"].update(revolutions_max=max(i["revolutions"] for i in _plan(r)["craft"]) - 1),
        "more than",
    ),
    "floor": (
        lambda d, r: d["limits"].update(
            clearance_km=min(b["periapsis_after_km"] for i in _plan(r)["craft"] for b in i["burns"]) - 61.0
        ),
        "comes down to",
    ),
    "ceiling": (lambda d, r: d["limits"].update(apoapsis_max_km=1399.0), "goes up to"),
    "propellant": (lambda d, r: d["craft"][0].update(propellant_kg=_birch(r)["propellant_kg"] + 0.5), "its tank holds"),
    "reserve": (lambda d, r: d["craft"][0].update(reserve_m_s=900.0), "its reserve needs"),
    "pad ready": (lambda d, r: d["launch"].update(ready_h=_birch(r)["launch_s"] / 3600.0 + 0.1), "the pad is ready"),
    "craft ready on the ground": (
        lambda d, r: d["craft"][0].update(ready_h=_birch(r)["launch_s"] / 3600.0 + 0.1),
        "it is ready at",
    ),
    "craft ready in space": (
        lambda d, r: d["craft"][1].update(ready_h=_cedar(r)["burns"][0]["time_s"] / 3600.0 + 0.1),
        "it is ready at",
    ),
    "separation": (lambda d, r: d["limits"].update(separation_km=3000.0), "comes within"),
}


@pytest.mark.parametrize("limit", TIGHTER)
def test_a_broken_limit_is_caught(limit: str) -> None:
    tighten, words = TIGHTER[limit]
    draft = copy.deepcopy(TWO_CRAFT)
    tighten(draft, GOOD)
    found = check(write_toml(draft), GOOD)
    assert any(words in line for line in found), found


def test_two_liftoffs_need_a_turnaround() -> None:
    """Both from the pad: the second a minute after the first."""
    draft = copy.deepcopy(TWO_CRAFT)
    draft["craft"][1].pop("orbit")
    text = write_toml(draft)
    case = read_case(text)
    assert case.slot0 is not None
    birch, cedar = case.craft
    one = next(o for o in every_option(case, birch, case.slot0, (9000.0,)) if o.slot == 1)
    two = next(o for o in every_option(case, cedar, case.slot0, (9060.0,)) if o.slot == 3)
    result = result_of(case, case.slot0, [plan_of([craft_item(case, birch, one), craft_item(case, cedar, two)])])
    assert any("turnaround" in line for line in check(text, result))


def test_a_suborbital_craft_must_burn_at_its_first_arrival() -> None:
    """One revolution of the insertion orbit later it has been through the ground: the checker sees it."""
    text = write_toml(TWO_CRAFT)
    result = copy.deepcopy(GOOD)
    item = _birch(result)
    turn = item["in_slot_s"] - item["ring_arrival_s"]
    for burn in item["burns"]:
        burn["time_s"] += turn
    assert any("comes down to" in line for line in check(text, result))


def test_a_meeting_on_the_way_is_caught() -> None:
    """Half a turn in two revolutions passes a slot a quarter turn away after one (four slots; a drawing on paper)."""
    draft = copy.deepcopy(TWO_CRAFT)
    draft.pop("launch")
    draft["ring"]["occupied"] = [{"name": "Rowan", "slot": 1}]
    draft["craft"] = [{"name": "Cedar", "orbit": {"periapsis_km": 1400.0, "apoapsis_km": 1400.0, "angle_deg": 30.0}}]
    text = write_toml(draft)
    case = read_case(text)
    assert case.slot0 is not None
    (cedar,) = case.craft
    met = {}
    options = list(from_space(case, cedar, 2, case.slot0))
    assert options
    for option in options:
        item = craft_item(case, cedar, option)
        result = result_of(case, case.slot0, [plan_of([item])])
        result["kept"] = [{"craft": "Rowan", "slot": 1, "error_deg": 0.0}]
        found = check(text, result)
        assert all("comes within" in line for line in found), found
        met[option.revolutions, option.ring_revolutions] = bool(found)
        start = math.radians(30.0)
        if meets(case, option, start, [slot_angle(case, 1, case.slot0, 0.0)]):
            assert found
    assert met[2, 2]
    assert not met[3, 3]
    assert {True, False} == set(met.values())


def test_no_plan_needs_a_reason() -> None:
    result = copy.deepcopy(GOOD)
    result.update(plans=[], front=[], proof=None)
    assert check(TEXT, result) == ["there is no plan and no reason why"]
    result["infeasible"] = {"limit": "finish_within", "value": 1.0, "serves": 2.0}
    assert check(TEXT, result) == []


def test_a_declared_breach_passes_only_where_there_is_one() -> None:
    draft = copy.deepcopy(TWO_CRAFT)
    draft["limits"]["revolutions_max"] = 1
    result = copy.deepcopy(GOOD)
    for plan in result["plans"]:
        plan["within_limits"] = False
        plan["broken"] = [{"craft": "Cedar", "limit": "revolutions_max", "value": 2, "allowed": 1}]
    found = check(write_toml(draft), result)
    assert found == [] or all("keeps them all" in line for line in found), found
    assert any("keeps them all" in line for line in check(TEXT, result))
