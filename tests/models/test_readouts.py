"""Clock times, spans, instants, numbers: written and read back."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringwright.models import readouts
from ringwright.tests.tolerances import EXACT_RAD, HALF_DIGIT, HALF_NINTH_REL, HALF_THIRD_DIGIT, WRITTEN_S

EXACT = settings(derandomize=True, deadline=None, max_examples=200, database=None)


@EXACT
@given(st.integers(-(10**9), 10**9))
def test_clock_is_read_back(hundredths: int) -> None:
    seconds = hundredths / 100.0
    assert readouts.clock_seconds(readouts.clock(seconds, 2)) == pytest.approx(seconds, abs=WRITTEN_S)


@EXACT
@given(st.floats(0.0, 1e7))
def test_clock_never_shows_sixty(seconds: float) -> None:
    hours, minutes, rest = readouts.clock(seconds, 1).split(":")
    assert int(minutes) < 60
    assert float(rest) < 60.0
    assert int(hours) * 3600 + int(minutes) * 60 + float(rest) == pytest.approx(seconds, abs=HALF_DIGIT)


@pytest.mark.parametrize(
    "text", ["5:04", "5", "", "1:2:3", "5:4:09", "a:bb:cc", "1:00:60", "1:60:00", "1:00:00:00", "-"]
)
def test_what_is_no_clock_time(text: str) -> None:
    with pytest.raises(ValueError, match="write"):
        readouts.clock_seconds(text)


def test_both_readings_of_a_short_time() -> None:
    with pytest.raises(ValueError, match=r'5 h 04 min or as 5 min 04 s: write "5:04:00" or "0:05:04"'):
        readouts.clock_seconds("5:04")


@EXACT
@given(st.integers(0, 10**8))
def test_instant_is_the_standard_library_s(seconds: int) -> None:
    epoch = datetime(2031, 5, 1, tzinfo=UTC)
    shown = readouts.instant(epoch, float(seconds))
    assert (
        datetime.strptime(shown, "%Y-%m-%d %H:%M:%S UTC").replace(tzinfo=UTC).timestamp() == epoch.timestamp() + seconds
    )


@EXACT
@given(st.floats(-1e12, 1e12))
def test_numbers_are_read_back(value: float) -> None:
    assert float(readouts.plain(value, 3).replace(" ", "")) == pytest.approx(value, abs=HALF_THIRD_DIGIT)
    if abs(value) > 1e-6:
        assert float(readouts.brief(value, 9).replace(" ", "")) == pytest.approx(value, rel=HALF_NINTH_REL)


@EXACT
@given(st.floats(-1e4, 1e4))
def test_turned_angle(angle: float) -> None:
    turned = readouts.turned(angle)
    assert -math.pi < turned <= math.pi
    assert math.cos(turned - angle) == pytest.approx(1.0, abs=EXACT_RAD)


def test_span_of_no_end() -> None:
    assert readouts.span(math.inf) == "without end"
    assert readouts.span(0.0) == "0 s"
    assert readouts.span(2.5) == "2.5 s"
