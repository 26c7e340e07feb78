"""Where pictures put what waits: a spare between slots, and the wait of a craft before its transfer."""

from __future__ import annotations

import math

import numpy as np
import pytest
from matplotlib.text import Text

from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.plan import make_plan
from ringwright.reports.figures import drawings
from ringwright.reports.figures.spares import spares_said, waiting
from ringwright.reports.figures.style import paper
from ringwright.reports.figures.timeline import draw_timeline
from ringwright.tests.planned import scenario_of
from ringwright.tests.tolerances import SECOND_S

WORLD = """
title = "Waits"
[body]
name = "Tessel"
gm_km3_s2 = 42000.0
radius_km = 3400.0
[ring]
altitude_km = 2400.0
slots = 4
slot0_deg = 5.0
occupied = [{ name = "A", slot = 0 }, { name = "B", slot = 1 }, { name = "C", slot = 2 }]
[limits]
finish_within_d = 2.0
revolutions_max = 1
clearance_km = 400.0
[[spare]]
name = "Nut"
after_slot = 1
[[spare]]
name = "Pip"
altitude_km = 2000.0
angle_deg = 0.0
[[craft]]
name = "D"
ready_h = 3.0
orbit = { altitude_km = 2000.0, angle_deg = 20.0 }
"""


def test_spares_and_waits_are_drawn_where_they_are() -> None:
    outcome = make_plan(scenario_of(WORLD), brief=True)
    [plan, *_] = outcome.plans
    [(angle_rad, name)] = waiting(outcome, 0)
    assert angle_rad == pytest.approx(math.radians(135.0))
    assert name == "Nut (spare)"
    assert spares_said(outcome, 0) == " Diamonds: spares (Nut). Not drawn: Pip, a spare 400 km below the ring."
    [part] = plan.craft
    assert part.route == "transfer"
    with paper():
        [axes] = draw_timeline(outcome, plan).axes
        words = [text.get_text() for name in ("turning_view", "unrolled_ring") for text in _texts(outcome, name)]
    dotted = next(line for line in axes.lines if line.get_linestyle() not in {"-", "None"})
    begin, end = np.asarray(dotted.get_xdata(), dtype=float)
    # the wait runs from the first moment allowed to the transfer
    assert end - begin == pytest.approx(part.burns[0].time_s - 3.0 * 3600.0, abs=SECOND_S)
    assert words.count("Nut (spare)") == 2


def _texts(outcome: Outcome, name: str) -> list[Text]:
    return list(drawings(outcome)[name]().axes[0].texts)
