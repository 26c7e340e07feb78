"""Launch windows against a dense search that rotates vectors with scipy and knows none of the closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

from ringwright.models.azimuth import (
    azimuth_for_arc,
    azimuth_of_least_tilt,
    ground_azimuth,
    in_corridor,
    launch_plane,
    site_speed,
)
from ringwright.models.errors import InputError
from ringwright.models.ring import Ring
from ringwright.models.scenario import Body, Pad
from ringwright.models.site_and_plane import SiteAndPlane
from ringwright.models.windows import least_angle, off_plane, passes, within
from ringwright.tests.tolerances import (
    COSINE_RAD,
    EXACT_RAD,
    FLOAT_DEG,
    FLOAT_RAD,
    INTEGRATED,
    REACHED_RAD,
    WRITTEN_DEG,
    WRITTEN_RAD,
    WRITTEN_S,
)

TURN = 2.0 * math.pi
SIDEREAL_DAY_S = 86164.0905
SPIN = TURN / SIDEREAL_DAY_S
# what the planner needs: a tenth of a second is 50 m of the Earth's surface
TIME_TOLERANCE_S = 0.1
ANGLE_TOLERANCE_RAD = 1e-9


def place(latitude_deg: float, inclination_deg: float, **other: float) -> SiteAndPlane:
    values = {"site0_rad": 0.3, "spin_rad_s": SPIN, "node0_rad": 1.1, "node_rate_rad_s": 0.0} | other
    return SiteAndPlane(
        latitude_rad=math.radians(latitude_deg), inclination_rad=math.radians(inclination_deg), **values
    )


def site_by_rotation(where: SiteAndPlane, time_s: float) -> np.ndarray:
    """Direction of the site: a rotation of the x axis about y by the latitude, then about z."""
    turn = where.site0_rad + where.spin_rad_s * time_s
    return Rotation.from_euler("ZY", [turn, -where.latitude_rad]).apply([1.0, 0.0, 0.0])


def plane_by_rotation(where: SiteAndPlane, time_s: float) -> Rotation:
    """The rotation that carries the equator with its x axis into the ring plane with its node."""
    return Rotation.from_euler("ZX", [where.node0_rad + where.node_rate_rad_s * time_s, where.inclination_rad])


def distance_by_rotation(where: SiteAndPlane, time_s: float) -> float:
    normal = plane_by_rotation(where, time_s).apply([0.0, 0.0, 1.0])
    return float(site_by_rotation(where, time_s) @ normal)


def dense_search(where: SiteAndPlane, from_s: float, to_s: float, samples: int) -> list[float]:
    times = np.linspace(from_s, to_s, samples)
    values = [distance_by_rotation(where, t) for t in times]
    return [
        float(brentq(lambda t: distance_by_rotation(where, t), times[k], times[k + 1], xtol=1e-6))
        for k in range(samples - 1)
        if values[k] * values[k + 1] < 0.0
    ]


CASES = {
    "prograde": place(28.5, 51.6),
    "retrograde": place(34.6, 97.8),
    "polar": place(-62.0, 90.0),
    "south": place(-45.9, 51.6),
    "just reached": place(51.59, 51.6),
    "drifting node": place(28.5, 51.6, node_rate_rad_s=-1.2e-6),
    "node faster than the body": place(12.0, 40.0, spin_rad_s=1e-6, node_rate_rad_s=3e-5),
    "turns backward": place(20.0, 63.4, spin_rad_s=-TURN / 40000.0),
    "does not turn, node drifts": place(20.0, 63.4, spin_rad_s=0.0, node_rate_rad_s=-4e-5),
    "on the equator": place(0.0, 12.0),
}


@pytest.mark.parametrize("where", CASES.values(), ids=CASES.keys())
def test_passes_agree_with_a_dense_search(where: SiteAndPlane) -> None:
    from_s, to_s = 40_000.0, 40_000.0 + 2.3 * SIDEREAL_DAY_S
    expected = dense_search(where, from_s, to_s, 400)
    found = passes(where, from_s, to_s)
    assert len(expected) >= 2
    assert found.time_s == pytest.approx(expected, abs=TIME_TOLERANCE_S)
    assert not found.always
    assert found.least_angle_rad == 0.0


@pytest.mark.parametrize("where", CASES.values(), ids=CASES.keys())
def test_direction_at_a_pass_is_that_of_the_plane_there(where: SiteAndPlane) -> None:
    found = passes(where, 0.0, 2.0 * SIDEREAL_DAY_S)
    assert found.time_s.size
    for time, up, azimuth, angle in zip(found.time_s, found.ascending, found.azimuth_rad, found.angle_rad, strict=True):
        in_plane = Rotation.from_euler("z", angle).apply([1.0, 0.0, 0.0])
        motion_in_plane = Rotation.from_euler("z", angle).apply([0.0, 1.0, 0.0])
        ring = plane_by_rotation(where, time)
        assert ring.apply(in_plane) == pytest.approx(site_by_rotation(where, time), abs=ANGLE_TOLERANCE_RAD)
        motion = ring.apply(motion_in_plane)
        # turned back to the prime meridian and the equator: x up, y east, z north
        turn = where.site0_rad + where.spin_rad_s * time
        _, east, north = Rotation.from_euler("YZ", [where.latitude_rad, -turn]).apply(motion)
        assert (math.sin(azimuth), math.cos(azimuth)) == pytest.approx((east, north), abs=ANGLE_TOLERANCE_RAD)
        assert bool(up) == (motion[2] > 0.0)


def test_latitude_beyond_the_inclination_says_by_how_much() -> None:
    for latitude, inclination, missing in ((60.0, 51.6, 8.4), (-60.0, 128.4, 8.4), (5.0, 0.0, 5.0)):
        where = place(latitude, inclination)
        found = passes(where, 0.0, 10 * SIDEREAL_DAY_S)
        assert found.time_s.size == 0
        assert not found.always
        assert math.degrees(found.least_angle_rad) == pytest.approx(missing, abs=FLOAT_DEG)
        dense = np.abs(off_plane(where, np.linspace(0.0, SIDEREAL_DAY_S, 20_001)))
        assert float(dense.min()) == pytest.approx(found.least_angle_rad, abs=WRITTEN_RAD)


def test_latitude_equal_to_the_inclination_is_touched_once_a_turn() -> None:
    for inclination in (28.5, 151.5):
        found = passes(place(28.5, inclination), 0.0, 3 * SIDEREAL_DAY_S - 1.0)
        assert found.time_s.size == 3
        assert not found.ascending.any()
        eastward = 90.0 if inclination < 90.0 else 270.0
        assert np.degrees(found.azimuth_rad) == pytest.approx([eastward] * 3, abs=WRITTEN_DEG)


@pytest.mark.parametrize(
    ("where", "always"),
    [
        (place(0.0, 0.0), True),
        (place(0.0, 180.0), True),
        (place(3.0, 0.0), False),
        (place(90.0, 90.0), True),
        (place(-90.0, 80.0), False),
        (place(20.0, 63.4, spin_rad_s=0.0), False),
        (place(0.0, 33.0, spin_rad_s=0.0, site0_rad=1.1), True),
        (place(25.0, 33.0, spin_rad_s=-1e-6, node_rate_rad_s=-1e-6), False),
    ],
    ids=[
        "equator",
        "equator, retrograde",
        "beside the equator",
        "pole",
        "pole, off",
        "not turning",
        "not turning, on the node",
        "turning with the node",
    ],
)
def test_a_site_that_keeps_its_place_is_in_the_plane_always_or_never(where: SiteAndPlane, always: bool) -> None:
    found = passes(where, -1e5, 1e6)
    assert found.time_s.size == 0
    assert found.always is always
    distances = [abs(math.asin(distance_by_rotation(where, t))) for t in np.linspace(-1e5, 1e6, 50)]
    assert found.least_angle_rad == pytest.approx(min(distances), abs=COSINE_RAD)
    assert within(where, 0.001, 0.0, 10.0).shape == (int(always), 2)


def test_one_turn_later_comes_the_same_pass() -> None:
    where = place(28.5, 51.6)
    whole = passes(where, -SIDEREAL_DAY_S, 3 * SIDEREAL_DAY_S)
    assert whole.time_s.size == 8
    assert np.diff(whole.time_s)[1:] + np.diff(whole.time_s)[:-1] == pytest.approx(SIDEREAL_DAY_S, abs=WRITTEN_S)
    assert np.diff(whole.ascending.astype(int)).all()
    edge = passes(where, float(whole.time_s[2]), float(whole.time_s[4]))
    assert edge.time_s == pytest.approx(whole.time_s[2:5], abs=WRITTEN_S)


@settings(derandomize=True, deadline=None, max_examples=60)
@given(
    latitude=st.floats(-90.0, 90.0),
    inclination=st.floats(0.0, 180.0),
    spin=st.sampled_from([SPIN, -SPIN / 9.0, 0.0]),
    drift=st.sampled_from([0.0, -1.1e-6, 2e-7]),
    angle_deg=st.floats(0.0, 95.0),
)
def test_spans_near_the_plane_hold_exactly_the_moments_that_are_near(
    latitude: float, inclination: float, spin: float, drift: float, angle_deg: float
) -> None:
    where = place(latitude, inclination, spin_rad_s=spin, node_rate_rad_s=drift)
    times = np.linspace(-20_000.0, 250_000.0, 1501)
    distance = np.abs(off_plane(where, times))
    spans = within(where, math.radians(angle_deg), float(times[0]), float(times[-1]))
    inside = np.any((times[:, None] >= spans[:, 0]) & (times[:, None] <= spans[:, 1]), axis=1)
    clear = np.abs(distance - math.radians(angle_deg)) > 1e-6
    assert np.array_equal(inside[clear], (distance <= math.radians(angle_deg))[clear])
    assert np.all(spans[1:, 0] >= spans[:-1, 1])
    assert least_angle(where) <= float(distance.min()) + ANGLE_TOLERANCE_RAD


@settings(derandomize=True, deadline=None, max_examples=60)
@given(
    latitude=st.floats(-89.0, 89.0),
    inclination=st.floats(0.5, 179.5),
    time=st.floats(0.0, 90_000.0),
    azimuth=st.floats(0.0, TURN - 1e-6),
)
def test_launch_plane_obeys_the_sine_rule_and_meets_its_node(
    latitude: float, inclination: float, time: float, azimuth: float
) -> None:
    where = place(latitude, inclination, node_rate_rad_s=-1e-6)
    flown = launch_plane(where, time, azimuth)
    off = float(off_plane(where, time))
    least = launch_plane(where, time, azimuth_of_least_tilt(where, time))
    assert float(least.tilt_rad) == pytest.approx(abs(off), abs=REACHED_RAD)
    assert float(flown.tilt_rad) >= abs(off) - 1e-7
    assert float(flown.tilt_rad) <= math.pi - abs(off) + 1e-7
    if float(flown.tilt_rad) < 1e-6 or math.pi - float(flown.tilt_rad) < 1e-6:
        return
    assert math.sin(flown.tilt_rad) * math.sin(flown.arc_rad) == pytest.approx(
        math.sin(abs(off)), abs=ANGLE_TOLERANCE_RAD
    )
    # the craft, turned along its own plane by the arc, is at the ring's node angle
    site = site_by_rotation(where, time)
    turn = where.site0_rad + where.spin_rad_s * time
    heading = Rotation.from_euler("ZY", [turn, -where.latitude_rad]).apply([0.0, math.sin(azimuth), math.cos(azimuth)])
    reached = Rotation.from_rotvec(np.cross(site, heading) * float(flown.arc_rad)).apply(site)
    wanted = plane_by_rotation(where, time).apply([math.cos(flown.node_angle_rad), math.sin(flown.node_angle_rad), 0.0])
    assert reached == pytest.approx(wanted, abs=INTEGRATED)
    assert bool(flown.rising) == (off < 0.0) or abs(off) < FLOAT_RAD


@settings(derandomize=True, deadline=None, max_examples=60)
@given(
    latitude=st.floats(-80.0, 80.0),
    inclination=st.floats(1.0, 179.0),
    time=st.floats(0.0, 90_000.0),
    arc=st.floats(0.01, TURN - 0.01),
)
def test_chosen_arc_and_chosen_node_come_back(latitude: float, inclination: float, time: float, arc: float) -> None:
    where = place(latitude, inclination)
    off = abs(float(off_plane(where, time)))
    azimuth = float(azimuth_for_arc(where, time, arc))
    if math.sin(off) > abs(math.sin(arc)):
        assert math.isnan(azimuth)
        return
    assert not math.isnan(azimuth)
    flown = launch_plane(where, time, azimuth)
    if off < 1e-6:
        return
    assert math.remainder(float(flown.arc_rad) - arc, math.pi) == pytest.approx(0.0, abs=WRITTEN_RAD)
    assert float(flown.tilt_rad) == pytest.approx(math.asin(math.sin(off) / abs(math.sin(arc))), abs=WRITTEN_RAD)


def test_off_plane_by_hand() -> None:
    """A site on the equator, a polar ring whose node is 10 deg east: d = 10 deg, by hand."""
    where = SiteAndPlane(
        latitude_rad=0.0,
        site0_rad=0.0,
        spin_rad_s=SPIN,
        inclination_rad=math.pi / 2,
        node0_rad=math.radians(10.0),
    )
    # the normal of the ring points to longitude 10 - 90 = -80 deg: the site is on its side
    assert math.degrees(float(off_plane(where, 0.0))) == pytest.approx(10.0)
    assert math.degrees(float(azimuth_of_least_tilt(where, 0.0))) == pytest.approx(0.0, abs=FLOAT_DEG)
    north = launch_plane(where, 0.0, 0.0)
    assert math.degrees(float(north.tilt_rad)) == pytest.approx(10.0)
    assert math.degrees(float(north.arc_rad)) == pytest.approx(90.0)
    assert math.degrees(float(north.node_angle_rad)) == pytest.approx(90.0)
    assert not north.rising
    # 30 deg downrange: sin(tilt) = sin 10 / sin 30
    near = launch_plane(where, 0.0, azimuth_for_arc(where, 0.0, math.radians(30.0)))
    assert math.degrees(float(near.tilt_rad)) == pytest.approx(
        math.degrees(math.asin(2 * math.sin(math.radians(10.0))))
    )
    assert math.isnan(float(azimuth_for_arc(where, 0.0, math.radians(9.9))))


def test_a_launch_in_the_plane_has_no_relative_node() -> None:
    where = place(0.0, 0.0)
    flown = launch_plane(where, [0.0, 500.0], math.pi / 2)
    assert flown.tilt_rad == pytest.approx([0.0, 0.0], abs=EXACT_RAD)
    assert np.isnan(flown.arc_rad).all()
    assert azimuth_for_arc(where, 0.0, np.array([0.5, math.pi])) == pytest.approx([math.pi / 2] * 2)


def test_undefined_azimuths_are_not_numbers() -> None:
    above_the_axis = place(90.0, 0.0)
    assert math.isnan(float(azimuth_for_arc(above_the_axis, 0.0, 1.0)))


def test_corridor_filters_passes_and_crosses_north() -> None:
    found = passes(place(28.5, 51.6), 0.0, SIDEREAL_DAY_S)
    eastward = in_corridor(found.azimuth_rad, math.radians(35.0), math.radians(120.0))
    assert found.ascending[eastward].tolist() == [True]
    assert in_corridor(np.radians([0.0, 300.0, 359.0]), math.radians(-60.0), math.radians(5.0)).all()
    assert not in_corridor(math.radians(6.0), math.radians(-60.0), math.radians(5.0))
    assert in_corridor([0.0, 3.0], 0.0, TURN).all()
    assert in_corridor(1.0, 1.0, 1.0)


def test_ground_azimuth_adds_back_to_the_orbital_velocity() -> None:
    body = Body(name="Tessaly", gm=9.1205e12, radius_m=1.21e6, sidereal_day_s=-70_200.0)
    speed = site_speed(body, Pad(name="Lee", latitude_rad=0.6))
    assert speed < 0.0
    azimuth, gain = ground_azimuth(np.radians([10.0, 200.0, 300.0]), 2600.0, speed)
    velocity = gain * np.exp(1j * azimuth) + 1j * speed
    assert np.abs(velocity) == pytest.approx([2600.0] * 3)
    assert np.degrees(np.angle(velocity)) % 360.0 == pytest.approx([10.0, 200.0, 300.0])
    assert site_speed(Body(name="Still", gm=1e12, radius_m=1e6), Pad(name="Lee")) == 0.0


def test_geometry_of_a_pad_and_a_plane_of_the_ring() -> None:
    body = Body(name="Tessaly", gm=9.1205e12, radius_m=1.21e6, sidereal_day_s=70_200.0, prime_meridian_rad=0.2)
    ring = Ring(
        radius_m=2e6,
        slots=3,
        rate_rad_s=1e-3,
        slot0_rad=0.0,
        gm=body.gm,
        inclination_rad=0.7,
        node_rad=0.1,
        node_rate_rad_s=-1e-7,
        planes=4,
    )
    where = SiteAndPlane.of(body, Pad(name="Lee", latitude_rad=0.3, longitude_rad=-0.5), ring, plane=1)
    assert where.site0_rad == pytest.approx(-0.3)
    assert where.node0_rad == pytest.approx(0.1 + math.pi / 2)
    assert where.relative_rate_rad_s == pytest.approx(TURN / 70_200.0 + 1e-7)


@pytest.mark.parametrize(
    "wrong",
    [{"latitude_rad": 1.6}, {"inclination_rad": -0.1}, {"inclination_rad": math.nan}, {"site0_rad": math.inf}],
)
def test_impossible_geometry_is_refused(wrong: dict[str, float]) -> None:
    values = {"latitude_rad": 0.1, "site0_rad": 0.0, "spin_rad_s": 1e-5, "inclination_rad": 0.2} | wrong
    with pytest.raises(InputError):
        SiteAndPlane(**values)


def test_spans_that_cannot_be_searched_are_refused() -> None:
    for span in ((0.0, math.inf), (10.0, 0.0), (math.nan, 1.0)):
        with pytest.raises(InputError, match="finite span"):
            passes(place(10.0, 20.0), *span)
    with pytest.raises(InputError, match="at least 0"):
        within(place(10.0, 20.0), -0.1, 0.0, 1.0)
