"""The one-craft question against published examples, a numerical flight and a recomputation with nothing but math."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from ringwright.optimizer.period import (
    Periods,
    Question,
    binding,
    drift,
    fitting,
    free_rows,
    least_left_m_s,
    reached,
    shortest_period_s,
    within_radii,
)
from ringwright.optimizer.problem.in_space import Standing
from ringwright.optimizer.routes import rephase as shift
from ringwright.tests.tolerances import (
    FLOAT_M_S,
    FLOAT_RAD,
    FLOWN_REL,
    HALF_THIRD_DECIMAL,
    HUNDREDTH_M_S,
    ROADS_REL,
    WRITTEN_M_S,
    WRITTEN_S,
)

EARTH_GM, EARTH_M = 398600.4415e9, 6378136.3  # EGM96 constants, as in Vallado's companion tests
RING_M = EARTH_M + 10_000e3

ROUNDING = 1e-10
"""Relative: two roads to the same double."""
PRINTED_KM_S = 2e-10
"""Vallado's companion tests print ten decimals of km/s and of a minute."""
SERVES = 1e-6
"""A limit is loosened or tightened by this share around the value that is said to serve."""


def asked(**changes: float) -> Question:
    """The worked question: slot 86 deg ahead, coming from 190 km, within 3 days."""
    base = Question(
        gm=EARTH_GM,
        ring_radius_m=RING_M,
        lead_rad=math.radians(86.0),
        other_m=EARTH_M + 190e3,
        floor_m=EARTH_M + 140e3,
        within_s=3 * 86400.0,
    )
    return replace(base, **changes)  # type: ignore[arg-type]


def by_hand(question: Question) -> dict[tuple[int, int], tuple[float, float, float, float]]:
    """(k, m) to period, other apsis, burn now and burn later: Kepler's third law and vis-viva, loops and math only."""
    radius, gm = question.ring_radius_m, question.gm
    turn_s = math.tau * math.sqrt(radius**3 / gm)
    circular = math.sqrt(gm / radius)
    arrival = math.sqrt(gm * (2.0 / radius - 2.0 / (radius + question.other_m)))
    found = {}
    for k in range(1, question.revolutions_max + 1):
        for m in range(max(13, question.revolutions_max + 1) + 1):
            wait = (m - question.lead_rad / math.tau) * turn_s
            if wait <= 0.0 or wait > question.within_s or abs(wait / k - turn_s) < WRITTEN_S:
                continue
            semi = (gm * (wait / k / math.tau) ** 2) ** (1.0 / 3.0)
            other = 2.0 * semi - radius
            if question.floor_m <= other <= question.ceiling_m:
                there = math.sqrt(gm * (2.0 / radius - 1.0 / semi))
                found[k, m] = (wait / k, other, there - arrival, circular - there)
    return found


def pairs(rows: Periods) -> list[tuple[int, int]]:
    """(k, m) of each row."""
    return [(int(k), int(m)) for k, m in zip(rows.revolutions, rows.ring_revolutions, strict=True)]


QUESTIONS = [
    pytest.param(asked(), id="from below"),
    pytest.param(asked(other_m=EARTH_M - 400e3), id="a coast"),
    pytest.param(asked(other_m=RING_M, lead_rad=math.radians(-40.0), ceiling_m=EARTH_M + 40_000e3), id="on the ring"),
    pytest.param(asked(other_m=EARTH_M + 14_000e3, lead_rad=math.radians(-150.0), within_s=math.inf), id="from above"),
    pytest.param(asked(lead_rad=math.pi, revolutions_max=30, within_s=math.inf), id="many revolutions"),
]


