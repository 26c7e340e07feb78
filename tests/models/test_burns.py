"""The rocket equation both ways."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringwright.models import burns
from ringwright.tests.tolerances import CHAIN_REL, ROADS_REL


@settings(derandomize=True, deadline=None, max_examples=60)
@given(
    mass=st.floats(1.0, 1e6), delta_v=st.floats(1e-3, 9000.0), isp=st.floats(50.0, 4000.0), thrust=st.floats(0.1, 1e6)
)
def test_rocket_equation_both_ways(mass: float, delta_v: float, isp: float, thrust: float) -> None:
    used = burns.propellant_used(mass, delta_v, isp)
    after = burns.mass_after(mass, delta_v, isp)
    assert mass - used == pytest.approx(float(after), rel=CHAIN_REL, abs=CHAIN_REL * mass)
    assert burns.delta_v_available(mass, used, isp) == pytest.approx(delta_v, rel=ROADS_REL)
    assert burns.propellant_needed(after, delta_v, isp) == pytest.approx(float(used), rel=ROADS_REL)
    # thrust is mass flow times exhaust speed
    lasting = burns.burn_duration(mass, delta_v, isp, thrust)
    assert lasting * thrust / burns.exhaust_speed(isp) == pytest.approx(float(used), rel=CHAIN_REL)


def test_burns_add_up() -> None:
    """Two burns spend what one of their sum does."""
    first = burns.propellant_used(540.0, 60.0, 312.0)
    second = burns.propellant_used(540.0 - first, 40.0, 312.0)
    assert first + second == pytest.approx(float(burns.propellant_used(540.0, 100.0, 312.0)), rel=CHAIN_REL)


def test_arrays_broadcast() -> None:
    sizes = np.array([0.0, 10.0, 100.0])
    masses = np.array([[300.0], [600.0]])
    used = burns.propellant_used(masses, sizes, 312.0)
    assert used.shape == (2, 3)
    assert used[:, 0].tolist() == [0.0, 0.0]
    assert used[1] == pytest.approx(2.0 * used[0])
