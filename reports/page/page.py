"""Write the page: template, style, script and data in one file that needs no network."""

from __future__ import annotations

import html
import json
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

from ...optimizer.one_plan import plan_of_rank
from ...optimizer.outcome import Outcome
from ..files import write_text
from ..sheet.sheet import sheets
from ..sheet.text import sheet_text
from ..terminal import plan_text
from .data import page_data

SHEETS_MOST = 12
"""Sheets are worked out by many flights a burn: for more craft than this the page names the command instead."""

TEXT_WIDTH = 100
"""Letters in a line of the text on the page."""

POLICY = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
POLICY += "form-action 'none'"
"""Of the page: nothing but what is in it."""


def page_text(
    outcome: Outcome,
    progress: Callable[[str], None] = lambda _: None,
    rank: int | None = None,
    *,
    with_sheets: bool = True,
) -> str:
    """The whole page as HTML.

    Args:
        outcome: feasible or not; without a plan the page holds the text that says why.
        rank: of the plan that is shown at first and whose sheets are in it, the best one without.
        with_sheets: whether the maneuver sheets of that plan are in it; they take flights of their own.

    Raises:
        InputError: there is no plan of that rank.
    """
    progress("page")
    data = answer_data(outcome, rank)
    data["sheets"] = sheet_data(outcome, progress, rank) if with_sheets else []
    return html_of(outcome.scenario.title, packed(data))


def write_page(
    outcome: Outcome,
    path: str | Path,
    progress: Callable[[str], None] = lambda _: None,
    rank: int | None = None,
) -> Path:
    """Write the page to a file, whole or not at all.

    Raises:
        InputError: it cannot be written, or there is no plan of that rank.
    """
    return write_text(Path(path), page_text(outcome, progress, rank))


def answer_data(outcome: Outcome, rank: int | None = None) -> dict[str, Any]:
    """What a page shows of an outcome, without sheets; the text as it is printed holds all that there is to say."""
    return {**page_data(outcome, rank), "text": plan_text(outcome, TEXT_WIDTH, rank), "sheets": []}


def packed(data: Any) -> str:
    """Data as JSON that may stand in a script: "<" never stands in it, so that no text can end the script."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for sign, written in (
        ("<", "\\u003c"),
        (">", "\\u003e"),
        ("&", "\\u0026"),
        ("\u2028", "\\u2028"),
        ("\u2029", "\\u2029"),
    ):
        text = text.replace(sign, written)
    return text


def html_of(
    title: str,
    data: str,
    *,
    policy: str = POLICY,
    head: str = "",
    style: str = "",
    above: str = "",
    script: str = "",
) -> str:
    """A page around its data.

    Args:
        title: of the window, as text.
        data: as of `packed`; empty where a script loads it.
        policy: what the browser may load, a Content Security Policy.
        head, style, above, script: what a page that is more than a file adds: markup in its head, style, markup between
            the answer and the pictures, script.
    """
    page = asset("page.html")
    # data and title last, the title of all: whatever mark stands in them is text by then
    for mark, text in (
        ("@@POLICY@@", html.escape(policy, quote=False)),
        ("@@HEAD@@", head),
        ("@@STYLE@@", asset("page.css") + style),
        ("@@ABOVE@@", above),
        ("@@SCRIPT@@", asset("page.js") + script),
        ("@@DATA@@", data),
        ("@@TITLE@@", html.escape(title)),
    ):
        before, _, after = page.partition(mark)
        page = before + text + after
    return page


def sheet_data(
    outcome: Outcome, progress: Callable[[str], None] = lambda _: None, rank: int | None = None
) -> list[dict[str, str]]:
    """The maneuver sheets of a plan as text, or the command that writes them where they are many."""
    if not outcome.plans:
        return []
    chosen = plan_of_rank(outcome, rank)
    burning = [part for part in chosen.craft if part.burns]
    if len(burning) > SHEETS_MOST:
        file = outcome.scenario.source.file or "SCENARIO"
        which = "" if rank in (None, 1) else f" --plan {rank}"
        return [{"craft": f"all {len(burning)} craft", "text": f"ringwright sheet {file}{which} --out DIR"}]
    progress("maneuver sheets")
    return [{"craft": one.craft, "text": sheet_text(one, 100)} for one in sheets(outcome, chosen)]


def asset(name: str) -> str:
    """A file that the page is made of."""
    return files(__package__).joinpath(name).read_text(encoding="utf-8")
