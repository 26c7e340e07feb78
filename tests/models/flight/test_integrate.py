"""The numerical flight against the exact two-body solution, conserved quantities and itself run another way."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from ringwright.models import frames
from ringwright.models.burns import Steering
from ringwright.models.errors import FlightError, InputError
from ringwright.models.flight.integrate import (
    FiniteThrust,
    Flight,
    Impulse,
    Itinerary,
    Oblate,
    PointMass,
    closest,
    closest_in_ring,
    fly,
    measure,
    readout,
)
from ringwright.models.ring import Ring
from ringwright.tests.tolerances import (
    CHAIN_REL,
    DECIMETER_M,
    FIVE_DIGITS_REL,
    FLOAT_RAD,
    METER_M,
    MILLIMETER_M,
    MILLISECOND_S,
    NINE_DIGITS_REL,
    ROADS_REL,
    SIX_DECIMALS,
    TENTH_S,
    TURNS_REL,
    WRITTEN_M_S,
    WRITTEN_S,
)

Array = NDArray[np.float64]

GM = 3.986004418e14
R = 16.0e6
POINT = PointMass(gm=GM)
EARTH = Oblate(gm=GM, j2=1.08262668e-3, j2_radius=6.378137e6)

END_TOLERANCE_M = {0.0: 1e-3, 0.05: 1e-3, 0.3: 3e-3}
"""What the flight promises after 12 revolutions at 16 000 km, by eccentricity."""
BATCH_TOLERANCE_M = 3e-3
DENSE_TOLERANCE_M = 0.01
"""Inside a step the interpolation is of one order less than the step."""
SLOT_TOLERANCE_RAD = math.radians(1e-6)
"""A thousandth of the finest slot error that is ever asked for."""


def kepler(a: float, e: float, t: float) -> Array:
    """State on a two-body orbit, t after periapsis on the x axis: Kepler's equation by Newton's method."""
    n = math.sqrt(GM / a**3)
    mean = n * t
    big = mean
    for _ in range(60):
        big -= (big - e * math.sin(big) - mean) / (1.0 - e * math.cos(big))
    rate = n / (1.0 - e * math.cos(big))
    minor = a * math.sqrt(1.0 - e * e)
    return np.array(
        [
            a * (math.cos(big) - e),
            minor * math.sin(big),
            0.0,
            -a * math.sin(big) * rate,
            minor * math.cos(big) * rate,
            0.0,
        ]
    )


def period(a: float) -> float:
    return 2.0 * math.pi * math.sqrt(a**3 / GM)


def start(state: Array, end_s: float, *impulses: Impulse, start_s: float = 0.0) -> Itinerary:
    return Itinerary(start_s=start_s, position=state[:3], velocity=state[3:], impulses=impulses, end_s=end_s)


def ring_of(radius: float = R, slots: int = 4, **more: float) -> Ring:
    return Ring(
        radius_m=radius,
        slots=slots,
        rate_rad_s=math.sqrt(GM / radius**3),
        slot0_rad=more.get("slot0", 0.0),
        gm=GM,
        inclination_rad=more.get("inclination", 0.0),
        node_rad=more.get("node", 0.0),
    )


def rephase(ring: Ring, lead: float, turns: int, *, start_s: float = 0.0, slot: int = 0) -> Itinerary:
    """On the ring, the slot ahead by ``lead``: the tangent phasing orbit of ``turns`` revolutions in as many turns."""
    wait = (2.0 * math.pi * turns - lead) / ring.rate_rad_s
    a = (GM * (wait / turns / (2.0 * math.pi)) ** 2) ** (1.0 / 3.0)
    change = math.sqrt(GM * (2.0 / ring.radius_m - 1.0 / a)) - ring.speed_m_s
    r, v = frames.in_plane_state(
        ring.radius_m,
        float(ring.phase(start_s, slot)) - lead,
        0.0,
        ring.speed_m_s,
        ring.inclination_rad,
        ring.node_rad,
    )
    burns = [Impulse(start_s, 0.0, change), Impulse(start_s + wait, 0.0, -change)]
    return Itinerary.through_turn(start_s, r, v, burns, ring)


@pytest.mark.parametrize("e", list(END_TOLERANCE_M))
def test_twelve_revolutions_end_within_a_millimeter(e: float) -> None:
    end = 12.37 * period(R)
    [flight] = fly([start(kepler(R, e, 0.0), end)], POINT)
    assert np.linalg.norm((flight.end_state - kepler(R, e, end))[:3]) < END_TOLERANCE_M[e]
    times = np.linspace(0.0, end, 301)
    exact = np.array([kepler(R, e, t) for t in times])
    assert np.linalg.norm((flight.states(times) - exact)[:, :3], axis=1).max() < DENSE_TOLERANCE_M


def test_a_batch_flies_like_its_members_alone() -> None:
    rng = np.random.default_rng(20310501)
    items, exact = [], []
    for _ in range(12):
        a, e = rng.uniform(7e6, 16e6), rng.uniform(0.0, 0.5)
        since, lasting = rng.uniform(0.0, period(a)), rng.uniform(0.2, 8.0) * period(a)
        items.append(start(kepler(a, e, since), 7.0 + lasting, start_s=7.0))
        exact.append(kepler(a, e, since + lasting))
    together = fly(items, POINT)
    for flight, state in zip(together, exact, strict=True):
        assert np.linalg.norm((flight.end_state - state)[:3]) < BATCH_TOLERANCE_M
    [alone] = fly(items[3:4], POINT)
    assert np.linalg.norm((alone.end_state - together[3].end_state)[:3]) < BATCH_TOLERANCE_M


def test_oblate_flight_keeps_energy_and_polar_momentum() -> None:
    r, v = frames.in_plane_state(7.2e6, 0.4, 50.0, 7600.0, 1.1, 0.3)
    [flight] = fly([Itinerary(start_s=0.0, position=r, velocity=v, end_s=30_000.0)], EARTH)

    def invariants(state: Array) -> tuple[float, float]:
        x, u = state[:3], state[3:]
        d = float(np.linalg.norm(x))
        # potential of the second zonal harmonic, with the Legendre polynomial written out
        zonal = GM * EARTH.j2 * EARTH.j2_radius**2 / d**3 * (1.5 * (x[2] / d) ** 2 - 0.5)
        return 0.5 * float(u @ u) - GM / d + zonal, float(x[0] * u[1] - x[1] * u[0])

    first, last = invariants(flight.states(np.array([0.0]))[0]), invariants(flight.end_state)
    assert last[0] == pytest.approx(first[0], rel=TURNS_REL)
    assert last[1] == pytest.approx(first[1], rel=TURNS_REL)


def test_oblate_pull_is_the_gradient_of_the_zonal_potential() -> None:
    def potential(x: Array) -> float:
        d = math.sqrt(float(x @ x))
        return GM / d - GM * EARTH.j2 * EARTH.j2_radius**2 / d**3 * (1.5 * (float(x[2]) / d) ** 2 - 0.5)

    x = np.array([5.1e6, -3.3e6, 4.2e6])
    step = 50.0
    slope = [(potential(x + step * axis) - potential(x - step * axis)) / (2.0 * step) for axis in np.eye(3)]
    assert EARTH.acceleration(x[:, np.newaxis])[:, 0] == pytest.approx(np.array(slope), rel=NINE_DIGITS_REL)


def test_agrees_with_scipy_in_plain_time() -> None:
    """Authority: scipy.integrate.solve_ivp (LSODA), no time scaling, no batching."""
    from scipy.integrate import solve_ivp

    state = np.array([7.0e6, 1.0e5, -2.0e5, 300.0, 6800.0, 4400.0])
    [flight] = fly([start(state, 15_000.0)], EARTH)

    def slope(_: float, y: Array) -> Array:
        return np.concatenate([y[3:], EARTH.acceleration(y[:3, np.newaxis])[:, 0]])

    other = solve_ivp(slope, (0.0, 15_000.0), state, method="LSODA", rtol=1e-12, atol=1e-6)
    assert np.linalg.norm(flight.end_state[:3] - other.y[:3, -1]) < DECIMETER_M


@pytest.mark.parametrize("lead_deg", [86.0, -86.0, 150.0])
def test_tangent_phasing_arrives_on_its_slot(lead_deg: float) -> None:
    ring = ring_of(slot0=0.3, inclination=0.9, node=1.1)
    item = rephase(ring, math.radians(lead_deg), 3, start_s=500.0, slot=1)
    [flight] = fly([item], POINT)
    found = measure(flight, ring, 0, 1)
    assert abs(found.slot_error_rad) < SLOT_TOLERANCE_RAD
    assert abs(found.period_error_s) < WRITTEN_S
    assert found.plane_error_rad < SLOT_TOLERANCE_RAD
    assert abs(found.radius_error_m) < DECIMETER_M
    assert math.hypot(*found.eccentricity) < 1e-9
    # against another slot the whole spacing is the error, with its sign
    other = measure(flight, ring, 0, 2)
    assert other.slot_error_rad == pytest.approx(-math.pi / 2.0, abs=SLOT_TOLERANCE_RAD)


def test_measure_tells_a_tilted_slow_craft() -> None:
    ring = ring_of(inclination=0.9, node=1.1)
    tilt = 0.01
    r, v = frames.in_plane_state(R, 0.2, 0.0, ring.speed_m_s + 0.5, 0.9 + tilt, 1.1)
    [flight] = fly([Itinerary.through_turn(0.0, r, v, [], ring)], POINT)
    found = measure(flight, ring, 0, 0)
    assert found.plane_error_rad == pytest.approx(tilt, abs=FLOAT_RAD)
    # leaning about the node line: the pole moves back along the axis 90 deg ahead
    assert found.plane_tilt_rad == pytest.approx((0.0, -math.sin(tilt)), abs=FLOAT_RAD)
    a = 1.0 / (2.0 / R - (ring.speed_m_s + 0.5) ** 2 / GM)
    assert found.period_error_s == pytest.approx(period(a) - ring.period_s, abs=MILLISECOND_S)
    assert found.eccentricity == pytest.approx(
        ((a / R - 1.0) * math.cos(0.2), (a / R - 1.0) * math.sin(0.2)), abs=SIX_DECIMALS
    )


def test_measure_refuses_a_flight_that_is_too_short() -> None:
    ring = ring_of()
    r, v = frames.in_plane_state(R, 0.0, 0.0, ring.speed_m_s, 0.0, 0.0)
    item = Itinerary(start_s=0.0, position=r, velocity=v, end_s=ring.period_s * 0.9)
    with pytest.raises(FlightError):
        measure(fly([item], POINT)[0], ring, 0, 0)


def test_legs_give_the_extreme_radii() -> None:
    a, e = 14.0e6, 0.2
    [flight] = fly([start(kepler(a, e, 0.25 * period(a)), 2.0 * period(a))], POINT)
    [leg] = flight.legs()
    assert leg.lowest_m == pytest.approx(a * (1.0 - e), abs=DECIMETER_M)
    assert leg.highest_m == pytest.approx(a * (1.0 + e), abs=DECIMETER_M)
    assert leg.periapsis_m == pytest.approx(leg.lowest_m, abs=DECIMETER_M)
    # a short climb passes no periapsis: its lowest point is its start
    [climb] = fly([start(kepler(a, e, 0.1 * period(a)), 0.2 * period(a))], POINT)[0].legs()
    assert climb.periapsis_m is None
    assert climb.lowest_s == 0.0
    assert climb.lowest_m < climb.highest_m


def test_readout_reads_shape_and_size() -> None:
    shown = readout(kepler(14.0e6, 0.2, 3000.0), GM)
    assert shown.period_s == pytest.approx(period(14.0e6), rel=CHAIN_REL)
    assert shown.periapsis_m == pytest.approx(11.2e6, rel=CHAIN_REL)
    assert shown.apoapsis_m == pytest.approx(16.8e6, rel=CHAIN_REL)
    fast = kepler(14.0e6, 0.2, 0.0)
    fast[3:] *= 2.0
    assert math.isinf(readout(fast, GM).period_s)


def test_impulse_is_applied_in_local_axes() -> None:
    r, v = frames.in_plane_state(R, 0.7, 40.0, 4000.0, 0.5, 0.2)
    burn = Impulse(100.0, 3.0, -5.0, 7.0)
    [flight] = fly([Itinerary(start_s=0.0, position=r, velocity=v, impulses=(burn,), end_s=200.0)], POINT)
    before, after = flight.before[0], flight.after[0]
    assert after[:3] == pytest.approx(before[:3], abs=0.0)
    assert frames.to_local(before[:3], before[3:], (after - before)[3:]) == pytest.approx([3.0, -5.0, 7.0])
    assert flight.states(np.array([100.0]))[0] == pytest.approx(after, rel=CHAIN_REL)
    # the orbit so changed, flown from scratch, ends at the same place
    [again] = fly([start(after, 200.0, start_s=100.0)], POINT)
    assert again.end_state == pytest.approx(flight.end_state, rel=CHAIN_REL)


def test_impulse_at_the_very_end_and_at_the_start() -> None:
    r, v = frames.in_plane_state(R, 0.0, 0.0, 4990.0, 0.0, 0.0)
    burns = (Impulse(0.0, 0.0, 2.0), Impulse(50.0, 0.0, 3.0))
    [flight] = fly([Itinerary(start_s=0.0, position=r, velocity=v, impulses=burns, end_s=50.0)], POINT)
    assert flight.states(np.array([50.0]))[0] == pytest.approx(flight.end_state)
    assert len(flight.legs()) == 3
    assert np.linalg.norm(flight.after[0, 3:]) == pytest.approx(4992.0)


@settings(derandomize=True, deadline=None, max_examples=6)
@given(
    scale=st.floats(0.05, 20.0),
    lead=st.floats(-1.2, 1.2).filter(lambda x: abs(x) > 0.05),
    turns=st.integers(1, 3),
)
def test_scaling_lengths_and_times_changes_nothing(scale: float, lead: float, turns: int) -> None:
    """Kepler's third law: lengths by s and times by s^1.5 give the same shape, so errors scale along."""
    small = ring_of(R * scale)
    [flight] = fly([rephase(small, lead, turns)], POINT)
    found = measure(flight, small, 0, 0)
    assert abs(found.slot_error_rad) < SLOT_TOLERANCE_RAD
    assert abs(found.period_error_s) < ROADS_REL * small.period_s


