"""Going on from what was seen: nothing lost while all is as planned, and a new plan where it is not."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import UTC, datetime
from functools import lru_cache

import numpy as np
import pytest
from sgp4.api import WGS72, Satrec
from sgp4.exporter import export_tle
from sgp4.propagation import gstime

from ringwright.models.bodies import terrestrial_days
from ringwright.models.errors import InputError
from ringwright.models.flight.integrate import PointMass, fly
from ringwright.models.orbit_of_state import orbit_of_state
from ringwright.models.reading.observed import parse_observed
from ringwright.models.ring import Ring
from ringwright.models.standard_frames import sidereal_less_rotation
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.replan.answer import Replan
from ringwright.optimizer.replan.replan import replan
from ringwright.reports.replan import replan_json, replan_text
from ringwright.tests.tolerances import (
    CENTIMETER_M,
    DECIMETER_M,
    FIRST_ORDER_RAD,
    FLOAT,
    FLOAT_M_S,
    FLOAT_S,
    OFF_DEG,
    REACHED_RAD,
    ROADS_REL,
    SCREEN_M_S,
    SECOND_S,
    SIX_DECIMALS,
)
from ringwright.tests.worlds import ELLORY, heavy, ring

from ...planned import outcome_of, scenario_of
from ..routes.test_carrier import world

ROUND = f"""
title = "Round world"
{ELLORY}{ring(6000.0, 4)}[[ring.occupied]]
name = "Moor"
slot = 0
[limits]
revolutions_max = 8
[launch]
latitude_deg = 0.0
longitude_deg = 0.0
turnaround_h = 30.0
ready_h = 4.0
insertion = {{ periapsis_km = -100.0, apoapsis_km = 6000.0, altitude_km = 120.0 }}
{heavy("Heath", 250.0)}{heavy("Fen", 250.0)}\
orbit = {{ periapsis_km = 5000.0, apoapsis_km = 6000.0, angle_deg = 140.0, at = "apoapsis" }}
"""
SPEED_M_S = 0.01
"""What a plan gone on with may cost more: readings carry the flight's own error, below a millimeter a second."""


@lru_cache(maxsize=4)
def _before() -> Outcome:
    return outcome_of(scenario_of(ROUND))


def _go_on(text: str) -> Replan:
    before = _before()
    return replan(before, parse_observed(text, before.scenario, before.ring))


def _moments() -> list[float]:
    plan = _before().plans[0]
    events = {
        0.0,
        *(part.launch_s or 0.0 for part in plan.craft),
        *(b.time_s for part in plan.craft for b in part.burns),
    }
    return sorted({event + after for event in events for after in (0.0, 3000.0)})


@pytest.mark.parametrize("index", range(len(_moments())))
def test_after_any_prefix_flown_exactly_the_plan_goes_on(index: int) -> None:
    now = _moments()[index]
    old = _before().plans[0]
    done = _go_on(f"now_s = {now!r}\n")
    assert done.total_m_s == pytest.approx(old.delta_v_m_s, abs=FLOAT_M_S)
    assert done.finish_s == pytest.approx(old.finish_s, abs=FLOAT_S)
    assert all(change.same for change in done.changes)
    assert {change.craft for change in done.changes} | set(done.remaining.done) == {part.craft for part in old.craft}


def test_a_state_read_where_the_plan_has_it_leads_to_the_same_rest() -> None:
    # replanned, with no memory of the old plan: the readings alone lead back to it
    before, old = _before(), _before().plans[0]
    part = next(one for one in old.craft if one.craft == "Fen")
    assert part.itinerary is not None
    first, last = part.burns[0].time_s, part.burns[-1].time_s
    now = 0.5 * (first + last)
    flown = replace(part.itinerary, impulses=tuple(b for b in part.itinerary.impulses if b.time_s <= now), end_s=now)
    [flight] = fly([flown], PointMass(gm=before.scenario.body.gm))
    axes = zip(("x", "y", "z"), flight.end_state[:3], flight.end_state[3:], strict=True)
    state = ", ".join(f"{a}_m = {r!r}, v{a}_m_s = {v!r}" for a, r, v in ((a, float(r), float(v)) for a, r, v in axes))
    done = _go_on(f'now_s = {now!r}\n[[craft]]\nname = "Fen"\nstate = {{ {state} }}\n')
    assert not done.remaining.as_planned
    change = next(one for one in done.changes if one.craft == "Fen")
    assert change.new.slot == part.slot
    assert change.in_slot_s == pytest.approx(part.in_slot_s, abs=SECOND_S)
    assert done.total_m_s <= old.delta_v_m_s + SPEED_M_S
    assert done.finish_s <= old.finish_s + 1.0