@pytest.mark.parametrize("question", QUESTIONS)
def test_rows_are_those_of_a_recomputation(question: Question) -> None:
    """The same options, each with the same period, apsis and burns."""
    rows, hand = fitting(question), by_hand(question)
    assert sorted(pairs(rows)) == sorted(hand)
    assert len(rows) > 5
    for row, pair in enumerate(pairs(rows)):
        period_s, other_m, now, later = hand[pair]
        assert rows.period_s[row] == pytest.approx(period_s, rel=ROUNDING)
        assert rows.other_m[row] == pytest.approx(other_m, rel=ROUNDING)
        assert rows.burn_now_m_s[row] == pytest.approx(now, abs=WRITTEN_M_S)
        assert rows.burn_later_m_s[row] == pytest.approx(later, abs=WRITTEN_M_S)
        assert rows.total_m_s[row] == pytest.approx(abs(now) + abs(later), abs=WRITTEN_M_S)
        assert rows.wait_s[row] == pytest.approx(pair[0] * period_s, rel=ROUNDING)
    assert np.all(np.diff(rows.wait_s) >= -1e-6)


@pytest.mark.parametrize("question", QUESTIONS)
def test_unbeaten_rows_are_those_of_every_pair_compared(question: Question) -> None:
    """A row is beaten if some other is no worse in both and better in one; cheapest and soonest are unbeaten."""
    rows = fitting(question)
    for i in range(len(rows)):
        worse = (rows.total_m_s <= rows.total_m_s[i] + 1e-6) & (rows.wait_s <= rows.wait_s[i] + 1e-6)
        better = (rows.total_m_s < rows.total_m_s[i] - 1e-6) | (rows.wait_s < rows.wait_s[i] - 1e-6)
        assert rows.unbeaten[i] == (not (worse & better).any())
    assert rows.unbeaten[rows.cheapest]
    assert rows.unbeaten[rows.soonest]
    assert rows.total_m_s[rows.cheapest] == pytest.approx(rows.total_m_s.min(), abs=WRITTEN_M_S)
    assert rows.wait_s[rows.soonest] == rows.wait_s.min()


@pytest.mark.parametrize("row", [0, 1, 7])
def test_a_flight_of_a_row_ends_at_the_slot(row: int) -> None:
    """The burn of the row, integrated numerically (scipy DOP853), meets the slot where and when the row says."""
    question = asked()
    rows = fitting(question)
    speed = question.arrival_speed_m_s + rows.burn_now_m_s[row]
    flight = solve_ivp(
        lambda _, y: [y[2], y[3], *(-EARTH_GM * y[:2] / math.hypot(y[0], y[1]) ** 3)],
        (0.0, float(rows.wait_s[row])),
        [RING_M, 0.0, 0.0, speed],
        method="DOP853",
        rtol=1e-11,
        atol=1e-4,
    )
    x, y, vx, vy = flight.y[:, -1]
    slot = question.lead_rad + math.sqrt(EARTH_GM / RING_M**3) * rows.wait_s[row]
    assert math.hypot(x - RING_M * math.cos(slot), y - RING_M * math.sin(slot)) < 10.0
    # and the second burn makes the speed circular
    assert math.hypot(vx, vy) + rows.burn_later_m_s[row] == pytest.approx(
        math.sqrt(EARTH_GM / RING_M), abs=HUNDREDTH_M_S
    )
    reach = np.hypot(flight.y[0], flight.y[1])
    assert min(RING_M, rows.other_m[row]) - 10.0 <= reach.min() <= reach.max() <= max(RING_M, rows.other_m[row]) + 10.0


@pytest.mark.parametrize(
    ("turns", "minutes", "total_km_s"),
    [
        # Vallado, Example 6-8, companion tests (maneuver/test_transfer.py): the target 20 deg ahead
        (1, 225.6949830406, 0.2192686616),
        (2, 464.6661415543, 0.1064813979),
    ],
)
def test_vallado_example_6_8(turns: int, minutes: float, total_km_s: float) -> None:
    """Both parts of the example are rows of one question."""
    rows = fitting(
        Question(
            gm=EARTH_GM,
            ring_radius_m=12756.274e3,
            lead_rad=math.radians(20.0),
            other_m=12756.274e3,
            floor_m=EARTH_M + 100e3,
            revolutions_max=2,
        )
    )
    row = pairs(rows).index((turns, turns))
    assert rows.wait_s[row] / 60.0 == pytest.approx(minutes, abs=PRINTED_KM_S)
    assert rows.total_m_s[row] / 1e3 == pytest.approx(total_km_s, abs=PRINTED_KM_S)
    assert rows.burn_now_m_s[row] < 0.0 < rows.burn_later_m_s[row]
    assert rows.unbeaten[row]


