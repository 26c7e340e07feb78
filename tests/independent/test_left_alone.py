"""How long orbits last that are left alone in air, against a flight that shares no code with the planner's."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from ringwright.optimizer.craft_plan import CraftPlan
from ringwright.tests.tolerances import LIFETIME_REL

from ..planned import outcome_of, scenario_of
from .body_data import DAY_S
from .held_flight import World, around

Array = NDArray[np.float64]

TEXT = """\
title = "Two craft on their way down"
epoch = 2031-05-01T00:00:00Z
body = {{ name = "earth" }}
ring = {{ altitude_km = 300.0, inclination_deg = {inclination}, slots = 4, slot0_deg = 0.0 }}
limits = {{ clearance_km = 100.0, revolutions_max = 12 }}
disposal = {{ within_years = 5.0 }}
[[craft]]
name = "Kettle"
dry_mass_kg = 40.0
propellant_kg = 40.0
isp_s = 300.0
area_m2 = 24.0
orbit = {{ altitude_km = 300.0, angle_deg = -60.0 }}
[[craft]]
name = "Ladle"
dry_mass_kg = 40.0
propellant_kg = 40.0
isp_s = 300.0
area_m2 = 24.0
orbit = {{ altitude_km = 300.0, angle_deg = -140.0 }}
"""


def _after_its_burn(part: CraftPlan) -> Array:
    """The state in which a craft begins to phase."""
    assert part.phasing_burn is not None
    burn, state = part.burns[part.phasing_burn], np.array(part.before_burns[part.phasing_burn])
    up = state[:3] / np.linalg.norm(state[:3])
    pole = np.cross(state[:3], state[3:])
    pole /= np.linalg.norm(pole)
    state[3:] += burn.radial_m_s * up + burn.along_m_s * np.cross(pole, up) + burn.cross_m_s * pole
    return state


def _lasts_s(world: World, state: Array, drag: float, top_m: float) -> float:
    """Until the altitude is that of the top of the air."""

    def slope(t: float, y: Array) -> Array:
        there = y[:, np.newaxis]
        pull = world.pull(t, there[:3], there[3:], np.array([drag]), np.zeros(1), np.ones(1))
        return np.concatenate([y[3:], pull[:, 0]])

    def down(_: float, y: Array) -> float:
        return float(np.linalg.norm(y[:3])) - world.radius - top_m

    down.terminal = True  # type: ignore[attr-defined] # as scipy asks for
    flown = solve_ivp(slope, (0.0, 60.0 * DAY_S), state, "DOP853", events=down, rtol=1e-8, atol=1e-3)
    assert flown.t_events is not None
    return float(flown.t_events[0][0])


@pytest.mark.parametrize("inclination", [5.0, *(pytest.param(one, marks=pytest.mark.soak) for one in (58.0, 97.0))])
def test_phasing_orbits_last_as_flown(inclination: float) -> None:
    """By the bulge and the air of the data file; by the orbit of one moment it is up to a fifth off."""
    scenario = scenario_of(TEXT.format(inclination=inclination))
    outcome = outcome_of(scenario)
    world = around("earth", 11_442.5 + 69.184 / DAY_S, ("drag",), 0)
    left = [one for one in outcome.left_alone if one.what == "phasing"]
    assert left
    for one in left:
        assert one.forces == ("drag",)
        part = next(part for part in outcome.plans[0].craft if part.craft == one.who[0])
        met = next(craft.surface for craft in scenario.craft if craft.name == part.craft)
        flown_s = _lasts_s(world, _after_its_burn(part), met.drag_m2_kg, scenario.body.atmosphere_top_m)
        assert math.isfinite(one.lasts_s)
        assert one.lasts_s == pytest.approx(flown_s, rel=LIFETIME_REL)
