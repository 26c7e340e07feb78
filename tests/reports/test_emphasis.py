"""Bold and color on a terminal, and nowhere else."""

from __future__ import annotations

import io
import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import pytest

from ringwright.cli import main
from ringwright.reports.console import colored, show
from ringwright.reports.emphasis import BOLD, PLAIN, WARN, emphasized, wanted
from ringwright.reports.terminal import plan_text
from ringwright.tests.reports import sample
from ringwright.tests.test_cli import SMALL

CODES = re.compile(r"\x1b\[[\d;]*m")


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_it_is_for_terminals_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("NO_COLOR", "TERM"):
        monkeypatch.delenv(name, raising=False)
    assert wanted("auto", Terminal())
    assert not wanted("auto", io.StringIO())
    assert not wanted("auto", None)
    assert wanted("always", io.StringIO())
    assert not wanted("never", Terminal())
    # no-color.org: any value but an empty one, whatever it is
    monkeypatch.setenv("NO_COLOR", "")
    assert wanted("auto", Terminal())
    monkeypatch.setenv("NO_COLOR", "0")
    assert not wanted("auto", Terminal())
    assert wanted("always", Terminal())
    monkeypatch.delenv("NO_COLOR")
    monkeypatch.setenv("TERM", "dumb")
    assert not wanted("auto", Terminal())


@pytest.mark.parametrize("make", [sample.relay, sample.impossible, sample.broken])
def test_letters_stay_as_they_are(make: object) -> None:
    assert callable(make)
    text = plan_text(make(), 80)
    assert CODES.sub("", emphasized(text)) == text
    assert emphasized(text) != text


def test_headings_and_warnings_stand_out_and_nothing_else() -> None:
    assert (
        emphasized("What to fly\n-----------\n  Reed  gains\n")
        == f"{BOLD}What to fly{PLAIN}\n-----------\n  Reed  gains\n"
    )
    # neither a rule of another length, nor two words in capitals, nor the name of a number to read
    plain = "Reed\n---------\nAT ONCE from J2, UTC\nPERIOD AT CUT-OFF   11:09:31.2\n"
    assert emphasized(plain) == plain
    # a warning that is broken over two lines ends on each of them
    assert emphasized("  THE FIRST BURN\n  CANNOT WAIT: the coast") == (
        f"  {WARN}THE FIRST BURN{PLAIN}\n  {WARN}CANNOT WAIT{PLAIN}: the coast"
    )


def test_what_comes_from_a_file_steers_no_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    with colored("always"):
        show("\x1b[31mReed\x1b[0m\nNO PLAN KEEPS ALL LIMITS\n")
    assert capsys.readouterr().out == f"\\u001b[31mReed\\u001b[0m\n{WARN}NO PLAN KEEPS ALL LIMITS{PLAIN}\n"


def test_json_is_never_dressed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "two.toml"
    file.write_text(SMALL.replace("Reed", "ONE TWO THREE"), encoding="utf-8")
    assert main(["plan", str(file), "--json", "-", "--color", "always"]) == 0
    assert "\x1b" not in capsys.readouterr().out


@pytest.mark.parametrize(("options", "dressed"), [((), True), (("--color", "never"), False)])
def test_on_a_terminal(tmp_path: Path, options: tuple[str, ...], dressed: bool) -> None:
    """A pseudo-terminal, as a user has one."""
    file = tmp_path / "two.toml"
    file.write_text(SMALL, encoding="utf-8")
    ours, theirs = pty.openpty()
    environment = {name: value for name, value in os.environ.items() if name != "NO_COLOR"} | {"TERM": "xterm"}
    done = subprocess.Popen(
        [sys.executable, "-m", "ringwright", "check", str(file), *options],
        stdout=theirs,
        stderr=theirs,
        env=environment,
    )
    os.close(theirs)
    shown = b""
    try:
        while part := os.read(ours, 65536):
            shown += part
    except OSError:  # the other end has closed: Linux says so by an error
        pass
    assert done.wait(timeout=60) == 0
    os.close(ours)
    assert (b"\x1b[1m" in shown) is dressed
