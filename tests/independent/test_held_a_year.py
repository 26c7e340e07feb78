"""A lunar ring for the year after its plan, by a flight that shares no code with the planner's: minutes of it."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pytest

from ringwright.models.units import YEAR_S

from ..planned import bundled_outcome
from .body_data import DAY_S
from .held_flight import around, leaves
from .test_held import craft_of

FOR_A_YEAR_DEG = 0.05
"""What the spacing may be off in all that time, without another burn."""


@pytest.mark.soak
def test_four_round_the_moon_for_a_year() -> None:
    """2 000 km up, its burns corrected for the Earth, the Sun, sunlight and the field to degree 10."""
    outcome = bundled_outcome("round-the-moon")
    under, epoch = outcome.under, outcome.scenario.epoch
    assert under is not None
    assert under.hold is not None
    assert under.slots is not None
    assert epoch is not None
    # of terrestrial time: 37 s of leap seconds and 32.184 s
    days = (epoch.replace(tzinfo=None) - datetime(2000, 1, 1, 12)).total_seconds() / DAY_S + 69.184 / DAY_S
    world = around("moon", days, under.chosen.flown, under.chosen.degree)
    hold, turn_s = under.hold, under.slots.period_s
    _, times, off = leaves(world, craft_of(outcome), turn_s, hold.begin_s, hold.begin_s + YEAR_S, 1.0)
    assert times[-1] - hold.begin_s > YEAR_S - DAY_S
    assert np.degrees(np.abs(off).max()) < FOR_A_YEAR_DEG
    # and what is printed for then
    assert hold.leaves_s > YEAR_S
