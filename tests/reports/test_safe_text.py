"""Names that other formats would take for their own marks: formulas, Markdown, TeX, letters that a font lacks."""

from __future__ import annotations

import csv
import io
import re
import warnings
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringwright.reports.figures.style import letters, paper, save, sheet
from ringwright.reports.safe_text import csv_cell, csv_text, file_stem, markdown, spelled
from ringwright.reports.sheet.files import write_sheets
from ringwright.reports.sheet.pdf import sheet_pdf
from ringwright.reports.sheet.sheet import Blank, Block, Sheet
from ringwright.reports.sheet.text import sheet_markdown
from ringwright.reports.tables import frame_csv

FORMULAS = ("=cmd|' /C calc'!A0", "+1+1", "-x", "@SUM(1)", "\tx", "\rx", "'=1")
NAMES = (
    "Spoon",
    "Größe",
    "Ложка",
    "水源",
    "מלח",
    "ช้อน",
    "$x^2$",
    "<b>&amp;",
    "..",
    "con",
    "🥄",
    "a/b\\c:d",
    "-",
    "A\u0301",
)


@pytest.mark.parametrize("text", FORMULAS)
def test_a_cell_begins_no_formula_and_keeps_its_text(text: str) -> None:
    assert csv_cell(text)[0] == "'"
    assert csv_text(csv_cell(text)) == text


@settings(derandomize=True, deadline=None, max_examples=200, database=None)
@given(st.text(alphabet="=+-@\t\r'1.ex", max_size=6))
def test_every_cell_can_be_read_back(text: str) -> None:
    assert csv_text(csv_cell(text)) == text


def test_a_table_holds_no_formula_and_its_numbers_stay_numbers() -> None:
    table = pd.DataFrame({"craft": list(FORMULAS), "m_s": [-1.5] * len(FORMULAS), "pad": [None] * len(FORMULAS)})
    rows = list(csv.reader(io.StringIO(frame_csv(table), newline="")))
    assert [row[0][0] for row in rows[1:]] == ["'", "'", "'", "'", "\\", "\\", "'"]
    assert {row[1] for row in rows[1:]} == {"-1.5"}
    assert {row[2] for row in rows[1:]} == {""}
    assert frame_csv(table[:0]) == "craft,m_s,pad\n"


def named(name: str) -> Sheet:
    block = Block(
        heading=f"Burn of {name}",
        steps=(f"{name} burns.",),
        blanks=(Blank(what=f"{name} | period", expected="1:00"),),
        remarks=(f"{name} waits.",),
    )
    return Sheet(craft=name, title=f"{name} to slot 1", summary=f"{name} goes.", blocks=(block,))


def test_markdown_takes_no_mark_from_a_name() -> None:
    text = sheet_markdown(named("*x* <script> [a](b) `c` | _d_ ~~e~~"))
    for mark in ("*", "<", "[a", "`", "| _", "~"):
        assert f"\\{mark[0]}" in text
    # every bar of the table that is not escaped is the table's
    (row,) = (line for line in text.splitlines() if "period" in line)
    assert len(re.findall(r"(?<!\\)\|", row)) == 4
    assert markdown("1. x").startswith("1\\.")
    assert markdown("# x").startswith("\\#")
    assert markdown("limits.finish_within_d") == "limits.finish_within_d"


def test_file_names_are_never_empty_never_a_path_and_unique(tmp_path: Path) -> None:
    written = write_sheets([named(name) for name in NAMES], tmp_path / "out")
    assert len({path.name for path in written}) == 3 * len(NAMES)
    assert all(path.parent == tmp_path / "out" for path in written)
    assert all(re.fullmatch(r"sheet-\d+(-[a-z0-9]+)*\.(txt|md|pdf)", path.name) for path in written)
    assert all(path.is_file() for path in written)
    assert file_stem(3, "水源") == "3"


@pytest.mark.parametrize("name", NAMES)
def test_a_sheet_can_be_set_whatever_the_name(name: str) -> None:
    content = sheet_pdf(named(name))
    assert content.startswith(b"%PDF-")
    assert content == sheet_pdf(named(name))
    if name == "Ложка":
        assert b"DejaVu" in content, "a font that has the letters"


def test_letters_that_no_font_has_are_spelled() -> None:
    assert spelled("水源", letters()) == "(U+6C34 U+6E90)"
    assert spelled("Ложка Größe", letters()) == "Ложка Größe"
    assert spelled("מלח", letters()) == "(U+05DE U+05DC U+05D7)", "set from left to right it would read backwards"
    assert spelled("a\u0301", letters()) == "á"


@pytest.mark.parametrize("name", NAMES)
def test_a_figure_draws_the_name_as_it_is(name: str, tmp_path: Path) -> None:
    with paper(), warnings.catch_warnings():
        warnings.simplefilter("error")
        figure, axes = sheet(3.0, 1.0, f"{name} $\\alpha$", name)
        label = axes.text(0.5, 0.5, f"{name} $x_1$")
        save(figure, tmp_path, "one")
    assert label.get_text().endswith("$x_1$")
    assert not label.get_parse_math()
