"""The best plan under each strategy against all plans of a small ring that keep to it, independently enumerated."""

from __future__ import annotations

import itertools
import math

import pytest

from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.optimizer.studies.strategies import Entry, compare_scenarios, compare_strategies, room_share, strategies
from ringwright.tests.independent.enumeration import Option, from_ground, from_space
from ringwright.tests.independent.small_reader import Case, read_case
from ringwright.tests.tolerances import THREE_DECIMALS
from ringwright.tests.worlds import SMALL_RING

COST_TOLERANCE = 2e-5
"""m/s: what the exact program may leave between a plan and the best one."""
FLOWN_TOLERANCE = 1e-4
"""m/s: what the flown burns may differ from the planned ones."""

WORLD = SMALL_RING.format(slots=4, revolutions=5, hours=40.0)
SPACE = """
[[craft]]
name = "Reed"
orbit = { periapsis_km = 2500.0, apoapsis_km = 2500.0, angle_deg = 75.0 }
[[craft]]
name = "Sedge"
orbit = { periapsis_km = 900.0, apoapsis_km = 2500.0, angle_deg = 200.0, at = "apoapsis", at_h = 1.0 }
[[craft]]
name = "Rush"
orbit = { periapsis_km = 2500.0, apoapsis_km = 4100.0, angle_deg = 300.0, at = "periapsis", at_h = 2.0 }
"""
PAD = """
[launch]
latitude_deg = 0.0
longitude_deg = 10.0
ready_h = 1.0
turnaround_h = 5.0
ascent_min = 8.0
downrange_deg = 14.0
insertion = [
  { name = "straight", periapsis_km = 300.0, apoapsis_km = 2500.0, altitude_km = 320.0 },
  { name = "low", periapsis_km = 320.0, apoapsis_km = 320.0, altitude_km = 320.0 },
]
[[craft]]
name = "Teal"
[[craft]]
name = "Whisk"
"""


def keeps(option: Option, name: str) -> bool:
    """Whether an option keeps to a strategy, by its name."""
    k = option.revolutions
    return {
        "free choice": True,
        "below only": option.side != "above",
        "above only": option.side != "below",
        "one revolution": k <= 1,
        "2 to 4 revolutions": k == 0 or 2 <= k <= 4,
        "5 or more revolutions": k == 0 or k >= 5,
        "direct": option.route == "direct",
        "by parking orbit": option.route == "park",
        "lift off at once": True,
    }[name]


def least_in_space(case: Case, name: str) -> float:
    """Least total delta-v over every order of slots, m/s."""
    assert case.slot0 is not None
    least = [
        [
            min((o.delta_v for o in from_space(case, craft, slot, case.slot0) if keeps(o, name)), default=math.inf)
            for slot in range(case.slots)
        ]
        for craft in case.craft
    ]
    return min(
        sum(least[i][slot] for i, slot in enumerate(slots))
        for slots in itertools.permutations(range(case.slots), len(case.craft))
    )


def test_best_of_each_strategy_is_the_best_of_all_plans_that_keep_to_it() -> None:
    entries = compare_strategies(parse_scenario(WORLD + SPACE))
    case = read_case(WORLD + SPACE)
    assert [entry.name for entry in entries] == [
        "free choice",
        "below only",
        "above only",
        "one revolution",
        "2 to 4 revolutions",
        "5 or more revolutions",
    ]
    for entry in entries:
        wanted = least_in_space(case, entry.name)
        if math.isinf(wanted):
            assert entry.plan is None
            continue
        assert entry.plan is not None
        assert entry.proof is not None
        assert entry.proof.status == "optimal"
        assert entry.plan.delta_v_m_s == pytest.approx(wanted, abs=COST_TOLERANCE + FLOWN_TOLERANCE)
        assert entry.fronts[0].points[-1].delta_v_m_s == pytest.approx(wanted, abs=COST_TOLERANCE)
        for craft in entry.plan.craft:
            assert entry.name != "below only" or craft.side != "above"
            assert entry.name != "above only" or craft.side != "below"
    free = entries[0].plan
    assert free is not None
    assert all(e.plan is None or e.plan.delta_v_m_s >= free.delta_v_m_s - FLOWN_TOLERANCE for e in entries)


@pytest.fixture(scope="module")
def launched() -> tuple[Entry, ...]:
    return compare_strategies(parse_scenario(WORLD + PAD, settings=["limits.revolutions_max=2"]))


def test_launched_strategies_keep_to_their_rule(launched: tuple[Entry, ...]) -> None:
    by_name = {entry.name: entry for entry in launched}
    assert {"direct", "by parking orbit", "lift off at once"} <= set(by_name)
    assert launched
    for entry in launched:
        assert entry.plan is not None
        for craft in entry.plan.craft:
            assert entry.name != "direct" or craft.route == "direct"
            assert entry.name != "by parking orbit" or craft.route == "park"
            assert entry.name != "one revolution" or craft.revolutions <= 1
            assert entry.name != "below only" or craft.side != "above"
            assert entry.name != "above only" or craft.side != "below"


def test_at_once_lifts_off_as_soon_as_the_pad_allows(launched: tuple[Entry, ...]) -> None:
    entry = next(e for e in launched if e.name == "lift off at once")
    assert entry.plan is not None
    liftoffs = sorted(craft.launch_s or 0.0 for craft in entry.plan.craft)
    assert liftoffs == pytest.approx([3600.0, 6 * 3600.0], abs=THREE_DECIMALS)
    case = read_case(WORLD.replace("revolutions_max = 5", "revolutions_max = 2") + PAD)
    assert case.slot0 is not None
    pad = case.pads[0]
    best = math.inf
    for slots in itertools.permutations(range(case.slots), 2):
        parts = [
            min(
                (o.delta_v for o in from_ground(case, case.craft[i], pad, at, slot, case.slot0)),
                default=math.inf,
            )
            for i, (at, slot) in enumerate(zip(liftoffs, slots, strict=True))
        ]
        best = min(best, sum(parts))
    assert entry.plan.delta_v_m_s <= best + COST_TOLERANCE + FLOWN_TOLERANCE


def test_strategies_that_mean_nothing_are_left_out() -> None:
    few = strategies(parse_scenario(WORLD + SPACE, settings=["limits.revolutions_max=1"]))
    assert [s.name for s in few] == ["free choice", "below only", "above only", "one revolution"]


def test_scenarios_side_by_side_say_what_limits_them() -> None:
    wide = parse_scenario(WORLD + SPACE, settings=["goal.first_service=2"])
    tight = parse_scenario(WORLD + SPACE, settings=["limits.finish_within_h=1.5"])
    first, second = compare_scenarios([("wide", wide), ("tight", tight)])
    assert [front.name for front in first.fronts] == ["delta_v", "worst_delta_v", "first_service"]
    assert first.plan is not None
    assert first.tightest is not None
    assert room_share(first.tightest) == min(room_share(m) for m in first.plan.margins)
    assert first.first_service_s is not None
    assert first.first_service_s <= first.plan.finish_s
    assert second.plan is None
    assert second.infeasible is not None
    assert second.infeasible.binds[0].limit == "limits.finish_within"
