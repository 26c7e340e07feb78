"""What the help pages show can be typed, and what is mistyped is met with the nearest word that there is."""

from __future__ import annotations

import argparse
import re
import shlex

import pytest

from ringwright.cli import main
from ringwright.reports.commands.parser import parser


def _commands() -> dict[str, argparse.ArgumentParser]:
    [commands] = [one for one in parser(["period"])._actions if isinstance(one, argparse._SubParsersAction)]
    return dict(commands.choices)


@pytest.mark.parametrize("name", sorted(_commands()))
def test_every_help_page_has_an_example_that_can_be_typed(
    name: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    with pytest.raises(SystemExit) as leaving:
        main([name, "--help"])
    assert leaving.value.code == 0
    shown = capsys.readouterr().out
    assert max(map(len, shown.splitlines())) <= 80
    found = re.search(r"example:\s+ringwright (.*)", shown.replace("\\\n", ""), flags=re.DOTALL)
    assert found is not None
    typed = shlex.split(found[1].split(">")[0])
    assert typed[0] == name
    assert parser(typed).parse_args(typed).run is not None


@pytest.mark.parametrize(("typed", "near"), [("plam", "plan"), ("bodys", "bodies"), ("reaplan", "replan")])
def test_a_mistyped_command_is_met_with_the_nearest_one(
    typed: str, near: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([typed]) == 2
    assert f"did you mean {near}?" in capsys.readouterr().err


def test_a_word_near_to_no_command_gets_no_advice(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["xyzzy"]) == 2
    assert "did you mean" not in capsys.readouterr().err


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (["slips", "one.toml", "--time-limt", "5"], "no option --time-limt; did you mean --time-limit?"),
        (["slips", "one.toml", "3d"], "3d is one word too many"),
    ],
)
def test_what_a_command_does_not_know_is_said_with_its_own_help(
    typed: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(typed) == 2
    shown = capsys.readouterr().err
    assert said in shown
    assert "see: ringwright slips --help" in shown
