"""A ring whose slots keep their longitudes: where they stand, at any time."""

from __future__ import annotations

import math

import pytest

from ringwright.models.flight.harmonics import UnevenField
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.models.ring_as_given import ring_as_given
from ringwright.models.synchronous import stable_longitudes
from ringwright.reports.understood import understood

TEXT = """
epoch = 2040-02-01T00:00:00Z
body = { name = "mars" }
ring = { longitude_deg = 15.0, slots = 3 }
craft = [{ name = "Talus", orbit = { altitude_km = 17032.0, angle_deg = 201.0 } }]
"""

OVER_DEG = 1e-6
"""After ten years: the rates of ring and ground agree to their last digits."""


@pytest.mark.parametrize("years", [0.0, 0.37, 10.0])
def test_each_slot_stays_over_its_longitude(years: float) -> None:
    scenario = parse_scenario(TEXT)
    ring, body, time_s = ring_as_given(scenario.body, scenario.ring), scenario.body, years * 365.25 * 86_400.0
    for slot, longitude_deg in enumerate((15.0, 135.0, 255.0)):
        over = float(ring.phase(time_s, slot)) - body.prime_meridian_rad - body.spin_rad_s * time_s
        assert math.degrees(math.remainder(over - math.radians(longitude_deg), 2.0 * math.pi)) == pytest.approx(
            0.0, abs=OVER_DEG
        )


def test_what_is_understood_names_the_longitudes() -> None:
    text = " ".join(understood(parse_scenario(TEXT), 100).split())
    assert "Slots stay over the ground, at longitudes 15, 135 and 255 deg east." in text


def test_a_stable_longitude_lies_between_pulls_towards_it() -> None:
    body = parse_scenario(TEXT).body
    uneven = UnevenField.of(body, 4)
    assert uneven is not None
    found = stable_longitudes(uneven, 20_428e3)
    assert len(found) == 2
    assert all(100.0 < one.swing_s / 86_400.0 < 160.0 for one in found)
