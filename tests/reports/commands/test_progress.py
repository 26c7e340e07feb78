"""Progress on standard error: how long it took, of how much, and nothing where it is not wanted."""

from __future__ import annotations

import argparse
import io

import pytest

from ringwright.reports.commands.progress import shown_progress


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def arguments(*, quiet: bool = False, time_limit: float = 60.0) -> argparse.Namespace:
    return argparse.Namespace(quiet=quiet, time_limit=time_limit)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """The time that is read, to be set."""
    now = [100.0]
    monkeypatch.setattr("time.monotonic", lambda: now[0])
    return now


@pytest.mark.parametrize(
    ("limit", "limited", "words"),
    [
        (60.0, True, "12 s of at most 60 s: front: 3 points"),
        (float("inf"), True, "12 s: front: 3 points"),
        (60.0, False, "12 s: front: 3 points"),
    ],
)
def test_a_terminal_shows_how_far_it_is(
    monkeypatch: pytest.MonkeyPatch, clock: list[float], limit: float, limited: bool, words: str
) -> None:
    terminal = Terminal()
    monkeypatch.setattr("sys.stderr", terminal)
    with shown_progress(arguments(time_limit=limit), limited=limited) as say:
        say("options")
        assert terminal.getvalue() == ""  # too short to wonder
        clock[0] = 112.0
        say("front: 3 points")
        assert terminal.getvalue() == f"\r\x1b[K{words}"
    assert terminal.getvalue().endswith("\r\x1b[K")


def test_a_file_gets_a_line_now_and_then(monkeypatch: pytest.MonkeyPatch, clock: list[float]) -> None:
    file = io.StringIO()
    monkeypatch.setattr("sys.stderr", file)
    with shown_progress(arguments()) as say:
        for second in range(25):
            clock[0] = 100.0 + second
            say("options")
    assert file.getvalue() == "after 11 s of at most 60 s: options\nafter 22 s of at most 60 s: options\n"


@pytest.mark.parametrize("stream", [Terminal(), io.StringIO()])
def test_quiet_says_nothing(monkeypatch: pytest.MonkeyPatch, clock: list[float], stream: io.StringIO) -> None:
    monkeypatch.setattr("sys.stderr", stream)
    with shown_progress(arguments(quiet=True)) as say:
        clock[0] = 200.0
        say("options")
    assert stream.getvalue() == ""
