"""Where the text goes: full, closed and left outputs, requests to end, places that are none."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from ringwright.cli import main
from ringwright.tests.test_cli import SMALL

RUN = [sys.executable, "-m", "ringwright"]


@pytest.fixture
def scenario(tmp_path: Path) -> Path:
    path = tmp_path / "two.toml"
    path.write_text(SMALL, encoding="utf-8")
    return path


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no such device here")
def test_a_full_output_is_said_with_the_files_that_were_written(scenario: Path, tmp_path: Path) -> None:
    place = tmp_path / "plan.json"
    with Path("/dev/full").open("w") as full:
        done = subprocess.run([*RUN, "plan", str(scenario), "--json", str(place)], stdout=full, stderr=subprocess.PIPE)
    assert done.returncode == 1
    said = done.stderr.decode()
    assert "standard output does not take all of the text (No space left on device)" in said
    assert f"{place} was written and is complete." in said
    assert said.count("\n") == 1
    assert place.read_text(encoding="utf-8").endswith("}\n")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no such device here")
def test_a_full_output_is_said_by_the_help_page_too() -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run([*RUN, "--help"], stdout=full, stderr=subprocess.PIPE)
    assert done.returncode == 1
    assert b"no file was written" in done.stderr
    assert done.stderr.count(b"\n") == 1


def test_a_reader_that_leaves_is_said() -> None:
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run([*RUN, "bodies"], stdout=writing, stderr=subprocess.PIPE)
    os.close(writing)
    assert done.returncode == 1
    assert done.stderr == (
        b"ringwright: the reader of standard output left before all was printed; no file was written.\n"
    )


@pytest.mark.skipif(os.name != "posix", reason="closes a descriptor by number")
def test_a_closed_output_is_said() -> None:
    command = f"exec {sys.executable} -m ringwright bodies >&-"
    done = subprocess.run(["sh", "-c", command], stderr=subprocess.PIPE)
    assert done.returncode == 1
    assert done.stderr == b"ringwright: standard output is closed; no file was written.\n"


ENDED = """
import os, signal, sys
from ringwright.reports import folder
def end(*_):
    os.kill(os.getpid(), signal.SIGTERM)
    raise AssertionError("goes on")
folder.write_tables = end
from ringwright.optimizer import plan
from ringwright.tests.planned import shared_plan
plan.make_plan = shared_plan
from ringwright.cli import main
sys.exit(main(sys.argv[1:]))
"""


@pytest.mark.skipif(os.name != "posix", reason="signals")
def test_a_request_to_end_leaves_no_part_of_a_file(scenario: Path, tmp_path: Path) -> None:
    place = tmp_path / "plan.json"
    command = [sys.executable, "-c", ENDED, "plan", str(scenario), "--json", str(place), "--out", str(tmp_path / "out")]
    done = subprocess.run(command, capture_output=True)
    assert done.returncode == 130
    assert done.stderr.decode() == f"ringwright: ended by SIGTERM; {place} was written and is complete.\n"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["plan.json", "two.toml"]


LOADING = """
import importlib.abc, signal, sys
class Interrupting(importlib.abc.MetaPathFinder):
    def find_spec(self, name, *_):
        if name == "ringwright.reports.commands." + sys.argv[1]:
            signal.raise_signal(getattr(signal, sys.argv[2]))
sys.meta_path.insert(0, Interrupting())
from ringwright.cli import main
sys.exit(main(["bodies"]))
"""


@pytest.mark.skipif(os.name != "posix", reason="signals")
@pytest.mark.parametrize("how", ["SIGINT", "SIGTERM"])
@pytest.mark.parametrize("module", ["planned", "parser", "reference"])
def test_an_interruption_while_modules_are_loaded_is_a_sentence(module: str, how: str) -> None:
    done = subprocess.run([sys.executable, "-c", LOADING, module, how], capture_output=True)
    assert done.returncode == 130
    assert done.stdout == b""
    assert done.stderr.startswith((b"ringwright: interrupted", b"ringwright: ended by SIGTERM"))
    assert done.stderr.count(b"\n") == 1


@pytest.mark.usefixtures("shared_plans")
def test_an_interruption_names_what_was_written(
    scenario: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("ringwright.reports.folder.write_tables", interrupted)
    assert main(["plan", str(scenario), "--out", str(tmp_path / "out")]) == 130
    assert capsys.readouterr().err == "ringwright: interrupted; no file was written.\n"
    place = tmp_path / "plan.json"
    assert main(["plan", str(scenario), "--json", str(place), "--out", str(tmp_path / "out")]) == 130
    assert capsys.readouterr().err == f"ringwright: interrupted; {place} was written and is complete.\n"


@pytest.mark.parametrize("option", ["--out", "--json"])
@pytest.mark.parametrize("place", ["", "a\0b", "two.toml/in-a-file"])
def test_a_place_that_is_none_is_refused_before_anything_is_planned(
    option: str, place: str, scenario: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(scenario.parent)
    monkeypatch.setattr("ringwright.optimizer.plan.make_plan", None)
    assert main(["plan", scenario.name, option, place]) == 2
    said = capsys.readouterr()
    assert option in said.err
    assert said.out == ""
    assert list(scenario.parent.iterdir()) == [scenario]


@pytest.mark.parametrize("arguments", [["plan", ""], ["new", "one-craft-mars", ""], ["check", "\0"]])
def test_an_empty_name_of_a_file_is_refused(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(arguments) == 2
    said = capsys.readouterr().err
    assert said.startswith("ringwright: ")
    assert said.removesuffix("\n").isprintable()


def test_a_hostile_file_name_is_printed_escaped_and_quoted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    name = "my ring; $(date) \x1b[31m.toml"
    Path(name).write_text(SMALL, encoding="utf-8")
    assert main(["plan", name]) == 0
    shown = capsys.readouterr().out
    assert "ringwright plan 'my ring; $(date) \\u001b[31m.toml' --out DIR" in " ".join(shown.split())
    assert shown.replace("\n", "").isprintable()


def test_an_output_that_knows_ascii_only_gets_escapes(tmp_path: Path) -> None:
    path = tmp_path / "two.toml"
    path.write_text(SMALL.replace("Two over Quill", "Größe 水"), encoding="utf-8")
    surroundings = {**os.environ, "PYTHONIOENCODING": "ascii"}
    done = subprocess.run([*RUN, "check", str(path)], capture_output=True, env=surroundings, check=True)
    assert b"Gr\\u00f6\\u00dfe \\u6c34" in done.stdout
