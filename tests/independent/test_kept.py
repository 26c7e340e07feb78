"""What keeping a craft over its longitude takes, by trims in a flight that shares no code with the planner's."""

from __future__ import annotations

import math
from datetime import datetime

import numpy as np
import pytest
from numpy.typing import NDArray

from ringwright.models.units import YEAR_S
from ringwright.tests.tolerances import CROSSED_REL

from ..planned import bundled_outcome
from .body_data import DAY_S
from .held_flight import SAMPLES, World, around, at_rest, onward
from .test_held import craft_of

Array = NDArray[np.float64]
CYCLES = 8


def _east(world: World, times: Array, places: Array, wanted: float) -> tuple[Array, Array]:
    """Times and how far a craft is east of a longitude then, rad: means over a turn."""
    angle = np.arctan2(places[:, 1], places[:, 0]) - (world.meridian + world.spin * times)
    off = np.unwrap(np.remainder(angle - wanted + math.pi, 2.0 * math.pi) - math.pi)
    weights = np.ones(SAMPLES + 1)
    weights[[0, -1]] = 0.5
    half = SAMPLES // 2
    return times[half:-half], np.convolve(off, weights / SAMPLES, "valid")


@pytest.mark.soak
def test_a_craft_kept_over_the_plains_takes_what_is_printed() -> None:
    """Over Mars, the one of three that drifts fastest: eight cycles, each trimmed to end at the edge of the band."""
    outcome = bundled_outcome("over-the-plains")
    under, epoch = outcome.under, outcome.scenario.epoch
    assert under is not None
    assert under.hold is not None
    assert under.slots is not None
    assert epoch is not None
    # of terrestrial time: 37 s of leap seconds and 32.184 s
    days = (epoch.replace(tzinfo=None) - datetime(2000, 1, 1, 12)).total_seconds() / DAY_S + 69.184 / DAY_S
    world = around("mars", days, under.chosen.flown, under.chosen.degree)
    hold, turn = under.hold, under.slots.period_s
    name = hold.craft
    own = next(k for k, part in enumerate(outcome.plans[0].craft) if part.craft == name)
    craft = craft_of(outcome)[own]
    wanted = outcome.scenario.ring.longitude_rad
    assert wanted is not None
    wanted += craft.slot_angle
    band, rate = hold.band_rad, 2.0 * math.pi / turn
    printed = [one for one in hold.trims if one.craft == name][2 : CYCLES + 2]
    cycle = (printed[-1].time_s - printed[0].time_s) / (len(printed) - 1)
    now, state = at_rest(world, craft)
    spent, begun, worst = 0.0, 0.0, 0.0
    for number in range(CYCLES + 1):
        times = np.asarray(now + turn / SAMPLES * np.arange(round(cycle / turn * SAMPLES) + 1.0), np.float64)
        found = onward(world, craft, state, times)
        seen, off = _east(world, times, found, wanted)
        bend, slope, level = np.polyfit(seen - times[-1], off, 2)
        if number:
            worst = max(worst, float(np.abs(off).max()))
        now, state = float(times[-1]), found[-1]
        pull = 2.0 * float(bend)
        edge = math.copysign(band, pull)
        # the rate with which it is back at the edge after another cycle
        faster = (edge - float(level)) / cycle - 0.5 * pull * cycle - float(slope)
        speed = float(np.linalg.norm(state[3:]))
        along = -faster * speed / (3.0 * rate)
        state = state.copy()
        state[3:] *= 1.0 + along / speed
        if number:
            spent += abs(along)
        else:
            begun = now
    yearly = spent / (now - begun) * YEAR_S
    assert yearly == pytest.approx(hold.trim_m_s_year, rel=CROSSED_REL)
    assert worst < (1.0 + CROSSED_REL) * band
