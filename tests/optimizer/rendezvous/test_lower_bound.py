"""What no flight can beat: proved again, and held against best known flights and random ones."""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringwright.models.arrays import Array
from ringwright.optimizer.rendezvous.bound_rates import element_rates, largest_squares
from ringwright.optimizer.rendezvous.enclosure import coordinates
from ringwright.optimizer.rendezvous.lower_bound import Bound, least_of_any_flight, proved_bounds
from ringwright.tests.optimizer.rendezvous.bound_proof import Domain, prove, reachable
from ringwright.tests.tolerances import EXACT, ROADS_REL, SLOPE_OF_REL

TURN = 2.0 * math.pi
BEST_KNOWN = Path(__file__).with_name("best_known.csv")


def covering(lead_deg: float, turns: float) -> Bound:
    lead = math.radians(lead_deg) / (TURN * turns)
    return next(
        one for one in proved_bounds() if one.turns <= turns and abs(one.lead[0]) <= abs(lead) <= abs(one.lead[1])
        and lead * one.lead[1] > 0.0
    )  # fmt: skip


def test_one_function_is_proved_and_a_little_more_is_not() -> None:
    bound = covering(60.0, 5.0)
    assert prove(bound).proved
    more = replace(bound, coefficients=tuple(1.02 * one for one in bound.coefficients))
    found = prove(more)
    assert not found.proved
    assert (found.rates > 1.0).all()
    assert found.rates.size


@pytest.mark.soak
@pytest.mark.parametrize("bound", proved_bounds(), ids=lambda one: f"{one.lead[1]:.4f}, {one.turns} turns")
def test_every_function_is_proved(bound: Bound) -> None:
    assert prove(bound).proved


def best_known() -> list[tuple[float, float, float]]:
    with BEST_KNOWN.open(encoding="utf-8") as file:
        return [
            (math.radians(float(row["lead_deg"])), float(row["ring_periods"]), float(row["delta_v_share"]))
            for row in csv.DictReader(file)
        ]


def test_best_known_flights_are_never_below() -> None:
    rows = best_known()
    shares = np.array([least_of_any_flight(lead, turns) / cost for lead, turns, cost in rows])
    assert shares.max() < 1.0
    whole = np.array([turns >= 1.0 and turns == int(turns) for _, turns, _ in rows])
    print(f"share of the best known: {shares[whole].min():.3f} to {shares.max():.3f}, median {np.median(shares):.3f}")
    assert np.median(shares) > 0.75
    assert shares.max() > 0.95


def test_changes_by_gauss_are_those_of_keplers_orbits() -> None:
    random = np.random.default_rng(5)
    for _ in range(20):
        e, f, semi = 0.4 * random.random(), TURN * random.random(), 0.7 + random.random()
        rates = element_rates(np.array([semi**-0.5 - 1.0]), np.array([e * math.cos(f)]), np.array([e * math.sin(f)]))
        p = semi * (1.0 - e * e)
        where, speed = p / (1.0 + e * math.cos(f)), np.array([e * math.sin(f), 1.0 + e * math.cos(f)]) / math.sqrt(p)
        for axis in (0, 1):
            step = np.zeros(2)
            step[axis] = 1e-6
            after, before = elements(where, 0.0, speed + step), elements(where, 0.0, speed - step)
            change = (np.array(after) - np.array(before)) / 2e-6
            expected = [float(rates[0][axis][0]), float(rates[1][axis][0]), float(rates[2][axis][0])]
            assert change == pytest.approx(expected, abs=SLOPE_OF_REL)


def elements(radius: float, angle: float, velocity: Array) -> tuple[float, float, float]:
    """g, mean longitude in (angle - pi, angle + pi] about, and e^2, from radius and (outward, transverse) velocity."""
    momentum = radius * velocity[1]
    energy = 0.5 * float(velocity @ velocity) - 1.0 / radius
    semi = -0.5 / energy
    e_cos, e_sin = momentum**2 / radius - 1.0, momentum * velocity[0]
    e = math.hypot(e_cos, e_sin)
    f = math.atan2(e_sin, e_cos)
    eccentric = 2.0 * math.atan2(math.sqrt(1.0 - e) * math.sin(f / 2.0), math.sqrt(1.0 + e) * math.cos(f / 2.0))
    return semi**-0.5 - 1.0, angle - f + eccentric - e * math.sin(eccentric), e * e


def test_enclosures_hold_every_value() -> None:
    random = np.random.default_rng(3)
    centers = np.array([[0.02], [0.03], [-0.05], [0.01]]) * np.ones(200)
    centers = centers + 0.05 * (random.random(centers.shape) - 0.5)
    halves = 0.08 * random.random(centers.shape)
    coefficients = random.normal(size=12)
    ranges = largest_squares(coefficients.tolist(), 0.1, coordinates(centers, halves))
    assert len(ranges) == 4
    for _ in range(30):
        at = centers + halves * np.sign(random.random(centers.shape) - 0.5) * np.sqrt(random.random(centers.shape))
        values = np.array(largest_squares(coefficients.tolist(), 0.1, list(at)))
        assert (values <= [box.highest() for box in ranges]).all()
        assert (values >= [box.lowest() for box in ranges]).all()
    points = largest_squares(coefficients.tolist(), 0.1, coordinates(centers, 0.0 * halves))
    assert max(float((one.highest() - one.lowest()).max()) for one in points) < 1e-6


