"""Every front against all plans of small rings, enumerated by code that shares no formula with the catalogue."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator

import numpy as np
import numpy.typing as npt
import pytest

from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.optimizer.catalogue.catalogue import catalogue
from ringwright.optimizer.choice.front import walk
from ringwright.optimizer.choice.other_fronts import other_fronts
from ringwright.optimizer.choice.selection import Selection
from ringwright.optimizer.outcome import AimPoint
from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.problem.ring_phase import problems
from ringwright.tests.independent.enumeration import G0, from_ground, from_space
from ringwright.tests.independent.small_reader import Case, Craft, read_case
from ringwright.tests.worlds import SMALL_RING, slope

F = npt.NDArray[np.float64]
COST_TOLERANCE = 2e-5
"""m/s or kg: what the exact program may leave between a plan and the best one."""
TIME_TOLERANCE_S = 1e-2
"""A point must be sooner than the next by this much to count as one: the walk's own step."""

HEAD = f"""{SMALL_RING}[goal]
first_service = {{neighbors}}
"""
UNLIKE = (
    '[[craft]]\nname = "Reed"\ndry_mass_kg = 90.0\npropellant_kg = 80.0\nisp_s = 240.0\n'
    "orbit = { periapsis_km = 2500.0, apoapsis_km = 2500.0, angle_deg = 75.0 }\n",
    '[[craft]]\nname = "Sedge"\ndry_mass_kg = 300.0\npropellant_kg = 400.0\nisp_s = 310.0\nload = "least"\n'
    'orbit = { periapsis_km = 900.0, apoapsis_km = 2500.0, angle_deg = 200.0, at = "apoapsis", at_h = 1.0 }\n',
    '[[craft]]\nname = "Rush"\ndry_mass_kg = 40.0\npropellant_kg = 30.0\nisp_s = 200.0\n'
    'orbit = { periapsis_km = 2500.0, apoapsis_km = 4100.0, angle_deg = 300.0, at = "periapsis", at_h = 2.0 }\n',
)
KEPT = '[[ring.occupied]]\nname = "Moss"\nslot = 2\n'


def burned_kg(craft: Craft, delta_v: F) -> F:
    """Propellant by the rocket equation (Tsiolkovsky 1903)."""
    assert craft.dry is not None
    assert craft.propellant is not None
    assert craft.isp is not None
    exhaust = craft.isp * G0
    full = craft.dry * np.exp((delta_v + craft.reserve) / exhaust) if craft.least else craft.dry + craft.propellant
    return np.asarray(full * (1.0 - np.exp(-delta_v / exhaust)))


def every_plan(case: Case, kept: frozenset[int], neighbors: int) -> Iterator[dict[str, F]]:
    """All plans, one block a choice of slots: total, worst, propellant, finish and first service of each."""
    free = [slot for slot in range(case.slots) if slot not in kept]
    assert case.slot0 is not None
    options = [
        {slot: [(o.delta_v, o.finish) for o in from_space(case, craft, slot, case.slot0)] for slot in free}
        for craft in case.craft
    ]
    for slots in itertools.permutations(free, len(case.craft)):
        lists = [options[i][slot] for i, slot in enumerate(slots)]
        if not all(lists):
            continue
        grids = np.meshgrid(*[np.arange(len(item)) for item in lists], indexing="ij")
        picked = [grid.ravel() for grid in grids]
        delta_v = np.array([np.array(item)[pick, 0] for item, pick in zip(lists, picked, strict=True)])
        finish = np.array([np.array(item)[pick, 1] for item, pick in zip(lists, picked, strict=True)])
        mass = [burned_kg(craft, each) for craft, each in zip(case.craft, delta_v, strict=True)]
        in_place = {slot: np.zeros(finish.shape[1]) for slot in kept}
        in_place |= dict(zip(slots, finish, strict=True))
        none = np.full(finish.shape[1], np.inf)
        service = none
        for first in range(case.slots):
            group = [in_place.get((first + j) % case.slots, none) for j in range(neighbors)]
            service = np.minimum(service, np.max(group, axis=0))
        yield {
            "delta_v": delta_v.sum(axis=0),
            "worst_delta_v": delta_v.max(axis=0),
            "propellant": np.sum(mass, axis=0),
            "finish": finish.max(axis=0),
            "first_service": service,
        }


def efficient(cost: F, time: F) -> list[tuple[float, float]]:
    """(time, cost) of the plans that none beats in both, from fast to slow."""
    found: list[tuple[float, float]] = []
    for i in np.lexsort((cost, time)).tolist():
        if not found or cost[i] < found[-1][1] - COST_TOLERANCE:
            if found and time[i] - found[-1][0] < TIME_TOLERANCE_S:
                found.pop()
            found.append((float(time[i]), float(cost[i])))
    return found


READ: dict[str, tuple[str, Callable[[AimPoint], tuple[float | None, float | None]]]] = {
    "worst_delta_v": ("finish", lambda p: (p.finish_s, p.worst_delta_v_m_s)),
    "propellant": ("finish", lambda p: (p.finish_s, p.propellant_kg)),
    "first_service": ("first_service", lambda p: (p.first_service_s, p.delta_v_m_s)),
}


