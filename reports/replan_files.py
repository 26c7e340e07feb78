"""A replan as files: what came of it, the plan that it leaves, and a sheet for each craft; all or none of them."""

from __future__ import annotations

from pathlib import Path

from ..optimizer.replan.answer import FromHere, Replan
from .files import whole_directory, write_text
from .folder import write_folder
from .replan import replan_json, replan_text
from .sheet.files import write_sheets
from .sheet.sheet import sheets

_PAGE_WIDTH = 110


def write_replan(done: Replan, here: FromHere | None, directory: str | Path) -> list[Path]:
    """Write ``replan.txt`` and ``replan.json``, and of the plan that is left what `write_folder` and `write_sheets` do.

    Args:
        here: the plan that it leaves; None where there is none, or nothing to do.
        directory: made where it is missing; files of other names in it are left alone.

    Raises:
        InputError: the directory cannot be written to.
    """
    place = Path(directory)
    with whole_directory(place) as passing:
        written = [
            write_text(passing / "replan.txt", replan_text(done, _PAGE_WIDTH)),
            write_text(passing / "replan.json", replan_json(done)),
        ]
        if here is not None:
            outcome = here.outcome
            written += write_folder(outcome, passing)
            written += write_sheets(sheets(outcome, outcome.plans[0]), passing)
    return [place / path.name for path in written]
