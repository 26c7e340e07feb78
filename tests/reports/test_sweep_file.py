"""The file of a sweep: what is no sweep stays as it is, a spoiled cell is named, going on takes no time."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from ringwright.cli import main
from ringwright.models.errors import InputError
from ringwright.optimizer.outcome import Infeasible
from ringwright.optimizer.studies.executors import local_executor
from ringwright.optimizer.studies.sweep import Grid, Row, WorkersLostError, grid, sweep, sweep_through
from ringwright.reports.sweep import table_csv, text_row
from ringwright.reports.sweep_file import SweepFile
from ringwright.tests.reports.ended_workers import end_always, end_once
from ringwright.tests.worlds import ONE_OVER_QUILL

HOURS = "limits.finish_within_h=20,30,40,50"


def over() -> Grid:
    return grid(ONE_OVER_QUILL, "one.toml", (), (HOURS,))


def row(value: str) -> Row:
    return Row(values=(value,), delta_v_m_s=-0.0, worst_delta_v_m_s=1.5, finish_s=60.0, proved=True)


def filled(path: Path) -> str:
    """A file with two rows: one with a plan, one without."""
    with SweepFile(path, over()) as file:
        file.append(text_row(row("20")))
        file.append(text_row(Row(values=("30",), infeasible=Infeasible(reason="none", binds=(), together=False))))
    return path.read_text(encoding="utf-8")


NO_SWEEPS: dict[str, bytes] = {
    "a note without a line end": b"buy paint",
    "a note": b"buy paint\ncall the harbor\n",
    "an empty line": b"\n",
    "no text": b"\xff\xfe\x00\x01",
    "no text, with a line end": b"\xff\xfe\n\x00\x01",
    "zeros": b"\0" * 100,
    "a picture": b"\x89PNG\r\n\x1a\n\0\0",
    "one long cell": b'"' + b"x" * 300_000 + b'",2\n',
}


@pytest.mark.parametrize("content", NO_SWEEPS.values(), ids=NO_SWEEPS.keys())
def test_a_file_that_is_no_sweep_stays_as_it_is(
    content: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    scenario, notes = tmp_path / "one.toml", tmp_path / "notes.txt"
    scenario.write_text(ONE_OVER_QUILL, encoding="utf-8")
    notes.write_bytes(content)
    assert main(["sweep", str(scenario), "--vary", HOURS, "--csv", str(notes)]) == 2
    assert "name another file" in capsys.readouterr().err
    assert notes.read_bytes() == content


def test_a_note_below_the_rows_is_not_taken_for_a_row_that_was_cut_off(tmp_path: Path) -> None:
    path = tmp_path / "sweep.csv"
    content = filled(path) + "these are for the kitchen"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(InputError, match="these are for the kitchen"), SweepFile(path, over()):
        pass
    assert path.read_text(encoding="utf-8") == content


@pytest.mark.parametrize("size", [0, 1, 10, 200])
def test_a_header_that_was_cut_off_is_begun_again(size: int, tmp_path: Path) -> None:
    path = tmp_path / "sweep.csv"
    header = filled(path).splitlines(keepends=True)[0]
    path.write_text(header[:size], encoding="utf-8")
    with SweepFile(path, over()) as file:
        assert file.rows == []
    assert path.read_text(encoding="utf-8") == header


SPOILED: list[tuple[str, str, str, str]] = [
    ("0,1.5,,60", "0,1.5,,6O", "line 2", 'finish_s = "6O" is no number'),
    ("0,1.5,,60", "nan,1.5,,60", "line 2", 'delta_v_m_s = "nan" is no number'),
    ("optimal", "best", "line 2", 'proof = "best"'),
    ("\n20,", "\n2O,", "line 2", 'limits.finish_within_h = "2O" is no value of the grid'),
    ("0,1.5,,60", "0,1.5,,", "line 2", 'finish_s = "" does not go with'),
    ("none", "", "line 3", 'no_plan = "" does not go with'),
    ("\n30,", "\n20,", "line 3", 'limits.finish_within_h = "20" begins a row of a point that has another'),
]


@pytest.mark.parametrize(("before", "after", "where", "words"), SPOILED)
def test_a_cell_changed_by_hand_is_named(before: str, after: str, where: str, words: str, tmp_path: Path) -> None:
    path = tmp_path / "sweep.csv"
    content = filled(path).replace(before, after, 1)
    assert content != filled(tmp_path / "other.csv")
    path.write_text(content, encoding="utf-8")
    with pytest.raises(InputError) as caught, SweepFile(path, over()):
        pass
    assert f"{path}, {where}: column {words}" in str(caught.value)
    assert "take the line out" in str(caught.value)
    assert path.read_text(encoding="utf-8") == content


class Points(tuple[tuple[str, ...], ...]):
    """Points that count how often they are gone through."""

    walks = 0

    def __iter__(self) -> Any:
        Points.walks += 1
        return super().__iter__()


def test_going_on_from_a_large_grid_goes_through_it_a_few_times(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    large = grid(ONE_OVER_QUILL, "one.toml", (), ("limits.finish_within_h=1..20000:1",))
    hashed = 0

    class Value(str):
        __slots__ = ()

        def __hash__(self) -> int:
            nonlocal hashed
            hashed += 1
            return super().__hash__()

    points = Points((Value(value),) for (value,) in large.points)
    monkeypatch.setattr(Grid, "points", property(lambda _: points))
    monkeypatch.setattr(
        "ringwright.optimizer.studies.sweep.plan_point", lambda text, file, settings, values, limits: row(values[0])
    )
    with ThreadPoolExecutor(max_workers=1) as executor:
        found = list(sweep(large, executor, done=points[:-10]))
    assert len(found) == 10
    assert Points.walks <= 3
    assert hashed <= 4 * len(points), "each point is looked up a few times, not once for each other"


@pytest.mark.skipif(os.name != "posix", reason="signals")
def test_a_killed_worker_is_replaced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    said: list[str] = []
    monkeypatch.setattr("ringwright.optimizer.studies.sweep.plan_point", partial(end_once, str(tmp_path / "killed")))
    found = list(sweep_through(over(), partial(local_executor, 1), replaced=said.append))
    assert (tmp_path / "killed").exists()
    monkeypatch.undo()
    with ThreadPoolExecutor(max_workers=1) as executor:
        wanted = list(sweep(over(), executor))
    assert sorted(found, key=lambda one: one.values) == sorted(wanted, key=lambda one: one.values)
    assert said == [
        "a worker was ended from outside (killed, or short of memory); 4 points are left and go to new workers."
    ]


@pytest.mark.skipif(os.name != "posix", reason="signals")
def test_workers_that_end_again_and_again_are_given_up_in_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("ringwright.optimizer.studies.sweep.plan_point", end_always)
    monkeypatch.setattr("ringwright.optimizer.studies.sweep.REPLACED_MAX", 0)
    scenario = tmp_path / "one.toml"
    scenario.write_text(ONE_OVER_QUILL, encoding="utf-8")
    with pytest.raises(WorkersLostError):
        list(sweep_through(over(), partial(local_executor, 1)))
    assert main(["sweep", str(scenario), "--vary", HOURS, "--workers", "1", "--csv", str(tmp_path / "a.csv")]) == 1
    said = capsys.readouterr().err
    assert "given up after 0 of 4 points; the same command goes on from" in said
    assert said.count("\n") == 1


def children(number: int) -> list[int]:
    """Processes that a process has started and that are still there."""
    done = subprocess.run(["ps", "-o", "pid=", "--ppid", str(number)], capture_output=True, text=True)
    return [int(word) for word in done.stdout.split()]


def until(what: Callable[[], bool]) -> bool:
    """Wait for something, at most half a minute."""
    end = time.monotonic() + 30.0
    while time.monotonic() < end:
        if what():
            return True
        time.sleep(0.05)
    return False


def alive(number: int) -> bool:
    try:
        return Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks at the table of processes")
@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGKILL])
def test_the_workers_end_with_the_sweep(how: signal.Signals, tmp_path: Path) -> None:
    scenario, rows = tmp_path / "one.toml", tmp_path / "rows.csv"
    scenario.write_text(ONE_OVER_QUILL, encoding="utf-8")
    command = [sys.executable, "-m", "ringwright", "sweep", str(scenario), "--workers", "1"]
    vary = "limits.finish_within_h=20..20000:1"
    running = subprocess.Popen(
        [*command, "--vary", vary, "--csv", str(rows)], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
    )
    assert until(lambda: rows.exists() and rows.read_bytes().count(b"\n") >= 2)
    workers = children(running.pid)
    assert workers
    running.send_signal(how)
    _, said = running.communicate(timeout=30)
    assert until(lambda: not any(map(alive, workers)))
    if how == signal.SIGTERM:
        assert running.returncode == 130
        assert b"ended by SIGTERM after" in said
        assert said.count(b"\n") == 1
    with SweepFile(rows, grid(ONE_OVER_QUILL, str(scenario), (), (vary,))) as file:
        assert file.rows
        assert table_csv(grid(ONE_OVER_QUILL, str(scenario), (), (vary,)), file.rows).count("\n") == len(file.rows) + 1
