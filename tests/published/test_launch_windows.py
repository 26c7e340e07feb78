"""Launch azimuths and windows against textbooks and a worked public computation."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ringwright.models.azimuth import azimuth_of_least_tilt, ground_azimuth
from ringwright.models.site_and_plane import SiteAndPlane
from ringwright.models.windows import passes

SIDEREAL_DAY_S = 86164.0905
# sources print azimuths to a tenth of a degree
PRINTED_TENTH_DEG = 0.05
# recomputed digits, from memory or with the source's output unseen
RECOMPUTED_DEG = 1e-4
RECOMPUTED_H = 1e-3


def place(latitude_deg: float, inclination_deg: float) -> SiteAndPlane:
    return SiteAndPlane(
        latitude_rad=math.radians(latitude_deg),
        site0_rad=0.0,
        spin_rad_s=2.0 * math.pi / SIDEREAL_DAY_S,
        inclination_rad=math.radians(inclination_deg),
    )


def azimuths_deg(latitude_deg: float, inclination_deg: float) -> tuple[float, float]:
    """Ascending and descending inertial azimuth, deg."""
    found = passes(place(latitude_deg, inclination_deg), 0.0, SIDEREAL_DAY_S - 1.0)
    up = found.azimuth_rad[found.ascending]
    down = found.azimuth_rad[~found.ascending]
    return math.degrees(up[0]), math.degrees(down[0])


def test_kluever_example_3_3() -> None:
    """Kluever 2018, *Space Flight Dynamics*, Ex 3.3: inputs; output not seen, recomputed: sin(az) = cos i / cos lat."""
    ascending, descending = azimuths_deg(28.5, 51.65)
    assert ascending == pytest.approx(44.9121, abs=RECOMPUTED_DEG)
    assert descending == pytest.approx(180.0 - 44.9121, abs=RECOMPUTED_DEG)


@pytest.mark.parametrize(("latitude", "azimuth"), [(28.5, 45.0), (45.9, 63.2)])
def test_azimuths_to_an_inclination_of_51_6(latitude: float, azimuth: float) -> None:
    """Values of the trade for two sites, from memory."""
    assert azimuths_deg(latitude, 51.6)[0] == pytest.approx(azimuth, abs=PRINTED_TENTH_DEG)


def test_azimuth_over_the_turning_ground() -> None:
    """28.5 deg to 51.6 deg at 7730 m/s, equatorial ground speed 465.101 m/s: about 42.8 deg, from memory."""
    inertial = math.radians(azimuths_deg(28.5, 51.6)[0])
    azimuth, _ = ground_azimuth(inertial, 7730.0, 465.101 * math.cos(math.radians(28.5)))
    assert math.degrees(azimuth) == pytest.approx(42.8, abs=PRINTED_TENTH_DEG + 0.001)
    assert math.degrees(azimuth) == pytest.approx(42.74985, abs=RECOMPUTED_DEG)


def test_retrograde_launch_southward() -> None:
    """Larson and Wertz, *Space Mission Analysis and Design*, 3rd ed., eq. 6-42c, as worked by T. Molczan on the
    SeeSat-L list (satobs.org, Apr-2012/0019): latitude 39.66, inclination 97.42: 189.7 deg inertial, 192.3 over the
    ground, both printed; 465.5 m/s at the equator; a circular speed of 7613 m/s (500 km), which he does not print."""
    _, descending = azimuths_deg(39.66, 97.42)
    assert descending == pytest.approx(189.7, abs=PRINTED_TENTH_DEG)
    azimuth, _ = ground_azimuth(math.radians(descending), 7613.0, 465.5 * math.cos(math.radians(39.66)))
    assert math.degrees(azimuth) == pytest.approx(192.3, abs=PRINTED_TENTH_DEG)


def test_inclination_from_an_azimuth() -> None:
    """Same thread: azimuth 192.3 deg from latitude 39.66 deg makes an inclination of 99.44 deg (printed)."""
    assert azimuths_deg(39.66, 99.44)[1] == pytest.approx(192.3, abs=PRINTED_TENTH_DEG)


def test_two_windows_a_sidereal_day() -> None:
    """28.5 deg and 51.6 deg: passes at asin(tan lat / tan i) = 25.48923 deg past the node and as much before the next
    (Larson and Wertz, section 6.4); gaps 8.578 h and 15.357 h, derived, not printed there."""
    found = passes(place(28.5, 51.6), 0.0, 2.0 * SIDEREAL_DAY_S)
    first = found.time_s[0] / SIDEREAL_DAY_S * 360.0
    assert first == pytest.approx(25.48923, abs=1e-5)
    assert found.ascending.tolist() == [True, False, True, False]
    gaps = np.diff(found.time_s) / 3600.0
    assert gaps == pytest.approx([8.578, 15.357, 8.578], abs=RECOMPUTED_H)
    assert float(found.time_s[2] - found.time_s[0]) == pytest.approx(SIDEREAL_DAY_S, abs=1e-6)


def test_no_azimuth_reaches_below_the_latitude() -> None:
    """The least inclination from a site is its latitude, launched due east (Larson and Wertz, section 6.4)."""
    found = passes(place(28.5, 28.5), 0.0, SIDEREAL_DAY_S)
    assert np.degrees(found.azimuth_rad) == pytest.approx([90.0], abs=1e-6)
    assert passes(place(28.5, 28.4), 0.0, SIDEREAL_DAY_S).time_s.size == 0
    assert math.degrees(passes(place(28.5, 28.4), 0.0, 1.0).least_angle_rad) == pytest.approx(0.1)
    assert math.degrees(float(azimuth_of_least_tilt(place(28.5, 28.4), found.time_s[0]))) == pytest.approx(90.0)
