"""Tables: they read back as written, join on ``plan``, and carry the result's own numbers."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from ringwright.optimizer.outcome import Outcome
from ringwright.reports.result import result
from ringwright.reports.tables import BURNS, CRAFT, FRONT, PLANS, tables, write_tables
from ringwright.tests.reports import sample
from ringwright.tests.tolerances import MILLIMETER_M_S, ULP_REL


@pytest.mark.parametrize("make", [sample.relay, sample.dozen, sample.broken, sample.freeform])
def test_tables_read_back_as_written(make: Callable[[], Outcome], tmp_path: Path) -> None:
    outcome = make()
    written = tables(outcome)
    paths = write_tables(outcome, tmp_path)
    assert [path.name for path in paths] == ["plans.csv", "craft.csv", "burns.csv", "front.csv"]
    for path in paths:
        table = written[path.stem]
        back = pd.read_csv(path, keep_default_na=False, na_values=[""])
        assert list(back.columns) == list(table.columns)
        assert len(back) == len(table)
        assert len(table.columns)
        for name in table.columns:
            expected = table[name].replace("", None)
            if expected.isna().all():
                assert back[name].isna().all()
            elif pd.api.types.is_numeric_dtype(expected) and not pd.api.types.is_bool_dtype(expected):
                assert back[name].to_numpy(float) == pytest.approx(expected.to_numpy(float), rel=ULP_REL, nan_ok=True)
            else:
                assert back[name].fillna("").tolist() == expected.fillna("").tolist()


def test_tables_hold_the_numbers_of_the_result() -> None:
    outcome = sample.relay()
    values, by_name = result(outcome), tables(outcome)
    assert by_name["plans"]["delta_v_m_s"].tolist() == [plan["delta_v_m_s"] for plan in values["plans"]]
    assert len(by_name["craft"]) == sum(len(plan["craft"]) for plan in values["plans"])
    sums = by_name["burns"].groupby(["plan", "craft"])["delta_v_m_s"].sum().reset_index()
    joined = by_name["craft"].merge(sums, on=["plan", "craft"], suffixes=("", "_of_burns"))
    assert len(joined) == len(by_name["craft"])
    assert joined["delta_v_m_s_of_burns"].tolist() == pytest.approx(joined["delta_v_m_s"].tolist(), abs=MILLIMETER_M_S)
    front = by_name["front"]
    assert front["finish_s"].is_monotonic_increasing
    chosen = front[front["plan"] == 1].iloc[0]
    assert (chosen["finish_against_plan_1_s"], chosen["delta_v_against_plan_1_m_s"]) == (0.0, 0.0)
    assert by_name["plans"]["differs"].tolist()[:2] == ["", "Cedar gains in 5 revolutions instead of 6"]


def test_without_a_plan_columns_remain() -> None:
    empty = tables(sample.impossible())
    assert [tuple(empty[name].columns) for name in ("plans", "craft", "burns", "front")] == [
        PLANS,
        CRAFT,
        BURNS,
        FRONT,
    ]
    assert all(len(table) == 0 for table in empty.values())


def test_columns_name_their_units() -> None:
    units = ("_s", "_m_s", "_kg", "_km", "_deg")
    bare = {
        "plan", "craft", "plane", "slot", "route", "side", "revolutions", "ring_revolutions", "passes", "pad",
        "carrier", "insertion", "must_burn", "closest_to", "burn", "at", "finish_at", "within_limits", "broken",
        "on_front", "kind", "differs",
    }  # fmt: skip
    for name in {*PLANS, *CRAFT, *BURNS, *FRONT} - bare:
        assert name.endswith(units), name
