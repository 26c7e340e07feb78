"""Keeping a ring as a part of the load: in the budget, plan against plan, and over a sweep."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import jsonschema
import numpy as np
import pytest
from scipy.integrate import solve_ivp

from ringwright.models.flight.averaged import MeanOrbits
from ringwright.models.force_choice import chosen_forces
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.models.scenario import Scenario
from ringwright.optimizer.outcome import Outcome, Plan
from ringwright.optimizer.robustness import keeping as module
from ringwright.optimizer.robustness.budget import make_budget
from ringwright.optimizer.robustness.keeping import keeping_of, keeping_with_trims, kept_load_kg, with_trims
from ringwright.optimizer.standing import CraftKeeping, ForcedHold, Keeping, Trim, UnderForces
from ringwright.optimizer.studies.sweep import grid, plan_point, settings_of
from ringwright.reports.budget import budget_json, budget_text
from ringwright.reports.figures.sweep import draw_sweep
from ringwright.reports.hold import own_trims_text
from ringwright.reports.keeping import plan_keeping_lines
from ringwright.reports.result import result
from ringwright.reports.result_schema import result_schema
from ringwright.reports.sweep import sweep_text, text_row
from ringwright.tests.planned import outcome_of
from ringwright.tests.tolerances import (
    FIRST_ORDER_REL,
    FLOWN_REL,
    ROADS_REL,
    SCREEN_M_S,
    THREE_FIRST_ORDER_REL,
    TWO_FIRST_ORDER_REL,
)
from ringwright.tests.worlds import LOW_RING, low_craft

YEAR_S, G0 = 365.25 * 86_400.0, 9.80665

AIR = "[forces]\ndegree = 0\nsun = false\nmoon = false\nsunlight = false\ndrag = true"


def _text(ring: str = "", forces: str = AIR, tank: float = 40.0) -> str:
    return f"""title = "Two low"
{LOW_RING}slots = 3
slot0_deg = 0
tolerance_deg = 1
hold_for_d = 730.5
{ring}
[limits]
revolutions_max = 6
[errors]
burn_share = 0.01
{forces}
{low_craft("Teal", 30, 0.5, tank, 220)}reserve_m_s = 5
{low_craft("Sage", 0, 1.0, 40, 220)}"""


def _low(ring: str = "", forces: str = AIR, tank: float = 40.0) -> Scenario:
    return parse_scenario(_text(ring, forces, tank))


@pytest.fixture(scope="module")
def bare() -> Outcome:
    """Planned for the bulge alone."""
    return outcome_of(replace(_low(forces=""), forces=None))


def _kept(outcome: Outcome, scenario: Scenario) -> Keeping:
    [found] = keeping_of(scenario, outcome.ring, outcome.plans[:1], outcome.kept)
    assert found is not None
    return found


def _decay_m_s_year(area_m2: float, mass_kg: float) -> float:
    """By the sinking of a turn, 2 pi (Cd A / m) rho a^2 (King-Hele 1987), the air of Vallado's table 8-4 turning along.

    Over the equator the speed against the air is the circular one less that of the air.
    """
    gm, radius, density = 398_600.4418e9, 6_778.137e3, 3.725e-12
    rate = math.sqrt(gm / radius**3)
    slower = 1.0 - 7.292115e-5 / rate
    sinks_m = 2.0 * math.pi * 2.2 * area_m2 / mass_kg * density * radius**2 * slower**2
    return 0.5 * rate * sinks_m * YEAR_S * rate / (2.0 * math.pi)


def test_drag_of_each_craft_by_the_decay_of_a_turn(bare: Outcome) -> None:
    kept = _kept(bare, _low())
    by_name = {one.craft: one for one in kept.craft}
    # masses as they take off: dry and what is in the tank
    for name, area in (("Teal", 0.5), ("Sage", 1.0)):
        found = by_name[name].drag_m_s_year
        assert found == pytest.approx(_decay_m_s_year(area, 140.0), rel=FIRST_ORDER_REL)
        assert by_name[name].east_west_m_s_year == by_name[name].north_south_m_s_year == 0.0


def test_each_is_kept_from_its_arrival_on(bare: Outcome) -> None:
    kept, plan = _kept(bare, _low()), bare.plans[0]
    arrivals = {part.craft: part.in_slot_s for part in plan.craft}
    by_hand = sum(
        one.steady_m_s_year * (plan.finish_s + 2.0 * YEAR_S - arrivals.get(one.craft, 0.0)) / YEAR_S
        for one in kept.craft
    )
    assert kept.steady_m_s == pytest.approx(by_hand, rel=ROADS_REL)
    assert by_hand > 2.0 * kept.steady_m_s_year


def test_nothing_is_kept_without_forces_or_where_all_sink_together(bare: Outcome) -> None:
    assert keeping_of(bare.scenario, bare.ring, bare.plans[:1], bare.kept) == (None,)
    assert _kept(bare, _low('with_drag = "together"')).steady_m_s_year == 0.0


def _hold(trims: tuple[Trim, ...], until_s: float) -> ForcedHold:
    nothing = np.zeros((2, 2))
    return ForcedHold(
        craft=None,
        leaves_s=math.inf,
        down=False,
        looked_s=until_s,
        lost=None,
        begin_s=0.0,
        names=("Teal", "Sage"),
        times_s=np.array([0.0, until_s]),
        spacing_rad=nothing,
        kept_times_s=np.array([0.0, until_s]),
        kept_rad=nothing,
        band_rad=0.01,
        trims=trims,
        trim_m_s_year=0.0,
        make_up_m_s_year=0.0,
        eccentricity=0.0,
        oval_s=math.inf,
        low_s=math.inf,
        start=MeanOrbits.of([np.array([[1.0, 0.0, 0.0, 0.0, 1.0, 0.0]])] * 2, np.ones(1), 1.0),
    )


def test_trims_count_until_the_hold_is_over(bare: Outcome) -> None:
    steady = _kept(bare, _low())
    trims = tuple(
        Trim(craft="Teal", time_s=at * YEAR_S, along_m_s=burn) for at, burn in ((0.1, 0.5), (1.5, -0.25), (3.0, 9.0))
    )
    found = {one.craft: one.trims_m_s for one in with_trims(steady, _hold(trims, 10.0 * YEAR_S)).craft}
    assert found == {"Teal": 0.75, "Sage": 0.0}
    # a forecast that ends before says nothing
    assert {one.trims_m_s for one in with_trims(steady, _hold(trims, YEAR_S)).craft} == {None}


def test_the_sheet_of_a_craft_has_its_own_trims(bare: Outcome) -> None:
    days = tuple(Trim(craft="Teal", time_s=86_400.0 * day, along_m_s=-0.002 * day) for day in range(1, 7))
    hold = _hold((*days, Trim(craft="Sage", time_s=1.0e6, along_m_s=0.5)), YEAR_S)
    said = own_trims_text(bare, hold, "Teal")
    assert said.count("mm/s back") == 4
    assert "6.00 mm/s back" in said
    assert "and 2 more" in said
    assert "500.00 mm/s forward" in own_trims_text(bare, hold, "Sage")
    assert own_trims_text(bare, _hold((), YEAR_S), "Teal") == ""


@pytest.mark.parametrize("tank", [40.0, pytest.param(12.0, marks=pytest.mark.soak)])
def test_the_budget_has_insertion_keeping_and_both(tank: float) -> None:
    outcome = outcome_of(replace(_low(forces="", tank=tank), forces=None))
    kept = with_trims(_kept(outcome, _low(tank=tank)), _hold((), 10.0 * YEAR_S))
    found = make_budget(outcome, 2_000, keeping=kept)
    values = json.loads(budget_json(found))["keeping"]
    text = " ".join(budget_text(found, 80).split())
    assert values["hold_s"] == pytest.approx(2.0 * YEAR_S, rel=ROADS_REL)
    for row, own in zip(values["craft"], found.craft, strict=True):
        assert row["both_m_s"] == pytest.approx(row["way_p99_m_s"] + row["keeping_m_s"], rel=ROADS_REL)
        assert row["way_p99_m_s"] == own.delta_v_m_s[-1].value
        reserve, holds = (5.0, tank) if row["craft"] == "Teal" else (0.0, 40.0)
        exhaust = 220.0 * G0
        # drag alone is a force: so much a second is burned, whatever the mass
        for_drag = (100.0 + holds) * row["keeping_m_s"] / exhaust
        needs = [
            (100.0 * math.exp(kept / exhaust) + for_drag) * math.exp(row["way_p99_m_s"] / exhaust) - 100.0
            for kept in (reserve, 0.0)
        ]
        assert row["both_kg"] == pytest.approx(needs[0], rel=FLOWN_REL)
        assert row["way_p99_kg"] + row["keeping_kg"] == pytest.approx(row["both_kg"], rel=ROADS_REL)
        assert (f"{row['craft']} DOES NOT LAST" in text) == (needs[1] > holds)
    assert "With keeping" in text
    assert "TRIMS OF RATES ARE NOT KNOWN" not in text


def test_the_load_by_the_equation_of_the_mass() -> None:
    """dm/dt = -(F + c m) / w, backward from the dry mass, by scipy's integrator; then the rocket equation."""
    [craft, *_] = _low().craft
    one = CraftKeeping(
        craft="Teal",
        from_s=0.0,
        moved=True,
        drag_m_s_year=60.0,
        east_west_m_s_year=2.0,
        north_south_m_s_year=45.0,
        trims_m_s=3.0,
    )
    kept = Keeping(
        craft=(one,),
        done_s=0.0,
        hold_s=4.0 * YEAR_S,
        keeps_plane=True,
        pole_drift_rad_year=0.01,
        band_rad=0.1,
        drag=True,
    )
    exhaust = 220.0 * G0
    force, share = 60.0 * 140.0 / YEAR_S, (47.0 + 3.0 / 4.0) / YEAR_S
    begin = 100.0 * math.exp(5.0 / exhaust)
    solved = solve_ivp(
        lambda _, mass: (force + share * mass) / exhaust, (0.0, 4.0 * YEAR_S), [begin], rtol=1e-10, max_step=YEAR_S
    )
    by_hand = float(solved.y[0, -1]) * math.exp(80.0 / exhaust) - 100.0
    assert kept_load_kg(craft, 80.0, kept, one) == pytest.approx(by_hand, rel=FLOWN_REL)


