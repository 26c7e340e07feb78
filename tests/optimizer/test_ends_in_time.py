"""Every search ends: at its deadline and within its memory, with what was found by then, and never with a pretence."""

from __future__ import annotations

import json
import tracemalloc
from collections.abc import Callable

import numpy as np
import pytest

from ringwright.models.deadline import Deadline, OutOfTimeError, flying, left_s, poll, searching, share, within
from ringwright.models.memory import OutOfMemoryError, need, room_bytes, used_bytes, within_memory
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.models.scenario import Scenario
from ringwright.optimizer.catalogue.catalogue import catalogue
from ringwright.optimizer.catalogue.floors import floor
from ringwright.optimizer.choice.selection import Selection
from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.problem.options import Options, undominated
from ringwright.optimizer.problem.problem import Problem
from ringwright.optimizer.problem.ring_phase import problems
from ringwright.optimizer.routes import carrier, carrier_loads, rephase
from ringwright.optimizer.routes.route import Question
from ringwright.optimizer.studies.strategies import compare_strategies
from ringwright.reports.result import result_text
from ringwright.reports.terminal import plan_text
from ringwright.tests.worlds import PAD_UNDER_THE_RING, QUILL_TURNING, ring

READING_S = 1.0
"""By how much the clock of these tests goes on each time that it is read."""

TWO = f"""
title = "Two over Quill, free-form too"
{QUILL_TURNING}{ring(2500.0, 3)}[limits]
revolutions_max = 3
finish_within_h = 30
[goal]
front_step_h = 12.0
[[craft]]
name = "Reed"
orbit = {{ altitude_km = 2500.0, angle_deg = 100.0 }}
[[craft]]
name = "Sedge"
orbit = {{ periapsis_km = 900.0, apoapsis_km = 2500.0, angle_deg = 20.0, at = "apoapsis" }}
"""

MANY = f"""
title = "Many kettles from one pad"
[body]
name = "Quill"
gm_km3_s2 = 398600.0
radius_km = 6378.0
sidereal_day_h = 23.9
{PAD_UNDER_THE_RING}"""


def _many(count: int) -> Scenario:
    craft = "".join(f'[[craft]]\nname = "Kettle {i}"\n' for i in range(count))
    return parse_scenario(MANY.format(count=count) + craft)


class _Readings:
    """A clock that goes on whenever it is read."""

    def __init__(self) -> None:
        self.count = 0

    def __call__(self) -> float:
        self.count += 1
        return self.count * READING_S


def test_a_search_ends_before_everything_does() -> None:
    now = [0.0]
    deadline = Deadline(limit_s=8.0, clock=lambda: now[0])
    with within(deadline):
        now[0] = 5.9
        poll()
        assert share(0.5)() == pytest.approx(0.05)
        now[0] = 6.1
        with pytest.raises(OutOfTimeError):
            poll()
        with flying():
            poll()
            with searching(lambda: 0.0), pytest.raises(OutOfTimeError):
                poll()
        now[0] = 8.1
        with flying(), pytest.raises(OutOfTimeError):
            poll()
    assert left_s() == np.inf


def test_whoever_stops_a_search_leaves_time_to_fly() -> None:
    now = [0.0]
    deadline = Deadline(clock=lambda: now[0])
    assert deadline.left_s() == np.inf
    deadline.stop()
    assert deadline.search_left_s() == 0.0
    assert 0.0 < deadline.left_s() < np.inf


@pytest.mark.parametrize("limit_s", [3.0, 60.0, 250.0])
def test_a_plan_keeps_to_its_time_by_a_clock_that_counts_its_readings(limit_s: float) -> None:
    clock = _Readings()
    with within(Deadline(limit_s=limit_s, clock=clock)):
        outcome = make_plan(parse_scenario(TWO))
    # a tenth, or what winding up the steps asks at the least
    assert clock.count * READING_S <= 1.1 * limit_s + 40.0
    result = json.loads(result_text(outcome))
    assert result["proof"]["status"] in ("optimal", "bounded", "undecided")
    assert (result["proof"]["status"] == "undecided") == (not result["plans"])
    assert result["infeasible"] is None
    assert outcome.unfinished
    assert "ended early" in " ".join(plan_text(outcome, 100).split())


