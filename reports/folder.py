"""Everything about an outcome in one directory, which appears complete or not at all."""

from __future__ import annotations

from pathlib import Path

from ..optimizer.outcome import Outcome
from .figures import draw_all
from .files import whole_directory, write_text
from .page.page import page_text
from .result import result_text
from .tables import write_tables
from .terminal import plan_text

_PAGE_WIDTH = 110


def write_folder(outcome: Outcome, directory: str | Path, rank: int | None = None) -> list[Path]:
    """Write the result, the text, the page, the tables and the figures.

    The page comes without maneuver sheets, which need further flights: ``ringwright page`` has them.

    Args:
        outcome: feasible or not; without a plan there are no figures and the tables have no rows.
        directory: made where it is missing; files of other names in it are left alone.
        rank: of the plan, the best one without, that text, page and figures show; the page too, like result and
            tables, holds all plans.

    Returns:
        The paths written, in the order result, text, page, tables, figures.

    Raises:
        InputError: the directory cannot be written to.
    """
    place = Path(directory)
    with whole_directory(place) as passing:
        written = [
            write_text(passing / "plan.json", result_text(outcome)),
            write_text(passing / "plan.txt", plan_text(outcome, _PAGE_WIDTH, rank)),
            write_text(passing / "page.html", page_text(outcome, rank=rank, with_sheets=False)),
            *write_tables(outcome, passing),
            *draw_all(outcome, passing, rank),
        ]
    return [place / path.name for path in written]
