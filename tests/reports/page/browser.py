"""Headless Chromium for the page: found, started and watched."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from ringwright.optimizer.outcome import Outcome
from ringwright.reports.page.page import page_text

FLAGS = [
    # Chromium's own sandbox does not start for root, whom containers run as; only pages made here are opened
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def missing() -> str:
    """What there is not, in words; empty where a browser can be driven."""
    if find_spec("playwright") is None or find_spec("axe_playwright_python") is None:
        return "playwright is not installed: make test-page"
    return "" if _chromium() else "chromium is not installed: make test-page"


def _chromium() -> str | None:
    return shutil.which("chromium") or shutil.which("chromium-browser")


@contextmanager
def browser() -> Iterator[Any]:
    """A playwright browser with a fresh profile, closed at the end."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=_chromium(), headless=True, args=FLAGS)
        try:
            yield started
        finally:
            started.close()


def saved(outcome: Outcome, place: Path, rank: int | None = None, *, with_sheets: bool = False) -> Path:
    """The page of an outcome as a file."""
    place.write_text(page_text(outcome, rank=rank, with_sheets=with_sheets), encoding="utf-8")
    return place


class Watched:
    """A page that is open, and everything it should not have done.

    Args:
        home: a browser of `browser`.
        place: the file that is opened.
        facts: of the browser's context, as ``viewport`` or ``has_touch``.
    """

    def __init__(self, home: Any, place: Path, **facts: Any) -> None:
        self.context = home.new_context(**facts)
        self.page = self.context.new_page()
        self.requests: list[str] = []
        self.complaints: list[str] = []
        self.context.on("request", lambda request: self.requests.append(request.url))
        self.page.on("console", lambda said: self.complaints.append(f"{said.type}: {said.text}"))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("dialog", self._asked)
        self.place = place.as_uri()
        self.page.goto(self.place)

    def _asked(self, dialog: Any) -> None:
        self.complaints.append(f"dialog: {dialog.message}")
        dialog.dismiss()

    def close(self) -> None:
        """Close the page and hold it to what it may do: no request but for itself, no word on the console."""
        self.context.close()
        assert self.requests == [self.place]
        assert self.complaints == []
