"""Every benchmark still runs, on its smallest size; what it measures is not asserted anywhere."""

from __future__ import annotations

import re
import runpy
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent / "benchmarks"
NAMES = sorted(path.stem for path in FOLDER.glob("*.py"))
LONG = {"budget_speed", "page_speed", "respace_speed"}


@pytest.mark.parametrize("name", [pytest.param(n, marks=pytest.mark.soak) if n in LONG else n for n in NAMES])
def test_benchmark_runs(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert runpy.run_path(str(FOLDER / f"{name}.py"))["main"](["--smoke"]) == 0
    assert re.search(r"\d", capsys.readouterr().out)


def test_every_benchmark_is_in_the_makefile() -> None:
    makefile = (FOLDER.parents[1] / "Makefile").read_text(encoding="utf-8")
    assert all(name in makefile for name in NAMES)
