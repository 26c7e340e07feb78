"""Values of options, checked as they are typed. Each raises ``argparse.ArgumentTypeError`` for what cannot be used."""

from __future__ import annotations

import argparse
import math
import os
from collections.abc import Callable
from pathlib import Path


def file_place(text: str) -> str:
    """A place for a file, or ``-``."""
    if text != "-" and (
        not text or "\0" in text or os.path.isdir(text) or not os.path.isdir(os.path.dirname(text) or ".")
    ):
        raise argparse.ArgumentTypeError(f"{text!r} is no place for a file: name a file in a folder that is there")
    return text


def folder_place(text: str) -> str:
    """A place for a folder, there or to be made."""
    place = Path(text)
    there = "\0" not in text and next((one for one in (place, *place.parents) if os.path.lexists(one)), None)
    if not text or not there or not there.is_dir():
        raise argparse.ArgumentTypeError(f"{text!r} is no place for a folder: name one, it need not be there yet")
    return text


def _whole(least: int, most: int, problem: str) -> Callable[[str], int]:
    """What reads a whole number from the least to the most that is allowed."""

    def read(text: str) -> int:
        if not text.isdecimal() or len(text) > 19 or not least <= int(text) <= most:
            raise argparse.ArgumentTypeError(f"{text} {problem}")
        return int(text)

    return read


rank = _whole(1, 2**63, "is no rank: plans are counted from 1")
workers = _whole(1, 1024, "is no number of processes from 1 to 1024")
slots = _whole(1, 500, "is no number of slots from 1 to 500")
plane = _whole(0, 100, "is no plane: planes are counted from 0 to 100 at most")
samples = _whole(1, 1_000_000_000, "is no number of flights from 1 to 1 000 000 000")
seed = _whole(0, 2**63 - 1, "is no whole number from 0 on")


def slots_deg(text: str) -> tuple[float, ...]:
    """Slots by how far each is ahead of slot 0: degrees, separated by commas; read into radians."""
    from ...models.keys import SEVERAL_MAX
    from ...models.reading.slot_pattern import fault

    try:
        listed = tuple(math.radians(float(one)) for one in text.split(","))
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text} is no list of angles: write it as 0,40,180,220") from None
    if len(listed) > SEVERAL_MAX:
        raise argparse.ArgumentTypeError(f"{len(listed)} slots are listed: up to {SEVERAL_MAX} would be accepted")
    wrong = fault(listed)
    if wrong:
        raise argparse.ArgumentTypeError(f"{text} {wrong.rstrip('.')}")
    return listed


def port(text: str) -> int:
    """A port that a program may listen on; 0 for a free one."""
    if not text.isdecimal() or not (text == "0" or 1024 <= int(text) <= 65535):
        raise argparse.ArgumentTypeError(f"{text} is no port from 1024 to 65535, nor 0 for a free one")
    return int(text)
