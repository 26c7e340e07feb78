"""Every bundled scenario flown from what its result prints, over the oblate body, and from what the sheet prints."""

from __future__ import annotations

from pathlib import Path

import pytest

from ..planned import planned
from .printed_flight import fly_printed

FOLDER = Path(__file__).parents[2] / "scenarios"
SLOW = {"slow-drift", "one-astray"}
"""Planned for most of a minute each, and flown for months."""
OFF_DEG = 0.01
"""A slot may be off by this much from what is said of it."""

NAMES = sorted(path.stem for path in FOLDER.glob("*.toml"))


@pytest.mark.parametrize("name", [pytest.param(n, marks=pytest.mark.soak) if n in SLOW else n for n in NAMES])
def test_a_person_who_flies_what_is_printed_ends_where_it_says(name: str) -> None:
    text = (FOLDER / f"{name}.toml").read_text(encoding="utf-8")
    ended = fly_printed(text, planned(text))
    assert ended
    worst = max(ended, key=lambda one: one.miss_deg)
    assert worst.miss_deg < OFF_DEG, worst
    leaning = max(ended, key=lambda one: abs(one.off_plane_deg - one.said_off_plane_deg))
    assert abs(leaning.off_plane_deg - leaning.said_off_plane_deg) < OFF_DEG, leaning
