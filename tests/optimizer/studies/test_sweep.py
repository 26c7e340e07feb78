"""Grids, rows, and a sweep that goes on where it was cut off."""

from __future__ import annotations

import os
import signal
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from ringwright.models.errors import InputError
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.optimizer.plan import make_plan
from ringwright.optimizer.studies.sweep import Grid, Row, grid, plan_point, settings_of, sweep, vary
from ringwright.reports.sweep import in_order, table_csv, text_row
from ringwright.reports.sweep_file import SweepFile
from ringwright.tests.tolerances import MILLISECOND_S, WRITTEN_M_S
from ringwright.tests.worlds import ONE_OVER_QUILL

LINKED = "ring.altitude_km,craft.Reed.orbit.altitude_km=-2000,1000,2500"
TIME = "limits.finish_within_h=1,40"


class Counting(ThreadPoolExecutor):
    """An executor that remembers what it was asked for."""

    def __init__(self) -> None:
        super().__init__(max_workers=1)
        self.asked: list[tuple[str, ...]] = []

    def submit(self, fn: Any, /, *args: Any, **more: Any) -> Future[Any]:
        self.asked.append(args[-1])
        return super().submit(fn, *args, **more)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("ring.altitude_km", "write key="),
        ("ring.slots=", "write key="),
        ("ring.slots=3,,4", "write key="),
        ("ring.altitude_km=400..2000", "has no step"),
        ("ring.altitude_km=400..x:50", "is no range"),
        ("ring.altitude_km=2000..400:50", "lead up"),
        ("ring.altitude_km=400..2000:0", "lead up"),
        ("ring.altitude_km=0..1e9:1", "at most"),
        ("ring.slots=3,3", "twice"),
    ],
)
def test_what_is_varied_must_be_clear(text: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        vary(text)


def test_decimal_steps_are_exact() -> None:
    assert vary("limits.clearance_km=0..1:0.1").values[3] == "0.3"
    assert vary("ring.altitude_km=400..2000:50").values[-1] == "2000"
    assert vary("ring.altitude_km=400..1999:50").values[-1] == "1950"


@pytest.mark.parametrize("varied", [(), (TIME, TIME), ("ring.slots=2,3", TIME, LINKED)])
def test_one_or_two_quantities_are_varied(varied: tuple[str, ...]) -> None:
    with pytest.raises(InputError):
        grid(ONE_OVER_QUILL, "one.toml", (), varied)


@pytest.fixture(scope="module")
def over() -> Grid:
    return grid(ONE_OVER_QUILL, "one.toml", (), (LINKED, TIME))


@pytest.fixture(scope="module")
def rows(over: Grid) -> list[Row]:
    with ThreadPoolExecutor(max_workers=1) as executor:
        return list(sweep(over, executor))


def test_each_row_is_what_planning_the_point_gives(over: Grid, rows: list[Row]) -> None:
    assert {row.values for row in rows} == set(over.points)
    for row in rows:
        if row.values[0] == "-2000":
            assert "inside the body" in row.refused
            continue
        outcome = make_plan(parse_scenario(ONE_OVER_QUILL, "one.toml", settings_of(over, row.values)))
        if row.values[1] == "1":
            assert outcome.plans == ()
            assert row.delta_v_m_s is None
            assert row.infeasible == outcome.infeasible
            assert row.infeasible is not None
            assert row.infeasible.binds[0].limit == "limits.finish_within"
        else:
            assert row.delta_v_m_s == pytest.approx(outcome.plans[0].delta_v_m_s, abs=WRITTEN_M_S)
            assert row.finish_s == pytest.approx(outcome.plans[0].finish_s, abs=MILLISECOND_S)
            assert row.proved


def test_a_second_run_plans_only_what_is_missing(over: Grid, rows: list[Row], tmp_path: Path) -> None:
    path = tmp_path / "sweep.csv"
    with SweepFile(path, over) as file:
        for row in rows[:3]:
            file.append(text_row(row))
    whole = path.read_text(encoding="utf-8")
    # the last line is cut off in the middle, as by a power cut
    path.write_text(whole + ",".join(rows[3].values) + ",12.", encoding="utf-8")
    with SweepFile(path, over) as file, Counting() as executor:
        done = {row.values for row in file.rows}
        assert done == {row.values for row in rows[:3]}
        for row in sweep(over, executor, done):
            file.append(text_row(row))
        assert sorted(executor.asked) == sorted(set(over.points) - done)
        again = in_order(over, file.rows)
    assert path.read_text(encoding="utf-8").startswith(whole)
    assert table_csv(over, again) == table_csv(over, [text_row(row) for row in rows])
    with SweepFile(path, over) as file:
        assert {row.values for row in file.rows} == set(over.points)


@pytest.mark.parametrize(
    ("other", "words"),
    [
        (lambda: grid(ONE_OVER_QUILL.replace("5200", "5300"), "one.toml", (), (LINKED, TIME)), "another scenario"),
        (lambda: grid(ONE_OVER_QUILL, "one.toml", ("ring.slots=3",), (LINKED, TIME)), "another scenario"),
        (lambda: grid(ONE_OVER_QUILL, "one.toml", (), ("ring.slots=2,3", TIME)), "columns"),
    ],
)
def test_rows_of_another_sweep_are_never_mixed_in(
    over: Grid, rows: list[Row], tmp_path: Path, other: Any, words: str
) -> None:
    path = tmp_path / "sweep.csv"
    with SweepFile(path, over) as file:
        file.append(text_row(rows[0]))
    before = path.read_bytes()
    with pytest.raises(InputError, match=words), SweepFile(path, other()):
        pass
    assert path.read_bytes() == before


def test_a_file_that_is_no_sweep_is_left_alone(over: Grid, tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("buy paint\ncall the harbor\n", encoding="utf-8")
    with pytest.raises(InputError, match="columns"), SweepFile(path, over):
        pass
    assert path.read_text(encoding="utf-8") == "buy paint\ncall the harbor\n"


def leave_first(mark: str, *arguments: Any) -> Row:
    """Plan a point; the first worker that gets here is killed in the middle of it."""
    try:
        os.close(os.open(mark, os.O_CREAT | os.O_EXCL))
    except FileExistsError:
        return plan_point(*arguments)
    os.kill(os.getpid(), signal.SIGKILL)
    raise AssertionError("a killed process goes on")


@pytest.mark.soak
def test_a_killed_worker_of_a_cluster_loses_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    distributed = pytest.importorskip("distributed")
    from functools import partial

    from ringwright.optimizer.studies.executors import cluster_executor

    over = grid(ONE_OVER_QUILL, "one.toml", (), (f"limits.finish_within_h={','.join(str(20 + i) for i in range(12))}",))
    monkeypatch.setattr("ringwright.optimizer.studies.sweep.plan_point", partial(leave_first, str(tmp_path / "killed")))
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
        ) as cluster,
        cluster_executor(cluster.scheduler_address) as executor,
    ):
        found = list(sweep(over, executor))
    assert (tmp_path / "killed").exists()
    with ThreadPoolExecutor(max_workers=1) as executor:
        monkeypatch.undo()
        wanted = list(sweep(over, executor))
    assert sorted(found, key=lambda r: r.values) == sorted(wanted, key=lambda r: r.values)
