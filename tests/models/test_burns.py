"""The rocket equation both ways, and long burns against impulses."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringwright.models import burns
from ringwright.models.burns import FiniteThrust, finite_loss
from ringwright.models.errors import FlightError

GM = 3.986004418e14


@settings(derandomize=True, deadline=None, max_examples=60)
@given(
    mass=st.floats(1.0, 1e6), delta_v=st.floats(1e-3, 9000.0), isp=st.floats(50.0, 4000.0), thrust=st.floats(0.1, 1e6)
)
def test_rocket_equation_both_ways(mass: float, delta_v: float, isp: float, thrust: float) -> None:
    used = burns.propellant_used(mass, delta_v, isp)
    after = burns.mass_after(mass, delta_v, isp)
    assert mass - used == pytest.approx(float(after), rel=1e-12, abs=1e-12 * mass)
    assert burns.delta_v_available(mass, used, isp) == pytest.approx(delta_v, rel=1e-9)
    assert burns.propellant_needed(after, delta_v, isp) == pytest.approx(float(used), rel=1e-9)
    # thrust is mass flow times exhaust speed
    lasting = burns.burn_duration(mass, delta_v, isp, thrust)
    assert lasting * thrust / burns.exhaust_speed(isp) == pytest.approx(float(used), rel=1e-12)


def test_burns_add_up() -> None:
    """Two burns spend what one of their sum does."""
    first = burns.propellant_used(540.0, 60.0, 312.0)
    second = burns.propellant_used(540.0 - first, 40.0, 312.0)
    assert first + second == pytest.approx(float(burns.propellant_used(540.0, 100.0, 312.0)), rel=1e-12)


def test_arrays_broadcast() -> None:
    sizes = np.array([0.0, 10.0, 100.0])
    masses = np.array([[300.0], [600.0]])
    used = burns.propellant_used(masses, sizes, 312.0)
    assert used.shape == (2, 3)
    assert used[:, 0].tolist() == [0.0, 0.0]
    assert used[1] == pytest.approx(2.0 * used[0])


def circle(radius: float) -> tuple[np.ndarray, np.ndarray]:
    return np.array([radius, 0.0, 0.0]), np.array([0.0, math.sqrt(GM / radius), 0.0])


def test_loss_grows_with_the_square_of_the_duration() -> None:
    """Robbins 1966 (from memory): the loss of a centered burn goes with (duration x mean motion)^2."""
    r, v = circle(8.0e6)
    losses = [
        finite_loss(r, v, 200.0, FiniteThrust(thrust_n=force, isp_s=312.0, mass_kg=540.0), GM)
        for force in (300.0, 600.0)
    ]
    assert losses[0] > losses[1] > 0.0
    assert losses[0] / losses[1] == pytest.approx(4.0, rel=0.1)


def test_a_centered_burn_loses_less() -> None:
    """At a periapsis; on a circle it makes no difference where the burn is lit."""
    r, v = circle(8.0e6)
    v = 1.15 * v
    engine = FiniteThrust(thrust_n=300.0, isp_s=312.0, mass_kg=540.0)
    centered, late = (finite_loss(r, v, 200.0, engine, GM, match="apoapsis", centered=mode) for mode in (True, False))
    assert 0.0 < centered < late


def test_a_burn_backwards_has_its_loss_too() -> None:
    r, v = circle(8.0e6)
    engine = FiniteThrust(thrust_n=300.0, isp_s=312.0, mass_kg=540.0)
    assert finite_loss(r, v, -200.0, engine, GM, match="periapsis") > 0.0


def test_a_reading_that_cannot_be_reached_is_an_error() -> None:
    """An impulse past escape speed has no finite period."""
    r, v = circle(8.0e6)
    with pytest.raises(FlightError, match="period"):
        finite_loss(r, v, 5000.0, FiniteThrust(thrust_n=3e4, isp_s=312.0, mass_kg=540.0), GM)
