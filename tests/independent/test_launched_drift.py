"""Launched craft whose nodes drift: a whole plan against an exhaustive search, and flown from what is printed.

The search finds the passes of the site on a grid of seconds, takes every liftoff for every craft and every plane for
every liftoff, and prices each by the plain loops of `drift_search.py`.
"""

from __future__ import annotations

import itertools
import json
import math
from functools import cache
from typing import Any

import jsonschema
import numpy as np
import pytest

from ringwright.models.errors import InputError
from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.robustness.drift_story import DriftStory
from ringwright.optimizer.robustness.flights_with_errors import stories
from ringwright.optimizer.robustness.linear import LinearStory
from ringwright.reports.result import result_text
from ringwright.reports.result_schema import result_schema
from ringwright.reports.sheet.sheet import sheets
from ringwright.reports.sheet.text import sheet_text
from ringwright.reports.terminal import plan_text
from ringwright.tests.worlds import THREE_BY_DRIFT

from ..planned import scenario_of
from .drift_search import DAY, cheapest_within, transfer
from .printed_flight import fly_printed
from .small_reader import Case, Pad, read_case

OFF_DEG = 0.01
"""A slot, and a plane, may be off by this much."""
TIME_D = 1.3
"""What a slot and real rates may take longer than a node by first order."""
COST_M_S = 3.0
"""Of each craft: what the grids leave, and circles that are entered with a radial part over an oblate body."""
STEP_S = 20.0
CARRIER = """[[carrier]]
name = "Barrow"
craft = ["Rowan", "Aspen", "Linden"]
delta_v_m_s = 0.0
lasts_d = 2.0
"""


def text_of(spread_deg: float, days: float) -> str:
    """Three planes so far apart, of which the site passes through the middle one while it is open."""
    return THREE_BY_DRIFT.format(spread=spread_deg, node=45.0 - spread_deg / 3.0, days=days)


NEAR, FAR = text_of(9.0, 6.0), text_of(75.0, 170.0)


@cache
def best(text: str) -> tuple[Outcome, dict[str, Any]]:
    """The best plan alone, and the result that prints it."""
    outcome = make_plan(scenario_of(text), brief=True)
    result: dict[str, Any] = json.loads(result_text(outcome))
    return outcome, result


def passes(case: Case, pad: Pad) -> list[tuple[float, int]]:
    """When a site is open and passes through a plane on the way north, and which, by a change of sign on a grid."""
    found = []
    for plane in range(case.planes):
        node = case.node_of(plane)
        times = np.arange(pad.ready, pad.until, STEP_S)
        site = np.array([case.site_direction(pad, time) for time in times.tolist()])
        level = node + node_rate_of(case) * times
        normal = np.stack([np.sin(level), -np.cos(level)], axis=1) * math.sin(case.inclination)
        height = np.sum(site[:, :2] * normal, axis=1) + site[:, 2] * math.cos(case.inclination)
        along = site[:, 0] * np.cos(level) + site[:, 1] * np.sin(level)
        (at,) = np.nonzero((height[1:] * height[:-1] <= 0.0) & (along[1:] > 0.0))
        open_at = [t for t in times[at].tolist() if all(not start < t < end for start, end in pad.blackouts)]
        found += [(time, plane) for time in open_at]
    return sorted(found)


def node_rate_of(case: Case) -> float:
    """Of the ring, to first order."""
    strength = -1.5 * case.j2 * (case.j2_radius / case.radius) ** 2
    return strength * math.sqrt(case.gm / case.radius**3) * math.cos(case.inclination)


def least_of_all(case: Case, days: float, *, together: bool = False) -> float:
    """The least total over all choices of liftoffs and planes, every craft in its plane within so many days.

    ``together``: all on one launch.
    """
    (pad,) = case.pads
    start, leans = pad.insertions[0].radius, np.radians([-2.0, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0])
    tried = passes(case, pad)
    assert tried

    @cache
    def price(since: float, behind: float) -> float:
        if behind == 0.0:
            return transfer(start, case.radius, 0.0)
        return cheapest_within(days - since / DAY, case.radius, start, case.inclination, behind, leans)

    least = math.inf
    size = len(case.craft)
    for chosen in [(one,) * size for one in tried] if together else itertools.combinations(tried, size):
        if not together and any(late[0] - early[0] < pad.turnaround for early, late in itertools.pairwise(chosen)):
            continue
        for order in itertools.permutations(range(case.planes)):
            behind = [
                round((case.node_of(at) - case.node_of(to)) % (2.0 * math.pi), 9)
                for (_, at), to in zip(chosen, order, strict=True)
            ]
            least = min(least, sum(price(round(time, -4), by) for (time, _), by in zip(chosen, behind, strict=True)))
    return least


@pytest.mark.parametrize("spread_deg", [75.0, pytest.param(15.0, marks=pytest.mark.soak)])
def test_no_choice_of_liftoffs_planes_and_waits_is_cheaper(spread_deg: float) -> None:
    days = {15.0: 45.0, 75.0: 170.0}[spread_deg]
    text = text_of(spread_deg, days)
    _, result = best(text)
    (plan, *_) = result["plans"]
    case = read_case(text, body=result["body"])
    assert plan["delta_v_m_s"] <= least_of_all(case, days - TIME_D) + COST_M_S * len(case.craft)
    assert plan["delta_v_m_s"] >= least_of_all(case, 1.05 * days + 3.0) - COST_M_S * len(case.craft)