def test_weber_orbit_through_the_earth_is_no_row() -> None:
    """Weber, Orbital Mechanics & Astrodynamics, Phasing: GEO to 137.2 W, n = 0 cuts the Earth, n = 1 is cheapest."""
    radius_m = (3.986e14 * (86164.0905 / math.tau) ** 2) ** (1.0 / 3.0)
    question = Question(
        gm=3.986e14,
        ring_radius_m=radius_m,
        lead_rad=math.radians(-137.2),
        other_m=radius_m,
        floor_m=6378e3,
        revolutions_max=1,
    )
    rows = fitting(question)
    assert (1, 0) not in pairs(rows)
    assert pairs(rows)[rows.cheapest] == (1, 1)
    assert (1, 0) in pairs(fitting(replace(question, floor_m=1e3)))


@pytest.mark.parametrize(
    ("lead_deg", "share"),
    # rules of thumb for one revolution; common practice, no source
    [(150.0, 0.583), (-10.0, 1.028)],
)
def test_rule_of_thumb_for_one_revolution(lead_deg: float, share: float) -> None:
    """To gain 150 deg fly 58.3 % of the ring's period; 3 % more lets the ring run 10 deg ahead."""
    rows = fitting(asked(other_m=RING_M, lead_rad=math.radians(lead_deg), floor_m=1e5, revolutions_max=1))
    ring_s = math.tau * math.sqrt(RING_M**3 / EARTH_GM)
    assert rows.period_s[pairs(rows).index((1, 1))] / ring_s == pytest.approx(share, abs=HALF_THIRD_DECIMAL)


def test_a_slot_where_the_craft_is_needs_no_phasing() -> None:
    """One burn of the whole difference, or none at all on the ring."""
    rows = fitting(asked(lead_rad=0.0))
    assert pairs(rows)[0] == (0, 0)
    assert rows.burn_later_m_s[0] == 0.0
    assert rows.burn_now_m_s[0] == pytest.approx(rows.total_m_s[0], abs=FLOAT_M_S)
    assert rows.period_s[0] == pytest.approx(math.tau * math.sqrt(RING_M**3 / EARTH_GM), rel=ROUNDING)
    on_ring = fitting(asked(lead_rad=0.0, other_m=RING_M))
    assert on_ring.total_m_s[on_ring.cheapest] == pytest.approx(0.0, abs=FLOAT_M_S)


def test_folded_in_stops_cost_nothing_more() -> None:
    """From below, stops between arrival and circular speed all cost the difference; beyond it twice the excess."""
    question = asked()
    rows = fitting(question)
    between = (rows.burn_now_m_s >= 0.0) & (rows.burn_later_m_s >= 0.0)
    assert np.array_equal(free_rows(question, rows), between)
    assert between.sum() > 10
    assert rows.total_m_s[between] == pytest.approx(least_left_m_s(question), abs=WRITTEN_M_S)
    over = rows.burn_later_m_s < 0.0
    assert over.any()
    assert rows.total_m_s[over] == pytest.approx(
        least_left_m_s(question) - 2.0 * rows.burn_later_m_s[over], abs=WRITTEN_M_S
    )


@pytest.mark.parametrize("row", [0, 3, 12])
def test_the_period_of_a_row_drifts_to_the_slot(row: int) -> None:
    """After its revolutions the error is zero, and a second too long is as many seconds too late at the touch."""
    question = asked()
    rows = fitting(question)
    k = int(rows.revolutions[row])
    exact = drift(question, float(rows.period_s[row]))
    assert exact.error_rad[k - 1] == pytest.approx(0.0, abs=FLOAT_RAD)
    longer = drift(question, float(rows.period_s[row]) + 1.0)
    # too long a period lets the slot run ahead: the craft is behind
    assert longer.error_rad[k - 1] == pytest.approx(-k * question.ring.rate_rad_s, rel=FLOWN_REL)
    assert longer.time_s[k - 1] == pytest.approx(rows.wait_s[row] + k, abs=WRITTEN_S)


