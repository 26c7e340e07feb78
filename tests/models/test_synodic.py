"""Circles off the ring against it: a published wait, and what two craft on their circles do."""

from __future__ import annotations

import math

import pytest

from ringwright.models import orbits
from ringwright.models.ring import Ring
from ringwright.models.scenario import Body
from ringwright.models.synodic import waiting
from ringwright.tests.tolerances import CHAIN_REL, FLOAT_RAD, SIX_DECIMALS, SUMMED_M_S

GM = 398600.4418e9
ROUND = Body(name="round", gm=GM, radius_m=6378.137e3)


def ring_at(radius_m: float, body: Body = ROUND, slots: int = 4) -> Ring:
    rate = float(orbits.rate(body.gm, radius_m))
    return Ring(radius_m=radius_m, slots=slots, rate_rad_s=rate, slot0_rad=0.0, gm=body.gm)


def test_vallado_example_6_9() -> None:
    """Vallado 2013, Example 6-9; the wait is that of the errata of the fourth edition, the target 20 deg in front."""
    found = waiting(ROUND, ring_at(42159.48e3), 12756.274e3)
    assert math.degrees(found.lead_rad) == pytest.approx(85.391519024, abs=SIX_DECIMALS)
    assert found.transfer_m_s == pytest.approx(2315.710041663, abs=SUMMED_M_S)
    assert found.transfer_s / 60.0 == pytest.approx(377.33767351, abs=SIX_DECIMALS)
    assert found.wait_s(math.radians(20.0)) / 60.0 == pytest.approx(234.6110205, abs=SIX_DECIMALS)
    assert found.wait_s(math.radians(-20.0)) / 60.0 == pytest.approx(202.7570807, abs=SIX_DECIMALS)


@pytest.mark.parametrize("radius_km", [11_000.0, 14_000.0])
@pytest.mark.parametrize("lead_deg", [0.0, 91.0, 200.0, 359.0])
def test_the_transfer_arrives_at_the_slot(radius_km: float, lead_deg: float) -> None:
    """Both moved on by Kepler's third law: half a turn after the wait craft and slot are at one angle."""
    ring = ring_at(12_500e3)
    found = waiting(ROUND, ring, radius_km * 1e3)
    wait = found.wait_s(math.radians(lead_deg))
    assert 0.0 <= wait < found.synodic_s
    craft = math.sqrt(GM / (radius_km * 1e3) ** 3) * wait + math.pi
    slot = math.radians(lead_deg) + math.sqrt(GM / 12_500e3**3) * (wait + found.transfer_s)
    assert math.remainder(craft - slot, 2.0 * math.pi) == pytest.approx(0.0, abs=FLOAT_RAD)


def test_the_synodic_period_is_that_of_the_periods() -> None:
    """1 / S = 1 / P1 - 1 / P2 (Curtis 2020, section 8.3, of planets)."""
    low, high = (2.0 * math.pi * math.sqrt((r * 1e3) ** 3 / GM) for r in (11_000.0, 12_500.0))
    found = waiting(ROUND, ring_at(12_500e3), 11_000e3)
    assert found.synodic_s == pytest.approx(1.0 / (1.0 / low - 1.0 / high), rel=CHAIN_REL)
    with pytest.raises(ValueError, match="waits for no pass"):
        waiting(ROUND, ring_at(12_500e3), 12_500e3)


def test_a_spare_stands_in_the_middle_of_its_gap() -> None:
    uneven = Ring(radius_m=1.0, slots=3, rate_rad_s=1.0, slot0_rad=0.1, gm=1.0, pattern_rad=(0.0, 1.0, 2.0))
    assert uneven.midway(0) == pytest.approx(0.6)
    assert uneven.midway(2) == pytest.approx((0.1 + 0.5 * (2.0 + 2.0 * math.pi)) % (2.0 * math.pi))
    assert ring_at(1.0, slots=1).midway(0) == pytest.approx(math.pi)
