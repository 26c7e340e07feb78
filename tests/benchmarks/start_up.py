"""How long a command takes from the shell: ``python tests/benchmarks/start_up.py [--smoke]``.

Whole processes, time on the clock and of the processor, against starting Python for nothing in the same run.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

PACKAGE = Path(__file__).parents[2]
PLAIN = [sys.executable, "-c", "pass"]


def run(command: list[str], times: int) -> tuple[float, float]:
    """Least time on the clock and of the processor, s."""
    clock, processor = [], []
    for _ in range(times):
        before = os.times()
        begun = time.perf_counter()
        subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False)
        clock.append(time.perf_counter() - begun)
        after = os.times()
        processor.append(after.children_user - before.children_user + after.children_system - before.children_system)
    return min(clock), min(processor)


def main(arguments: list[str]) -> int:
    """Print the table; with ``--smoke`` without planning."""
    smoke = "--smoke" in arguments
    ours = [sys.executable, "-m", "ringwright"]
    with tempfile.TemporaryDirectory() as folder:
        bad = Path(folder) / "bad.toml"
        bad.write_text('title = "Bad"\n[bodi]\nname = "earth"\n', encoding="utf-8")
        commands = {"python, nothing": PLAIN, "--version": [*ours, "--version"], "--help": [*ours, "--help"]}
        commands["a bad scenario's error"] = [*ours, "plan", str(bad)]
        if not smoke:
            for name in ("one-craft-mars", "four-over-the-equator", "atoll-on-the-equator"):
                commands[f"plan {name}"] = [*ours, "plan", str(PACKAGE / "scenarios" / f"{name}.toml")]
        print(f"{'whole process':32} {'clock s':>8} {'cpu s':>8}")
        for name, command in commands.items():
            clock, processor = run(command, 1 if smoke else 5)
            print(f"{name:32} {clock:8.2f} {processor:8.2f}", flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
