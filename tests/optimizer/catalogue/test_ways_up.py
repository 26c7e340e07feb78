"""Sites that only pass through the ring plane: liftoffs at passes and around them, and what becomes of a tilt."""

from __future__ import annotations

import copy
import itertools
import math
from typing import Any

import numpy as np
import pytest

from ringwright.models.scenario import Scenario
from ringwright.models.windows import off_plane
from ringwright.optimizer.catalogue import catalogue as building
from ringwright.optimizer.catalogue.from_ground import from_pad
from ringwright.optimizer.flown_plans.flights import fly_all
from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.problem.liftoff_windows import windows
from ringwright.optimizer.problem.option_key import flight_key
from ringwright.optimizer.problem.problem import Problem
from ringwright.optimizer.problem.ring_phase import problems
from ringwright.tests.tolerances import (
    CENTISECOND_S,
    FIRST_ORDER_RAD,
    FLOAT_RAD,
    LOOSENED_DEG,
    SHARED_TURN_REL,
    SLOT_DEG,
    SUMMED_M_S,
    TENTH_S,
    WRITTEN_M_S,
    WRITTEN_S,
)

from ...independent.enumeration import from_ground
from ...independent.plan_checker import check
from ...independent.scenario_maker import Draft, write_toml
from ...independent.small_reader import Case, read_case
from ...planned import outcome_of, planned, scenario_of

DAY_S = 86164.1
DRAFT: Draft = {
    "title": "two from mid latitude",
    "body": {
        "name": "Earth, as used here",
        "gm_km3_s2": 398600.4355,
        "radius_km": 6378.1366,
        "atmosphere_top_km": 120.0,
        "sidereal_day_s": DAY_S,
    },
    "ring": {
        "altitude_km": 9000.0,
        "slots": 3,
        "inclination_deg": 51.6,
        "node_deg": 40.0,
        "slot0_deg": 20.0,
    },
    "limits": {"clearance_km": 30.0, "finish_within_d": 4.0, "revolutions_max": 4, "separation_km": 0.0},
    "launch": {
        "name": "pad",
        "latitude_deg": 34.0,
        "longitude_deg": -120.0,
        "ready_h": 3.0,
        "turnaround_h": 20.0,
        "ascent_min": 9.0,
        "downrange_deg": 18.0,
        "insertion": {"periapsis_km": -300.0, "apoapsis_km": 9000.0, "altitude_km": 190.0},
    },
    "craft": [{"name": "Alder"}, {"name": "Birch"}],
    "goal": {"minimize": "delta_v"},
}
PARKING = {"periapsis_km": 300.0, "apoapsis_km": 300.0, "altitude_km": 300.0}
TURNS = {  # inclination, day: forward and backward bodies under rings that run either way
    "prograde": (51.6, DAY_S),
    "polar": (90.0, DAY_S),
    "retrograde": (128.0, DAY_S),
    "a body that turns backward": (51.6, -DAY_S),
}

QUICK = {("prograde", "direct"), ("polar", "direct"), ("retrograde", "park"), ("a body that turns backward", "park")}
"""Each turn once in the default tier, each way up twice."""

PRINTED_S = 60.0
"""Finishes differ by the minute that is printed: of those alike the cheaper is listed."""


def draft_with(**changes: Any) -> Draft:
    """The draft with values of its tables replaced: ``launch={"ready_h": 1.0}``."""
    draft = copy.deepcopy(DRAFT)
    for table, values in changes.items():
        draft[table].update(values)
    return draft