def brute_closest(flight: Flight, ring: Ring, slot: int) -> float:
    times = np.linspace(0.0, flight.itinerary.end_s, 50_001)
    where = frames.on_circle(ring.radius_m, ring.phase(times, slot), ring.inclination_rad, ring.node_rad)
    gap = np.linalg.norm(flight.states(times)[:, :3] - where, axis=1)
    return float(np.min(gap))


def test_closest_finds_what_a_fine_grid_finds() -> None:
    ring = ring_of(slots=6, inclination=0.9, node=1.1)
    [flight] = fly([rephase(ring, math.radians(75.0), 4)], POINT)
    found = closest_in_ring(flight, ring, [(0, slot) for slot in range(6)])
    assert found
    for slot, approach in enumerate(found):
        # the grid's own error: half a step at the relative speed
        assert approach.distance_m <= brute_closest(flight, ring, slot) + 1.0
        assert approach.distance_m >= brute_closest(flight, ring, slot) - 2500.0
        place = frames.on_circle(R, ring.phase(approach.time_s, slot), ring.inclination_rad, ring.node_rad)
        there = flight.states(np.array([approach.time_s]))[0, :3]
        assert np.linalg.norm(there - place) == pytest.approx(approach.distance_m, abs=MILLIMETER_M)


def test_meeting_half_way() -> None:
    """Four slots, 180 deg in two revolutions: after one the craft stands 90 deg on, where a slot is."""
    ring = ring_of()
    [flight] = fly([rephase(ring, math.pi, 2)], POINT)
    [meeting] = closest_in_ring(flight, ring, [(0, 3)], to_s=flight.settled_s)
    assert meeting.distance_m < 1.0
    assert meeting.time_s == pytest.approx(0.5 * flight.settled_s, abs=TENTH_S)
    one = closest(flight, lambda t: frames.on_circle(R, ring.phase(t, 3), 0.0, 0.0), to_s=flight.settled_s)
    assert one.distance_m < 1.0
    [miss] = closest_in_ring(flight, ring, [(0, 1)], to_s=0.25 * flight.settled_s)
    assert miss.distance_m > 1e6
    assert closest_in_ring(flight, ring, []) == ()


