"""Spacing and printed holds against a flight that shares no code with the planner's: within 20 % of when one leaves."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray

from ringwright.optimizer.outcome import Outcome
from ringwright.optimizer.standing import ForcedHold
from ringwright.tests.tolerances import CLOCK_S, CROSSED_REL, SLOT_DEG

from ..planned import outcome_of, scenario_of
from .held_flight import Craft, around, leaves, made_up

Array = NDArray[np.float64]
AT_ITS_END_DEG = 0.02
"""What the spacing may be off as a plan ends low in the air."""

# 11 442.5 d of UTC since 2000-01-01 12:00, 37 s of leap seconds and 32.184 s
DAYS = 11_442.5 + 69.184 / 86_400.0
OWN = """name = "Tessaly"
gm_km3_s2 = 9120.5
radius_km = 1210.0
sidereal_day_h = 26.5
j2 = 4e-4
c22 = 3e-5
prime_meridian_deg = 25.0
atmosphere = { altitude_km = 500.0, density_kg_m3 = 2e-12, scale_height_km = 60.0 }
[[pull]]
name = "Corbel"
gm_km3_s2 = 900.0
orbit = { radius_km = 40000.0, period_d = 6.0, angle_deg = 40.0, inclination_deg = 8.0 }"""


class Case(NamedTuple):
    """A ring, in degrees, and what light and air meet of its craft, m^2."""

    body: str
    tolerance: float
    size: str
    inclination: float
    slots: int
    areas: tuple[float, float]


RINGS = {
    "400 km over the Earth": Case("earth", 0.2, "altitude_km = 400.0", 51.0, 4, (1.0, 1.4)),
    "700 km over the Earth": Case("earth", 0.1, "altitude_km = 700.0", 98.0, 3, (1.0, 4.0)),
    "1 200 km over the Earth": Case("earth", 0.005, "altitude_km = 1200.0", 70.0, 5, (1.0, 6.0)),
    "synchronous": Case("earth", 0.1, "radius_km = 42164.17", 0.0, 6, (1.0, 1.0)),
    "20 000 km over the Earth": Case("earth", 0.02, "altitude_km = 20000.0", 55.0, 3, (1.0, 2.0)),
    "300 km over the Moon": Case("moon", 0.01, "altitude_km = 300.0", 30.0, 3, (1.0, 8.0)),
    "2 000 km over the Moon": Case("moon", 0.01, "altitude_km = 2000.0", 40.0, 4, (1.0, 20.0)),
    "400 km over Mars": Case("mars", 0.01, "altitude_km = 400.0", 60.0, 3, (1.0, 8.0)),
    "synchronous over Mars": Case("mars", 2.0, "radius_km = 20427.7", 0.0, 4, (1.0, 1.0)),
    "1 400 km over Titan": Case("titan", 0.01, "altitude_km = 1400.0", 30.0, 3, (1.0, 4.0)),
    "2 000 km over Ganymede": Case("ganymede", 0.01, "altitude_km = 2000.0", 20.0, 3, (1.0, 400.0)),
    "an own world": Case("", 0.01, "altitude_km = 900.0", 25.0, 3, (1.0, 8.0)),
}


def _text(case: Case) -> str:
    craft = "".join(
        f'[[craft]]\nname = "{name}"\ndry_mass_kg = 60.0\npropellant_kg = 40.0\nisp_s = 300.0\narea_m2 = {area}\n'
        f"orbit = {{ {case.size}, angle_deg = {angle} }}\n"
        for name, area, angle in zip(("Kettle", "Ladle"), case.areas, (-5.0, 20.0), strict=True)
    )
    body = f'name = "{case.body}"' if case.body else OWN
    when = "epoch = 2031-05-01T00:00:00Z\n" if case.body else ""
    lean = f"inclination_deg = {case.inclination}\n" if case.inclination else ""
    return (
        f'title = "Two craft kept apart"\n{when}[body]\n{body}\n'
        f"[ring]\n{case.size}\n{lean}slots = {case.slots}\ntolerance_deg = {case.tolerance}\nslot0_deg = 20.0\n"
        f"[limits]\nrevolutions_max = 3\n[forces]\n{craft}"
    )


def craft_of(outcome: Outcome) -> list[Craft]:
    """The craft of plan 1, with its burns."""
    scenario = outcome.scenario
    surface = {one.name: one.surface for one in scenario.craft}
    craft = []
    for part in outcome.plans[0].craft:
        item = part.itinerary
        assert item is not None
        met = surface[part.craft]
        craft.append(
            Craft(
                start=item.start_s,
                state=np.concatenate([item.position, item.velocity]),
                burns=tuple((one[0], one[1], one[2], one[3]) for one in item.impulses),
                drag=met.drag_m2_kg,
                light=met.light_m2_kg,
                slot_angle=2.0 * math.pi * part.slot / scenario.ring.slots,
            )
        )
    return craft


def _flown(case: Case, last_s: Callable[[ForcedHold], float]) -> tuple[ForcedHold, float, Array, Array]:
    """The hold, and as flown from its beginning on for some time, s: when the first leaves, times and errors."""
    text = _text(case)
    scenario = scenario_of(text)
    outcome = outcome_of(scenario)
    under = outcome.under
    assert under is not None
    assert under.hold is not None
    assert under.slots is not None
    hold = under.hold
    world = around(case.body, DAYS, under.chosen.flown, under.chosen.degree) if case.body else made_up(text)
    end = hold.begin_s + last_s(hold)
    at, times, off = leaves(
        world, craft_of(outcome), under.slots.period_s, hold.begin_s, end, math.radians(case.tolerance)
    )
    return hold, at - hold.begin_s, times, off


@pytest.mark.soak
@pytest.mark.parametrize("name", list(RINGS))
def test_the_first_leaves_when_it_is_printed(name: str) -> None:
    hold, flown_s, _, off = _flown(RINGS[name], lambda hold: 1.3 * hold.leaves_s)
    # the spacing at the plan's end, then the hold
    assert np.degrees(np.abs(off[0]).max()) < SLOT_DEG
    assert hold.leaves_s == pytest.approx(flown_s, rel=CROSSED_REL)


@pytest.mark.soak
def test_spacing_at_the_end_of_a_plan_in_air() -> None:
    """Craft of unlike surface, 400 km over the Earth, with the density that was assumed."""
    hold, _, times, off = _flown(RINGS["400 km over the Earth"], lambda hold: 0.1 * hold.leaves_s)
    assert times[0] == pytest.approx(hold.begin_s, abs=CLOCK_S)
    assert np.degrees(np.abs(off[0]).max()) < AT_ITS_END_DEG
