"""Names at the ends of lines: in the order of the lines, and none on another."""

from __future__ import annotations

import itertools

from hypothesis import given
from hypothesis import strategies as st

from ringwright.reports.figures.spacing import names_apart

HIGH, WIDTH = 0.17, 10.0


@given(st.lists(st.floats(-0.7, 0.7), min_size=2, max_size=6, unique=True))
def test_names_of_lines_that_stay_are_in_their_order(heights: list[float]) -> None:
    found = names_apart([(WIDTH, y) for y in heights], WIDTH, 1.0)
    placed = [y for _, (_, y, _) in sorted(zip(heights, found, strict=True))]
    assert {side for _, _, side in found} == {"left"}
    gaps = [above - below for below, above in itertools.pairwise(placed)]
    assert min(gaps) > 0.9 * HIGH


def test_names_of_lines_that_leave_stand_before_the_first_and_behind_the_last() -> None:
    found = names_apart([(6.4, -1.38), (5.8, -1.38), (6.5, -1.38), (4.0, 1.38)], WIDTH, 1.0)
    assert [side for _, _, side in found] == ["left", "right", "left", "left"]
    assert found[0][0] == found[2][0] == 6.5
    assert found[0][1] - found[2][1] > 0.9 * HIGH
    assert found[3] == (4.0, 1.38, "left")
