"""The tables of an outcome as a workbook (Office Open XML, ``.xlsx``), where openpyxl is installed."""

from __future__ import annotations

import importlib.util
import io
import math
from pathlib import Path
from typing import Any

from ...models.errors import InputError
from ...models.printable import printable, shortened
from ...optimizer.outcome import Outcome
from ..files import write_bytes
from ..tables import tables

CELL_MAX = 32_000
"""Characters of a text in a cell: a spreadsheet takes 32 767 at most."""

LOOKED_AT = 1000
"""Rows by which a column is made wide."""

WIDEST = 40
"""Width of a column, in characters, beyond which longer texts run on."""


def needs_openpyxl() -> None:
    """Raise InputError where the library that writes workbooks is missing."""
    if importlib.util.find_spec("openpyxl") is None:
        raise InputError(
            "--excel needs openpyxl, which is not installed: pip install openpyxl (or ringwright[excel]), or take the "
            "CSV tables of --out DIR.",
            where="command line",
        )


def write_workbook(outcome: Outcome, path: str | Path) -> Path:
    """Write the tables, one sheet each: plans, craft, burns, front. Units are in the heads of the columns.

    Texts stay texts, whatever they begin with; an empty cell is a value that there is not.

    Raises:
        InputError: openpyxl is missing, or the file cannot be written.
    """
    needs_openpyxl()
    import openpyxl
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    # written row by row: a workbook in memory takes three times as long
    book = openpyxl.Workbook(write_only=True)
    for name, table in tables(outcome).items():
        sheet = book.create_sheet(name)
        sheet.freeze_panes = "A2"
        heads = [str(one) for one in table.columns]
        rows = [[_value(one) for one in row] for row in table.itertuples(index=False, name=None)]
        for column, head in enumerate(heads):
            longest = max([len(head), *(len(str(row[column])) for row in rows[:LOOKED_AT] if row[column] is not None)])
            sheet.column_dimensions[get_column_letter(column + 1)].width = min(longest + 2, WIDEST)
        bold = [WriteOnlyCell(sheet, value=head) for head in heads]
        for cell in bold:
            cell.font = Font(bold=True)
        sheet.append(bold)
        for row in rows:
            sheet.append([_as_text(WriteOnlyCell, sheet, one) if _looks_otherwise(one) else one for one in row])
    stream = io.BytesIO()
    book.save(stream)
    return write_bytes(path, stream.getvalue())


def _looks_otherwise(one: Any) -> bool:
    """Whether a text begins like a formula or an error value, which openpyxl would take it for."""
    return isinstance(one, str) and one.startswith(("=", "#"))


def _as_text(cell: Any, sheet: Any, text: str) -> Any:
    """A cell whose text is said to be one."""
    made = cell(sheet, value=text)
    made.data_type = "s"
    return made


def _value(one: Any) -> Any:
    """A value that a cell takes: numbers as they are, texts fit to print, None for what there is not."""
    if isinstance(one, str):
        return shortened(printable(one), CELL_MAX) or None
    if one is None or (isinstance(one, float) and not math.isfinite(one)):
        return None
    item = getattr(one, "item", None)
    return item() if callable(item) else one
