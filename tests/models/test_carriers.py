"""Carrier orbits flown pass by pass, and the residue rule against counting."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringwright.models import kepler
from ringwright.models.carriers import (
    CarrierOrbits,
    carrier_orbits,
    reached,
    slot_at_pass,
)
from ringwright.models.errors import InputError
from ringwright.models.ring import Ring

GM = 9.1205e12
RADIUS_M = 4.0e6
SPEED_M_S = math.sqrt(GM / RADIUS_M)
SPEED_TOLERANCE_M_S = 1e-9
# rounding of some tens of passes, against slots hundreds of kilometers apart
FLOWN_TOLERANCE_M = 0.1


def ring(slots: int) -> Ring:
    return Ring(radius_m=RADIUS_M, slots=slots, rate_rad_s=math.sqrt(GM / RADIUS_M**3), slot0_rad=0.4, gm=GM)


def options(slots: int, **other: object) -> CarrierOrbits:
    values: dict[str, object] = {
        "arrival_speed_m_s": 0.8 * SPEED_M_S,
        "floor_m": 1.3e6,
        "ceiling_m": 1.2e7,
        "every_max": 3,
    } | other
    return carrier_orbits(ring(slots), **values)  # type: ignore[arg-type]


@pytest.mark.parametrize("slots", [3, 4, 5, 6, 8, 12])
def test_every_drop_finds_its_own_slot_in_flight(slots: int) -> None:
    """The carrier flown by Kepler's law from a slot: on each drop it is where the slot of that drop is."""
    found = options(slots)
    assert found.step.size > 1
    assert found.below.any()
    assert not found.below.all()
    where = ring(slots)
    start = 0.4 + 2 * where.spacing_rad
    position = RADIUS_M * np.array([math.cos(start), math.sin(start)])
    ahead = np.array([-math.sin(start), math.cos(start)])
    for row in range(found.step.size):
        sense = -1.0 if found.below[row] else 1.0
        speed = SPEED_M_S + sense * float(found.craft_delta_v_m_s[row])
        order = slot_at_pass(2, int(found.step[row]), int(found.every[row]) * np.arange(slots), slots)
        assert sorted(order.tolist()) == list(range(slots))
        times = np.asarray(np.arange(slots) * float(found.drop_every_s[row]), dtype=np.float64)
        assert times[-1] == pytest.approx(float(found.last_drop_s[row]))
        there, _ = kepler.propagate(
            np.broadcast_to(position, (slots, 2)), np.broadcast_to(speed * ahead, (slots, 2)), times, GM
        )
        angle = where.phase(times, order)
        slot = RADIUS_M * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
        assert np.max(np.abs(there - slot)) < FLOWN_TOLERANCE_M
        opposite, _ = kepler.propagate(position, speed * ahead, 0.5 * float(found.period_s[row]), GM)
        assert float(np.linalg.norm(opposite)) == pytest.approx(float(found.other_m[row]), abs=FLOWN_TOLERANCE_M)


@settings(derandomize=True, deadline=None, max_examples=150)
@given(slots=st.integers(1, 40), step=st.integers(1, 60), every=st.integers(1, 6), first=st.integers(0, 39))
def test_residue_rule_against_counting(slots: int, step: int, every: int, first: int) -> None:
    seen = {(first - step * every * k) % slots for k in range(slots)}
    assert int(reached(step, every, slots)) == len(seen)
    assert (int(reached(step, every, slots)) == slots) == (math.gcd(every * step, slots) == 1)
    passing = slot_at_pass(first, step, np.arange(slots), slots).tolist()
    assert passing == [(first - step * number) % slots for number in range(slots)]


def test_enumeration_is_complete_within_the_limits() -> None:
    """Six slots, by hand: p from the floor up, and up to the ceiling, prime to 6 together with l."""
    found = options(6)
    expected = set()
    for p in range(1, 60):
        other = RADIUS_M * (2.0 * (p / 6) ** (2 / 3) - 1.0)
        for every in (1, 2, 3):
            if p != 6 and 1.3e6 <= other <= 1.2e7 and math.gcd(every * p, 6) == 1:
                expected.add((p, every))
    assert set(zip(found.step.tolist(), found.every.tolist(), strict=True)) == expected
    assert {int(step) for step in found.step} == {5, 7, 11, 13}
    assert np.all(np.diff(found.drop_every_s) >= 0.0)
    assert np.array_equal(found.below, found.step < 6)
    assert found.period_s == pytest.approx(found.step / 6 * ring(6).period_s)