def test_nothing_flown_is_undecided_and_said_so() -> None:
    with within(Deadline(limit_s=2.0, clock=_Readings())):
        outcome = make_plan(parse_scenario(TWO))
    assert outcome.undecided
    result = json.loads(result_text(outcome))
    assert result["proof"]["status"] == "undecided"
    assert result["proof"]["bound"] is None
    assert result["infeasible"] is None
    assert result["plans"] == []
    assert "UNDECIDED" in plan_text(outcome, 80)


def test_time_without_end_changes_nothing() -> None:
    scenario = parse_scenario(TWO.replace("front_step_h = 12.0", 'minimize = "finish"'))
    free = result_text(make_plan(scenario))
    with within(Deadline(limit_s=1e9, clock=_Readings())):
        assert result_text(make_plan(scenario)) == free


def test_flights_that_were_not_looked_for_prove_nothing_impossible() -> None:
    # only a free-form flight reaches the slot: neither orbit touches the ring
    text = TWO.replace("apoapsis_km = 2500.0, angle_deg = 20.0", "apoapsis_km = 2300.0, angle_deg = 20.0")
    undecided = 0
    for limit_s in (20.0, 80.0):
        with within(Deadline(limit_s=limit_s, clock=_Readings())):
            outcome = make_plan(parse_scenario(text))
        assert outcome.infeasible is None
        undecided += outcome.undecided
    assert undecided


def test_each_strategy_gets_its_share() -> None:
    clock = _Readings()
    scenario = parse_scenario(TWO.replace("front_step_h = 12.0", 'minimize = "delta_v"'))
    with within(Deadline(limit_s=300.0, clock=clock)):
        entries = compare_strategies(scenario)
    assert clock.count * READING_S <= 400.0
    assert any(entry.plan is not None for entry in entries)
    assert all(entry.plan is not None or entry.unfinished or entry.infeasible is None for entry in entries)


def test_memory_is_asked_for_before_it_is_taken() -> None:
    assert room_bytes() == np.inf
    with within_memory(used_bytes() + 50e6):
        assert 0.0 <= room_bytes() <= 60e6
        need(1e3)
        with pytest.raises(OutOfMemoryError):
            need(1e9)
    with within_memory(used_bytes() + 1e6):
        outcome = make_plan(_many(2))
    assert outcome.undecided
    assert outcome.infeasible is None


def _listed(options: Options) -> list[tuple[float, ...]]:
    kept = options.take(undominated(options))
    columns = (kept.slot, kept.passes, kept.revolutions, kept.ring_revolutions, kept.delta_v_m_s, kept.finish_s)
    return sorted(zip(*(np.round(column, 7).tolist() for column in columns), strict=True))


@pytest.mark.parametrize(
    "orbit", ["altitude_km = 2500.0", 'periapsis_km = 900.0, apoapsis_km = 2500.0, at = "apoapsis"']
)
@pytest.mark.parametrize("kept", ["", '[[ring.occupied]]\nname = "Rush"\nslot = 1\n'])
def test_blocks_hold_the_options_that_all_at_once_hold(orbit: str, kept: str, monkeypatch: pytest.MonkeyPatch) -> None:
    head = TWO.split("[limits]")[0]
    craft = f'[[craft]]\nname = "Reed"\norbit = {{ {orbit}, angle_deg = 100.0 }}\n'
    text = f"{head}{kept}[limits]\nrevolutions_max = 9\n{craft}"
    problem = problems(parse_scenario(text))[0]
    whole = _listed(rephase.columns(Question(problem=problem)))
    monkeypatch.setattr(rephase, "CHOICES_BLOCK", 40)
    assert _listed(rephase.columns(Question(problem=problem))) == whole
    assert whole


