"""What is left of a plan after a burn went long, flown from what is printed, under the forces that the plan was for.

The flight shares no code with the planner. It makes the first burn of one craft too long, says where the craft is then,
and makes the burns of the plan from there.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from ringwright.models.reading.observed import parse_observed
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.optimizer.additions import corrected_or_said
from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.replan.resumed_plan import go_on
from ringwright.reports.result import result, result_text

from ..planned import as_read
from .forced_flight import fly_under_forces, seen_under_forces

FOLDER = Path(__file__).parents[2] / "scenarios"
SPACED_DEG = 0.02
"""What the spacing may be off under the forces that a plan was corrected for."""
OFF_DEG = 0.01
"""A slot may be off by this much from what is said of it."""
LOOK_S = 600.0
"""How long after the burn the craft is seen."""


def _flown_on(before: Mapping[str, Any], after: Mapping[str, Any], name: str, longer: float, now_s: float) -> Any:
    """The plan as it was until a moment, one burn longer, and from there on what the plan from there says."""
    new = {item["craft"]: item for item in after["plans"][0]["craft"]}
    craft = []
    for item in before["plans"][0]["craft"]:
        behind = [burn for burn in item["burns"] if burn["time_s"] <= now_s]
        if item["craft"] == name:
            parts = ("radial_m_s", "along_m_s", "cross_m_s")
            behind = [{**behind[0], **{part: longer * behind[0][part] for part in parts}}]
        ahead = new.get(item["craft"], {**item, "burns": []})
        craft.append({**item, "flown": ahead["flown"], "burns": [*behind, *ahead["burns"]]})
    return {**before, "plans": [{**before["plans"][0], "craft": craft}]}


@pytest.mark.soak
@pytest.mark.parametrize(
    ("name", "craft", "longer"),
    [("low-ring-in-thin-air", "Rowan", 1.01), ("round-the-moon", "Maple", 1.01), ("daily-window", "Gimlet", 1.002)],
)
def test_a_craft_whose_burn_went_long_ends_where_its_new_plan_says(name: str, craft: str, longer: float) -> None:
    text = (FOLDER / f"{name}.toml").read_text(encoding="utf-8")
    given = parse_scenario(text)
    outcome = corrected_or_said(make_plan(replace(given, forces=None)), given, lambda _: None)
    before = json.loads(result_text(outcome))
    [burns] = [item["burns"] for item in before["plans"][0]["craft"] if item["craft"] == craft]
    now_s = burns[0]["time_s"] + LOOK_S
    actual = _flown_on(before, {"plans": [{"craft": []}]}, craft, longer, now_s)
    state = seen_under_forces(text, actual, craft, now_s)
    seen = f"now_s = {now_s!r}\n" + as_read(craft, state)
    done, here = go_on(outcome, [lambda now: parse_observed(seen, now.scenario, now.ring)])
    assert here is not None
    assert done.under is not None
    assert done.under.corrected
    changed = [change.craft for change in done.changes if not change.same]
    assert changed == [craft]
    flown = _flown_on(before, json.loads(json.dumps(result(here.outcome))), craft, longer, now_s)
    flown["plans"][0]["hold"] = {"from_s": done.under.at_s + 0.5 * done.under.span_s}
    stood = max(fly_under_forces(text, flown), key=lambda one: one.miss_deg)
    assert stood.miss_deg < OFF_DEG, stood
    assert abs(stood.spacing_deg) < SPACED_DEG, stood
