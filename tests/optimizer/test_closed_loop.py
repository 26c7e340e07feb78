"""Flown in a closed loop: burns with errors, the numerical flight, new plans, until the craft is in its slot.

A burn that leaves the slot within tolerance is let be, as the sheet says; one that does not leads to a new plan; at the
end a period that is off is trimmed along the track. Errors are drawn as the budget draws them (Gates, JPL TR 32-504,
1963: size and direction, a fixed part and one in proportion); the flight is the integrator's; what is seen is the
state, exact. The propellant is then held against the stated P99: with n flights no more than the binomial bound may
lie above it (order statistics, David and Nagaraja, Order Statistics, 3rd ed., section 7.1; scipy for the
binomial).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from scipy.stats import binom

from ringwright.models.flight import Impulse, Itinerary, PointMass, fly, measure
from ringwright.models.observed import parse_observed
from ringwright.optimizer.budget import make_budget
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.replan import replan

from ..planned import scenario_of
from .test_carriers_in_plans import GM, world

NAME = "Fen"
SHARE, FIXED_M_S, POINTING_RAD = 0.01, 0.03, math.radians(0.3)
LEGS_MAX = 8
TRIM_RAD = math.radians(0.5)
PERIOD_SHARE = 1e-4
"""A period farther off than this is trimmed: a drift of 0.04 deg a turn."""

ON_RING = "orbit = { altitude_km = 2400.0, angle_deg = 31.0 }"
BELOW = 'orbit = { periapsis_km = 1100.0, apoapsis_km = 2400.0, angle_deg = 31.0, at = "apoapsis", at_h = 1.0 }'


def text_of(start: str) -> str:
    masses = f"dry_mass_kg = 200.0\npropellant_kg = 120.0\nisp_s = 300.0\n{start}"
    errors = f"[errors]\nburn_share = {SHARE}\nburn_m_s = {FIXED_M_S}\npointing_rad = {POINTING_RAD!r}\n"
    return world(names=(NAME,), masses=masses, ring="slot0_deg = 0.0\ntolerance_deg = 0.5") + errors


@cache
def planned_once(start: str) -> Outcome:
    return make_plan(scenario_of(text_of(start)))


@dataclass
class Flown:
    """How one flight ended."""

    delta_v_m_s: float
    slot_error_rad: float
    legs: int


def burnt(impulse: Impulse, rng: np.random.Generator) -> Impulse:
    """A burn as the engine makes it."""
    wanted = np.array([impulse.radial_m_s, impulse.along_m_s, impulse.cross_m_s])
    size = float(np.linalg.norm(wanted))
    ahead = wanted / size
    side = np.cross(ahead, [0.0, 0.0, 1.0] if abs(ahead[2]) < 0.9 else [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    off = rng.normal(size=2) * POINTING_RAD * size
    real = wanted * (1.0 + SHARE * rng.normal()) + ahead * FIXED_M_S * rng.normal()
    real = real + off[0] * side + off[1] * np.cross(ahead, side)
    return Impulse(impulse.time_s, *real.tolist())


def closed_loop(start: str, seed: int) -> Flown:
    """Fly one craft home, burn by burn."""
    rng = np.random.default_rng(seed)
    outcome = planned_once(start)
    gravity = PointMass(gm=GM)
    [part] = outcome.plans[0].craft
    assert part.itinerary is not None
    item = part.itinerary
    position, velocity, now = item.position, item.velocity, item.start_s
    impulses = list(item.impulses)
    spent, tank = 0.0, 120.0
    for leg in range(1, LEGS_MAX + 1):
        real = burnt(impulses[0], rng)
        size = real.delta_v_m_s
        spent += size
        tank -= (200.0 + tank) * -math.expm1(-size / (300.0 * 9.80665))
        assert tank > 0.0
        # looked at half a minute later, or just before the next burn
        seen_s = min([real.time_s + 30.0, *(0.5 * (real.time_s + burn.time_s) for burn in impulses[1:2])])
        [flight] = fly(
            [Itinerary(start_s=now, position=position, velocity=velocity, impulses=(real,), end_s=seen_s)], gravity
        )
        position, velocity, now = flight.end_state[:3], flight.end_state[3:], seen_s
        ring, rest = outcome.ring, impulses[1:]
        end_s = (rest[-1].time_s if rest else now) + 1.3 * ring.period_s
        ahead = Itinerary(start_s=now, position=position, velocity=velocity, impulses=tuple(rest), end_s=end_s)
        [flight] = fly([ahead], gravity)
        found = measure(flight, ring, 0, part.slot)
        if abs(found.slot_error_rad) < TRIM_RAD:
            if rest:
                impulses = rest
                continue
            if abs(found.period_error_s) < PERIOD_SHARE * ring.period_s:
                return Flown(delta_v_m_s=spent, slot_error_rad=found.slot_error_rad, legs=leg)
            # a small burn along the track: dT / T = 3 dv / v
            trim = -ring.speed_m_s * found.period_error_s / (3.0 * ring.period_s)
            impulses = [Impulse(now + 300.0, 0.0, trim)]
            continue
        axes = zip("xyz", position.tolist(), velocity.tolist(), strict=True)
        state = ", ".join(f"{a}_m = {r!r}, v{a}_m_s = {v!r}" for a, r, v in axes)
        seen = f'now_s = {now!r}\n[[craft]]\nname = "{NAME}"\npropellant_kg = {tank!r}\nstate = {{ {state} }}\n'
        done = replan(outcome, parse_observed(seen, outcome.scenario, ring))
        assert done.fits, "no plan is left"
        [change] = done.changes
        if done.outcome is None:
            # the old plan mended: its times still count from the same epoch
            outcome = replace(outcome, plans=(replace(outcome.plans[0], craft=(change.new,)),))
        else:
            # the new plan counts its times from now
            outcome, now = done.outcome, 0.0
        part = change.new
        assert part.itinerary is not None
        impulses = list(part.itinerary.impulses)
        assert impulses, "a slot missed by more than the tolerance needs a burn"
    raise AssertionError(f"not in its slot after {LEGS_MAX} burns")


def campaign(start: str, flights: int, first_seed: int) -> list[Flown]:
    return [closed_loop(start, first_seed + k) for k in range(flights)]


def judge(start: str, flown: list[Flown]) -> None:
    outcome = planned_once(start)
    budget = make_budget(outcome, samples=20_000, seed=5)
    [craft] = budget.craft
    p99 = craft.delta_v_m_s[-1].value
    assert all(abs(one.slot_error_rad) < outcome.scenario.ring.tolerance_rad for one in flown)
    above = sum(one.delta_v_m_s > p99 for one in flown)
    # with 99 in 100 below it, so many above it or more have a chance of one in a thousand
    assert binom.sf(above - 1, len(flown), 0.01) > 1e-3, f"{above} of {len(flown)} flights burned more than {p99} m/s"


@pytest.mark.parametrize("start", [ON_RING, BELOW])
def test_every_craft_comes_home_and_within_its_budget(start: str) -> None:
    judge(start, campaign(start, 8, 100))


@pytest.mark.soak
@pytest.mark.parametrize("start", [ON_RING, BELOW])
def test_every_craft_comes_home_and_within_its_budget_a_thousand_times(start: str) -> None:
    judge(start, campaign(start, 1000, 10_000))
