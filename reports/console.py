"""The way out to the terminal: what is printed is fit to print, and what could not be printed is said.

Standard output may be full, closed, or have lost its reader; the process may be asked to end. Each ends in one true
sentence on standard error, with the files that were completed by then.
"""

from __future__ import annotations

import os
import shutil
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from typing import IO

from ..models.errors import RingwrightError
from ..models.printable import escaped, printable
from ..models.readouts import listed
from .emphasis import Choice, emphasized, wanted

_color: ContextVar[Choice] = ContextVar("color", default="auto")


def width() -> int:
    """Characters in a line of the terminal, from 60 to 120; 80 where it does not say."""
    return max(60, min(shutil.get_terminal_size((80, 24)).columns, 120))


class OutputLostError(RingwrightError):
    """Standard output did not take all of what was to be printed."""


class Ended(KeyboardInterrupt):
    """The process was asked to end by a signal other than Ctrl-C."""


def say(text: str) -> None:
    """Print on standard output; a newline is added to nothing.

    Raises:
        OutputLostError: it is full or closed, or its reader has left.
    """
    if sys.stdout is None:
        raise OutputLostError("standard output is closed")
    with _lost():
        _write(sys.stdout, text)


def show(text: str) -> None:
    """Print a text for a person: as `say` does, with headings and warnings that stand out where that is wanted.

    Raises:
        OutputLostError: as for `say`.
    """
    if sys.stdout is not None and wanted(_color.get(), sys.stdout):
        with _lost():
            _write(sys.stdout, text, emphasized)
    else:
        say(text)


@contextmanager
def colored(choice: Choice) -> Iterator[None]:
    """Inside, texts for a person are printed so."""
    token = _color.set(choice)
    try:
        yield
    finally:
        _color.reset(token)


def flush() -> None:
    """See to it that all that was said has left. Raises OutputLostError."""
    if sys.stdout is not None:
        with _lost():
            sys.stdout.flush()


def complain(text: str) -> None:
    """Print a line on standard error, as far as there is one."""
    if sys.stderr is not None:
        with suppress(OSError, ValueError):
            _write(sys.stderr, text + "\n")
            sys.stderr.flush()


def give_up() -> None:
    """Leave standard output for good: what is still kept for it must not fail once more when the process ends."""
    with suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def kept_words(names: Sequence[str]) -> str:
    """What became of files, in words.

    >>> kept_words([]), kept_words(["plan.json", "out"])
    ('no file was written', 'plan.json and out were written and are complete')
    """
    if not names:
        return "no file was written"
    became, now = ("was", "is") if len(names) == 1 else ("were", "are")
    return f"{listed(list(names))} {became} written and {now} complete"


@contextmanager
def ending_in_order() -> Iterator[None]:
    """Turn a request to end (SIGTERM, a terminal that goes away) into :class:`Ended`, so that all is cleaned up."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = {}
    for number in _ENDINGS:
        # who is to outlive the terminal ignores its end already
        if signal.getsignal(number) is signal.SIG_DFL:
            before[number] = signal.signal(number, _end)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


_ENDINGS = [number for name in ("SIGTERM", "SIGHUP") if (number := getattr(signal, name, None)) is not None]


def _end(number: int, _: object) -> None:
    # once is enough: a second request must not cut the cleaning up short
    for one in _ENDINGS:
        signal.signal(one, signal.SIG_IGN)
    raise Ended(signal.Signals(number).name)


@contextmanager
def _lost() -> Iterator[None]:
    try:
        yield
    except BrokenPipeError:
        raise OutputLostError("the reader of standard output left before all was printed") from None
    except (OSError, ValueError) as fault:
        reason = getattr(fault, "strerror", None) or str(fault)
        raise OutputLostError(f"standard output does not take all of the text ({reason})") from None


def _write(stream: IO[str], text: str, dress: Callable[[str], str] = str) -> None:
    shown = printable(text, keep="\n")
    coding = getattr(stream, "encoding", None) or "utf-8"
    try:
        shown.encode(coding)
    except UnicodeEncodeError:
        shown = "".join(one if _has(coding, one) else escaped(one) for one in shown)
    # what came from files is escaped by now: nothing but what is put in here steers the terminal
    stream.write(dress(shown))


def _has(coding: str, one: str) -> bool:
    try:
        return bool(one.encode(coding))
    except UnicodeEncodeError:
        return False
