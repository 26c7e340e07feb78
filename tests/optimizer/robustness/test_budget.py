"""The propellant budget: against closed forms where one error acts alone, and against flights by another integrator."""

from __future__ import annotations

import itertools
import json
import math
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.stats import norm

from ringwright.models.deadline import Deadline, OutOfTimeError, within
from ringwright.models.errors import InputError
from ringwright.models.scenario import Errors
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.robustness.budget import Budget, make_budget
from ringwright.optimizer.robustness.closed_form import Flights, fly, normals_of
from ringwright.optimizer.robustness.craft_leg import Story
from ringwright.optimizer.robustness.flights_with_errors import BLOCK, block, exact_m_s, stories
from ringwright.reports.budget import budget_json, budget_text
from ringwright.tests.tolerances import FIRST_ORDER_REL, FLOAT_M_S, ROADS_REL, SUMMED_M_S, TWO_FIRST_ORDER_REL
from ringwright.tests.worlds import ELLORY

from ...planned import outcome_of, scenario_of

Array = NDArray[np.float64]

WORLD = (
    f'\ntitle = "Round world"\n{ELLORY}'
    + """[ring]
altitude_km = 6000.0
slots = 3
slot0_deg = {slot0}
tilt_tolerance_deg = {tilt}
[[ring.occupied]]
name = "Moor"
slot = 0
[[ring.occupied]]
name = "Fen"
slot = 1
[limits]
revolutions_max = 6
[launch]
latitude_deg = 0.0
longitude_deg = 0.0
until_h = 0.0
insertion = {{ periapsis_km = -100.0, apoapsis_km = 6000.0, altitude_km = 120.0 }}
[[craft]]
name = "Heath"
dry_mass_kg = 200.0
propellant_kg = 200.0
isp_s = 300.0
[goal]
minimize = "finish"
{errors}
"""
)
SOME = """[errors]
periapsis_km = 8.0
apoapsis_km = 10.0
inclination_deg = 0.05
insertion_time_s = 20.0
burn_m_s = 0.03
burn_share = 0.004
across_m_s = 0.05
pointing_deg = 0.3
burn_time_s = 2.0
period_reading_s = 0.3
"""
SLOT0_AWAY = -30.0  # far from where the launch arrives: it phases


@lru_cache(maxsize=8)
def _outcome(errors: str, tilt: float = 0.0, slot0: float = SLOT0_AWAY) -> Outcome:
    return outcome_of(scenario_of(WORLD.format(errors=errors, tilt=tilt, slot0=slot0)))


def _story(errors: Errors, tilt_rad: float = 0.0) -> Story:
    outcome = _outcome(SOME)
    [story] = stories(outcome)
    assert isinstance(story, Story)
    assert story.revolutions > 0
    assert story.insertion is not None
    return replace(story, errors=errors, tilt_tolerance_rad=tilt_rad)


def _many(story: Story, blocks: int = 12) -> Array:
    return np.concatenate([block(story, 5, 0, number).delta_v_m_s for number in range(blocks)])


def test_without_errors_the_closed_forms_burn_what_the_plan_does() -> None:
    story = _story(Errors())
    assert exact_m_s(story) == pytest.approx(story.planned_m_s, abs=SUMMED_M_S)


def test_inclination_alone_costs_a_turn_at_circular_speed() -> None:
    # 2 v sin(i / 2) (Vallado, chapter 6), |i| half-normal
    sigma = math.radians(0.05)
    story = _story(Errors(inclination_rad=sigma))
    extra = np.sort(_many(story) - story.planned_m_s)
    turn = norm.ppf(0.995) * sigma
    expected = 2.0 * story.ring.speed_m_s * math.sin(0.5 * turn)
    assert extra[int(0.99 * extra.size)] == pytest.approx(expected, rel=TWO_FIRST_ORDER_REL)
    assert extra[0] >= 0.0


def test_a_tilt_within_tolerance_costs_nothing() -> None:
    story = _story(Errors(inclination_rad=1e-4), tilt_rad=1e-2)
    assert _many(story, 1) == pytest.approx(story.planned_m_s, abs=FLOAT_M_S)


