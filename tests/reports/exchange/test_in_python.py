"""The exchange formats from a notebook: what the options write."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from ringwright.models.errors import InputError
from ringwright.reports.exchange.calendar import calendar_text
from ringwright.reports.exchange.folder import write_flights
from ringwright.reports.notebook.answers import Planned
from ringwright.tests.reports.exchange.messages import EARTH, planned


def test_a_plan_writes_what_the_options_write(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1900000000")
    answer = Planned(outcome=planned(EARTH))
    wanted = write_flights(planned(EARTH), tmp_path / "option").paths
    found = answer.write_flights(tmp_path / "method")
    assert [path.read_bytes() for path in found] == [path.read_bytes() for path in wanted]
    assert answer.calendar == calendar_text(planned(EARTH))
    assert answer.write_workbook(tmp_path / "plans.xlsx").stat().st_size > 5000


def test_without_a_plan_there_is_nothing_to_write(tmp_path: Path) -> None:
    answer = Planned(outcome=replace(planned(EARTH), plans=()))
    with pytest.raises(InputError, match="no plan to write"):
        answer.write_flights(tmp_path / "flights")
    with pytest.raises(InputError, match="no plan to write"):
        _ = answer.calendar
    assert list(tmp_path.iterdir()) == []
