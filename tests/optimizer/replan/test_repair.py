"""The rest of a plan, mended: as dear as it was where all goes as planned, and on its slot by another integrator.

Wherever a plan is cut and its craft are read exactly where it has them, what is left costs no more than it did: the
rest of a best plan is the best plan of the rest (Bellman 1957, Dynamic Programming, chapter III, section 3, the
principle of optimality). Mended burns are flown again by scipy's LSODA in Newton's law with the second zonal harmonic
(Vallado, Fundamentals of Astrodynamics and Applications, 4th ed., section 8.6.1), written out here.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from ringwright.models.flight.gravity import gravity_around
from ringwright.models.flight.integrate import fly
from ringwright.models.reading.observed import Observed, parse_observed
from ringwright.models.scenario import Body, Scenario
from ringwright.optimizer.craft_plan import CraftPlan
from ringwright.optimizer.limits import registry
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.replan.answer import Replan
from ringwright.optimizer.replan.off_plan import OffPlan
from ringwright.optimizer.replan.repair import mend
from ringwright.optimizer.replan.replan import replan
from ringwright.optimizer.trajectory.differential_correction import IMPULSIVE
from ringwright.reports.replan import replan_json, replan_text

from ...planned import BULGE_ALONE, as_read, bundled_outcome, outcome_of, scenario_of
from ..limits import largest_burn
from ..routes.test_carrier import world

Array = NDArray[np.float64]
FOLDER = __file__.split("tests")[0] + "scenarios"
DEARER_M_S = 0.1
"""What the rest may cost more: the corrector stops at a thousandth of a degree, and readings are rounded."""

MISS_RAD = math.radians(0.003)
"""Slot error by the other integrator: that of the corrector, and of the turn over which a mean is taken."""


def state_at(scenario: Scenario, part: CraftPlan, time_s: float) -> Array:
    """Where the plan has a craft."""
    item = part.itinerary
    assert item is not None
    cut = replace(item, impulses=tuple(b for b in item.impulses if b.time_s <= time_s), end_s=time_s)
    [flight] = fly([cut], gravity_around(scenario.body), IMPULSIVE if part.engine is None else part.engine)
    return flight.end_state


def all_seen(before: Outcome, now_s: float, off: dict[str, Array] | None = None) -> Observed:
    """Every craft under way, read where the plan has it, or off that by so much."""
    text = f"now_s = {now_s!r}\n"
    for part in before.plans[0].craft:
        item = part.itinerary
        if item is not None and item.start_s < now_s < part.in_slot_s:
            text += as_read(
                part.craft, state_at(before.scenario, part, now_s) + (off or {}).get(part.craft, np.zeros(6))
            )
    return parse_observed(text, before.scenario, before.ring)


def moments(before: Outcome) -> list[float]:
    plan = before.plans[0]
    burns = sorted({burn.time_s for part in plan.craft for burn in part.burns})
    return [time + 600.0 for time in burns if time + 600.0 < plan.finish_s]


@pytest.mark.parametrize(
    "name",
    [
        "low-mars",
        pytest.param("daily-window", marks=pytest.mark.soak),
        pytest.param("atoll-on-the-equator", marks=pytest.mark.soak),
    ],
)
def test_craft_read_where_the_plan_has_them_go_on_for_no_more(name: str) -> None:
    # it plans by the bulge alone
    before = bundled_outcome(name, BULGE_ALONE)
    old = before.plans[0]
    times = moments(before)
    assert times
    for now in times:
        done = replan(before, all_seen(before, now))
        assert done.total_m_s <= old.delta_v_m_s + DEARER_M_S
        assert done.finish_s <= old.finish_s + 60.0
        assert {(c.craft, c.new.slot) for c in done.changes} <= {(p.craft, p.slot) for p in old.craft}


def pull(body: Body, where: Array) -> Array:
    """Acceleration: a point mass and the second zonal harmonic (Vallado, equation 8-30)."""
    x, y, z = where.tolist()
    r = math.sqrt(x * x + y * y + z * z)
    factor = 1.5 * body.j2 * (body.j2_radius_m / r) ** 2 if body.j2 else 0.0
    flat = 5.0 * z * z / r**2
    return (
        -body.gm
        / r**3
        * np.array([x * (1 + factor * (1 - flat)), y * (1 + factor * (1 - flat)), z * (1 + factor * (3 - flat))])
    )


def flown_again(body: Body, state: Array, from_s: float, part: CraftPlan, turn_s: float) -> tuple[Array, Array]:
    """Times and states over a turn after the last burn of a part of a plan, from a state before its first."""

    def rates(_: float, y: Array) -> Array:
        return np.concatenate([y[3:], pull(body, y[:3])])

    now, y = from_s, state
    for burn in part.burns:
        y = solve_ivp(rates, (now, burn.time_s), y, method="LSODA", rtol=1e-11, atol=1e-6).y[:, -1]
        out = y[:3] / np.linalg.norm(y[:3])
        left = np.cross(y[:3], y[3:])
        left /= np.linalg.norm(left)
        y = y.copy()
        y[3:] += burn.radial_m_s * out + burn.along_m_s * np.cross(left, out) + burn.cross_m_s * left
        now = burn.time_s
    times = np.linspace(now, now + turn_s, 400)
    return times, solve_ivp(rates, (now, times[-1]), y, method="LSODA", rtol=1e-11, atol=1e-6, t_eval=times).y.T


@pytest.mark.parametrize(("name", "craft", "after_h"), [("low-mars", "Thyme", 0.2), ("low-mars", "Fennel", 8.0)])
def test_mended_burns_lead_into_the_slot(name: str, craft: str, after_h: float) -> None:
    before = bundled_outcome(name, BULGE_ALONE)
    scenario, ring = before.scenario, before.ring
    part = next(one for one in before.plans[0].craft if one.craft == craft)
    now = 3600.0 * after_h
    state = state_at(scenario, part, now) + np.array([300.0, -200.0, 0.0, 0.2, 0.3, 0.0])
    one = next(c for c in scenario.craft if c.name == craft)
    [found] = mend(
        scenario, ring, [OffPlan(part=part, craft=one, position=state[:3], velocity=state[3:], seen_s=now, now_s=now)]
    )
    assert found is not None
    assert found.slot == part.slot
    assert found.delta_v_m_s == pytest.approx(math.fsum(burn.delta_v_m_s for burn in found.burns))
    times, states = flown_again(scenario.body, state, now, found, ring.period_s)
    angle = np.unwrap(np.arctan2(states[:, 1], states[:, 0]))
    gap = angle - np.array([float(ring.phase(t, part.slot)) for t in times])
    miss = math.remainder(float(np.trapezoid(gap, times)) / ring.period_s, 2.0 * math.pi)
    assert abs(miss) < MISS_RAD
    # a whole turn of the ring is a whole turn of the craft
    assert angle[-1] - angle[0] == pytest.approx(2.0 * math.pi, abs=MISS_RAD)


LAUNCHED = {"launch": "turnaround_h = 30.0", "ring": "slot0_deg = 40.0", "names": ("Sorrel", "Tansy")}
MASSES = "dry_mass_kg = 200.0\npropellant_kg = {0}\nisp_s = 300.0"


def in_flight(tank_kg: float = 150.0, limits: str = "", revolutions: int = 4) -> tuple[Outcome, OffPlan]:
    """A world without oblateness; a craft halfway through its phasing whose period is off."""
    text = world(
        names=("Fen",),
        masses=MASSES.format(tank_kg) + "\norbit = { altitude_km = 2400.0, angle_deg = 31.0 }",
        ring="slot0_deg = 0.0",
        limits=limits,
        revolutions=revolutions,
    )
    before = outcome_of(scenario_of(text))
    [part] = before.plans[0].craft
    now = part.burns[0].time_s + 900.0
    state = state_at(before.scenario, part, now)
    state[3:] *= 1.002
    craft = before.scenario.craft[0]
    return before, OffPlan(part=part, craft=craft, position=state[:3], velocity=state[3:], seen_s=now, now_s=now)


def test_limits_are_kept_or_nothing_is_mended() -> None:
    before, one = in_flight()
    [free] = mend(before.scenario, before.ring, [one])
    assert free is not None
    assert free.delta_v_m_s > one.part.burns[-1].delta_v_m_s
    # a tank that holds less than that; an engine that cannot burn so little
    need_kg = free.delta_v_m_s / 300.0 / 9.80665 * 200.0
    short = replace(one, craft=replace(one.craft, propellant_kg=0.3 * need_kg))
    coarse = replace(one, craft=replace(one.craft, burn_least_m_s=2.0 * free.delta_v_m_s))
    assert mend(before.scenario, before.ring, [short, coarse]) == (None, None)
    # a floor above everything that it could fly through, and no time
    limits = before.scenario.limits
    high = replace(before.scenario, limits=replace(limits, clearance_m=before.ring.radius_m))
    assert mend(high, before.ring, [one]) == (None,)
    soon = replace(before.scenario, limits=replace(limits, finish_within_s=one.now_s + 60.0))
    assert mend(soon, before.ring, [one]) == (None,)
    # no more revolutions than allowed
    assert free.revolutions <= max(limits.revolutions_max, one.part.revolutions)


def test_a_limit_that_is_only_registered_binds_too(monkeypatch: pytest.MonkeyPatch) -> None:
    before, one = in_flight()
    [free] = mend(before.scenario, before.ring, [one])
    assert free is not None
    largest = max(burn.delta_v_m_s for burn in free.burns)
    monkeypatch.setattr(registry, "LIMITS", (*registry.LIMITS, largest_burn.LIMIT))
    wide, tight = (
        replace(before.scenario, limits=replace(before.scenario.limits, further=((largest_burn.NAME, most),)))
        for most in (2.0 * largest, 0.01 * largest)
    )
    assert mend(wide, before.ring, [one]) == (free,)
    assert mend(tight, before.ring, [one]) == (None,)


def test_by_the_goal_the_sooner_way_is_taken() -> None:
    before, one = in_flight()
    [cheap], [soon] = (mend(before.scenario, before.ring, [one], aim=aim) for aim in ("delta_v", "finish"))
    assert cheap is not None
    assert soon is not None
    assert soon.in_slot_s <= cheap.in_slot_s
    assert cheap.delta_v_m_s <= soon.delta_v_m_s + DEARER_M_S


def replan_words(done: Replan) -> str:
    text = replan_text(done, 80)
    assert all(len(line) <= 80 for line in text.splitlines())
    return text


def test_a_craft_that_is_a_little_off_is_told_its_burns() -> None:
    before = bundled_outcome("low-mars", BULGE_ALONE)
    off = {"Thyme": np.array([0.0, 0.0, 0.0, 0.2, 0.3, 0.0])}
    done = replan(before, all_seen(before, 600.0, off))
    assert done.fits
    assert "Thyme" in done.mended
    text = replan_words(done)
    assert "Burns to come: Thyme" in text
    assert "as planned" in text
    assert "corrected" in text
    assert '"mended": true' in replan_json(done)
    part = next(change.new for change in done.changes if change.craft == "Thyme")
    assert abs(part.flown.slot_error_rad) <= 0.5 * before.scenario.ring.tolerance_rad
    # the tilt of what is not off is none
    assert part.flown.plane_error_rad < math.radians(0.01)


def test_a_tilt_is_taken_off_and_paid_for() -> None:
    before = bundled_outcome("low-mars", BULGE_ALONE)
    part = next(one for one in before.plans[0].craft if one.craft == "Fennel")
    now = part.burns[-1].time_s - 0.3 * before.ring.period_s
    tilt, speed = math.radians(0.1), before.ring.speed_m_s
    state = state_at(before.scenario, part, now) + np.array([0.0, 0.0, 0.0, 0.0, 0.0, speed * tilt])
    craft = next(c for c in before.scenario.craft if c.name == "Fennel")
    [found] = mend(
        before.scenario,
        before.ring,
        [OffPlan(part=part, craft=craft, position=state[:3], velocity=state[3:], seen_s=now, now_s=now)],
    )
    assert found is not None
    assert found.flown.plane_error_rad < math.radians(0.011)
    # two burns a quarter turn apart cost at most the root of two as much as one at the node: 2 v sin(i / 2)
    dearer = found.delta_v_m_s - part.burns[-1].delta_v_m_s
    assert dearer < math.sqrt(2.0) * 2.0 * speed * math.sin(0.5 * tilt)


def test_what_a_craft_leaves_behind_does_not_make_the_others_dearer() -> None:
    before = bundled_outcome("low-mars", BULGE_ALONE)
    old = before.plans[0]
    text = 'now_h = 1.0\n[[craft]]\nname = "Thyme"\nstatus = "lost"\n'
    done = replan(before, parse_observed(text, before.scenario, before.ring))
    assert done.remaining.lost == ("Thyme",)
    others = {part.craft: part for part in old.craft if part.craft != "Thyme"}
    assert {change.craft for change in done.changes} | set(done.remaining.done) == set(others)
    assert done.dearer_m_s <= 1e-6


@pytest.mark.parametrize("share", [1.03, pytest.param(1.06, marks=pytest.mark.soak)])
def test_a_tilt_is_taken_off_of_a_new_plan_too(share: float) -> None:
    """So far off that the old burns do not serve, and 0.3 deg out of the plane: replanned, then turned by burns.

    It costs no less than the tilt alone at the node and no more than both one after the other: 2 v sin(i / 2).
    """
    before, one = in_flight(revolutions=8)
    now = one.part.burns[0].time_s + 1.0
    state = state_at(before.scenario, one.part, now)
    pole = np.cross(state[:3], state[3:])
    pole *= np.linalg.norm(state[3:]) / np.linalg.norm(pole)
    tilt = math.radians(0.3)

    def planned_from(angle: float) -> Replan:
        turned = state.copy()
        turned[3:] = share * (math.cos(angle) * state[3:] + math.sin(angle) * pole)
        text = f"now_s = {now!r}\n" + as_read("Fen", turned)
        return replan(before, parse_observed(text, before.scenario, before.ring))

    flat, done = planned_from(0.0), planned_from(tilt)
    [change] = done.changes
    assert done.mended == ("Fen",)
    assert done.outcome is not None
    assert change.new.flown.plane_error_rad < math.radians(0.01)
    assert abs(change.new.flown.slot_error_rad) < MISS_RAD
    turning = 2.0 * share * before.ring.speed_m_s * math.sin(0.5 * tilt)
    assert flat.total_m_s - 0.5 < done.total_m_s < flat.total_m_s + 1.1 * turning
    assert "TILTED" not in replan_words(done)
    assert "corrected" in replan_words(done)
