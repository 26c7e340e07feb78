"""Patterns against published figures."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ringwright.models.orbits import period
from ringwright.models.patterns import Pattern

GM = 398600.4415e9
EARTH_RADIUS_M = 6378.137e3
# Ballard prints hundredths of a degree
TENTH = 0.05


def test_sixty_six_in_six_near_polar_planes() -> None:
    """66 craft in 6 planes at 780 km, 86.4 deg, planes 31.58 deg apart and 22.10 deg across the seam, about 9.1 minutes
    between neighbors in a plane (SeeSat-L list, satobs.org, Oct-1999/0202)."""
    spacing = math.radians(31.58)
    pattern = Pattern(total=66, planes=6, phasing=0, inclination_rad=math.radians(86.4), spread_rad=6.0 * spacing)
    nodes = np.degrees(pattern.nodes()[:: pattern.slots])
    assert np.diff(nodes) == pytest.approx([31.58] * 5)
    assert 180.0 - nodes[-1] == pytest.approx(22.10, abs=0.005)
    radius = EARTH_RADIUS_M + 780e3
    assert float(period(GM, radius)) / pattern.slots / 60.0 == pytest.approx(9.1, abs=TENTH)
    places = radius * pattern.directions()[: pattern.slots]
    # recomputed, not published
    assert np.linalg.norm(places[1] - places[0]) / 1e3 == pytest.approx(4033.360, abs=1e-3)
