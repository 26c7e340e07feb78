"""The bundled scenarios with inclined rings: every plan flown over the oblate body, and the time that options take."""

from __future__ import annotations

import math
import time
from pathlib import Path

import pytest

from ringwright.optimizer.catalogue.catalogue import catalogue
from ringwright.optimizer.problem.ring_phase import problems
from ringwright.reports.terminal import plan_text
from ringwright.reports.understood import understood
from ringwright.tests.tolerances import SLOT_DEG

from ..planned import bundled_outcome, planned, scenario_of

FOLDER = Path(__file__).parents[2] / "scenarios"


NAMES = ("backwards-world", "daily-window", "three-planes")


@pytest.mark.parametrize("name", NAMES)
def test_every_plan_ends_in_its_slot_and_plane(name: str) -> None:
    text = (FOLDER / f"{name}.toml").read_text(encoding="utf-8")
    allowed = math.degrees(scenario_of(text).ring.tilt_tolerance_rad)
    result = planned(text)
    assert result["plans"]
    for plan in result["plans"]:
        assert plan["within_limits"]
        for item in plan["craft"]:
            assert abs(item["flown"]["slot_error_deg"]) < SLOT_DEG
            kept = item.get("tilt_at") == "kept"
            assert item["flown"]["plane_error_deg"] < (allowed if kept else 1e-3)
            assert item["direction"] in ("ascending", "descending")


@pytest.mark.parametrize("name", NAMES)
def test_options_are_built_within_a_second(name: str) -> None:
    """On one core; what the coasts of an oblate body take beforehand is not counted."""
    [problem] = problems(scenario_of((FOLDER / f"{name}.toml").read_text(encoding="utf-8")))
    begun = time.process_time()
    made = catalogue(problem)
    assert len(made.options)
    assert time.process_time() - begun < 1.0


@pytest.mark.parametrize("width", [80, 120])
@pytest.mark.parametrize("name", NAMES)
def test_what_was_understood_lists_the_windows(name: str, width: int) -> None:
    text = understood(scenario_of((FOLDER / f"{name}.toml").read_text(encoding="utf-8")), width)
    assert "Launch windows" in text
    assert all(len(line) <= width for line in text.splitlines())
    assert "over the turning ground" in " ".join(text.split())
    assert "south" in text


def test_a_site_out_of_reach_says_so_before_anything_is_planned() -> None:
    text = (FOLDER / "backwards-world.toml").read_text(encoding="utf-8")
    scenario = scenario_of(text.replace("plane_tolerance_deg = 5.6", "plane_tolerance_deg = 1.0"))
    assert "never comes nearer to the ring plane than 5.000 deg" in " ".join(understood(scenario).split())


def test_headings_and_planes_stand_in_the_text_of_a_plan() -> None:
    outcome = bundled_outcome("three-planes")
    for width in (80, 120):
        text = plan_text(outcome, width)
        assert all(len(line) <= width for line in text.splitlines())
        assert "on azimuth" in " ".join(text.split())
        assert "Planes agree to" in " ".join(text.split())
        # a table, or a block for each craft where the cells are too long for the width
        assert "plane  slot" in text or "plane 2; slot 0" in text


def test_each_plane_has_its_pictures_and_names_its_own_craft() -> None:
    from ringwright.reports.figures.style import paper
    from ringwright.reports.figures.unrolled_ring import draw_unrolled_ring

    outcome = bundled_outcome("three-planes")
    first = outcome.plans[0]
    with paper():
        for plane in range(3):
            figure = draw_unrolled_ring(outcome, first, plane)
            words = "\n".join(text.get_text() for axes in figure.axes for text in axes.texts)
            for part in first.craft:
                assert (part.craft in words.split("\n")) is (part.plane == plane)
            assert ("Rush (stays)" in words) is (plane == 0)
            assert ("Sedge (stays)" in words) is (plane == 1)
