"""The parts of the desk: its fields, its scenario as a file, its form, its planner; and the command that opens it."""

from __future__ import annotations

import json
import queue
import socket
from pathlib import Path
from typing import Any

import pytest

from ringwright.cli import main
from ringwright.models.errors import InputError
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.optimizer.plan import make_plan
from ringwright.reports.desk.desk import Desk
from ringwright.reports.desk.fields import FIELDS, KEYS, fields_of, typed_value, words_of
from ringwright.reports.desk.one_craft import answered, field_of, first_filled
from ringwright.reports.desk.planner import Heard, Job, Planner
from ringwright.reports.desk.scenario_text import with_settings
from ringwright.reports.page.page import answer_data
from ringwright.scenarios import bundled, text
from ringwright.tests.reports.desk.running import SMALL
from ringwright.tests.tolerances import ROADS_REL

PATIENCE_S = 60.0


def test_the_list_of_keys_is_closed() -> None:
    assert set(KEYS) == {
        "ring.altitude_km",
        "ring.slots",
        "limits.finish_within_d",
        "limits.wait_within_d",
        "limits.revolutions_max",
        "limits.clearance_km",
        "limits.apoapsis_max_km",
        "limits.separation_km",
        "goal.minimize",
    }


@pytest.mark.parametrize("name", sorted(bundled()))
def test_what_a_field_shows_can_be_typed_into_it(name: str) -> None:
    """Each value as shown, set as typed, leaves the scenario as it is."""
    scenario = parse_scenario(text(name))
    settings = [f"{one['key']}={typed_value(one['key'], one['value'])}" for one in fields_of(scenario, {})]
    again = parse_scenario(text(name), settings=settings)
    assert again.limits.finish_within_s == pytest.approx(scenario.limits.finish_within_s, rel=ROADS_REL)
    assert again.limits.apoapsis_max_m == pytest.approx(scenario.limits.apoapsis_max_m, rel=ROADS_REL)
    assert again.ring.radius_m == pytest.approx(scenario.ring.radius_m, rel=ROADS_REL)
    assert again.minimize == scenario.minimize
    assert fields_of(again, {}) == fields_of(scenario, {})
    # the ground fixes the altitude of a ring that stays over it
    assert len(settings) == len(FIELDS) - (scenario.ring.longitude_rad is not None)


@pytest.mark.parametrize(
    ("key", "typed", "words"),
    [
        ("ring.slots", "0", "0 is out of range: from 1 to 500 would be accepted."),
        ("ring.altitude_km", "8,5", "8,5 has a decimal comma: write 8.5."),
        ("ring.altitude_km", "high", "high"),
        ("goal.minimize", "fuel", "should be"),
    ],
)
def test_what_is_wrong_is_said_without_words_of_a_command_line(key: str, typed: str, words: str) -> None:
    with pytest.raises(InputError) as fault:
        parse_scenario(SMALL, settings=[f"{key}={typed_value(key, typed)}"])
    said = words_of(fault.value, key, typed)
    assert words in said
    assert "--set" not in said


@pytest.mark.parametrize("typed", ["1\n2", "\x1b[31m", "9" * 201])
def test_text_that_is_no_value_is_refused(typed: str) -> None:
    with pytest.raises(InputError, match="no value"):
        typed_value("ring.slots", typed)


@pytest.mark.parametrize("name", sorted(bundled()))
def test_the_scenario_as_a_file_says_what_was_planned(name: str) -> None:
    settings = ["limits.finish_within_d=400", "limits.separation_km=5", "goal.minimize=finish"]
    made = with_settings(text(name), settings)
    assert parse_scenario(made).limits.finish_within_s == 400 * 86400.0
    assert parse_scenario(made).minimize == "finish"
    # what was not touched stands as it stood, comments included
    lines = made.splitlines()
    gone = [line for line in text(name).splitlines() if line not in lines]
    assert all(line.split("=")[0].strip().startswith(("finish_within", "separation", "minimize")) for line in gone)
    assert with_settings(text(name), []) == text(name)


def test_a_missing_table_is_added() -> None:
    made = with_settings(SMALL.replace("[limits]\nrevolutions_max = 3\n", ""), ["limits.finish_within_d=9"])
    assert "[limits]\nfinish_within_d = 9" in made


