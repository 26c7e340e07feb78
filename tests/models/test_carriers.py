"""Carrier orbits flown pass by pass, and their limits counted by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ringwright.models import kepler
from ringwright.models.carriers import CarrierOrbits, carrier_orbits
from ringwright.models.errors import InputError
from ringwright.models.ring import Ring

GM = 9.1205e12
RADIUS_M = 4.0e6
SPEED_M_S = math.sqrt(GM / RADIUS_M)
SPEED_TOLERANCE_M_S = 1e-9
# rounding of some tens of passes, against slots hundreds of kilometers apart
FLOWN_TOLERANCE_M = 0.1
WHOLE = 1e-12


def ring(slots: int) -> Ring:
    return Ring(radius_m=RADIUS_M, slots=slots, rate_rad_s=math.sqrt(GM / RADIUS_M**3), slot0_rad=0.4, gm=GM)


def options(
    slots: int, *, arrival_speed_m_s: float = 0.5 * SPEED_M_S, floor_m: float = 1.3e6, ceiling_m: float = 1.2e7
) -> CarrierOrbits:
    return carrier_orbits(ring(slots), arrival_speed_m_s=arrival_speed_m_s, floor_m=floor_m, ceiling_m=ceiling_m)


@pytest.mark.parametrize("slots", [3, 4, 5, 6, 8, 12])
def test_every_pass_or_every_few_finds_another_slot_in_flight(slots: int) -> None:
    """The carrier flown by Kepler's law from slot 2: on such a pass it is where the slot ``step`` places back is."""
    found = options(slots)
    parts = found.ratio[:, None] * slots * np.array([1, 2, 3])
    skips = 1 + np.argmax(np.abs(parts - np.rint(parts)) < WHOLE, axis=1)
    assert set(skips.tolist()) == {1, 2, 3}
    where = ring(slots)
    step = np.rint(found.ratio * slots * skips).astype(np.int64)
    assert step.size > 1
    assert (found.ratio < 1.0).any()
    assert (found.ratio > 1.0).any()
    start = 0.4 + 2 * where.spacing_rad
    position = RADIUS_M * np.array([math.cos(start), math.sin(start)])
    ahead = np.array([-math.sin(start), math.cos(start)])
    assert found.ratio == pytest.approx(step / (skips * slots), rel=WHOLE)
    for back, entry in zip(step.tolist(), found.entry_delta_v_m_s.tolist(), strict=True):
        # every orbit is faster at the ring than the arrival
        speed = 0.5 * SPEED_M_S + entry
        order = (2 - back * np.arange(slots)) % slots
        if math.gcd(back, slots) == 1:
            assert sorted(order.tolist()) == list(range(slots))
        times = np.arange(slots) * back / slots * where.period_s
        there, _ = kepler.propagate(
            np.broadcast_to(position, (slots, 2)), np.broadcast_to(speed * ahead, (slots, 2)), times, GM
        )
        angle = where.phase(times, order)
        slot = RADIUS_M * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
        assert np.max(np.abs(there - slot)) < FLOWN_TOLERANCE_M


def test_enumeration_is_complete_within_the_limits() -> None:
    """Six slots, by hand: p from the floor up, and up to the ceiling."""
    apsis = {p: RADIUS_M * (2.0 * (p / 6) ** (2 / 3) - 1.0) for p in range(1, 60) if p != 6}
    expected = [p for p, other in apsis.items() if 1.3e6 <= other <= 1.2e7]
    assert expected
    # and nearer to the ring than 5/6 and 7/6, on every second or third pass
    between = [16 / 18, 11 / 12, 17 / 18, 19 / 18, 13 / 12, 20 / 18]
    assert options(6).ratio == pytest.approx(sorted([p / 6 for p in expected] + between), rel=WHOLE)


def test_entry_is_the_difference_of_speeds_at_the_ring() -> None:
    """Vis-viva at the ring for each period, by hand."""
    found = options(12, arrival_speed_m_s=0.80 * SPEED_M_S)
    semi = RADIUS_M * found.ratio ** (2 / 3)
    speed = np.sqrt(GM * (2.0 / RADIUS_M - 1.0 / semi))
    assert found.ratio.size > 3
    assert found.entry_delta_v_m_s == pytest.approx(np.abs(speed - 0.80 * SPEED_M_S), abs=SPEED_TOLERANCE_M_S)


def test_limits_forbid_and_none_may_fit() -> None:
    assert options(4, floor_m=RADIUS_M - 1.0, ceiling_m=RADIUS_M + 1.0).ratio.size == 0
    assert options(4, floor_m=RADIUS_M - 1.0).ratio.min() > 1.0
    assert options(4, ceiling_m=RADIUS_M).ratio.max() < 1.0
    # an orbit above a ring that is itself under the floor has its periapsis there
    assert options(4, floor_m=RADIUS_M + 1.0).ratio.size == 0
    exactly = RADIUS_M * (2.0 * (7 / 4) ** (2 / 3) - 1.0)
    assert 7 / 4 in options(4, ceiling_m=exactly * (1.0 + 1e-12)).ratio
    assert 7 / 4 not in options(4, ceiling_m=exactly * (1.0 - 1e-12)).ratio


def test_no_ceiling_is_refused() -> None:
    with pytest.raises(InputError, match="need a ceiling"):
        options(4, ceiling_m=math.inf)
