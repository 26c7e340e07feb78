"""The hold by further forces: when the first leaves, against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ringwright.models.flight.drag import Air
from ringwright.models.flight.ephemeris import Circle
from ringwright.models.flight.flown import Itinerary
from ringwright.models.flight.forces import Field
from ringwright.models.flight.gravity import PointMass
from ringwright.models.flight.integrate import fly
from ringwright.models.flight.smooth_mean import window_s
from ringwright.models.flight.sunlight import Sunlight
from ringwright.models.frames import in_plane_state
from ringwright.models.ring import Ring
from ringwright.models.scenario import Body
from ringwright.models.surroundings import AirLayer, Surface
from ringwright.optimizer.robustness.alone import of_itself
from ringwright.optimizer.robustness.hold_by_forces import InRing, hold_by_forces
from ringwright.optimizer.standing import ForcedHold
from ringwright.tests.tolerances import FIRST_ORDER_REL, FLOWN_REL, SQUARED_REL

GM, RADIUS, DAY_S = 9120.5e9, 1.9e6, 86_400.0
WORLD = Body(name="Tessaly", gm=GM, radius_m=1.21e6)
RING = Ring(radius_m=RADIUS, slots=3, rate_rad_s=math.sqrt(GM / RADIUS**3), slot0_rad=0.3, gm=GM, inclination_rad=0.5)


def _held(
    field: Field,
    surfaces: tuple[Surface, Surface],
    fast: float = 0.0,
    years: float = 10.0,
    *,
    nominal: bool = False,
) -> ForcedHold:
    """Two craft in slots 0 and 1, the first faster by a share."""
    items = []
    for slot, surface in enumerate(surfaces):
        radius = RADIUS * (1.0 + (fast if slot == 0 else 0.0)) ** (-2.0 / 3.0)
        angle = float(RING.phase(0.0, slot))
        position, velocity = in_plane_state(radius, angle, 0.0, math.sqrt(GM / radius), 0.5, 0.0)
        end = 1.3 * window_s(RING)
        items.append(Itinerary(start_s=0.0, position=position, velocity=velocity, end_s=end, surface=surface))
    craft = [
        InRing(name=f"C{slot}", place=(0, slot), flight=flight, surface=surfaces[slot])
        for slot, flight in enumerate(fly(items, field))
    ]
    look_s = years * 365.25 * DAY_S
    return hold_by_forces(
        RING, WORLD, field, craft, 0.0, tolerance_rad=math.radians(0.5), look_s=look_s, nominal=nominal
    )


def test_a_wrong_rate() -> None:
    """Half of the difference is each craft's: (n dT / T) t / 2 plus what it was at the window's middle."""
    fast = 1e-6
    held = _held(Field(near=PointMass(gm=GM)), (Surface(), Surface()), fast, years=2.0)
    leaves = math.radians(0.5) / (0.5 * fast * RING.rate_rad_s) - 0.5 * window_s(RING)
    assert held.craft in {"C0", "C1"}
    assert held.leaves_s == pytest.approx(leaves, rel=SQUARED_REL)
    assert {trim.craft for trim in held.trims} == {"C0", "C1"}
    assert np.max(np.abs(held.kept_rad)) <= held.band_rad * (1.0 + FLOWN_REL)
    # dv = v dn / (3 n), half for each
    for trim in held.trims:
        assert abs(trim.along_m_s) == pytest.approx(0.5 * fast * RING.speed_m_s / 3.0, rel=FIRST_ORDER_REL)


@pytest.mark.soak
def test_unlike_drag_parts_them_and_is_made_up_for() -> None:
    """3/2 rho w^2 B / a each (Soop 1994, chapter 4); to keep the altitude costs rho v^2 B / 2 a second."""
    air = Air(
        layers=(AirLayer(altitude_m=690e3, density_kg_m3=2e-14, scale_height_m=1e7),), radius_m=1.21e6, spin_rad_s=0.0
    )
    held = _held(Field(near=PointMass(gm=GM), terms=(air,)), (Surface(drag_m2_kg=0.02), Surface(drag_m2_kg=0.01)))
    bend = 1.5 * 2e-14 * GM / RADIUS**2 * 0.01
    middle = 0.5 * window_s(RING)
    leaves = math.sqrt(2.0 * math.radians(0.5) / (0.5 * bend)) - middle
    assert held.craft in {"C0", "C1"}
    assert held.leaves_s == pytest.approx(leaves, rel=FIRST_ORDER_REL)
    year_s = 365.25 * DAY_S
    assert held.make_up_m_s_year == pytest.approx(0.5 * 2e-14 * GM / RADIUS * 0.02 * year_s, rel=FIRST_ORDER_REL)


def test_one_alone_is_held_against_a_nominal_craft() -> None:
    """The whole of 3/2 rho w^2 B / a is its own, and the trims that make up for nothing are none of the other's."""
    air = Air(
        layers=(AirLayer(altitude_m=690e3, density_kg_m3=2e-14, scale_height_m=1e7),), radius_m=1.21e6, spin_rad_s=0.0
    )
    field = Field(near=PointMass(gm=GM), terms=(air,))
    both = _held(field, (Surface(drag_m2_kg=0.02), Surface()), nominal=True)
    held = of_itself(both)
    bend = 1.5 * 2e-14 * GM / RADIUS**2 * 0.02
    leaves = math.sqrt(2.0 * math.radians(0.5) / bend) - 0.5 * window_s(RING)
    assert held.craft == "C0"
    assert held.names == ("C0",)
    assert held.leaves_s == pytest.approx(leaves, rel=FIRST_ORDER_REL)
    assert held.spacing_rad.shape[1] == held.kept_rad.shape[1] == 1
    assert {trim.craft for trim in held.trims} <= {"C0"}
    assert np.max(np.abs(both.spacing_rad[:, 1])) == 0.0


