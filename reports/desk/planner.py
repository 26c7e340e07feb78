"""Planning in a process beside the server, so that the server answers meanwhile and planning can be cancelled.

The process lives as long as the desk and keeps its libraries loaded. It is asked to stop first and ended where it does
not come to a stop; it ends by itself when the desk is gone, in whatever way.
"""

from __future__ import annotations

import os
import queue
import signal
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from ...optimizer.outcome import Outcome

GRACE_S = 2.0
"""How long a planner may take to stop before it is ended."""


@dataclass(frozen=True, kw_only=True)
class Job:
    """A scenario to plan.

    Args:
        number: of the job, ever growing.
        text: TOML.
        file: what messages call it.
        settings: overrides.
        time_limit_s: of the search, infinite for none.
        memory_bytes: as for ``--memory-limit``; None for half of what is free.
    """

    number: int
    text: str
    file: str
    settings: tuple[str, ...]
    time_limit_s: float
    memory_bytes: float | None


@dataclass(frozen=True, kw_only=True)
class SheetsOf:
    """The sheets of one plan of the job that was answered last, by its number and the rank of the plan."""

    number: int
    rank: int


@dataclass(frozen=True, kw_only=True)
class Heard:
    """What the planner says about a job: words of progress or of failure, or data as JSON.

    ``answer`` is what a page shows, ``sheets`` of its best plan follow it, and of others when they are asked for;
    ``done``: the job has ended, well or not; ``lost``: the process has ended, of which no job is to blame.
    """

    number: int
    kind: Literal["progress", "answer", "sheets", "failed", "done", "lost"]
    text: str = ""


class Planner:
    """The process that plans, seen from the server.

    Args:
        hear: called from a thread with everything it says.
    """

    def __init__(self, hear: Callable[[Heard], None]) -> None:
        self._hear = hear
        self._context = get_context("spawn")
        self._lock = threading.Lock()
        self._busy: Job | None = None
        self._next: Job | None = None
        self._closed = False
        self._start()

    def ask(self, job: Job) -> None:
        """Plan this; what is being planned is dropped."""
        with self._lock:
            if self._busy is None:
                self._begin(job)
            else:
                self._next = job
                self._stop(self._busy)

    def sheets(self, asked: SheetsOf) -> None:
        """Make the sheets of another plan, after what is being done now."""
        with self._lock, suppress(OSError):
            self._pipe.send(asked)

    def cancel(self) -> None:
        """Drop what is being planned, and what was to come."""
        with self._lock:
            self._next = None
            if self._busy is not None:
                self._stop(self._busy)

    def close(self) -> None:
        """End the process."""
        with self._lock:
            self._closed = True
            self._process.kill()
        self._process.join()

    def _begin(self, job: Job) -> None:
        self._busy = job
        with suppress(OSError):  # it has ended: its listener hears so
            self._pipe.send(job)

    def _stop(self, job: Job) -> None:
        with suppress(OSError):
            self._pipe.send(job.number)
        timer = threading.Timer(GRACE_S, self._end, (job,))
        timer.daemon = True
        timer.start()

    def _end(self, job: Job) -> None:
        """End the process if it is still at a job that it was asked to stop."""
        with self._lock:
            if self._busy is job and not self._closed:
                self._process.kill()

    def _start(self) -> None:
        self._pipe, theirs = self._context.Pipe()
        self._process = self._context.Process(target=plan_what_comes, args=(theirs,), daemon=True)
        self._process.start()
        theirs.close()
        threading.Thread(target=self._listen, args=(self._pipe,), daemon=True).start()

    def _listen(self, pipe: Connection) -> None:
        with suppress(EOFError, OSError):
            while True:
                heard: Heard = pipe.recv()
                if heard.kind == "done":
                    self._done()
                self._hear(heard)
        with self._lock:
            if self._closed:
                return
            lost, self._busy = self._busy, None
            self._start()
            following, self._next = self._next, None
            if following is not None:
                self._begin(following)
        self._hear(Heard(number=0 if lost is None else lost.number, kind="lost"))

    def _done(self) -> None:
        with self._lock:
            self._busy = None
            following, self._next = self._next, None
            if following is not None:
                self._begin(following)


