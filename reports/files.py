"""Files written whole or not at all.

A reader never meets half a file: it is written beside its place under a passing name and moved there when it is
complete. A run that fails or is cut off leaves what was there before.
"""

from __future__ import annotations

import errno
import os
import shutil
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from pathlib import Path
from typing import TYPE_CHECKING

from ..models.errors import InputError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

ELSEWHERE = "make room for it, or name another place"
"""What helps where a file cannot be written."""

PATIENCE_S = 3.0
"""How long a pipe is waited for that nothing reads from."""

_kept: ContextVar[list[str] | None] = ContextVar("kept", default=None)


@contextmanager
def kept_files() -> Iterator[list[str]]:
    """Take down what is completed inside this block: the names of files and folders, as given, in order."""
    names: list[str] = []
    token = _kept.set(names)
    try:
        yield names
    finally:
        _kept.reset(token)


def _keep(path: str | Path) -> None:
    names = _kept.get()
    if names is not None:
        names.append(os.fspath(path))


def write_text(path: str | Path, text: str) -> Path:
    """Write text as UTF-8, lines ending in a single newline character on every system.

    Returns:
        The path written.

    Raises:
        InputError: the place cannot be written to.
    """
    return write_bytes(path, text.encode("utf-8"))


def write_bytes(path: str | Path, content: bytes) -> Path:
    """Write bytes; whatever goes wrong, the path holds either what it held before or all of the content.

    A link is followed. A device or a pipe has no old content to keep and is written to directly.

    Returns:
        The path written.

    Raises:
        InputError: the place cannot be written to.
    """
    given = Path(path)
    place = _resolved(given)
    passing = place.with_name(f".{place.name}.{os.urandom(4).hex()}.part")
    try:
        if place.exists() and not place.is_file() and not place.is_dir():
            with os.fdopen(_device(place), "wb") as device:
                device.write(content)
            _keep(given)
            return given
        with passing.open("xb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(passing, place)
        _keep(given)
    except OSError as problem:
        raise InputError(f"cannot write {given}: {problem.strerror or problem}; {ELSEWHERE}.") from problem
    finally:
        with suppress(OSError):
            passing.unlink()
    return given


@contextmanager
def whole_directory(path: str | Path) -> Iterator[Path]:
    """Fill a directory that appears only when everything in it is complete.

    Yields a passing directory beside ``path`` to write into. When the block ends well it becomes ``path``; where
    ``path`` is a directory already, its files of the same names are replaced, each one whole, and all others are left
    alone. When the block fails nothing at ``path`` has changed.

    Raises:
        InputError: the place cannot be written to, or is a file.
    """
    place = _resolved(Path(path))
    if place.exists() and not place.is_dir():
        raise InputError(f"cannot write files into {path}: it is a file; give the name of a directory.")
    passing = place.with_name(f".{place.name}.{os.urandom(4).hex()}.part")
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        passing.mkdir()
    except OSError as problem:
        raise InputError(f"cannot write files into {path}: {problem.strerror or problem}; {ELSEWHERE}.") from problem
    try:
        # files in it count when the whole of it is there
        with kept_files():
            yield passing
        try:
            _settle(passing, place)
            _keep(path)
        except OSError as problem:
            raise InputError(
                f"cannot write files into {path}: {problem.strerror or problem}; {ELSEWHERE}."
            ) from problem
    finally:
        shutil.rmtree(passing, ignore_errors=True)


def write_answer(
    directory: str | Path, texts: Mapping[str, str], name: str, draw: Callable[[], Figure] | None
) -> list[Path]:
    """Write texts by the names of their files, and a figure of that name where there is one, into a whole directory.

    Raises:
        InputError: the directory cannot be written to.
    """
    from .figures.style import paper, save

    with whole_directory(directory) as passing:
        written = [write_text(passing / file, text) for file, text in texts.items()]
        if draw is not None:
            with paper():
                written += save(draw(), passing, name)
    return [Path(directory) / path.name for path in written]


def _device(place: Path) -> int:
    """Open a device or a pipe to be written to.

    Raises:
        OSError: what ``open`` raises, among it that nothing reads from the pipe, which is waited for in vain.
    """
    end = time.monotonic() + PATIENCE_S
    while True:
        try:
            opened = os.open(place, os.O_WRONLY | getattr(os, "O_NONBLOCK", 0))
        except OSError as problem:
            if problem.errno != errno.ENXIO:
                raise
            if time.monotonic() > end:
                raise OSError(errno.ENXIO, "nothing reads from this pipe") from None
            time.sleep(0.02)
        else:
            if hasattr(os, "set_blocking"):
                os.set_blocking(opened, True)
            return opened


def _resolved(path: Path) -> Path:
    """Where a path leads; what can be no path at all is refused here."""
    try:
        place = path.resolve()
        place.exists()
    except (OSError, ValueError, RuntimeError) as problem:
        reason = getattr(problem, "strerror", None) or problem
        raise InputError(f"cannot write {path}: {reason}; {ELSEWHERE}.") from problem
    return place


def _settle(passing: Path, place: Path) -> None:
    if not place.exists():
        os.rename(passing, place)
        return
    for file in sorted(passing.rglob("*")):
        target = place / file.relative_to(passing)
        if file.is_dir():
            target.mkdir(exist_ok=True)
        else:
            os.replace(file, target)
