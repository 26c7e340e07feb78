"""When a site may launch, whom, and how heavy."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from ringwright.models.opportunities import corridor_admits, flight_azimuth
from ringwright.models.scenario import Body, Craft, Pad
from ringwright.models.sites import can_lift, may_launch, open_at
from ringwright.tests.tolerances import ABOUT_DEG

EARTH = Body(name="earth", gm=3.986004418e14, radius_m=6378137.0, sidereal_day_s=86164.1)
CAPE = Pad(name="p", latitude_rad=math.radians(28.5))


@given(
    spans=st.lists(st.tuples(st.floats(0.0, 90.0), st.floats(1.0, 30.0)), max_size=4),
    ready=st.floats(0.0, 50.0),
    length=st.floats(0.0, 100.0),
)
def test_open_moments_are_those_in_no_blackout(spans: list[tuple[float, float]], ready: float, length: float) -> None:
    blackouts = tuple((start, start + more) for start, more in spans)
    pad = Pad(name="p", ready_s=ready, until_s=ready + length, blackouts_s=blackouts)
    times = np.linspace(-10.0, 170.0, 331) + 1e-3
    expected = [
        ready <= t <= ready + length and not any(start < t < end for start, end in blackouts) for t in times.tolist()
    ]
    assert open_at(pad, times).tolist() == expected


def test_ground_azimuth_decides_and_not_the_inertial_one() -> None:
    """From 28.5 deg into 51.6 deg: 45 deg against the stars, about 42.8 over the ground (from memory, as published)."""
    inertial = math.asin(math.cos(math.radians(51.6)) / math.cos(math.radians(28.5)))
    over_ground = math.degrees(float(flight_azimuth(EARTH, CAPE, 7730.0, inertial)))
    assert abs(over_ground - 42.75) < ABOUT_DEG
    narrow = Pad(name="p", latitude_rad=CAPE.latitude_rad, corridor_rad=(math.radians(44.0), math.radians(110.0)))
    assert not corridor_admits(EARTH, narrow, 7730.0, [inertial])[0]
    wide = Pad(name="p", latitude_rad=CAPE.latitude_rad, corridor_rad=(math.radians(42.5), math.radians(110.0)))
    assert corridor_admits(EARTH, wide, 7730.0, [inertial])[0]


def test_payload_counts_the_propellant_on_board() -> None:
    pad = Pad(name="p", payload_kg=150.0)
    full = Craft(name="a", dry_mass_kg=100.0, propellant_kg=60.0, isp_s=300.0)
    least = Craft(name="b", dry_mass_kg=100.0, propellant_kg=60.0, isp_s=300.0, load="least")
    # 100 kg and 50 kg of propellant: 300 s * 9.80665 m/s2 * ln 1.5 = 1192.9 m/s (Tsiolkovsky)
    assert can_lift(pad.payload_kg, full, [0.0]).tolist() == [False]
    assert can_lift(pad.payload_kg, least, [1192.0, 1194.0]).tolist() == [True, False]
    assert can_lift(Pad(name="p").payload_kg, Craft(name="c"), [10.0]).tolist() == [True]
    assert may_launch(pad, Craft(name="c", pads=("q", "p")))
    assert not may_launch(pad, Craft(name="c", pads=("q",)))