def test_unknown_trims_are_said(bare: Outcome) -> None:
    text = budget_text(make_budget(bare, 500, keeping=_kept(bare, _low())), 80)
    assert "TRIMS OF RATES ARE NOT KNOWN, AND NOT IN IT" in " ".join(text.split())
    assert "keeping" not in json.loads(budget_json(make_budget(bare, 500)))


def test_trims_are_those_of_the_flight_under_these_forces(bare: Outcome, monkeypatch: pytest.MonkeyPatch) -> None:
    """The flight itself is for ``test_under_forces.py``; it is asked for the plan with the forces put back."""
    asked: list[Outcome] = []

    def flown(outcome: Outcome, plan: Plan) -> tuple[Plan, UnderForces]:
        asked.append(outcome)
        hold = _hold((Trim(craft="Sage", time_s=0.0, along_m_s=0.25),), 10.0 * YEAR_S)
        chosen = chosen_forces(outcome.scenario)
        return plan, UnderForces(chosen=chosen, craft=(), common_shift_rad=0.0, at_s=0.0, span_s=1.0, hold=hold)

    monkeypatch.setattr(module, "under_forces", flown)
    kept = keeping_with_trims(bare, _low())
    assert kept is not None
    assert {one.craft: one.trims_m_s for one in kept.craft} == {"Teal": 0.0, "Sage": 0.25}
    assert [one.scenario for one in asked] == [_low()]
    assert keeping_with_trims(bare, bare.scenario) is None


