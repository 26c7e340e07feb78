"""A printed hold against a flight that shares no code with the planner's: within 20 % of when a craft leaves."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ringwright.tests.tolerances import CROSSED_REL, SLOT_DEG

from ..planned import outcome_of, scenario_of
from .held_flight import Craft, around, leaves

# 11 442.5 d of UTC since 2000-01-01 12:00, 37 s of leap seconds and 32.184 s
DAYS = 11_442.5 + 69.184 / 86_400.0
RINGS = {
    "400 km over the Earth": ("earth", 0.2, "altitude_km = 400.0", "inclination_deg = 51.0\nslots = 4", (1.0, 1.4)),
    "synchronous": ("earth", 0.1, "radius_km = 42164.17", "slots = 6", (1.0, 1.0)),
    "20 000 km over the Earth": (
        "earth",
        0.02,
        "altitude_km = 20000.0",
        "inclination_deg = 55.0\nslots = 3",
        (1.0, 2.0),
    ),
    "2 000 km over the Moon": ("moon", 0.01, "altitude_km = 2000.0", "inclination_deg = 40.0\nslots = 4", (1.0, 20.0)),
    "synchronous over Mars": ("mars", 2.0, "radius_km = 20427.7", "slots = 4", (1.0, 1.0)),
}


def _text(body: str, tolerance: float, size: str, more: str, areas: tuple[float, float]) -> str:
    craft = "".join(
        f'[[craft]]\nname = "{name}"\ndry_mass_kg = 60.0\npropellant_kg = 40.0\nisp_s = 300.0\narea_m2 = {area}\n'
        f"orbit = {{ {size}, angle_deg = {angle} }}\n"
        for name, area, angle in zip(("Kettle", "Ladle"), areas, (-5.0, 20.0), strict=True)
    )
    return (
        f'title = "Two craft kept apart"\nepoch = 2031-05-01T00:00:00Z\n[body]\nname = "{body}"\n'
        f"[ring]\n{size}\n{more}\ntolerance_deg = {tolerance}\nslot0_deg = 20.0\n"
        f"[limits]\nrevolutions_max = 3\n[forces]\n{craft}"
    )


@pytest.mark.soak
@pytest.mark.parametrize("name", list(RINGS))
def test_the_first_leaves_when_it_is_printed(name: str) -> None:
    body, tolerance, *_ = RINGS[name]
    scenario = scenario_of(_text(*RINGS[name]))
    outcome = outcome_of(scenario)
    under = outcome.under
    assert under is not None
    assert under.hold is not None
    assert under.slots is not None
    hold = under.hold
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
    world = around(body, DAYS, under.chosen.flown, under.chosen.degree)
    end = hold.begin_s + 1.3 * hold.leaves_s
    at, _, off = leaves(world, craft, under.slots.period_s, hold.begin_s, end, math.radians(tolerance))
    # the spacing at the plan's end, then the hold
    assert np.degrees(np.abs(off[0]).max()) < SLOT_DEG
    assert hold.leaves_s == pytest.approx(at - hold.begin_s, rel=CROSSED_REL)
