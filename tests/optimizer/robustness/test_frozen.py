"""The frozen orbit beside a circle, for rings of the Earth and elsewhere."""

from __future__ import annotations

import math

import pytest

from ringwright.models import bodies
from ringwright.models.ring import Ring
from ringwright.optimizer.robustness.frozen import CALMER, frozen
from ringwright.tests.tolerances import ESTIMATED_REL


def _ring(radius_m: float, inclination_deg: float) -> Ring:
    return Ring(
        radius_m=radius_m,
        slots=3,
        rate_rad_s=1e-3,
        slot0_rad=0.0,
        gm=bodies.body("earth").gm,
        inclination_rad=math.radians(inclination_deg),
    )


def test_a_frozen_orbit_is_calmer_than_a_circle() -> None:
    found = frozen(bodies.body("earth"), _ring(7.168e6, 98.5))
    assert found is not None
    # Cutting and others 1978 (from memory): about 0.001, the periapsis at 90 deg
    assert found.eccentricity == pytest.approx(1e-3, rel=ESTIMATED_REL)
    assert found.ahead
    assert found.moves < CALMER * found.circle_grows
    assert found.circle_grows > found.eccentricity


def test_there_is_none_over_the_equator_nor_at_63_deg() -> None:
    assert frozen(bodies.body("earth"), _ring(7.168e6, 0.0)) is None
    assert frozen(bodies.body("earth"), _ring(7.168e6, 63.4)) is None
    assert frozen(bodies.body("venus"), _ring(7.168e6, 90.0)) is None
