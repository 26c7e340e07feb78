"""The bundled scenarios over a point mass, judged limit by limit by code that shares nothing with the planner."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from ..independent.plan_checker import check
from ..planned import planned, scenario_of

FOLDER = Path(__file__).parents[2] / "scenarios"
LIVES_ON_OBLATENESS = {"slow-drift.toml", "over-the-plains.toml", "spares-aloft.toml"}
"""Over a point mass nothing drifts, and no craft has the propellant to turn its plane; and a ring that keeps step with
the ground has another radius, off which the craft then are."""
MANY = {"one-astray.toml", "four-over-the-equator.toml", "shared-ride.toml", "atoll-on-the-equator.toml"}
"""In the long campaign: free-form flights for every hour (for every tenth hour below), and many plans of many craft."""
BUNDLED = sorted(path.name for path in FOLDER.glob("*.toml") if path.name not in LIVES_ON_OBLATENESS)


def over_a_point_mass(text: str) -> str:
    """The scenario with the body's oblateness and further forces taken out."""
    text = re.sub(r"(?ms)^\[forces\].*?(?=^\[)", "", text)
    text = re.sub(r"(?m)^\[body\]\n", "[body]\nj2 = 0.0\n", text, count=1)
    return f"{text}\n[forces]\nfurther = false\n"


def judged(text: str) -> None:
    """Plan over a point mass and hold every plan against every limit."""
    text = over_a_point_mass(text)
    body = scenario_of(text).body
    result = planned(text)
    assert result["plans"]
    assert check(text, result, spin=body.spin_rad_s, meridian=body.prime_meridian_rad) == []


@pytest.mark.parametrize("name", [pytest.param(n, marks=pytest.mark.soak) if n in MANY else n for n in BUNDLED])
def test_every_plan_over_a_point_mass_keeps_every_limit(name: str) -> None:
    judged((FOLDER / name).read_text(encoding="utf-8"))


def test_so_does_every_plan_of_free_form_flights_ten_hours_apart() -> None:
    text = (FOLDER / "one-astray.toml").read_text(encoding="utf-8")
    assert "front_step_h = 1.0" in text
    judged(text.replace("front_step_h = 1.0", "front_step_h = 10.0"))
