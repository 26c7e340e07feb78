"""Where no plan keeps the limits: the limit that binds is named, and the value named does serve."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from ringwright.models import oblate_coast
from ringwright.models.deadline import Deadline, OutOfTimeError, poll, within
from ringwright.models.flight.gravity import Gravity
from ringwright.models.flight.stepping import land
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.models.scenario import Scenario
from ringwright.optimizer.catalogue.catalogue import catalogue, from_space
from ringwright.optimizer.choice import infeasible
from ringwright.optimizer.choice.cuts import SCREENED_MAX, Cuts
from ringwright.optimizer.choice.flyer import Flyer
from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.problem.options import Options, join
from ringwright.optimizer.problem.ring_phase import problems
from ringwright.optimizer.routes.route import Question
from ringwright.reports.result import result_text
from ringwright.tests.worlds import QUILL_WITH_AIR, ring, slope

RING = f"""
title = "Two over Quill"
{QUILL_WITH_AIR}{ring(1500.0, 4)}"""
REED = """
[[craft]]
name = "Reed"
dry_mass_kg = 100.0
propellant_kg = {propellant}
isp_s = 250.0
orbit = {{ altitude_km = 1500.0, angle_deg = 330.0 }}
[[ring.occupied]]
name = "Moss"
slot = 1
[[ring.occupied]]
name = "Fern"
slot = 2
[[ring.occupied]]
name = "Sedge"
slot = 3
"""
PAD = f"""
[launch]
latitude_deg = 0.0
longitude_deg = 10.0
turnaround_h = 9.0
{slope(1500.0)}[[craft]]
name = "Rush"
[[craft]]
name = "Teasel"
"""


def _scenario(limits: str, craft: str = REED.format(propellant=60.0), settings: tuple[str, ...] = ()) -> Scenario:
    return parse_scenario(RING + "[limits]\n" + limits + craft, settings=settings)


def _result(scenario: Scenario) -> dict[str, Any]:
    result: dict[str, Any] = json.loads(result_text(make_plan(scenario)))
    return result


CASES = {
    "limits.finish_within_h": ("finish_within_h = 1.0\n", REED.format(propellant=60.0)),
    "limits.wait_within_h": ("wait_within_h = 1.0\n", REED.format(propellant=60.0)),
    "limits.apoapsis_max_km": ("apoapsis_max_km = 1500.0\nclearance_km = 1350.0\nrevolutions_max = 1\n",
                               REED.format(propellant=60.0)),
    "limits.clearance_km": ("clearance_km = 1440.0\napoapsis_max_km = 1510.0\nrevolutions_max = 2\n",
                            REED.format(propellant=60.0)),
    "limits.revolutions_max": ("clearance_km = 1440.0\napoapsis_max_km = 1510.0\nrevolutions_max = 2\n",
                               REED.format(propellant=60.0)),
    "craft.Reed.propellant_kg": ("revolutions_max = 1\n", REED.format(propellant=0.5)),
}  # fmt: skip


@pytest.mark.parametrize("limit", sorted(CASES))
def test_the_value_named_serves_and_a_hair_less_does_not(limit: str) -> None:
    limits, craft = CASES[limit]
    result = _result(_scenario(limits, craft))
    assert result["plans"] == []
    named = {bind["limit"]: bind["serves"] for bind in result["infeasible"]["binds"]}
    assert not result["infeasible"]["together"]
    assert limit in named
    for key, serves in named.items():
        assert _result(_scenario(limits, craft, (f"{key}={serves}",)))["plans"], f"{key} = {serves} does not serve"
    hair = {"limits.revolutions_max": -1, "limits.clearance_km": 0.2}.get(limit, -0.05)
    if limit == "craft.Reed.propellant_kg":
        hair = -0.15
    if limit == "limits.apoapsis_max_km":
        hair = -1.5
    assert not _result(_scenario(limits, craft, (f"{limit}={named[limit] + hair}",)))["plans"]


def test_a_separation_that_nobody_can_keep_is_named() -> None:
    """Half a turn away in two revolutions at most: after one the craft is where Sedge is."""
    craft = REED.format(propellant=60.0).replace("angle_deg = 330.0", "angle_deg = 182.0")
    limits = "revolutions_max = 2\nclearance_km = 300.0\napoapsis_max_km = 1500.0\nseparation_km = 100.0\n"
    result = _result(_scenario(limits, craft))
    assert result["plans"] == []
    named = {bind["limit"]: bind["serves"] for bind in result["infeasible"]["binds"]}
    assert "limits.separation_km" in named
    served = _result(_scenario(limits, craft, (f"limits.separation_km={named['limits.separation_km']}",)))
    assert served["plans"]
    assert served["plans"][0]["craft"][0]["closest_km"] >= named["limits.separation_km"] - 1e-3


def test_two_limits_that_bind_together_are_both_named() -> None:
    limits = "finish_within_h = 1.0\nwait_within_h = 1.0\n"
    result = _result(_scenario(limits))
    found = result["infeasible"]
    assert found["together"]
    assert {bind["limit"] for bind in found["binds"]} == {"limits.finish_within_h", "limits.wait_within_h"}
    settings = tuple(f"{bind['limit']}={bind['serves']}" for bind in found["binds"])
    assert _result(_scenario(limits, settings=settings))["plans"]
    assert not _result(_scenario(limits, settings=settings[:1]))["plans"]


def test_launches_that_cannot_all_finish_in_time() -> None:
    limits = "finish_within_h = 8.0\n"
    result = _result(_scenario(limits, PAD))
    named = result["infeasible"]
    assert named["limit"] == "limits.finish_within_h"
    assert _result(_scenario(limits, PAD, (f"limits.finish_within_h={named['serves']}",)))["plans"]
    assert not _result(_scenario(limits, PAD, (f"limits.finish_within_h={named['serves'] - 0.05}",)))["plans"]


def test_a_limit_that_takes_all_its_time_leaves_the_others_theirs(monkeypatch: pytest.MonkeyPatch) -> None:
    scenario = _scenario(*CASES["limits.clearance_km"])
    readings = iter(range(10_000_000))
    monkeypatch.setattr(infeasible, "OUTER_S", 1e9)
    tried = []

    def serves(loosened: Scenario) -> bool:
        tried.append(loosened)
        try:
            while loosened.limits.clearance_m < scenario.limits.clearance_m:
                poll()
        except OutOfTimeError:
            return False
        return True

    with within(Deadline(limit_s=20_000.0, clock=lambda: float(next(readings)))):
        found = infeasible.diagnose(scenario, serves)
    assert any(one.limits.clearance_m < scenario.limits.clearance_m for one in tried)
    keys = [bind.limit for bind in found.binds]
    assert "limits.revolutions_max" in keys
    assert "limits.clearance" not in keys


class _NoneKeepsItsLimits(Flyer):
    """Says that nothing keeps its limits, and counts what is flown at once."""

    sizes: list[int]

    def fly(self, chosen: Sequence[Options]) -> None:
        self.sizes.append(sum(len(options) for options in chosen))

    def flown(self, options: Options, row: int) -> bool:
        return False

    def fails(self, options: Options, row: int) -> bool:
        return True


def test_ever_more_options_are_flown_at_once_where_one_after_another_breaks_a_limit() -> None:
    [problem] = problems(_scenario("revolutions_max = 12\n"))
    pool = catalogue(problem).options
    pool = join([pool.take(np.flatnonzero(pool.slot == 0)), *from_space(Question(problem=problem))])
    flyer = _NoneKeepsItsLimits(problem)
    flyer.sizes = []
    cuts = Cuts(flyer)
    cuts._screen(pool)
    assert not cuts.allowed(pool).any()
    assert len(pool) > 40
    assert len(flyer.sizes) < 5 + 2 * len(pool) / SCREENED_MAX
    assert sum(flyer.sizes) <= len(pool)


def test_where_a_craft_starts_is_flown_once(monkeypatch: pytest.MonkeyPatch) -> None:
    text = RING.replace("atmosphere", "j2 = 0.001\natmosphere")
    orbit = 'orbit = { periapsis_km = 900.0, apoapsis_km = 1500.0, angle_deg = 20.0, at = "apoapsis", at_h = 31.0 }'
    craft = f'[[craft]]\nname = "Reed"\n{orbit}\n'
    [problem] = problems(parse_scenario(text + craft))
    [group] = problem.classes
    assert group.craft.orbit is not None
    calls = []

    def counted(gravity: Gravity, start: NDArray[np.float64], remaining_s: NDArray[np.float64]) -> NDArray[np.float64]:
        calls.append(remaining_s)
        return land(gravity, start, remaining_s)

    monkeypatch.setattr(oblate_coast, "land", counted)
    first = oblate_coast.state_as_given(problem.scenario.body, problem.ring, group.craft.orbit, 1234.5)
    again = oblate_coast.state_as_given(problem.scenario.body, problem.ring, group.craft.orbit, 1234.5)
    assert len(calls) == 1
    assert np.array_equal(first, again)