@pytest.mark.parametrize(
    ("slots", "revolutions", "hours", "neighbors", "kept"),
    [
        (4, 3, 40.0, 2, False),
        (5, 2, 40.0, 3, False),
        (4, 3, 50.0, 2, True),
        (4, 3, 30.0, 1, False),
        (3, 4, 40.0, 3, False),
    ],
)
def test_fronts_equal_all_plans(slots: int, revolutions: int, hours: float, neighbors: int, kept: bool) -> None:
    text = HEAD.format(slots=slots, revolutions=revolutions, hours=hours, neighbors=neighbors)
    text += (KEPT if kept else "") + "".join(UNLIKE)
    case = read_case(text)
    blocks = list(every_plan(case, frozenset({2} if kept else ()), neighbors))
    every = {name: np.concatenate([block[name] for block in blocks]) for name in blocks[0]}
    (problem,) = problems(parse_scenario(text))
    selection = Selection(catalogue(problem))
    main = walk(selection)
    assert [(t, c.delta_v_m_s) for t, c in zip(main.times_s, main.plans, strict=True)] == [
        pytest.approx(point, abs=COST_TOLERANCE) for point in efficient(every["delta_v"], every["finish"])
    ]
    fronts = other_fronts(selection)
    assert [front.name for front in fronts] == list(READ)
    for front in fronts:
        against, read = READ[front.name]
        cost = every["delta_v" if front.name == "first_service" else front.name]
        wanted = efficient(cost, every[against])
        assert len(wanted) > 1
        assert [read(point) for point in front.points] == [pytest.approx(w, abs=COST_TOLERANCE) for w in wanted]


def test_service_of_craft_that_stay_is_there_from_the_beginning() -> None:
    text = HEAD.format(slots=4, revolutions=2, hours=40.0, neighbors=1) + KEPT + UNLIKE[0]
    (problem,) = problems(parse_scenario(text))
    front = next(f for f in other_fronts(Selection(catalogue(problem))) if f.name == "first_service")
    assert [point.first_service_s for point in front.points] == [0.0]


PAD = f"""
[launch]
latitude_deg = 0.0
longitude_deg = 10.0
ready_h = 1.0
turnaround_h = 5.0
{slope(2500.0)}[[craft]]
name = "Teal"
[[craft]]
name = "Whisk"
"""


@pytest.mark.parametrize("neighbors", [1, 2])
def test_no_plan_on_a_grid_of_liftoffs_beats_a_front(neighbors: int) -> None:
    text = HEAD.format(slots=3, revolutions=2, hours=40.0, neighbors=neighbors) + PAD
    case = read_case(text)
    assert case.slot0 is not None
    (problem,) = problems(parse_scenario(text))
    selection = Selection(catalogue(problem))
    service = walk(selection, neighbors=neighbors)
    worst = walk(selection, aim="worst_delta_v")
    pad, step = case.pads[0], 1200.0
    liftoffs = [pad.ready + step * i for i in range(60)]
    options = {
        (slot, i): [(o.delta_v, o.finish) for o in from_ground(case, case.craft[0], pad, at, slot, case.slot0)]
        for slot in range(3)
        for i, at in enumerate(liftoffs)
    }
    lag = math.ceil(pad.turnaround / step)
    rows = []
    for a, b in itertools.permutations(range(3), 2):
        for i in range(len(liftoffs)):
            for j in range(i + lag, len(liftoffs)):
                for (one, soon), (two, late) in itertools.product(options[a, i], options[b, j]):
                    first = min(soon, late) if neighbors == 1 else max(soon, late)
                    rows.append((one + two, max(one, two), max(soon, late), first))
    total, dearest, finish, served = np.array(rows).T
    for walked, cost, time in ((service, total, served), (worst, dearest, finish)):
        values = np.array(
            [c.delta_v_m_s if walked is service else float(c.options.delta_v_m_s.max()) for c in walked.plans]
        )
        slack = walked.resolution + COST_TOLERANCE
        at = np.searchsorted(walked.times_s, time + TIME_TOLERANCE_S, side="right") - 1
        assert at.min() >= 0, "a plan on the grid is sooner than the fastest point"
        assert np.all(cost >= values[at] - slack)


def test_time_that_ran_out_is_never_pretence() -> None:
    scenario = parse_scenario(HEAD.format(slots=4, revolutions=2, hours=40.0, neighbors=2) + "".join(UNLIKE))
    whole = make_plan(scenario, fronts=True)
    assert whole.unfinished == ""
    assert {front.name for front in whole.fronts} == set(READ)
    for moments in (0, 12, 40):
        asked = itertools.count()
        cut = make_plan(scenario, fronts=True, left_s=lambda: 9.0 if next(asked) < moments else 0.0)  # noqa: B023
        assert cut.unfinished
        assert not cut.plans or cut.proof is not None
        if cut.proof is not None and cut.proof.status == "optimal":
            assert cut.plans[0].delta_v_m_s == pytest.approx(whole.plans[0].delta_v_m_s, abs=COST_TOLERANCE)
        points = [] if cut.front is None else [(p.finish_s, p.delta_v_m_s) for p in cut.front.points]
        proved = [(p.finish_s, p.delta_v_m_s) for p in whole.front.points] if whole.front else []
        assert points == proved[len(proved) - len(points) :]
