"""What is being done, said on standard error while a command runs."""

from __future__ import annotations

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
    """Says on the terminal what is being done, once it takes long enough to wonder; in a file, a line now and then."""

    def __init__(self) -> None:
        self._started = self._said = time.monotonic()
        self._live = sys.stderr is not None and sys.stderr.isatty()
        self._shown = False

    def __call__(self, what: str) -> None:
        now = time.monotonic()
        if self._live and now - self._started > PATIENCE_S:
            with suppress(OSError):
                _rewrite(printable(what)[: width() - 1])
            self._shown = True
        elif not self._live and now - self._said > LINE_EVERY_S:
            complain(f"after {now - self._started:.0f} s: {what}")
            self._said = now

    def done(self) -> None:
        """Clear the line."""
        if self._shown:
            with suppress(OSError):
                _rewrite("")


@contextmanager
def shown_progress() -> Iterator[Progress]:
    """Progress for the time of the block; its line is cleared at the end, whatever the end is."""
    progress = Progress()
    try:
        yield progress
    finally:
        progress.done()


def _rewrite(text: str) -> None:
    """Put a text in place of the line of the terminal."""
    sys.stderr.write(f"\r\033[K{text}")
    sys.stderr.flush()
