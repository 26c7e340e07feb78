"""A craft that is alone in its ring: its hold against its slot, on screen and in the result."""

from __future__ import annotations

import pytest

from ringwright.reports.result import result
from ringwright.reports.terminal import plan_text
from ringwright.tests.tolerances import MILLISECOND_S, WRITTEN_RAD

from ...planned import outcome_of, scenario_of

TEXT = """\
title = "One alone"
epoch = 2031-05-01T00:00:00Z
body = { name = "earth" }
ring = { altitude_km = 500, inclination_deg = 52, slots = 1, slot0_deg = 40, hold_for_d = 20 }
limits = { revolutions_max = 2 }
forces = { degree = 0, sun = false, moon = false, sunlight = false }
[[craft]]
name = "Teal"
orbit = { altitude_km = 500, angle_deg = 10 }
dry_mass_kg = 100
propellant_kg = 100
isp_s = 300
area_m2 = 2.0
"""


def test_it_leaves_its_slot_by_drag() -> None:
    outcome = outcome_of(scenario_of(TEXT))
    under = outcome.under
    assert under is not None
    hold = under.hold
    assert hold is not None
    assert hold.names == ("Teal",)
    assert hold.craft == "Teal"
    # where it begins is the error that was flown
    assert hold.spacing_rad[0, 0] == pytest.approx(under.common_shift_rad, abs=WRITTEN_RAD)
    assert hold.make_up_m_s_year > 0.0
    text = " ".join(plan_text(outcome).split())
    assert "Keeps its slot for " in text
    assert "a nominal craft in it flies by the same forces, without drag." in text
    assert "leaves first" not in text
    assert result(outcome)["plans"][0]["hold"]["holds_s"] == pytest.approx(hold.leaves_s, abs=MILLISECOND_S)
