"""When a plan is done where launches slip or are lost: by closed forms, and by a simulation in plain loops."""

from __future__ import annotations

import bisect
import json
import math
import random
import re
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringwright.models.deadline import searching
from ringwright.models.errors import InputError
from ringwright.models.risk import Risk
from ringwright.models.scenario import Errors, Occupied
from ringwright.optimizer.craft_plan import CraftPlan
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.robustness import known_flights, weighing
from ringwright.optimizer.robustness.budget import make_budget
from ringwright.optimizer.robustness.completion import RARE, Chances, Completion, _turn_after_turn, chances, completion
from ringwright.optimizer.robustness.flights_with_errors import AnyStory, story_in
from ringwright.optimizer.robustness.weighing import RiskStudy, ranked, study, weighed
from ringwright.reports.risk import risk_json, risk_text
from ringwright.tests.tolerances import SCREEN_M_S, SECOND_S
from ringwright.tests.worlds import FLAT_ROCK, heavy

from ...planned import BULGE_ALONE, bundled_outcome, outcome_of, scenario_of

SAMPLES = 20_000
SPREAD = 4.0 * 0.5 / math.sqrt(SAMPLES)
"""Four standard deviations of a share counted over the samples, at most: one such test in 16 000 fails by chance."""

DAY = 86400.0


@lru_cache
def planned(names: tuple[str, ...], kg: float = 120.0) -> Outcome:
    return outcome_of(scenario_of(FLAT_ROCK + "".join(heavy(name, kg) for name in names)))


def at_risk(outcome: Outcome, risk: Risk, errors: Errors | None = None) -> Outcome:
    return replace(outcome, scenario=replace(outcome.scenario, risk=risk, errors=errors))


def test_without_risk_a_ring_is_done_as_planned() -> None:
    outcome = planned(("Fen", "Moor"))
    done = completion(at_risk(outcome, Risk()), outcome.plans[0], 100)
    assert np.all(done.done_s == outcome.plans[0].finish_s)
    assert done.in_time == 1.0


def test_a_lost_craft_that_nobody_replaces_leaves_the_ring_undone() -> None:
    """Two launches, each lost with the chance q: never done is 1 - (1 - q)^2 (independent events)."""
    outcome = planned(("Fen", "Moor"))
    done = completion(at_risk(outcome, Risk(loss_share=0.2)), outcome.plans[0], SAMPLES)
    assert done.never == pytest.approx(1.0 - 0.8**2, abs=SPREAD)
    assert math.isinf(done.done[1].value)


@pytest.mark.parametrize(("spares", "never"), [(0, 0.3), (1, 0.09), (2, 0.027)])
def test_spares_stand_in(spares: int, never: float) -> None:
    """One launch and s spares: never done is q^(s + 1)."""
    outcome = planned(("Fen",))
    done = completion(at_risk(outcome, Risk(loss_share=0.3, spares=spares)), outcome.plans[0], SAMPLES)
    assert done.never == pytest.approx(never, abs=SPREAD)


def test_a_craft_built_in_place_of_a_lost_one_comes_later() -> None:
    outcome = planned(("Fen",))
    plan = outcome.plans[0]
    done = completion(at_risk(outcome, Risk(loss_share=0.25, replaced_after_s=40 * DAY)), plan, SAMPLES)
    late = done.done_s > plan.finish_s + 1.0
    assert np.mean(late) == pytest.approx(0.25, abs=SPREAD)
    assert np.min(done.done_s[late]) >= (plan.craft[0].launch_s or 0.0) + 40 * DAY
    # replacements are lost, too; chains that are rarer than that are not followed
    assert done.never <= RARE + SPREAD
    twice = done.done_s > plan.finish_s + 75 * DAY
    assert np.mean(twice) == pytest.approx(0.25**2, abs=SPREAD)