def passes_by_hand(case: Case, until_s: float) -> list[float]:
    """Moments at which the first site is in the plane, from its ready time: signs on a dense grid, then halving."""
    pad = case.pads[0]
    times = np.arange(pad.ready, until_s, 30.0)
    found = []
    for low, high in itertools.pairwise(times.tolist()):
        if case.site_height(pad, low) * case.site_height(pad, high) > 0.0:
            continue
        for _ in range(60):
            middle = 0.5 * (low + high)
            if case.site_height(pad, low) * case.site_height(pad, middle) <= 0.0:
                high = middle
            else:
                low = middle
        found.append(0.5 * (low + high))
    return found


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize("insertion", ["direct", "park"])
def test_plans_are_the_best_of_all_passes_tried_in_turn(turn: str, insertion: str) -> None:
    """Every pass, slot and (k, m) of both craft by plain loops in another's code: same least delta-v, same finish."""
    inclination, day = TURNS[turn]
    draft = draft_with(ring={"inclination_deg": inclination}, body={"sidereal_day_s": day})
    if insertion == "park":
        draft["launch"]["insertion"] = dict(PARKING)
        draft["limits"]["revolutions_max"] = 1
    text = write_toml(draft)
    result = planned(text)
    assert check(text, result) == []
    case = read_case(text)
    slot0 = math.radians(20.0)
    moments = passes_by_hand(case, case.finish_within)
    assert len(moments) >= 6
    first, second = case.craft
    # one burn to arrive in place or two to phase; a wait in the parking orbit that phases as well is left to chance
    options = {
        (time, slot): [(o.delta_v, o.finish) for o in from_ground(case, first, case.pads[0], time, slot, slot0)]
        for time in moments
        for slot in range(case.slots)
    }
    assert second.ready == first.ready
    best, soonest = math.inf, math.inf
    for (one, slot), (other, place) in itertools.permutations(options, 2):
        if slot == place or other - one < case.pads[0].turnaround:
            continue
        for spent, finish in options[one, slot]:
            for more, later in options[other, place]:
                best = min(best, spent + more)
                soonest = min(soonest, max(finish, later))
    assert result["front"][-1]["delta_v_m_s"] == pytest.approx(best, abs=SUMMED_M_S)
    assert result["front"][0]["finish_s"] <= soonest + 0.01
    if insertion == "direct":
        assert result["front"][0]["finish_s"] == pytest.approx(soonest, abs=CENTISECOND_S)
    assert result["plans"]
    for plan in result["plans"]:
        for item in plan["craft"]:
            assert min(abs(item["launch_s"] - time) for time in moments) < TENTH_S
            assert item["flown"]["plane_error_deg"] < 1e-9


def modes(draft: Draft) -> tuple[Problem, dict[str, Any]]:
    """The problem, and of each way up by tilt a few of its options, spread over liftoffs and costs."""
    problem = problems(scenario_of(write_toml(draft)))[0]
    [(earliest, latest)] = windows(problem)
    moments, *_ = building._moments(problem, 0, earliest, latest)
    options, _ = from_pad(problem, 0, moments)
    found: dict[str, Any] = {}
    for index, way in enumerate(problem.ways):
        rows = np.flatnonzero(options.way == index)
        if rows.size:
            picked = rows[np.linspace(0, rows.size - 1, 5).astype(np.int64)]
            found.setdefault(way.tilt_at, []).append(options.take(picked))
    return problem, found


@pytest.mark.parametrize("insertion", ["direct", "park"])
@pytest.mark.parametrize("turn", ["prograde", "a body that turns backward"])
def test_every_kind_of_tilt_flies_as_it_was_planned(insertion: str, turn: str) -> None:
    inclination, day = TURNS[turn]
    draft = draft_with(
        ring={"inclination_deg": inclination, "tilt_tolerance_deg": 0.4},
        body={"sidereal_day_s": day},
        launch={"plane_tolerance_deg": 2.0},
        limits={"finish_within_d": 3.0},
    )
    if insertion == "park":
        draft["launch"]["insertion"] = dict(PARKING)
    problem, found = modes(draft)
    assert set(found) == {"kept", "apsis", "node"}
    for kind, parts in found.items():
        assert parts
        for options in parts:
            flights = fly_all(problem, [options])
            for row in range(len(options)):
                name = flight_key(problem, options, row)
                seen = flights.measured[name]
                way = problem.ways[int(options.way[row])]
                assert way.place is not None
                off = abs(float(off_plane(way.place, options.liftoff_s[row])))
                assert (
                    abs(seen.slot_error_rad) < FIRST_ORDER_RAD
                    if kind == "kept"
                    else abs(seen.slot_error_rad) < FLOAT_RAD
                )
                assert seen.plane_error_rad == pytest.approx(off if kind == "kept" else 0.0, abs=FLOAT_RAD)
                burnt = math.fsum(i.delta_v_m_s for i in flights.flights[name].itinerary.impulses)
                assert burnt == pytest.approx(float(options.delta_v_m_s[row]), abs=WRITTEN_M_S)
                last = flights.flights[name].itinerary.impulses[-1].time_s
                assert last == pytest.approx(float(options.finish_s[row]), abs=WRITTEN_S)


