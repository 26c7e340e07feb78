"""The corrector on oblate bodies, long burns and late launches: errors before, and errors after."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence

import numpy as np
import pytest

from ringwright.models import frames, oblateness
from ringwright.models.errors import FlightError
from ringwright.models.flight.integrate import (
    FiniteThrust,
    Gravity,
    Impulse,
    Itinerary,
    Oblate,
    PointMass,
    fly,
    measure,
)
from ringwright.models.ring import Ring
from ringwright.models.scenario import Body
from ringwright.optimizer.trajectory.differential_correction import (
    PHASING,
    ROUNDS_MAX,
    TOLERANCE_RAD,
    Case,
    Corrected,
    Unknown,
    correct_each,
)
from ringwright.tests.tolerances import (
    CORRECTED_REL,
    ESTIMATED_REL,
    FIRST_ORDER_REL,
    FLOAT_RAD,
    HUNDREDTH_M_S,
    ROADS_REL,
    SQUARED_REL,
    THREE_DECIMALS,
)

EARTH = Body(name="earth", gm=3.986004418e14, radius_m=6.378137e6, j2=1.08262668e-3, j2_radius_m=6.378137e6)
OBLATE = Oblate(gm=EARTH.gm, j2=EARTH.j2, j2_radius=EARTH.j2_radius_m)
POINT = PointMass(gm=EARTH.gm)

ARRIVAL = (Unknown(-1, "launch"), Unknown(-1, "radial"), Unknown(-1, "along"))
"""For a craft that arrives in place: its launch, and how the ring is entered."""

DEMAND_RAD = math.radians(1e-3)
"""The finest slot error that a plan is judged by."""


def correct(
    cases: Sequence[Case], gravity: Gravity, rounds_max: int = ROUNDS_MAX, tolerance_rad: float = TOLERANCE_RAD
) -> list[Corrected]:
    """Cases that can be corrected, all of them."""
    found = correct_each(cases, gravity, tolerance_rad=tolerance_rad, rounds_max=rounds_max)
    return [one for one in found if one is not None]


def phasing(radius: float, inclination_deg: float, lead_deg: float, turns: int, *, oblate: bool = True) -> Case:
    """A craft on the ring whose slot is ahead: the tangent phasing orbit planned by ratio of periods."""
    inclination, lead = math.radians(inclination_deg), math.radians(lead_deg)
    body = EARTH if oblate else dataclasses.replace(EARTH, j2=0.0)
    rate, node_rate = oblateness.ring_rates(body, radius, inclination)
    ring = Ring(
        radius_m=radius,
        slots=4,
        rate_rad_s=rate,
        slot0_rad=0.3,
        gm=body.gm,
        inclination_rad=inclination,
        node_rad=1.1,
        node_rate_rad_s=node_rate,
    )
    r, v = oblateness.ring_state(body, radius, float(ring.phase(0.0, 1)) - lead, inclination, 1.1)
    wait = (2.0 * math.pi * turns - lead) / rate
    a = radius * (wait / turns / ring.period_s) ** (2.0 / 3.0)
    change = math.sqrt(body.gm * (2.0 / radius - 1.0 / a)) - ring.speed_m_s
    burns = [Impulse(0.0, 0.0, change), Impulse(wait, 0.0, -change)]
    return Case(itinerary=Itinerary.through_turn(0.0, r, v, burns, ring), ring=ring, slot=1)


@pytest.fixture(scope="module")
def oblate_cases() -> list[Case]:
    return [
        phasing(7.378e6, 0.0, 40.0, 2),
        phasing(7.378e6, 51.6, -86.0, 2),
        phasing(6.978e6, 90.0, 40.0, 1),
        phasing(16.378e6, 51.6, 86.0, 2),
    ]


def total(item: Itinerary) -> float:
    return math.fsum(burn.delta_v_m_s for burn in item.impulses)


def test_oblateness_is_corrected_in_one_batch(oblate_cases: list[Case]) -> None:
    found = correct(oblate_cases, OBLATE)
    # planning by ratio of periods misses by some tenths of a degree in low orbits: there is something to correct
    assert abs(found[0].first.slot_error_rad) > 50.0 * DEMAND_RAD
    assert oblate_cases
    for case, result in zip(oblate_cases, found, strict=True):
        assert result.met
        assert abs(result.last.slot_error_rad) < 0.1 * DEMAND_RAD
        assert abs(result.last.period_error_s) < CORRECTED_REL * case.ring.period_s
        assert math.hypot(*result.last.eccentricity) < 5e-5
        # a small change of the burns, and none of the times
        assert total(result.itinerary) == pytest.approx(total(case.itinerary), rel=FIRST_ORDER_REL)
        assert [b.time_s for b in result.itinerary.impulses] == [b.time_s for b in case.itinerary.impulses]


def test_corrected_craft_keeps_its_slot(oblate_cases: list[Case]) -> None:
    """Flown on for five turns, the craft is still there."""
    case = oblate_cases[0]
    [result] = correct([case], OBLATE)
    longer = dataclasses.replace(result.itinerary, end_s=result.itinerary.end_s + 5.0 * case.ring.period_s)
    [flight] = fly([longer], OBLATE)
    late = measure(flight, case.ring, 0, 1, flight.settled_s + 5.0 * case.ring.period_s)
    assert abs(late.slot_error_rad) < 10.0 * DEMAND_RAD
    [uncorrected] = fly([dataclasses.replace(case.itinerary, end_s=longer.end_s)], OBLATE)
    then = measure(uncorrected, case.ring, 0, 1, flight.settled_s + 5.0 * case.ring.period_s)
    assert abs(then.slot_error_rad) > 10.0 * abs(late.slot_error_rad)


def test_batch_and_single_agree(oblate_cases: list[Case]) -> None:
    together = correct(oblate_cases[:2], OBLATE)[1]
    [alone] = correct(oblate_cases[1:2], OBLATE)
    assert together.itinerary.impulses
    for one, other in zip(together.itinerary.impulses, alone.itinerary.impulses, strict=True):
        assert one == pytest.approx(other, abs=THREE_DECIMALS)


def test_more_unknowns_take_the_eccentricity_too(oblate_cases: list[Case]) -> None:
    unknowns = (Unknown(0, "radial"), *PHASING, Unknown(-1, "time"))
    case = dataclasses.replace(oblate_cases[0], unknowns=unknowns)
    [usual], [thorough] = correct([oblate_cases[0]], OBLATE), correct([case], OBLATE, tolerance_rad=1e-8)
    assert thorough.met
    assert math.hypot(*thorough.last.eccentricity) < 0.1 * math.hypot(*usual.last.eccentricity)


def test_long_burns_are_corrected() -> None:
    case = dataclasses.replace(
        phasing(16.378e6, 30.0, 86.0, 2, oblate=False),
        burns=FiniteThrust(thrust_n=150.0, isp_s=312.0, mass_kg=540.0),
    )
    [result] = correct([case], POINT)
    assert abs(result.first.slot_error_rad) > DEMAND_RAD
    assert result.met
    assert abs(result.last.slot_error_rad) < 0.1 * DEMAND_RAD
    assert math.hypot(*result.last.eccentricity) < 1e-4


def test_what_is_right_is_left_alone() -> None:
    case = phasing(16.378e6, 51.6, 86.0, 2, oblate=False)
    [result] = correct([case], POINT)
    assert result.rounds == 0
    assert result.met
    assert result.itinerary.impulses == case.itinerary.impulses


def test_launch_time_closes_the_gap_of_an_arrival() -> None:
    """The launch turns with the body, the slot with the ring: by hand, the gap over the difference of their rates."""
    spin, radius, gap = 7.292115e-5, 16.378e6, 0.02
    speed = math.sqrt(EARTH.gm / radius)
    rate = speed / radius
    low = 6.6e6
    a = 0.5 * (low + radius)
    climb = math.pi * math.sqrt(a**3 / EARTH.gm)
    ring = Ring(radius_m=radius, slots=4, rate_rad_s=rate, slot0_rad=math.pi - rate * climb - gap, gm=EARTH.gm)
    r, v = frames.in_plane_state(low, 0.0, 0.0, math.sqrt(EARTH.gm * (2.0 / low - 1.0 / a)), 0.0, 0.0)
    burn = Impulse(climb, 0.0, speed - math.sqrt(EARTH.gm * (2.0 / radius - 1.0 / a)))
    item = Itinerary.through_turn(0.0, r, v, [burn], ring)
    [result] = correct([Case(itinerary=item, ring=ring, slot=0, unknowns=ARRIVAL, spin_rad_s=spin)], POINT)
    assert result.first.slot_error_rad == pytest.approx(gap, abs=FLOAT_RAD)
    assert result.met
    assert result.itinerary.start_s == pytest.approx(gap / (rate - spin), rel=SQUARED_REL)
    turned = math.atan2(result.itinerary.position[1], result.itinerary.position[0])
    assert turned == pytest.approx(spin * result.itinerary.start_s, rel=ROADS_REL)
    assert total(result.itinerary) == pytest.approx(total(item), abs=HUNDREDTH_M_S)


def test_plane_is_met_by_burns_across() -> None:
    case = phasing(16.378e6, 51.6, 40.0, 2, oblate=False)
    # a burn across at the first point tilts the plane about it: the last burn, at the same point, can undo it
    burns = case.itinerary.impulses
    tilted = (burns[0]._replace(cross_m_s=20.0), burns[1])
    item = dataclasses.replace(case.itinerary, impulses=tilted)
    crooked = dataclasses.replace(
        case,
        itinerary=item,
        unknowns=(*PHASING, Unknown(-1, "cross")),
        targets=("slot", "period", "eccentricity", "plane"),
    )
    [result] = correct([crooked], POINT)
    assert result.first.plane_error_rad > DEMAND_RAD
    assert result.met
    assert result.last.plane_error_rad < 0.1 * DEMAND_RAD
    assert result.itinerary.impulses[1].cross_m_s == pytest.approx(-20.0, rel=ESTIMATED_REL)


def test_what_cannot_be_met_says_so(oblate_cases: list[Case]) -> None:
    stuck = dataclasses.replace(oblate_cases[0], unknowns=(Unknown(-1, "cross"),))
    [result] = correct([stuck], OBLATE, rounds_max=3)
    assert not result.met
    assert abs(result.last.slot_error_rad) > 50.0 * DEMAND_RAD
    assert abs(result.last.slot_error_rad) <= abs(result.first.slot_error_rad) * (1.0 + FIRST_ORDER_REL)


def test_burns_may_not_run_ahead_of_the_start() -> None:
    """A launch without spin and a free burn time: the first burn is at the start already and may not move before it."""
    case = phasing(16.378e6, 51.6, 40.0, 2, oblate=False)
    late = dataclasses.replace(case, unknowns=(Unknown(0, "time"), *PHASING), slot=2)
    [result] = correct([late], POINT, rounds_max=4)
    times = [result.itinerary.start_s, *(b.time_s for b in result.itinerary.impulses), result.itinerary.end_s]
    assert np.all(np.diff(times) >= 0.0)


def test_a_guess_that_never_comes_round_is_refused() -> None:
    case = phasing(16.378e6, 51.6, 40.0, 2, oblate=False)
    short = dataclasses.replace(case.itinerary, end_s=case.itinerary.impulses[-1].time_s + 100.0)
    assert correct_each([dataclasses.replace(case, itinerary=short)], POINT) == (None,)
    with pytest.raises(FlightError, match="without burns"):
        correct([dataclasses.replace(case, itinerary=dataclasses.replace(case.itinerary, impulses=()))], POINT)
