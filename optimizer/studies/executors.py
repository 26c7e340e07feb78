"""Who does the work of a sweep: processes of this machine, or the workers of a Dask cluster.

Both are executors of ``concurrent.futures``. Results do not depend on who computed them.
"""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from importlib import import_module
from typing import Any

from ...models.errors import InputError

CONNECT_S = 10.0
"""How long a scheduler may take to answer."""


def _begin() -> None:
    # Ctrl-C is for the process that collects the rows; it ends its workers itself
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_leave_with_parent, daemon=True).start()


def _leave_with_parent() -> None:
    """End this worker when the process that collects the rows has ended, in whatever way."""
    from multiprocessing import connection, parent_process

    parent = parent_process()
    if parent is not None:
        connection.wait([parent.sentinel])
        os._exit(1)


@contextmanager
def local_executor(workers: int | None = None) -> Iterator[Executor]:
    """Processes of this machine, one a core by default; points not begun are dropped on the way out.

    Where the block is left by an exception, such as a request to end, points that are begun are dropped, too.
    """
    from multiprocessing import active_children, get_context

    before = set(active_children())
    executor = ProcessPoolExecutor(
        max_workers=workers or os.cpu_count() or 1, mp_context=get_context("spawn"), initializer=_begin
    )
    try:
        yield executor
    except BaseException:
        # before the workers go: an executor that finds them gone first takes that for a fault
        executor.shutdown(wait=False, cancel_futures=True)
        for child in set(active_children()) - before:
            child.terminate()
        raise
    finally:
        executor.shutdown(wait=True, cancel_futures=True)


@contextmanager
def cluster_executor(address: str) -> Iterator[Executor]:
    """The workers of a Dask scheduler; where one is lost, its points go to the others.

    Raises:
        InputError: Dask is not installed, or nobody answers at the address.
    """
    try:
        distributed: Any = import_module("distributed")
    except ImportError:
        raise InputError(
            "--cluster needs Dask's distributed scheduler: install ringwright[cluster]. Without it, --workers plans on "
            "the processes of this machine."
        ) from None
    try:
        client = distributed.Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError) as fault:
        raise InputError(
            f"no Dask scheduler answers at {address!r} ({fault}): give an address such as tcp://127.0.0.1:8786."
        ) from None
    try:
        # planning a point twice gives the same row, so a lost worker only costs time
        yield client.get_executor(pure=False, retries=3)
    finally:
        client.close()