def test_turning_in_the_burns_that_are_made_anyway_is_cheaper() -> None:
    """From a parking orbit with its transfer on the node line, against a separate burn: the law of cosines."""
    draft = draft_with(launch={"plane_tolerance_deg": 2.0, "insertion": dict(PARKING)})
    problem, found = modes(draft)
    level = problem.touch(problem.ways[0].arrival_speed_m_s).level_cost + problem.ways[0].entry_delta_v_m_s
    at_node = min(float((o.delta_v_m_s - level).min()) for o in found["node"])
    at_apsis = min(float((o.delta_v_m_s - level).min()) for o in found["apsis"])
    assert 0.0 < at_apsis < at_node


def test_a_finer_grid_changes_the_front_by_no_more_than_stated(monkeypatch: pytest.MonkeyPatch) -> None:
    draft = draft_with(launch={"plane_tolerance_deg": 1.0}, limits={"finish_within_d": 2.0})
    draft["craft"] = draft["craft"][:1]
    scenario = scenario_of(write_toml(draft))
    coarse = points(scenario)
    outcome = make_plan(scenario)
    assert outcome.front is not None
    assert "a grid of at most" in outcome.front.note
    stated = float(outcome.front.note.split("changes by at most ")[1].split(" m/s")[0])
    assert 1.0 < stated < 100.0
    monkeypatch.setattr("ringwright.models.opportunities.SPAN_STEPS", 24 * 4)
    fine = points(scenario)
    assert fine[0][0] <= coarse[0][0] + PRINTED_S
    for finish, delta_v in fine:
        # the coarse front at that finish, or a grid step later
        least = min((dv for end, dv in coarse if end <= finish + 60.0), default=math.inf)
        assert least <= delta_v + stated + outcome.front.resolution_m_s


def points(scenario: Scenario) -> list[tuple[float, float]]:
    front = outcome_of(scenario).front
    assert front is not None
    return [(point.finish_s, point.delta_v_m_s) for point in front.points]


def test_a_site_that_never_comes_into_the_plane_says_by_how_much() -> None:
    draft = draft_with(launch={"latitude_deg": 53.0})
    why = planned(write_toml(draft))["infeasible"]
    assert why["limit"] == "launch.plane_tolerance_deg"
    assert why["serves"] == pytest.approx(1.4, abs=LOOSENED_DEG)
    assert "1.400 deg" in why["reason"]
    draft["launch"]["plane_tolerance_deg"] = why["serves"]
    assert planned(write_toml(draft))["plans"]


def test_without_a_latest_finish_the_front_says_how_far_passes_were_looked_at() -> None:
    draft = draft_with()
    del draft["limits"]["finish_within_d"]
    assert "passes through the ring plane are tried up to" in planned(write_toml(draft))["front_note"]


@pytest.mark.parametrize(
    ("turn", "insertion"),
    [
        pytest.param(turn, insertion, marks=[] if (turn, insertion) in QUICK else pytest.mark.soak)
        for turn in TURNS
        for insertion in ("direct", "park")
    ],
)
def test_over_an_oblate_body_the_drifting_plane_is_met(turn: str, insertion: str) -> None:
    """Flown with J2 (Earth's, EGM96): the liftoff moves by minutes, so that the planes agree at the end, not before."""
    inclination, day = TURNS[turn]
    body = {"sidereal_day_s": day, "j2": 1.08262668355e-3, "j2_radius_km": 6378.1363}
    draft = draft_with(ring={"inclination_deg": inclination}, body=body, launch={"plane_tolerance_deg": 0.5})
    if insertion == "park":
        draft["launch"]["insertion"] = dict(PARKING)
    result = planned(write_toml(draft))
    assert result["plans"]
    for plan in result["plans"]:
        assert plan["within_limits"]
        for item in plan["craft"]:
            assert abs(item["flown"]["slot_error_deg"]) < SLOT_DEG
            assert item["flown"]["plane_error_deg"] < 1e-3


@pytest.mark.parametrize(("tilt_deg", "in_plane"), [(40.0, True), (40.01, False)])
def test_a_body_that_does_not_turn_may_hold_a_site_in_a_tilted_plane(tilt_deg: float, in_plane: bool) -> None:
    """A site 30 deg ahead of the node in a plane tilted by 40 deg: sin(latitude) = sin 30 sin 40 (sine rule)."""
    latitude = math.degrees(math.asin(math.sin(math.radians(30)) * math.sin(math.radians(40))))
    longitude = math.degrees(
        math.atan2(math.sin(math.radians(30)) * math.cos(math.radians(40)), math.cos(math.radians(30)))
    )
    draft = draft_with(
        body={"sidereal_day_s": math.inf},
        ring={"inclination_deg": tilt_deg, "node_deg": 0.0},
        launch={"latitude_deg": latitude, "longitude_deg": longitude},
    )
    result = planned(write_toml(draft))
    assert bool(result["plans"]) is in_plane
    if in_plane:
        assert check(write_toml(draft), result) == []
    else:
        assert result["infeasible"]["limit"] == "launch.plane_tolerance_deg"


