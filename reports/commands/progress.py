"""What is being done, said on standard error while a command runs."""

from __future__ import annotations

import argparse
import math
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress

from ...models.printable import printable
from ..console import complain, width

PATIENCE_S = 2.0
"""Progress is shown once a command has taken this long."""
LINE_EVERY_S = 10.0
"""Where standard error is no terminal, a line of progress at most this often."""


class Progress:
    """Says on the terminal what is being done, once it takes long enough to wonder; in a file, a line now and then.

    Args:
        quiet: say nothing.
        limit_s: how long it may take at most, infinite where there is no limit.
    """

    def __init__(self, *, quiet: bool = False, limit_s: float = math.inf) -> None:
        self._quiet, self._limit_s = quiet, limit_s
        self._started = self._said = time.monotonic()
        self._live = sys.stderr is not None and sys.stderr.isatty()
        self._shown = False

    def __call__(self, what: str) -> None:
        if self._quiet:
            return
        now = time.monotonic()
        if self._live and now - self._started > PATIENCE_S:
            with suppress(OSError):
                _rewrite(printable(f"{self._time(now)}: {what}")[: width() - 1])
            self._shown = True
        elif not self._live and now - self._said > LINE_EVERY_S:
            complain(f"after {self._time(now)}: {what}")
            self._said = now

    def _time(self, now: float) -> str:
        """How long it has taken, and of how much."""
        most = f" of at most {self._limit_s:.0f} s" if math.isfinite(self._limit_s) else ""
        return f"{now - self._started:.0f} s{most}"

    def done(self) -> None:
        """Clear the line."""
        if self._shown:
            with suppress(OSError):
                _rewrite("")


@contextmanager
def shown_progress(arguments: argparse.Namespace, *, limited: bool = True) -> Iterator[Progress]:
    """Progress for the time of the block; its line is cleared at the end, whatever the end is.

    Args:
        limited: whether its time limit is for the whole of what is done.
    """
    progress = Progress(quiet=arguments.quiet, limit_s=arguments.time_limit if limited else math.inf)
    try:
        yield progress
    finally:
        progress.done()


def _rewrite(text: str) -> None:
    """Put a text in place of the line of the terminal."""
    sys.stderr.write(f"\r\033[K{text}")
    sys.stderr.flush()