def _other(plan: Plan, rank: int, later_s: float, dearer_m_s: float) -> Plan:
    """A plan whose first craft comes so much later, the others as early."""
    first, *rest = plan.craft
    moved = replace(first, in_slot_s=first.in_slot_s + later_s)
    return replace(
        plan,
        rank=rank,
        craft=(moved, *rest),
        finish_s=max(plan.finish_s, moved.in_slot_s),
        delta_v_m_s=plan.delta_v_m_s + dearer_m_s,
    )


def test_plan_against_plan(bare: Outcome) -> None:
    """A ring that is complete a month later keeps the others for a month more, which may turn the choice."""
    scenario, plan = _low(), bare.plans[0]
    late = replace(_other(plan, 1, 30.0 * 86_400.0, 0.0), broken=())
    soon = replace(_other(plan, 2, 0.0, 0.5), broken=())
    kept = keeping_of(scenario, bare.ring, (late, soon), bare.kept)
    plans = tuple(replace(one, keeping=own) for one, own in zip((late, soon), kept, strict=True))
    assert kept[0] is not None
    assert kept[1] is not None
    others_m_s_year = kept[0].steady_m_s_year - kept[0].craft[0].steady_m_s_year
    # as much as the one that is late was to come last in the other plan, too
    gap_s = plans[0].finish_s - plans[1].finish_s
    lost_s = 30.0 * 86_400.0 - gap_s
    more = others_m_s_year * gap_s / YEAR_S - kept[0].craft[0].steady_m_s_year * lost_s / YEAR_S
    assert kept[0].steady_m_s - kept[1].steady_m_s == pytest.approx(more, rel=FLOWN_REL)
    assert more > 1.0
    outcome = replace(bare, scenario=scenario, plans=plans)
    text = " ".join(" ".join(plan_keeping_lines(outcome, plans[0], 80)).split())
    assert "With keeping plan 2 takes the least, without it plan 1." in text
    written = result(outcome)
    jsonschema.validate(written, result_schema())
    row = written["plans"][0]
    assert row["keeping"]["with_plan_m_s"] == pytest.approx(row["delta_v_m_s"] + kept[0].steady_m_s, rel=FLOWN_REL)
    same = replace(outcome, plans=(plans[0], replace(plans[0], rank=3)))
    assert "It is the same for every plan listed" in " ".join(" ".join(plan_keeping_lines(same, plans[0], 80)).split())


