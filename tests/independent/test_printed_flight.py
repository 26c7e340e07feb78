"""Every bundled scenario flown from what its result prints, over the oblate body, and from what the sheet prints."""

from __future__ import annotations

import json
import re
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.reports.result import result_text
from ringwright.reports.sheet.sheet import sheets
from ringwright.reports.sheet.text import sheet_text
from ringwright.reports.terminal import plan_text
from ringwright.tests.tolerances import CLOCK_S, HALF_THOUSANDTH_DEG, MILLISECOND_S, WHOLE_S

from ..optimizer.test_random_windows import inclined
from ..planned import outcome_of, planned, scenario_of
from .forced_flight import fly_under_forces
from .printed_flight import fly_printed
from .scenario_maker import Draft, make, write_toml

FOLDER = Path(__file__).parents[2] / "scenarios"
SLOW = {
    "slow-drift",
    "one-astray",
    "daily-window",
    "low-mars",
    "low-ring-in-thin-air",
    "over-the-plains",
    "round-the-moon",
    "shared-ride",
    "spares-aloft",
}
"""Planned for most of a minute each, and flown for months; or flown under many forces."""
SPACED_DEG = 0.02
"""What the spacing may be off under the forces that a plan was corrected for."""
OFF_DEG = 0.01
"""A slot may be off by this much from what is said of it."""

NAMES = sorted(path.stem for path in FOLDER.glob("*.toml"))


@pytest.mark.parametrize("name", [pytest.param(n, marks=pytest.mark.soak) if n in SLOW else n for n in NAMES])
def test_a_person_who_flies_what_is_printed_ends_where_it_says(name: str) -> None:
    text = (FOLDER / f"{name}.toml").read_text(encoding="utf-8")
    result = json.loads(result_text(outcome_of(parse_scenario(text))))
    assert result["plans"]
    if len(result["model"]["forces"]["flown"]) > 1:
        stood = max(fly_under_forces(text, result), key=lambda one: one.miss_deg)
        assert stood.miss_deg < OFF_DEG, stood
        assert abs(stood.spacing_deg) < SPACED_DEG, stood
    ended = fly_printed(text, result)
    assert ended or len(result["plans"]) == 1
    for item in (item for plan in result["plans"] for item in plan["craft"]):
        if item["route"] == "direct" and item["passes"] == 0 and item["burns"]:
            assert item["burns"][0]["time_s"] == pytest.approx(item["ring_arrival_s"], abs=MILLISECOND_S), item["craft"]
    worst = max(ended, key=lambda one: one.miss_deg)
    assert worst.miss_deg < OFF_DEG, worst
    leaning = max(ended, key=lambda one: abs(one.off_plane_deg - one.said_off_plane_deg))
    assert abs(leaning.off_plane_deg - leaning.said_off_plane_deg) < OFF_DEG, leaning


CLOCK = r"(\d+):(\d\d):(\d\d\.\d)"
INSTANT = r"(\d{4}-\d\d-\d\d \d\d:\d\d:\d\d(?:\.\d)?) UTC"


def _seconds(clock: tuple[str, ...]) -> float:
    return 3600.0 * int(clock[0]) + 60.0 * int(clock[1]) + float(clock[2])


def test_the_sheet_and_the_screen_print_the_times_of_the_result() -> None:
    """Clock times read back from the text of every craft's sheet, of a launch that its flight has moved."""
    text = (FOLDER / "daily-window.toml").read_text(encoding="utf-8")
    outcome = outcome_of(scenario_of(text))
    result = json.loads(result_text(outcome))
    epoch = datetime.fromisoformat(result["epoch"]).replace(tzinfo=None)

    def since_epoch(written: str) -> float:
        return (datetime.fromisoformat(written) - epoch).total_seconds()

    printed = {one.craft: sheet_text(one, 400) for one in sheets(outcome, outcome.plans[0])}
    items = result["plans"][0]["craft"]
    assert max(abs(item["liftoff_moved_s"]) for item in items) > 10.0
    for item in items:
        lines = printed[item["craft"]]
        liftoff = re.search(rf"Liftoff from .* at {INSTANT}, on azimuth (\d+\.\d+) deg", lines)
        insertion = re.search(rf"Insertion {CLOCK} after liftoff, at {INSTANT}", lines)
        assert liftoff is not None
        assert insertion is not None
        assert since_epoch(liftoff[1]) == pytest.approx(item["launch_s"], abs=CLOCK_S)
        assert float(liftoff[2]) == pytest.approx(item["azimuth_deg"], abs=HALF_THOUSANDTH_DEG)
        assert since_epoch(insertion[4]) == pytest.approx(item["insertion_s"], abs=CLOCK_S)
        assert _seconds(insertion.groups()[:3]) == pytest.approx(item["insertion_s"] - item["launch_s"], abs=CLOCK_S)
        burns = re.findall(rf"Burn at {INSTANT}, {CLOCK} after liftoff, {CLOCK} after", lines)
        assert len(burns) == len(item["burns"])
        before = item["insertion_s"]
        assert burns
        for read, burn in zip(burns, item["burns"], strict=True):
            assert since_epoch(read[0]) == pytest.approx(burn["time_s"], abs=CLOCK_S)
            assert _seconds(read[1:4]) == pytest.approx(burn["time_s"] - item["launch_s"], abs=CLOCK_S)
            assert _seconds(read[4:]) == pytest.approx(burn["time_s"] - before, abs=CLOCK_S)
            before = burn["time_s"]
    first = min(items, key=lambda item: item["launch_s"])
    on_screen = re.search(
        rf"Liftoff from .*? at {INSTANT} on .*?insertion at {INSTANT}", " ".join(plan_text(outcome, 80).split())
    )
    assert on_screen is not None
    assert since_epoch(on_screen[1]) == pytest.approx(first["launch_s"], abs=WHOLE_S)
    assert since_epoch(on_screen[2]) == pytest.approx(first["insertion_s"], abs=WHOLE_S)


def bulging(number: int) -> Draft:
    """A random scenario over an oblate body: launches onto inclined rings in three of four."""
    draft = inclined(number) if number % 4 else make(number, craft="any", crowd=3)
    rng = np.random.default_rng([11, number])
    draft["body"]["j2"] = float(np.round(10.0 ** rng.uniform(-4.0, -2.7), 6))
    return draft


@pytest.mark.soak
@pytest.mark.parametrize("block", range(5))
def test_random_plans_end_where_they_say(block: int) -> None:
    """Ten random scenarios, inclined rings, launches and oblate bodies among them."""
    launched = 0
    for number in range(10 * block, 10 * block + 10):
        text = write_toml(bulging(number))
        result = planned(text)
        if not result["plans"]:
            continue
        ended = fly_printed(text, result)
        assert ended
        for one in ended:
            assert one.miss_deg < OFF_DEG, (number, one)
        launched += any("direction" in item for plan in result["plans"] for item in plan["craft"])
    assert launched >= 1
