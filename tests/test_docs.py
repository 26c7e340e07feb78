"""Each command and option is in the README, and what the README shows is what the program prints."""

from __future__ import annotations

import argparse
import ast
import doctest
import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

import ringwright
from ringwright.cli import main
from ringwright.reports.commands.parser import parser

pytestmark = pytest.mark.usefixtures("shared_plans")

ROOT = Path(ringwright.__file__).parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def _commands() -> dict[str, argparse.ArgumentParser]:
    for action in parser(["period"])._actions:
        if isinstance(action, argparse._SubParsersAction):
            return dict(action.choices)
    raise AssertionError("the parser has no commands")


@pytest.fixture
def printed(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Callable[..., str]:
    """What a command prints at 80 columns, run where the README says."""
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.chdir(ROOT)

    def run(*arguments: str) -> str:
        assert main(arguments) == 0
        return capsys.readouterr().out

    return run


@pytest.mark.parametrize("name", sorted(_commands()))
def test_every_command_and_option_is_documented(name: str) -> None:
    assert f"ringwright {name}" in README
    for action in _commands()[name]._actions:
        for option in action.option_strings:
            if option.startswith("--") and option != "--help":
                assert option in README, f"README does not name {option} of {name}"


def test_the_output_shown_is_the_output_printed(printed: Callable[..., str]) -> None:
    shown = re.search(r"```text\n(Four over the equator\n.*?)```", README, flags=re.DOTALL)
    assert shown is not None
    text = printed("plan", "scenarios/four-over-the-equator.toml")
    for block in re.split(r"\n\[\.\.\.\]\n", shown.group(1).rstrip("\n")):
        assert block.strip("\n") in text


def test_the_budget_shown_is_the_budget_printed(printed: Callable[..., str]) -> None:
    shown = re.search(r"\$ ringwright budget (\S+)\n(.*?)```", README, flags=re.DOTALL)
    assert shown is not None
    text = printed("budget", shown.group(1))
    for block in re.split(r"\n\[\.\.\.\]\n", shown.group(2).rstrip("\n")):
        assert block.strip("\n").removesuffix("\n[...]") in text


def test_the_slips_shown_are_the_slips_printed(printed: Callable[..., str]) -> None:
    shown = re.search(r"\$ ringwright slips (\S+) --craft (\S+)\n(.*?)\n\[\.\.\.\]\n```", README, flags=re.DOTALL)
    assert shown is not None
    assert shown.group(3) in printed("slips", shown.group(1), "--craft", shown.group(2))


def test_the_ring_spread_again_is_what_is_printed(printed: Callable[..., str]) -> None:
    shown = re.search(r"\$ ringwright respace ([^\n]*)\n(.*?)\n\[\.\.\.\]\n```", README, flags=re.DOTALL)
    assert shown is not None
    assert shown.group(2) in printed("respace", *shown.group(1).split())


def test_the_spares_called_are_those_printed(printed: Callable[..., str]) -> None:
    shown = re.search(r"\$ ringwright respace ([^\n]* --spares[^\n]*)\n(.*?)\n\[\.\.\.\]\n```", README, flags=re.DOTALL)
    assert shown is not None
    assert shown.group(2) in printed("respace", *shown.group(1).split())


def test_the_story_is_what_its_commands_print(printed: Callable[..., str]) -> None:
    story = README.split("## One flight, from plan to hold", 1)[1].split("\n## ", 1)[0]
    shown = re.findall(
        r"```console\n\$ ringwright (plan|budget|sheet|replan) ([^\n]*)\n(.*?)\n```", story, flags=re.DOTALL
    )
    assert [command for command, _, _ in shown] == ["plan", "budget", "sheet", "replan", "sheet", "plan"]
    for command, options, said in shown:
        text = printed(command, *options.split())
        for block in re.split(r"\n?\[\.\.\.\]\n?", said):
            assert block.strip("\n") in text


def test_the_file_of_observations_shown_comes_to_the_same_as_the_options(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shown = re.search(r"```toml\n(now_h.*?)```", README, flags=re.DOTALL)
    answer = re.search(r"Change the plan for Flint\. (In all [\d.]+ m/s)", README)
    assert shown is not None
    assert answer is not None
    seen = tmp_path / "seen.toml"
    seen.write_text(shown.group(1), encoding="utf-8")
    monkeypatch.setenv("COLUMNS", "80")
    assert main(["replan", str(ROOT / "scenarios" / "one-craft-mars.toml"), "--observed", str(seen)]) == 0
    assert answer.group(1) in capsys.readouterr().out


def test_the_session_in_python_prints_what_it_shows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    session = re.search(r"```python\n(>>> .*?)```", README, flags=re.DOTALL)
    assert session is not None
    (tmp_path / "scenarios").symlink_to(ROOT / "scenarios")
    monkeypatch.chdir(tmp_path)
    parsed = doctest.DocTestParser().get_doctest(session.group(1), {}, "README", "README.md", 0)
    assert 5 <= len(parsed.examples) <= 10
    assert doctest.DocTestRunner().run(parsed).failed == 0


def test_the_tutorial_runs_and_shows_its_answers(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Cell by cell in one namespace, as a notebook does; what a cell ends with must be able to show itself."""
    notebook = json.loads((ROOT / "scenarios" / "tutorial.ipynb").read_text(encoding="utf-8"))
    assert notebook["nbformat"] == 4
    monkeypatch.chdir(tmp_path)
    names: dict[str, object] = {}
    shown = []
    for cell in notebook["cells"]:
        if cell["cell_type"] != "code":
            continue
        assert cell["outputs"] == []
        *rest, last = ast.parse("".join(cell["source"])).body
        exec(compile(ast.Module(rest, []), "tutorial", "exec"), names)
        if isinstance(last, ast.Expr):
            value = eval(compile(ast.Expression(last.value), "tutorial", "eval"), names)
            show = getattr(value, "_repr_svg_", None) or getattr(value, "_repr_html_", None) or value.__repr__
            shown.append(str(show()))
        else:
            exec(compile(ast.Module([last], []), "tutorial", "exec"), names)
    assert sum("<svg" in one for one in shown) >= 1
    assert sum("<table" in one for one in shown) >= 3
    assert all(one and "object at 0x" not in one for one in shown)


def test_files_that_the_guide_names_exist() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = set(re.findall(r"`((?:models|optimizer|reports|tests|scenarios)/[\w/.-]+)`", text))
    assert len(named) > 30
    assert sorted(one for one in named if not (ROOT / one).exists()) == []


def test_links_in_the_documents_lead_somewhere() -> None:
    for document in ("README.md", "DEVELOPERS.md", *(f"{r}/README.md" for r in ("models", "optimizer", "reports"))):
        place = ROOT / document
        targets = re.findall(r"\]\(([^)#:]+)\)", place.read_text(encoding="utf-8"))
        assert [target for target in targets if not (place.parent / target).exists()] == [], document