def test_a_sweep_over_altitude_sees_it() -> None:
    """Keeping falls with the altitude as the density does, and the sum names another point than the plan alone."""
    altitudes = "ring.altitude_km,craft.Teal.orbit.altitude_km,craft.Sage.orbit.altitude_km=400,500"
    over = grid(_text(), "low.toml", (), (altitudes,))
    rows = [plan_point(over.text, over.file, settings_of(over, point), point) for point in over.points]
    low, high = rows
    assert low.keeping_m_s_year is not None
    assert high.keeping_m_s_year is not None
    # densities of 400 and 500 km by Vallado 2013, table 8-4; the rest changes by (v / v)^2 and the like
    assert low.keeping_m_s_year / high.keeping_m_s_year == pytest.approx(3.725e-12 / 6.967e-13, rel=TWO_FIRST_ORDER_REL)
    for row in rows:
        assert row.delta_v_m_s is not None
        assert row.with_keeping_m_s is not None
        assert row.with_keeping_m_s > row.delta_v_m_s + 2.0 * (row.keeping_m_s_year or 0.0) - SCREEN_M_S
        assert row.with_keeping_kg is not None
    text = " ".join(sweep_text("Two low", "delta_v", over, [text_row(row) for row in rows]).split())
    assert "Least of both at altitude_km 500." in text
    figure = draw_sweep("Two low", "delta_v", over, [text_row(row) for row in rows])
    assert [axes.get_ylabel() for axes in figure.axes][1:3] == [
        "keeping all craft, m/s a year",
        "both: plan and keeping, m/s",
    ]


GROUND = """
epoch = 2031-05-01T00:00:00Z
body = {{ name = "earth" }}
ring = {{ longitude_deg = 120, slots = 1, tolerance_deg = 0.1, tilt_tolerance_deg = {tilt} }}
limits = {{ revolutions_max = 6 }}
forces = {{ degree = 4, sunlight = false }}
craft = [{{ name = "Teal", orbit = {{ radius_km = 42164.7, angle_deg = 0 }} }}]
"""


@pytest.mark.parametrize("tilt", [0.4, 0.0])
def test_a_synchronous_ring_is_kept_east_west_and_in_its_plane(tilt: float) -> None:
    """Over 120 E 2.06 m/s a year (Soop 1983, table; within what its extrapolation leaves); north-south v times a drift
    of 0.75 to 0.95 deg a year, where a tilt is named."""
    scenario = parse_scenario(GROUND.format(tilt=tilt))
    plain = outcome_of(replace(scenario, forces=None))
    [one] = _kept(plain, scenario).craft
    assert one.east_west_m_s_year == pytest.approx(2.06, rel=THREE_FIRST_ORDER_REL)
    assert one.drag_m_s_year == 0.0
    if tilt == 0.0:
        assert one.north_south_m_s_year == 0.0
        return
    low, high = (3_074.66 * math.radians(drift) for drift in (0.745, 0.955))
    assert low < one.north_south_m_s_year < high
    kept = replace(plain.plans[0], keeping=_kept(plain, scenario))
    text = " ".join(" ".join(plan_keeping_lines(replace(plain, scenario=scenario, plans=(kept,)), kept, 80)).split())
    assert "deg a year, on the mean over its hold. To stay within 0.40 deg" in text
    assert f"{one.north_south_m_s_year:.1f} m/s a year north-south" in text


def test_a_plane_that_nobody_is_known_to_turn_is_said() -> None:
    text = GROUND.format(tilt=0.4).replace("degree = 4", "degree = 4, sun = false, moon = false")
    scenario = parse_scenario(text)
    plain = outcome_of(replace(scenario, forces=None))
    kept = replace(plain.plans[0], keeping=_kept(plain, scenario))
    said = " ".join(" ".join(plan_keeping_lines(replace(plain, scenario=scenario, plans=(kept,)), kept, 80)).split())
    assert "WHAT KEEPING ITS PLANE TAKES IS NOT IN IT" in said


def test_other_bodies_turn_the_plane_however_wide_the_slots_are() -> None:
    """With 20 deg of tolerance for a month Sun and Moon are left out of the flight; the plane turns all the same."""
    texts = [
        GROUND.format(tilt=0.4),
        GROUND.format(tilt=0.4).replace("tolerance_deg = 0.1", "tolerance_deg = 20, hold_for_d = 30", 1),
    ]
    close, wide = map(parse_scenario, texts)
    assert "Moon" in chosen_forces(close).flown
    assert "Moon" not in chosen_forces(wide).flown
    plain = outcome_of(replace(close, forces=None))
    drifts = [_kept(plain, scenario).pole_drift_rad_year for scenario in (close, wide)]
    assert drifts[0] is not None
    assert drifts[0] == drifts[1]


def test_a_plane_that_stays_in_its_band_takes_nothing() -> None:
    """In a year it turns by less than a degree: 1 deg either way is not used up, 0.4 deg is."""
    scenario = parse_scenario(GROUND.format(tilt=1.0))
    plain = outcome_of(replace(scenario, forces=None))
    kept = replace(plain.plans[0], keeping=_kept(plain, scenario))
    assert kept.keeping is not None
    assert kept.keeping.craft[0].north_south_m_s_year == 0.0
    assert kept.keeping.pole_drift_rad_year is not None
    said = " ".join(" ".join(plan_keeping_lines(replace(plain, scenario=scenario, plans=(kept,)), kept, 80)).split())
    assert "Begun level it stays within 1.00 deg without a burn." in said


@pytest.mark.soak
def test_a_ring_that_keeps_itself_needs_no_table() -> None:
    together = 'with_drag = "together"'
    outcome = outcome_of(_low(together, forces=""))
    kept = with_trims(_kept(outcome, _low(together)), _hold((), 10.0 * YEAR_S))
    text = " ".join(budget_text(make_budget(outcome, 500, keeping=kept), 80).split())
    assert "Keeping the ring for 2.0 years takes less than 0.1 m/s more." in text
    assert "Less than 0.1 m/s for each craft, and no more to load." in text
