"""What the trade knows and every plan must agree with: drift and spacing, radial burns, numbers to cut off by.

Common practice, no source, unless a check names one; the figures are worked out here by hand.
"""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from ringwright.models.flight.integrate import Impulse, Itinerary, PointMass, fly, measure, readout
from ringwright.models.frames import in_plane_state
from ringwright.models.planes import turn_delta_v
from ringwright.models.ring import Ring
from ringwright.reports.sheet.sheet import sheets
from ringwright.reports.sheet.text import sheet_text

from ..planned import outcome_of, planned, scenario_of

GM = 3.986004418e14


def test_north_south_station_keeping_takes_some_45_m_s_a_year() -> None:
    """The pole drifts by 0.85 deg a year; about 45 m/s a year (an encyclopedia's figure): 2 v sin(0.425 deg)."""
    speed = math.sqrt(GM / 42_164e3)
    assert float(turn_delta_v(speed, math.radians(0.85))) == pytest.approx(45.0, rel=0.02)


def test_equal_periods_keep_the_spacing_whatever_a_small_tilt() -> None:
    radius = 12_000e3
    rate = math.sqrt(GM / radius**3)
    turns = 50
    found = []
    for lean, angle in ((0.0, 0.0), (math.radians(2.0), math.radians(90.0))):
        position, velocity = in_plane_state(radius, angle, 0.0, radius * rate, lean, 0.0)
        ring = Ring(radius_m=radius, slots=4, rate_rad_s=rate, slot0_rad=0.0, gm=GM, inclination_rad=lean)
        item = Itinerary(start_s=0.0, position=position, velocity=velocity, end_s=(turns + 1.3) * ring.period_s)
        [flight] = fly([item], PointMass(gm=GM))
        slot = round(angle / ring.spacing_rad)
        found.append([measure(flight, ring, 0, slot, k * ring.period_s).slot_error_rad for k in (0, turns)])
    (early, late), (early_tilted, late_tilted) = found
    assert late_tilted - late == pytest.approx(early_tilted - early, abs=1e-8)


FIVE_HOURS = """
title = "A five-hour ring"
body = {{ name = "earth", j2 = 0.0 }}
ring = {{ period = "5:00:00", slots = 2, slot0_deg = 0.0, tolerance_deg = {tolerance}, period_known_to_s = 0.1 }}
craft = [
    {{ name = "Fennel", orbit = {{ period = "5:00:00", angle_deg = {angle} }} }},
    {{ name = "Sorrel", orbit = {{ period = "5:00:00", angle_deg = 180.0 }} }},
]
"""


@pytest.mark.parametrize(("degrees", "years"), [(10.0, 1.4), (45.0, 6.4)])
def test_periods_matched_to_a_fifth_of_a_second_hold_the_spacing_for_years(degrees: float, years: float) -> None:
    """0.2 s between two craft in 18 000 s are 0.004 deg a turn: 10 deg take some 2 500 turns."""
    outcome = outcome_of(scenario_of(FIVE_HOURS.format(tolerance=degrees, angle=0.0)))
    hold = outcome.plans[0].hold
    assert hold is not None
    assert hold.known_s is not None
    # known to 0.1 s each, either way, they differ by 0.2 s at most: of the spacing; of a slot each drifts half as fast
    turns = degrees / (360.0 * 0.2 / 18_000.0)
    assert turns * 18_000.0 / (365.25 * 86_400.0) == pytest.approx(years, rel=0.03)
    assert hold.known_s == pytest.approx(2.0 * turns * 18_000.0, rel=0.01)


def test_the_sheet_gives_the_cut_off_in_seconds_of_period_and_in_meters_a_second() -> None:
    """A person cuts a burn off by the period shown; near the end with the engine throttled down."""
    outcome = outcome_of(scenario_of(FIVE_HOURS.format(tolerance=0.5, angle=40.0)))
    shown = "\n".join(sheet_text(sheet, 200) for sheet in sheets(outcome, outcome.plans[0]))
    assert re.search(r"deg of tolerance allow [\d.]+ s of period at cut-off, or [\d.]+ m/s", shown)
    assert planned(FIVE_HOURS.format(tolerance=0.5, angle=40.0))["plans"]


def test_a_small_radial_burn_turns_the_apsides_and_leaves_the_period() -> None:
    """To first order: the period grows with the square of the burn, the apsides turn with the burn itself."""
    low, high = 7_000e3, 11_000e3
    semi = 0.5 * (low + high)
    speed = math.sqrt(GM * (2.0 / low - 1.0 / semi))
    changes, turned = [], []
    for size in (0.0, 2.0, 4.0):
        item = Itinerary(
            start_s=0.0,
            position=np.array([low, 0.0, 0.0]),
            velocity=np.array([0.0, speed, 0.0]),
            impulses=(Impulse(0.0, size, 0.0),),
            end_s=2.0,
        )
        [flight] = fly([item], PointMass(gm=GM))
        state = flight.after[0]
        r, v = state[:3], state[3:]
        shape = (np.dot(v, v) / GM - 1.0 / np.linalg.norm(r)) * r - np.dot(r, v) / GM * v
        changes.append(readout(state, GM).period_s)
        turned.append(math.atan2(shape[1], shape[0]))
    assert (changes[2] - changes[0]) / (changes[1] - changes[0]) == pytest.approx(4.0, rel=0.3)
    assert abs(changes[1] - changes[0]) < 0.05
    assert (turned[2] - turned[0]) / (turned[1] - turned[0]) == pytest.approx(2.0, rel=1e-2)
    assert abs(turned[1] - turned[0]) > 1e-4