def test_many_revolutions_and_slots_stay_small() -> None:
    text = TWO.split("[goal]")[0].replace("revolutions_max = 3", "revolutions_max = 300").replace(
        "finish_within_h = 30\n", ""
    ).replace("slots = 3", "slots = 60")  # fmt: skip
    craft = '[[craft]]\nname = "Reed"\norbit = { altitude_km = 2500.0, angle_deg = 100.0 }\n'
    problem = problems(parse_scenario(text + craft))[0]
    tracemalloc.start()
    try:
        options = rephase.columns(Question(problem=problem))
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    # every choice of revolutions and turns at once would be 2.7 million rows of 200 bytes
    assert 10_000 < len(options) < 60 * 302
    assert peak < 60e6


def _riding(slots: int) -> Problem:
    craft = "".join(f'[[craft]]\nname = "Kettle {i}"\n' for i in range(3))
    carrier = '[[carrier]]\nname = "Hob"\ncraft = ["Kettle 0", "Kettle 1", "Kettle 2"]\ndelta_v_m_s = 900.0\n'
    return problems(parse_scenario(MANY.format(count=slots) + carrier + craft))[0]


def test_loads_in_blocks_are_those_of_all_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    problem = _riding(4)
    whole = carrier.columns(Question(problem=problem))
    monkeypatch.setattr(carrier_loads, "BLOCK_CHOICES", 1)
    blocks = carrier.columns(Question(problem=problem))
    assert whole.first_row.size > 50
    rows = [
        sorted(
            zip(
                part.liftoff_s.tolist(),
                part.slot.tolist(),
                part.finish_s.tolist(),
                part.delta_v_m_s.tolist(),
                strict=True,
            )
        )
        for part in (whole, blocks)
    ]
    assert rows[0] == rows[1]


def test_loads_for_many_slots_ask_for_time_and_memory() -> None:
    problem = _riding(30)
    clock = _Readings()
    with within_memory(used_bytes() + 1e6), pytest.raises(OutOfMemoryError):
        carrier.columns(Question(problem=problem))
    tracemalloc.start()
    try:
        with searching(lambda: 400.0 - clock()), pytest.raises(OutOfTimeError):
            carrier.columns(Question(problem=problem))
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert clock.count <= 401
    # 64 liftoffs at once, as for few slots, would take several times as much
    assert peak < 300e6


def test_many_launches_are_proved_by_what_no_plan_gets_below() -> None:
    scenario = _many(16)
    problem = problems(scenario)[0]
    made = catalogue(problem)
    assert not made.whole
    assert len(made.options) < 300_000
    least = problem.touch(problem.ways[0].arrival_speed_m_s).level_cost
    assert floor(made, "delta_v") == pytest.approx(16 * least)
    assert floor(made, "worst_delta_v") == pytest.approx(least)
    assert floor(made, "finish") == pytest.approx(15 * 20.0 * 3600.0 + problem.ways[0].after_s)
    # nothing listed is below what one launch comes to at the least
    assert made.options.finish_s.min() >= problem.ways[0].after_s
    assert made.options.delta_v_m_s.min() >= least - 1e-6


def test_each_flight_and_each_plan_of_a_batch_asks_for_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Measuring flights and putting plans together from them takes seconds where they last months."""
    asked = {"flight": 0, "plan": 0}

    def counting(what: str) -> Callable[[], None]:
        def ask() -> None:
            asked[what] += 1

        return ask

    monkeypatch.setattr("ringwright.optimizer.flown_plans.flights.poll", counting("flight"))
    selection = Selection(catalogue(problems(parse_scenario(TWO))[0]))
    chosen = [selection.best((aim,), flown=False) for aim in ("delta_v", "finish")]
    plans = [one for one in chosen if one is not None]
    assert len(plans) == 2
    monkeypatch.setattr("ringwright.optimizer.choice.selection.deadline.poll", counting("plan"))
    selection.cut_off(plans)
    assert asked["flight"] == len(selection.flyer.flights.flights) > 0
    assert asked["plan"] >= len(plans)
