"""What small errors of a burn make of the slot, by the flight: against closed forms and other steps."""

from __future__ import annotations

import dataclasses
import math
from functools import lru_cache

import pytest

from ringwright.models.burns import FiniteThrust
from ringwright.models.flight.gravity import gravity_around
from ringwright.models.flight.integrate import Impulse, fly, measure, readout
from ringwright.optimizer.craft_plan import CraftPlan
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.replan.decisions import late
from ringwright.optimizer.robustness.missed_burn import TWO_BODY_SHARE, missed
from ringwright.optimizer.robustness.sensitivity import Sensitivity, itinerary_of, sensitivities
from ringwright.tests.tolerances import FLOAT_RAD, FLOWN_REL, INTEGRATED, ROADS_REL, TWO_FIRST_ORDER_REL, WRITTEN_M_S

from ...planned import outcome_of, scenario_of

ONE_PERCENT = 0.01
MEAN_LEAD_RAD = math.radians(0.05)
"""The catalogue counts angles by osculating states, which wobble about their means."""
APSES_TURN_S = 300.0
"""The line of apsides turns meanwhile, which ratios of periods leave out."""
TEXT = """
title = "One to phase"
[body]
name = "mars"
{j2}
[ring]
altitude_km = 6000.0
slots = 2
slot0_deg = 0.0
[limits]
clearance_km = 100.0
revolutions_max = 4
finish_within_d = 4.0
[[ring.occupied]]
name = "Alder"
slot = 1
[[craft]]
name = "Birch"
dry_mass_kg = 100.0
propellant_kg = 60.0
isp_s = 280.0
orbit = {{ altitude_km = 6000.0, angle_deg = 310.0 }}
"""


@lru_cache
def planned(j2: str) -> tuple[Outcome, CraftPlan]:
    outcome = outcome_of(scenario_of(TEXT.format(j2=j2)))
    return outcome, outcome.plans[0].craft[0]


def test_a_second_of_period_is_k_turns_in_t() -> None:
    """A phasing period too long by one second makes the craft late by k seconds: 2 pi k / T of slot (Kepler motion).

    With the last burn as planned it goes on drifting: over the turn that is measured, about half a turn's worth more.
    """
    outcome, part = planned("j2 = 0.0")
    first, last = sensitivities(part, outcome.ring, gravity_around(outcome.scenario.body))
    k, period_s = part.revolutions, outcome.ring.period_s
    assert k == 4
    revolutions = -first.per_period_s * period_s / (2.0 * math.pi)
    assert k + 0.3 < revolutions < k + 0.9
    # the last burn: 3 T / v seconds of period for each m/s, of which half a turn's drift is seen in the mean
    assert last.period_per_m_s == pytest.approx(3.0 * period_s / outcome.ring.speed_m_s, rel=ONE_PERCENT)


@pytest.mark.parametrize("j2", ["j2 = 0.0", ""], ids=["round", "oblate"])
def test_other_steps_through_the_flight_agree(j2: str) -> None:
    """Steps five times as large, to both sides, flown here one by one."""
    outcome, part = planned(j2)
    ring, gravity = outcome.ring, gravity_around(outcome.scenario.body)
    base = itinerary_of(part, ring)
    found = sensitivities(part, ring, gravity)

    def error(index: int, change: tuple[float, float, float, float]) -> float:
        burns = list(base.impulses)
        burns[index] = Impulse(*(a + b for a, b in zip(burns[index], change, strict=True)))
        (flight,) = fly([dataclasses.replace(base, impulses=tuple(burns))], gravity)
        return measure(flight, ring, 0, part.slot).slot_error_rad

    assert found
    for index, slope in enumerate(found):
        sign = math.copysign(1.0, part.burns[index].along_m_s)
        wide = (error(index, (0.0, 0.0, 0.1 * sign, 0.0)) - error(index, (0.0, 0.0, -0.1 * sign, 0.0))) / 0.2
        assert slope.per_m_s == pytest.approx(wide, rel=ONE_PERCENT)
        size = part.burns[index].delta_v_m_s
        out = 0.5 * (error(index, (0.0, 0.1, 0.0, 0.0)) - error(index, (0.0, -0.1, 0.0, 0.0))) / 0.1
        assert slope.per_pitch == pytest.approx(out * size, rel=TWO_FIRST_ORDER_REL, abs=INTEGRATED)