def test_long_burns_tend_to_impulses() -> None:
    """Twice the thrust, a quarter of the error: the burn is centered, so its effect is second order in its length."""
    ring = ring_of()
    item = rephase(ring, math.radians(86.0), 3)
    errors = []
    for thrust in (200.0, 400.0):
        engine = FiniteThrust(thrust_n=thrust, isp_s=312.0, mass_kg=540.0)
        [flight] = fly([item], POINT, engine)
        errors.append(abs(measure(flight, ring, 0, 0).slot_error_rad))
    assert 3.0 < errors[0] / errors[1] < 5.0


def test_long_burn_is_centered_and_spends_what_the_rocket_equation_says() -> None:
    ring = ring_of()
    item = rephase(ring, math.radians(86.0), 3)
    engine = FiniteThrust(thrust_n=400.0, isp_s=312.0, mass_kg=540.0)
    [flight] = fly([item], POINT, [engine])
    middle = 0.5 * (flight.ignition_s + flight.cutoff_s)
    assert middle == pytest.approx([burn.time_s for burn in item.impulses], abs=WRITTEN_S)
    assert flight.mass_after_kg is not None
    spent = 540.0 - flight.mass_after_kg[-1]
    # the flow runs for the time flown
    assert spent == pytest.approx(engine.flow_kg_s * float(np.sum(flight.cutoff_s - flight.ignition_s)), rel=CHAIN_REL)
    # the first burn is lit before the start, on the same orbit
    assert flight.begin_s == flight.ignition_s[0] < 0.0
    assert np.linalg.norm(flight.before[0, :3]) == pytest.approx(R, abs=METER_M)


