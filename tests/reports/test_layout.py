"""Text set to a width: what must stay on one line stays there."""

from __future__ import annotations

import pytest

from ringwright.reports.layout import Column, columns, paragraph
from ringwright.reports.wording import folded

QUANTITIES = (
    "1 252.1 km",
    "4 d 22 h 48 min",
    "2031-05-06 04:47:53 UTC",
    "162.3 m/s",
    "10 000 km",
    "4 d 15:32:07",
    "7 s",
)


@pytest.mark.parametrize("width", [40, 60, 80, 100])
@pytest.mark.parametrize("shift", range(25))
def test_no_quantity_breaks_over_two_lines(width: int, shift: int) -> None:
    text = "x" * (shift + 1) + " " + " and then ".join(QUANTITIES)
    for lines in (
        paragraph(text, width, indent="  ", hang="    "),
        columns([Column(title="t", wraps=True)], [[text]], width),
    ):
        assert max(map(len, lines)) <= width
        assert all(any(one in line for line in lines) for one in QUANTITIES)
        assert "\xa0" not in "".join(lines)


def test_a_quantity_wider_than_the_line_breaks_at_its_spaces() -> None:
    assert paragraph("at 2031-05-06 04:47:53 UTC", 12) == ["at", "2031-05-06", "04:47:53 UTC"]


def test_headings_give_way_before_the_table_does() -> None:
    heads = [Column(title="period at cut-off", right=True), Column(title="way", wraps=True)]
    lines = columns(heads, [["5:43:26.7", "gains 90.0 deg in 20 revolutions"]], 50, indent="")
    assert [line.rstrip() for line in lines] == [
        "period at  way",
        "  cut-off",
        "5:43:26.7  gains 90.0 deg in 20 revolutions",
    ]


def test_notes_alike_but_for_names_and_numbers_are_folded() -> None:
    notes = [f"Craft{letter} waits {number} days." for number, letter in enumerate("ABCDEFGHI", start=1)]
    assert folded([*notes, "The rest is one of a kind."]) == [
        *notes[:3],
        "and 6 more notes of this kind in the file",
        "The rest is one of a kind.",
    ]
    assert folded(["one", "one"]) == ["one"]