def test_a_burn_that_takes_time_is_flown_a_little_long() -> None:
    """The same by flights put together here: lit as planned, cut off so much later, by a step ten times as wide."""
    text = TEXT.format(j2="j2 = 0.0").replace("isp_s = 280.0", "isp_s = 280.0\nthrust_n = 20.0")
    outcome = outcome_of(scenario_of(text))
    [part] = outcome.plans[0].craft
    ring, gravity = outcome.ring, gravity_around(outcome.scenario.body)
    assert isinstance(part.engine, FiniteThrust)
    assert part.itinerary is not None
    assert part.burns[0].duration_s is not None
    assert part.burns[0].duration_s > 60.0
    item, engine = part.itinerary, part.engine
    found = sensitivities(part, ring, gravity)
    exhaust, mass = 280.0 * 9.80665, engine.mass_kg

    def seconds(first_kg: float, size: float) -> float:
        # rocket equation, and the mass that flows at constant thrust
        return first_kg * -math.expm1(-size / exhaust) * exhaust / engine.thrust_n

    for index, slope in enumerate(found):
        burn = item.impulses[index]
        errors, periods = [], []
        for more in (0.2, 0.0):
            size = burn.delta_v_m_s
            later = 0.5 * (seconds(mass, size + more) - seconds(mass, size))
            grown = Impulse(burn.time_s + later, *((1.0 + more / size) * one for one in burn[1:]))
            burns = (*item.impulses[:index], grown, *item.impulses[index + 1 :])
            end = item.end_s + 100.0
            (flight,) = fly([dataclasses.replace(item, impulses=burns, end_s=end)], gravity, engine)
            errors.append(measure(flight, ring, 0, part.slot).slot_error_rad)
            periods.append(readout(flight.after[index], ring.gm).period_s)
        assert slope.per_m_s == pytest.approx((errors[0] - errors[1]) / 0.2, rel=ONE_PERCENT)
        assert slope.period_per_m_s == pytest.approx((periods[0] - periods[1]) / 0.2, rel=ONE_PERCENT)
        mass *= math.exp(-burn.delta_v_m_s / exhaust)


def test_a_missed_first_burn_on_the_ring_costs_a_turn_and_nothing_else() -> None:
    outcome, part = planned("j2 = 0.0")
    found = missed(outcome.scenario, outcome.ring, part, 0)
    assert found.kind == "again"
    assert found.next_s == pytest.approx(part.burns[0].time_s + outcome.ring.period_s, rel=ROADS_REL)
    assert found.lead_rad == pytest.approx(part.lead_rad, abs=FLOAT_RAD)
    assert found.more_m_s == pytest.approx(0.0, abs=WRITTEN_M_S)


def test_a_missed_last_burn_comes_back_after_one_phasing_period() -> None:
    outcome, part = planned("j2 = 0.0")
    found = missed(outcome.scenario, outcome.ring, part, 1)
    assert part.phasing_period_s is not None
    assert found.kind == "again"
    assert found.next_s == pytest.approx(part.burns[1].time_s + part.phasing_period_s, rel=FLOWN_REL)
    # by then the slot is where it is after one phasing period, ahead or behind of the touch
    off = 2.0 * math.pi * part.phasing_period_s / outcome.ring.period_s
    assert math.cos(found.lead_rad - off) == pytest.approx(1.0, abs=FLOAT_RAD)
    assert found.more_m_s >= -1e-6


