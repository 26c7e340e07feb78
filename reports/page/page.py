"""Write the page: template, style, script and data in one file that needs no network."""

from __future__ import annotations

import html
import json
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

from ...optimizer.outcome import Outcome
from ..files import write_text
from ..sheet.sheet import sheets
from ..sheet.text import sheet_text
from ..terminal import plan_text
from .data import page_data

SHEETS_MOST = 12
"""Sheets are worked out by many flights a burn: for more craft than this the page names the command instead."""


def page_text(outcome: Outcome, progress: Callable[[str], None] = lambda _: None, *, with_sheets: bool = True) -> str:
    """The whole page as HTML.

    Args:
        outcome: feasible or not; without a plan the page holds the text that says why.
        progress: called with words that say what is being done.
        with_sheets: whether the maneuver sheets of plan 1 are in it; they need further flights.
    """
    progress("page")
    data = page_data(outcome)
    data["text"] = "" if outcome.plans else plan_text(outcome, 100)
    data["sheets"] = _sheets(outcome, progress) if with_sheets else []
    # "<" never stands in the data, so that no text can end the script that holds it
    packed = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for sign, written in (
        ("<", "\\u003c"),
        (">", "\\u003e"),
        ("&", "\\u0026"),
        ("\u2028", "\\u2028"),
        ("\u2029", "\\u2029"),
    ):
        packed = packed.replace(sign, written)
    page = _asset("page.html")
    for mark, text in (
        ("@@TITLE@@", html.escape(outcome.scenario.title)),
        ("@@STYLE@@", _asset("page.css")),
        ("@@SCRIPT@@", _asset("page.js")),
        ("@@DATA@@", packed),
    ):
        before, _, after = page.partition(mark)
        page = before + text + after
    return page


def write_page(outcome: Outcome, path: str | Path, progress: Callable[[str], None] = lambda _: None) -> Path:
    """Write the page to a file, whole or not at all. Raises InputError where it cannot be written."""
    return write_text(Path(path), page_text(outcome, progress))


def _sheets(outcome: Outcome, progress: Callable[[str], None]) -> list[dict[str, str]]:
    if not outcome.plans:
        return []
    first = min(outcome.plans, key=lambda plan: plan.rank)
    burning = [part for part in first.craft if part.burns]
    if len(burning) > SHEETS_MOST:
        file = outcome.scenario.source.file or "SCENARIO"
        return [{"craft": f"all {len(burning)} craft", "text": f"ringwright sheet {file} --out DIR"}]
    progress("maneuver sheets")
    return [{"craft": one.craft, "text": sheet_text(one, 100)} for one in sheets(outcome, first)]


def _asset(name: str) -> str:
    return files(__package__).joinpath(name).read_text(encoding="utf-8")
