"""Results of the bundled in-plane scenarios over bodies without oblateness, kept and compared number by number.

After a change that is meant to move them: RINGWRIGHT_GOLDEN=write pytest tests/test_golden.py, and say in the changelog
by how much they moved.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest

from ringwright.reports.result import result_text

from .planned import bundled_outcome

HERE = Path(__file__).parent
SCENARIOS = ("four-over-the-equator", "atoll-on-the-equator", "thick-air", "one-craft-mars")
LAST_DIGIT = 2e-6
"""Numbers are printed to six decimals; another processor may round the last one the other way."""
SLOT_ERROR_DEG = 0.001
MILLIMETER_A_SECOND = 1e-3
FREE = {"options", "hold"}
"""How many options were examined is no result; how long the ring holds follows from errors below the last digit."""


def _differences(new: Any, kept: Any, where: str = "") -> list[str]:
    if isinstance(kept, dict) and isinstance(new, dict):
        names = sorted(set(kept) | set(new))
        return [
            d
            for name in names
            if name not in FREE
            for d in (
                _differences(new[name], kept[name], f"{where}.{name}")
                if name in new and name in kept
                else [f"{where}.{name}: only in one of them"]
            )
        ]
    if isinstance(kept, list) and isinstance(new, list):
        if len(kept) != len(new):
            return [f"{where}: {len(new)} items instead of {len(kept)}"]
        return [d for i, (a, b) in enumerate(zip(new, kept, strict=True)) for d in _differences(a, b, f"{where}[{i}]")]
    if isinstance(kept, float | int) and isinstance(new, float | int) and not isinstance(kept, bool):
        return [] if abs(new - kept) <= LAST_DIGIT else [f"{where}: {new} instead of {kept}"]
    return [] if new == kept else [f"{where}: {new!r} instead of {kept!r}"]


@pytest.mark.parametrize("name", SCENARIOS)
def test_result_is_as_kept(name: str) -> None:
    outcome = bundled_outcome(name, "body.j2=0.0")
    text = result_text(outcome)
    place = HERE / "golden" / f"{name}.json"
    if os.environ.get("RINGWRIGHT_GOLDEN") == "write":
        place.parent.mkdir(exist_ok=True)
        place.write_text(text, encoding="utf-8")
    result = json.loads(text)
    assert result["model"]["gravity"] == "two-body"
    assert result["plans"]
    for plan in result["plans"]:
        assert plan["within_limits"]
        for craft in plan["craft"]:
            assert abs(craft["flown"]["slot_error_deg"]) < SLOT_ERROR_DEG
            burned = sum(burn["delta_v_m_s"] for burn in craft["burns"])
            assert burned == pytest.approx(craft["delta_v_m_s"], abs=MILLIMETER_A_SECOND)
        total = sum(craft["delta_v_m_s"] for craft in plan["craft"])
        assert total == pytest.approx(plan["delta_v_m_s"], abs=MILLIMETER_A_SECOND)
    assert _differences(result, json.loads(place.read_text(encoding="utf-8"))) == []