def test_drift_ends_with_the_limits() -> None:
    """No revolution that ends too late or is one too many."""
    question = asked(within_s=60_000.0)
    assert drift(question, 18_000.0).time_s.tolist() == [18_000.0, 36_000.0, 54_000.0]
    assert drift(question, 20_000.0).time_s.tolist() == [20_000.0, 40_000.0, 60_000.0]
    assert drift(replace(question, revolutions_max=2), 18_000.0).revolutions.tolist() == [1, 2]
    assert drift(question, 60_001.0).revolutions.size == 0


def test_a_reached_period_is_the_question_from_there() -> None:
    """An overshot period from below: every row between it and the ring still costs the same in all."""
    question = asked()
    rows = fitting(question)
    got_s = float(rows.period_s[0]) + 300.0
    here = reached(question, got_s)
    semi = (EARTH_GM * (got_s / math.tau) ** 2) ** (1.0 / 3.0)
    assert here.other_m == pytest.approx(2.0 * semi - RING_M, rel=ROUNDING)
    stops = fitting(here)
    spent = here.arrival_speed_m_s - question.arrival_speed_m_s
    ahead = free_rows(here, stops)
    assert ahead.any()
    assert spent + stops.total_m_s[ahead] == pytest.approx(least_left_m_s(question), abs=WRITTEN_M_S)
    assert np.all(stops.period_s[ahead] > got_s)
    # going back to the period that was missed costs twice what was overshot
    back = pairs(stops).index((1, 1))
    assert spent + stops.total_m_s[back] == pytest.approx(
        least_left_m_s(question) - 2.0 * stops.burn_now_m_s[back], abs=WRITTEN_M_S
    )


def test_too_short_a_period_is_refused() -> None:
    """A fall to the center and back is the shortest orbit that touches the ring: 2^-1.5 of its period."""
    question = asked()
    assert shortest_period_s(question) == pytest.approx(question.ring.period_s / 2.0**1.5, rel=ROUNDING)
    with pytest.raises(ValueError, match="no orbit"):
        reached(question, shortest_period_s(question))
    assert reached(question, shortest_period_s(question) * 1.001).other_m > 0.0


def test_must_burn_and_radii() -> None:
    """A coast below the floor cannot wait; limits count with both ends."""
    assert asked(other_m=EARTH_M - 400e3).must_burn
    assert not asked().must_burn
    assert within_radii(asked(), EARTH_M + 140e3)
    assert not within_radii(asked(), EARTH_M + 139e3)
    assert not within_radii(asked(ceiling_m=EARTH_M + 12_000e3), EARTH_M + 12_001e3)


BOUND = [
    pytest.param(asked(within_s=3600.0), {("within",)}, id="time"),
    pytest.param(asked(floor_m=EARTH_M + 7000e3, within_s=21600.0), {("floor",), ("within",)}, id="floor or time"),
    pytest.param(
        asked(
            other_m=RING_M,
            lead_rad=math.radians(170.0),
            floor_m=EARTH_M + 5000e3,
            ceiling_m=EARTH_M + 12_000e3,
            within_s=28_800.0,
            revolutions_max=1,
        ),
        {("ceiling", "within"), ("revolutions", "within")},
        id="two together",
    ),
    pytest.param(asked(revolutions_max=0), {("revolutions",)}, id="revolutions"),
    pytest.param(
        asked(lead_rad=-2.0, revolutions_max=1, ceiling_m=EARTH_M + 11_000e3, within_s=math.inf),
        {("ceiling",), ("revolutions",)},
        id="ceiling or revolutions",
    ),
]