def test_an_overshot_period_from_below_costs_nothing() -> None:
    before, old = _before(), _before().plans[0]
    part = next(one for one in old.craft if one.craft == "Fen")
    burn = part.burns[0]
    ring = before.ring
    # a third of the way on from the period at cut-off to the ring's
    period = burn.period_after_s + 0.33 * (ring.period_s - burn.period_after_s)
    now = burn.time_s + 60.0
    touch = math.degrees(float(ring.phase(part.in_slot_s, part.slot)))
    semi = (ring.gm * (period / (2.0 * math.pi)) ** 2) ** (1.0 / 3.0)
    speed = math.sqrt(ring.gm * (2.0 / ring.radius_m - 1.0 / semi))
    arrival = math.sqrt(ring.gm * (2.0 / ring.radius_m - 2.0 / (ring.radius_m + 8.4e6)))
    assert part.propellant_kg is not None
    assert part.propellant_left_kg is not None
    wet = 200.0 + part.propellant_kg + part.propellant_left_kg
    left = wet * math.exp(-(speed - arrival) / (300.0 * 9.80665)) - 200.0
    done = _go_on(
        f'now_s = {now!r}\n[[craft]]\nname = "Fen"\npropellant_kg = {left!r}\norbit = {{ period_s = {period!r}, '
        f'apoapsis_km = 6000.0, at = "apoapsis", at_s = {burn.time_s!r}, angle_deg = {touch!r} }}\n'
    )
    change = next(one for one in done.changes if one.craft == "Fen")
    assert change.spent_m_s + change.rest_m_s == pytest.approx(ring.speed_m_s - arrival, abs=SCREEN_M_S)
    assert change.in_slot_s > part.in_slot_s


def test_an_orbit_that_does_not_touch_the_ring_is_a_start() -> None:
    alone = ROUND.replace("slots = 4", "slots = 2").replace("revolutions_max = 8", "revolutions_max = 1")
    ground = alone[alone.index("[[craft]]") : alone.index('[[craft]]\nname = "Fen"')]
    scenario = scenario_of(alone.replace(ground, ""))
    before = outcome_of(scenario)
    text = """now_h = 1.0
[[craft]]
name = "Fen"
orbit = { periapsis_km = 5200, apoapsis_km = 6900, at = "periapsis", at_h = 0.5, ahead_of = "Moor", ahead_deg = 30 }
"""
    done = replan(before, parse_observed(text, scenario, before.ring))
    assert done.remaining.stepped
    assert done.outcome is not None
    [fen] = done.outcome.plans[0].craft
    assert fen.route == "timed"
    assert abs(fen.flown.slot_error_rad) < math.radians(OFF_DEG)
    assert "free-form" in replan_text(done, 80)


def test_a_lost_craft_leaves_its_slot_to_the_others() -> None:
    done = _go_on('now_h = 1.0\n[[craft]]\nname = "Fen"\nstatus = "lost"\n')
    assert done.remaining.lost == ("Fen",)
    assert [change.craft for change in done.changes] == ["Heath"]
    text = replan_text(done, 80)
    assert "Lost: Fen" in text
    assert all(len(line) <= 80 for line in text.splitlines())
    assert '"ringwright-replan/1"' in replan_json(done)