def test_slips_are_exponential() -> None:
    """One launch that always slips: its readiness is exponential, so its liftoff is at the next chance after that."""
    outcome = planned(("Fen",))
    plan = outcome.plans[0]
    part, mean_s = plan.craft[0], 3.0 * DAY
    done = completion(at_risk(outcome, Risk(slip_share=1.0, slip_mean_s=mean_s)), plan, SAMPLES)
    later = chances(outcome, plan, [part], 100.0 * DAY)
    begun = part.launch_s or 0.0
    for share in (0.5, 0.9):
        # the quantile of a nondecreasing function of the slip is that function of the slip's quantile
        ready = begun - mean_s * np.log(1.0 - share + np.array([SPREAD, -SPREAD]))
        [[low, high]] = later.after(ready)[1]
        found = float(np.quantile(done.done_s, share, method="inverted_cdf"))
        assert part.in_slot_s < low <= found <= high


def test_against_a_simulation_in_plain_loops() -> None:
    """Two launches from one site with slips and losses: the same story told once more, ring by ring."""
    outcome = planned(("Fen", "Moor"))
    plan, turnaround = outcome.plans[0], outcome.scenario.pads[0].turnaround_s
    risk = Risk(slip_share=0.5, slip_mean_s=4 * DAY, loss_share=0.1, replaced_after_s=30 * DAY, spares=1)
    done = completion(at_risk(outcome, risk), plan, SAMPLES)
    parts = sorted(plan.craft, key=lambda part: part.launch_s or 0.0)
    lifts, ends_of, last = {}, {}, {}
    for part in parts:
        found = chances(outcome, plan, [part], 500 * DAY)
        lifts[part.craft], ends_of[part.craft] = found.liftoff_s.tolist(), found.best_s.tolist()
        # the liftoff that leads there: the last one from which that finish is still the soonest
        last[part.craft] = dict(zip(ends_of[part.craft], lifts[part.craft], strict=True))
    draw = random.Random(7)

    def launch(craft: str, ready_s: float) -> tuple[float, float]:
        end = ends_of[craft][bisect.bisect_left(lifts[craft], ready_s)]
        return last[craft][end], end

    rings = []
    for _ in range(2000):
        free, spares, ends, lost = -math.inf, risk.spares, {}, []
        for part in parts:
            slip = draw.expovariate(1.0 / risk.slip_mean_s) if draw.random() < risk.slip_share else 0.0
            ready = max((part.launch_s or 0.0) + slip, free)
            on_time = slip == 0.0 and free <= (part.launch_s or 0.0) + 1.0
            lift, end = (part.launch_s or 0.0, part.in_slot_s) if on_time else launch(part.craft, ready)
            free = lift + turnaround
            gone = draw.random() < risk.loss_share
            while gone and spares > 0:
                spares -= 1
                lift, end = launch(part.craft, free)
                free = lift + turnaround
                gone = draw.random() < risk.loss_share
            ends[part.craft] = end
            if gone:
                lost.append((part.craft, lift))
        for craft, lift in lost:
            gone = True
            while gone:
                lift, ends[craft] = launch(craft, max(lift + risk.replaced_after_s, free))
                free, gone = lift + turnaround, draw.random() < risk.loss_share
        rings.append(max(ends.values()))
    both = 4.0 * 0.5 * math.sqrt(1.0 / SAMPLES + 1.0 / len(rings))
    for share in (0.3, 0.5, 0.7, 0.9, 0.95):
        date = np.quantile(done.done_s, share)
        assert np.mean(np.array(rings) <= date) == pytest.approx(np.mean(done.done_s <= date), abs=both)


@given(
    st.lists(st.tuples(st.integers(0, 40), st.integers(1, 30)), min_size=1, max_size=12),
    st.integers(-2, 45),
)
def test_the_next_chance_is_the_soonest_of_all_later_ones(flights: list[tuple[int, int]], ready: int) -> None:
    lift = np.array([float(one) for one, _ in flights])
    end = lift + np.array([float(takes) for _, takes in flights])
    [found], [[when]] = Chances.of(lift, end[:, np.newaxis]).after(np.array([float(ready)]))
    left = [float(e) for one, e in zip(lift, end, strict=True) if one >= ready]
    assert when == min(left, default=math.inf)
    assert math.isinf(found) if not left else (found >= ready and found + 1.0 <= when)