QUESTION = {"around": "earth", "ring": "10000km", "slot-ahead": "86deg", "from": "190x10000km", "floor": "140km"}


@pytest.mark.parametrize("more", [{"within": "3d"}, {"within": "3d", "got": "5:20:01.0"}, {"revolutions": "0"}])
def test_the_form_answers_what_the_command_prints(
    more: dict[str, str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", "90")
    typed = QUESTION | more
    status = main(["period", *(part for name, value in typed.items() for part in (f"--{name}", value))])
    printed = capsys.readouterr().out
    given = answered({"gm": "", "revolutions": " "} | typed, 90)
    assert given["status"] == status
    assert printed.startswith(given["text"])
    assert printed[len(given["text"]) :].lstrip().startswith(("Next", "Or"))
    # what to do now is a part of it, word for word
    assert given["next"] in printed
    began = "With 5:20:01.0 at cut-off" if "got" in more else "Cheapest" if "within" in more else "NO PERIOD FITS"
    assert given["next"].startswith(began)


def test_the_form_says_which_field_is_wrong() -> None:
    for field, value in (("got", "5:20"), ("slot-ahead", "86"), ("around", "vulcan"), ("revolutions", "many")):
        with pytest.raises(InputError) as fault:
            answered(QUESTION | {field: value}, 80)
        assert field_of(fault.value) == field


@pytest.mark.parametrize("name", sorted(bundled()))
def test_the_form_is_filled_so_that_it_can_be_answered(name: str) -> None:
    filled = first_filled(parse_scenario(text(name)))
    assert answered(filled | {"slot-ahead": "60deg"}, 80)["status"] in (0, 3)


def test_a_planner_plans_stops_and_comes_back() -> None:
    """A job is dropped for the next one, which is answered; a process that is ended from outside is replaced."""
    heard: queue.SimpleQueue[Heard] = queue.SimpleQueue()
    planner = Planner(heard.put)

    def job(number: int, toml: str = SMALL, *settings: str) -> Job:
        return Job(number=number, text=toml, file="t.toml", settings=settings, time_limit_s=60.0, memory_bytes=None)

    def until(number: int, kind: str) -> list[Heard]:
        found = []
        while True:
            one = heard.get(timeout=PATIENCE_S)
            found.append(one)
            if (one.number, one.kind) == (number, kind):
                return found

    def data(scenario: str, *settings: str) -> Any:
        return json.loads(json.dumps(answer_data(make_plan(parse_scenario(scenario, "t.toml", settings)))))

    try:
        planner.ask(job(1, text("four-over-the-equator")))
        until(1, "progress")
        planner.ask(job(2, SMALL, "ring.slots=3"))
        said = until(2, "answer")
        assert not [one for one in said if one.kind in ("answer", "failed", "lost")][:-1]
        assert json.loads(said[-1].text) == data(SMALL, "ring.slots=3")
        until(2, "done")
        ended = planner._process
        ended.kill()
        until(0, "lost")
        assert planner._process is not ended
        assert planner._process.is_alive()
    finally:
        planner.close()
    assert not planner._process.is_alive()


def test_without_its_libraries_the_desk_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("ringwright.reports.commands.desk.find_spec", lambda name: None if name == "uvicorn" else 1)
    assert main(["desk", str(tmp_path / "two.toml")]) == 2
    said = capsys.readouterr().err
    assert "needs uvicorn: pip install 'ringwright[desk]'" in said


def test_a_port_that_is_taken_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "two.toml"
    file.write_text(SMALL, encoding="utf-8")
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        assert main(["desk", str(file), "--port", str(port)]) == 2
    assert f"--port {port} cannot be used" in capsys.readouterr().err
    assert main(["desk", str(file), "--port", "80"]) == 2


def test_a_scenario_that_cannot_be_read_is_refused_before_anything_is_served(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "two.toml"
    file.write_text(SMALL.replace("slots = 2", "slots = 0"), encoding="utf-8")
    assert main(["desk", str(file)]) == 2
    shown = capsys.readouterr()
    assert "ring.slots = 0 is out of range" in shown.err
    assert shown.out == ""
    with pytest.raises(InputError):
        Desk(str(tmp_path / "none.toml"), [], time_limit_s=60.0, memory_bytes=None)
