"""Maneuver sheets as plain text and as Markdown."""

from __future__ import annotations

from ..layout import closed, paragraph
from ..safe_text import markdown
from .sheet import EXACT, Sheet

BLANK = 16
"""Room to write a number in, as far as the page is wide enough."""


def sheet_text(sheet: Sheet, width: int = 80) -> str:
    """One sheet for a console or a line printer, never wider than ``width``; ends in a newline."""
    lines = [*paragraph(sheet.title, width), "=" * min(width, len(sheet.title)), *paragraph(sheet.summary, width)]
    for block in sheet.blocks:
        lines += ["", block.heading, "-" * len(block.heading)]
        for step in block.steps:
            lines += paragraph(f"[ ] {step}", width, indent="  ", hang="      ")
        if block.blanks:
            what = max(len(blank.what) for blank in block.blanks)
            expected = max(len(blank.expected) for blank in block.blanks)
            line = "_" * max(4, min(BLANK, width - 16 - what - expected))
            lines += [f"      {one.what:<{what}}  {one.expected:>{expected}}   read {line}" for one in block.blanks]
        if block.exact:
            rows = (EXACT, *block.exact)
            what, effect = (max(len(row[column]) for row in rows) for column in (0, 1))
            lines += ["", *(f"      {one:<{what}}  {other:>{effect}}" for one, other in rows)]
        for remark in block.remarks:
            lines += paragraph(remark, width, indent="  ", hang="  ")
    return closed(lines, sheet.caution, width)


def sheet_markdown(sheet: Sheet) -> str:
    """One sheet as Markdown, with task boxes and a table of what to read."""
    lines = [f"# {markdown(sheet.title)}", "", markdown(sheet.summary)]
    for block in sheet.blocks:
        lines += ["", f"## {markdown(block.heading)}", ""]
        lines += [f"- [ ] {markdown(step)}" for step in block.steps]
        if block.blanks:
            lines += ["", "| | expected | read |", "|---|---:|---|"]
            lines += [f"| {markdown(blank.what)} | {markdown(blank.expected)} | |" for blank in block.blanks]
        if block.exact:
            lines += ["", f"| {EXACT[0]} | {EXACT[1]} |", "|---|---:|"]
            lines += [f"| {markdown(what)} | {markdown(effect)} |" for what, effect in block.exact]
        for remark in block.remarks:
            lines += ["", markdown(remark)]
    lines += ["", f"*{markdown(sheet.caution)}*"]
    return "\n".join(lines) + "\n"
