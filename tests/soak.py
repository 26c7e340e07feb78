"""Run parts of the soak to their end, a line for each: what `make soak` calls.

    python tests/soak.py exhaustive properties fuzz-1 fuzz-2

A part that fails does not stop the others; the end is an error then. Parts of one process run two side by side. What
each printed is in `.venv/soak`. A run that was cut off goes on where it was, as long as no file of the package changes.
"""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

ROOT = Path(__file__).parents[1]
KEPT = ROOT / ".venv" / "soak"
SHOWN = 30
"""Last lines of a part that failed which are shown."""

Runner = Callable[[str], tuple[bool, str]]
"""Runs a part: whether it passed, and what it printed."""


def digest(root: Path = ROOT) -> str:
    """Changes with any file of the package or its tests."""
    found = hashlib.sha256()
    rooms = (root / name for name in ("models", "optimizer", "reports", "scenarios", "tests"))
    files = [*root.glob("*.*"), *(file for room in rooms for file in room.rglob("*"))]
    for file in sorted(files):
        if file.is_file() and "__pycache__" not in file.parts:
            found.update(str(file.relative_to(root)).encode() + file.read_bytes())
    return found.hexdigest()[:16]


def by_make(part: str) -> tuple[bool, str]:
    """Run a part as a person would."""
    command = ["make", "--silent", "--no-print-directory", "soak", f"PART={part}"]
    done = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False)
    return done.returncode == 0, done.stdout


def run(parts: Sequence[str], runner: Runner = by_make, kept: Path = KEPT, state: str = "") -> Iterator[str]:
    """Run parts and say of each how it ended; the last line is the sum.

    Args:
        parts: their names; those that begin with "fuzz" take one process each and run two side by side.
        runner: runs one.
        kept: the folder for what they print.
        state: of the package; parts that passed in it before are not run again.
    """
    kept.mkdir(parents=True, exist_ok=True)
    record = kept / "passed.json"
    before = json.loads(record.read_text("utf-8")) if record.exists() else {}
    passed: dict[str, float] = before.get(state, {}) if state else {}
    failed: list[str] = []
    begun = time.monotonic()

    def one(part: str) -> tuple[str, bool, float]:
        start = time.monotonic()
        good, text = runner(part)
        (kept / f"{part}.log").write_text(text, "utf-8")
        return part, good, time.monotonic() - start

    def said(part: str, good: bool, seconds: float) -> str:
        if good:
            passed[part] = round(seconds, 1)
            record.write_text(json.dumps({state: passed}), "utf-8")
            return f"{part:12} passed {seconds:6.0f} s"
        failed.append(part)
        last = "\n".join((kept / f"{part}.log").read_text("utf-8").splitlines()[-SHOWN:])
        return f"{part:12} FAILED {seconds:6.0f} s\n{last}"

    left = [part for part in parts if part not in passed]
    yield from (f"{part:12} passed before, {passed[part]:.0f} s" for part in parts if part in passed)
    yield from (said(*one(part)) for part in left if not part.startswith("fuzz"))
    with ThreadPoolExecutor(2) as side_by_side:
        yield from (said(*found) for found in side_by_side.map(one, (p for p in left if p.startswith("fuzz"))))
    total = f"{len(parts)} parts in {(time.monotonic() - begun) / 60.0:.1f} min"
    yield f"{total}, FAILED: {', '.join(failed)}" if failed else f"{total}, all passed"


def main(parts: Sequence[str]) -> int:
    """Run the parts and print how each ended."""
    line = ""
    for line in run(parts, state=digest()):
        print(line, flush=True)
    return 1 if "FAILED" in line else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
