"""Plans over oblate bodies: flown with J2, corrected, and no different from before where there is none.

Theory for the first guess, by epicycles about a circle over the equator (Binney and Tremaine, Galactic Dynamics 2008,
section 3.2.3, applied to GM/r (1 + eps/2 (R/r)^2), eps = J2 (Re / R)^2; from memory, the arithmetic is ours): a burn
dv along the track changes the mean rate by -3 dv/v (1 + 4 eps), where planning by ratios of periods takes -3 dv/v; the
apsis comes round 3/2 eps of a period late, and the craft gains meanwhile. Together the slot is passed by 11/2 eps of
the angle gained, whatever the number of revolutions.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from importlib import resources
from itertools import pairwise

import pytest

from ringwright.models import oblate_coast as coast
from ringwright.models import oblateness
from ringwright.models.flight.integrate import Impulse, Itinerary, Oblate, fly, measure
from ringwright.models.insertions import Insertion
from ringwright.models.reading.scenario_reader import parse_scenario, read_scenario
from ringwright.models.scenario import Body, Craft, LimitSpec, Orbit, Pad, RingSpec, Scenario
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.plan import make_plan
from ringwright.reports.flown_words import gravity_of
from ringwright.reports.result import result
from ringwright.reports.terminal import plan_text
from ringwright.tests.tolerances import (
    CHAIN_REL,
    CORRECTED_REL,
    ESTIMATED_REL,
    FIRST_ORDER_REL,
    OFF_DEG,
    ROADS_REL,
    SUMMED_M_S,
    WRITTEN_S,
)

from ...planned import BULGE_ALONE, outcome_of

IN_PLANE_DEG, CORRECTED_PLANE_DEG = 1e-6, 2e-4
"""Over the equator nothing leaves the plane; elsewhere the corrector stops at 1e-6 rad, a plane weighed by 0.3."""
SHORT_OF_A_DEMAND_DEG = 1e-3
"""Corrected plans meet their slots to this."""

CASES = {
    "low Mars": (42828.375e9, 3396.2e3, 1.96045e-3, 560e3),
    "low Earth": (398600.4418e9, 6378.1363e3, 1.082626174e-3, 900e3),
    "medium Earth": (398600.4418e9, 6378.1363e3, 1.082626174e-3, 10_000e3),
    "a flat world of ours": (9120.5e9, 1210e3, 6e-3, 800e3),
}


def world(name: str) -> Body:
    gm, radius, j2, _ = CASES[name]
    return Body(name=name, gm=gm, radius_m=radius, j2=j2, j2_radius_m=radius)


def on_the_ring(name: str, lead_deg: float) -> Scenario:
    body, altitude = world(name), CASES[name][3]
    radius = body.radius_m + altitude
    return Scenario(
        title="one craft on the ring",
        body=body,
        ring=RingSpec(radius_m=radius, slots=1, slot0_rad=math.radians(lead_deg)),
        craft=(Craft(name="Awl", orbit=Orbit(periapsis_m=radius, apoapsis_m=radius, angle_rad=0.0)),),
        limits=LimitSpec(clearance_m=50e3, revolutions_max=7),
    )


@cache
def planned(name: str, lead_deg: float) -> Outcome:
    return outcome_of(on_the_ring(name, lead_deg))


def test_first_guess_misses_by_what_theory_says(capsys: pytest.CaptureFixture[str]) -> None:
    rows = []
    for name in CASES:
        for lead_deg in (120.0, -120.0):
            outcome = planned(name, lead_deg)
            body, ring = outcome.scenario.body, outcome.ring
            eps = body.j2 * (body.j2_radius_m / ring.radius_m) ** 2
            for plan in (plan for plan in outcome.plans if not plan.broken):
                [part] = plan.craft
                if part.revolutions < 6:
                    continue
                assert part.first_guess_error_rad is not None
                gained = 2.0 * math.pi * (part.revolutions - part.ring_revolutions) + part.lead_rad
                theory = 5.5 * eps * gained
                rows.append((name, part.revolutions, gained, part.first_guess_error_rad, theory, part.flown))
                # second order in eps and in the eccentricity of the phasing orbit
                assert part.first_guess_error_rad == pytest.approx(theory, rel=ESTIMATED_REL)
                assert abs(math.degrees(part.flown.slot_error_rad)) < SHORT_OF_A_DEMAND_DEG
    assert {row[0] for row in rows} == set(CASES)
    with capsys.disabled():
        print("\n  world                 revolutions  gained deg  first guess off by deg  theory deg  corrected deg")
        for name, revolutions, gained, guess, theory, flown in rows:
            print(
                f"  {name:20s}  {revolutions:11d}  {math.degrees(gained):10.1f}  {math.degrees(guess):22.4f}"
                f"  {math.degrees(theory):10.4f}  {math.degrees(flown.slot_error_rad):13.1e}"
            )


def bundled() -> list[str]:
    """Those that are flown over the oblate body alone; the others have their own flight."""
    folder = resources.files("ringwright.scenarios")
    found = [item for item in folder.iterdir() if item.name.endswith(".toml")]
    return sorted(item.name for item in found if "\n[forces]" not in item.read_text(encoding="utf-8"))


def _scenario(name: str, *settings: str) -> Scenario:
    return read_scenario(str(resources.files("ringwright.scenarios") / name), list(settings))


QUICK = ("low-mars.toml", "one-craft-mars.toml")


@pytest.mark.parametrize("name", [n if n in QUICK else pytest.param(n, marks=pytest.mark.soak) for n in bundled()])
def test_every_bundled_scenario_is_flown_within_its_tolerance(name: str) -> None:
    outcome = outcome_of(_scenario(name, BULGE_ALONE))
    tolerance = outcome.scenario.ring.tolerance_rad
    if outcome.scenario.body.j2 != 0.0:
        assert gravity_of(outcome) == "j2"
    for plan in outcome.plans:
        for part in plan.craft:
            assert abs(part.flown.slot_error_rad) < tolerance
            # dropped straight into its slot, a craft cannot mend where its carrier arrived
            level = part.route == "carrier" and part.revolutions == 0
            assert abs(math.degrees(part.flown.slot_error_rad)) < (0.1 if level else SHORT_OF_A_DEMAND_DEG)
            assert abs(part.flown.period_error_s) < CORRECTED_REL * outcome.ring.period_s
            flat = math.sin(outcome.ring.inclination_rad) == 0.0
            plane_deg = IN_PLANE_DEG if flat else CORRECTED_PLANE_DEG
            if part.route == "carrier":
                # a craft dropped later finds the ring plane apart by its drift meanwhile
                plane_deg = math.degrees(outcome.scenario.ring.tilt_tolerance_rad)
            elif part.route == "drift":
                plane_deg = 0.01
            elif not flat and part.route == "shift":
                # planes that drift apart by less than 0.001 deg while phasing are left so
                plane_deg = 0.0025
            assert math.degrees(part.flown.plane_error_rad) < plane_deg
    assert [plan.rank for plan in outcome.plans] == list(range(1, len(outcome.plans) + 1))


@pytest.mark.parametrize("name", QUICK)
def test_without_oblateness_nothing_is_corrected(name: str) -> None:
    outcome = outcome_of(_scenario(name, "body.j2=0", BULGE_ALONE))
    assert gravity_of(outcome) == "two-body"
    written = result(outcome)
    assert outcome.plans
    for plan, shown in zip(outcome.plans, written["plans"], strict=True):
        for part, printed in zip(plan.craft, shown["craft"], strict=True):
            assert part.first_guess_error_rad is None
            if part.phasing_burn is not None and part.phasing_period_s is not None:
                assert part.cut_off_period_s == pytest.approx(part.phasing_period_s, rel=ROADS_REL)
            assert set(printed["flown"]) == {"slot_error_deg", "period_error_s", "plane_error_deg", "lowest_km"}
            # the phasing is that of Kepler's laws to the last digit
            if part.revolutions:
                assert part.in_slot_s - part.ring_arrival_s == pytest.approx(
                    part.revolutions * (part.phasing_period_s or 0.0), rel=CHAIN_REL
                )


def test_figures_of_a_corrected_plan_agree_with_one_another() -> None:
    outcome = planned("low Mars", 120.0)
    written = result(outcome)
    assert written["model"]["gravity"] == "j2"
    assert written["plans"]
    for plan in written["plans"]:
        [part] = plan["craft"]
        total = sum(burn["delta_v_m_s"] for burn in part["burns"])
        assert plan["delta_v_m_s"] == pytest.approx(total, abs=SUMMED_M_S)
        assert part["in_slot_s"] == pytest.approx(part["burns"][-1]["time_s"], abs=WRITTEN_S)
        assert abs(part["flown"]["first_guess_error_deg"]) > 100.0 * abs(part["flown"]["slot_error_deg"])
    costs = [plan["delta_v_m_s"] for plan in written["plans"]]
    assert costs == sorted(costs)
    front = written["front"]
    assert front
    for sooner, later in pairwise(front):
        assert later["finish_s"] > sooner["finish_s"]
        assert later["delta_v_m_s"] < sooner["delta_v_m_s"]
    text = plan_text(outcome, 80)
    assert "oblateness (J2)" in " ".join(text.split())
    part_one = outcome.plans[0].craft[0]
    assert part_one.cut_off_period_s == part_one.burns[0].period_after_s


def test_burns_of_a_plan_lead_into_the_slot_when_flown_again() -> None:
    """Only what the result states is used: start on the ring, burns, ring rates by the published secular theory."""
    outcome = planned("low Earth", -120.0)
    body, ring = outcome.scenario.body, outcome.ring
    part = outcome.plans[0].craft[0]
    r, v = oblateness.ring_state(body, ring.radius_m, 0.0, 0.0, 0.0)
    burns = [Impulse(b.time_s, b.radial_m_s, b.along_m_s, b.cross_m_s) for b in part.burns]
    [flight] = fly(
        [Itinerary.through_turn(0.0, r, v, burns, ring)], Oblate(gm=body.gm, j2=body.j2, j2_radius=body.j2_radius_m)
    )
    assert abs(math.degrees(measure(flight, ring, 0, 0).slot_error_rad)) < SHORT_OF_A_DEMAND_DEG


PAD = Pad(
    name="Reed bank",
    ascent_s=500.0,
    downrange_rad=0.3,
    turnaround_s=3600.0,
    insertions=(Insertion(name="", periapsis_m=6378.1363e3 - 250e3, apoapsis_m=15_378.1363e3, radius_m=6563.1363e3),),
)


@cache
def launched() -> Outcome:
    body = replace(world("medium Earth"), sidereal_day_s=86164.1)
    ring = RingSpec(radius_m=15_378.1363e3, slots=3, slot0_rad=0.4)
    craft = tuple(Craft(name=name) for name in ("Teal", "Sieve"))
    limits = LimitSpec(clearance_m=100e3, revolutions_max=3, finish_within_s=2e5)
    return outcome_of(Scenario(title="two launches", body=body, ring=ring, craft=craft, limits=limits, pads=(PAD,)))


def test_launched_craft_burn_where_the_coast_really_turns() -> None:
    outcome = launched()
    assert any("below the ring" in note for note in outcome.notes)
    assert outcome.plans
    for plan in outcome.plans:
        for part in plan.craft:
            assert abs(math.degrees(part.flown.slot_error_rad)) < SHORT_OF_A_DEMAND_DEG
            # what is left of the insertion that turns short of the ring
            assert 1e-3 < part.flown.eccentricity < 4e-3
            # arriving in place is planned with the flown coast, so the first guess is right already
            if part.side == "level":
                assert abs(math.degrees(part.first_guess_error_rad or 1.0)) < OFF_DEG


def test_equivalent_speed_undoes_the_real_one() -> None:
    outcome = launched()
    body, ring = outcome.scenario.body, outcome.ring
    at = ring.radius_m * (1.0 - 2e-3)
    settled = coast.real_speed(body, ring, ring.speed_m_s, at)
    assert coast.equivalent_speed(body, ring, settled, at) == pytest.approx(ring.speed_m_s, rel=CHAIN_REL)


PARKED = """
[body]
name = "earth"
prime_meridian_deg = 222.0
[ring]
altitude_km = 1050.0
slots = 1
inclination_deg = 52.0
node_deg = 266.0
slot0_deg = {slot0_deg}
[limits]
clearance_km = 200.0
revolutions_max = 0
[forces]
further = false
[launch]
latitude_deg = 31.0
longitude_deg = -48.0
ready_h = {ready_h}
until_h = {until_h}
ascent_min = 9.5
downrange_deg = 19.0
insertion = {{ periapsis_km = 520.0, apoapsis_km = 520.0 }}
[[craft]]
name = "Squall"
"""


@pytest.mark.parametrize(("slot0_deg", "ready_h"), [(0.0, 55.2), (270.0, 0.0), (0.0, 31.5)])
def test_a_craft_that_waits_in_a_parking_orbit_pays_the_transfer_alone(slot0_deg: float, ready_h: float) -> None:
    """The Hohmann total (Vallado, Fundamentals of Astrodynamics and Applications, section 6.3.1), no radial burn."""
    text = PARKED.format(slot0_deg=slot0_deg, ready_h=ready_h, until_h=ready_h + 10.0)
    [part] = make_plan(parse_scenario(text), brief=True).plans[0].craft
    gm, low, high = 398600.4355e9, 6898.1366e3, 7428.1366e3
    semi = 0.5 * (low + high)
    hohmann = math.fsum(abs(math.sqrt(gm / r) - math.sqrt(gm * (2.0 / r - 1.0 / semi))) for r in (low, high))
    assert part.delta_v_m_s == pytest.approx(hohmann, rel=FIRST_ORDER_REL)
    assert part.ring_arrival_s == pytest.approx(part.burns[-1].time_s, abs=WRITTEN_S)
    assert part.in_slot_s >= part.ring_arrival_s