@dataclass(frozen=True)
class Walk:
    """A flight from the circle to the circle: cost, time, angle gone, states after each burn: time, angle, velocity."""

    cost: float
    time: float
    angle: float
    after: tuple[tuple[float, float, tuple[float, float]], ...]


def walk(legs: list[tuple[float, float, float, int, bool]]) -> Walk:
    """Ellipses that begin and end at radius 1: (outward, along less 1, tilt, whole turns, to the other crossing)."""
    velocity, tilt, time, angle, cost = np.array([0.0, 1.0]), 0.0, 0.0, 0.0, 0.0
    after = []
    for outward, along, lean, turns, across in [*legs, (0.0, 0.0, 0.0, 0, False)]:
        lean = 0.0 if across else lean  # only where it comes back to the same point the planes meet again
        burned = np.array([outward, 1.0 + along])
        cost += math.sqrt(
            (burned[0] - velocity[0]) ** 2 + burned[1] ** 2 + velocity[1] ** 2
            - 2.0 * burned[1] * velocity[1] * math.cos(lean - tilt)
        )  # fmt: skip
        velocity, tilt = burned, lean
        after.append((time, angle, (float(burned[0]), float(burned[1]))))
        g, longitude, _ = elements(1.0, 0.0, burned)
        period = TURN / (1.0 + g) ** 3
        time, angle = time + turns * period, angle + turns * TURN
        if across:
            # the mean longitude counts from the direction here: to the mirror image of this anomaly
            f = math.atan2(burned[1] * burned[0], burned[1] ** 2 - 1.0)
            mean = longitude + f
            time += ((-2.0 * mean) % TURN) / (1.0 + g) ** 3
            angle += (-2.0 * f) % TURN
            velocity = np.array([-burned[0], burned[1]])
    return Walk(cost, time, angle, tuple(after))


LEG = st.tuples(
    st.floats(-0.08, 0.08), st.floats(-0.06, 0.06), st.floats(-0.05, 0.05), st.integers(0, 4), st.booleans()
)


@settings(max_examples=150, deadline=None)
@given(legs=st.lists(LEG, min_size=1, max_size=4), spare=st.floats(0.0, 3.0))
def test_no_random_flight_is_cheaper(legs: list[tuple[float, float, float, int, bool]], spare: float) -> None:
    made = walk(legs)
    time = made.time + spare
    assert made.cost >= least_of_any_flight(made.angle - made.time, time / TURN) - EXACT


@settings(max_examples=12, deadline=None)
@given(legs=st.lists(LEG, min_size=1, max_size=3), spare=st.floats(0.1, 3.0))
def test_no_random_flight_leaves_the_domain(legs: list[tuple[float, float, float, int, bool]], spare: float) -> None:
    made = walk([(a, b, 0.0, turns, across) for a, b, _, turns, across in legs])
    time = made.time + spare
    if not 1e-6 < made.cost < 0.3 or time < 1.0:
        return
    # of all windings the one that this flight takes
    lead = (made.angle - made.time) / time
    domain = reachable((lead, lead), 1.0 / time, made.cost * (1.0 + 1e-9))
    assert not left(made, domain, time)


def left(made: Walk, domain: Domain, time: float) -> bool:
    """Whether any state of a flight, after a burn, lies outside a domain."""
    states = []
    for moment, angle, velocity in made.after:
        g, longitude, _ = elements(1.0, 0.0, np.array(velocity))
        carried = angle + longitude + (1.0 + g) ** 3 * (time - moment)
        slot = (made.angle - made.time) + time
        x, y = velocity[1] ** 2 - 1.0, velocity[1] * velocity[0]
        states.append([g, x, y, (carried - slot) / time])
    found = np.array(states).T
    return bool(domain.excluded(found, np.zeros_like(found)).any())


def test_a_bound_a_tenth_higher_would_be_beaten() -> None:
    """A tangent orbit, 30 deg in 5 periods."""
    speed = math.sqrt(2.0 - (1.0 + 1.0 / 60.0) ** (2.0 / 3.0))
    made = walk([(0.0, speed - 1.0, 0.0, 5, False)])
    lead, turns = made.angle - made.time, made.time / TURN
    assert made.cost < 1.1 * least_of_any_flight(lead, turns)
    assert math.degrees(lead) == pytest.approx(30.0 * turns / 5.0, rel=ROADS_REL)


@given(winding=st.integers(-2, 2), lead=st.floats(-3.1, 3.1), turns=st.floats(1.0, 40.0))
@settings(max_examples=30, deadline=None)
def test_whole_turns_make_no_difference(winding: int, lead: float, turns: float) -> None:
    same = least_of_any_flight(lead + winding * TURN, turns)
    assert same == pytest.approx(least_of_any_flight(lead, turns), rel=ROADS_REL, abs=EXACT)


def test_times_below_the_table_have_no_bound() -> None:
    assert least_of_any_flight(1.0, 0.5) == 0.0
