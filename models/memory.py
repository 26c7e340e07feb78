"""How much memory a run may hold: asked before large arrays are made, so that they come in blocks or not at all.

Without :func:`within_memory` there is no limit.
"""

from __future__ import annotations

import math
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path

from .deadline import EndedError


class OutOfMemoryError(EndedError):
    """What comes next would take more memory than the run may hold."""

    by = "memory"


_LIMIT: ContextVar[float] = ContextVar("limit", default=math.inf)


@contextmanager
def within_memory(limit_bytes: float) -> Iterator[None]:
    """Inside, the process holds so many bytes at most, as far as is known beforehand."""
    token = _LIMIT.set(limit_bytes)
    try:
        yield
    finally:
        _LIMIT.reset(token)


def used_bytes() -> int:
    """What the process holds in memory now; where the system does not say, the most that it has held."""
    try:
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    except (OSError, ValueError, IndexError):
        return _peak_bytes()
    return pages * os.sysconf("SC_PAGE_SIZE")


def _peak_bytes() -> int:
    try:
        import resource
    except ImportError:  # not on every system
        return 0
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak if sys.platform == "darwin" else peak * 1024


def free_bytes() -> float:
    """What the system has to give without swapping; infinite where it does not say."""
    try:
        for line in Path("/proc/meminfo").read_text(encoding="ascii").splitlines():
            if line.startswith("MemAvailable:"):
                return 1024.0 * int(line.split()[1])
    except (OSError, ValueError, IndexError):
        pass
    try:
        return 0.5 * os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    except (AttributeError, OSError, ValueError):
        return math.inf


def room_bytes() -> float:
    """How much more the process may hold; infinite without a limit."""
    limit = _LIMIT.get()
    return math.inf if math.isinf(limit) else max(limit - used_bytes(), 0.0)


def need(size_bytes: float) -> None:
    """Go on if so much more fits.

    Raises:
        OutOfMemoryError: it does not.
    """
    if size_bytes > room_bytes():
        raise OutOfMemoryError