def test_a_burn_of_microseconds_a_year_after_the_epoch_is_an_impulse() -> None:
    """Its lighting and its cut-off are the same to the digits that a time of 10^7 s has, and its speed is not lost."""
    year_s = 3.0e7
    item = Itinerary(
        start_s=year_s,
        position=np.array([R, 0.0, 0.0]),
        velocity=np.array([0.0, math.sqrt(GM / R), 0.0]),
        impulses=(Impulse(time_s=year_s + 900.0, radial_m_s=0.0, along_m_s=32.0, cross_m_s=0.0),),
        end_s=year_s + 2000.0,
    )
    [sudden] = fly([item], POINT)
    [strong] = fly([item], POINT, FiniteThrust(thrust_n=9.0e8, isp_s=300.0, mass_kg=130.0))
    assert np.linalg.norm(strong.end_state[3:] - sudden.end_state[3:]) < WRITTEN_M_S
    assert strong.mass_after_kg is not None
    assert strong.mass_after_kg[0] == pytest.approx(130.0 * math.exp(-32.0 / (300.0 * 9.80665)), rel=ROADS_REL)


@pytest.mark.parametrize("steering", ["inertial", "local", "velocity"])
def test_steering_points_where_it_says(steering: Steering) -> None:
    """In field-free space thrust would add the impulse exactly: there only the direction's frame matters."""
    weak = PointMass(gm=1.0)
    engine = FiniteThrust(thrust_n=100.0, isp_s=300.0, mass_kg=100.0, steering=steering)
    state = np.array([1e7, 0.0, 0.0, 0.0, 1000.0, 0.0])
    turned = math.atan(150.0 * 1000.0 / 1e7)  # how far the radius has turned by then, at 1 km/s in 10 000 km
    burn = Impulse(150.0, 0.0, 100.0)
    if steering == "velocity":
        burn = Impulse(150.0, 100.0 * math.sin(turned), 100.0 * math.cos(turned))
    [flight] = fly([start(state, 400.0, burn)], weak, engine)
    change = flight.after[0, 3:] - flight.before[0, 3:]
    assert np.linalg.norm(change) == pytest.approx(100.0, rel=FIVE_DIGITS_REL)
    if steering == "velocity":
        assert change == pytest.approx([0.0, 100.0, 0.0], abs=SIX_DECIMALS)
    elif steering == "inertial":
        assert change == pytest.approx([-100.0 * math.sin(turned), 100.0 * math.cos(turned), 0.0], abs=SIX_DECIMALS)


