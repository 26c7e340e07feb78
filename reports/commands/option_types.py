"""Values of options, checked as they are typed. Each raises ``argparse.ArgumentTypeError`` for what cannot be used."""

from __future__ import annotations

import argparse
import math
import os
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


def rank(text: str) -> int:
    """The rank of a plan."""
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text} is no rank: plans are counted from 1")
    return int(text)


def workers(text: str) -> int:
    """A number of processes."""
    if not text.isdecimal() or not 1 <= int(text) <= 1024:
        raise argparse.ArgumentTypeError(f"{text} is no number of processes from 1 to 1024")
    return int(text)


def slots(text: str) -> int:
    """A number of slots."""
    if not text.isdecimal() or not 1 <= int(text) <= 500:
        raise argparse.ArgumentTypeError(f"{text} is no number of slots from 1 to 500")
    return int(text)


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


def plane(text: str) -> int:
    """A plane of a ring."""
    if not text.isdecimal() or int(text) > 100:
        raise argparse.ArgumentTypeError(f"{text} is no plane: planes are counted from 0 to 100 at most")
    return int(text)


def samples(text: str) -> int:
    """A number of flights."""
    if not text.isdecimal() or not 1 <= int(text) <= 1_000_000_000:
        raise argparse.ArgumentTypeError(f"{text} is no number of flights from 1 to 1 000 000 000")
    return int(text)


def seed(text: str) -> int:
    """A seed of random numbers."""
    if not text.isdecimal() or int(text) >= 2**63:
        raise argparse.ArgumentTypeError(f"{text} is no whole number from 0 on")
    return int(text)


def port(text: str) -> int:
    """A port that a program may listen on; 0 for a free one."""
    if not text.isdecimal() or not (text == "0" or 1024 <= int(text) <= 65535):
        raise argparse.ArgumentTypeError(f"{text} is no port from 1024 to 65535, nor 0 for a free one")
    return int(text)