FEN = '[[craft]]\nname = "Fen"\n'
ORBIT = FEN + "orbit = {{ {0} }}\n"
BROKEN = {
    "no moment": ("", "needs at least now_h"),
    "another key": ("now_h = 1\nthen_h = 2\n", "then_h is not a key"),
    "nobody": ('now_h = 1\n[[craft]]\nname = "Brae"\n', "whose craft are Heath, Fen"),
    "twice": ("now_h = 1\n" + FEN + FEN, "a second time"),
    "swapped": (
        "now_h = 1\n"
        + ORBIT.format('periapsis_km = 6000, apoapsis_km = 5000, at = "apoapsis", at_h = 0, angle_deg = 0'),
        "swap them",
    ),
    "no orbit": (
        "now_h = 1\n" + ORBIT.format('period_h = 1, periapsis_km = 6000, at = "apoapsis", at_h = 0, angle_deg = 0'),
        "fits no orbit with",
    ),
    "three that differ": (
        "now_h = 1\n"
        + ORBIT.format(
            'period_h = 9, periapsis_km = 5000, apoapsis_km = 6000, at = "apoapsis", at_h = 0, angle_deg = 0'
        ),
        "fits no orbit with these apsides",
    ),
    "a neighbor that is not there": (
        "now_h = 1\n"
        + ORBIT.format(
            'periapsis_km = 5000, apoapsis_km = 6000, at = "apoapsis", at_h = 0, ahead_of = "Brae", ahead_deg = 9'
        ),
        "there are: Moor",
    ),
    "the future": (
        "now_h = 1\n"
        + ORBIT.format('periapsis_km = 5000, apoapsis_km = 6000, at = "apoapsis", at_h = 3, angle_deg = 0'),
        "after now",
    ),
    "done with an orbit": (
        "now_h = 1\n" + FEN + 'status = "done"\norbit = { period_h = 8, angle_deg = 0 }\n',
        "cannot both be",
    ),
    "on the pad from space": ("now_h = 1\n" + FEN + 'status = "pad"\n', "in space from the start"),
    "more than the tank": ("now_h = 1\n" + FEN + "propellant_kg = 900\n", "began with"),
    "on no orbit": (
        "now_h = 1\n" + FEN + "state = { x_km = 9000, y_km = 0, z_km = 0, vx_km_s = 1, vy_km_s = 0, vz_km_s = 0 }\n",
        "on no orbit",
    ),
    "gone for good": (
        "now_h = 1\n" + FEN + "state = { x_km = 9000, y_km = 0, z_km = 0, vx_km_s = 0, vy_km_s = 9, vz_km_s = 0 }\n",
        "leave the body",
    ),
    "tilted": (
        "now_h = 1\n" + FEN + "state = { x_km = 9000, y_km = 0, z_km = 0, vx_km_s = 0, vy_km_s = 0, vz_km_s = 2 }\n",
        "tilted 90 deg",
    ),
    "no Earth": ("now_h = 1\n" + FEN + 'elements = ["1", "2"]\n', "give orbit or state"),
}


@pytest.mark.parametrize("name", BROKEN)
def test_broken_observations_are_refused_with_a_remedy(name: str) -> None:
    text, remedy = BROKEN[name]
    with pytest.raises(InputError, match=re.escape(remedy)):
        _go_on(text)


def test_orbits_of_states_lead_back_to_the_states() -> None:
    # by the numerical flight, which knows none of the formulas: back at the apsis named, at its time and angle
    ring = Ring(radius_m=9.4e6, slots=4, rate_rad_s=2.2e-4, slot0_rad=0.0, gm=4.2e13, inclination_rad=0.4, node_rad=1.0)
    from ringwright.models.flight.integrate import Itinerary
    from ringwright.models.frames import latitude_argument
    from ringwright.models.oblate_coast import apsis_state

    for anomaly in (0.3, 2.9, 3.5, 6.0):
        position, velocity = apsis_state(ring.gm, 8.0e6, 9.5e6, anomaly, 0.8, (0.4, 1.0))
        orbit, tilt = orbit_of_state(ring, position, velocity, 50_000.0, 0)
        assert tilt == pytest.approx(0.0, abs=REACHED_RAD)
        assert orbit.periapsis_m == pytest.approx(8.0e6, abs=CENTIMETER_M)
        assert orbit.apoapsis_m == pytest.approx(9.5e6, abs=CENTIMETER_M)
        assert orbit.at_s <= 50_000.0
        start = 0.0 if orbit.at == "periapsis" else math.pi
        then = apsis_state(ring.gm, orbit.periapsis_m, orbit.apoapsis_m, start, orbit.angle_rad, (0.4, 1.0))
        [flight] = fly(
            [Itinerary(start_s=orbit.at_s, position=then[0], velocity=then[1], end_s=50_000.0)], PointMass(gm=ring.gm)
        )
        assert flight.end_state[:3] == pytest.approx(position, abs=DECIMETER_M)
        assert float(latitude_argument(position, 0.4, 1.0)) == pytest.approx(0.8, abs=FLOAT)


