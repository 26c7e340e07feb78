"""The lowest periapsis of a craft: the same arc is named whatever the last digit of a flight is."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ringwright.models.flight.integrate import Flight, Impulse, Itinerary, Leg, PointMass, fly
from ringwright.optimizer.craft_plan import lowest_periapsis
from ringwright.tests.tolerances import METER_M

GM, RADIUS_M, LOW_M = 3.986e14, 7.08e6, 6.63e6
"""A ring around the Earth, and an insertion 450 km below it."""
NOISE_M_S = (-1e-8, 0.0, 1e-8)
"""What rounding leaves of a radial speed that should be zero."""


def _speed(radius_m: float, other_m: float) -> float:
    """At one apsis of an orbit with the other one there: vis-viva."""
    return math.sqrt(GM * (2.0 / radius_m - 2.0 / (radius_m + other_m)))


def _half(low_m: float, high_m: float) -> float:
    return math.pi * math.sqrt((0.5 * (low_m + high_m)) ** 3 / GM)


def _flight(radial_m_s: float, phasing_m: float, turns: int) -> Flight:
    """From a periapsis up to the ring, so many turns of a phasing orbit with its other apsis there, then the ring."""
    arrived_s = _half(LOW_M, RADIUS_M)
    left_s = arrived_s + 2.0 * turns * _half(*sorted((phasing_m, RADIUS_M)))
    up, phasing, circular = _speed(RADIUS_M, LOW_M), _speed(RADIUS_M, phasing_m), _speed(RADIUS_M, RADIUS_M)
    burns = (
        Impulse(arrived_s, radial_m_s, phasing - up),
        Impulse(left_s, 0.0, circular - phasing),
    )
    start = Itinerary(
        start_s=0.0,
        position=np.array([LOW_M, 0.0, 0.0]),
        velocity=np.array([radial_m_s, _speed(LOW_M, RADIUS_M), 0.0]),
        impulses=burns,
        end_s=left_s + 1000.0,
    )
    [flight] = fly([start], PointMass(gm=GM))
    return flight


@pytest.mark.parametrize("turns", [1, 3])
@pytest.mark.parametrize("phasing_m", [6.9e6, 7.4e6])
def test_rounding_does_not_choose_the_arc(phasing_m: float, turns: int) -> None:
    """A craft let go at its periapsis; burns at the periapsis of an orbit above the ring, and at the apoapsis of one
    below it."""
    flights = [_flight(radial, phasing_m, turns) for radial in NOISE_M_S]
    found = [lowest_periapsis(flight.legs()) for flight in flights]
    assert found == pytest.approx([min(phasing_m, RADIUS_M)] * len(NOISE_M_S), abs=METER_M)
    # an orbit that it had before has its periapsis there
    found = [lowest_periapsis(flight.legs(), flight) for flight in flights]
    assert found == pytest.approx([LOW_M] * len(NOISE_M_S), abs=METER_M)


def test_a_turn_on_the_way_to_the_first_burn_counts() -> None:
    """Let go while falling, a degree before the periapsis; and a moment behind it, which is no periapsis passed."""

    def leg(low_m: float, periapsis_m: float | None) -> Leg:
        return Leg(start_s=0.0, end_s=1.0, lowest_m=low_m, lowest_s=0.0, highest_m=9e6, periapsis_m=periapsis_m)

    ring = leg(7e6, 7e6)
    assert lowest_periapsis((leg(6.6e6, 6.6e6), leg(7e6, None), ring)) == 6.6e6
    assert lowest_periapsis((leg(6.6e6, None), leg(6.9e6, None), ring)) == 6.9e6
    assert lowest_periapsis((leg(6.6e6, None), ring)) is None
    assert lowest_periapsis((ring,)) is None