def test_a_polar_site_lies_in_every_polar_plane() -> None:
    draft = draft_with(ring={"inclination_deg": 90.0}, launch={"latitude_deg": 90.0})
    [way] = problems(scenario_of(write_toml(draft)))[0].ways
    assert way.place is None
    assert planned(write_toml(draft))["plans"]


def test_a_craft_that_phases_over_an_oblate_body_turns_its_plane_back() -> None:
    """Low and inclined: the phasing orbit's node drifts by another rate, which costs a burn across of a known size.

    To first order in the change of size: the node drifts as a^-7/2 (Vallado, section 9.6), the craft gains on the ring
    as 3/2 da/a, so the node falls behind by 7/3 of the ring's own drift a turn for each turn gained, whatever the
    number of revolutions; turned back at the highest latitude by v sin(i) times that. Orbits that leave the ring by a
    tenth of its radius, with few revolutions, are beyond the first order.
    """
    body = {"j2": 1.08262668355e-3, "j2_radius_km": 6378.1363}
    draft = draft_with(ring={"altitude_km": 800.0, "inclination_deg": 60.0}, body=body)
    draft["limits"]["revolutions_max"] = 12
    del draft["launch"]
    draft["craft"] = [{"name": "Alder", "orbit": {"altitude_km": 800.0, "angle_deg": 80.0}}]
    result = planned(write_toml(draft))
    ring = problems(scenario_of(write_toml(draft)))[0].ring
    moved = {}
    for plan in result["plans"]:
        [item] = plan["craft"]
        assert plan["within_limits"]
        assert item["flown"]["plane_error_deg"] < 1e-3
        assert abs(item["flown"]["slot_error_deg"]) < SLOT_DEG
        gained = abs(item["revolutions"] - item["ring_revolutions"] + item["lead_deg"] / 360.0)
        expected = 7.0 / 3.0 * abs(ring.node_rate_rad_s) * ring.period_s * gained
        expected *= math.sin(math.radians(60.0)) * ring.speed_m_s
        # by the two burns at the touches, 10 deg from where the planes cross, and one a quarter turn from them
        first, *apart, last = (burn["cross_m_s"] for burn in item["burns"])
        across = math.hypot(first + last, sum(apart))
        if item["revolutions"] >= 5:
            moved[item["revolutions"], item["side"]] = across
            assert across == pytest.approx(expected, rel=SHARED_TURN_REL)
    assert len(moved) > 6


PARKED = """
title = "Off the plane, by a parking orbit"
body = { name = "earth" }
ring = { altitude_km = 1923.0, slots = 3, inclination_deg = 20.0, node_deg = 60.0, slot0_deg = 253.0 }
limits = { finish_within_d = 4.0, revolutions_max = 8 }
craft = [{ name = "Bay", dry_mass_kg = 100.0, propellant_kg = 900.0, isp_s = 300.0 }]
[launch]
latitude_deg = 22.0
longitude_deg = 30.0
turnaround_h = 6.0
plane_tolerance_deg = 3.0
ascent_min = 9.0
downrange_deg = 15.0
insertion = { altitude_km = 200.0, periapsis_km = 200.0, apoapsis_km = 200.0 }
"""


def test_launches_that_turn_into_the_plane_far_from_the_equator_end_in_it() -> None:
    """There a burn and the moment of liftoff turn the plane about one line: what is left is aimed from the touch."""
    [problem] = problems(scenario_of(PARKED))[:1]
    options = building.catalogue(problem).options
    touch = problem.ring.phase(options.finish_s - options.turn_after_s, options.slot)
    node = np.array([way.tilt_at == "node" for way in problem.ways])[options.way]
    own = np.flatnonzero((options.revolutions == 0) & node & (np.abs(np.cos(touch)) < 0.5))
    assert own.size > 12
    some = options.take(own[:: own.size // 12])
    flights = fly_all(problem, [some])
    for row in range(len(some)):
        name = flight_key(problem, some, row)
        assert flights.measured[name].plane_error_rad < math.radians(0.01)