def test_element_sets_are_read_by_the_library_and_turned_to_the_scenario_axes() -> None:
    epoch = datetime(2031, 5, 1, tzinfo=UTC)
    satellite = Satrec()
    semi_km, gm = 16_378.0, 398_600.8
    rate_min = math.sqrt(gm / semi_km**3) * 60.0
    days = (epoch - datetime(1949, 12, 31, tzinfo=UTC)).total_seconds() / 86_400.0
    satellite.sgp4init(WGS72, "i", 90001, days, 0.0, 0.0, 0.0, 1e-4, 0.3, 0.001, 1.2, rate_min, 0.7)
    lines = export_tle(satellite)
    text = ROUND.replace('name = "Ellory"\ngm_km3_s2 = 42000.0\nradius_km = 3400.0\n', 'name = "earth"\nj2 = 0.0\n')
    text = text.replace("atmosphere_top_km = 80.0\nsidereal_day_h = 24.0\n", "")
    text = text.replace("= 6000.0", "= 10000.0").replace('title = "Round world"', f"epoch = {epoch.isoformat()}")
    scenario = scenario_of(text)
    from ringwright.optimizer.problem.ring_phase import ring_of

    observed = parse_observed(f"now_h = 2\n{FEN}elements = {list(lines)!r}\n", scenario, ring_of(scenario))
    [seen] = observed.craft
    assert seen.orbit is not None
    code, position, velocity = satellite.sgp4(satellite.jdsatepoch, satellite.jdsatepochF + 2.0 / 24.0)
    assert code == 0
    semi = 0.5 * (seen.orbit.periapsis_m + seen.orbit.apoapsis_m)
    r, v = np.array(position) * 1e3, np.array(velocity) * 1e3
    assert semi == pytest.approx(1.0 / (2.0 / np.linalg.norm(r) - v @ v / scenario.body.gm), rel=ROADS_REL)
    assert seen.tilt_rad == pytest.approx(0.001, abs=FIRST_ORDER_RAD)
    # sidereal time as the library has it (IAU 1982), less the rotation angle of the IERS Conventions 2010, eq. 5.15
    julian = satellite.jdsatepoch + satellite.jdsatepochF
    rotation = 2.0 * math.pi * (0.7790572732640 + 1.00273781191135448 * (julian - 2451545.0))
    apart = math.remainder(gstime(julian) - rotation, 2.0 * math.pi)
    assert sidereal_less_rotation(terrestrial_days(epoch)) == pytest.approx(apart, abs=SIX_DECIMALS)
    with pytest.raises(InputError, match="69 characters"):
        parse_observed(f"now_h = 2\n{FEN}elements = ['1 bad', '2 bad']\n", scenario, ring_of(scenario))


def test_whoever_goes_on_as_planned_is_left_alone() -> None:
    """A tank that reads less, but enough: the plan stands; too little for the rest: only that craft is replanned."""
    masses = "dry_mass_kg = 200.0\npropellant_kg = 150.0\nisp_s = 300.0\nreserve_m_s = 10.0"
    text = world(names=("Sorrel", "Tansy"), masses=masses, launch="turnaround_h = 30.0", ring="slot0_deg = 40.0")
    scenario = scenario_of(text)
    before = outcome_of(scenario)
    plan = before.plans[0]
    last = max(plan.craft, key=lambda part: part.launch_s or 0.0)
    now = (last.launch_s or 0.0) / 3600.0 + 0.5
    for left, replanned in ((149.0, False), (20.0, True)):
        seen = f'now_h = {now!r}\n[[craft]]\nname = "{last.craft}"\npropellant_kg = {left!r}\n'
        done = replan(before, parse_observed(seen, scenario, before.ring))
        assert (done.outcome is not None and not done.outcome.plans) is replanned
        if not replanned:
            assert all(change.same for change in done.changes)
