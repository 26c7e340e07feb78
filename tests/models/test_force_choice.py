"""Which forces are flown, and the estimates of their size against the forces themselves."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from ringwright.models import bodies
from ringwright.models.errors import InputError
from ringwright.models.flight.forces import Surfaces, Term
from ringwright.models.flight.harmonics import UnevenField
from ringwright.models.flight.sky import sky
from ringwright.models.force_choice import chosen_forces
from ringwright.models.missing_forces import density_of, drag_shift_rad_s2, light_pull, tide, uneven_pull
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.models.scenario import Scenario
from ringwright.tests.tolerances import BY_SIZE_REL

Array = NDArray[np.float64]
OWN = """
[body]
name = "Tessaly"
gm_km3_s2 = 9120.5
radius_km = 1210.0
sidereal_day_h = 26.5
c22 = 2e-5
atmosphere = { altitude_km = 100, density_kg_m3 = 1e-9, scale_height_km = 20 }
[[pull]]
name = "Corbel"
gm_km3_s2 = 900
orbit = { radius_km = 90000, period_d = 20 }
"""


def _scenario(body: str, altitude_km: float, forces: str = "[forces]", more: str = "") -> Scenario:
    world = OWN if body == "own" else f'[body]\nname = "{body}"'
    return parse_scenario(
        f"epoch = 2031-05-01T00:00:00Z\n{world}\n[ring]\naltitude_km = {altitude_km}\nslots = 4\n{more}\n{forces}\n"
        '[[craft]]\nname = "Teal"\ndry_mass_kg = 100\npropellant_kg = 100\nisp_s = 300\narea_m2 = 2\n'
        f"orbit = {{ altitude_km = {altitude_km}, angle_deg = 10 }}\n"
    )


def test_without_the_table_the_bulge_alone_is_flown() -> None:
    chosen = chosen_forces(_scenario("earth", 400.0, ""))
    assert chosen.flown == ("bulge",)
    assert chosen.field.terms == ()
    assert {one.name for one in chosen.left_out} == {"degree 2 to 8", "Sun", "Moon", "drag", "sunlight"}


def test_what_matters_is_taken() -> None:
    low = chosen_forces(_scenario("earth", 400.0))
    assert {"degree 8", "Moon", "drag"} <= set(low.flown)
    assert low.field_ends
    high = chosen_forces(_scenario("earth", 10_000.0))
    assert {"Sun", "Moon"} <= set(high.flown)
    assert "drag" in {one.name for one in high.left_out}
    assert not high.field_ends
    moon = chosen_forces(_scenario("moon", 2000.0))
    assert {"Sun", "Earth"} <= set(moon.flown)
    assert "Saturn" in chosen_forces(_scenario("titan", 3000.0)).flown


def test_a_looser_tolerance_and_a_shorter_hold_leave_more_out() -> None:
    strict = chosen_forces(_scenario("earth", 10_000.0, more="tolerance_deg = 0.01"))
    loose = chosen_forces(_scenario("earth", 10_000.0, more="tolerance_deg = 20\nhold_for_d = 5"))
    assert "sunlight" in strict.flown
    assert loose.flown == ("bulge",)


def test_forces_are_forced_in_and_out() -> None:
    asked = "[forces]\ndegree = 3\nsun = false\nmoon = false\ndrag = false\nsunlight = true"
    chosen = chosen_forces(_scenario("earth", 400.0, asked))
    assert chosen.flown == ("bulge", "degree 3", "sunlight")
    assert {one.name for one in chosen.left_out} == {"degree 4 to 8", "Sun", "Moon", "drag"}


def test_an_own_world_has_what_it_is_given() -> None:
    chosen = chosen_forces(_scenario("own", 1000.0, more="tolerance_deg = 0.01"))
    assert {"degree 2", "Corbel"} <= set(chosen.flown)
    assert chosen.flown[0] == "point mass"
    assert "drag" in {*chosen.flown, *(one.name for one in chosen.left_out)}


@pytest.mark.parametrize(
    ("body", "altitude_km", "forces", "words"),
    [
        ("mars", 5000.0, "moon = true", "that is for orbits around the Earth"),
        ("ceres", 1000.0, "sun = true", "no series for the place of Ceres"),
        ("mars", 5000.0, "parent = true", "Mars is no moon"),
        ("moon", 2000.0, "drag = true", "no density of the air of Moon"),
        ("own", 1000.0, "sun = true", "give [[pull]]"),
        ("earth", 400.0, "degree = 9", "up to degree 8 is known here"),
        ("venus", 900.0, "degree = 2", "the bulge alone, degree = 0 is known here"),
        ("earth", 400.0, 'sun = "yes"', 'should be "auto", true or false'),
        ("earth", 400.0, "sun = 1", 'should be true or false, without quotes, or "auto"'),
    ],
)
def test_what_cannot_be_flown_is_refused(body: str, altitude_km: float, forces: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        _scenario(body, altitude_km, f"[forces]\n{forces}")
    assert words in str(caught.value)
    assert "line" in str(caught.value)


def test_sun_without_an_epoch_is_refused() -> None:
    text = (
        '[body]\nname = "earth"\n[ring]\naltitude_km = 900\nslots = 2\n[forces]\nsun = true\n[[craft]]\nname = "Teal"\n'
    )
    with pytest.raises(InputError, match="no epoch"):
        parse_scenario(text + "orbit = { altitude_km = 900, angle_deg = 0 }\n")


def _greatest_along(term: Term, radius_m: float, gm: float, surfaces: Surfaces) -> float:
    """Greatest pull along the track over a circle around the equator, over many moments."""
    angle = np.linspace(0.0, 2.0 * math.pi, 72)
    speed = math.sqrt(gm / radius_m)
    along = np.stack([-np.sin(angle), np.cos(angle), np.zeros(angle.size)])
    place = radius_m * np.stack([np.cos(angle), np.sin(angle), np.zeros(angle.size)])
    greatest = 0.0
    for day in np.linspace(0.0, 29.0, 12):
        pull = term.acceleration(np.full(angle.size, day * 86_400.0), place, speed * along, surfaces)
        greatest = max(greatest, float(np.abs(np.sum(pull * along, axis=0)).max()))
    return greatest


@pytest.mark.parametrize(
    ("body", "altitude_km", "key"),
    [
        ("earth", 10_000.0, "sun"),
        ("earth", 10_000.0, "moon"),
        ("moon", 2000.0, "parent"),
        ("titan", 3000.0, "parent"),
        ("mars", 5000.0, "sun"),
        ("earth", 400.0, "drag"),
        ("earth", 10_000.0, "sunlight"),
    ],
)
def test_estimates_are_the_size_of_the_forces(body: str, altitude_km: float, key: str) -> None:
    scenario = _scenario(body, altitude_km)
    radius_m, gm = scenario.ring.radius_m, scenario.body.gm
    term = sky(scenario).terms[key]
    surface = scenario.craft[0].surface
    surfaces = Surfaces(np.full(72, surface.drag_m2_kg), np.full(72, surface.light_m2_kg))
    if key == "drag":
        density = density_of(scenario.body.air, altitude_km * 1e3)
        said = drag_shift_rad_s2(gm, radius_m, density, surface.drag_m2_kg)
    elif key == "sunlight":
        said = light_pull(body, radius_m, surface.light_m2_kg).shift_rad_s2
    else:
        said = tide(gm, radius_m, next(o for o in bodies.neighbors(body) if o.name == term.name)).shift_rad_s2
    # the Sun stands off the equator, the Moon off its mean distance, and the air turns along
    assert 3.0 * _greatest_along(term, radius_m, gm, surfaces) / radius_m == pytest.approx(said, rel=BY_SIZE_REL)


@pytest.mark.parametrize(("body", "degree"), [("earth", 2), ("earth", 4), ("moon", 3), ("moon", 7), ("mars", 3)])
def test_estimates_of_uneven_fields_are_their_size(body: str, degree: int) -> None:
    """Within the factor of three that is said of them."""
    one = bodies.body(body)
    radius_m = 1.6 * one.radius_m
    field = UnevenField(
        gm=one.gm,
        radius_m=one.j2_radius_m,
        coefficients=tuple(harmonic for harmonic in one.harmonics if harmonic.degree == degree),
    )
    nothing = Surfaces(np.zeros(72), np.zeros(72))
    said = uneven_pull(one, degree, radius_m, 1.0, 0.0).shift_rad_s2
    found = 3.0 * _greatest_along(field, radius_m, one.gm, nothing) / radius_m
    assert 1.0 / 3.0 < found / said < 3.0


def test_a_puller_inside_the_ring_is_refused() -> None:
    with pytest.raises(InputError, match="inside the ring"):
        _scenario("own", 95_000.0)


def test_a_puller_around_a_built_in_body_is_refused() -> None:
    with pytest.raises(InputError, match="is built in"):
        _scenario(
            "mars", 5000.0, '[[pull]]\nname = "Corbel"\ngm_km3_s2 = 1\norbit = { radius_km = 90000, period_d = 9 }'
        )


def test_layers_out_of_order_are_refused() -> None:
    layers = "[{ altitude_km = 200, density_kg_m3 = 1e-9, scale_height_km = 30 }, "
    layers += "{ altitude_km = 100, density_kg_m3 = 1e-7, scale_height_km = 10 }]"
    text = f'[body]\nname = "earth"\natmosphere = {layers}\n[ring]\naltitude_km = 900\nslots = 2\n'
    with pytest.raises(InputError, match="no higher than the layer before"):
        parse_scenario(f'{text}[[craft]]\nname = "Teal"\norbit = {{ altitude_km = 900, angle_deg = 0 }}\n')


def test_own_harmonics_take_the_place_of_published_ones() -> None:
    text = '[body]\nname = "mars"\nj3 = 1e-5\nc22 = -1e-4\n[ring]\naltitude_km = 900\nslots = 2\n'
    read = parse_scenario(f'{text}[[craft]]\nname = "Teal"\norbit = {{ altitude_km = 900, angle_deg = 0 }}\n')
    found = {(one.degree, one.order): one for one in read.body.harmonics}
    assert found[3, 0].cosine == -1e-5
    assert (found[2, 2].cosine, found[2, 2].sine) == (-1e-4, 0.0)
    assert found[4, 0] == next(o for o in bodies.body("mars").harmonics if (o.degree, o.order) == (4, 0))
