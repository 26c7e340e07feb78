"""Plans that print alike are alike: the next aim decides, in the choice, after the flight and on the front."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringwright.models.readouts import plain, span
from ringwright.optimizer.choice.ties import AIMS, printed, prints_until, sooner_in_print
from ringwright.optimizer.schedule.columns import Columns, ScheduleProblem
from ringwright.optimizer.schedule.lexicographic import Objective, solve_lexicographic

from ...independent.plan_checker import printed as as_printed
from ...planned import planned

FOLDER = Path(__file__).parents[3] / "scenarios"
KEYS = {
    "delta_v": "delta_v_m_s",
    "finish": "finish_s",
    "worst_delta_v": "worst_delta_v_m_s",
    "propellant": "propellant_kg",
}

DROVER = """
title = "Three over one meridian: cheaper by 2 mm/s nine days later"
epoch = 2035-06-01T00:00:00Z
body = { name = "mars" }
ring = { period_h = 24.6229, slots = 3 }
limits = { finish_within_d = 12 }
carrier = [{ name = "Drover", craft = ["Ram", "Ewe", "Lamb"], mass_kg = 500, delta_v_m_s = 300 }]
[launch]
latitude_deg = 0
longitude_deg = 20
turnaround_d = 5
ascent_min = 10
downrange_deg = 20
insertion = { periapsis_km = 150, apoapsis_km = 17031 }
""" + "".join(
    f'[[craft]]\nname = "{name}"\ndry_mass_kg = 300\npropellant_kg = 150\nisp_s = 310\n'
    for name in ("Ram", "Ewe", "Lamb")
)


@given(st.sampled_from(AIMS), st.floats(0.0, 1e5), st.floats(0.0, 1.0))
def test_whatever_prints_alike_lies_below_the_end(aim: Any, value: float, share: float) -> None:
    end = prints_until(aim, value)
    assert end >= value
    assert printed(aim, value + share * (end - value)) == printed(aim, value)
    digit = 60.0 if aim == "finish" else 0.1
    assert printed(aim, end + 0.1 * digit) > printed(aim, value)


@given(st.floats(0.0, 1e5), st.floats(0.0, 1e5))
def test_it_is_rounded_as_the_screen_rounds(one: float, two: float) -> None:
    assert (printed("delta_v", one) == printed("delta_v", two)) == (plain(one) == plain(two))
    if min(one, two) > 600.0:
        assert (printed("finish", one) == printed("finish", two)) == (span(one) == span(two))


@given(st.floats(600.0, 1e6))
def test_sooner_in_print_is_the_last_that_is(finish_s: float) -> None:
    assert printed("finish", sooner_in_print(finish_s)) < printed("finish", finish_s)
    assert printed("finish", sooner_in_print(finish_s) + 1.0) == printed("finish", finish_s)


def two_ways(costs: list[float], finishes: list[float]) -> ScheduleProblem:
    """One craft, one slot, a column for each cost."""
    n = len(costs)
    return ScheduleProblem(
        columns=Columns(
            cost=np.array(costs),
            finish_s=np.array(finishes),
            pad=np.full(n, -1),
            liftoff_s=np.full(n, np.nan),
            pair_column=np.arange(n),
            pair_class=np.zeros(n, dtype=np.int64),
            pair_slot=np.zeros(n, dtype=np.int64),
        ),
        class_count=np.array([1]),
        slots=1,
        turnaround_s=np.empty(0),
    )


@pytest.mark.parametrize(("dearer", "chosen"), [(10.04, 1), (10.06, 0)])
def test_an_aim_may_rise_as_far_as_it_prints_alike(dearer: float, chosen: int) -> None:
    costs, finishes = [9.96, dearer], [9000.0, 600.0]
    objectives = [
        Objective(value=np.array(costs), alike=lambda least: prints_until("delta_v", least)),
        Objective(value=np.array(finishes), kind="worst", alike=lambda least: prints_until("finish", least)),
    ]
    solved = solve_lexicographic(two_ways(costs, finishes), objectives)
    assert solved.status == "optimal"
    assert solved.chosen == (chosen,)
    assert solved.bound == pytest.approx(9.96)


def test_two_millimeters_a_second_are_worth_no_wait() -> None:
    result = planned(DROVER)
    assert result["plans"][0]["finish_s"] < 2.0 * 86400.0
    assert result["plans"][0]["on_front"]


def in_order(result: dict[str, Any]) -> None:
    """Plans stand in the order of the contract as printed, plan 1 is the end of the front that the goal asks for, and
    every later point of the front prints as cheaper."""
    aim = result["proof"]["aim"]
    names = [KEYS[one] for one in (aim, *AIMS)]
    keys = [tuple(as_printed(name, plan[name] or 0.0) for name in names) for plan in result["plans"]]
    assert keys == sorted(keys)
    points = [
        (as_printed("finish_s", p["finish_s"]), as_printed("delta_v_m_s", p["delta_v_m_s"])) for p in result["front"]
    ]
    for early, late in pairwise(points):
        assert late[0] > early[0]
        assert late[1] < early[1]
    if aim in ("delta_v", "finish"):
        assert result["front"][-1 if aim == "delta_v" else 0]["plan"] == 1


SOAKED = [
    pytest.param(name, marks=pytest.mark.soak) for name in ("atoll-on-the-equator", "three-planes", "daily-window")
]


@pytest.mark.parametrize("name", ["backwards-world", "four-over-the-equator", *SOAKED])
def test_bundled_scenarios_are_ranked_and_thinned_as_printed(name: str) -> None:
    in_order(planned((FOLDER / f"{name}.toml").read_text(encoding="utf-8")))


@pytest.mark.parametrize("name", ["backwards-world", pytest.param("four-over-the-equator", marks=pytest.mark.soak)])
def test_the_earliest_plan_is_the_fast_end_of_the_front(name: str) -> None:
    text = (FOLDER / f"{name}.toml").read_text(encoding="utf-8")
    goal = '[goal]\nminimize = "finish"\n'
    text = text.split("[goal]")[0] + goal
    in_order(planned(text))


def test_no_flown_plan_lies_below_what_is_called_its_bound() -> None:
    """Over the oblate Earth flown costs differ from the catalogue's: both stand in the proof."""
    result = planned((FOLDER / "four-over-the-equator.toml").read_text(encoding="utf-8"))
    proof = result["proof"]
    assert all(proof["bound"] <= plan["delta_v_m_s"] + 1e-6 for plan in result["plans"])
    assert proof["flown_differs_by"] > 0.1
    assert proof["catalogue_bound"] > result["plans"][0]["delta_v_m_s"]
    assert proof["catalogue_bound"] - proof["flown_differs_by"] <= min(p["delta_v_m_s"] for p in result["plans"])


FREE_PHASE = """
title = "Two from above and below, the phase free"
[body]
name = "mercury"
[ring]
altitude_km = 4158
slots = 4
inclination_deg = 98
node_deg = 184
[limits]
revolutions_max = 2
[forces]
further = false
[[craft]]
name = "Adze"
orbit = { periapsis_km = 4158, apoapsis_km = 7613, angle_deg = 236, at = "periapsis" }
[[craft]]
name = "Bodkin"
orbit = { periapsis_km = 2518, apoapsis_km = 4158, angle_deg = 331, at = "periapsis" }
"""


def test_of_plans_at_several_phases_that_cost_alike_the_soonest_is_plan_1() -> None:
    result = planned(FREE_PHASE)
    in_order(result)
    assert len({round(plan["slot0_deg"], 3) for plan in result["plans"]}) > 1
