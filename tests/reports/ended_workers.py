"""Stand-ins for planning a point that end their own worker, where other processes can import them."""

from __future__ import annotations

import os
import signal
from typing import Any

from ringwright.optimizer.studies.sweep import Row, plan_point


def end_once(mark: str, *arguments: Any, **limits: Any) -> Row:
    """Plan a point; the first worker that gets here is killed in the middle of it."""
    try:
        os.close(os.open(mark, os.O_CREAT | os.O_EXCL))
    except FileExistsError:
        return plan_point(*arguments, **limits)
    os.kill(os.getpid(), signal.SIGKILL)
    raise AssertionError("a killed process goes on")


def end_always(*_: Any, **__: Any) -> Row:
    """Plan nothing; every worker that gets here is killed."""
    os.kill(os.getpid(), signal.SIGKILL)
    raise AssertionError("a killed process goes on")
