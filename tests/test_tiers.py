"""The long campaigns: each file that has one is in a part of `make soak`."""

from __future__ import annotations

import re
from pathlib import Path

import ringwright

ROOT = Path(ringwright.__file__).parent
MAKEFILE = (ROOT / "Makefile").read_text(encoding="utf-8")


def test_every_long_campaign_is_in_a_part_of_the_soak() -> None:
    marked = {
        path.relative_to(ROOT).as_posix()
        for path in (ROOT / "tests").rglob("test_*.py")
        if path != Path(__file__) and "mark.soak" in path.read_text(encoding="utf-8")
    }
    assert marked
    parts = dict(re.findall(r"^soak_(\w+) := (.*)$", MAKEFILE, flags=re.MULTILINE))
    listed = re.search(r"^SOAK_PARTS := (.*)$", MAKEFILE, flags=re.MULTILINE)
    assert listed is not None
    assert set(parts) <= set(listed.group(1).split())
    named = {file for files in parts.values() for file in files.split()} | {"tests/fuzz/test_hostile.py"}
    assert marked == named