def test_a_launched_drift_flown_from_what_is_printed() -> None:
    flown(NEAR, best(NEAR)[1])


@pytest.mark.soak
def test_months_of_launched_drifts_flown_from_what_is_printed() -> None:
    flown(FAR, best(FAR)[1])


@pytest.mark.soak
def test_many_launches_that_break_a_limit_do_not_end_the_search_before_there_is_a_plan() -> None:
    """Two craft for each plane, on seven mornings: launches that wait half a day below the ring miss its plane, and
    as each is banned others for its slot are flown, more than further plans may take."""
    spans = ((8.1, 31.5), (31.8, 55.2), (55.5, 79.0), (79.3, 102.7), (103.0, 126.4), (126.7, 150.1))
    shut = ", ".join(f"{{ from_h = {begin}, until_h = {end} }}" for begin, end in spans)
    text = NEAR.replace("until_h = 55.5\n", "until_h = 155.5\n").replace("slots = 1", "slots = 2")
    text = "\n".join(f"blackout = [{shut}]" if row.startswith("blackout") else row for row in text.splitlines())
    text += "".join(f'\n[[craft]]\nname = "{name}"' for name in ("Alder", "Hazel", "Sallow"))
    outcome, result = best(text)
    assert outcome.plans
    assert not outcome.unfinished
    assert {item["route"] for item in result["plans"][0]["craft"]} == {"park", "drift"}
    ended = fly_printed(text, result)
    assert max(abs(one.slot_error_deg) for one in ended) < OFF_DEG
    assert max(one.off_plane_deg for one in ended) < OFF_DEG


def flown(text: str, result: dict[str, Any]) -> None:
    """Fly every plan, and see that slots and planes are met."""
    items = [item for plan in result["plans"] for item in plan["craft"]]
    drifts = [item for item in items if item["route"] == "drift"]
    assert {item["plane"] for item in drifts} >= {0, 2}
    assert all(item["launch_plane"] == 1 and item["liftoff_moved_s"] == 0.0 for item in drifts)
    ended = fly_printed(text, result)
    assert len(ended) == len(items)
    assert max(abs(one.slot_error_deg) for one in ended) < OFF_DEG
    assert max(one.off_plane_deg for one in ended) < OFF_DEG


def test_without_a_bulge_nothing_drifts_and_no_launch_leads_there() -> None:
    round_body = NEAR.replace('name = "earth"', 'name = "earth"\nj2 = 0.0')
    assert not best(round_body)[1]["plans"]


def test_screen_and_sheet_name_the_plane_launched_into_and_the_wait() -> None:
    outcome, result = best(NEAR)
    (plan, *_) = result["plans"]
    sheet = {one.craft: " ".join(sheet_text(one, 400).split()) for one in sheets(outcome, outcome.plans[0])}
    screen = " ".join(plan_text(outcome, 120).split())
    for item in plan["craft"]:
        drifts = item["route"] == "drift"
        assert ("into plane 1 of the ring" in sheet[item["craft"]]) is drifts
        assert ("until plane and slot are met" in sheet[item["craft"]]) is drifts
        assert sheet[item["craft"]].count("[ ] Burn at") == len(item["burns"])
    assert "into plane 1" in screen
    assert "drifts from the first passes of its site" in screen


CARRIED = NEAR.replace('[[craft]]\nname = "Rowan"', CARRIER + '[[craft]]\nname = "Rowan"')


def test_craft_let_go_together_in_a_parking_orbit_drift_apart() -> None:
    """All on one launch: flown from what is printed, and no dearer than the search from its one pass."""
    outcome, result = best(CARRIED)
    (plan, *_) = result["plans"]
    (carrier,) = plan["carriers"]
    assert carrier["parks_in_plane"] == 1
    assert carrier["first_touch_s"] is None
    assert {item["carrier"] for item in plan["craft"]} == {"Barrow"}
    assert {item["plane"] for item in plan["craft"]} == {0, 1, 2}
    assert {drop["time_s"] for drop in carrier["drops"]} == {carrier["insertion_s"]}
    assert carrier["burns"] == []
    ended = fly_printed(CARRIED, result)
    assert max(abs(one.slot_error_deg) for one in ended) < OFF_DEG
    assert max(one.off_plane_deg for one in ended) < OFF_DEG
    jsonschema.validate(result, result_schema())
    screen = " ".join(plan_text(outcome, 120).split())
    assert "lets all craft go there, in the parking orbit in plane 1" in screen
    assert "rides on Barrow, is let go in the parking orbit" in screen
    case = read_case(CARRIED, body=result["body"])
    assert plan["delta_v_m_s"] <= least_of_all(case, 6.0 - TIME_D, together=True) + COST_M_S * len(case.craft)


def test_craft_on_one_carrier_share_the_errors_of_its_launcher() -> None:
    text = CARRIED + "[errors]\nnode_deg = 0.05\n"
    outcome, _ = best(text)
    linear = [one for one in stories(outcome) if isinstance(one, LinearStory)]
    assert any(isinstance(one, DriftStory) for one in linear)
    assert [(one.company, one.shared) for one in linear] == [(0, 5)] * 3


def test_more_craft_than_all_planes_have_slots_are_refused() -> None:
    four = CARRIED.replace('"Linden"]', '"Linden", "Hazel"]') + '[[craft]]\nname = "Hazel"\n'
    with pytest.raises(InputError, match=r"the ring has 3 slots: name no more than that\."):
        scenario_of(four)
