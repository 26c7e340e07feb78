"""The workbook, read by openpyxl: the tables with their types, and texts that stay texts."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from ringwright.models.errors import InputError
from ringwright.models.printable import printable
from ringwright.reports.exchange.workbook import write_workbook
from ringwright.reports.tables import tables
from ringwright.tests.reports.exchange.messages import EARTH, planned, renamed
from ringwright.tests.reports.exchange.test_orbit_messages import HOSTILE


def test_sheets_are_the_tables(tmp_path: Path) -> None:
    outcome = planned(EARTH)
    book = openpyxl.load_workbook(write_workbook(outcome, tmp_path / "plans.xlsx"))
    wanted = tables(outcome)
    assert book.sheetnames == list(wanted)
    for name, table in wanted.items():
        rows = list(book[name].iter_rows(values_only=True))
        assert list(rows[0]) == list(table.columns)
        assert len(rows) == len(table) + 1
        assert rows[1:]
        for row, values in zip(rows[1:], table.itertuples(index=False, name=None), strict=True):
            assert row
            for found, value in zip(row, values, strict=True):
                if value is None or value == "" or pd.isna(value):
                    assert found is None
                else:
                    assert found == value
                    assert isinstance(found, str) == isinstance(value, str)


MORE = {"too long for a cell": "x" * 40_000, "error value": "#N/A", "number": "007", "date": "2031-05-01"}


@pytest.mark.parametrize("name", [*HOSTILE, *MORE])
def test_hostile_names_are_text(name: str, tmp_path: Path) -> None:
    text = (HOSTILE | MORE)[name]
    path = write_workbook(renamed(planned(EARTH), text), tmp_path / "plans.xlsx")
    cell = openpyxl.load_workbook(path)["craft"]["B2"]
    assert cell.data_type == "s"
    shown = printable(text)
    assert cell.value == shown or (len(shown) > 32_767 and "characters left out" in str(cell.value))


def test_without_the_library_it_says_what_to_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda _: None)
    with pytest.raises(InputError, match="pip install openpyxl"):
        write_workbook(planned(EARTH), tmp_path / "plans.xlsx")
    assert list(tmp_path.iterdir()) == []
