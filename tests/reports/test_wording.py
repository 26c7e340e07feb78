"""Sentences about plans, and the numbers in them."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringwright.models.readouts import clock, instant, plain, span
from ringwright.optimizer.outcome import Kept
from ringwright.reports.wording import (
    against_text,
    changes_of,
    gained_rad,
    kept_text,
    small,
    way_text,
    why_text,
)
from ringwright.tests.reports import sample
from ringwright.tests.tolerances import FLOAT_S, HALF_OF_LAST, WRITTEN_RAD


@settings(derandomize=True, deadline=None, max_examples=200)
@given(st.floats(0.0, 4e6), st.integers(0, 3))
def test_a_clock_reads_back(seconds: float, places: int) -> None:
    hours, minutes, rest = clock(seconds, places).split(":")
    assert len(minutes) == 2
    assert 0 <= int(minutes) < 60
    assert 0.0 <= float(rest) < 60.0
    back = int(hours) * 3600 + int(minutes) * 60 + float(rest)
    assert back == pytest.approx(seconds, abs=HALF_OF_LAST * 10.0**-places)


@settings(derandomize=True, deadline=None, max_examples=200)
@given(st.floats(0.0, 4e6))
def test_a_span_is_right_to_its_last_unit(seconds: float) -> None:
    sizes = {"d": 86400, "h": 3600, "min": 60, "s": 1}
    words = span(seconds).split()
    back = sum(float(size) * sizes[unit] for size, unit in zip(words[::2], words[1::2], strict=True))
    half_s = 0.5 if seconds < 590.0 else 30.0
    assert abs(back - seconds) <= half_s + FLOAT_S


def test_an_instant_is_a_date_where_there_is_an_epoch() -> None:
    epoch = datetime(2031, 5, 1, tzinfo=UTC)
    assert instant(epoch, 86399.96, 1) == "2031-05-02 00:00:00.0 UTC"
    assert instant(epoch, 3600.5, 3) == "2031-05-01 01:00:00.500 UTC"
    assert instant(epoch.astimezone(timezone(timedelta(hours=2))), 0.0) == "2031-05-01 02:00:00 +0200"
    assert instant(None, 90061.0) == "1 d 1:01:01"


def test_small_numbers_keep_two_digits_without_powers_of_ten() -> None:
    assert small(0.000023) == "0.000023"
    assert small(1e-9) == "under 0.000001"
    assert small(-0.62) == "-0.62"
    assert plain(-0.0) == "0.0"


@pytest.mark.parametrize("make", [sample.relay, sample.dozen])
def test_gained_is_what_the_craft_moves_against_its_slot(make: object) -> None:
    outcome = make()  # type: ignore[operator]
    assert outcome.plans
    for plan in outcome.plans:
        for part in plan.craft:
            if part.side == "level":
                continue
            begin, end = part.burns[0].time_s, part.burns[-1].time_s
            slot_turned = float(outcome.ring.phase(end, part.slot) - outcome.ring.phase(begin, part.slot))
            craft_turned = 2.0 * math.pi * part.revolutions
            assert gained_rad(part) == pytest.approx(craft_turned - slot_turned, abs=WRITTEN_RAD)
            assert (gained_rad(part) > 0.0) == (part.side == "below")


def test_ways_are_said_in_words() -> None:
    birch, cedar, _ = sample.relay().plans[0].craft
    assert way_text(birch) == "gains 309.1 deg in 3 revolutions, lower orbit"
    assert way_text(cedar) == "gains 68.4 deg in 6 revolutions, lower orbit"
    falling = sample.relay().plans[-1].craft[1]
    assert way_text(falling).startswith("falls back ")
    assert way_text(falling).endswith(", higher orbit")
    level = sample.single().plans[0].craft[0]
    assert way_text(level) == "arrives in place"
    assert way_text(replace(level, burns=())) == "is in place"
    assert way_text(sample.parked().plans[0].craft[0]) == "waits 11 h 6 min in the parking orbit, arrives in place"
    assert way_text(replace(cedar, passes=1)).startswith("passes the ring 1 time before its first burn, gains")
    assert way_text(sample.freeform().plans[0].craft[0]).startswith("free-form, 2 burns")


def test_staying_craft_are_said_with_their_error() -> None:
    tolerance = math.radians(0.5)
    assert kept_text(Kept(craft="Alder", slot=1, error_rad=0.0), tolerance) == "Alder stays in slot 1"
    off = kept_text(Kept(craft="Alder", slot=1, error_rad=math.radians(-0.6)), tolerance)
    assert off == "Alder stays in slot 1; 0.6 deg behind, more than the tolerance"


def test_a_plan_is_set_against_the_first() -> None:
    plans = sample.relay().plans
    late, dear = plans[0].finish_s - plans[1].finish_s, plans[1].delta_v_m_s - plans[0].delta_v_m_s
    expected = f"{span(late)} sooner, {plain(dear)} m/s dearer: Cedar gains in 5 revolutions instead of 6"
    assert against_text(plans[1], plans[0]) == expected
    assert against_text(plans[0], plans[0]) == "same time, same delta-v"
    back = against_text(plans[0], plans[1])
    assert "later" in back
    assert "cheaper" in back


def test_craft_that_change_alike_share_a_sentence() -> None:
    outcome = sample.dozen()
    text = why_text(outcome.plans[9], outcome.plans[0])
    assert "fall back in 7 revolutions instead of 8" in text
    everyone = why_text(outcome.plans[9], outcome.plans[0], most=99)
    assert "other craft" not in everyone
    changes = changes_of(outcome.plans[9], outcome.plans[0])
    assert everyone == "; ".join(changes)
    first, *others = changes
    left = sum(changes[one] for one in others)
    verb = "changes" if left == 1 else "change"
    shortened = f"{first}; {left} other craft {verb} too" if others else first
    assert why_text(outcome.plans[9], outcome.plans[0], most=1) == shortened
    assert first not in why_text(outcome.plans[9], outcome.plans[0], most=99, known=[first])


def test_a_change_of_liftoff_and_insertion_is_said() -> None:
    outcome = sample.single()
    first = outcome.plans[0]
    birch = first.craft[0]
    assert birch.launch_s is not None
    later = replace(first, craft=(replace(birch, launch_s=birch.launch_s + 7800.0), *first.craft[1:]))
    assert why_text(later, first) == "Birch lifts off 2 h 10 min later"
    other = replace(first, craft=(replace(birch, route="park", insertion="low"), *first.craft[1:]))
    assert why_text(other, first) == "Birch goes by a parking orbit with insertion low"