@given(st.lists(st.tuples(st.integers(0, 40), st.integers(1, 30)), min_size=1, max_size=12), st.integers(-2, 170))
def test_what_a_later_liftoff_beats_is_not_missed(flights: list[tuple[int, int]], ready: int) -> None:
    lift, takes = np.array(flights, dtype=float).T
    one, again = Chances.of(lift, (lift + takes)[:, np.newaxis]), 40.0 * np.arange(5, dtype=np.float64)
    least, every = (Chances.of(*_turn_after_turn(one, again, until)) for until in (130.0, -1.0))
    assert every.liftoff_s.size == 5 * len(flights)
    (lift_s, ends), (later_s, there) = (one.after(np.array([float(ready)])) for one in (least, every))
    assert np.array_equal(lift_s, later_s)
    assert np.array_equal(ends, there)


def test_later_launches_are_those_of_the_planner() -> None:
    """A craft that is ready later, planned alone for its soonest finish, is in its slot when its chances say."""
    outcome = planned(("Fen", "Moor"))
    plan = outcome.plans[0]
    part = plan.craft[0]
    [base] = [one for one in outcome.scenario.craft if one.name == part.craft]
    found = chances(outcome, plan, [part], 60 * DAY)
    checked = 0
    for ready in ((part.launch_s or 0.0) + by * DAY for by in (1.3, 9.1, 17.7)):
        slots = {one.craft: one.slot for one in plan.craft if one.craft != part.craft}
        free = next(s for s in range(3) if s not in {part.slot, *slots.values()})
        held = tuple(Occupied(name=name, slot=slot) for name, slot in (*slots.items(), ("Heath", free)))
        alone = replace(
            outcome.scenario,
            craft=(replace(base, ready_s=ready),),
            ring=replace(outcome.scenario.ring, slot0_rad=outcome.ring.slot0_rad, occupied=held),
            limits=replace(outcome.scenario.limits, finish_within_s=math.inf),
            minimize="finish",
        )
        best = outcome_of(alone).plans[0]
        assert found.after(np.array([ready]))[1][0, 0] == pytest.approx(best.finish_s, abs=SECOND_S)
        checked += 1
    assert checked == 3


def test_the_load_is_that_of_the_budget() -> None:
    outcome = at_risk(planned(("Fen", "Moor")), Risk(), Errors(burn_share=0.01, periapsis_m=3000.0))
    made = make_budget(outcome, SAMPLES)
    [first] = [one for one in weighed(outcome) if one.plan.rank == 1]
    assert first.load_m_s == math.fsum(one.delta_v_m_s[-1].value for one in made.craft)
    assert first.load_kg == math.fsum(one.load_kg[-1] for one in made.craft if one.load_kg is not None)


def test_flights_flown_once_for_all_plans_are_those_of_each_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    outcome = at_risk(planned(("Fen", "Moor")), Risk(), Errors(burn_share=0.01, periapsis_m=3000.0))
    made: list[str] = []

    def counted(asked: Outcome, part: CraftPlan) -> AnyStory:
        made.append(part.craft)
        return story_in(asked, part)

    monkeypatch.setattr(known_flights, "story_in", counted)
    shared = weighed(outcome, SAMPLES)
    # loads and dates of a plan are of the same flights
    assert len(made) <= sum(len(plan.craft) for plan in outcome.plans)
    for one in shared:
        alone = completion(outcome, one.plan, SAMPLES)
        assert np.array_equal(one.completion.in_slot_s, alone.in_slot_s)
    assert len(shared) > 1


def test_plans_are_ranked_by_what_the_goal_weighs() -> None:
    outcome = at_risk(planned(("Fen", "Moor")), Risk(slip_share=0.5, slip_mean_s=4 * DAY))
    assert len(outcome.plans) > 1
    again = ranked(replace(outcome, scenario=replace(outcome.scenario, weigh="finish_p90")))
    assert [plan.rank for plan in again.plans] == list(range(1, len(outcome.plans) + 1))
    weights = [round(one.finish_p90_s / 60.0) for one in again.weighed]
    assert weights == sorted(weights)
    assert again.proof is None
    assert again.front is not None
    assert outcome.front is not None
    ranks = {plan.rank: plan for plan in again.plans}
    assert [ranks[point.plan].delta_v_m_s for point in again.front.points] == [
        point.delta_v_m_s for point in outcome.front.points
    ]
    named = re.search(r"Plan (\d+) has the least delta-v as planned, proved", again.notes[-1])
    assert named is not None
    least = min(plan.delta_v_m_s for plan in again.plans)
    assert ranks[int(named.group(1))].delta_v_m_s == pytest.approx(least, abs=SCREEN_M_S)


