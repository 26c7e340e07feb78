"""The bundled scenarios over a point mass, judged limit by limit by code that shares nothing with the planner."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from ..independent.plan_checker import check
from ..planned import planned, scenario_of

FOLDER = Path(__file__).parents[2] / "scenarios"
LIVES_ON_OBLATENESS = {"slow-drift.toml"}
"""Over a point mass nothing drifts, and no craft has the propellant to turn its plane."""
BUNDLED = sorted(path.name for path in FOLDER.glob("*.toml") if path.name not in LIVES_ON_OBLATENESS)


def over_a_point_mass(text: str) -> str:
    """The scenario with the body's oblateness taken out."""
    return re.sub(r"(?m)^\[body\]\n", "[body]\nj2 = 0.0\n", text, count=1)


@pytest.mark.parametrize("name", BUNDLED)
def test_every_plan_over_a_point_mass_keeps_every_limit(name: str) -> None:
    text = over_a_point_mass((FOLDER / name).read_text(encoding="utf-8"))
    body = scenario_of(text).body
    result = planned(text)
    assert result["plans"]
    assert check(text, result, spin=body.spin_rad_s, meridian=body.prime_meridian_rad) == []
