"""Densities of the air of built-in bodies, against the published models that their tables are of."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest

from ringwright.models.missing_forces import density_kg_m3

BETWEEN_REL = 0.08
"""Piecewise exponential layers against the smooth curve, between two nodes."""
PRINTED_REL = 2e-3
"""Tables are kept to four digits."""
EARTH_REL = 1e-9


@pytest.mark.parametrize(
    ("altitude_km", "density"),
    # Vallado 2013, table 8-4 (values as printed in public programs)
    [(150.0, 2.070e-9), (200.0, 2.789e-10), (400.0, 3.725e-12), (600.0, 1.454e-13), (1000.0, 3.019e-15)],
)
def test_earth(altitude_km: float, density: float) -> None:
    assert density_kg_m3("earth", altitude_km * 1e3) == pytest.approx(density, rel=EARTH_REL)


VIRA_DEG = (15.0, 34.0, 61.0, 90.0, 119.0, 146.0, 165.0)
VIRA = {
    150.0: (9.94e-10, 6.80e-10, 5.48e-10, 1.41e-10, 4.73e-11, 4.65e-11, 3.42e-11),
    155.0: (4.50e-10, 3.19e-10, 2.55e-10, 6.22e-11, 2.22e-11, 2.06e-11, 1.51e-11),
    200.0: (5.94e-12, 5.32e-12, 4.26e-12, 9.88e-13, 3.44e-13, 1.77e-13, 8.49e-14),
    225.0: (1.28e-12, 1.20e-12, 9.78e-13, 1.93e-13, 1.53e-13, 7.62e-14, 2.86e-14),
    250.0: (3.12e-13, 3.00e-13, 2.49e-13, 5.06e-14, 9.32e-14, 4.60e-14, 1.79e-14),
}
"""kg/m^3 at solar zenith angles, Venus International Reference Atmosphere (Keating et al. 1985, Adv. Space Res. 5(11),
117; values as in public code)."""


@pytest.mark.parametrize("altitude_km", VIRA)
def test_venus_is_the_mean_over_the_sphere(altitude_km: float) -> None:
    middle = [0.5 * (one + two) for one, two in pairwise(VIRA_DEG)]
    cosines = np.cos(np.radians([0.0, *middle, 180.0]))
    mean = float(0.5 * (cosines[:-1] - cosines[1:]) @ np.array(VIRA[altitude_km]))
    node = altitude_km in (150.0, 200.0, 250.0)
    assert density_kg_m3("venus", altitude_km * 1e3) == pytest.approx(mean, rel=PRINTED_REL if node else BETWEEN_REL)


@pytest.mark.parametrize("altitude_km", [120.0, 135.0, 160.0, 190.0, 200.0, 230.0, 270.0, 300.0])
def test_mars(altitude_km: float) -> None:
    """A fit of degree 5, in km and kg/m^3 (coefficients as in public code, said to be of the COSPAR model; its source
    from memory)."""
    low = (-2.55314e-10, 2.31927e-7, -8.33206e-5, 0.0151947, -1.52799, 48.69659)
    high = (2.65472e-11, -2.45558e-8, 6.31410e-6, 4.73359e-4, -0.443712, 23.79408)
    fit = math.exp(float(np.polyval(low if altitude_km <= 200.0 else high, altitude_km)))
    node = altitude_km in (120.0, 160.0, 200.0, 300.0)
    assert density_kg_m3("mars", altitude_km * 1e3) == pytest.approx(fit, rel=PRINTED_REL if node else BETWEEN_REL)


@pytest.mark.parametrize(
    ("altitude_km", "grams_cm3"),
    # recommended model of Yelle et al. 1997, ESA SP-1177, 243 (values as in public code)
    [(600.0, 3.59453e-10), (850.0, 3.23488e-12), (1000.0, 3.89884e-13), (1250.0, 1.76655e-14), (1500.0, 1.26093e-15),
     (1700.0, 2.15179e-16), (2000.0, 2.61383e-17)],
)  # fmt: skip
def test_titan(altitude_km: float, grams_cm3: float) -> None:
    node = altitude_km in (600.0, 1000.0, 1500.0, 2000.0)
    found = density_kg_m3("titan", altitude_km * 1e3)
    assert found == pytest.approx(1e3 * grams_cm3, rel=PRINTED_REL if node else BETWEEN_REL)