@pytest.mark.parametrize(("question", "expected"), BOUND)
def test_binding_limits_and_values_that_serve(question: Question, expected: set[tuple[str, ...]]) -> None:
    """The values named leave a row; a shade tighter in any of them leaves none."""
    assert len(fitting(question)) == 0
    sets = binding(question, EARTH_M + 100e3)
    assert {tuple(one.limit for one in several) for several in sets} == expected
    names = {"floor": "floor_m", "ceiling": "ceiling_m", "revolutions": "revolutions_max", "within": "within_s"}
    for several in sets:
        eased: dict[str, Any] = {
            names[one.limit]: int(one.serves) if one.limit == "revolutions" else one.serves for one in several
        }
        assert len(fitting(replace(question, **eased))) >= 1
        for one in several:
            key = names[one.limit]
            assert getattr(question, key) == one.value
            by: float = {"floor": 1.0 + SERVES, "revolutions": 0.0}.get(one.limit, 1.0 - SERVES)
            tighter = int(one.serves) - 1 if one.limit == "revolutions" else one.serves * by
            assert len(fitting(replace(question, **{**eased, key: tighter}))) == 0


leads = st.floats(-math.pi + 1e-6, math.pi)
others = st.floats(0.4, 1.6)


@settings(derandomize=True, deadline=None, max_examples=60)
@given(lead=leads, other=others, within=st.floats(1.2, 8.0))
def test_more_time_never_costs_more(lead: float, other: float, within: float) -> None:
    """A longer limit keeps every row that a shorter one had."""
    long = asked(lead_rad=lead, other_m=other * RING_M, floor_m=0.42 * RING_M, within_s=within * 20_860.0)
    short = replace(long, within_s=0.8 * long.within_s)
    few, many = fitting(short), fitting(long)
    assert set(pairs(few)) <= set(pairs(many))
    if len(few):
        assert many.total_m_s.min() <= few.total_m_s.min()
        assert few.total_m_s.min() >= least_left_m_s(short) - 1e-6


@settings(derandomize=True, deadline=None, max_examples=40)
@given(lead=leads, other=others, size=st.floats(0.01, 100.0))
def test_scaling_lengths_scales_speeds(lead: float, other: float, size: float) -> None:
    """Lengths by s at the same GM: times by s^1.5, speeds by s^-0.5 (Kepler's third law)."""
    one = asked(lead_rad=lead, other_m=other * RING_M, floor_m=0.45 * RING_M, revolutions_max=5, within_s=math.inf)
    two = replace(one, ring_radius_m=RING_M * size, other_m=one.other_m * size, floor_m=one.floor_m * size)
    here, there = fitting(one), fitting(two)
    assert sorted(pairs(here)) == sorted(pairs(there))
    assert there.wait_s == pytest.approx(here.wait_s * size**1.5, rel=ROADS_REL)
    assert there.total_m_s.min() == pytest.approx(here.total_m_s.min() / math.sqrt(size), rel=ROADS_REL, abs=FLOAT_M_S)


@settings(derandomize=True, deadline=None, max_examples=25)
@given(lead=leads, other=st.floats(0.45, 1.5))
def test_passing_the_ring_first_never_helps(lead: float, other: float) -> None:
    """Against the planner's route, which may pass untouched before its first burn: nothing it has is better."""
    question = asked(lead_rad=lead, other_m=other * RING_M, floor_m=0.42 * RING_M, within_s=6.0 * 20_860.0)
    rows = fitting(replace(question, revolutions_max=24))
    start = Standing(
        first_s=0.0,
        angle_rad=0.0,
        speed_m_s=question.arrival_speed_m_s,
        period_s=math.tau * math.sqrt((0.5 * (question.ring_radius_m + question.other_m)) ** 3 / EARTH_GM),
        other_m=question.other_m,
        on_ring=False,
        passed_other=False,
    )
    options = shift.phased(
        shift.Phasing(
            craft_class=0,
            touch=question.touch,
            start=start,
            slots=np.array([0]),
            floor_m=question.floor_m,
            ceiling_m=question.ceiling_m,
        )
    )
    assert options.passes.max(initial=0) > 0
    assert len(options.delta_v_m_s) > 0
    for delta_v, finish in zip(options.delta_v_m_s, options.finish_s, strict=True):
        assert ((rows.total_m_s <= delta_v + 1e-5) & (rows.wait_s <= finish + 1e-3)).any()