def test_a_craft_in_another_plane_gets_no_advice_for_its_own() -> None:
    """What a touch a turn later costs leaves out the turn of the plane, so it is not said."""
    text = (
        TEXT.format(j2="j2 = 0.0")
        .replace("slots = 2", "slots = 1\ninclination_deg = 30\nplanes = 2\nspread_deg = 8")
        .replace("slot = 1", "plane = 1\nslot = 0")
        .replace("angle_deg = 310.0", "angle_deg = 310.0, plane = 1")
    )
    outcome = outcome_of(scenario_of(text))
    part = outcome.plans[0].craft[0]
    turned = [burn.cross_m_s for burn in part.burns]
    assert sum(map(abs, turned)) > 1.0
    first = next(k for k, cross in enumerate(turned) if abs(cross) > 1.0)
    assert missed(outcome.scenario, outcome.ring, part, first).kind == "other plane"


def test_over_an_oblate_body_a_missed_burn_is_what_planning_a_turn_later_gives() -> None:
    """Another road: the craft plans again and may do nothing before it is back, the bulge flown."""
    outcome, part = planned("")
    found = missed(outcome.scenario, outcome.ring, part, 0)
    assert found.kind == "again"
    again = outcome_of(late(outcome.scenario, part.craft, found.next_s)).plans[0].craft[0]
    assert found.lead_rad == pytest.approx(again.lead_rad, abs=MEAN_LEAD_RAD)
    assert found.in_slot_s == pytest.approx(again.in_slot_s, abs=APSES_TURN_S)
    spent = math.fsum(burn.own_m_s for burn in again.burns) - math.fsum(burn.own_m_s for burn in part.burns)
    assert found.more_m_s == pytest.approx(spent, abs=TWO_BODY_SHARE * part.delta_v_m_s)


def test_a_craft_that_misses_its_last_burn_over_an_oblate_body_leaves_its_slot_at_the_mean_rate_flown() -> None:
    """At the burn it is where its slot is; a turn later the slot has moved on by the ring's rate and it is back."""
    outcome, part = planned("")
    found = missed(outcome.scenario, outcome.ring, part, 1)
    moved = outcome.ring.rate_rad_s * (found.next_s - part.burns[1].time_s)
    assert math.cos(found.lead_rad - moved) > math.cos(MEAN_LEAD_RAD)


@pytest.mark.parametrize("shrunk", [1e-5, 1e-6])
def test_a_world_of_a_few_meters_has_the_same_slopes(shrunk: float) -> None:
    """Lengths shrunk and times kept: slot errors of each second are the same, those of each m/s so much larger.

    There a burn of 0.02 m/s more would leave the world for good.
    """
    body = '[body]\nname = "Crumb"\ngm_km3_s2 = {gm!r}\nradius_km = {radius!r}\n'
    world, rest = TEXT.format(j2="").split("[ring]")
    head = world.split("[body]")[0]

    def slopes(by: float) -> tuple[Sensitivity, ...]:
        sizes = rest.replace("6000.0", repr(6000.0 * by)).replace("clearance_km = 100.0", "separation_km = 0.0")
        masses = sizes.replace("isp_s = 280.0", f"isp_s = {280.0 * by!r}")
        # of alike burns, and all are there, the fastest
        masses += '[goal]\nminimize = "finish"\n'
        text = head + body.format(gm=42828.37 * by**3, radius=3396.19 * by) + "[ring]" + masses
        outcome = outcome_of(scenario_of(text))
        return sensitivities(outcome.plans[0].craft[0], outcome.ring, gravity_around(outcome.scenario.body))

    smaller = slopes(shrunk)
    assert smaller
    for small, large in zip(smaller, slopes(1.0), strict=True):
        assert small.per_m_s * shrunk == pytest.approx(large.per_m_s, rel=ONE_PERCENT)
        assert small.per_s == pytest.approx(large.per_s, rel=ONE_PERCENT, abs=INTEGRATED)
        assert small.per_pitch == pytest.approx(large.per_pitch, rel=ONE_PERCENT, abs=INTEGRATED)