def test_spares_never_make_it_later() -> None:
    outcome = at_risk(
        planned(("Fen", "Moor")), Risk(slip_share=0.3, slip_mean_s=2 * DAY, loss_share=0.15, replaced_after_s=50 * DAY)
    )
    found = study(outcome, SAMPLES)
    assert [count for count, _ in found.spares] == [0, 1, 2]
    late = [done.done[2].value for _, done in found.spares]
    assert late[0] > late[1] + 10 * DAY
    assert late[1] >= late[2]


def test_plans_weighed_before_the_time_was_up_are_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    outcome = at_risk(planned(("Fen", "Moor")), Risk(slip_share=0.3, slip_mean_s=2 * DAY, loss_share=0.15))
    assert len(outcome.plans) > 1
    now, whole = [0.0], study(outcome, SAMPLES)

    def slow(*asked: Any) -> Completion:
        found = completion(*asked)
        now[0] += 1.0
        return found

    monkeypatch.setattr(weighing, "completion", slow)
    none, one = (_ended_after(outcome, search_s, now) for search_s in (0.0, 1.0))
    assert none.plans == ()
    assert [found.risk for found in one.plans] == [found.risk for found in whole.plans[:1]]
    assert one.spares == ()
    assert f"{len(outcome.plans) - 1} of {len(outcome.plans)} plans were not weighed" in one.unfinished
    assert "what spares are worth was not reached" in " ".join(risk_text(one, 80).split())
    assert "what late and lost launches make of that is not known yet" in " ".join(risk_text(none, 80).split())
    assert json.loads(risk_json(none))["unfinished"] == none.unfinished
    assert whole.unfinished == ""


def _ended_after(outcome: Outcome, search_s: float, now: list[float]) -> RiskStudy:
    """A study whose search ends so long after it began."""
    end_s = now[0] + search_s
    with searching(lambda: end_s - now[0]):
        return study(outcome, SAMPLES)


def test_nothing_to_weigh_by_is_refused() -> None:
    with pytest.raises(InputError, match="slip_share"):
        study(planned(("Fen",)))


def test_craft_on_a_carrier_are_lost_together() -> None:
    """One launch with six craft: the ring is never done with the chance that this launch is lost, not any of six."""
    outcome = bundled_outcome("shared-ride", BULGE_ALONE)
    plan = outcome.plans[0]
    assert [part.carrier is not None for part in plan.craft] == [True] * 6
    done = completion(at_risk(outcome, Risk(loss_share=0.1)), plan, SAMPLES)
    assert done.never == pytest.approx(0.1, abs=SPREAD)
    lost = np.isinf(done.in_slot_s)
    assert np.all(lost == lost[0])


def test_a_carrier_that_is_late_brings_each_craft_into_its_slot_later() -> None:
    outcome = bundled_outcome("shared-ride", BULGE_ALONE)
    plan = outcome.plans[0]
    begun = plan.craft[0].launch_s or 0.0
    lift, ends = chances(outcome, plan, plan.craft, 30 * DAY).after(begun + np.array([0.0, 3.0, 10.0]) * DAY)
    assert np.all(lift >= begun + np.array([0.0, 3.0, 10.0]) * DAY - 1.0)
    assert np.all(lift < begun + np.array([2.0, 5.0, 12.0]) * DAY)
    assert ends.shape == (6, 3)
    assert np.all(ends > lift)
    limit_s = max(part.in_slot_s for part in plan.craft) - begun
    assert np.all(np.max(ends, axis=0) - lift <= limit_s)