def test_burns_that_overlap_are_refused() -> None:
    ring = ring_of()
    item = rephase(ring, math.radians(86.0), 1)
    with pytest.raises(InputError, match="thrust"):
        fly([item], POINT, FiniteThrust(thrust_n=1.0, isp_s=312.0, mass_kg=540.0))


def test_keeping_only_the_end_changes_nothing_there() -> None:
    ring = ring_of()
    items = [rephase(ring, math.radians(86.0), 3), rephase(ring, math.radians(-40.0), 2)]
    for long, short in zip(fly(items, POINT), fly(items, POINT, whole=False), strict=True):
        assert short.end_state == pytest.approx(long.end_state, rel=CHAIN_REL)
        assert measure(short, ring, 0, 0).slot_error_rad == pytest.approx(
            measure(long, ring, 0, 0).slot_error_rad, abs=SLOT_TOLERANCE_RAD
        )
        with pytest.raises(FlightError, match="kept"):
            short.legs()
        with pytest.raises(FlightError, match="asked"):
            short.states(np.array([1.0]))


def test_times_that_run_backwards_are_refused() -> None:
    with pytest.raises(FlightError, match="increase"):
        fly([start(kepler(R, 0.0, 0.0), 10.0, Impulse(20.0, 0.0, 1.0))], POINT)
    [flight] = fly([start(kepler(R, 0.0, 0.0), 10.0)], POINT)
    with pytest.raises(FlightError, match="asked"):
        flight.states(np.array([11.0]))
    with pytest.raises(FlightError, match="burn models"):
        fly([], POINT, [FiniteThrust(thrust_n=1.0, isp_s=1.0, mass_kg=1.0)])