def test_from_below_a_carrier_moves_the_cost_and_saves_nothing() -> None:
    """Arriving slower than its orbit, the carrier pays what each of its craft no longer pays."""
    found = options(12, arrival_speed_m_s=0.80 * SPEED_M_S, drops=5)
    each = found.entry_delta_v_m_s + found.craft_delta_v_m_s
    faster = found.below & (found.craft_delta_v_m_s <= 0.2 * SPEED_M_S)
    slower = found.below & ~faster
    above = ~found.below
    assert faster.sum() >= 2
    assert slower.any()
    assert above.any()
    assert each[faster] == pytest.approx(np.full(faster.sum(), 0.2 * SPEED_M_S), abs=SPEED_TOLERANCE_M_S)
    # short of the arrival speed, or past the circle, twice the excess is lost
    short = found.craft_delta_v_m_s[slower] - 0.2 * SPEED_M_S
    assert each[slower] == pytest.approx(0.2 * SPEED_M_S + 2.0 * short, abs=SPEED_TOLERANCE_M_S)
    past = found.craft_delta_v_m_s[above]
    assert each[above] == pytest.approx(0.2 * SPEED_M_S + 2.0 * past, abs=SPEED_TOLERANCE_M_S)
    assert found.delta_v_m_s == pytest.approx(found.entry_delta_v_m_s + 5 * found.craft_delta_v_m_s)


def test_leaving_the_ring_is_the_carriers_own_burn() -> None:
    lowered = 0.99 * RADIUS_M
    found, stays = options(5, leave_m=lowered), options(5)
    assert not stays.exit_delta_v_m_s.any()
    assert np.all(found.exit_delta_v_m_s > 0.0)
    assert found.carrier_delta_v_m_s == pytest.approx(stays.carrier_delta_v_m_s + found.exit_delta_v_m_s)
    assert np.array_equal(found.craft_delta_v_m_s, stays.craft_delta_v_m_s)
    row = int(np.flatnonzero(found.below)[0])
    other = float(found.other_m[row])
    before = math.sqrt(GM * (2.0 / other - 2.0 / (other + RADIUS_M)))
    after = math.sqrt(GM * (2.0 / other - 2.0 / (other + lowered)))
    assert float(found.exit_delta_v_m_s[row]) == pytest.approx(before - after, abs=1e-6)


def test_meetings_are_counted_pass_by_pass() -> None:
    for slots, drops in ((5, 5), (7, 4), (8, 8), (9, 9)):
        found = options(slots, drops=drops)
        for row in range(found.step.size):
            step, every = int(found.step[row]), int(found.every[row])
            filled, met = {0}, 0
            for number in range(1, every * (drops - 1) + 1):
                here = -step * number % slots
                met += here in filled
                if number % every == 0:
                    filled.add(here)
            assert int(found.meetings[row]) == met
        assert not found.meetings[found.every == 1].any()
    # drops of five slots on every second pass: the odd passes come to slots filled before
    assert options(5).meetings[options(5).every == 2].any()


def test_fewer_craft_than_slots_leave_more_orbits() -> None:
    """Six slots, three craft: p = 4 reaches every second slot, which is enough."""
    assert 4 not in options(6).step
    half = options(6, drops=3, every_max=1, floor_m=0.5e6)
    assert 4 in half.step
    assert half.reached[half.step == 4].tolist() == [3]


def test_limits_forbid_and_none_may_fit() -> None:
    assert options(4, floor_m=RADIUS_M - 1.0, ceiling_m=RADIUS_M + 1.0).step.size == 0
    assert options(4, floor_m=RADIUS_M - 1.0).below.sum() == 0
    assert options(4, ceiling_m=RADIUS_M).below.all()
    assert options(5, ceiling_m=math.inf, step_max=9).step.max() == 9
    # an orbit above a ring that is itself under the floor has its periapsis there
    assert options(4, floor_m=RADIUS_M + 1.0).step.size == 0
    exactly = RADIUS_M * (2.0 * (7 / 4) ** (2 / 3) - 1.0)
    assert 7 in options(4, ceiling_m=exactly * (1.0 + 1e-12)).step
    assert 7 not in options(4, ceiling_m=exactly * (1.0 - 1e-12)).step


def test_questions_without_an_answer_are_refused() -> None:
    with pytest.raises(InputError, match="1 to 4"):
        options(4, drops=5)
    with pytest.raises(InputError, match="ceiling or a greatest step"):
        options(4, ceiling_m=math.inf)
    with pytest.raises(InputError, match="1 or more"):
        options(4, every_max=0)
