"""Secular rates and special inclinations against published examples."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from ringwright.models.oblateness import secular_rates
from ringwright.models.scenario import Body

DAY_S = 86_400.0
CURTIS = Body(name="earth", gm=398_600e9, radius_m=6378e3, j2=1.08263e-3, j2_radius_m=6378e3, source="Curtis")
VALLADO = Body(
    name="earth",
    gm=398_600.4415e9,
    radius_m=6_378_136.3,
    j2=0.001082626174,
    j2_radius_m=6_378_136.3,
    source="Vallado, EGM-96",
)


CRITICAL_INCLINATION_RAD = math.asin(math.sqrt(0.8))
"""Where the line of apsides stands still: sin^2 i = 4/5 (Vallado 2013, section 9.6)."""


def sun_synchronous_inclination(body: Body, semi_major_m: float, eccentricity: float, rate_rad_s: float) -> float:
    """Where the node turns at that rate, by the rates that the planner uses."""

    def off(inclination_rad: float) -> float:
        return float(secular_rates(body, semi_major_m, eccentricity, inclination_rad).node_rad_s) - rate_rad_s

    return float(brentq(off, 0.5 * math.pi, math.pi, xtol=1e-14))


def semi_major(period_s: float, gm: float) -> float:
    return float((gm * (period_s / (2.0 * math.pi)) ** 2) ** (1.0 / 3.0))


def test_curtis_node_and_perigee_of_a_low_orbit() -> None:
    """Curtis, examples 4.7 and 4.8 (numbered by edition): 280 x 400 km, 51.43 deg; printed values from memory."""
    perigee, apogee = 6658e3, 6778e3
    a, e = 0.5 * (perigee + apogee), (apogee - perigee) / (apogee + perigee)
    rates = secular_rates(CURTIS, a, e, math.radians(51.43))
    assert math.degrees(rates.node_rad_s) * DAY_S == pytest.approx(-5.181, abs=1e-3)
    assert math.degrees(rates.periapsis_rad_s) * DAY_S == pytest.approx(3.920, abs=1e-3)


def test_curtis_sun_synchronous_circle() -> None:
    """Curtis, Sun-synchronous example: 100 min, 1.991e-7 rad/s; 758.63 km and 98.43 deg from memory."""
    a = semi_major(6000.0, CURTIS.gm)
    assert a / 1e3 - 6378.0 == pytest.approx(758.63, abs=0.01)
    assert math.degrees(sun_synchronous_inclination(CURTIS, a, 0.0, 1.991e-7)) == pytest.approx(98.43, abs=0.005)


def test_curtis_sun_synchronous_with_standing_apsides() -> None:
    """Curtis, same section: 3 h, 116.57 deg, eccentricity 0.3466 (from memory)."""
    a = semi_major(3.0 * 3600.0, CURTIS.gm)
    found = sun_synchronous_inclination(CURTIS, a, 0.3466, 1.991e-7)
    assert math.degrees(found) == pytest.approx(116.57, abs=0.01)
    assert secular_rates(CURTIS, a, 0.3466, math.pi - CRITICAL_INCLINATION_RAD).periapsis_rad_s == pytest.approx(
        0.0, abs=1e-18
    )


@pytest.mark.parametrize(("a_km", "e"), [(7178.1363, 0.0), (7179.82095, 0.02)])
def test_vallado_example_11_2_of_2013(a_km: float, e: float) -> None:
    """Vallado 2013, example 11-2 (author's published code): 98.627 deg.

    The code divides by a sidereal day of 86 164.0989037 s; days of 86 400 s, which the formula asks for, give 98.603.
    """
    sidereal = math.radians(360.0 / 365.2421897) / 86_164.0989037
    found = sun_synchronous_inclination(VALLADO, a_km * 1e3, e, sidereal)
    assert math.degrees(found) == pytest.approx(98.627, abs=5e-4)
    solar = math.radians(360.0 / 365.2421897) / DAY_S
    assert math.degrees(sun_synchronous_inclination(VALLADO, 7178.1363e3, 0.0, solar)) == pytest.approx(
        98.6031, abs=1e-4
    )


def test_vallado_example_11_2_of_2007() -> None:
    """Vallado 2007, example 11-2 (author's published code): 7346.84648 km at 98.6 deg and eccentricity 0.2.

    The same elements must give the inclination back, up to the seventh digit in which the editions' constants differ.
    """
    rate = math.radians(360.0 / 365.25) / DAY_S
    found = sun_synchronous_inclination(VALLADO, 7346.84648e3, 0.2, rate)
    assert math.degrees(found) == pytest.approx(98.6, abs=5e-5)


def test_low_orbit_against_sgp4() -> None:
    """Authority: the sgp4 library (Vallado, Crawford, Hujsak and Kelso 2006), which carries J4 and second-order terms.

    Elements of Vallado, examples 11-4 and 11-5. What the library has beyond first order is of the size of J2.
    """
    from sgp4.api import WGS72, Satrec

    body = Body(name="earth", gm=398_600.8e9, radius_m=6_378_135.0, j2=0.001082616, j2_radius_m=6_378_135.0)
    a, e, i = 6570.3358e3, 0.006301, math.radians(45.0)
    motion = math.sqrt(body.gm / a**3)
    record = Satrec()
    record.sgp4init(WGS72, "i", 1, 25_000.0, 0.0, 0.0, 0.0, e, 1.0, i, 0.5, motion * 60.0, 0.2)
    rates = secular_rates(body, a, e, i)
    for ours, theirs in (
        (rates.node_rad_s, record.nodedot),
        (rates.periapsis_rad_s, record.argpdot),
    ):
        assert float(ours) == pytest.approx(theirs / 60.0, rel=5e-3)


def test_encyclopedia_table_of_sun_synchronous_orbits() -> None:
    """Encyclopedia article "Sun-synchronous orbit": 7200 km 98.7 deg; 88 min 96 deg; limit 12 352 km at 180 deg.

    The article takes 1.99096871e-7 rad/s.
    """
    rate = 1.99096871e-7
    earth = Body(name="earth", gm=398_600.440e9, radius_m=6378.137e3, j2=1.08262668e-3, j2_radius_m=6378.137e3)
    assert math.degrees(sun_synchronous_inclination(earth, 7200e3, 0.0, rate)) == pytest.approx(98.7, abs=0.05)
    low = semi_major(88.0 * 60.0, earth.gm)
    assert math.degrees(sun_synchronous_inclination(earth, low, 0.0, rate)) == pytest.approx(96.0, abs=0.5)
    assert math.degrees(sun_synchronous_inclination(earth, 12_352e3, 0.0, rate)) == pytest.approx(180.0, abs=2.0)
    assert secular_rates(earth, 12_353e3, 0.0, math.pi).node_rad_s < rate


def test_critical_inclination() -> None:
    """Weber, Orbital Mechanics and Astrodynamics, chapter 4.7: 63.4 and 116.6 deg."""
    both = np.degrees([CRITICAL_INCLINATION_RAD, math.pi - CRITICAL_INCLINATION_RAD])
    assert both == pytest.approx([63.4, 116.6], abs=0.05)
    still = secular_rates(CURTIS, 8000e3, 0.1, np.radians(both)).periapsis_rad_s
    assert still == pytest.approx([0.0, 0.0], abs=1e-12)