def test_an_overlong_last_burn_costs_twice_what_it_overshoots() -> None:
    # no phasing: burned size + e, trimmed back |e|; e normal with the share of the burn
    base = _story(Errors(burn_share=0.004))
    story = replace(base, revolutions=0, wait_s=0.0)
    size = exact_m_s(story)
    extra = np.sort(_many(story) - story.planned_m_s)
    expected = 2.0 * 0.004 * size * norm.ppf(0.99)
    assert extra[int(0.99 * extra.size)] == pytest.approx(expected, rel=TWO_FIRST_ORDER_REL)
    # short burns cost nothing: they are only burned on
    assert extra[extra.size // 4] == pytest.approx(0.0, abs=FIRST_ORDER_REL * expected)


def test_the_same_seed_gives_the_same_flights_whatever_their_number() -> None:
    outcome = _outcome(SOME)
    few = make_budget(outcome, 1000, 3)
    many = make_budget(outcome, BLOCK + 500, 3)
    assert np.array_equal(few.samples_m_s, many.samples_m_s[:, :1000])
    assert not np.array_equal(few.samples_m_s, make_budget(outcome, 1000, 4).samples_m_s)


def test_drivers_are_ranked_and_zeros_are_named() -> None:
    budget = make_budget(_outcome(SOME), 20_000, 1)
    alone = [driver.alone_m_s for driver in budget.drivers]
    assert alone == sorted(alone, reverse=True)
    assert budget.as_zero == ("injection: node",)
    [one] = budget.craft
    assert one.planned_m_s < one.delta_v_m_s[0].value < one.delta_v_m_s[1].value < one.delta_v_m_s[2].value
    assert one.delta_v_m_s[2].low <= one.delta_v_m_s[2].value <= one.delta_v_m_s[2].high
    assert one.load_kg is not None
    # rocket equation, with the exhaust speed by the standard gravity of ISO 80000-3
    assert one.load_kg[0] == pytest.approx(200.0 * math.expm1(one.planned_m_s / (300.0 * 9.80665)), rel=ROADS_REL)
    text = budget_text(budget, 80)
    assert "injection: node" in text
    assert all(len(line) <= 80 for line in text.splitlines())
    assert '"ringwright-budget/1"' in budget_json(budget)


def test_a_scenario_that_says_nothing_about_errors_is_refused() -> None:
    with pytest.raises(InputError, match=r"add \[errors\]"):
        make_budget(_outcome(""), 100)


def test_errors_that_throw_a_craft_away_are_refused() -> None:
    with pytest.raises(InputError, match="small beside"):
        make_budget(_outcome("[errors]\nburn_m_s = 9000\n"), 100)


def test_a_craft_and_a_site_may_have_errors_of_their_own() -> None:
    text = WORLD.format(errors="[errors]\nburn_share = 0.01\nperiapsis_km = 5\n", tilt=0.0, slot0=SLOT0_AWAY)
    text = text.replace("isp_s = 300.0\n", "isp_s = 300.0\nerrors = { burn_share = 0.002 }\n")
    text = text.replace("until_h = 0.0\n", "until_h = 0.0\nerrors = { apoapsis_km = 3 }\n")
    outcome = outcome_of(scenario_of(text))
    [story] = stories(outcome)
    assert isinstance(story, Story)
    assert story.errors == Errors(burn_share=0.002, periapsis_m=5000.0, apoapsis_m=3000.0)


# ---- the same flights by another integrator ------------------------------------------------------------------------

SLOT_AGREES_RAD = 1e-3
"""A ninth of the tolerance: the closed forms take moments of burns, and the swing within a turn, to first order."""
SPEED_AGREES_M_S = 0.02


class _Pilot:
    """One craft in the plane, flown by scipy's integrator, with the corrections that the budget's docstring names."""

    def __init__(self, story: Story, normal: Array) -> None:
        self.story, self.gm = story, story.ring.gm
        self.normal = list(normal)
        self.used = 0.0
        self.time = 0.0
        self.state: Array = np.zeros(4)

    def take(self) -> float:
        return float(self.normal.pop(0))

    def coast(self, until_s: float, *, to_apoapsis: bool = False) -> None:
        def rate(_: float, y: Array) -> Array:
            return np.concatenate([y[2:], -self.gm * y[:2] / np.hypot(y[0], y[1]) ** 3])

        def outward(_: float, y: Array) -> float:
            return float(y[:2] @ y[2:])

        if to_apoapsis:
            outward.terminal, outward.direction = True, -1  # type: ignore[attr-defined]
        events: Any = outward if to_apoapsis else None
        done: Any = solve_ivp(rate, (self.time, until_s), self.state, "DOP853", events=events, rtol=1e-12, atol=1e-6)
        self.time, self.state = float(done.t[-1]), done.y[:, -1]

    @property
    def period(self) -> float:
        r, v = np.hypot(*self.state[:2]), np.hypot(*self.state[2:])
        return float(2.0 * math.pi * math.sqrt(1.0 / (2.0 / r - v * v / self.gm) ** 3 / self.gm))

    def speed_for(self, period: float) -> float:
        semi = (self.gm * (period / (2.0 * math.pi)) ** 2) ** (1.0 / 3.0)
        return math.sqrt(self.gm * (2.0 / float(np.hypot(*self.state[:2])) - 1.0 / semi))

    def burn(self, size: float) -> None:
        """Along the horizon, with errors; what goes across the plane is left to the tilt."""
        e, three = self.story.errors, [self.take(), self.take(), self.take()]
        fixed = 1.0 if size != 0.0 else 0.0
        along = math.hypot(e.burn_m_s * fixed, e.burn_share * size) * three[0]
        across = math.hypot(e.across_m_s * fixed, e.pointing_rad * size) * three[1]
        sideways = math.hypot(e.across_m_s * fixed, e.pointing_rad * size) * three[2]
        out = self.state[:2] / np.hypot(*self.state[:2])
        forward = np.array([-out[1], out[0]])
        given = abs(size) + along
        self.state[2:] += math.copysign(1.0, size) * given * forward + across * out
        self.used += math.sqrt(given**2 + across**2 + sideways**2)

    def fly(self) -> tuple[float, float]:
        """Delta-v without the turning of the plane, and the slot error at the end."""
        s, e, gm = self.story, self.story.errors, self.gm
        assert s.insertion is not None
        radius, ring = s.ring.radius_m, s.ring
        planned_semi = 0.5 * (s.insertion.periapsis_m + radius)
        low = s.insertion.periapsis_m + e.periapsis_m * self.take()
        high = radius + e.apoapsis_m * self.take()
        self.take(), self.take()
        delay = e.insertion_time_s * self.take()
        # started where the planned orbit passes the insertion, by the share of its period; the apsis is on the x axis
        semi = 0.5 * (low + high)
        turn = 2.0 * math.pi * math.sqrt(semi**3 / gm)
        before = s.coast_share * turn
        planned_arrival = s.coast_share * 2.0 * math.pi * math.sqrt(planned_semi**3 / gm)
        self.time = delay + before - 0.25 * turn
        self.state = _before_apoapsis(gm, low, high, 0.25 * turn)
        self.coast(self.time + turn, to_apoapsis=True)
        wait = s.wait_s - (self.time - planned_arrival)
        touched = self.time
        wanted, turns = wait / s.revolutions, s.revolutions
        needed = self.speed_for(wanted) - float(np.hypot(*self.state[2:]))
        moment = e.burn_time_s * self.normal[3]
        self.coast(touched + moment)
        self.burn(needed)
        self.take()
        read = self.period + e.period_reading_s * self.take()
        worth = 0.5 * s.tolerance_rad / ring.rate_rad_s
        later = (wait + ring.period_s) / (turns + 1)
        if s.may_go_on and (read - wanted) * turns > worth and later >= read:
            wanted, turns = later, turns + 1
        trim = 0.0
        if abs(read - wanted) * turns > worth:
            trim = self.speed_for(wanted) - self.speed_for(read)
        self.burn(trim)
        # the last burn comes when the slot passes the touch
        meet = touched + turns * wanted
        moment = e.burn_time_s * self.normal[0]
        self.take()
        self.coast(meet + moment)
        self.burn(self.speed_for(ring.period_s) - math.hypot(*self.state[2:]))
        read = self.period + e.period_reading_s * self.take()
        self.burn(
            self.speed_for(ring.period_s) - self.speed_for(read) if abs(read - ring.period_s) > s.match_s else 0.0
        )
        passed = self.time
        angle = np.unwrap(self._angles(ring.period_s))
        times = passed + np.linspace(0.0, ring.period_s, angle.size)
        slot = math.pi + ring.rate_rad_s * (times - meet)
        # mean over a turn, the drift by what is left of the period error taken out
        error = np.unwrap(angle - slot)
        drift = (error[-1] - error[0]) * 0.5
        return self.used, float(np.mean(error[:-1]) - drift + 2.0 * math.pi * round(-np.mean(error) / 2.0 / math.pi))

    def _angles(self, span: float) -> Array:
        def rate(_: float, y: Array) -> Array:
            return np.concatenate([y[2:], -self.gm * y[:2] / np.hypot(y[0], y[1]) ** 3])

        done = solve_ivp(
            rate, (0.0, span), self.state, "DOP853", t_eval=np.linspace(0.0, span, 721), rtol=1e-11, atol=1e-5
        )
        return np.asarray(np.arctan2(done.y[1], done.y[0]))


def _before_apoapsis(gm: float, low: float, high: float, time_s: float) -> Array:
    """State so long before an apoapsis that lies on the negative x axis: by flying back from it."""
    speed = math.sqrt(gm * (2.0 / high - 2.0 / (low + high)))

    def rate(_: float, y: Array) -> Array:
        return np.concatenate([y[2:], -gm * y[:2] / np.hypot(y[0], y[1]) ** 3])

    start = np.array([-high, 0.0, 0.0, -speed])
    return np.asarray(solve_ivp(rate, (0.0, -time_s), start, "DOP853", rtol=1e-12, atol=1e-6).y[:, -1])


def _in_plane(flights: Flights, story: Story, index: int) -> float:
    """What a flight burned without phasing out a slot error and turning the plane."""
    tilt = float(flights.tilt_rad[index])
    return float(flights.delta_v_m_s[index]) - 2.0 * story.ring.speed_m_s * math.sin(0.5 * tilt)


def test_flights_agree_with_the_same_flights_integrated() -> None:
    errors = Errors(
        periapsis_m=8e3,
        apoapsis_m=10e3,
        insertion_time_s=20.0,
        burn_m_s=0.03,
        burn_share=0.002,
        across_m_s=0.05,
        pointing_rad=0.003,
        burn_time_s=2.0,
        period_reading_s=0.3,
    )
    story = replace(_story(errors), tolerance_rad=math.radians(0.5))
    normal = np.random.default_rng(21).standard_normal((normals_of(story), 24))
    flights = fly(story, normal)
    assert flights.went_on.any()
    assert not flights.went_on.all()
    picked = np.flatnonzero(~flights.phased_out)[:12]
    assert picked.size
    for index in picked:
        used, slot_error = _Pilot(story, normal[:, index]).fly()
        assert used == pytest.approx(_in_plane(flights, story, index), abs=SPEED_AGREES_M_S)
        assert slot_error == pytest.approx(flights.slot_error_rad[index], abs=SLOT_AGREES_RAD)


def test_limits_that_leave_no_turn_to_phase_a_slot_error_out_are_told() -> None:
    outcome = _outcome(SOME.replace("burn_share = 0.004", "burn_share = 0.02"))
    scenario = outcome.scenario
    tight = replace(scenario.limits, finish_within_s=outcome.plans[0].finish_s + 60.0)
    late = make_budget(replace(outcome, scenario=replace(scenario, limits=tight)), samples=8192)
    free = make_budget(outcome, samples=8192)
    [one], [other] = late.craft, free.craft
    assert one.phased_out > 0.0
    assert one.too_late
    assert not other.too_late
    assert "NO TURN" in " ".join(budget_text(late, 80).split())
    assert "NO TURN" not in " ".join(budget_text(free, 80).split())


def _in_readings(outcome: Outcome, count: float, samples: int) -> Budget:
    """The budget where time is up after so many readings of the clock."""
    readings = itertools.count()
    with within(Deadline(limit_s=count, clock=lambda: float(next(readings)))):
        return make_budget(outcome, samples)


def test_a_budget_ends_with_its_time_and_says_how_much_was_flown() -> None:
    outcome, asked = _outcome(SOME), 40 * BLOCK
    whole = make_budget(outcome, 4 * BLOCK)
    assert whole.unfinished == ""
    cut = _in_readings(outcome, 40.0, asked)
    assert BLOCK <= cut.samples < asked
    assert cut.samples % BLOCK == 0
    assert cut.samples_m_s.shape == (len(cut.craft), cut.samples)
    shared = min(cut.samples, whole.samples)
    assert np.array_equal(cut.samples_m_s[:, :shared], whole.samples_m_s[:, :shared])
    assert f"{cut.samples:,}".replace(",", " ") + " of " in cut.unfinished
    assert cut.unfinished in " ".join(budget_text(cut, 400).split())
    assert json.loads(budget_json(cut))["unfinished"] == cut.unfinished
    # so few readings suffice for no source of error
    assert not _in_readings(outcome, 6.0, asked).drivers
    with pytest.raises(OutOfTimeError):
        _in_readings(outcome, 1.0, asked)
