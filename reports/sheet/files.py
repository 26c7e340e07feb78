"""Maneuver sheets as files, which appear complete or not at all."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from ..files import whole_directory, write_bytes, write_text
from ..safe_text import file_stem
from .sheet import Sheet
from .text import sheet_markdown, sheet_text


def write_sheets(sheets: Sequence[Sheet], directory: str | Path) -> list[Path]:
    """Write each sheet as text, Markdown and PDF, named after its craft; raises as `whole_directory` does."""
    from .pdf import sheet_pdf

    place = Path(directory)
    with whole_directory(place) as passing:
        written = []
        for number, sheet in enumerate(sheets, start=1):
            stem = f"sheet-{file_stem(number, sheet.craft)}"
            written.append(write_text(passing / f"{stem}.txt", sheet_text(sheet)))
            written.append(write_text(passing / f"{stem}.md", sheet_markdown(sheet)))
            written.append(write_bytes(passing / f"{stem}.pdf", sheet_pdf(sheet)))
    return [place / path.name for path in written]
