"""A free ring phase against a separate exhaustive search: every order of slots at each phase of a fine grid.

The search enumerates options in plain loops (``enumeration.py``) and shares no code with the planner. At no phase of
its grid may it find anything better, by any goal and at any finish of the front; and at the phase that the planner
chose it finds the same.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from functools import cache

import pytest

from ringwright.models.scenario import Scenario
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.plan import make_plan

from ..planned import planned, scenario_of
from .enumeration import from_space
from .exhaustive import earliest_finish, lay_out, least_delta_v
from .printed_flight import fly_printed
from .scenario_maker import make, with_limit, write_toml
from .small_reader import Case, read_case

GRID = 72
"""Phases evenly over a slot spacing, besides those at which somebody is in place."""
SAME_M_S, SAME_S = 1e-4, 1e-2
NAMED_REL = 1.02
"""Values that serve are named in steps of a few thousandths, and the grid of phases is one of steps, too."""
OFF_DEG = 0.01
DIGIT = {"delta_v": 0.1, "worst_delta_v": 0.1, "finish": 60.0}
"""What "over all phases" is proved to."""


@dataclass(frozen=True)
class Phase:
    """Every choice at one phase: (delta-v, finish) of each craft in each slot."""

    case: Case
    slot0: float

    @property
    def choices(self) -> list[list[list[tuple[float, float]]]]:
        """By craft and slot."""
        return _choices(self.case, round(self.slot0, 12))

    def least(self, goal: str, finish_within: float = math.inf) -> float:
        """The least of a goal over all orders of slots."""
        movers = len(self.choices)
        of = {"finish": 1}.get(goal, 0)
        table = [
            [min((o[of] for o in options if o[1] <= finish_within), default=math.inf) for options in row]
            for row in self.choices
        ]
        join = sum if goal == "delta_v" else max
        orders = itertools.permutations(range(self.case.slots), movers)
        return min(join(table[i][slot] for i, slot in enumerate(order)) for order in orders)


@cache
def _choices(case: Case, slot0: float) -> list[list[list[tuple[float, float]]]]:
    movers = [craft for craft in case.craft if not craft.stay]
    return [
        [[(o.delta_v, o.finish) for o in from_space(case, craft, slot, slot0)] for slot in range(case.slots)]
        for craft in movers
    ]


def _text(number: int, goal: str, crowd: int = 3, revolutions: int = 4) -> str:
    draft = with_limit(make(number, craft="space", crowd=crowd, exact_time=True), "revolutions_max", revolutions)
    draft["ring"].pop("occupied", None)
    draft["ring"]["slot0_deg"] = "free"
    draft["goal"] = {"minimize": goal}
    draft["limits"].pop("separation_km", None)
    draft["limits"]["separation_m"] = 0.0
    return write_toml(draft)


def _grid(case: Case) -> list[Phase]:
    """Phases of the grid, and those at which a craft on the ring is in place."""
    spacing = 2.0 * math.pi / case.slots
    on_ring = [
        (c.orbit.angle - case.rate * c.orbit.at_time) % spacing
        for c in case.craft
        if c.orbit is not None and c.orbit.at is None
    ]
    return [Phase(case, phase) for phase in (*(spacing * i / GRID for i in range(GRID)), *on_ring)]


def _planned(text: str, *, brief: bool = True) -> Outcome:
    return make_plan(scenario_of(text), brief=brief)


def _value(outcome: Outcome, goal: str) -> float:
    plan = outcome.plans[0]
    return {"delta_v": plan.delta_v_m_s, "worst_delta_v": plan.worst_delta_v_m_s, "finish": plan.finish_s}[goal]


NUMBERS = (300, 302, 303, 305, 308, 311)


@pytest.mark.parametrize("goal", ["delta_v", "worst_delta_v", "finish"])
def test_no_phase_of_a_fine_grid_is_better(goal: str) -> None:
    found = 0
    for number in NUMBERS:
        text = _text(number, goal)
        case, outcome = read_case(text), _planned(text)
        least = min((phase.least(goal) for phase in _grid(case)), default=math.inf)
        if not outcome.plans:
            assert math.isinf(least), f"scenario {number}: the search finds {least}, the planner finds no plan"
            continue
        found += 1
        proof = outcome.proof
        assert proof is not None
        assert proof.phases is not None
        assert proof.phases.proved
        # the phase that a rule gives may be the best one: it is chosen all the same
        assert "rule" not in outcome.phase_rule
        assert _value(outcome, goal) <= least + DIGIT[goal], f"scenario {number}"
        assert proof.phases.bound <= least + SAME_M_S, f"scenario {number}"
        # what is printed is there at the phase that is printed
        there = Phase(case, float(outcome.plans[0].slot0_rad or 0.0)).least(goal)
        assert _value(outcome, goal) >= there - (SAME_S if goal == "finish" else SAME_M_S)
        assert _value(outcome, goal) <= there + DIGIT[goal]
    assert found >= 3


@pytest.mark.parametrize("number", [302, 308])
def test_no_phase_is_better_at_any_finish_of_the_front(number: int) -> None:
    text = _text(number, "delta_v", crowd=2, revolutions=3)
    case, outcome = read_case(text), _planned(text, brief=False)
    front = outcome.front
    assert front is not None
    assert len(front.points) > 2
    grid = _grid(case)
    plans = {plan.rank: plan for plan in outcome.plans}
    assert len({round(plans[point.plan].slot0_rad or 0.0, 9) for point in front.points}) > 1
    for early, late in itertools.pairwise((*front.points, None)):
        assert early is not None
        least = min(phase.least("delta_v", early.finish_s) for phase in grid)
        assert early.delta_v_m_s <= least + DIGIT["delta_v"]
        if late is not None:
            between = late.finish_s - DIGIT["finish"]
            least = min(phase.least("delta_v", between) for phase in grid)
            assert least >= early.delta_v_m_s - max(front.resolution_m_s, DIGIT["delta_v"]) - SAME_M_S


BULGE = """
title = "Three loose over the Earth"
body = {{ name = "earth" }}
ring = {{ altitude_km = {altitude}, slots = {slots}, slot0_deg = "free", inclination_deg = {inclination} }}
limits = {{ finish_within_d = 3.0, revolutions_max = 8, clearance_km = 60.0 }}
goal = {{ minimize = "worst_delta_v" }}
"""
LOOSE = '[[craft]]\nname = "C{number}"\norbit = {{ altitude_km = {altitude}, angle_deg = {angle} }}\n'


@pytest.mark.parametrize(
    ("altitude", "inclination"), [(9000.0, 0.0), pytest.param(900.0, 53.0, marks=pytest.mark.soak)]
)
def test_each_plan_ends_in_its_slot_at_the_phase_printed_with_it(altitude: float, inclination: float) -> None:
    text = BULGE.format(altitude=altitude, inclination=inclination, slots=3)
    for number, angle in enumerate((0.0, 60.0, 200.0)):
        text += LOOSE.format(number=number, altitude=altitude, angle=angle)
    result = planned(text)
    assert len({round(plan["slot0_deg"], 6) for plan in result["plans"]}) > 3
    ended = fly_printed(text, result)
    assert len(ended) == sum(len(plan["craft"]) for plan in result["plans"])
    for one in ended:
        assert one.miss_deg < OFF_DEG, one


@pytest.mark.parametrize(("number", "goal"), [(9, "delta_v"), (21, "delta_v"), (21, "finish")])
def test_craft_in_space_and_launches_together(number: int, goal: str) -> None:
    """Liftoffs on a grid of two minutes, so that the search may be a little worse, and never better."""
    draft = with_limit(make(number, craft="any", crowd=3, exact_time=True), "revolutions_max", 3)
    draft["ring"].pop("occupied", None)
    draft["ring"]["slot0_deg"] = "free"
    draft["goal"] = {"minimize": goal}
    text = write_toml(draft)
    case, outcome = read_case(text), _planned(text)
    assert outcome.plans
    window = min(24.0 * 3600.0, case.finish_within)
    spacing = 2.0 * math.pi / case.slots
    for i in range(6):
        search = lay_out(case, spacing * i / 6, set(), window, 120.0)
        least = earliest_finish(search) if goal == "finish" else least_delta_v(search)
        assert _value(outcome, goal) <= least + DIGIT[goal], f"phase {i}"


@pytest.mark.parametrize("number", [302, 308])
def test_the_remedy_counts_every_phase(number: int) -> None:
    """With too little time the latest finish that is named is the soonest over all phases, not that of a rule."""
    text = _text(number, "finish")
    late = scenario_of(text)
    # between two phases of the grid a craft may be sooner than at both
    grid_s = min(phase.least("finish") for phase in _grid(read_case(text)))
    soonest_s = min(grid_s, make_plan(late, brief=True).plans[0].finish_s)

    def within(limit_s: float) -> Scenario:
        return replace(late, limits=replace(late.limits, finish_within_s=limit_s))

    outcome = make_plan(within(0.8 * soonest_s))
    assert not outcome.plans
    assert outcome.phase_rule == ""
    assert outcome.infeasible is not None
    [bind] = [one for one in outcome.infeasible.binds if one.limit == "limits.finish_within"]
    assert bind.serves is not None
    assert bind.serves <= soonest_s * NAMED_REL
    assert make_plan(within(bind.serves), brief=True).plans
