"""The runner of the long campaigns: every part is run, a failure is said at the end, and a cut run goes on."""

from __future__ import annotations

from pathlib import Path

import pytest

from ringwright.tests.soak import digest, run


def test_a_failure_stops_nothing_and_is_said_at_the_end(tmp_path: Path) -> None:
    asked: list[str] = []

    def runner(part: str) -> tuple[bool, str]:
        asked.append(part)
        return part != "b", f"what {part} says\n"

    lines = list(run(["a", "b", "fuzz-1", "c", "fuzz-2"], runner, tmp_path, "x"))
    assert sorted(asked) == ["a", "b", "c", "fuzz-1", "fuzz-2"]
    assert any(line.startswith("b ") and "FAILED" in line and "what b says" in line for line in lines)
    assert lines[-1].startswith("5 parts")
    assert lines[-1].endswith("FAILED: b")


def test_a_run_that_was_cut_off_goes_on(tmp_path: Path) -> None:
    asked: list[str] = []

    def runner(part: str) -> tuple[bool, str]:
        if part == "b" and asked.count("b") == 0:
            asked.append(part)
            raise KeyboardInterrupt
        asked.append(part)
        return True, ""

    with pytest.raises(KeyboardInterrupt):
        list(run(["a", "b", "c"], runner, tmp_path, "x"))
    assert list(run(["a", "b", "c"], runner, tmp_path, "x"))[-1].endswith("all passed")
    assert asked == ["a", "b", "b", "c"]
    # another state of the package begins again
    assert list(run(["a"], runner, tmp_path, "y"))[-1].endswith("all passed")
    assert asked[-1] == "a"


def test_the_state_of_the_package_is_that_of_its_files(tmp_path: Path) -> None:
    (tmp_path / "models").mkdir()
    file = tmp_path / "models" / "one.py"
    file.write_text("1\n", encoding="utf-8")
    first = digest(tmp_path)
    assert digest(tmp_path) == first
    file.write_text("2\n", encoding="utf-8")
    assert digest(tmp_path) != first
