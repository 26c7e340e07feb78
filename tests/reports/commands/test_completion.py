"""Completion, asked of the shells themselves where they are installed."""

from __future__ import annotations

import contextlib
import io
import shutil
import subprocess
from functools import cache
from pathlib import Path

import pytest

from ringwright.cli import main
from ringwright.scenarios import bundled

TYPED = {
    "ringwright pl": "plan",
    "ringwright plan --fro": "--fronts",
    "ringwright plan ring": "ring-of-mine.toml",
    "ringwright new daily": "daily-window",
    "ringwright figure tur": "turning_view",
    "ringwright bodies mer": "mercury",
    "ringwright completion f": "fish",
}
"""What was typed, and the only way in which it can go on."""


@cache
def printed(shell: str) -> str:
    with contextlib.redirect_stdout(io.StringIO()) as shown:
        assert main(["completion", shell]) == 0
    return shown.getvalue()


def script(shell: str, place: Path) -> Path:
    file = place / f"complete.{shell}"
    file.write_text(printed(shell), encoding="utf-8")
    (place / "ring-of-mine.toml").touch()
    return file


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_a_shell_can_read_its_script(shell: str, tmp_path: Path) -> None:
    file = script(shell, tmp_path)
    assert "ringwright" in file.read_text(encoding="utf-8")
    if shutil.which(shell) is not None:
        done = subprocess.run([shell, "-n", str(file)], capture_output=True, text=True)
        assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.skipif(shutil.which("bash") is None, reason="bash is not installed")
def test_bash_completes(tmp_path: Path) -> None:
    file = script("bash", tmp_path)
    shown = 'COMPREPLY=(); _shtab_ringwright; echo "${COMPREPLY[*]}"'
    asked = "\n".join(f"COMP_WORDS=({typed}); COMP_CWORD={typed.count(' ')}; {shown}" for typed in TYPED)
    done = subprocess.run(["bash", "-c", f"source {file}\n{asked}"], capture_output=True, text=True, cwd=tmp_path)
    assert done.stdout.splitlines() == list(TYPED.values())


@pytest.mark.skipif(shutil.which("fish") is None, reason="fish is not installed")
def test_fish_completes(tmp_path: Path) -> None:
    file = script("fish", tmp_path)
    asked = "\n".join(f'complete -C "{typed}"' for typed in TYPED)
    done = subprocess.run(["fish", "-c", f"source {file}\n{asked}"], capture_output=True, text=True, cwd=tmp_path)
    assert [line.split("\t")[0] for line in done.stdout.splitlines()] == list(TYPED.values())


def test_every_bundled_scenario_is_in_it() -> None:
    assert all(name in printed("bash") for name in bundled())
    assert main(["completion", "tcsh"]) == 2
