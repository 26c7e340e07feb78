"""Leaving a synchronous ring of the Earth: the raise of the rule and what it costs."""

from __future__ import annotations

import math

import pytest

from ringwright.models.bodies import body
from ringwright.models.disposal import is_kept_free, lowering_m_s, raise_m, raising_m_s

GM = 3.986004418e14  # WGS 84
DAY_S = 86_164.0905
RADIUS_M = 6.378137e6
SYNCHRONOUS_M = float((GM * (DAY_S / (2.0 * math.pi)) ** 2) ** (1.0 / 3.0))
LAST_M_S = 5e-4
"""Half of the last digit of the recomputed values, and what another GM moves."""


def test_raise_is_that_of_the_rule() -> None:
    """ISO 24113 and ESA's rule text, printed by Colombo and Gkolias 2017: 235 km + 1000 km Cr A / m."""
    assert raise_m(0.0) == 235e3
    assert raise_m(1.3 * 0.01) == pytest.approx(235e3 + 1000.0 * 1000.0 * 1.3 * 0.01)


def test_costs_of_leaving() -> None:
    """About 11 m/s for 300 km, and about 1500 m/s down (several sources); further digits recomputed by hand."""
    assert raising_m_s(GM, SYNCHRONOUS_M, SYNCHRONOUS_M + 235e3) == pytest.approx(8.5326, abs=LAST_M_S)
    assert raising_m_s(GM, SYNCHRONOUS_M, SYNCHRONOUS_M + 300e3) == pytest.approx(10.8801, abs=LAST_M_S)
    assert lowering_m_s(GM, SYNCHRONOUS_M, RADIUS_M) == pytest.approx(1498.505, abs=0.05)


def test_only_synchronous_circles_of_the_earth_are_kept_free() -> None:
    earth = body("earth")
    assert is_kept_free(earth, SYNCHRONOUS_M, math.radians(10.0))
    assert not is_kept_free(earth, SYNCHRONOUS_M, math.radians(20.0))
    assert not is_kept_free(earth, SYNCHRONOUS_M + 300e3, 0.0)
    mars = body("mars")
    over_mars = float((mars.gm * (mars.sidereal_day_s / (2.0 * math.pi)) ** 2) ** (1.0 / 3.0))
    assert not is_kept_free(mars, over_mars, 0.0)
