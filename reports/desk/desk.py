"""What stands on the desk: the scenario as read and as changed, the answer to it, and what is being planned.

All of it lives in the server's event loop; only the planner's thread hands its messages in from outside.
"""

from __future__ import annotations

import asyncio
import math
import os
import time
from contextlib import suppress
from pathlib import Path
from typing import Any

from ...models.errors import InputError
from ...models.reading.scenario_reader import parse_scenario
from ...models.reading.toml_text import file_text
from ...models.scenario import Scenario
from .fields import fields_of, typed_value, words_of
from .one_craft import first_filled
from .planner import Heard, Job, Planner, SheetsOf
from .scenario_text import with_settings

LOOK_EVERY_S = 0.3
"""How often the file is examined."""

SAY_EVERY_S = 0.15
"""Words of progress are passed on no more often."""


class Desk:
    """A scenario that can be changed, planned again whenever it is.

    Args:
        file: of the scenario.
        settings: overrides of the command line, which every change comes after.
        time_limit_s, memory_bytes: of each planning.

    Raises:
        InputError: the scenario cannot be read.
    """

    def __init__(self, file: str, settings: list[str], *, time_limit_s: float, memory_bytes: float | None) -> None:
        self.file = file
        self._limits = (time_limit_s, memory_bytes)
        self._given = tuple(settings)
        self._seen = _stamp(file)
        self._text = file_text(Path(file), file)
        self._changes: dict[str, str] = {}
        self._before: list[dict[str, str]] = []
        self._scenario = parse_scenario(self._text, file, self._given)
        self._number = self._answered = 0
        self.answer = self.sheets = ""
        self._made = 0
        self._planning_since: float | None = None
        self._words = ""
        self._said_s = 0.0
        self._cancelled = False
        self._trouble = self._file_trouble = ""
        self._planner: Planner | None = None
        self._news = asyncio.Event()

    # ---- what is asked of it

    def open(self) -> None:
        """Start the planner and plan. To be called in the event loop."""
        loop = asyncio.get_running_loop()

        def hear(heard: Heard) -> None:
            with suppress(RuntimeError):  # the loop has ended, and the desk with it
                loop.call_soon_threadsafe(self._hear, heard)

        self._planner = Planner(hear)
        self._plan()

    def close(self) -> None:
        """End the planner."""
        if self._planner is not None:
            self._planner.close()

    def change(self, key: str, typed: str) -> str:
        """Set a field.

        Returns:
            What is wrong with the value, in words, in which case nothing has changed; empty where it was taken.

        Raises:
            InputError: there is no such field.
        """
        value = typed_value(key, typed)
        changes = {one: held for one, held in self._changes.items() if one != key}
        if value:
            changes[key] = value
        try:
            scenario = parse_scenario(self._text, self.file, self._settings(changes))
        except InputError as fault:
            return words_of(fault, key, typed)
        if changes != self._changes:
            self._before.append(self._changes)
            self._take(self._text, changes, scenario)
        return ""

    def undo(self) -> None:
        """Take the last change back, if there was one that can be."""
        while self._before:
            changes = self._before.pop()
            try:
                scenario = parse_scenario(self._text, self.file, self._settings(changes))
            except InputError:  # the file has changed since: what was before does not fit it
                continue
            self._take(self._text, changes, scenario)
            return
        self._announce()

    def cancel(self) -> None:
        """Stop planning; the answer before stays."""
        if self._planning_since is not None and self._planner is not None:
            self._planner.cancel()
            self._planning_since, self._cancelled = None, True
            self._number += 1
            self._announce()

    def again(self) -> None:
        """Plan what stands there, after planning was cancelled or failed."""
        if self._planning_since is None:
            self._plan()

    def make_sheets(self, rank: int) -> None:
        """Make the sheets of another plan of the answer, if it is still that of the scenario as it stands."""
        if self._planner is not None and self._answered == self._number:
            self._planner.sheets(SheetsOf(number=self._answered, rank=rank))

    def scenario_text(self) -> str:
        """The scenario as it stands, as TOML."""
        return with_settings(self._text, self._settings(self._changes))

    def state(self) -> dict[str, Any]:
        """Everything that a tab shows but the answer itself, ready for JSON."""
        since, most_s = self._planning_since, self._limits[0]
        planning = None if since is None else {"words": self._words, "s": round(time.monotonic() - since, 1)}
        if planning is not None and math.isfinite(most_s):
            planning["most"] = most_s
        return {
            "file": os.path.basename(self.file),
            "planning": planning,
            "answer": self._answered,
            "sheets": self._made,
            "current": self._answered == self._number,
            "cancelled": self._cancelled,
            "trouble": self._file_trouble or self._trouble,
            "fields": fields_of(self._scenario, self._changes),
            "undo": len(self._before),
            "question": first_filled(self._scenario),
        }

    @property
    def news(self) -> asyncio.Event:
        """Set as soon as the state is no longer what it is now."""
        return self._news

    @staticmethod
    async def wait(news: asyncio.Event, seconds: float) -> None:
        """Wait until the state has changed, no longer than so many seconds."""
        try:
            await asyncio.wait_for(news.wait(), seconds)
        except TimeoutError:
            return

    async def watch(self) -> None:
        """Look at the file from time to time, for ever."""
        while True:
            await asyncio.sleep(LOOK_EVERY_S)
            self.look()

    def look(self) -> None:
        """Read the file if it has changed; what cannot be used is said, and what was there stays."""
        stamp = _stamp(self.file)
        # an editor that puts a new file in place of the old one takes it away for a moment
        if stamp == self._seen or stamp is None:
            return
        self._seen = stamp
        try:
            text = file_text(Path(self.file), self.file)
            scenario = parse_scenario(text, self.file, self._settings(self._changes))
        except InputError as fault:
            self._file_trouble = f"The file was saved, but cannot be used: {fault} What stands here is as it was."
            self._announce()
            return
        had_trouble, self._file_trouble = bool(self._file_trouble), ""
        if text != self._text:
            self._take(text, self._changes, scenario)
        elif had_trouble:
            self._announce()

    # ---- inside

    def _settings(self, changes: dict[str, str]) -> tuple[str, ...]:
        return (*self._given, *(f"{key}={value}" for key, value in changes.items()))

    def _take(self, text: str, changes: dict[str, str], scenario: Scenario) -> None:
        self._text, self._changes, self._scenario = text, changes, scenario
        self._plan()

    def _plan(self) -> None:
        assert self._planner is not None
        self._number += 1
        self._planning_since, self._words = time.monotonic(), ""
        self._cancelled, self._trouble = False, ""
        time_limit_s, memory_bytes = self._limits
        self._planner.ask(
            Job(
                number=self._number,
                text=self._text,
                file=self.file,
                settings=self._settings(self._changes),
                time_limit_s=time_limit_s,
                memory_bytes=memory_bytes,
            )
        )
        self._announce()

    def _hear(self, heard: Heard) -> None:
        """Take in what the planner says; what is about an older scenario is dropped."""
        if heard.number != self._number:
            return
        if heard.kind == "progress":
            self._words = heard.text
            if time.monotonic() - self._said_s < SAY_EVERY_S:
                return
            self._said_s = time.monotonic()
        elif heard.kind == "answer":
            self.answer, self.sheets = heard.text, ""
            self._made = 0
            self._answered, self._planning_since = heard.number, None
        elif heard.kind == "sheets":
            self.sheets = heard.text
            self._made += 1
        elif heard.kind == "failed":
            self._trouble, self._planning_since = heard.text, None
        elif heard.kind == "lost" and self._planning_since is not None:
            self._trouble = (
                "The planner ended unexpectedly, perhaps for want of memory. Plan again, or change something."
            )
            self._planning_since = None
        self._announce()

    def _announce(self) -> None:
        news, self._news = self._news, asyncio.Event()
        news.set()


def _stamp(file: str) -> tuple[int, int, int] | None:
    """What changes whenever a file is saved; None where there is none."""
    try:
        found = os.stat(file)
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino
