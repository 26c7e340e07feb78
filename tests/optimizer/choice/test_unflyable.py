"""What cannot be flown is an option less: no exception of the flight ends a plan, and what is refused says why."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ringwright.models.errors import InputError
from ringwright.models.flight.integrate import Itinerary, PointMass, fly, fly_each
from ringwright.models.scenario import Orbit, on_ring
from ringwright.optimizer.catalogue.catalogue import catalogue
from ringwright.optimizer.choice import infeasible
from ringwright.optimizer.choice.ring_phase import best_phase
from ringwright.optimizer.choice.selection import Selection
from ringwright.optimizer.flown_plans import flights
from ringwright.optimizer.flown_plans.flights import fly_all
from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.problem.in_space import standing
from ringwright.optimizer.problem.option_key import flight_key
from ringwright.optimizer.problem.ring_phase import problems, ring_of
from ringwright.optimizer.routes import rephase
from ringwright.optimizer.routes.route import Question
from ringwright.optimizer.trajectory.differential_correction import Case, correct_each
from ringwright.tests.tolerances import AND_MORE_M_S, FLOWN_REL, METER_M, MILLISECOND_S

from ...planned import outcome_of, scenario_of

GM = 3.986004418e14

OFF_PLANE = """
[body]
name = "earth"
[ring]
altitude_km = 8000
slots = 1
inclination_deg = 10
slot0_deg = 263
[limits]
revolutions_max = 2
[launch]
latitude_deg = 14
longitude_deg = 30
plane_tolerance_deg = 5.2
insertion = { periapsis_km = 300, apoapsis_km = 300 }
[[craft]]
name = "Ladle"
"""

SLOW_WORLD = """
[body]
name = "Colander"
gm_km3_s2 = 7651.0
radius_km = 3218.0
sidereal_day_h = -424.8
j2 = -0.00022
[ring]
altitude_km = 11050.0
slots = 1
inclination_deg = 0.001
slot0_deg = 120
[limits]
finish_within_d = 6.0
revolutions_max = 2
[launch]
latitude_deg = 65.8
longitude_deg = 165.85
plane_tolerance_deg = 65.81
insertion = { periapsis_km = 138.6, apoapsis_km = 138.6 }
[[craft]]
name = "Ladle"
"""

VERY_HIGH = """
[body]
name = "ceres"
[ring]
altitude_km = 104268
slots = 1
[launch]
latitude_deg = 0
longitude_deg = 0
insertion = { periapsis_km = 2.91, apoapsis_km = 2.91 }
[[craft]]
name = "Ladle"
"""

IN_SPACE = """
[body]
name = "Quill"
gm_km3_s2 = 5200.0
radius_km = 1500.0
[ring]
altitude_km = 1500.0
slots = 2
slot0_deg = 0.0
[limits]
revolutions_max = 4
[[craft]]
name = "Whisk"
orbit = { altitude_km = 1500.0, angle_deg = 330.0 }
"""

LOWER_CIRCLE = """
[body]
name = "earth"
[ring]
altitude_km = 800.0
slots = 1
planes = 2
spread_deg = 60.0
inclination_deg = 72.0
slot0_deg = 0.0
[limits]
clearance_km = 200.0
finish_within_d = 300.0
[[craft]]
name = "Whisk"
orbit = { altitude_km = 516.0, angle_deg = 50.0, plane = 1 }
"""


@pytest.mark.parametrize("text", [OFF_PLANE, SLOW_WORLD], ids=["over Earth", "over a slow world of negative J2"])
def test_a_launch_off_the_plane_turns_as_much_later_as_it_lifts_off(text: str) -> None:
    """A burn at the node came before the arrival that it follows, where the flight had moved the liftoff."""
    outcome = outcome_of(scenario_of(text))
    assert outcome.plans
    for plan in outcome.plans:
        for part in plan.craft:
            times = [burn.time_s for burn in part.burns]
            assert times == sorted(times)
            assert part.itinerary is not None
            assert part.itinerary.start_s <= times[0]


def test_a_ring_whose_transfer_reads_as_open_is_refused_with_the_reason() -> None:
    outcome = outcome_of(scenario_of(VERY_HIGH))
    assert not outcome.plans
    assert outcome.infeasible is not None
    assert "no insertion leads up to the ring" in outcome.infeasible.reason


LETS_GO_TOO_LOW = """
[body]
name = "ceres"
[ring]
altitude_km = 39
slots = 1
inclination_deg = 4.0
[limits]
revolutions_max = 1
finish_within_d = 6.22
[launch]
latitude_deg = 0.0
longitude_deg = -167
insertion = { periapsis_km = 14.0, apoapsis_km = 39.0, altitude_km = 14.0 }
[[craft]]
name = "Thimble"
"""


def test_where_no_insertion_leads_up_one_higher_is_named_that_serves() -> None:
    outcome = outcome_of(scenario_of(LETS_GO_TOO_LOW))
    assert not outcome.plans
    assert outcome.infeasible is not None
    assert "no insertion leads up to the ring" in outcome.infeasible.reason
    [bind] = outcome.infeasible.binds
    assert bind.limit == "launch.insertion.altitude"
    assert bind.serves is not None
    served = f"altitude_km = {bind.serves / 1e3:.1f} }}"
    mended = outcome_of(scenario_of(LETS_GO_TOO_LOW.replace("altitude_km = 14.0 }", served)))
    assert mended.plans
    assert not mended.plans[0].broken


NO_WAY_UP = """
[body]
name = "ceres"
[ring]
altitude_km = 201
slots = 2
[limits]
revolutions_max = 1
finish_within_d = 5.92
[launch]
latitude_deg = 0.0
longitude_deg = 145
insertion = {{ periapsis_km = 14.0, apoapsis_km = 14.0, altitude_km = 14.0 }}
plane_tolerance_deg = 8.6
azimuth_from_deg = 3
azimuth_to_deg = 48
[[craft]]
name = "Thimble"
[goal]
minimize = "{aim}"
"""


@pytest.mark.parametrize("aim", ["delta_v", "finish", "worst_delta_v"])
def test_where_no_azimuth_leads_up_to_a_ring_of_free_phase_the_azimuth_is_named(aim: str) -> None:
    outcome = outcome_of(scenario_of(NO_WAY_UP.format(aim=aim)))
    assert not outcome.plans
    assert outcome.infeasible is not None
    assert {bind.limit for bind in outcome.infeasible.binds} & {"launch.azimuth_to", "launch.azimuth_from"}


def test_one_that_falls_through_the_center_leaves_the_others_flown(monkeypatch: pytest.MonkeyPatch) -> None:
    # it is given up as surely after fewer steps
    monkeypatch.setattr("ringwright.models.flight.stepping.STEPS_MAX", 10_000)

    def circle(radius: float, speed: float) -> Itinerary:
        return Itinerary(
            start_s=0.0, position=np.array([radius, 0.0, 0.0]), velocity=np.array([0.0, speed, 0.0]), end_s=20_000.0
        )

    fine = [circle(radius, np.sqrt(GM / radius)) for radius in (8e6, 9e6, 1e7)]
    falling = circle(8e6, 1e-6)
    found = fly_each([fine[0], falling, *fine[1:]], PointMass(gm=GM), relative=1e-10)
    assert [flight is None for flight in found] == [False, True, False, False]
    for flight, alone in zip((found[0], found[2], found[3]), fly(fine, PointMass(gm=GM)), strict=True):
        assert flight is not None
        assert np.allclose(flight.end_state, alone.end_state, rtol=FLOWN_REL, atol=METER_M)


def test_one_whose_first_guess_never_comes_round_leaves_the_others_corrected() -> None:
    scenario = scenario_of(OFF_PLANE)
    laid = best_phase(problems(scenario), "delta_v", lambda _: None)
    selection, best = laid.selection, laid.best
    assert best is not None
    problem = selection.made.problem
    what = fly_all(problem, [best.options]).courses
    [course] = what.values()
    case = Case(itinerary=course.itinerary, ring=problem.ring, slot=0, unknowns=course.unknowns, targets=course.targets)
    hopeless = Case(
        itinerary=Itinerary(
            start_s=course.itinerary.start_s,
            position=course.itinerary.position,
            velocity=course.itinerary.velocity,
            impulses=course.itinerary.impulses[:1],
            end_s=course.itinerary.impulses[0].time_s + 1.0,
        ),
        ring=problem.ring,
        slot=0,
    )
    lost, met = correct_each([hopeless, case], problem.gravity)
    assert lost is None
    assert met is not None
    assert met.met


def test_what_cannot_be_flown_gives_place_to_the_next_best_of_all_choices() -> None:
    [problem] = problems(scenario_of(IN_SPACE))
    selection = Selection(catalogue(problem))
    costs = []
    for _ in range(6):
        best = selection.best(("delta_v",))
        assert best is not None
        costs.append(best.delta_v_m_s)
        lost = flight_key(problem, best.options, 0)
        flown = selection.flyer.flights
        selection.flyer.flights = replace(flown, failed=flown.failed | {lost})
    assert costs == sorted(costs)

    every = np.sort(rephase.columns(Question(problem=problem)).delta_v_m_s)
    assert np.allclose(costs, every[:6])


def test_an_option_that_cannot_be_flown_is_left_out_and_the_choice_made_again(monkeypatch: pytest.MonkeyPatch) -> None:
    scenario = scenario_of(IN_SPACE)
    first = make_plan(scenario).plans[0]
    real = flights._measured

    def fails(problem: object, flight: object, slot: int) -> object:
        burns = flight.itinerary.impulses  # type: ignore[attr-defined]
        same = burns and abs(burns[-1].time_s - first.craft[0].in_slot_s) < MILLISECOND_S
        return None if same else real(problem, flight, slot)  # type: ignore[arg-type]

    monkeypatch.setattr(flights, "_measured", fails)
    outcome = make_plan(scenario)
    assert outcome.plans
    assert all(abs(plan.finish_s - first.finish_s) > 1.0 for plan in outcome.plans)
    assert any("could not be flown numerically" in note for note in outcome.notes)


def test_where_nothing_can_be_flown_the_search_ends_with_the_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(flights, "_measured", lambda *_: None)
    outcome = make_plan(scenario_of(IN_SPACE))
    assert not outcome.plans
    assert outcome.infeasible is not None
    assert "that the numerical flight cannot follow" in outcome.infeasible.reason


def test_a_circle_off_the_ring_is_no_start_on_it() -> None:
    """It was planned as if it stood on the ring."""
    scenario = scenario_of(LOWER_CIRCLE)
    [craft] = scenario.craft
    assert isinstance(craft.orbit, Orbit)
    assert not on_ring(craft.orbit.apoapsis_m, scenario.ring.radius_m)
    start = standing(ring_of(scenario), craft, scenario.body)
    assert not start.on_ring
    assert not start.touches


def test_nodal_drift_begins_on_the_circle_that_the_craft_is_on() -> None:
    [problem] = problems(scenario_of(LOWER_CIRCLE))
    options = catalogue(problem).options
    assert len(options)
    # from 516 km to 800 km a Hohmann transfer alone costs 150.2 m/s (vis-viva by hand)
    assert options.delta_v_m_s.min() == pytest.approx(150.2, abs=AND_MORE_M_S)
    # its own plane is one of them
    assert set(options.slot.tolist()) == {0, 1}


def test_planes_that_nobody_reaches_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    other = '[[craft]]\nname = "Grater"\norbit = { altitude_km = 516.0, angle_deg = 60.0, plane = 1 }\n'
    monkeypatch.setattr(infeasible, "LOOKS_MAX", 0)
    # thirty degrees of node away: no waiting orbit takes a craft there so soon
    outcome = make_plan(scenario_of(LOWER_CIRCLE.replace("300.0", "5.0") + other))
    assert not outcome.plans
    assert outcome.infeasible is not None
    assert "lead into 1 of the free ones, and not into plane 0 slot 0" in outcome.infeasible.reason


NEVER_UP = """
[body]
name = "Quern"
gm_km3_s2 = 5000
radius_km = 1500
j2 = {j2}
[ring]
altitude_km = 404
slots = 2
slot0_deg = 179
[limits]
clearance_km = 30
finish_within_d = 1
[forces]
further = false
[[craft]]
name = "Ash"
orbit = {{ periapsis_km = {low}, apoapsis_km = 404, angle_deg = 17, at = "periapsis" }}
"""
"""Speeds of orbits so near to the ring are below that of a circle over so flat a body: they come no higher."""


def test_an_orbit_that_the_bulge_keeps_from_the_ring_is_refused_with_what_serves() -> None:
    with pytest.raises(InputError, match=r"line 18: craft.Ash.orbit .* does not come to the ring .* Give a circle"):
        make_plan(scenario_of(NEVER_UP.format(j2=0.01, low=376)))


@pytest.mark.parametrize(("j2", "low"), [(0.0, 376), (0.01, 330)])
def test_a_rounder_body_or_a_longer_orbit_serves(j2: float, low: int) -> None:
    assert make_plan(scenario_of(NEVER_UP.format(j2=j2, low=low)), brief=True).plans
