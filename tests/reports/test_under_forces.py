"""Further forces in words, in the check of a scenario; what a plan prints is read in tests/optimizer/robustness."""

from __future__ import annotations

from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.reports.understood import understood

RING = """
epoch = 2031-05-01T00:00:00Z
[body]
name = "titan"
[ring]
altitude_km = 3000
slots = 3
[[craft]]
name = "Teal"
orbit = { altitude_km = 3000, angle_deg = 10 }
"""


def test_check_says_what_will_be_flown() -> None:
    text = " ".join(understood(parse_scenario(RING + "[forces]\n")).split())
    assert (
        "Plan 1 will be corrected for and flown with: bulge, degree 2, Saturn; left out: Sun, under 0.001 deg a year"
        in text
    )
    assert "(estimates, good to a factor of three)" in text


def test_nothing_without_the_table() -> None:
    assert "bulge alone" in understood(parse_scenario(RING, settings=["forces.further=false"]))
