"""What a slot is under further forces: the ring's own without them, and against a flight of one craft with them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ringwright.models import bodies
from ringwright.models.flight.forces import Field
from ringwright.models.flight.gravity import gravity_around
from ringwright.models.flight.harmonics import UnevenField
from ringwright.models.flight.integrate import fly
from ringwright.models.flight.smooth_mean import measure_smoothly, window_s
from ringwright.models.oblateness import ring_rates
from ringwright.models.reference import reference, slots_and_flights
from ringwright.models.ring import Ring
from ringwright.models.scenario import Body
from ringwright.models.surroundings import Harmonic
from ringwright.tests.tolerances import REACHED_RAD, READ_OVER_A_DAY_S, THREE_FIRST_ORDER_REL

DAY_S = 86_400.0


def _ring(body: Body, radius_m: float, inclination: float) -> Ring:
    rate, node_rate = ring_rates(body, radius_m, inclination)
    return Ring(
        radius_m=radius_m,
        slots=4,
        rate_rad_s=rate,
        slot0_rad=0.4,
        gm=body.gm,
        inclination_rad=inclination,
        node_rad=0.2,
        node_rate_rad_s=node_rate,
    )


def test_without_forces_it_is_the_ring() -> None:
    earth = bodies.body("earth")
    ring = _ring(earth, 7.0e6, 0.9)
    assert slots_and_flights(ring, earth, Field(near=gravity_around(earth)), DAY_S)[0] is ring


@pytest.mark.parametrize("inclination", [0.0, 0.9])
def test_a_fourth_zonal_harmonic_turns_it_faster(inclination: float) -> None:
    """Secular rates of J4 on a circle (Vallado 2013, equation 9-41 with the J4 terms; Kozai 1959): node and the whole.

    For a circle of mean semi-major axis a: node' = 15/32 n J4 (Re/a)^4 cos i (8 - 14 s^2). The rate of the angle is
    flown for comparison with a craft of the same start; here it must be what a craft in slot 0 reads.
    """
    earth = bodies.body("earth")
    ring = _ring(earth, 7.0e6, inclination)
    j4 = 1.62e-5
    uneven = UnevenField(
        gm=earth.gm, radius_m=earth.j2_radius_m, coefficients=(Harmonic(degree=4, order=0, cosine=-j4),)
    )
    field = Field(near=gravity_around(earth), terms=(uneven,))
    slots = slots_and_flights(ring, earth, field, DAY_S)[0]
    nominal = reference(ring, earth, DAY_S + window_s(ring) + ring.period_s)
    [under] = fly([nominal], field)
    [bare] = fly([nominal], field.near)
    seen, plain = measure_smoothly(under, slots, 0, 0, DAY_S), measure_smoothly(bare, ring, 0, 0, DAY_S)
    assert seen.slot_error_rad == pytest.approx(plain.slot_error_rad, abs=REACHED_RAD)
    assert seen.period_error_s == pytest.approx(plain.period_error_s, abs=READ_OVER_A_DAY_S)
    assert slots.period_s != ring.period_s
    if inclination == 0.0:
        assert slots.node_rad == ring.node_rad
        return
    n, sine2 = math.sqrt(earth.gm / 7.0e6**3), math.sin(inclination) ** 2
    rate = 15.0 / 32.0 * n * j4 * (earth.j2_radius_m / 7.0e6) ** 4 * math.cos(inclination) * (8.0 - 14.0 * sine2)
    middle = DAY_S + 0.5 * window_s(ring)
    assert slots.node(middle) - ring.node(middle) == pytest.approx(rate * middle, rel=THREE_FIRST_ORDER_REL)


def test_the_pattern_stays_even() -> None:
    earth = bodies.body("earth")
    ring = _ring(earth, 7.0e6, 0.9)
    uneven = UnevenField.of(earth, 3)
    assert uneven is not None
    slots = slots_and_flights(ring, earth, Field(near=gravity_around(earth), terms=(uneven,)), 0.0)[0]
    assert np.allclose(np.diff(slots.phase(100.0, np.arange(4))), 0.5 * math.pi)
