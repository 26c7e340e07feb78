"""Every command ends with the next one to type, which can be typed as it stands; and names that were nearly right."""

from __future__ import annotations

import re
import shlex
import tomllib
from pathlib import Path

import pytest

from ringwright.cli import main
from ringwright.models.bodies import body, body_names
from ringwright.reports.commands.parser import parser
from ringwright.scenarios import bundled
from ringwright.tests.test_cli import SMALL
from ringwright.tests.tolerances import FLOAT_REL

pytestmark = pytest.mark.usefixtures("shared_plans")

ENDS_IN_A_COMMAND = {
    "none": [],
    "plan": ["plan", "two.toml"],
    "plan with a setting": ["plan", "two.toml", "--set", "limits.revolutions_max=2"],
    "page": ["page", "two.toml"],
    "figure": ["figure", "timeline", "two.toml"],
    "sheet": ["sheet", "two.toml"],
    "compare": ["compare", "two.toml"],
    "sweep": ["sweep", "two.toml", "--vary", "limits.revolutions_max=2,3", "--workers", "1"],
    "budget": ["budget", "two.toml", "--samples", "100"],
    "risk": ["risk", "two.toml", "--samples", "100"],
    "replan": ["replan", "two.toml", "--observed", "seen.toml"],
    "slips": ["slips", "two.toml"],
    "respace": ["respace", "two.toml", "--after-plan", "--set", "limits.revolutions_max=2"],
    "respace written": ["respace", "two.toml", "--after-plan", "--write", "again.toml"],
    "period": ["period", "--around", "ceres", "--ring", "800km", "--slot-ahead", "60deg"],
    "check": ["check", "two.toml"],
    "bodies": ["bodies"],
    "one body": ["bodies", "Titan"],
    "new": ["new", "low-mars", "mine.toml"],
}


@pytest.fixture
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    Path("two.toml").write_text(f"{SMALL}[errors]\nburn_share = 0.01\n", encoding="utf-8")
    Path("seen.toml").write_text("now_s = 60.0\n", encoding="utf-8")


@pytest.mark.usefixtures("_here")
@pytest.mark.parametrize("name", ENDS_IN_A_COMMAND)
def test_every_command_ends_with_the_next_one(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """All but ``schema``, whose JSON goes into a file."""
    typed = ENDS_IN_A_COMMAND[name]
    assert main(typed) == 0
    shown = capsys.readouterr().out.replace("# ", "")
    last = re.split(r"\n(?:Next|Or), [^:]*:\n", shown)
    assert len(last) > 1
    for block in last[1:]:
        words = shlex.split(block.replace("\\\n", " "))
        assert words[0] == "ringwright"
        if words[-1] == "--help":
            with pytest.raises(SystemExit, match="0"):
                main(words[1:])
        else:
            assert parser(words).parse_args(words[1:]).run is not None
        if "--set" in typed:
            assert "limits.revolutions_max=2" in words


@pytest.mark.usefixtures("_here")
def test_plan_names_sheet(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", "two.toml"]) == 0
    assert "Next, what each craft has to do:\n    ringwright sheet two.toml\n" in capsys.readouterr().out


def test_one_body_is_printed_alone_and_can_be_copied(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["bodies", "MARS"]) == 0
    shown = capsys.readouterr().out
    table = tomllib.loads(shown)["body"]
    assert table["name"] == "Mars"
    assert table["gm_km3_s2"] * 1e9 == pytest.approx(body("mars").gm, rel=FLOAT_REL)
    assert shown.count("[body]") == 1


def test_the_period_suggested_for_each_body_can_be_asked(capsys: pytest.CaptureFixture[str]) -> None:
    for name in body_names():
        assert main(["bodies", name]) == 0
        command = capsys.readouterr().out.rpartition("ringwright ")[2].replace("\\\n#", "")
        assert main(shlex.split(command)) == 0
        assert "The options, by time" in capsys.readouterr().out


@pytest.mark.usefixtures("_here")
@pytest.mark.parametrize("command", ["plan", "check", "sheet", "compare", "sweep", "budget", "slips", "page"])
@pytest.mark.parametrize("file", ["daily-window", "some/where/daily-window.toml", "dayly-window"])
def test_a_bundled_name_is_found_by_any_command(command: str, file: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([command, file]) == 2
    said = capsys.readouterr().err
    assert f"{file}: there is no such file" in said
    assert "did you mean: ringwright new daily-window daily-window.toml?" in said


def test_what_lies_beside_does_not_hide_a_bundled_scenario(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Neither a folder of a name that is near, nor a scenario whose name is less near than the bundled one's."""
    (tmp_path / "daily-windows").mkdir()
    (tmp_path / "daily-window-2.toml").write_text(SMALL, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert main(["check", "daily-window"]) == 2
    assert "did you mean: ringwright new daily-window" in capsys.readouterr().err


@pytest.mark.usefixtures("_here")
@pytest.mark.parametrize(
    ("typed", "said", "unsaid"),
    [
        (["daily-window"], "did you mean ringwright new daily-window daily-window.toml?", "did you mean plan"),
        (["new", "mars", "x.toml"], "did you mean low-mars or one-craft-mars?", "nothing"),
        (["new", "gold", "x.toml"], "there is no bundled scenario 'gold': there are", "did you mean"),
        (["bodies", "marz"], "did you mean mars?", "earth?"),
        (["bodies", "quill"], "there is no built-in body 'quill': give one of", "did you mean"),
        (["plan", "tow.toml"], "did you mean two.toml?", "ringwright new"),
        (["plan", "elsewhere.toml"], "check the path", "did you mean"),
    ],
)
def test_near_names_are_sensible(typed: list[str], said: str, unsaid: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(typed) == 2
    shown = capsys.readouterr().err
    assert said in shown
    assert unsaid not in shown
    assert not Path("x.toml").exists()


def test_every_bundled_scenario_is_near_to_itself() -> None:
    from ringwright.scenarios import near_names

    assert {name: near_names(name) for name in bundled()} == {name: [name] for name in bundled()}


@pytest.mark.usefixtures("_here")
@pytest.mark.parametrize("command", ["plan", "sheet"])
def test_no_plan_ends_with_a_command_that_finds_one(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([command, "two.toml", "--set", "limits.revolutions_max=2", "--set", "limits.finish_within_d=0.01"]) == 3
    block = capsys.readouterr().out.rpartition("\nNext, with the value that serves:\n")[2]
    words = shlex.split(block.replace("\\\n", " "))
    assert words[:3] == ["ringwright", "plan", "two.toml"]
    assert sum("limits.finish_within_d=" in word for word in words) == 1
    assert "limits.revolutions_max=2" in words
    assert main(words[1:]) == 0
