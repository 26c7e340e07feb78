"""Nodes of circles to second order in J2, against the formulas that Brouwer printed.

Brouwer 1959, Solution of the problem of artificial satellite theory without drag, Astronomical Journal 64, 378: secular
rates of mean anomaly, argument of perigee and node, his section on the results; the node's second-order term is also
that of the sgp4 library (Hoots and Roehrich 1980), whose part in J4 is left out here. Written down from memory; the
flight of tests/models/test_oblateness.py is a third road.
"""

from __future__ import annotations

import math

import pytest
from scipy.optimize import brentq

from ringwright.models.bodies import body
from ringwright.models.oblateness import circle_rates

THIRD_ORDER = 20.0
"""Both series stop at the second order: they differ by some eps^3 n, eps = J2 (Re / R)^2."""


def brouwer(j2: float, size_m: float, gm: float, mean_m: float, theta: float) -> tuple[float, float]:
    """Rates of argument of latitude and node at zero eccentricity, for a mean semi-major axis; theta = cos i."""
    motion, gamma = math.sqrt(gm / mean_m**3), 0.5 * j2 * (size_m / mean_m) ** 2
    anomaly = 1.0 + 1.5 * gamma * (3.0 * theta**2 - 1.0)
    anomaly += 3.0 / 32.0 * gamma**2 * (26.0 - 156.0 * theta**2 + 274.0 * theta**4)
    perigee = 1.5 * gamma * (5.0 * theta**2 - 1.0)
    perigee += 3.0 / 32.0 * gamma**2 * (14.0 - 228.0 * theta**2 + 790.0 * theta**4)
    node = -3.0 * gamma * theta + 0.375 * gamma**2 * (16.0 * theta - 76.0 * theta**3)
    return motion * (anomaly + perigee), motion * node


@pytest.mark.parametrize("inclination_deg", [10.0, 53.0, 63.4, 72.0, 98.0, 140.0])
@pytest.mark.parametrize("altitude_km", [300.0, 800.0, 2000.0, 20000.0])
def test_nodes_of_circles_against_brouwer(altitude_km: float, inclination_deg: float) -> None:
    earth = body("earth")
    radius = earth.radius_m + 1e3 * altitude_km
    theta = math.cos(math.radians(inclination_deg))
    rate, node_rate = (float(part) for part in circle_rates(earth, radius, math.radians(inclination_deg)))

    def off(mean_m: float) -> float:
        return brouwer(earth.j2, earth.j2_radius_m, earth.gm, mean_m, theta)[0] / rate - 1.0

    mean_m = float(brentq(off, 0.9 * radius, 1.1 * radius, xtol=1e-6))
    eps = earth.j2 * (earth.j2_radius_m / radius) ** 2
    n = math.sqrt(earth.gm / radius**3)
    # the mean semi-major axis that the radius stands for
    assert mean_m == pytest.approx(radius * (1.0 - 0.75 * eps * (1.0 - 3.0 * theta**2)), rel=THIRD_ORDER * eps**2)
    expected = brouwer(earth.j2, earth.j2_radius_m, earth.gm, mean_m, theta)[1]
    assert abs(node_rate - expected) < THIRD_ORDER * eps**3 * n
    first_order = -1.5 * eps * n * theta
    assert abs(first_order - expected) > 20.0 * abs(node_rate - expected)
