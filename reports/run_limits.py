"""The limits of a command itself: how long it may search, how much memory it may hold, and Ctrl-C."""

from __future__ import annotations

import argparse
import math
import re
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from types import FrameType

from ..models.deadline import ENDED, Deadline, within
from ..models.memory import OutOfMemoryError, free_bytes, used_bytes, within_memory

TIME_LIMIT_S = 60.0
"""How long a command searches by default."""

FREE_SHARE = 0.5
"""Of the memory that is free, what a command may take by default."""

LEAST_BYTES = 200e6
"""What Python and its libraries take before any work; a limit below this makes no sense."""

_SIZE = re.compile(r"(\d+(?:\.\d*)?)\s*(MB|GB)", re.IGNORECASE)


def add_run_limits(parser: argparse._ActionsContainer, what: str = "search") -> None:
    """Give a command the options ``--time-limit`` and ``--memory-limit``."""
    parser.add_argument(
        "--time-limit",
        type=_seconds,
        default=TIME_LIMIT_S,
        metavar="SECONDS",
        help=f"{what} no longer than that, flights included; what is not proved by then is marked with its gap; "
        f"default: {TIME_LIMIT_S:.0f}, none: no limit",
    )
    parser.add_argument(
        "--memory-limit",
        type=_bytes,
        default=None,
        metavar="SIZE",
        help="hold no more memory than that, as in 800MB or 2GB; what that leaves out is printed; "
        "default: half of what is free, none: no limit",
    )
    parser.add_argument("--quiet", action="store_true", help="print no progress on standard error")


def _seconds(text: str) -> float:
    if text == "none":
        return math.inf
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not 0.0 < value < math.inf:
        raise argparse.ArgumentTypeError(f"{text} is no number of seconds above 0; none lifts the limit")
    return value


def _bytes(text: str) -> float:
    if text == "none":
        return math.inf
    found = _SIZE.fullmatch(text)
    size = float(found[1]) * (1e6 if found[2].upper() == "MB" else 1e9) if found else 0.0
    if not LEAST_BYTES <= size < math.inf:
        raise argparse.ArgumentTypeError(
            f"{text} is no size of {LEAST_BYTES / 1e6:.0f}MB or more, such as 800MB or 2GB; none lifts the limit"
        )
    return size


def memory_bytes(limit: float | None, processes: int = 1) -> float:
    """The memory limit of each of several processes: what was asked for, or its part of half of what is free."""
    return used_bytes() + FREE_SHARE * free_bytes() / processes if limit is None else limit


class UndecidedError(Exception):
    """A command was ended before it had anything to show; the message says by what. ``stopped``: by Ctrl-C."""

    def __init__(self, message: str, *, stopped: bool) -> None:
        self.stopped = stopped
        super().__init__(message)


class Run:
    """A command that keeps to its limits while it is entered. The first Ctrl-C ends the search, a second one leaves.

    Args:
        time_limit_s: infinite for none.
        memory_limit: bytes, infinite for none, None for half of what is free beside what is held already.
    """

    def __init__(self, time_limit_s: float, memory_limit: float | None) -> None:
        self.deadline = Deadline(limit_s=time_limit_s)
        self.memory_bytes = memory_bytes(memory_limit)
        self._inside = ExitStack()

    @property
    def stopped(self) -> bool:
        """Whether somebody pressed Ctrl-C."""
        return self.deadline.stopped

    def __enter__(self) -> Run:
        with ExitStack() as inside:
            inside.enter_context(within(self.deadline))
            inside.enter_context(within_memory(self.memory_bytes))
            inside.enter_context(_hard_limit(self.memory_bytes))
            if threading.current_thread() is threading.main_thread():
                before = signal.signal(signal.SIGINT, self._interrupt)
                inside.callback(signal.signal, signal.SIGINT, before)
            self._inside = inside.pop_all()
        return self

    def _interrupt(self, *_: int | FrameType | None) -> None:
        if self.deadline.stopped:
            raise KeyboardInterrupt
        self.deadline.stop()
        sys.stderr.write("\nringwright: stopping after this step; Ctrl-C again leaves at once.\n")
        sys.stderr.flush()

    def __exit__(self, _: object, fault: BaseException | None, __: object) -> None:
        self._inside.close()
        if isinstance(fault, ENDED):
            raise UndecidedError(self._why(fault), stopped=self.stopped) from None

    def _why(self, fault: BaseException) -> str:
        """Why the command has nothing to show, in a sentence."""
        unknown = "before everything asked for was planned; whether it can be is not known."
        if self.stopped:
            return f"stopped {unknown}"
        if isinstance(fault, MemoryError | OutOfMemoryError):
            size = f"{self.memory_bytes / 1e6:.0f} MB"
            return f"the memory limit of {size} was reached {unknown} --memory-limit SIZE allows more."
        return (
            f"the time limit of {self.deadline.limit_s:g} s was reached {unknown} --time-limit SECONDS allows more, "
            "--time-limit none any."
        )


@contextmanager
def _hard_limit(memory_bytes: float) -> Iterator[None]:
    """Inside, the system itself refuses more memory: an array that nobody foresaw fails, the machine does not."""
    try:
        import resource
    except ImportError:  # not on every system
        yield
        return
    soft, hard = resource.getrlimit(resource.RLIMIT_DATA)
    ceiling = _data_bytes() + max(memory_bytes - used_bytes(), 0.0)
    known = math.isfinite(ceiling) and (hard == resource.RLIM_INFINITY or ceiling < hard)
    if known:
        resource.setrlimit(resource.RLIMIT_DATA, (int(ceiling), hard))
    try:
        yield
    finally:
        if known:
            resource.setrlimit(resource.RLIMIT_DATA, (soft, hard))


def _data_bytes() -> float:
    """What the process has asked the system for, used or not; infinite where the system does not say."""
    try:
        with open("/proc/self/status", encoding="ascii", errors="replace") as file:
            return next(1024.0 * int(line.split()[1]) for line in file if line.startswith("VmData:"))
    except (OSError, StopIteration, ValueError):
        return math.inf