def plan_what_comes(pipe: Connection) -> None:
    """The process: plans every job that comes through the pipe, one after the other; a number stops the job of it."""
    # Ctrl-C is for the server, which ends this process
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    jobs: queue.SimpleQueue[Job | SheetsOf] = queue.SimpleQueue()
    stopped: set[int] = set()
    threading.Thread(target=_work, args=(pipe, jobs, stopped), daemon=True).start()
    with suppress(EOFError, OSError):
        while True:
            said: Job | SheetsOf | int = pipe.recv()
            if isinstance(said, int):
                stopped.add(said)
            else:
                jobs.put(said)
    # the desk is gone; the thread that plans is not waited for
    os._exit(0)


def _work(pipe: Connection, jobs: queue.SimpleQueue[Job | SheetsOf], stopped: set[int]) -> None:
    from ...optimizer import plan  # noqa: F401 - loaded before it is needed
    from ..page import page  # noqa: F401

    held: tuple[int, Outcome | None] = (0, None)
    while True:
        asked = jobs.get()
        if isinstance(asked, Job):
            held = asked.number, _whole(asked, pipe, stopped)
        elif asked.number == held[0] and held[1] is not None and asked.number not in stopped:
            _send_sheets(held[1], asked, pipe)


def _whole(job: Job, pipe: Connection, stopped: set[int]) -> Outcome | None:
    """Plan a job and say when it has ended, in whatever way."""
    outcome = None
    try:
        outcome = _plan(job, pipe, lambda: job.number in stopped)
    except Exception as fault:
        said = f"planning failed by a fault of ours ({type(fault).__name__}), not of your input"
        pipe.send(Heard(number=job.number, kind="failed", text=said))
    pipe.send(Heard(number=job.number, kind="done"))
    return outcome


def _send_sheets(outcome: Outcome, asked: SheetsOf, pipe: Connection) -> None:
    """Make the sheets of a plan; what cannot be made is said in their place."""
    from ..page.page import packed, sheet_data

    try:
        made = sheet_data(outcome, rank=asked.rank)
    except Exception as fault:
        made = [{"craft": "none", "text": f"The sheets could not be made ({type(fault).__name__})."}]
    text = packed({"rank": asked.rank, "sheets": made})
    pipe.send(Heard(number=asked.number, kind="sheets", text=text))


def _plan(job: Job, pipe: Connection, stopped: Callable[[], bool]) -> Outcome | None:
    """Plan a job and send what comes of it."""
    import math

    from ...models import deadline
    from ...models.deadline import ENDED
    from ...models.errors import InputError
    from ...models.reading.scenario_reader import parse_scenario
    from ...optimizer.plan import make_plan
    from ..page.page import answer_data, packed, sheet_data
    from ..run_limits import Run, UndecidedError

    def say(kind: Literal["progress", "answer", "sheets", "failed"], text: str) -> None:
        pipe.send(Heard(number=job.number, kind=kind, text=text))

    def progress(words: str) -> None:
        say("progress", words)

    def over() -> float:
        return 0.0 if stopped() else math.inf

    try:
        scenario = parse_scenario(job.text, job.file, job.settings)
        with Run(job.time_limit_s, job.memory_bytes), deadline.ending(over):
            outcome = make_plan(scenario, progress)
    except InputError as fault:
        say("failed", str(fault))
        return None
    except UndecidedError as fault:
        if not stopped():
            say("failed", str(fault))
        return None
    if stopped():
        return None
    with suppress(*ENDED), deadline.ending(over):
        progress("page")
        say("answer", packed(answer_data(outcome)))
        say("sheets", packed({"rank": 1, "sheets": sheet_data(outcome, progress)}))
    return outcome