def test_an_edge_that_is_crossed_within_one_step() -> None:
    """The same law where a day is enough: the error grows with the square of time, a straight line would be early."""
    air = Air(
        layers=(AirLayer(altitude_m=690e3, density_kg_m3=8e-11, scale_height_m=1e7),), radius_m=1.21e6, spin_rad_s=0.0
    )
    surfaces = Surface(drag_m2_kg=0.02), Surface(drag_m2_kg=0.01)
    held = _held(Field(near=PointMass(gm=GM), terms=(air,)), surfaces, years=1.0)
    bend = 1.5 * 8e-11 * GM / RADIUS**2 * 0.01
    leaves = math.sqrt(2.0 * math.radians(0.5) / (0.5 * bend)) - 0.5 * window_s(RING)
    assert held.leaves_s < held.times_s[1] - held.begin_s
    assert held.leaves_s == pytest.approx(leaves, rel=FIRST_ORDER_REL)


@pytest.mark.soak
def test_sunlight_with_its_shadow_as_it_is_flown() -> None:
    """Two craft on which sunlight pushes unlike, 45 days on: spacing by the averages against a direct flight."""
    light = Sunlight(sun=Circle(radius_m=1.5e11, rate_rad_s=3e-7, angle_rad=0.2), radius_m=WORLD.radius_m)
    field = Field(near=PointMass(gm=GM), terms=(light,))
    craft = []
    for slot, surface in enumerate((Surface(), Surface(light_m2_kg=0.05))):
        place, motion = in_plane_state(RADIUS, float(RING.phase(0.0, slot)), 0.0, math.sqrt(GM / RADIUS), 0.5, 0.0)
        item = Itinerary(start_s=0.0, position=place, velocity=motion, end_s=46.0 * DAY_S, surface=surface)
        [flight] = fly([item], field, relative=1e-11)
        craft.append(InRing(name=f"C{slot}", place=(0, slot), flight=flight, surface=surface))
    held, later = (
        hold_by_forces(RING, WORLD, field, craft, begin, tolerance_rad=1.0, look_s=10 * 365.25 * DAY_S)
        for begin in (0.0, 45.0 * DAY_S - window_s(RING))
    )
    row = int(np.searchsorted(held.times_s, later.begin_s))
    share = (later.begin_s - held.times_s[row - 1]) / (held.times_s[row] - held.times_s[row - 1])
    said = held.spacing_rad[row - 1] + share * (held.spacing_rad[row] - held.spacing_rad[row - 1])
    parted = np.degrees(np.ptp(later.spacing_rad[0]) - np.ptp(held.spacing_rad[0]))
    assert abs(parted) > 0.05
    assert np.degrees(said) == pytest.approx(np.degrees(later.spacing_rad[0]), abs=FIRST_ORDER_REL * abs(parted))
