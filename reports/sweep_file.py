"""A sweep as a CSV file that grows row by row and that a later run goes on from.

Nothing but a sweep of the same scenario is ever written to: any other file stays as it is.
"""

from __future__ import annotations

import csv
import io
import math
import os
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import IO

from ..models.errors import InputError
from ..optimizer.studies.sweep import Grid
from .safe_text import csv_text
from .sweep import MEASURED, MEASURES, TextRow, cells, head_cells

NUMBERS = (*MEASURED, "clearance_km", "tightest_room_share")
"""Columns that hold a number or nothing."""


class SweepFile:
    """A CSV file that grows by a whole line a point, and that a second run goes on from.

    Rows that are in the file already are in ``rows``; a last line that was cut off is dropped. Use as a context.

    Raises:
        InputError: the file holds something else, or rows of another scenario, or a cell that no sweep writes, or
            cannot be written.
    """

    def __init__(self, path: str | Path, over: Grid) -> None:
        self._path = Path(path)
        self._over = over
        self._header = head_cells(over)
        self._stream: IO[str] | None = None
        self.rows: list[TextRow] = []

    def __enter__(self) -> SweepFile:
        try:
            if self._path.exists() and not self._path.is_file():
                raise InputError(f"{self._path} is no file that can grow: name a new file.")
            before = self._path.read_bytes() if self._path.exists() else b""
            whole = before[: before.rfind(b"\n") + 1]
            self._read(whole.decode("utf-8"))
            # a character may be cut in its middle, too
            self._check_cut(before[len(whole) :].decode("utf-8", "ignore"), first=not whole)
            self._stream = self._path.open("r+" if before else "w", encoding="utf-8", newline="")
            self._stream.truncate(len(whole))
            self._stream.seek(0, os.SEEK_END)
            if not whole:
                self._line(self._header)
        except UnicodeDecodeError:
            raise self._other("is no text") from None
        except csv.Error as fault:
            raise self._other(f"is no sweep ({fault})") from None
        except (OSError, ValueError) as problem:
            reason = getattr(problem, "strerror", None) or problem
            raise InputError(f"cannot write {self._path}: {reason}; name another file.") from problem
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._stream is not None:
            self._stream.close()

    def _read(self, text: str) -> None:
        if not text:
            return
        lines = csv.reader(io.StringIO(text))
        header = next(lines, [])
        if header != self._header:
            raise self._other(f"has the columns {', '.join(header[:3])}, ..., not {', '.join(self._header[:3])}, ...")
        seen: dict[tuple[str, ...], TextRow] = {}
        for line in lines:
            row = self._row(line, lines.line_num)
            if seen.setdefault(row.values, row).fields != row.fields:
                raise self._spoiled(
                    lines.line_num, self._header[0], line[0], "begins a row of a point that has another"
                )
            self.rows.append(row)

    def _row(self, line: list[str], number: int) -> TextRow:
        if len(line) != len(self._header):
            raise self._other(f"has a line {number} that is not from a sweep ({','.join(line)[:60]})")
        if line[-1] != self._over.mark:
            raise self._other(f"holds rows of another scenario or other settings (line {number})")
        size = len(self._over.varied)
        row = TextRow(
            values=tuple(map(csv_text, line[:size])),
            fields=dict(zip(MEASURES, map(csv_text, line[size:-1]), strict=True)),
        )
        for vary, value in zip(self._over.varied, row.values, strict=True):
            if value not in vary.values and all(map(_is_number, vary.values)) and not _is_number(value):
                raise self._spoiled(number, vary.name, value, "is no value of the grid")
        for name in NUMBERS:
            if row.fields[name] and not _is_number(row.fields[name]):
                raise self._spoiled(number, name, row.fields[name], "is no number")
        planned = row.fields["delta_v_m_s"] != ""
        if row.fields["proof"] not in (("optimal", "bounded") if planned else ("", "undecided")):
            raise self._spoiled(number, "proof", row.fields["proof"], "does not go with the rest of the row")
        if planned != (row.fields["finish_s"] != ""):
            raise self._spoiled(number, "finish_s", row.fields["finish_s"], "does not go with the rest of the row")
        if planned == (row.fields["no_plan"] != ""):
            raise self._spoiled(number, "no_plan", row.fields["no_plan"], "does not go with the rest of the row")
        return row

    def _check_cut(self, text: str, *, first: bool) -> None:
        """Refuse a last line without an end that no sweep began: it would be lost."""
        if not text:
            return
        line = io.StringIO()
        csv.writer(line, lineterminator="\n").writerow(self._header)
        begun = (
            line.getvalue().startswith(text)
            if first
            else any(text.startswith(start) or start.startswith(text) for start in self._starts())
        )
        if not begun:
            raise self._other(f"ends in a line that is not from a sweep ({text[:60]})")

    def _starts(self) -> set[str]:
        """What the rows of this grid begin with."""
        size = len(self._over.varied)
        blank = dict.fromkeys(MEASURES, "")
        starts = set()
        for point in self._over.points:
            line = io.StringIO()
            csv.writer(line, lineterminator="\n").writerow(
                cells(self._over, TextRow(values=point, fields=blank))[:size]
            )
            starts.add(line.getvalue().removesuffix("\n") + ",")
        return starts

    def _other(self, problem: str) -> InputError:
        return InputError(f"{self._path} {problem}, so this sweep cannot go on from it: name another file.")

    def _spoiled(self, number: int, column: str, value: str, problem: str) -> InputError:
        return InputError(
            f'column {column} = "{value}" {problem}, so it was changed after the sweep wrote it: put it back, or take '
            "the line out, and its point is planned again.",
            where=f"{self._path}, line {number}",
        )

    def append(self, row: TextRow) -> None:
        """Add a row, and see to it that it is in the file."""
        self.rows.append(row)
        self._line(cells(self._over, row))

    def _line(self, line: Sequence[str]) -> None:
        assert self._stream is not None
        text = io.StringIO()
        csv.writer(text, lineterminator="\n").writerow(line)
        try:
            self._stream.write(text.getvalue())
            self._stream.flush()
            os.fsync(self._stream.fileno())
        except OSError as problem:
            raise InputError(
                f"cannot write {self._path}: {problem.strerror or problem}; make room for it and run the same command, "
                "which goes on from the rows that are there."
            ) from problem


def _is_number(text: str) -> bool:
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False
