"""A scenario file as text and as TOML: what cannot be read, and why, in words.

The one place in the room that touches files.
"""

from __future__ import annotations

import difflib
import os
import re
import select
import stat
import tomllib
from pathlib import Path
from typing import Any

from ..errors import InputError
from ..readouts import brief

LARGEST_BYTES = 1_000_000
"""A scenario is a page of text; anything above this is something else."""

PATIENCE_S = 3.0
"""How long a pipe is waited for that nothing writes into."""

LONGEST_LINE = 300
"""Characters of a line in which a common slip is looked for."""

STARTER = '[body] with name = "earth", [ring] with altitude_km and slots, and a [[craft]] with a name'
"""The least that a scenario says."""


def file_text(path: Path, file: str) -> str:
    """Text of a file of at most :data:`LARGEST_BYTES`, in UTF-8 with or without a mark at its start.

    Raises:
        InputError: there is no such file, or it is no readable text of that size.
    """
    if not file:
        raise InputError('"" is no name of a file: name a scenario file, such as my-ring.toml.')
    try:
        if stat.S_ISDIR(path.stat().st_mode):
            raise InputError(f"{file} is a folder: name a scenario file in it{_names_in(path)}.", where=file)
        if path.stat().st_size > LARGEST_BYTES:
            raise InputError(_too_large(f"{brief(path.stat().st_size / 1e6, 3)} MB"), where=file)
        data = _content(path, file)
    except FileNotFoundError:
        if path.is_symlink():
            raise InputError("a link to a file that is not there: check where it leads.", where=file) from None
        raise InputError(f"there is no such file: check the path{_near_files(path)}.", where=file) from None
    except (OSError, ValueError) as fault:
        reason = getattr(fault, "strerror", None) or str(fault)
        raise InputError(
            f"the file cannot be read ({reason}): check the path and its permissions.", where=file
        ) from None
    if len(data) > LARGEST_BYTES:
        raise InputError(_too_large("more than 1 MB"), where=file)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = data.count(b"\n", 0, fault.start) + 1
        raise InputError(
            f"the file is not UTF-8 text (byte 0x{data[fault.start]:02x} at place {fault.start}): save it as UTF-8.",
            where=f"{file}, line {line}",
        ) from None


def _content(path: Path, file: str) -> bytes:
    """What a file holds, to one byte beyond the limit.

    Raises:
        InputError: it is a pipe that nothing writes into, which would be waited for without end.
    """
    if not stat.S_ISFIFO(path.stat().st_mode):
        with path.open("rb") as stream:
            return stream.read(LARGEST_BYTES + 1)
    with os.fdopen(os.open(path, os.O_RDONLY | os.O_NONBLOCK), "rb") as stream:
        watch = select.poll()
        watch.register(stream, select.POLLIN)
        begun: bytes | None = None
        while not begun and not watch.poll(1000.0 * PATIENCE_S):
            # nothing for now where something writes, the end where nothing does
            begun = stream.raw.read(1)
            if begun == b"":
                raise InputError(
                    "it is a pipe that nothing writes into: name a file, or write into it first.", where=file
                )
        os.set_blocking(stream.fileno(), True)
        return (begun or b"") + stream.read(LARGEST_BYTES + 1)


def _too_large(size: str) -> str:
    return f"the file has {size}, which is no scenario: one has at most 1 MB, and was not read further."


def _names_in(folder: Path) -> str:
    try:
        found = sorted(item.name for item in folder.glob("*.toml"))[:3]
    except OSError:
        return ""
    return f", such as {found[0]}" if found else ""


def _near_files(path: Path) -> str:
    try:
        known = [item.name for item in path.parent.glob("*.toml")]
    except OSError:
        return ""
    near = difflib.get_close_matches(path.name, known, n=1, cutoff=0.7)
    return f" (did you mean {path.parent / near[0]}?)" if near else ""


_DEEP_KEY = re.compile(r"(?<![\w-])(?:(?:[\w-]++|\"[^\"\n]*+\"|'[^'\n]*+')[ \t]*+\.[ \t]*+){50}")


def toml_tree(text: str, file: str) -> dict[str, Any]:
    """Parse TOML. Raises InputError with the line, and where the slip is a common one, with what was meant."""
    deep = _DEEP_KEY.search(text)
    if deep is not None:
        # the parser would take the square of their number
        where = f"{file}, line {text.count(chr(10), 0, deep.start()) + 1}"
        raise InputError(
            f"{deep.group()[:20]}... joins more than 50 names by points: a key of a scenario needs four at most.",
            where=where,
        )
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise _not_toml(text, file, str(fault)) from None
    except RecursionError:
        raise InputError("brackets are nested too deeply: a scenario needs three levels at most.", where=file) from None
    except ValueError as fault:
        raise InputError(f"a value cannot be read ({fault}): write shorter numbers.", where=file) from None


def _not_toml(text: str, file: str, fault: str) -> InputError:
    place = re.search(r"\(at line (\d+), column (\d+)\)", fault)
    number = int(place.group(1)) if place else text.count("\n") + 1
    lines = text.split("\n")
    # searching a line takes the square of its length
    line = lines[number - 1][:LONGEST_LINE] if number <= len(lines) else ""
    where = f"{file}, line {number}"
    comma = re.search(r"([A-Za-z0-9_]+)\s*=\s*[-+]?(\d+),(\d+)\b", line)
    if comma:
        key, whole, part = comma.groups()
        return InputError(f"{key} = {whole},{part} has a decimal comma: write {key} = {whole}.{part}.", where=where)
    colon = re.search(r"([A-Za-z0-9_]+)\s*=\s*(\d+:\d\d(:\d\d(\.\d+)?)?)\s*(#|$|,|\})", line)
    if colon:
        key, clock = colon.group(1), colon.group(2)
        return InputError(f'{key} = {clock} needs quotes: write {key} = "{clock}" (h:mm:ss).', where=where)
    what = fault.partition(" (at ")[0]
    if what.startswith(("Cannot overwrite", "Cannot declare")):
        return InputError(
            f"{line.strip()[:60]} gives a key or a table a second time: keep one of them; a list of tables has two "
            "brackets, [[craft]].",
            where=where,
        )
    shown = f" in {line.strip()[:60]!r}" if line.strip() else ""
    return InputError(
        f"the file is not TOML here{shown} ({what[:1].lower()}{what[1:]}): write key = value on a separate line, "
        'texts in "quotes", tables as [name].',
        where=where,
    )
