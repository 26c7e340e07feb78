"""When a search has to end: one clock for a whole command, asked by every loop that may take long.

A search ends a while before everything has to, so that there is time left to fly the best plan it found. Loops call
:func:`poll`, which raises once the time is up; what a function computes does not depend on the clock: it comes back
whole, or not at all. Without :func:`within` nothing ends.
"""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field

Clock = Callable[[], float]
"""Seconds left, 0 or less when there are none."""

RESERVE_SHARE, RESERVE_MAX_S = 0.25, 10.0
"""What a search leaves of the time to fly what it found: a share of the limit, and s at most."""


class EndedError(Exception):
    """A search was ended by a limit of the run before it was done; nothing is known about the limits of the plan."""

    by = "a limit of the run"


class OutOfTimeError(EndedError):
    """Time ran out, somebody stopped the search, or the solver gave up."""

    by = "time"


ENDED = (EndedError, MemoryError)
"""What a search is ended by."""


def _never() -> float:
    return math.inf


def _nobody() -> bool:
    return False


_WHOLE: ContextVar[Clock] = ContextVar("whole", default=_never)
_NOW: ContextVar[Clock] = ContextVar("now", default=_never)
_STOPPED: ContextVar[Callable[[], bool]] = ContextVar("stopped", default=_nobody)


@dataclass(kw_only=True)
class Deadline:
    """The end of a command.

    Args:
        limit_s: from now on; infinite for none.
        clock: reading in s, ever growing.
    """

    limit_s: float = math.inf
    clock: Clock = time.monotonic
    stopped: bool = False
    _end_s: float = field(init=False)

    def __post_init__(self) -> None:
        self._end_s = self.clock() + self.limit_s

    @property
    def reserve_s(self) -> float:
        """What is kept for flying."""
        return min(RESERVE_SHARE * self.limit_s, RESERVE_MAX_S)

    def stop(self) -> None:
        """End the search now; what is kept for flying is left."""
        self.stopped = True
        self._end_s = min(self._end_s, self.clock() + self.reserve_s)

    def left_s(self) -> float:
        """Seconds until everything has to end."""
        return max(self._end_s - self.clock(), 0.0)

    def search_left_s(self) -> float:
        """Seconds until a search has to end."""
        return 0.0 if self.stopped else max(self._end_s - self.reserve_s - self.clock(), 0.0)


@contextmanager
def within(deadline: Deadline) -> Iterator[None]:
    """Inside, everything keeps to a deadline: searches to its earlier end, flights of what they found to its own."""
    whole, now = _WHOLE.set(deadline.left_s), _NOW.set(deadline.search_left_s)
    stop = _STOPPED.set(lambda: deadline.stopped)
    try:
        yield
    finally:
        _STOPPED.reset(stop)
        _WHOLE.reset(whole)
        _NOW.reset(now)


@contextmanager
def searching(clock: Clock) -> Iterator[None]:
    """Inside, a search ends when this clock or the one outside says so, whichever comes first."""
    outer = _NOW.get()
    now = _NOW.set(clock if outer is _never else lambda: min(outer(), clock()))
    try:
        yield
    finally:
        _NOW.reset(now)


@contextmanager
def ending(clock: Clock) -> Iterator[None]:
    """Inside, everything ends when this clock or the one outside says so, flights of what was found too."""
    outer = _WHOLE.get()
    whole = _WHOLE.set(clock if outer is _never else lambda: min(outer(), clock()))
    try:
        with searching(clock):
            yield
    finally:
        _WHOLE.reset(whole)


@contextmanager
def undisturbed() -> Iterator[None]:
    """Inside, nothing is ended: for what is short and has to be there before anything can be said."""
    now = _NOW.set(_never)
    try:
        yield
    finally:
        _NOW.reset(now)


@contextmanager
def flying() -> Iterator[None]:
    """Inside, the time kept for flying the best plan may be used."""
    now = _NOW.set(_WHOLE.get())
    try:
        yield
    finally:
        _NOW.reset(now)


class _Effort(threading.local):
    spent = 0.0


_EFFORT = _Effort()


def worked(units: float) -> None:
    """Count work done in this thread, in the units of :func:`effort`."""
    _EFFORT.spent += units


def effort(most: float) -> Clock:
    """A clock that ends a search once so much more was done, whatever the time: alike on every machine.

    Args:
        most: steps of the simplex method times rows and columns of their program; a hundred million are some 2 s.
    """
    end = _EFFORT.spent + most
    return lambda: math.inf if _EFFORT.spent < end else 0.0


def left_s() -> float:
    """Seconds left, infinite without a deadline."""
    return _NOW.get()()


def share(of: float) -> Clock:
    """A clock for a part, 0 to 1, of the time that is left now."""
    clock = _NOW.get()
    begun = clock()
    spare = (1.0 - of) * begun if math.isfinite(begun) else 0.0
    return lambda: max(clock() - spare, 0.0)


def over() -> bool:
    """Whether the time is up."""
    return left_s() <= 0.0


def stopped() -> bool:
    """Whether somebody stopped the search: more than what is needed to show what there is would keep them waiting."""
    return _STOPPED.get()()


def past(end_s: float | None) -> bool:
    """Whether the time is up, or a reading of ``time.monotonic`` has gone by (None for never)."""
    return (end_s is not None and time.monotonic() > end_s) or over()


def poll() -> None:
    """Go on if there is time left.

    Raises:
        OutOfTimeError: there is none.
    """
    if over():
        raise OutOfTimeError
