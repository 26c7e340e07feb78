"""The exhaustive search against plain loops over enumerated options, on a coarse grid of liftoffs."""

from __future__ import annotations

import itertools
import math

import pytest

from ringwright.tests.tolerances import CHAIN_REL, ROADS_REL

from .enumeration import Option, from_ground, from_space
from .exhaustive import earliest_finish, lay_out, least_delta_v, liftoff_grid
from .scenario_maker import make, with_limit, write_toml
from .small_reader import Case, read_case

STEP_S = 2400.0
WINDOW_S = 36000.0


def _plain(case: Case, slot0: float, finish_within: float) -> tuple[float, float]:
    """Least total and earliest finish, every choice of slots and of liftoffs in turn."""
    times = [float(t) for t in liftoff_grid(case, WINDOW_S, STEP_S)] if case.pads else []
    best, first = math.inf, math.inf
    for slots in itertools.permutations(range(case.slots), len(case.craft)):
        choices: list[list[Option]] = []
        for craft, slot in zip(case.craft, slots, strict=True):
            if craft.orbit is not None:
                waits = tuple(6.0 * case.period * i / 120 for i in range(121))
                choices.append(list(from_space(case, craft, slot, slot0, waits=waits)))
            else:
                choices.append(
                    [
                        option
                        for time in times
                        if time >= craft.ready
                        for option in from_ground(case, craft, case.pads[0], time, slot, slot0)
                    ]
                )
        for chosen in itertools.product(*choices):
            liftoffs = sorted(option.liftoff for option in chosen if option.liftoff is not None)
            steps = math.ceil(case.pads[0].turnaround / STEP_S - 1e-9) * STEP_S if case.pads else 0.0
            if any(late - early < steps - 1.0 for early, late in itertools.pairwise(liftoffs)):
                continue
            finish = max(option.finish for option in chosen)
            first = min(first, finish)
            if finish <= finish_within:
                best = min(best, sum(option.delta_v for option in chosen))
    return best, first


@pytest.mark.parametrize("number", [2, 4, 9, 11, 14, 20, 29, 31, 34])
def test_search_equals_plain_loops(number: int) -> None:
    draft = make(number, craft="any" if number % 2 else "ground", crowd=2, exact_time=True)
    draft = with_limit(draft, "revolutions_max", 1)
    draft["ring"].pop("occupied", None)
    draft["ring"]["slot0_deg"] = 40.0
    if "launch" in draft:
        # parking has further waits in the search than in these loops
        ways = draft["launch"]["insertion"]
        draft["launch"]["insertion"] = ways[0] if isinstance(ways, list) else ways
        if draft["launch"]["insertion"]["periapsis_m"] == draft["launch"]["insertion"]["apoapsis_m"]:
            draft["launch"]["insertion"]["apoapsis_m"] = draft["ring"]["altitude_m"]
    case = read_case(write_toml(draft))
    assert case.slot0 is not None
    search = lay_out(case, case.slot0, set(), WINDOW_S, STEP_S)
    _, first = _plain(case, case.slot0, -math.inf)
    assert math.isfinite(first)
    assert earliest_finish(search) == pytest.approx(first, rel=CHAIN_REL)
    for threshold in (math.inf, first + 0.3 * case.period, first + 1.1 * case.period):
        best, _ = _plain(case, case.slot0, threshold)
        assert least_delta_v(search, threshold) == pytest.approx(best, rel=ROADS_REL)
